"""Walls without a body of their own: parts that are layers or blocks, frames of members and panels, a bounding box; walls in walls."""

from __future__ import annotations

import pathlib
from collections.abc import Sequence
from typing import Any

import pytest

from tests.unit.ifc_maker import Maker, kernel_m3
from wallquant.building import Building, Wall
from wallquant.findings import Finding
from wallquant.importers import ifc
from wallquant.units import MM, mm

SCHEMAS = ("IFC2X3", "IFC4", "IFC4X3_ADD2")


def part(maker: Maker, kind: str, name: str, *items: Any, material: str = "", place: Any = None) -> Any:
    place = maker.placed() if place is None else place
    made = maker.root(kind, name, ObjectPlacement=place, Representation=maker.shape(*items) if items else None)
    if material:
        maker.root("IfcRelAssociatesMaterial", RelatedObjects=[made], RelatingMaterial=maker.add("IfcMaterial", material))
    return made


def slab(maker: Maker, start: float, end: float, right: float, left: float, low: float = 0, high: float = 2500) -> Any:
    """A box from station to station, offset to offset, level to level."""
    return maker.extruded(maker.rectangle(end - start, left - right, ((start + end) / 2, (right + left) / 2)), high - low, (0, 0, low))


def aggregate(maker: Maker, whole: Any, parts: Sequence[Any]) -> Any:
    maker.root("IfcRelAggregates", RelatingObject=whole, RelatedObjects=list(parts))
    return whole


def read(maker: Maker, folder: pathlib.Path) -> tuple[Building, list[Finding], pathlib.Path]:
    path = maker.write(folder)
    building, findings = ifc.read(path)
    return building, list(findings), path


def void_m3(wall: Wall) -> float:
    return sum((o.end - o.start) * (o.head - o.sill) * wall.thickness * 1e-27 for o in wall.openings)


@pytest.mark.parametrize("schema", SCHEMAS)
@pytest.mark.parametrize("turned", [False, True])
def test_parts_that_are_layers_are_one_wall_of_its_masonry(schema: str, turned: bool, tmp_path: pathlib.Path) -> None:
    maker = Maker(schema)
    whole = maker.wall(name="in layers", place=maker.placed((500, 700, 0), x=(-1, 0, 0) if turned else (1, 0, 0)))
    parts = [
        part(maker, "IfcBuildingElementPart", "outer", slab(maker, 0, 6000, -165, -150), material="render", place=whole.ObjectPlacement),
        part(maker, "IfcBuildingElementPart", "core", slab(maker, 0, 6000, -150, 150), material="AAC block", place=whole.ObjectPlacement),
        part(maker, "IfcBuildingElementPart", "inner", slab(maker, 0, 6000, 150, 160), material="plaster", place=whole.ObjectPlacement),
    ]
    aggregate(maker, whole, parts)
    maker.opening(whole, maker.box(1000, 2000, 0, 2000))
    building, findings, path = read(maker, tmp_path)
    (wall,) = building.walls
    assert (wall.guid, wall.material, wall.thickness, wall.length) == (whole.GlobalId, "AAC block", mm(300), mm(6000))
    assert (wall.start[1], wall.end[1]) == (mm(700), mm(700))
    assert {wall.start[0], wall.end[0]} == ({mm(500), mm(-5500)} if turned else {mm(500), mm(6500)})
    measured = sum(kernel_m3(path, p.GlobalId, openings=False) for p in parts)
    assert wall.drawn_m3 == pytest.approx(measured, rel=1e-6)
    assert wall.finishes_m3 == pytest.approx((6.0 * 2.5 - 2.0) * 0.025)
    assert wall.finish_voids_m3 == pytest.approx(2.0 * 0.025)
    assert [(o.sill, o.head, o.through) for o in wall.openings] == [(0, mm(2000), True)]
    assert sorted(f.code for f in findings) == ["reading.in-parts", "reading.layer-chosen", "reading.no-axis"]


def test_blocks_of_one_wall_are_one_wall_with_what_is_cut_out_of_each(tmp_path: pathlib.Path) -> None:
    maker = Maker()
    axis = maker.polyline([(0, 0), (6000, 0)])
    whole = maker.wall(name="in blocks")
    whole.Representation = maker.add(
        "IfcProductDefinitionShape", None, None, [maker.add("IfcShapeRepresentation", maker.context, "Axis", "Curve2D", [axis])]
    )
    blocks = [part(maker, "IfcBuildingElementPart", f"b{k}", slab(maker, 2000 * k, 2000 * (k + 1), -100, 100)) for k in range(3)]
    aggregate(maker, whole, blocks)
    maker.opening(blocks[1], maker.box(2500, 3500, 800, 2000))
    building, findings, path = read(maker, tmp_path)
    (wall,) = building.walls
    assert (wall.start, wall.end, wall.thickness, len(wall.top)) == ((0, 0), (mm(6000), 0), mm(200), 2)
    assert wall.drawn_m3 - void_m3(wall) == pytest.approx(sum(kernel_m3(path, b.GlobalId) for b in blocks), rel=1e-6)
    assert [(o.start / MM, o.end / MM, o.sill / MM, o.head / MM) for o in wall.openings] == [(2500, 3500, 800, 2000)]
    assert {f.code for f in findings} == {"reading.in-parts", "reading.drawn-hole"}


def frame(maker: Maker, *, panels: bool) -> tuple[Any, list[Any]]:
    """Studs 40 x 90 at 600 between two tracks, a doorway of 1000 x 2000 from station 1240 and panels 12 thick that leave it open."""
    whole = maker.wall(name="framed")
    studs = [slab(maker, s, s + 40, -45, 45, 40, 2460) for s in (0, 600, 1200, 2240, 2800, 3560)]
    tracks = [slab(maker, 0, 3600, -45, 45, 2460, 2500), slab(maker, 0, 1240, -45, 45, 0, 40), slab(maker, 2240, 3600, -45, 45, 0, 40)]
    tracks.append(slab(maker, 1240, 2240, -45, 45, 2000, 2040))
    assembly = part(maker, "IfcElementAssembly", "frame")
    aggregate(maker, assembly, [part(maker, "IfcMember", "studs", *studs), part(maker, "IfcMember", "tracks", *tracks)])
    parts = [assembly]
    for right, left in ((-57, -45), (45, 57)) if panels else ():
        sheets = [slab(maker, 0, 1240, right, left), slab(maker, 2240, 3600, right, left), slab(maker, 1240, 2240, right, left, 2000)]
        parts.append(part(maker, "IfcBuildingElementPart", "sheets", *sheets))
    return aggregate(maker, whole, parts), parts


@pytest.mark.parametrize("schema", SCHEMAS)
def test_a_frame_is_laid_as_its_outline_and_that_is_told(schema: str, tmp_path: pathlib.Path) -> None:
    maker = Maker(schema)
    whole, _ = frame(maker, panels=True)
    maker.opening(whole, maker.box(1240, 2240, 0, 2000, -57, -20))  # not as deep as the wall
    building, findings, _ = read(maker, tmp_path)
    (wall,) = building.walls
    assert not building.set_aside
    assert (wall.guid, wall.thickness, wall.length, wall.bottom) == (whole.GlobalId, mm(114), mm(3600), 0)
    assert wall.drawn_m3 == pytest.approx(3.6 * 2.5 * 0.114)
    assert void_m3(wall) == pytest.approx(1.0 * 2.0 * 0.114)
    assert [(o.key == "", o.through, o.volume_m3) for o in wall.openings] == [(False, True, None)]
    (told,) = [f for f in findings if f.code == "reading.outline-of-parts"]
    assert told.severity == "warning"
    assert "a frame of 10 members and 6 panels" in told.text
    assert "114 mm thick" in told.text
    assert "the outline's volume counts as drawn" in told.text
    assert {f.code for f in findings} == {"reading.outline-of-parts", "reading.no-axis"}


def test_what_panels_leave_open_is_open_and_what_studs_leave_is_not(tmp_path: pathlib.Path) -> None:
    for panels in (True, False):
        maker = Maker()
        frame(maker, panels=panels)
        building, findings, _ = read(maker, tmp_path)
        (wall,) = building.walls
        openings = [(o.start / MM, o.end / MM, o.sill / MM, o.head / MM) for o in wall.openings]
        assert openings == ([(1240, 2240, 0, 2000)] if panels else [])
        assert wall.thickness == mm(114 if panels else 90)
        assert any("a frame of 10 members" in f.text for f in findings)


def test_a_column_in_masonry_makes_no_frame(tmp_path: pathlib.Path) -> None:
    maker = Maker()
    whole = maker.wall(name="with a column")
    masonry = part(maker, "IfcBuildingElementPart", "masonry", slab(maker, 0, 3000, -100, 100), slab(maker, 3200, 6000, -100, 100))
    aggregate(maker, whole, [masonry, part(maker, "IfcColumn", "column", slab(maker, 3000, 3200, -100, 100))])
    building, findings, _ = read(maker, tmp_path)
    assert [(w.length, round(w.drawn_m3, 9)) for w in building.walls] == [(mm(6000), 3.0)]
    assert {f.code for f in findings} == {"reading.in-parts", "reading.no-axis"}


def test_parts_that_are_no_wall_are_set_aside_with_the_reason(tmp_path: pathlib.Path) -> None:
    maker = Maker()
    apart = aggregate(maker, maker.wall(name="apart"), [
        part(maker, "IfcBuildingElementPart", "one", slab(maker, 0, 1000, -100, 100)),
        part(maker, "IfcBuildingElementPart", "two", slab(maker, 3000, 4000, -100, 100)),
    ])  # fmt: skip
    empty = aggregate(maker, maker.wall(name="empty"), [part(maker, "IfcBuildingElementPart", "nothing")])
    hung = aggregate(maker, maker.wall(name="hung"), [part(maker, "IfcRailing", "rail", slab(maker, 0, 1000, -20, 20))])
    building, findings, _ = read(maker, tmp_path)
    assert not building.walls
    reasons = {s.guid: s.reason for s in building.set_aside}
    assert reasons[apart.GlobalId] == "its parts lie apart from each other"
    assert reasons[empty.GlobalId] == "its part nothing cannot be read: it has no body"
    assert reasons[hung.GlobalId] == "it has no body, and none of its parts is one (IfcRailing)"
    assert next(s for s in building.set_aside if s.guid == apart.GlobalId).volume_m3 == pytest.approx(1.0)
    assert {f.code for f in findings} == {"reading.set-aside"}


@pytest.mark.parametrize("schema", SCHEMAS)
def test_a_bounding_box_is_laid_where_there_is_nothing_else(schema: str, tmp_path: pathlib.Path) -> None:
    maker = Maker(schema, "m")
    wall = maker.wall(name="boxed", place=maker.placed((1, 2, 0), x=(0, 1, 0)))
    corner = maker.point(0.0, -0.12, 0.0)
    box = maker.add("IfcBoundingBox", corner, 5.0, 0.24, 2.75)
    wall.Representation = maker.add(
        "IfcProductDefinitionShape", None, None, [maker.add("IfcShapeRepresentation", maker.context, "Box", "BoundingBox", [box])]
    )
    maker.opening(wall, maker.box(1, 2, 0, 2, -0.5, 0.5))
    building, findings, _ = read(maker, tmp_path)
    (made,) = building.walls
    assert {made.start, made.end} == {(mm(1000), mm(2000)), (mm(1000), mm(7000))}
    assert (made.thickness, round(made.drawn_m3, 9)) == (mm(240), 3.3)
    assert void_m3(made) == pytest.approx(0.48)
    assert {f.code for f in findings} == {"reading.box-only", "reading.no-axis"}


def test_a_wall_in_a_wall_is_dropped_where_it_lies_in_its_body_and_kept_where_it_does_not(tmp_path: pathlib.Path) -> None:
    maker = Maker()
    whole = maker.plain_wall(6000, 300, 2500, name="whole", place=maker.placed((0, 1000, 0), x=(0, 1, 0)))
    maker.opening(whole, maker.box(1000, 3000, 0, 2000))

    def inner(name: str, at: Sequence[float], length: float, high: float) -> Any:
        return maker.plain_wall(length, 200, high, name=name, place=maker.placed(at, to=whole.ObjectPlacement))

    lost = inner("lost", (3500, 0, 0), 2000, 2500)
    maker.opening(lost, maker.box(500, 1000, 0, 500))
    beyond, filled = inner("beyond", (7000, 0, 0), 2000, 2500), inner("filled", (1000, 0, 0), 2000, 2000)
    partly = inner("partly", (5500, 0, 0), 1250, 2500)
    maker.root("IfcRelAggregates", RelatingObject=whole, RelatedObjects=[lost, beyond, filled])
    maker.root("IfcRelNests", RelatingObject=whole, RelatedObjects=[partly])
    building, findings, _ = read(maker, tmp_path)
    assert {w.guid for w in building.walls} == {w.GlobalId for w in (whole, beyond, partly)} | {filled.GlobalId}
    told = {f.place.wall: f for f in findings if f.code == "reading.part-of-wall"}
    assert {k: f.severity for k, f in told.items()} == {
        lost.GlobalId: "note", beyond.GlobalId: "note", filled.GlobalId: "note", partly.GlobalId: "warning",
    }  # fmt: skip
    assert "lies in that wall's body; the whole wall is read instead. Its own openings go with it: O" in told[lost.GlobalId].text
    assert "but lies outside that wall's body; both are read" in told[beyond.GlobalId].text
    assert "outside that wall's body but for 0.250 m3, drawn twice" in told[partly.GlobalId].text  # 500 x 200 x 2500


def test_a_part_that_cannot_be_read_gives_way_to_the_whole_wall(tmp_path: pathlib.Path) -> None:
    maker = Maker()
    whole = maker.plain_wall(6000, 300, 2500, name="whole")
    maker.root("IfcRelAggregates", RelatingObject=whole, RelatedObjects=[maker.wall(name="bare")])
    building, findings, _ = read(maker, tmp_path)
    assert [w.guid for w in building.walls] == [whole.GlobalId]
    assert not building.set_aside
    assert [(f.code, f.text) for f in findings] == [
        ("reading.part-of-wall", "Wall bare is a part of wall whole and cannot be read (it has no body); the whole wall is read instead.")
    ]

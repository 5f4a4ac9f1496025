"""Layered walls: which layer is laid, where it lies, what becomes of the others; leaves of a cavity; layers that say nothing sound."""

from __future__ import annotations

import json
import pathlib
from collections.abc import Sequence
from typing import Any

import pytest
from click.testing import CliRunner

from tests.unit.ifc_maker import Maker, kernel_m3
from tests.unit.test_import_ifc_bodies import BOX, body, box_points
from wallquant.building import Wall
from wallquant.cli import main
from wallquant.importers import ifc
from wallquant.job import Select
from wallquant.units import MM, mm

Stack = Sequence[tuple[str | None, float]]
FACED: Stack = (("render", 15), ("Brick", 115), ("mineral wool", 140), ("Calcium silicate block", 175), ("plaster", 15))
"""460 thick, from its right face to its left one where the sense is positive and the offset -230."""


def layered(
    maker: Maker, wall: Any, stack: Stack, *, positive: bool = True, offset: float | None = None, functions: Sequence[str | None] = ()
) -> None:
    layers = []
    for n, (name, size) in enumerate(stack):
        made = maker.add("IfcMaterialLayer", None if name is None else maker.add("IfcMaterial", name), float(size), None)
        if functions:
            made.Category = functions[n]
        layers.append(made)
    made = maker.add("IfcMaterialLayerSet", layers, "stack")
    start = -sum(size for _, size in stack) / 2 * (1 if positive else -1) if offset is None else offset
    usage = maker.add("IfcMaterialLayerSetUsage", made, "AXIS2", "POSITIVE" if positive else "NEGATIVE", start)
    maker.root("IfcRelAssociatesMaterial", RelatedObjects=[wall], RelatingMaterial=usage)


def voids_m3(wall: Wall) -> float:
    return wall.finish_voids_m3 + sum(
        o.volume_m3 if o.volume_m3 is not None else (o.end - o.start) * (o.head - o.sill) * wall.thickness * 1e-27 for o in wall.openings
    )


def middle(wall: Wall) -> float:
    """Where the centre line lies across a wall along x, in mm."""
    assert wall.start[1] == wall.end[1]
    return wall.start[1] / MM


@pytest.mark.parametrize("schema", ["IFC2X3", "IFC4", "IFC4X3_ADD2"])
@pytest.mark.parametrize("positive", [True, False])
def test_the_block_behind_the_facing_is_laid(schema: str, positive: bool, tmp_path: pathlib.Path) -> None:
    maker = Maker(schema)
    element = maker.plain_wall(6000, 460, 2500)
    layered(maker, element, FACED, positive=positive)
    maker.opening(element, maker.box(1000, 2000, 0, 2000))
    path = maker.write(tmp_path)
    building, findings = ifc.read(path)
    (wall,) = building.walls
    assert (wall.thickness, middle(wall)) == (mm(175), (-230 + 270 + 87.5) * (1 if positive else -1))
    assert wall.cover == ((mm(270), mm(15)) if positive else (mm(15), mm(270)))
    assert (wall.material, wall.guid, wall.element) == ("Calcium silicate block", element.GlobalId, "")
    assert wall.drawn_m3 == pytest.approx(kernel_m3(path, element.GlobalId, openings=False), rel=1e-9)
    assert wall.drawn_m3 - voids_m3(wall) == pytest.approx(kernel_m3(path, element.GlobalId), rel=1e-9)
    assert wall.finishes_m3 == pytest.approx((6.0 * 2.5 - 1.0 * 2.0) * 0.285)
    assert wall.finish_voids_m3 == pytest.approx(2.0 * 0.285)
    assert [f.code for f in findings] == ["reading.layer-chosen"]
    assert "layer 4, Calcium silicate block, 175 mm, the thickest whose name says masonry" in findings[0].text
    assert "285 mm" in findings[0].text


def test_a_load_bearing_layer_goes_before_a_name(tmp_path: pathlib.Path) -> None:
    maker = Maker()
    element = maker.plain_wall(4000, 315, 2500)
    layered(maker, element, (("Brick", 115), ("in situ", 200)), functions=("Finish", "LoadBearing"))
    wall = ifc.read(maker.write(tmp_path))[0].walls[0]
    assert (wall.thickness, wall.material) == (mm(200), "in situ")


@pytest.mark.parametrize(
    ("select", "thickness"),
    [
        (Select(material="*BRICK*"), 115),
        (Select(material="plaster"), 15),
        (Select(least_thickness=mm(120), most_thickness=mm(150)), 140),
        (Select(least_thickness=mm(100), material="calcium*"), 175),
    ],
)
def test_the_job_selects(select: Select, thickness: float, tmp_path: pathlib.Path) -> None:
    maker = Maker()
    layered(maker, maker.plain_wall(4000, 460, 2500), FACED)
    building, findings = ifc.read(maker.write(tmp_path), select=select)
    assert [w.thickness for w in building.walls] == [mm(thickness)]
    assert "the job selects it" in findings[0].text


def test_what_the_job_does_not_select_is_set_aside(tmp_path: pathlib.Path) -> None:
    maker = Maker()
    stud = maker.plain_wall(4000, 125, 2500, name="stud")
    layered(maker, stud, (("board", 12.5), ("stud", 100), ("board", 12.5)))
    maker.opening(stud, maker.box(1000, 2000, 0, 2000))
    one = maker.plain_wall(4000, 100, 2500, name="one layer", place=maker.placed((0, 3000, 0)))
    layered(maker, one, (("stud", 100),))
    maker.plain_wall(4000, 200, 2500, name="bare", place=maker.placed((0, 6000, 0)))
    building, findings = ifc.read(maker.write(tmp_path), select=Select(material="*block*"))
    assert [(w.name, w.thickness) for w in building.walls] == [("bare", mm(200))]
    aside = {s.name: s for s in building.set_aside}
    assert sorted(aside) == ["one layer", "stud"]
    assert (aside["stud"].volume_m3, aside["stud"].openings_m3) == (pytest.approx(1.25), pytest.approx(0.25))
    assert {f.code for f in findings} == {"reading.set-aside", "reading.layers"}
    assert "it has no material" in next(f.text for f in findings if f.code == "reading.layers")


@pytest.mark.parametrize(
    "stack",
    [(("a", 0), ("b", 0)), (("Block", 150), ("plaster", 15)), (("Block", -200), ("plaster", 400)), (("Block", 1e9), ("plaster", 15))],
    ids=["zero", "less than drawn", "negative", "absurd"],
)
def test_layers_that_do_not_add_up_leave_the_body(stack: Stack, tmp_path: pathlib.Path) -> None:
    maker = Maker()
    layered(maker, maker.plain_wall(4000, 200, 2500), stack)
    building, findings = ifc.read(maker.write(tmp_path))
    assert [(w.thickness, w.finishes_m3) for w in building.walls] == [(mm(200), 0.0)]
    assert [f.code for f in findings] == ["reading.layers"]


def test_a_layer_of_no_thickness_does_no_harm(tmp_path: pathlib.Path) -> None:
    maker = Maker()
    layered(maker, maker.plain_wall(4000, 200, 2500), (("Block", 185), ("membrane", 0), ("plaster", 15)))
    wall = ifc.read(maker.write(tmp_path))[0].walls[0]
    assert (wall.thickness, middle(wall)) == (mm(185), -7.5)


def test_a_mitred_wall_has_ends_of_its_layer(tmp_path: pathlib.Path) -> None:
    maker = Maker()
    ring = [(0, -100), (4000, -100), (3700, 200), (300, 200)]  # both ends at 45 degrees
    axis = maker.polyline([(0, 0), (4000, 0)])
    element = maker.wall(maker.extruded(maker.outline(ring), 2500), axis=axis)
    layered(maker, element, (("Block", 200), ("plaster", 100)), offset=-100)
    wall = ifc.read(maker.write(tmp_path))[0].walls[0]
    assert (wall.start[0] / MM, wall.end[0] / MM, middle(wall)) == (100, 3900, 0)
    assert wall.drawn_m3 - wall.finishes_m3 == pytest.approx(3.8 * 0.2 * 2.5)


def test_an_opening_in_the_finishes_alone(tmp_path: pathlib.Path) -> None:
    maker = Maker()
    element = maker.plain_wall(4000, 460, 2500)
    layered(maker, element, FACED)
    maker.opening(element, maker.box(1000, 2000, 500, 1500, -500, -150))  # 80 deep from the right
    path = maker.write(tmp_path)
    building, findings = ifc.read(path)
    wall = building.walls[0]
    assert not wall.openings
    assert wall.drawn_m3 - voids_m3(wall) == pytest.approx(kernel_m3(path, element.GlobalId), rel=1e-9)
    assert [f.code for f in findings] == ["reading.opening-dropped", "reading.layer-chosen"]
    assert "layers that are not laid" in findings[0].text


def cavity(maker: Maker) -> Any:
    element = maker.plain_wall(6000, 390, 2500, name="party wall")
    layered(maker, element, (("Block", 150), ("air", 75), ("Block", 150), ("plaster", 15)))
    return element


def test_leaves_are_walls_of_their_own(tmp_path: pathlib.Path) -> None:
    maker = Maker()
    element = cavity(maker)
    opening = maker.opening(element, maker.box(1000, 2000, 0, 2000))
    path = maker.write(tmp_path)
    building, findings = ifc.read(path)
    assert [(w.guid, w.element, w.thickness, middle(w)) for w in building.walls] == [
        (f"{element.GlobalId}/1", element.GlobalId, mm(150), -120),
        (f"{element.GlobalId}/2", element.GlobalId, mm(150), 105),
    ]
    assert [w.cover for w in building.walls] == [(0, 0), (0, mm(15))]
    assert [o.key for w in building.walls for o in w.openings] == [opening.GlobalId, f"{opening.GlobalId}~2"]
    assert sum(w.drawn_m3 for w in building.walls) == pytest.approx(kernel_m3(path, element.GlobalId, openings=False), rel=1e-9)
    assert sum(w.drawn_m3 - voids_m3(w) for w in building.walls) == pytest.approx(kernel_m3(path, element.GlobalId), rel=1e-9)
    assert "They are leaves" in next(f.text for f in findings if f.code == "reading.layer-chosen")


def test_leaves_are_one_wall_in_the_files(tmp_path: pathlib.Path) -> None:
    maker = Maker()
    element = cavity(maker)
    maker.opening(element, maker.box(1000, 2000, 0, 2000))
    out = tmp_path / "out"
    done = CliRunner().invoke(main, ["plan", str(maker.write(tmp_path)), "--any-thickness", "-o", str(out)])
    assert done.exit_code in (0, 1), done.output
    summary = json.loads((out / "summary.json").read_text(encoding="utf-8"))
    (wall,) = summary["walls"]
    assert (summary["counts"]["walls"], summary["counts"]["runs"]) == (1, 2)
    assert (wall["guid"], sorted(wall["runs"])) == (element.GlobalId, ["R1", "R2"])
    assert [(p["run"], p["thickness_mm"]) for p in wall["parts"]] == [("R1", 150), ("R2", 150)]
    assert wall["ledger_m3"]["drawn"] == pytest.approx(6.0 * 0.39 * 2.5)
    assert wall["ledger_m3"]["finishes"] == pytest.approx((6.0 * 2.5 - 2.0) * 0.09)
    for name in ("pieces.csv", "openings.csv"):
        assert f"{element.GlobalId}/" not in (out / name).read_text(encoding="utf-8")
        assert element.GlobalId in (out / name).read_text(encoding="utf-8")
    audited = CliRunner().invoke(main, ["audit", str(out)])
    assert audited.exit_code == 0, audited.output


def test_walls_that_end_at_a_finish_meet_the_masonry_behind(tmp_path: pathlib.Path) -> None:
    maker = Maker()
    layered(maker, maker.plain_wall(6000, 245, 2500), (("plaster", 30), ("Block", 200), ("plaster", 15)))
    maker.plain_wall(3000, 200, 2500, place=maker.placed((3000, -122.5, 0), (0, -1, 0)))  # its end is 30 off the block
    out = tmp_path / "out"
    done = CliRunner().invoke(main, ["plan", str(maker.write(tmp_path)), "--any-thickness", "-o", str(out)])
    assert done.exit_code in (0, 1), done.output
    kinds = [row.split(",")[1] for row in (out / "corners.csv").read_text(encoding="utf-8").splitlines()[1:]]
    assert sorted(kinds) == ["T", "end", "end", "end"]
    audited = CliRunner().invoke(main, ["audit", str(out)])
    assert audited.exit_code == 0, audited.output


@pytest.mark.parametrize(("depth", "left", "missing"), [(100, 0.0, 0.0), (100, 460.0, 0.085), (300, 0.0, 0.030)])
def test_a_hollow_is_a_niche_of_the_block_only_where_it_reaches_into_it(
    depth: float, left: float, missing: float, tmp_path: pathlib.Path
) -> None:
    """2 m x 1 m, cut into the render and brick, into the plaster (15 mm) and the block, or through all before the block and 30 mm of it."""
    maker = Maker()
    points = box_points(6000, 460, 2500)
    y = -230.0 if left == 0 else 230.0
    inner = y + depth * (1 if left == 0 else -1)
    points = [*points, *((x, at, z) for at in (y, inner) for x, z in ((2000, 500), (4000, 500), (4000, 1500), (2000, 1500)))]
    rim, floor = (8, 9, 10, 11), (12, 13, 14, 15)
    sides = [(rim[k], rim[k - 3], floor[k - 3], floor[k]) for k in range(4)]
    corners = [n for n, p in enumerate(points[:8]) if p[1] == y]
    face = [ring for ring in BOX if set(ring) == set(corners)]
    faces: list[Sequence[Sequence[int]]] = [[ring] for ring in BOX if ring not in face]
    faces += [[face[0], rim], [floor], *([side] for side in sides)]
    element = maker.wall(body(maker, "brep", points, faces), axis=maker.polyline([(0, 0), (6000, 0)]))
    layered(maker, element, FACED)
    path = maker.write(tmp_path)
    (wall,) = ifc.read(path)[0].walls
    assert sum(o.volume_m3 or 0 for o in wall.openings) == pytest.approx(2.0 * missing)
    assert wall.drawn_m3 - voids_m3(wall) == pytest.approx(6 * 2.5 * 0.46 - 2.0 * depth / 1000)
    assert wall.finishes_m3 == pytest.approx(6 * 2.5 * 0.285 - 2.0 * (depth / 1000 - missing))

"""Reading openings from IFC: rectangles in elevation, niches, fillings, overlaps, and what is no rectangle.

What is left of each wall is checked against the OpenCASCADE kernel of ifcopenshell.
"""

from __future__ import annotations

import pathlib
from math import cos, pi, sin
from typing import Any

import pytest

from tests.unit.ifc_maker import Maker, kernel_m3
from wallquant import pipeline, plugins
from wallquant.building import Opening, Wall
from wallquant.findings import Finding
from wallquant.importers import ifc
from wallquant.job import Job
from wallquant.units import mm


def void_m3(wall: Wall) -> float:
    """What the openings take out of a wall, as the records state it."""
    plain = (
        o.volume_m3 if o.volume_m3 is not None else (o.end - o.start) * (o.head - o.sill) * wall.thickness * 1e-27 for o in wall.openings
    )
    return sum(plain)


def read_and_weigh(maker: Maker, element: Any, folder: pathlib.Path, rel: float = 1e-6) -> tuple[Wall, list[Finding]]:
    path = maker.write(folder)
    building, findings = ifc.read(path)
    wall = building.walls[0]
    assert wall.drawn_m3 - void_m3(wall) == pytest.approx(kernel_m3(path, element.GlobalId), rel=rel)
    assert wall.drawn_m3 == pytest.approx(kernel_m3(path, element.GlobalId, openings=False), rel=1e-9)
    return wall, list(findings)


def rects(wall: Wall) -> list[tuple[float, float, float, float]]:
    return [(o.start / 1e6, o.end / 1e6, (o.sill - wall.bottom) / 1e6, (o.head - wall.bottom) / 1e6) for o in wall.openings]


def one(wall: Wall) -> Opening:
    assert len(wall.openings) == 1
    return wall.openings[0]


@pytest.mark.parametrize("schema", ["IFC2X3", "IFC4", "IFC4X3_ADD2"])
def test_a_door_with_its_leaf(schema: str, tmp_path: pathlib.Path) -> None:
    maker = Maker(schema)
    element = maker.plain_wall(6000, 200, 2500, place=maker.placed((1000, 2000, 150), (0.8, 0.6, 0)))
    opening = maker.opening(element, maker.box(1000, 2010, 0, 2010))
    leaf = maker.fill(opening, width=1010.0, height=2010.0)
    wall, findings = read_and_weigh(maker, element, tmp_path)
    found = one(wall)
    assert rects(wall) == [(1000, 2010, 0, 2010)]
    assert (found.key, found.through, found.volume_m3, findings) == (opening.GlobalId, True, None, [])
    assert found.filling is not None
    assert (found.filling.guid, found.filling.kind) == (leaf.GlobalId, "door")
    assert (found.filling.width, found.filling.height) == (mm(1010), mm(2010))


def test_a_filling_without_sizes(tmp_path: pathlib.Path) -> None:
    maker = Maker()
    element = maker.plain_wall(4000, 200, 2500)
    maker.fill(maker.opening(element, maker.box(1000, 2000, 900, 2000)), "IfcWindow")
    found = one(read_and_weigh(maker, element, tmp_path)[0])
    assert found.filling is not None
    assert (found.filling.kind, found.filling.width, found.filling.height) == ("window", None, None)


def test_openings_extruded_in_each_direction(tmp_path: pathlib.Path) -> None:
    maker = Maker()
    element = maker.plain_wall(9000, 200, 2500)
    upright = maker.extruded(maker.rectangle(1000, 600, (1500, 0)), 1100, (0, 0, 900))
    along = maker.extruded(maker.rectangle(600, 1100, (0, 0)), 1000, (3000, 0, 1450), (1, 0, 0), (0, 1, 0))
    maker.opening(element, upright)
    maker.opening(element, along)
    maker.opening(element, maker.box(5000, 6000, 900, 2000), place=maker.placed())  # not relative to the wall's placement
    wall, findings = read_and_weigh(maker, element, tmp_path)
    assert rects(wall) == [(1000, 2000, 900, 2000), (3000, 4000, 900, 2000), (5000, 6000, 900, 2000)]
    assert not findings


def test_several_items_make_holes_of_one_opening(tmp_path: pathlib.Path) -> None:
    maker = Maker()
    element = maker.plain_wall(6000, 200, 2500)
    halves = maker.box(1000, 2000, 0, 2000, -500, 0), maker.box(1000, 2000, 0, 2000, 0, 500)  # two solids, each through half the wall
    opening = maker.opening(element, *halves, maker.box(3000, 3500, 1000, 2000))
    maker.fill(opening)
    wall, findings = read_and_weigh(maker, element, tmp_path)
    assert rects(wall) == [(1000, 2000, 0, 2000), (3000, 3500, 1000, 2000)]
    assert [o.key for o in wall.openings] == [opening.GlobalId, opening.GlobalId + "#2"]
    assert [o.filling is not None for o in wall.openings] == [True, False]
    assert not findings


def test_a_niche_is_not_through(tmp_path: pathlib.Path) -> None:
    maker = Maker()
    element = maker.plain_wall(6000, 300, 2500)
    maker.opening(element, maker.box(1000, 2000, 500, 1500, 50, 500))  # 100 deep from the left face
    wall, findings = read_and_weigh(maker, element, tmp_path)
    assert (one(wall).through, one(wall).volume_m3) == (False, pytest.approx(0.1))
    assert [f.code for f in findings] == ["reading.niche"]


def test_less_than_a_millimetre_short_is_through(tmp_path: pathlib.Path) -> None:
    maker = Maker()
    element = maker.plain_wall(6000, 300, 2500)
    maker.opening(element, maker.box(1000, 2000, 500, 1500, -149.5, 500))
    assert one(read_and_weigh(maker, element, tmp_path)[0]).through


def test_a_reveal_counts_with_its_opening(tmp_path: pathlib.Path) -> None:
    maker = Maker()
    element = maker.plain_wall(6000, 300, 2500)
    maker.opening(element, maker.box(1000, 2000, 900, 2000, -500, 500), maker.box(900, 2100, 800, 2100, 50, 500))
    wall, _ = read_and_weigh(maker, element, tmp_path)
    assert rects(wall) == [(1000, 2000, 900, 2000)]
    assert one(wall).volume_m3 == pytest.approx(1.1 * 0.3 + (1.2 * 1.3 - 1.1) * 0.1)


def test_an_opening_is_clipped_to_the_wall(tmp_path: pathlib.Path) -> None:
    maker = Maker()
    element = maker.plain_wall(6000, 200, 2500)
    maker.opening(element, maker.box(-300, 800, -200, 2100))
    maker.opening(element, maker.box(5000, 6400, 2000, 2900))
    wall, _ = read_and_weigh(maker, element, tmp_path)
    assert rects(wall) == [(0, 800, 0, 2100), (5000, 6000, 2000, 2500)]


def test_an_opening_outside_the_wall_is_told(tmp_path: pathlib.Path) -> None:
    maker = Maker()
    element = maker.plain_wall(6000, 200, 2500)
    opening = maker.opening(element, maker.box(7000, 8000, 0, 2000))
    building, findings = ifc.read(maker.write(tmp_path))
    assert not building.walls[0].openings
    assert [(f.code, f.place.opening) for f in findings] == [("reading.opening-dropped", opening.GlobalId)]


def test_an_opening_under_a_raked_top(tmp_path: pathlib.Path) -> None:
    maker = Maker()
    body = maker.extruded(maker.rectangle(4000, 200, (2000, 0)), 4000)
    body = maker.cut(body, maker.half_space((0, 0, 2000), (-0.6, 0, 0.8)))  # 2000 at the start, 5000 at the end, so 4000 from 2667 on
    element = maker.wall(body, axis=maker.polyline([(0, 0), (4000, 0)]))
    maker.opening(element, maker.box(400, 1200, 1000, 5000))
    wall, _ = read_and_weigh(maker, element, tmp_path)
    assert rects(wall) == [(400, 1200, 1000, 2900)]  # to the highest point of the top over the opening
    assert one(wall).volume_m3 == pytest.approx(0.8 * 1.6 * 0.2)  # mean height 2600 - 1000


def test_a_round_opening_is_laid_as_its_box(tmp_path: pathlib.Path) -> None:
    maker = Maker()
    element = maker.plain_wall(4000, 200, 2500)
    profile = maker.add("IfcCircleProfileDef", "AREA", None, maker.add("IfcAxis2Placement2D", maker.point(2000, 1500)), 400.0)
    maker.opening(element, maker.extruded(profile, 1000, (0, 500, 0), (0, -1, 0), (1, 0, 0)))
    wall, findings = read_and_weigh(maker, element, tmp_path, rel=1e-3)
    assert rects(wall) == [(1600, 2400, 1100, 1900)]
    assert one(wall).volume_m3 == pytest.approx(pi * 0.4**2 * 0.2, rel=1e-3)
    assert [f.code for f in findings] == ["reading.opening-shape"]


@pytest.mark.parametrize("thickness", [200, 1234])
def test_a_plan_tells_once_of_an_opening_that_is_no_rectangle(thickness: int, tmp_path: pathlib.Path) -> None:
    """What is set aside around two of three openings is one finding with names and area; of a wall not laid, the reading's."""
    maker = Maker()
    element = maker.plain_wall(6000, thickness, 2500, name="Gatehouse")
    for name, x in (("Port", 1500), ("Eye", 3500)):
        profile = maker.add("IfcCircleProfileDef", "AREA", None, maker.add("IfcAxis2Placement2D", maker.point(x, 1500)), 400.0)
        maker.opening(element, maker.extruded(profile, 3000, (0, 1500, 0), (0, -1, 0), (1, 0, 0))).Name = name
    maker.opening(element, maker.box(4500, 5300, 0, 2000)).Name = "Door"
    made = pipeline.plan(maker.write(tmp_path), Job(catalogue="aac-metric"), plugins.load())
    round_ = [f for f in made.findings if "no rectangle" in f.text]
    if thickness != 200:
        assert [f.code for f in round_] == ["reading.opening-shape"] * 2
        return
    [told] = round_
    area = 2 * (0.8**2 - pi * 0.4**2)
    assert told.code == "bond.set-aside" and told.measured == f"{area:.3f} m2" and told.place.opening
    assert "1 wall (Gatehouse) is set aside: around openings that are no rectangle, cut on site (Port, Eye)." in told.text
    [book] = made.bond.accounts
    assert sum(float(f.measured.split()[0]) for f in made.findings if f.code == "bond.set-aside") == pytest.approx(
        book.ledger["set_aside"] / 0.2, abs=1e-3
    )


def test_an_arched_outline(tmp_path: pathlib.Path) -> None:
    maker = Maker("IFC4")
    element = maker.plain_wall(4000, 200, 3000)
    arch = [(1500 + 500 * cos(a), 2000 + 500 * sin(a)) for a in (0, pi / 2, pi)]
    points = maker.add("IfcCartesianPointList2D", [(1000.0, 0.0), (2000.0, 0.0), *arch])
    segments = [maker.add("IfcLineIndex", (1, 2, 3)), maker.add("IfcArcIndex", (3, 4, 5)), maker.add("IfcLineIndex", (5, 1))]
    curve = maker.add("IfcIndexedPolyCurve", points, segments, False)
    profile = maker.add("IfcArbitraryClosedProfileDef", "AREA", None, curve)
    maker.opening(element, maker.extruded(profile, 1000, (0, 500, 0), (0, -1, 0), (1, 0, 0)))
    wall, findings = read_and_weigh(maker, element, tmp_path, rel=1e-3)
    assert rects(wall) == [(1000, 2000, 0, 2500)]
    assert one(wall).volume_m3 == pytest.approx((2.0 + pi * 0.25 / 2) * 0.2, rel=1e-3)
    assert len(findings) == 1


def test_overlapping_openings_count_once(tmp_path: pathlib.Path) -> None:
    maker = Maker()
    element = maker.plain_wall(9000, 200, 2500)
    maker.opening(element, maker.box(1000, 2000, 500, 2000))
    maker.opening(element, maker.box(1500, 2600, 500, 2000))  # together a rectangle
    maker.opening(element, maker.box(4000, 6000, 500, 2000))
    maker.opening(element, maker.box(5500, 6500, 0, 1000))  # together none
    maker.opening(element, maker.box(7000, 8000, 0, 1000))
    maker.opening(element, maker.box(7000, 8000, 1000, 2000))  # touch: two openings
    wall, findings = read_and_weigh(maker, element, tmp_path)
    assert rects(wall) == [
        (1000, 2600, 500, 2000), (4000, 6000, 500, 2000), (5500, 6000, 0, 500), (6000, 6500, 0, 1000),
        (7000, 8000, 0, 1000), (7000, 8000, 1000, 2000),
    ]  # fmt: skip
    assert [f.code for f in findings] == ["reading.openings-overlap"] * 2
    assert len({o.key for o in wall.openings}) == 6


def test_an_l_shaped_opening_becomes_rectangles(tmp_path: pathlib.Path) -> None:
    maker = Maker()
    element = maker.plain_wall(6000, 200, 2500)
    ring = [(1000, 0), (2000, 0), (2000, 900), (3200, 900), (3200, 2000), (1000, 2000)]
    maker.opening(element, maker.extruded(maker.outline(ring), 1000, (0, 500, 0), (0, -1, 0), (1, 0, 0)))
    wall, findings = read_and_weigh(maker, element, tmp_path)
    assert rects(wall) == [(1000, 2000, 0, 2000), (2000, 3200, 900, 2000)]
    assert not findings


def test_an_opening_that_is_askew_in_plan(tmp_path: pathlib.Path) -> None:
    maker = Maker()
    element = maker.plain_wall(6000, 200, 2500)
    askew = maker.placed((3000, 0, 1000), (0.5**0.5, 0.5**0.5, 0), to=element.ObjectPlacement)
    maker.opening(element, maker.extruded(maker.rectangle(600, 2000), 1000), place=askew)
    wall, _ = read_and_weigh(maker, element, tmp_path, rel=1e-3)
    assert one(wall).volume_m3 == pytest.approx(600 * 2**0.5 * 200 * 1000e-9, rel=1e-3)


def test_an_opening_whose_body_is_a_brep(tmp_path: pathlib.Path) -> None:
    maker = Maker()
    element = maker.plain_wall(6000, 200, 2500)
    corners = [(x, y, z) for x in (1000, 2000) for y in (-300, 300) for z in (500, 1500)]
    faces = ((0, 1, 3, 2), (4, 6, 7, 5), (0, 4, 5, 1), (2, 3, 7, 6), (0, 2, 6, 4), (1, 5, 7, 3))
    loops = [maker.add("IfcPolyLoop", [maker.point(*corners[i]) for i in face]) for face in faces]
    shell = maker.add("IfcClosedShell", [maker.add("IfcFace", [maker.add("IfcFaceOuterBound", loop, True)]) for loop in loops])
    maker.opening(element, maker.add("IfcFacetedBrep", shell))
    wall, findings = read_and_weigh(maker, element, tmp_path)
    assert rects(wall) == [(1000, 2000, 500, 1500)]
    assert not findings


def test_an_unreadable_opening_is_told(tmp_path: pathlib.Path) -> None:
    maker = Maker()
    element = maker.plain_wall(6000, 200, 2500)
    maker.opening(element, maker.add("IfcTextLiteral", "hole", maker.axes(), "RIGHT"))
    building, findings = ifc.read(maker.write(tmp_path))
    assert len(building.walls) == 1
    assert [(f.code, f.severity) for f in findings] == [("reading.opening-dropped", "warning")]
    assert "IfcTextLiteral" in findings[0].text


def test_a_niche_beside_a_hole_of_the_same_opening(tmp_path: pathlib.Path) -> None:
    maker = Maker()
    element = maker.plain_wall(6000, 300, 2500)
    maker.opening(element, maker.box(1000, 2000, 0, 2000), maker.box(3000, 3400, 1000, 1400, 50, 500))
    wall, findings = read_and_weigh(maker, element, tmp_path)
    assert rects(wall) == [(1000, 2000, 0, 2000), (3000, 3400, 1000, 1400)]
    assert [(o.through, o.volume_m3) for o in wall.openings] == [(True, None), (False, pytest.approx(0.016))]
    assert [f.code for f in findings] == ["reading.niche"]


def test_an_opening_of_a_wall_in_parts_is_one_in_its_parts(tmp_path: pathlib.Path) -> None:
    maker = Maker()
    whole = maker.wall(name="whole")
    parts = [maker.plain_wall(2000, 200, 2500, place=maker.placed((2000 * i, 0, 0))) for i in range(3)]
    maker.root("IfcRelAggregates", RelatingObject=whole, RelatedObjects=parts)
    opening = maker.opening(whole, maker.box(1500, 2700, 0, 2000))
    building, findings = ifc.read(maker.write(tmp_path))
    walls = {w.guid: w for w in building.walls}
    assert [rects(walls[p.GlobalId]) for p in parts] == [[(1500, 2000, 0, 2000)], [(0, 700, 0, 2000)], []]
    keys = sorted(o.key for w in building.walls for o in w.openings)
    assert len(set(keys)) == 2
    assert all(key.startswith(opening.GlobalId) for key in keys)
    assert [f.code for f in findings] == ["reading.wall-of-walls"]

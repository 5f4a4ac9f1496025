"""Curved walls: chords within a distance of the arc, joined end to end; openings in them and over their mitres; curves too tight.

Expected values are geometry: areas of ring sectors, chord = 2 r sin(turn / 2), rise = r (1 - cos(turn / 2)).  Volumes are checked
against the OpenCASCADE kernel of ifcopenshell, which draws arcs in chords of its own (hence half a per cent).
"""

from __future__ import annotations

import itertools
import json
import pathlib
from math import acos, ceil, cos, degrees, hypot, pi, radians, sin
from typing import Any

import pytest
import shapely
from click.testing import CliRunner

from tests.unit.ifc_maker import Maker, kernel_m3
from wallquant.audit import audit
from wallquant.building import Building, Wall
from wallquant.cli import main
from wallquant.findings import Finding
from wallquant.importers import ifc
from wallquant.job import Select
from wallquant.units import MM, mm

SCHEMAS = ("IFC2X3", "IFC4", "IFC4X3_ADD2")


def polar(radius: float, angle: float) -> tuple[float, float]:
    """A point about the origin, angle in degrees."""
    return radius * cos(radians(angle)), radius * sin(radians(angle))


def sector(maker: Maker, radius: float, first: float, last: float, thickness: float = 200) -> Any:
    """Profile of a curved wall about the origin, with true arcs as its schema has them."""
    units = maker.project.UnitsInContext
    if not any(u.UnitType == "PLANEANGLEUNIT" for u in units.Units):
        units.Units = [*units.Units, maker.add("IfcSIUnit", None, "PLANEANGLEUNIT", None, "RADIAN")]
    inner, outer = radius - thickness / 2, radius + thickness / 2
    middle = (first + last) / 2
    if maker.file.schema != "IFC2X3":
        ring = [polar(outer, a) for a in (first, middle, last)] + [polar(inner, a) for a in (last, middle, first)]
        points = maker.add("IfcCartesianPointList2D", [[float(v) for v in p] for p in ring])
        segments = [
            maker.add("IfcArcIndex", (1, 2, 3)), maker.add("IfcLineIndex", (3, 4)), maker.add("IfcArcIndex", (4, 5, 6)),
            maker.add("IfcLineIndex", (6, 1)),
        ]  # fmt: skip
        curve = maker.add("IfcIndexedPolyCurve", points, segments, False)
    else:
        parts = [arc(maker, outer, first, last), line(maker, polar(outer, last), polar(inner, last)), arc(maker, inner, last, first)]
        parts.append(line(maker, polar(inner, first), polar(outer, first)))
        curve = maker.add("IfcCompositeCurve", [maker.add("IfcCompositeCurveSegment", "CONTINUOUS", True, p) for p in parts], False)
    return maker.add("IfcArbitraryClosedProfileDef", "AREA", None, curve)


def arc(maker: Maker, radius: float, first: float, last: float) -> Any:
    """An arc by its parameters in radians, backwards where the last angle is the lesser."""
    circle = maker.add("IfcCircle", maker.add("IfcAxis2Placement2D", maker.point(0, 0)), float(radius))
    trims = [[maker.add("IfcParameterValue", radians(a))] for a in (first, last)]
    return maker.add("IfcTrimmedCurve", circle, *trims, last > first, "PARAMETER")


def line(maker: Maker, one: tuple[float, float], two: tuple[float, float]) -> Any:
    return maker.polyline([one, two])


def faceted(radius: float, first: float, last: float, count: int, thickness: float = 200) -> list[tuple[float, float]]:
    """Outline of a curved wall as a program draws it that has no arcs."""
    turns = [first + (last - first) * k / count for k in range(count + 1)]
    return [polar(radius + thickness / 2, a) for a in turns] + [polar(radius - thickness / 2, a) for a in reversed(turns)]


def read(maker: Maker, folder: pathlib.Path, **more: Any) -> tuple[Building, tuple[Finding, ...], pathlib.Path]:
    path = maker.write(folder)
    building, findings = ifc.read(path, **more)
    return building, findings, path


def in_order(building: Building) -> list[Wall]:
    return sorted(building.walls, key=lambda w: int(w.guid.rpartition("/")[2]))


def voids_m3(walls: list[Wall]) -> float:
    return sum(
        o.volume_m3 if o.volume_m3 is not None else (o.end - o.start) * (o.head - o.sill) * w.thickness * 1e-27
        for w in walls
        for o in w.openings
    )


@pytest.mark.parametrize("schema", SCHEMAS)
@pytest.mark.parametrize(("radius", "angle"), [(3000.0, 90.0), (1000.0, 180.0), (10_000.0, 30.0), (60_000.0, 6.0)])
def test_chords_within_the_distance_joined_end_to_end(schema: str, radius: float, angle: float, tmp_path: pathlib.Path) -> None:
    maker = Maker(schema)
    element = maker.wall(maker.extruded(sector(maker, radius, 20, 20 + angle), 2500), place=maker.placed((5000, 2000, 100)))
    building, findings, path = read(maker, tmp_path)
    walls = in_order(building)
    step = 2 * degrees(acos(1 - 10 / radius))
    count = ceil(angle / step)
    turn = angle / count
    assert len(walls) == count
    assert {w.element for w in walls} == {element.GlobalId}
    assert {(w.thickness, w.bottom, w.top[0][1]) for w in walls} == {(mm(200), mm(100), mm(2600))}
    for w in walls:
        assert w.length / MM == pytest.approx(2 * radius * sin(radians(turn / 2)), abs=0.01)
        for x, y in (w.start, w.end):  # the centre line's ends lie on the arc
            assert hypot(x / MM - 5000, y / MM - 2000) == pytest.approx(radius, abs=0.01)
    for one, two in itertools.pairwise(walls):
        assert hypot(one.end[0] - two.start[0], one.end[1] - two.start[1]) <= 2
    drawn = radians(angle) * radius * 200 * 2500 * 1e-9
    assert sum(w.drawn_m3 for w in walls) == pytest.approx(drawn, rel=1e-6)
    assert sum(w.drawn_m3 for w in walls) == pytest.approx(kernel_m3(path, element.GlobalId), rel=5e-3)
    for w in walls:  # what the chord is shorter than its arc is set aside, to the last bit
        assert w.drawn_m3 - w.set_aside_m3 == pytest.approx(w.length / MM * 200 * 2500 * 1e-9, rel=1e-7)
        assert w.set_aside_m3 > 0
        assert w.set_aside_m2 == 0
    (told,) = findings
    gap = radius * (1 - cos(radians(turn / 2)))
    assert (told.code, told.place.wall, told.measured) == ("reading.bent", element.GlobalId, f"{gap:.1f} mm")
    assert gap <= 10
    assert f"radius of {radius:.0f} mm" in told.text
    assert f"{count} chords of {2 * radius * sin(radians(turn / 2)):.0f} mm" in told.text


def test_the_distance_is_a_project_input(tmp_path: pathlib.Path) -> None:
    maker = Maker()
    maker.wall(maker.extruded(sector(maker, 3000, 0, 90), 2500))
    counts = [len(read(maker, tmp_path, chord_gap=mm(gap))[0].walls) for gap in (2, 10, 40)]
    assert counts == [ceil(90 / (2 * degrees(acos(1 - gap / 3000)))) for gap in (2, 10, 40)]


@pytest.mark.parametrize("schema", SCHEMAS)
def test_an_opening_within_one_chord(schema: str, tmp_path: pathlib.Path) -> None:
    maker = Maker(schema)
    element = maker.wall(maker.extruded(sector(maker, 10_000, 0, 90), 2500))
    x, y = polar(10_000, 47.5)  # the middle of the tenth of 18 chords
    place = maker.placed((x, y, 0), (-sin(radians(47.5)), cos(radians(47.5)), 0))
    maker.fill(maker.opening(element, maker.box(-300, 300, 900, 2100), place=place), "IfcWindow", 600, 1200)
    building, findings, path = read(maker, tmp_path)
    walls = in_order(building)
    assert [len(w.openings) for w in walls] == [0] * 8 + [1] + [0] * 9  # pieces are counted from the arc's end here
    (hole,) = walls[8].openings
    half = 10_000 * sin(radians(2.5))
    assert hole.start / MM == pytest.approx(half - 300, abs=0.1)
    assert hole.end / MM == pytest.approx(half + 300, abs=0.1)
    assert (hole.sill, hole.head, hole.through) == (mm(900), mm(2100), True)
    assert hole.volume_m3 is None
    assert hole.filling is not None
    assert [f.code for f in findings] == ["reading.bent"]
    assert sum(w.drawn_m3 for w in walls) - voids_m3(walls) == pytest.approx(kernel_m3(path, element.GlobalId), rel=5e-3)


def test_an_opening_over_a_mitre_is_open_in_both_chords(tmp_path: pathlib.Path) -> None:
    maker = Maker()
    element = maker.wall(maker.extruded(sector(maker, 10_000, 0, 90), 2500))
    x, y = polar(10_000, 45.5)
    place = maker.placed((x, y, 0), (-sin(radians(45.5)), cos(radians(45.5)), 0))
    opening = maker.opening(element, maker.box(-400, 400, 0, 2100), place=place)
    maker.fill(opening, "IfcDoor", 800, 2100)
    building, findings, path = read(maker, tmp_path)
    walls = in_order(building)
    there = [(k, o) for k, w in enumerate(walls) for o in w.openings]
    assert [k for k, _ in there] == [8, 9]
    assert sum(o.end - o.start for _, o in there) / MM == pytest.approx(800, abs=10)
    assert there[0][1].end == walls[8].length
    assert there[1][1].start == 0
    assert [o.filling is not None for _, o in there] == [True, False]  # most of it lies in the first one
    assert len({o.key for _, o in there}) == 2
    assert sum(w.drawn_m3 for w in walls) - voids_m3(walls) == pytest.approx(kernel_m3(path, element.GlobalId), rel=5e-3)
    told = [f for f in findings if f.code == "reading.opening-over-mitre"]
    assert [(f.severity, f.times, f.place.opening.partition("~")[0]) for f in told] == [("warning", 2, opening.GlobalId)]


def test_an_opening_as_curved_as_its_wall_goes_through(tmp_path: pathlib.Path) -> None:
    maker = Maker()
    element = maker.wall(maker.extruded(sector(maker, 10_000, 0, 90), 2500))
    maker.opening(element, maker.extruded(sector(maker, 10_000, 46, 49), 1200, (0, 0, 900)))
    building, _, path = read(maker, tmp_path)
    walls = in_order(building)
    (hole,) = (o for w in walls for o in w.openings)
    assert hole.through
    assert sum(w.drawn_m3 for w in walls) - voids_m3(walls) == pytest.approx(kernel_m3(path, element.GlobalId), rel=5e-3)


def test_an_opening_that_misses_the_wall_is_told_once(tmp_path: pathlib.Path) -> None:
    maker = Maker()
    element = maker.wall(maker.extruded(sector(maker, 10_000, 0, 90), 2500))
    maker.opening(element, maker.box(-400, 400, 0, 2100), place=maker.placed((0, 0, 0)))
    building, findings, _ = read(maker, tmp_path)
    assert not any(w.openings for w in building.walls)
    assert [f.times for f in findings if f.code == "reading.opening-dropped"] == [1]


def test_a_curve_too_tight_is_set_aside_with_its_radius(tmp_path: pathlib.Path) -> None:
    maker = Maker()
    element = maker.wall(maker.extruded(sector(maker, 300, 0, 90), 2500))
    building, findings, _ = read(maker, tmp_path)
    assert building.walls == ()
    (aside,) = building.set_aside
    chord = 600 * sin(radians(90 / ceil(90 / (2 * degrees(acos(1 - 10 / 300)))) / 2))
    assert "radius 300 mm is too tight" in aside.reason
    assert f"{chord:.0f} mm long, less than 200 mm" in aside.reason
    assert aside.volume_m3 == pytest.approx(pi / 2 * 300 * 200 * 2500 * 1e-9, rel=1e-2)
    assert [(f.code, f.place.wall) for f in findings] == [("reading.set-aside", element.GlobalId)]
    assert len(read(maker, tmp_path, least_chord=mm(110))[0].walls) == 4


def test_arcs_drawn_in_chords_are_found_again(tmp_path: pathlib.Path) -> None:
    maker = Maker()
    ring = faceted(3000, 0, 90, 45)
    element = maker.wall(maker.extruded(maker.outline([(round(x, 1), round(y, 1)) for x, y in ring]), 2500))
    building, findings, path = read(maker, tmp_path)
    assert len(building.walls) == 10
    assert sum(w.drawn_m3 for w in building.walls) == pytest.approx(kernel_m3(path, element.GlobalId), rel=1e-6)
    assert "radius of 3000 mm" in findings[0].text


def test_a_wall_drawn_in_coarse_facets_is_laid_as_they_are(tmp_path: pathlib.Path) -> None:
    maker = Maker()
    element = maker.wall(maker.extruded(maker.outline(faceted(3000, 0, 90, 4)), 2500))
    building, findings, path = read(maker, tmp_path)
    walls = in_order(building)
    assert len(walls) == 4
    assert sum(w.set_aside_m3 for w in walls) == 0
    # corners of the faces are 200 apart along the radius, the faces by the cosine of half a turn less
    assert max(abs(w.thickness / MM - 200 * cos(radians(11.25))) for w in walls) < 1e-3
    assert sum(w.drawn_m3 for w in walls) == pytest.approx(kernel_m3(path, element.GlobalId), rel=1e-6)
    assert "turn by 22.5 degrees" in findings[0].text


@pytest.mark.parametrize("degree", [0.017453292519943295, 0.01745])
def test_straight_and_curved_stretches_in_one_wall(degree: float, tmp_path: pathlib.Path) -> None:
    maker = Maker("IFC2X3")
    radian = maker.add("IfcSIUnit", None, "PLANEANGLEUNIT", None, "RADIAN")
    size = maker.add("IfcMeasureWithUnit", maker.add("IfcPlaneAngleMeasure", degree), radian)
    unit = maker.add("IfcConversionBasedUnit", maker.add("IfcDimensionalExponents", *[0] * 7), "PLANEANGLEUNIT", "DEGREE", size)
    maker.project.UnitsInContext.Units = [*maker.project.UnitsInContext.Units, unit]

    def half(radius: float, first: float, last: float) -> Any:
        made = arc(maker, radius, first, last)
        made.Trim1, made.Trim2 = ([maker.add("IfcParameterValue", float(a))] for a in (first, last))
        return made

    parts = [
        line(maker, (1100, -2000), (1100, 0)), half(1100, 0, 180), line(maker, (-1100, 0), (-1100, -2000)),
        line(maker, (-1100, -2000), (-900, -2000)), line(maker, (-900, -2000), (-900, 0)), half(900, 180, 0),
        line(maker, (900, 0), (900, -2000)), line(maker, (900, -2000), (1100, -2000)),
    ]  # fmt: skip
    curve = maker.add("IfcCompositeCurve", [maker.add("IfcCompositeCurveSegment", "CONTINUOUS", True, p) for p in parts], False)
    element = maker.wall(maker.extruded(maker.add("IfcArbitraryClosedProfileDef", "AREA", None, curve), 2610))
    building, _, path = read(maker, tmp_path)
    walls = in_order(building)
    assert [round(w.length / MM) for w in walls] == [2000, *[261] * 12, 2000]
    assert sum(w.drawn_m3 for w in walls) == pytest.approx((4 + pi) * 0.2 * 2.61, rel=1e-6)

    # planned: each chord meets its neighbours and no other, and the plan holds
    out = tmp_path / "plan"
    planned = CliRunner().invoke(main, ["plan", str(path), "--any-thickness", "-o", str(out)])
    assert planned.exit_code == 0, planned.output
    audited = CliRunner().invoke(main, ["audit", str(out)])
    assert audited.exit_code == 0, audited.output
    summary = json.loads((out / "summary.json").read_text(encoding="utf-8"))
    (wall,) = summary["walls"]
    assert wall["guid"] == element.GlobalId
    assert wall["area_m2"]["set_aside"] == 0
    assert wall["ledger_m3"]["set_aside"] == pytest.approx((pi - 24 * sin(pi / 24)) * 0.2 * 2.61, rel=1e-4)
    corners = (out / "corners.csv").read_text(encoding="utf-8").splitlines()[1:]
    assert sorted(c.split(",")[1] for c in corners) == ["angled"] * 13 + ["end"] * 2


def test_a_curved_axis_and_a_layer(tmp_path: pathlib.Path) -> None:
    maker = Maker()
    element = maker.wall(maker.extruded(sector(maker, 3000, 0, 90), 2500), axis=arc(maker, 3000, 0, 90))
    layer = maker.add("IfcMaterialLayer", maker.add("IfcMaterial", "Block"), 200.0, None)
    made = maker.add("IfcMaterialLayerSet", [layer], "stack")
    usage = maker.add("IfcMaterialLayerSetUsage", made, "AXIS2", "POSITIVE", -100.0)
    maker.root("IfcRelAssociatesMaterial", RelatedObjects=[element], RelatingMaterial=usage)
    building, findings, _ = read(maker, tmp_path)
    assert len(building.walls) == 10
    assert [f.code for f in findings] == ["reading.bent"]
    assert len(read(maker, tmp_path, select=Select(material="block"))[0].walls) == 10
    (aside,) = read(maker, tmp_path, select=Select(material="stone"))[0].set_aside
    assert aside.reason == "the job selects none of its layers"


def test_a_wall_that_grows_thinner_is_no_bent_wall(tmp_path: pathlib.Path) -> None:
    maker = Maker()
    turns = [k * 7.5 for k in range(13)]
    wedge = [polar(3200 - a, a) for a in turns] + [polar(2900, a) for a in reversed(turns)]  # thinner to its end
    maker.wall(maker.extruded(maker.outline(wedge), 2500))
    building, _, _ = read(maker, tmp_path)
    assert building.walls == ()
    assert [a.reason for a in building.set_aside] == ["its outline in plan is no straight wall with two parallel faces"]


@pytest.mark.parametrize("how", ["hollow profile", "circles", "chords"])
def test_a_round_wall_without_ends(how: str, tmp_path: pathlib.Path) -> None:
    """2 pi r t h of masonry; its chords close the ring, and each turns by the same angle."""
    maker = Maker()
    if how == "hollow profile":
        profile = maker.add("IfcCircleHollowProfileDef", "AREA", None, maker.add("IfcAxis2Placement2D", maker.point(0, 0)), 2600.0, 200.0)
    elif how == "circles":
        rings = [maker.add("IfcCircle", maker.add("IfcAxis2Placement2D", maker.point(0, 0)), r) for r in (2600.0, 2400.0)]
        profile = maker.add("IfcArbitraryProfileDefWithVoids", "AREA", None, rings[0], [rings[1]])
    else:
        outer, inner = ([polar(s, a) for a in range(0, 360, 5)] for s in (2600, 2400))
        profile = maker.outline(outer, [inner])
    element = maker.wall(maker.extruded(profile, 2400))
    maker.opening(element, maker.box(2000, 3000, 0, 2000, right=-400, left=400))  # through the ring where it crosses the x axis
    building, findings, path = read(maker, tmp_path)
    assert not building.set_aside
    walls = in_order(building)
    assert len(walls) == 2 * ceil(180 / (2 * degrees(acos(1 - 10 / 2500))))
    for one, two in zip(walls, [*walls[1:], walls[0]], strict=True):
        assert hypot(one.end[0] - two.start[0], one.end[1] - two.start[1]) <= 2
    assert max(abs(w.thickness / MM - 200) for w in walls) <= 0.3
    assert sum(w.drawn_m3 for w in walls) == pytest.approx(kernel_m3(path, element.GlobalId, openings=False), rel=5e-3)
    assert sum(w.drawn_m3 for w in walls) - voids_m3(walls) == pytest.approx(kernel_m3(path, element.GlobalId), rel=5e-3)
    assert "reading.bent" in {f.code for f in findings}


@pytest.mark.parametrize("case", ["two holes", "beside the middle", "square inside", "few sides"])
def test_a_ring_that_is_no_round_wall_is_set_aside(case: str, tmp_path: pathlib.Path) -> None:
    maker = Maker()
    outer, inner = ([polar(s, a) for a in range(0, 360, 5)] for s in (2600, 2400))
    holes = {
        "two holes": [[polar(300, a) for a in range(0, 360, 5)], [(x + 1500, y) for x, y in (polar(300, a) for a in range(0, 360, 5))]],
        "beside the middle": [[(x + 20, y) for x, y in inner]],
        "square inside": [[polar(2300, a) for a in range(0, 360, 90)]],
        "few sides": [inner[::15]],
    }[case]
    maker.wall(maker.extruded(maker.outline(outer[::15] if case == "few sides" else outer, holes), 2400))
    building, _, _ = read(maker, tmp_path)
    assert [a.reason for a in building.set_aside] == ["its outline in plan is no straight wall with two parallel faces"]


def test_a_round_wall_is_planned_whole(tmp_path: pathlib.Path) -> None:
    """The plan holds, and the outline of the wall in the summary is that of the ring: pi (2.6 x 2.6 - 2.4 x 2.4)."""
    maker = Maker()
    profile = maker.add("IfcCircleHollowProfileDef", "AREA", None, maker.add("IfcAxis2Placement2D", maker.point(0, 0)), 2600.0, 200.0)
    maker.wall(maker.extruded(profile, 1210))
    done = CliRunner().invoke(main, ["plan", str(maker.write(tmp_path)), "-o", str(tmp_path / "out")])
    assert done.exit_code == 0, done.output
    assert audit(tmp_path / "out") == ()
    (wall,) = json.loads((tmp_path / "out" / "summary.json").read_text(encoding="utf-8"))["walls"]
    assert len(wall["parts"]) == 36
    assert shapely.Polygon(wall["footprint_mm"]).buffer(0).area * 1e-6 == pytest.approx(pi * (2.6**2 - 2.4**2), rel=1e-3)
    assert wall["ledger_m3"]["set_aside"] < 0.005 * wall["ledger_m3"]["drawn"]

"""Reading walls from IFC: units, placements, profiles, clips, what is set aside.

Volumes are checked against the OpenCASCADE kernel of ifcopenshell, which shares no code with the reader.
"""

from __future__ import annotations

import pathlib
import random
import subprocess
import sys

import pytest

from tests.unit.ifc_maker import MILLIMETRES, Maker, kernel_m3
from wallquant.building import Building, SetAside, Wall
from wallquant.findings import Finding
from wallquant.importers import ifc
from wallquant.units import MM, M, mm

SCHEMAS = ("IFC2X3", "IFC4", "IFC4X3_ADD2")


def read(maker: Maker, folder: pathlib.Path) -> tuple[Building, tuple[Finding, ...]]:
    return ifc.read(maker.write(folder))


def only(maker: Maker, folder: pathlib.Path) -> Wall:
    building, _ = read(maker, folder)
    assert not building.set_aside, building.set_aside[0].reason
    assert len(building.walls) == 1
    return building.walls[0]


def aside(maker: Maker, folder: pathlib.Path) -> SetAside:
    building, findings = read(maker, folder)
    assert not building.walls
    assert len(building.set_aside) == 1
    assert [(f.code, f.severity) for f in findings] == [("reading.set-aside", "warning")]
    assert building.set_aside[0].reason in findings[0].text
    return building.set_aside[0]


def codes(findings: tuple[Finding, ...]) -> list[str]:
    return [f.code for f in findings]


@pytest.mark.parametrize("schema", SCHEMAS)
@pytest.mark.parametrize("unit", sorted(MILLIMETRES))
def test_units_and_a_turned_placement(schema: str, unit: str, tmp_path: pathlib.Path) -> None:
    # 1 in = 25.4 mm and 1 ft = 304.8 mm exactly (international yard and pound agreement, 1959)
    times = {"mm": 256, "cm": 32, "in": 16}.get(unit, 1)
    size = MILLIMETRES[unit] * times  # mm in one step of the numbers below
    maker = Maker(schema, unit)
    maker.add_storey("Ground", 10.0 * times)
    site = maker.placed((100.0 * times, 50.0 * times, 10.0 * times))
    maker.plain_wall(
        20.0 * times, 0.5 * times, 8.0 * times, place=maker.placed((3.0 * times, 4.0 * times, times), (0.6, 0.8, 0.0), to=site)
    )
    building, findings = read(maker, tmp_path)
    wall = building.walls[0]
    assert (building.ifc_schema, building.unit, findings) == (schema, unit, ())
    assert [round(v / MM / size, 9) for v in (*wall.start, *wall.end)] == [103.0, 54.0, 115.0, 70.0]
    assert (wall.length, wall.thickness) == (mm(20 * size), mm(0.5 * size))
    assert wall.bottom == mm(11 * size)
    assert wall.top == ((0, mm(19 * size)), (mm(20 * size), mm(19 * size)))
    assert wall.drawn_m3 == pytest.approx(20 * 0.5 * 8 * (size / 1000) ** 3, rel=1e-12)
    assert (wall.storey, building.storeys[0].level) == ("Ground", mm(10 * size))


@pytest.mark.parametrize("schema", SCHEMAS)
def test_two_roof_planes_make_a_gable(schema: str, tmp_path: pathlib.Path) -> None:
    maker = Maker(schema)
    body = maker.extruded(maker.rectangle(8000, 240, (4000, 0)), 6000)
    body = maker.cut(body, maker.half_space((4000, 0, 5000), (-0.6, 0, 0.8)), maker.half_space((4000, 0, 5000), (0.6, 0, 0.8)))
    element = maker.wall(body, axis=maker.polyline([(0, 0), (8000, 0)]))
    wall = only(maker, tmp_path)
    assert wall.top == ((0, mm(2000)), (mm(4000), mm(5000)), (mm(8000), mm(2000)))
    assert wall.drawn_m3 == pytest.approx(kernel_m3(tmp_path / "model.ifc", element.GlobalId), rel=1e-6)


def test_level_planes_trim_top_and_base(tmp_path: pathlib.Path) -> None:
    maker = Maker()
    body = maker.extruded(maker.rectangle(5000, 200, (2500, 0)), 4000)
    body = maker.cut(body, maker.half_space((0, 0, 2750), (0, 0, 1)), maker.half_space((0, 0, 150), (0, 0, -1)))
    maker.wall(body, axis=maker.polyline([(0, 0), (5000, 0)]))
    wall = only(maker, tmp_path)
    assert (wall.bottom, wall.top) == (mm(150), ((0, mm(2750)), (mm(5000), mm(2750))))
    assert wall.drawn_m3 == pytest.approx(5 * 0.2 * 2.6, rel=1e-12)


def test_a_bounded_clip_makes_a_step(tmp_path: pathlib.Path) -> None:
    maker = Maker()
    body = maker.extruded(maker.rectangle(5000, 200, (2500, 0)), 3000)
    bound = [(3000, -500), (6000, -500), (6000, 500), (3000, 500)]
    element = maker.wall(maker.cut(body, maker.half_space((0, 0, 2000), (0, 0, 1), bound)), axis=maker.polyline([(0, 0), (5000, 0)]))
    wall = only(maker, tmp_path)
    assert wall.top == ((0, mm(3000)), (mm(3000), mm(3000)), (mm(3000), mm(2000)), (mm(5000), mm(2000)))
    assert wall.drawn_m3 == pytest.approx(kernel_m3(tmp_path / "model.ifc", element.GlobalId), rel=1e-6)


def test_mitred_ends_are_taken_at_their_mean(tmp_path: pathlib.Path) -> None:
    maker = Maker()
    ring = [(0, -150), (3000, -150), (6000, -150), (5700, 150), (300, 150)]  # one point of the long face is redundant
    element = maker.wall(maker.extruded(maker.outline(ring), 2500), axis=maker.polyline([(0, 0), (6000, 0)]))
    wall = only(maker, tmp_path)
    assert (wall.start, wall.end, wall.thickness) == ((mm(150), 0), (mm(5850), 0), mm(300))
    assert wall.drawn_m3 == pytest.approx(kernel_m3(tmp_path / "model.ifc", element.GlobalId), rel=1e-9)
    assert len(wall.footprint) >= 4


def test_upright_clips_mitre_the_ends(tmp_path: pathlib.Path) -> None:
    maker = Maker()
    body = maker.extruded(maker.rectangle(6000, 300, (3000, 0)), 2500)
    body = maker.cut(body, maker.half_space((6000, -150, 0), (0.5**0.5, 0.5**0.5, 0)))
    element = maker.wall(body, axis=maker.polyline([(0, 0), (6000, 0)]))
    wall = only(maker, tmp_path)
    assert abs(wall.end[0] - mm(5850)) <= 1
    assert wall.drawn_m3 == pytest.approx(kernel_m3(tmp_path / "model.ifc", element.GlobalId), rel=1e-6)


def test_a_pointed_end_is_taken_at_its_mean_and_told(tmp_path: pathlib.Path) -> None:
    maker = Maker()
    ring = [(0, -120), (3000, -120), (3120, 0), (3000, 120), (0, 120)]
    maker.wall(maker.extruded(maker.outline(ring), 2500), axis=maker.polyline([(0, 0), (3000, 0)]))
    building, findings = read(maker, tmp_path)
    assert building.walls[0].end == (mm(3060), 0)
    assert codes(findings) == ["reading.odd-end"]


def test_a_roof_that_leans_across_the_wall_sets_the_wedge_aside(tmp_path: pathlib.Path) -> None:
    maker = Maker()
    body = maker.extruded(maker.rectangle(5000, 200, (2500, 0)), 3000)
    body = maker.cut(body, maker.half_space((0, 100, 2000), (0, 0.5**0.5, 0.5**0.5)))  # 2000 at the left face, 2200 at the right
    element = maker.wall(body, axis=maker.polyline([(0, 0), (5000, 0)]))
    building, findings = read(maker, tmp_path)
    wall = building.walls[0]
    assert all(abs(level - mm(2000)) < 1000 for _, level in wall.top)  # laid where it has its full thickness: to a micrometre
    assert wall.set_aside_m3 == pytest.approx(5 * 0.2 * 0.2 / 2, rel=1e-4)
    assert wall.set_aside_m2 == pytest.approx(5 * 0.1, rel=1e-4)
    assert wall.drawn_m3 == pytest.approx(kernel_m3(tmp_path / "model.ifc", element.GlobalId), rel=1e-6)
    assert codes(findings) == ["reading.leaning-clip"]
    assert wall.reasons


def test_a_wall_drawn_as_its_elevation(tmp_path: pathlib.Path) -> None:
    """An outline with a door and a window, extruded through the thickness."""
    maker = Maker()
    ring = [(0, 0), (1000, 0), (1000, 2010), (2010, 2010), (2010, 0), (6000, 0), (6000, 2500), (3000, 4000), (0, 2500)]
    window = [(3500, 900), (4500, 900), (4500, 2000), (3500, 2000)]
    body = maker.extruded(maker.outline(ring, [window]), 240, (0, 120, 0), (0, -1, 0), (1, 0, 0))
    element = maker.wall(body, axis=maker.polyline([(0, 0), (6000, 0)]))
    wall = only(maker, tmp_path)
    assert wall.top == ((0, mm(2500)), (mm(3000), mm(4000)), (mm(6000), mm(2500)))
    assert (wall.start, wall.end, wall.thickness) == ((0, 0), (mm(6000), 0), mm(240))
    assert [(o.start, o.end, o.sill, o.head) for o in wall.openings] == [
        (mm(1000), mm(2010), 0, mm(2010)), (mm(3500), mm(4500), mm(900), mm(2000)),
    ]  # fmt: skip
    void = sum((o.end - o.start) * (o.head - o.sill) for o in wall.openings) * 1e-18 * 0.24
    assert wall.drawn_m3 - void == pytest.approx(kernel_m3(tmp_path / "model.ifc", element.GlobalId), rel=1e-6)


def test_a_wall_extruded_along_its_length(tmp_path: pathlib.Path) -> None:
    maker = Maker()
    body = maker.extruded(maker.rectangle(240, 2500, (0, 1250)), 4000, (0, 0, 0), (1, 0, 0), (0, 1, 0))
    maker.wall(body, axis=maker.polyline([(0, 0), (4000, 0)]))
    wall = only(maker, tmp_path)
    assert (wall.end, wall.thickness, wall.top[0][1]) == ((mm(4000), 0), mm(240), mm(2500))


def test_a_mapped_body_with_a_scale(tmp_path: pathlib.Path) -> None:
    maker = Maker()
    body = maker.add(
        "IfcShapeRepresentation", maker.context, "Body", "SweptSolid", [maker.extruded(maker.rectangle(1000, 100, (500, 0)), 1250)]
    )
    source = maker.add("IfcRepresentationMap", maker.axes(), body)
    target = maker.add("IfcCartesianTransformationOperator3D", None, None, maker.point(500, 0, 0), 2.0, None)
    maker.wall(maker.add("IfcMappedItem", source, target), axis=maker.polyline([(0, 0), (2500, 0)]))
    wall = only(maker, tmp_path)
    assert (wall.start, wall.end, wall.thickness, wall.top[0][1]) == ((mm(500), 0), (mm(2500), 0), mm(200), mm(2500))


def test_layers_drawn_as_solids_are_one_wall(tmp_path: pathlib.Path) -> None:
    maker = Maker()
    layers = [maker.extruded(maker.rectangle(4000, t, (2000, y)), 2500) for t, y in ((100, 50), (200, 200), (50, 325))]
    maker.wall(*layers, axis=maker.polyline([(0, 0), (4000, 0)]))
    wall = only(maker, tmp_path)
    assert (wall.thickness, wall.start[1], wall.drawn_m3) == (mm(350), mm(175), pytest.approx(4 * 0.35 * 2.5))


def test_solids_upon_each_other_are_one_wall(tmp_path: pathlib.Path) -> None:
    maker = Maker()
    lower = maker.extruded(maker.rectangle(4000, 200, (2000, 0)), 1500)
    upper = maker.extruded(maker.rectangle(2000, 200, (1000, 0)), 1000, (0, 0, 1500))
    maker.wall(lower, upper, axis=maker.polyline([(0, 0), (4000, 0)]))
    wall = only(maker, tmp_path)
    assert wall.top == ((0, mm(2500)), (mm(2000), mm(2500)), (mm(2000), mm(1500)), (mm(4000), mm(1500)))
    assert wall.drawn_m3 == pytest.approx(0.2 * (4 * 1.5 + 2 * 1.0))


def test_without_axis_the_longer_side_is_the_direction(tmp_path: pathlib.Path) -> None:
    maker = Maker()
    maker.wall(maker.extruded(maker.rectangle(200, 3000, (0, 1500)), 2500))
    building, findings = read(maker, tmp_path)
    assert sorted((building.walls[0].start, building.walls[0].end)) == [(0, 0), (0, mm(3000))]
    assert codes(findings) == ["reading.no-axis"]


def test_the_axis_gives_the_direction_of_a_pier(tmp_path: pathlib.Path) -> None:
    maker = Maker()
    maker.wall(maker.extruded(maker.rectangle(200, 365, (100, 0)), 2500), axis=maker.polyline([(0, 0), (200, 0)]))
    wall = only(maker, tmp_path)
    assert (wall.length, wall.thickness) == (mm(200), mm(365))


def test_far_from_the_origin_nothing_is_lost(tmp_path: pathlib.Path) -> None:
    maker = Maker()
    maker.plain_wall(5999.9, 175.2, 2500, place=maker.placed((1e9 + 123.25, -2e9, 0)))
    building, _ = read(maker, tmp_path)
    assert building.origin == (1_000_000 * M, -2_000_000 * M)
    assert (building.walls[0].start, building.walls[0].end) == ((mm(123.25), 0), (mm(6123.15), 0))


def test_the_context_coordinate_system_is_applied(tmp_path: pathlib.Path) -> None:
    maker = Maker()
    maker.context.WorldCoordinateSystem = maker.axes((1000, 0, 300), (0, 0, 1), (0, 1, 0))
    maker.plain_wall(2000, 200, 2500)
    wall = only(maker, tmp_path)
    assert (wall.start, wall.end, wall.bottom) == ((mm(1000), 0), (mm(1000), mm(2000)), mm(300))


def test_no_storey_the_nearest_level_below_serves(tmp_path: pathlib.Path) -> None:
    maker = Maker()
    for name, level in (("Upper", 3000), ("Ground", 0)):
        maker.add_storey(name, level)
    maker.storey = None
    maker.plain_wall(2000, 200, 2500, place=maker.placed((0, 0, 2000)))
    assert only(maker, tmp_path).storey == "Ground"


def test_bearing_material_and_joins(tmp_path: pathlib.Path) -> None:
    maker = Maker()
    one, two = maker.plain_wall(2000, 200, 2500), maker.plain_wall(3000, 200, 2500, place=maker.placed((0, 2000, 0)))
    flag = maker.add("IfcPropertySingleValue", "LoadBearing", None, maker.add("IfcBoolean", True), None)
    kind = maker.root(
        "IfcWallType",
        "T",
        HasPropertySets=[maker.root("IfcPropertySet", "Pset_WallCommon", HasProperties=[flag])],
        PredefinedType="SOLIDWALL",
    )
    maker.root("IfcRelDefinesByType", RelatedObjects=[one, two], RelatingType=kind)
    no = maker.add("IfcPropertySingleValue", "LoadBearing", None, maker.add("IfcBoolean", False), None)
    own = maker.root("IfcPropertySet", "Pset_WallCommon", HasProperties=[no])
    maker.root("IfcRelDefinesByProperties", RelatedObjects=[two], RelatingPropertyDefinition=own)
    layers = [maker.add("IfcMaterialLayer", maker.add("IfcMaterial", name), t) for name, t in (("render", 15.0), ("block", 175.0))]
    usage = maker.add("IfcMaterialLayerSetUsage", maker.add("IfcMaterialLayerSet", layers), "AXIS2", "POSITIVE", -95.0)
    maker.root("IfcRelAssociatesMaterial", RelatedObjects=[one], RelatingMaterial=usage)
    maker.root(
        "IfcRelConnectsPathElements", RelatingElement=one, RelatedElement=two, RelatingPriorities=[], RelatedPriorities=[],
        RelatedConnectionType="ATSTART", RelatingConnectionType="ATEND",
    )  # fmt: skip
    building, findings = read(maker, tmp_path)
    walls = {w.guid: w for w in building.walls}
    assert (walls[one.GlobalId].bearing, walls[two.GlobalId].bearing) == (True, False)
    assert (walls[one.GlobalId].joins, walls[two.GlobalId].joins) == ((two.GlobalId,), (one.GlobalId,))
    assert walls[one.GlobalId].material == "block"
    assert [(f.code, f.measured, f.wanted) for f in findings] == [("reading.layers", "200 mm", "190 mm")]


def test_any_order_of_the_lines_gives_the_same_building(tmp_path: pathlib.Path) -> None:
    maker = Maker()
    maker.add_storey("Ground", 0)
    for i in range(6):
        wall = maker.plain_wall(4000, 200, 2500, place=maker.placed((0, 3000 * i, 0)))
        maker.opening(wall, maker.box(1000, 2000, 0, 2000), maker.box(1500, 2500, 1000, 2200))
    path = maker.write(tmp_path)
    first = ifc.read(path)
    lines = path.read_text().splitlines()
    start, end = lines.index("DATA;") + 1, len(lines) - 2
    body = [line for line in lines[start:end] if line.startswith("#")]
    random.Random(7).shuffle(body)
    path.write_text("\n".join([*lines[:start], *body, "ENDSEC;", "END-ISO-10303-21;"]) + "\n")
    assert ifc.read(path) == first


def test_equal_and_missing_global_ids_stay_apart(tmp_path: pathlib.Path) -> None:
    maker = Maker()
    one, two, three = (maker.plain_wall(2000, 200, 2500, place=maker.placed((0, 1000 * i, 0)), name=f"W{i}") for i in range(3))
    two.GlobalId = one.GlobalId
    building, findings = read(maker, tmp_path)
    assert len({w.guid for w in building.walls}) == 3
    assert three.GlobalId in {w.guid for w in building.walls}
    assert codes(findings) == ["reading.guid"]


@pytest.mark.parametrize(("case", "reason"), [
    ("curved axis", "it is curved"),
    ("L outline", "no straight wall with two parallel faces"),
    ("pilaster", "no straight wall with two parallel faces"),
    ("tilted", "tilted out of the vertical"),
    ("no body", "it has no body"),
    ("raked underside", "its underside is not level"),
    ("slanted extrusion", "at a slant"),
    ("circle of placements", "refers to itself in a circle"),
    ("grid placement", "IfcGridPlacement"),
    ("clipped away", "leave nothing"),
    ("unknown profile", "IfcIShapeProfileDef"),
])  # fmt: skip
def test_what_cannot_be_laid_is_set_aside_with_its_reason(case: str, reason: str, tmp_path: pathlib.Path) -> None:
    maker = Maker()
    axis = maker.polyline([(0, 0), (4000, 0)])
    plain = maker.extruded(maker.rectangle(4000, 200, (2000, 0)), 2500)
    if case == "curved axis":
        circle = maker.add("IfcCircle", maker.add("IfcAxis2Placement2D", maker.point(2000, -2000)), 2828.0)
        trims = [[maker.point(0, 0)], [maker.point(4000, 0)]]
        maker.wall(plain, axis=maker.add("IfcTrimmedCurve", circle, trims[0], trims[1], False, "CARTESIAN"))
    elif case == "L outline":
        maker.wall(maker.extruded(maker.outline([(0, 0), (4000, 0), (4000, 200), (200, 200), (200, 3000), (0, 3000)]), 2500), axis=axis)
    elif case == "pilaster":
        ring = [(0, -100), (4000, -100), (4000, 100), (2400, 100), (2400, 250), (2000, 250), (2000, 100), (0, 100)]
        maker.wall(maker.extruded(maker.outline(ring), 2500), axis=axis)
    elif case == "tilted":
        maker.wall(plain, axis=axis, place=maker.placed(z=(0, 0.3, 0.9), x=(1, 0, 0)))
    elif case == "no body":
        maker.wall()
    elif case == "raked underside":
        maker.wall(maker.cut(plain, maker.half_space((0, 0, 0), (0.1, 0, -1))), axis=axis)
    elif case == "slanted extrusion":
        maker.wall(maker.add("IfcExtrudedAreaSolid", maker.rectangle(4000, 200), maker.axes(), maker.way(0.5, 0, 1), 2500.0), axis=axis)
    elif case == "circle of placements":
        place = maker.placed()
        place.PlacementRelTo = place
        maker.wall(plain, axis=axis, place=place)
    elif case == "grid placement":
        line = maker.add("IfcGridAxis", "1", axis, True)
        crossing = maker.add("IfcVirtualGridIntersection", [line, line], [0.0, 0.0])
        maker.wall(plain, axis=axis, place=maker.add("IfcGridPlacement", PlacementLocation=crossing))
    elif case == "clipped away":
        maker.wall(maker.cut(plain, maker.half_space((0, 0, -10), (0, 0, 1))), axis=axis)
    elif case == "unknown profile":
        profile = maker.add("IfcIShapeProfileDef", "AREA", None, None, 200.0, 400.0, 10.0, 15.0)
        maker.wall(maker.extruded(profile, 2500), axis=axis)
    found = aside(maker, tmp_path)
    assert reason in found.reason
    if case == "tilted":
        assert found.footprint


def test_clips_within_the_underside_or_through_all_of_it_are_openings(tmp_path: pathlib.Path) -> None:
    maker = Maker()
    bound = [(1000, -500), (2000, -500), (2000, 500), (1000, 500)]
    for n, clip in enumerate((maker.half_space((0, 0, 300), (0, 0, -1), bound), maker.half_space((0, 0, -10), (0, 0, 1), bound))):
        plain = maker.extruded(maker.rectangle(4000, 200, (2000, 0)), 2500)
        maker.wall(maker.cut(plain, clip), axis=maker.polyline([(0, 0), (4000, 0)]), place=maker.placed((0, 2000 * n, 0)))
    building, findings = read(maker, tmp_path)
    holes = sorted((w.start[1], o.start, o.end, o.sill, o.head) for w in building.walls for o in w.openings)
    assert holes == [(0, mm(1000), mm(2000), 0, mm(300)), (mm(2000), mm(1000), mm(2000), 0, mm(2500))]
    assert codes(findings) == ["reading.drawn-hole"] * 2


def test_parts_of_walls_and_of_curtain_walls(tmp_path: pathlib.Path) -> None:
    maker = Maker()
    whole = maker.wall(name="whole")
    parts = [maker.plain_wall(2000, 200, 2500, place=maker.placed((2000 * i, 0, 0))) for i in range(2)]
    maker.root("IfcRelAggregates", RelatingObject=whole, RelatedObjects=parts)
    glass = maker.root("IfcCurtainWall", "glass")
    maker.root("IfcRelAggregates", RelatingObject=glass, RelatedObjects=[maker.plain_wall(900, 60, 2500)])
    elemented = maker.wall(name="in parts", kind="IfcWallElementedCase")
    maker.root("IfcRelAggregates", RelatingObject=elemented, RelatedObjects=[maker.root("IfcBuildingElementPart", "leaf")])
    building, findings = read(maker, tmp_path)
    assert sorted(w.guid for w in building.walls) == sorted(p.GlobalId for p in parts)
    assert [s.guid for s in building.set_aside] == [elemented.GlobalId]
    assert building.set_aside[0].reason == "its part leaf cannot be read: it has no body"
    assert sorted(codes(findings)) == ["reading.curtain-wall", "reading.set-aside", "reading.wall-of-walls"]


def test_the_importers_package_is_cheap_to_import() -> None:
    code = "import sys, wallquant.importers.ifc, wallquant.importers.wall_list; sys.exit('ifcopenshell' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0


@pytest.mark.parametrize("seed", range(24))
def test_random_clips_leave_what_the_kernel_leaves(seed: int, tmp_path: pathlib.Path) -> None:
    """A wall, turned and clipped at random: rakes, trims, mitres, steps; its volume is the kernel's, or it is set aside."""
    rng = random.Random(seed)
    maker = Maker()
    length, thickness, height = rng.uniform(2000, 8000), rng.uniform(100, 400), rng.uniform(2000, 4000)
    body = maker.extruded(maker.rectangle(length, thickness, (length / 2, 0)), height)
    for _ in range(rng.randint(1, 4)):
        kind = rng.choice(("rake", "trim", "mitre", "step", "lean"))
        if kind == "rake":
            slope, at = rng.uniform(-1, 1), rng.uniform(0.6, 1.0) * height
            body = maker.cut(body, maker.half_space((length / 2, 0, at), (-slope, 0, 1)))
        elif kind == "trim":
            body = maker.cut(body, maker.half_space((0, 0, rng.uniform(0.5, 1.0) * height), (0, 0, 1)))
        elif kind == "mitre":
            body = maker.cut(body, maker.half_space((length, 0, 0), (1, rng.uniform(-1, 1), 0)))
        elif kind == "lean":
            body = maker.cut(body, maker.half_space((0, 0, 0.8 * height), (0, rng.uniform(-1, 1), 1)))
        else:
            start = rng.uniform(0.1, 0.9) * length
            bound = [(start, -1000), (length + 1000, -1000), (length + 1000, 1000), (start, 1000)]
            body = maker.cut(body, maker.half_space((0, 0, rng.uniform(0.5, 1.0) * height), (rng.uniform(-0.3, 0.3), 0, 1), bound))
    place = maker.placed((rng.uniform(-1e5, 1e5), rng.uniform(-1e5, 1e5), 0), (rng.uniform(-1, 1), rng.uniform(0.1, 1), 0))
    element = maker.wall(body, axis=maker.polyline([(0, 0), (length, 0)]), place=place)
    building, _ = read(maker, tmp_path)
    assert not building.set_aside, building.set_aside[0].reason
    assert building.walls[0].drawn_m3 == pytest.approx(kernel_m3(tmp_path / "model.ifc", element.GlobalId), rel=2e-4)

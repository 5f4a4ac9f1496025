"""The sample models are what their README says, and any program can read them.

Outside checks: the schema and its rules (ISO 16739-1, by ifcopenshell.validate) and the volumes of a geometry kernel
(Open CASCADE, by ifcopenshell.geom).  The expected volumes are typed here from the README's tables, not taken from the script.
"""

from __future__ import annotations

import subprocess
import sys
from math import pi, tan
from pathlib import Path
from typing import Any

import ifcopenshell
import ifcopenshell.geom
import ifcopenshell.util.element
import ifcopenshell.util.shape
import ifcopenshell.util.unit
import ifcopenshell.validate
import pytest
import shapely

from tests.benchmarks import generate_model
from wallquant import units
from wallquant.importers import ifc, wall_list

# their types are missing or too wide to be of use
kernel: Any = ifcopenshell.geom
shapes: Any = ifcopenshell.util.shape
elements: Any = ifcopenshell.util.element
validator: Any = ifcopenshell.validate

SAMPLES = Path(__file__).resolve().parents[2] / "sample_models"
METRIC, US = "landing_tool_store_mm.ifc", "field_station_workshop_in.ifc"
SHED = "seedling_shed.yaml"
INCH = 25.4
GABLE_30 = 6800 * 2400 + 6800 * 3400 * tan(pi / 6) / 2
GABLE_6_IN_12 = 240 * 96 + 240 * 60 / 2

# name: (face area of the whole wall, thickness, openings as width and height), in the model's unit
METRIC_WALLS: dict[str, tuple[float, float, list[tuple[float, float]]]] = {
    "W1": (8900 * 2400, 200, [(1200, 1000), (1000, 2000), (2000, 2000)]),
    "W2": (GABLE_30, 200, [(1200, 1200), (1000, 1000), (800, 800)]),
    "W3": (8900 * 2400, 200, [(1130, 1000), (1000, 2100), (1000, 1000)]),
    "W4": (6600 * 2400, 200, [(1200, 1200), (900, 2000)]),
    "W5": (6400 * 2400, 200, [(900, 2000)]),
    "W6": (4900 * 2400, 100, [(800, 2000)]),
    "W7": (6400 * 2400, 100, [(800, 2000), (800, 2000)]),
    "W8": (3800 * 2400, 150, [(900, 2000)]),
    "W9": (2330 * 1800, 200, []),
}
US_WALLS: dict[str, tuple[float, float, list[tuple[float, float]]]] = {
    "U1": (352 * 96, 8, [(72, 80), (48, 40)]),
    "U2": (GABLE_6_IN_12, 8, [(36, 80), (36, 40), (36, 24)]),
    "U3": (348 * 96, 8, [(48, 40), (48, 40)]),
    "U4": (228 * 96, 8, [(32, 40), (36, 40)]),
    "U5": (224 * 96, 8, [(36, 80), (36, 80)]),
    "U6": (144 * 96, 8, [(36, 80)]),
    "U7": (192 * 96, 4, [(32, 80)]),
    "U8": (134 * 96, 4, [(30, 80)]),
    "U9": (96 * 72, 8, []),
    "U10": (72 * 72, 8, []),
}
MODELS = [(METRIC, METRIC_WALLS, 1.0), (US, US_WALLS, INCH)]
NAMES = [METRIC, US]


def _key(wall: Any) -> str:
    return str(wall.Name).split()[0]


def _shape(wall: Any, *, whole: bool = False) -> Any:
    settings = kernel.settings()
    settings.set("use-world-coords", True)
    settings.set("disable-opening-subtractions", whole)
    return kernel.create_shape(settings, wall).geometry


def _footprint(wall: Any) -> shapely.Polygon:
    """Return the outline of the body's underside in millimetres: its lowest vertices, and every sample wall is convex."""
    vertices = shapes.get_vertices(_shape(wall, whole=True)) * 1000
    outline = shapely.MultiPoint(vertices[vertices[:, 2] < 0.001][:, :2]).convex_hull
    assert isinstance(outline, shapely.Polygon)
    return outline


@pytest.fixture(params=NAMES)
def model(request: pytest.FixtureRequest) -> Any:
    return ifcopenshell.open(str(SAMPLES / request.param))


def test_the_script_writes_the_same_bytes(tmp_path: Path) -> None:
    subprocess.run([sys.executable, "-B", str(SAMPLES / "make_samples.py"), str(tmp_path)], check=True)
    assert sorted(p.name for p in tmp_path.iterdir()) == sorted(NAMES)
    for name in NAMES:
        assert (tmp_path / name).read_bytes() == (SAMPLES / name).read_bytes(), f"run make_samples.py again: {name} is not what it writes"


def _complaints(model: Any) -> list[Any]:
    log = validator.json_logger()
    validator.validate(model, log, express_rules=True)
    return list(log.statements)


def test_the_schema_and_its_rules_hold(model: Any) -> None:
    assert _complaints(model) == []


def test_the_validator_does_complain() -> None:
    model = ifcopenshell.open(str(SAMPLES / METRIC))
    model.by_type("IfcWall")[0].GlobalId = model.by_type("IfcWall")[1].GlobalId
    assert _complaints(model)


def test_every_wall_is_complete(model: Any) -> None:
    walls = model.by_type("IfcWall")
    assert 8 <= len(walls) <= 16
    for wall in walls:
        assert {r.RepresentationIdentifier for r in wall.Representation.Representations} == {"Axis", "Body"}, wall.Name
        assert elements.get_container(wall).is_a("IfcBuildingStorey"), wall.Name
        assert elements.get_material(wall).is_a("IfcMaterialLayerSetUsage"), wall.Name
        assert isinstance(elements.get_psets(wall)["Pset_WallCommon"]["LoadBearing"], bool), wall.Name
        assert wall.ConnectedTo or wall.ConnectedFrom, wall.Name


@pytest.mark.parametrize(("name", "walls", "size"), MODELS)
def test_volumes_are_as_meant(name: str, walls: dict[str, tuple[float, float, list[tuple[float, float]]]], size: float) -> None:
    model = ifcopenshell.open(str(SAMPLES / name))
    found = {_key(wall): wall for wall in model.by_type("IfcWall")}
    assert set(found) == set(walls)
    for key, (face, thickness, holes) in walls.items():
        cubic = (size / 1000) ** 3
        whole = shapes.get_volume(_shape(found[key], whole=True))
        net = shapes.get_volume(_shape(found[key]))
        assert whole == pytest.approx(face * thickness * cubic, abs=1e-6), key
        assert net == pytest.approx((face - sum(w * h for w, h in holes)) * thickness * cubic, abs=1e-6), key


@pytest.mark.parametrize(("name", "overlaps"), [(METRIC, {"W3 W4": 1.0, "W5 W6": 1.0, "W6 W7": 1.0}), (US, {})])
def test_walls_that_are_said_to_meet_touch_and_no_others(name: str, overlaps: dict[str, float]) -> None:
    """Overlaps in plan, in units of 100 mm x 100 mm: the three that the README confesses to."""
    model = ifcopenshell.open(str(SAMPLES / name))
    plans = {_key(wall): _footprint(wall) for wall in model.by_type("IfcWall")}
    joined = {frozenset((_key(r.RelatingElement), _key(r.RelatedElement))) for r in model.by_type("IfcRelConnectsPathElements")}
    touching = {frozenset((a, b)) for a in plans for b in plans if a < b and plans[a].distance(plans[b]) < 0.01}
    assert joined == touching
    areas = {f"{a} {b}": plans[a].intersection(plans[b]).area / 1e4 for a in plans for b in plans if a < b}
    assert {pair: area for pair, area in areas.items() if area > 1e-3} == pytest.approx(overlaps)


def test_the_layer_set_lies_where_the_body_is(model: Any) -> None:
    size = ifcopenshell.util.unit.calculate_unit_scale(model) * 1000
    for wall in model.by_type("IfcWall"):
        usage = elements.get_material(wall)
        thickness = sum(layer.LayerThickness for layer in usage.ForLayerSet.MaterialLayers)
        settings = kernel.settings()
        across = shapes.get_vertices(kernel.create_shape(settings, wall).geometry)[:, 1] * 1000 / size
        near = usage.OffsetFromReferenceLine
        assert (across.min(), across.max()) == pytest.approx((near, near + thickness), abs=1e-6), wall.Name


def test_door_d4_stands_300_from_the_outside_corner() -> None:
    model = ifcopenshell.open(str(SAMPLES / METRIC))
    outside = min(y for wall in model.by_type("IfcWall") for y in _footprint(wall).exterior.xy[1])
    door = next(d for d in model.by_type("IfcDoor") if d.Name == "D4")
    near = shapes.get_vertices(_shape(door))[:, 1].min() * 1000
    assert near - outside == pytest.approx(300)


@pytest.mark.parametrize(("name", "walls", "size"), MODELS)
def test_wallquant_reads_every_wall(name: str, walls: dict[str, tuple[float, float, list[tuple[float, float]]]], size: float) -> None:
    building, findings = ifc.read(SAMPLES / name)
    assert building.set_aside == ()
    assert [f for f in findings if f.severity != "note"] == []
    assert {wall.name.split()[0] for wall in building.walls} == set(walls)
    for wall in building.walls:
        face, thickness, holes = walls[wall.name.split()[0]]
        assert wall.reasons == (), wall.name
        assert wall.set_aside_m3 == 0, wall.name
        assert wall.thickness == round(thickness * size * units.MM), wall.name
        assert wall.drawn_m3 == pytest.approx(face * thickness * (size / 1000) ** 3, abs=1e-6), wall.name
        read = sorted((o.end - o.start, o.head - o.sill) for o in wall.openings)
        assert read == sorted((round(w * size * units.MM), round(h * size * units.MM)) for w, h in holes), wall.name


def test_wallquant_reads_the_shed() -> None:
    building, findings = wall_list.read(SAMPLES / SHED)
    assert building.set_aside == ()
    assert [f for f in findings if f.severity != "note"] == []
    assert len(building.walls) == 8
    plans = {w.name: shapely.LineString([w.start, w.end]).buffer(w.thickness / 2, cap_style="flat") for w in building.walls}
    assert shapely.union_all(list(plans.values())).area == pytest.approx(sum(p.area for p in plans.values())), "walls overlap"
    ring = shapely.union_all(list(plans.values()))
    assert ring.geom_type == "Polygon", "walls do not touch"
    assert len(ring.interiors) == 3, "two rooms and the closed half of the bay"


def test_benchmark_models_are_sound_and_repeat(tmp_path: Path) -> None:
    first, again = tmp_path / "a.ifc", tmp_path / "b.ifc"
    for path in (first, again):
        generate_model.write(path, storeys=2, bays_x=3, bays_y=2, seed=7)
    text = first.read_bytes()
    assert text.replace(b"a.ifc", b"b.ifc") == again.read_bytes()
    model = ifcopenshell.open(str(first))
    assert _complaints(model) == []
    assert len(model.by_type("IfcWall")) == 2 * (3 + 2 + 2)
    building, _ = ifc.read(first)
    assert building.set_aside == ()
    by_kernel = sum(shapes.get_volume(_shape(wall)) for wall in model.by_type("IfcWall"))
    holes = sum((o.end - o.start) * (o.head - o.sill) * w.thickness for w in building.walls for o in w.openings) / units.M**3
    assert sum(w.drawn_m3 for w in building.walls) - holes == pytest.approx(by_kernel, abs=1e-6)


@pytest.mark.parametrize("pieces", sorted(generate_model.SIZES)[:2])
def test_benchmark_sizes_are_about_right(pieces: int, tmp_path: Path) -> None:
    """Face area over 600 x 200 mm, to 25 %: cut pieces come on top."""
    path = tmp_path / "m.ifc"
    generate_model.write(path, seed=1, **generate_model.SIZES[pieces])
    building, _ = ifc.read(path)
    net = sum(w.drawn_m3 for w in building.walls) / 0.2 - sum(
        (o.end - o.start) * (o.head - o.sill) / units.M**2 for w in building.walls for o in w.openings
    )
    assert net / 0.12 == pytest.approx(pieces, rel=0.25)

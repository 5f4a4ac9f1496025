"""layout.ifc of the samples: valid, in place, and the same pieces, sizes and order as the tables say.

Outside checks: schema and rules of IFC4 (ISO 16739-1, by ifcopenshell.validate), shapes by a geometry kernel (Open CASCADE).
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import ifcopenshell
import ifcopenshell.geom
import ifcopenshell.util.element
import ifcopenshell.util.geolocation
import ifcopenshell.util.placement
import ifcopenshell.util.shape
import ifcopenshell.validate
import numpy as np
import pandas as pd
import pytest
from numpy.typing import NDArray

from tests.unit.command_line import outside
from tests.unit.ifc_maker import MILLIMETRES, Maker
from wallquant.writers.ifc import spf

kernel: Any = ifcopenshell.geom
shapes: Any = ifcopenshell.util.shape
validator: Any = ifcopenshell.validate
geolocation: Any = ifcopenshell.util.geolocation
SAMPLES = Path(__file__).resolve().parents[2] / "sample_models"
METRIC, US, SHED = "landing_tool_store_mm.ifc", "field_station_workshop_in.ifc", "seedling_shed.yaml"


@pytest.fixture(scope="module", params=[METRIC, US, SHED])
def plan(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Path:
    out = tmp_path_factory.mktemp("layout") / "out"
    code, _, told = outside("plan", SAMPLES / request.param, "-o", out, "--write", "ifc")
    assert code in (0, 1), told
    return out


def bodies(model: Any, kind: str) -> dict[str, NDArray[np.float64]]:
    """Corners of each shape in the world, millimetres, and as a last row its volume in m3, by name."""
    out: dict[str, NDArray[np.float64]] = {}
    shown = kernel.iterator(kernel.settings(), model, 1)
    assert shown.initialize()
    while True:
        shape = shown.get()
        one = model.by_id(shape.id)
        if one.is_a(kind):
            at = shapes.get_shape_matrix(shape)
            corners = np.array(shape.geometry.verts).reshape(-1, 3)
            world = (corners @ at[:3, :3].T + at[:3, 3]) * 1000
            out[one.Name] = np.vstack([world, np.full(3, shapes.get_volume(shape.geometry))])
        if not shown.next():
            return out


def test_is_valid(plan: Path) -> None:
    log = validator.json_logger()
    model = ifcopenshell.open(str(plan / "layout.ifc"))
    validator.validate(model, log, express_rules=True)
    assert model.schema == "IFC4"
    assert [s["message"] for s in log.statements] == []


def test_pieces_are_where_the_table_says(plan: Path) -> None:
    model: Any = ifcopenshell.open(str(plan / "layout.ifc"))
    table = pd.read_csv(plan / "pieces.csv", keep_default_na=False).set_index("piece")
    origin = np.array(json.loads((plan / "summary.json").read_text())["origin_mm"])
    found = bodies(model, "IfcBuildingElementPart")
    assert sorted(found) == sorted(table.index)
    for mark, corners in found.items():
        row: Any = table.loc[mark]
        world, volume = corners[:-1] - origin, corners[-1, 0]
        turn = np.radians(float(row.angle_deg))
        stations = (world[:, :2] - [row.x_mm, row.y_mm]) @ [np.cos(turn), np.sin(turn)] + row.start_mm
        seen = [stations.min(), stations.max(), world[:, 2].min(), world[:, 2].max()]
        assert seen == pytest.approx([row.start_mm, row.end_mm, row.bottom_mm, row.top_mm], abs=0.01), mark
        assert volume == pytest.approx(row.volume_m3, abs=1e-7), mark


def test_a_piece_says_its_mark_course_cut_and_size(plan: Path) -> None:
    model: Any = ifcopenshell.open(str(plan / "layout.ifc"))
    table = pd.read_csv(plan / "pieces.csv", keep_default_na=False).set_index("piece")
    sets: Any = ifcopenshell.util.element.get_psets
    for part in model.by_type("IfcBuildingElementPart")[::17]:
        row, said = table.loc[part.Name], sets(part)
        told = said["WQ_Piece"]
        assert (told["Mark"], told["Run"], told["Course"], told.get("Cut", "")) == (part.Name, row.run, row.course, row.cut)
        assert said["WQ_Quantities"]["GrossVolume"] == pytest.approx(row.volume_m3)
        assert said["WQ_Quantities"]["GrossWeight"] == pytest.approx(row.mass_kg, abs=1e-5)
        assert part.ObjectType == row.unit


def test_pieces_are_linked_to_their_walls_and_runs(plan: Path) -> None:
    model: Any = ifcopenshell.open(str(plan / "layout.ifc"))
    table = pd.read_csv(plan / "pieces.csv", keep_default_na=False)
    linked = {p.Name: r.RelatingProduct for r in model.by_type("IfcRelAssignsToProduct") for p in r.RelatedObjects}
    runs = {p.Name: r.RelatingObject.Name for r in model.by_type("IfcRelAggregates") for p in r.RelatedObjects}
    for row in table.itertuples():
        wall: Any = linked[row.piece]
        assert wall.is_a("IfcWall") and wall.Representation is None
        assert row.wall in (wall.GlobalId, wall.Name)
        assert runs[row.piece] == row.run


def test_tasks_stand_in_the_order_of_the_steps(plan: Path) -> None:
    model: Any = ifcopenshell.open(str(plan / "layout.ifc"))
    steps = pd.read_csv(plan / "steps.csv", keep_default_na=False)
    (nest,) = model.by_type("IfcRelNests")
    assert [t.Name for t in nest.RelatedObjects] == list(steps.step)
    laid = {p.Name: r.RelatingProcess.Name for r in model.by_type("IfcRelAssignsToProcess") for p in r.RelatedObjects}
    pieces = pd.read_csv(plan / "pieces.csv", keep_default_na=False)
    assert {row.piece: laid[row.piece] for row in pieces.itertuples()} == dict(zip(pieces.piece, pieces.step, strict=True))
    held = {(r.RelatingProcess.Name, r.RelatedProcess.Name) for r in model.by_type("IfcRelSequence")}
    rows = pd.read_csv(plan / "precedences.csv", keep_default_na=False)
    assert held == set(zip(rows["first"], rows["then"], strict=True))


def test_equal_plans_have_equal_files(tmp_path: Path) -> None:
    for name in ("a", "b"):
        outside("plan", SAMPLES / SHED, "-o", tmp_path / name, "--write", "ifc")
    assert (tmp_path / "a" / "layout.ifc").read_bytes() == (tmp_path / "b" / "layout.ifc").read_bytes()


def test_storeys_and_walls_keep_their_names_of_the_source(tmp_path: Path) -> None:
    outside("plan", SAMPLES / METRIC, "-o", tmp_path / "out", "--write", "ifc")
    source, laid = ifcopenshell.open(str(SAMPLES / METRIC)), ifcopenshell.open(str(tmp_path / "out" / "layout.ifc"))
    for kind in ("IfcProject", "IfcBuildingStorey", "IfcWall"):
        assert {e.GlobalId for e in laid.by_type(kind)} <= {e.GlobalId for e in source.by_type(kind)}, kind


@pytest.mark.parametrize(("unit", "of_map", "scale"), [("mm", "m", 0.001), ("m", None, None), ("ft", "ft", 0.9996), ("in", "m", 0.0254)])
def test_layout_lies_on_the_map_where_its_source_does(unit: str, of_map: str | None, scale: float | None, tmp_path: Path) -> None:
    """Outside check: the map place of points of both models by ifcopenshell.util.geolocation."""
    maker = Maker("IFC4", unit)
    crs = maker.add("IfcProjectedCRS", "EPSG:25832", None, "ETRS89", None, "UTM", "32N", None if of_map is None else maker._unit(of_map))
    maker.add("IfcMapConversion", maker.context, crs, 691_011.27345678, 5_334_812.1, -12.75, 0.6, 0.8, scale)
    one = 25.4 / MILLIMETRES[unit]
    maker.plain_wall(200 * one, 8 * one, 80 * one)
    code, _, told = outside("plan", maker.write(tmp_path), "--catalogue", "aac-us", "-o", tmp_path / "out", "--write", "ifc")
    assert code in (0, 1), told
    source, laid = ifcopenshell.open(str(tmp_path / "model.ifc")), ifcopenshell.open(str(tmp_path / "out" / "layout.ifc"))
    log = validator.json_logger()
    validator.validate(laid, log, express_rules=True)
    assert log.statements == []
    for point in ((0.0, 0.0, 0.0), (1234.5, -77.25, 1000.0), (1e6, 5e5, 3.0)):
        there = geolocation.auto_xyz2enh(source, *(v / MILLIMETRES[unit] for v in point))
        assert geolocation.auto_xyz2enh(laid, *point) == pytest.approx(there, rel=1e-14)


@pytest.mark.parametrize(
    ("value", "written"),
    [("plain", "'plain'"), ("it's", "'it''s'"), ("a\\b", "'a\\\\b'"), ("Maß", "'Ma\\X2\\00DF\\X0\\'"), ("\n", "'\\X2\\000A\\X0\\'")],
)
def test_text_is_written_as_the_exchange_format_asks(value: str, written: str) -> None:
    """ISO 10303-21, 6.4.3."""
    assert spf.text(value) == written


@pytest.mark.parametrize(("value", "written"), [(599, "599."), (0.1, "0.1"), (-0.0, "0."), (1e-7, "1.E-07"), (1e20, "1.E+20")])
def test_reals_have_a_point(value: float, written: str) -> None:
    assert spf.real(value) == written


def test_globalids_are_of_the_schema() -> None:
    made = [spf.guid("house", str(n)) for n in range(500)]
    assert len(set(made)) == 500
    assert all(len(g) == 22 and g[0] in "0123" and set(g) <= set(spf._DIGITS) for g in made)

"""Files written from real models: layout.ifc is valid, and its shapes are the tables' pieces in the source model's place.

The models are looked for in ``shared/open_models`` beside the project; the tests are skipped where they are not.  Outside checks:
schema and rules (ISO 16739-1, by ifcopenshell.validate), shapes by a geometry kernel (Open CASCADE).
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import ifcopenshell
import ifcopenshell.util.geolocation
import ifcopenshell.validate
import numpy as np
import pandas as pd
import pytest

from tests.unit.command_line import outside
from tests.unit.test_writer_ifc import bodies

validator: Any = ifcopenshell.validate
geolocation: Any = ifcopenshell.util.geolocation
NAMES = ("O6", "O9", "O10", "O12", "O15", "O18")
"""Inches, millimetres, feet, chords, a far origin; 4X3 and 2X3."""


def model(name: str) -> Path:
    models = next((p / "shared" / "open_models" for p in Path(__file__).resolve().parents if (p / "shared" / "open_models").is_dir()), None)
    if models is None:
        pytest.skip("the open models are not here")
    return next(models.glob(f"{name}_*.ifc"))


@pytest.fixture(scope="module", params=NAMES)
def plan(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Path:
    out = tmp_path_factory.mktemp("written") / "out"
    code, _, told = outside("plan", model(request.param), "--any-thickness", "-o", out, "--write", "ifc")
    assert code in (0, 1), told
    return out


def test_layout_is_valid(plan: Path) -> None:
    log = validator.json_logger()
    validator.validate(ifcopenshell.open(str(plan / "layout.ifc")), log, express_rules=True)
    assert [s["message"] for s in log.statements] == []


def test_shapes_are_the_pieces(plan: Path) -> None:
    table = pd.read_csv(plan / "pieces.csv", keep_default_na=False).set_index("piece")
    origin = np.array(json.loads((plan / "summary.json").read_text(encoding="utf-8"))["origin_mm"])
    found = bodies(ifcopenshell.open(str(plan / "layout.ifc")), "IfcBuildingElementPart")
    assert sorted(found) == sorted(table.index)
    for mark, corners in found.items():
        row: Any = table.loc[mark]
        world, turn = corners[:-1] - origin, np.radians(float(row.angle_deg))
        stations = (world[:, :2] - [row.x_mm, row.y_mm]) @ [np.cos(turn), np.sin(turn)] + row.start_mm
        seen = [stations.min(), stations.max(), world[:, 2].min(), world[:, 2].max()]
        assert seen == pytest.approx([row.start_mm, row.end_mm, row.bottom_mm, row.top_mm], abs=0.1), mark
        assert corners[-1, 0] == pytest.approx(row.volume_m3, abs=1e-7), mark


def test_layout_lies_on_the_map_where_its_source_does(tmp_path: Path) -> None:
    """O13 has a map conversion; outside check: ifcopenshell.util.geolocation."""
    outside("plan", model("O13"), "--any-thickness", "-o", tmp_path / "out", "--write", "ifc")
    source, laid = ifcopenshell.open(str(model("O13"))), ifcopenshell.open(str(tmp_path / "out" / "layout.ifc"))
    for point in ((0.0, 0.0, 0.0), (7500.0, -3100.0, 2600.0)):
        assert geolocation.auto_xyz2enh(laid, *point) == pytest.approx(geolocation.auto_xyz2enh(source, *point), rel=1e-15)
    (crs,) = laid.by_type("IfcProjectedCRS")
    assert (crs.Name, crs.GeodeticDatum) == ("EPSG:32760", "WGS 84")

"""layout.dxf, read back and audited with ezdxf: every piece is there, in its place, on its layer."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import ezdxf
import ezdxf.bbox
import pandas as pd
import pytest
from ezdxf import recover

from tests.unit.command_line import outside, wall_list

SAMPLES = Path(__file__).resolve().parents[2] / "sample_models"
METRIC, US = "landing_tool_store_mm.ifc", "field_station_workshop_in.ifc"
INSUNITS = {METRIC: (4, 1.0), US: (1, 25.4)}
"""$INSUNITS of the DXF reference: 1 inches, 4 millimetres."""
LAYER = {"standard": "WQ-PIECES", "core": "WQ-CORES", "U": "WQ-U-UNITS", "lintel": "WQ-LINTELS"}


@pytest.fixture(scope="module", params=[METRIC, US])
def plan(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> tuple[str, Path]:
    out = tmp_path_factory.mktemp("drawn") / "out"
    code, _, told = outside("plan", SAMPLES / request.param, "-o", out, "--write", "dxf")
    assert code in (0, 1), told
    return request.param, out


def read(path: Path) -> Any:
    doc, auditor = recover.readfile(path / "layout.dxf")
    assert not auditor.has_errors and not auditor.fixes
    return doc


def test_says_its_units(plan: tuple[str, Path]) -> None:
    assert read(plan[1]).header["$INSUNITS"] == INSUNITS[plan[0]][0]


def test_every_piece_stands_in_its_elevation(plan: tuple[str, Path]) -> None:
    """Boxes of the blocks that are put, run by run from the top down, are the pieces of pieces.csv."""
    name, out = plan
    scale = INSUNITS[name][1]
    pieces, runs = pd.read_csv(out / "pieces.csv", keep_default_na=False), pd.read_csv(out / "runs.csv")
    doc = read(out)
    drawn = [e for e in doc.modelspace().query("INSERT") if not e.dxf.name.startswith("first-")]
    assert len(drawn) == len(pieces)
    at = 0
    for run in runs.itertuples():
        rows = pieces[pieces.run == run.run]
        base = None
        for row, entity in zip(rows.itertuples(), drawn[at : at + len(rows)], strict=True):
            box = ezdxf.bbox.extents([entity])
            low = box.extmin.y * scale - (row.bottom_mm - run.bottom_mm)
            base = low if base is None else base
            assert low == pytest.approx(base, abs=1e-3), row.piece
            assert [box.extmin.x * scale, box.extmax.x * scale] == pytest.approx([row.start_mm, row.end_mm], abs=1e-3), row.piece
            assert box.size.y * scale == pytest.approx(row.top_mm - row.bottom_mm, abs=1e-3), row.piece
        at += len(rows)


def test_first_course_lies_in_plan(plan: tuple[str, Path]) -> None:
    name, out = plan
    scale = INSUNITS[name][1]
    pieces = pd.read_csv(out / "pieces.csv", keep_default_na=False)
    first = pieces[pieces.course <= 1]
    drawn = [e for e in read(out).modelspace().query("INSERT") if e.dxf.name.startswith("first-")]
    found = [(e.dxf.insert.x * scale, e.dxf.insert.y * scale, e.dxf.rotation % 360) for e in drawn]
    wanted = [(r.x_mm, r.y_mm, r.angle_deg % 360) for r in first.itertuples()]
    assert len(found) == len(wanted)
    for a, b in zip(found, wanted, strict=True):
        assert a == pytest.approx(b, abs=1e-3)


def test_cut_pieces_have_a_layer_of_their_own(plan: tuple[str, Path]) -> None:
    pieces = pd.read_csv(plan[1] / "pieces.csv", keep_default_na=False)
    drawn = [e for e in read(plan[1]).modelspace().query("INSERT") if not e.dxf.name.startswith("first-")]
    cuts = [row.cut != "" and row.unit.startswith("std") for row in pieces.itertuples()]
    assert [e.dxf.layer == "WQ-CUTS" for e in drawn] == cuts


def test_a_sheet_for_each_run(plan: tuple[str, Path]) -> None:
    doc, runs = read(plan[1]), pd.read_csv(plan[1] / "runs.csv")
    assert doc.layouts.names_in_taborder() == ["Model", *runs.run]
    for run in runs.itertuples():
        (view,) = doc.layouts.get(run.run).query("VIEWPORT[id!=1]")
        assert view.dxf.view_height * INSUNITS[plan[0]][1] > 1000


def test_layers_are_named_by_the_job(tmp_path: Path) -> None:
    job = tmp_path / "job.yaml"
    job.write_text("schema: wallquant.job/1\ndxf_layers: {pieces: A-WALL-UNIT, cuts: A-WALL-CUTS}\n", encoding="utf-8")
    code, _, told = outside("plan", wall_list(tmp_path), "--job", job, "-o", tmp_path / "out", "--write", "dxf")
    assert code in (0, 1), told
    names = {layer.dxf.name for layer in read(tmp_path / "out").layers}
    assert {"A-WALL-UNIT", "A-WALL-CUTS", "WQ-OPENINGS"} <= names and "WQ-PIECES" not in names
    job.write_text("schema: wallquant.job/1\ndxf_layers: {pieces: 'A|B'}\n", encoding="utf-8")
    code, _, told = outside("plan", wall_list(tmp_path), "--job", job, "-o", tmp_path / "out", "--write", "dxf")
    assert code == 2 and "dxf_layers" in told and len(told.strip().splitlines()) == 1


def test_names_have_no_control_codes(tmp_path: Path) -> None:
    model = wall_list(tmp_path)
    text = (
        model.read_text(encoding="utf-8")
        .replace("name: G,", 'name: "%%uG\\P<script>=1+1",')
        .replace("storey: G", 'storey: "%%uG\\P<script>=1+1"')
    )
    model.write_text(text.replace('"%%uG\\P', '"%%uG\\\\P'), encoding="utf-8")
    code, _, told = outside("plan", model, "-o", tmp_path / "out", "--write", "dxf")
    assert code in (0, 1), told
    words = [e.dxf.text for e in read(tmp_path / "out").modelspace().query("TEXT")]
    assert any("% %uG" in w for w in words) and not any("%%" in w for w in words)


def test_equal_plans_have_equal_files(tmp_path: Path) -> None:
    for name in ("a", "b"):
        outside("plan", SAMPLES / "seedling_shed.yaml", "-o", tmp_path / name, "--write", "dxf")
    assert (tmp_path / "a" / "layout.dxf").read_bytes() == (tmp_path / "b" / "layout.dxf").read_bytes()

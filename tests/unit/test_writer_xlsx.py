"""schedules.xlsx, read back with openpyxl: the tables' numbers, text that stays text, and sheets that print."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import openpyxl
import pandas as pd
import pytest

from tests.unit.command_line import outside, wall, wall_list

SAMPLES = Path(__file__).resolve().parents[2] / "sample_models"
MM_IN_INCH = 25.4


@pytest.fixture(scope="module", params=["landing_tool_store_mm.ifc", "field_station_workshop_in.ifc"])
def plan(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Path:
    out = tmp_path_factory.mktemp("book") / "out"
    code, _, told = outside("plan", SAMPLES / request.param, "-o", out, "--write", "xlsx")
    assert code in (0, 1), told
    return out


def book(path: Path) -> Any:
    return openpyxl.load_workbook(path / "schedules.xlsx")


@pytest.mark.parametrize(
    ("sheet", "file"),
    [
        ("Materials", "materials.csv"),
        ("Saw list", "saw_list.csv"),
        ("Cut units", "cuts.csv"),
        ("Sequence", "steps.csv"),
        ("Pieces", "pieces.csv"),
        ("Items", "items.csv"),
        ("By wall", "schedule.csv"),
        ("Deliveries", "staging.csv"),
        ("Labour", "labour.csv"),
        ("Mixing", "mixing.csv"),
        ("Bill", "bill.csv"),
        ("To bought", "ledger.csv"),
    ],
)
def test_sheets_are_the_tables(plan: Path, sheet: str, file: str) -> None:
    rows = list(book(plan)[sheet].values)
    table = pd.read_csv(plan / file, keep_default_na=False)
    assert len(rows) == len(table) + 1
    inches = "(in)" in " ".join(str(h) for r in book(plan)["Pieces"].iter_rows(max_row=1, values_only=True) for h in r)
    for n, column in enumerate(table.columns):
        told = [row[n] for row in rows[1:]]
        for value, want in zip(told, table[column], strict=True):
            if isinstance(value, (int, float)):
                scale = MM_IN_INCH if inches and column.endswith("_mm") else 1
                assert value * scale == pytest.approx(float(want), abs=2e-3), (column, value, want)
            else:
                assert (value or "") == str(want), column


def test_headers_say_units_are_frozen_filtered_and_print(plan: Path) -> None:
    made = book(plan)
    for sheet in made.worksheets:
        assert sheet.freeze_panes == "B2"
        assert sheet.auto_filter.ref and sheet.print_area
        assert sheet.print_title_rows == "$1:$1"
    heads = [str(c.value) for c in made["Ledger"][1]]
    assert "laid (m³)" in heads and "area (m²)" in heads


def test_ledger_adds_up(plan: Path) -> None:
    head, *rows = book(plan)["Ledger"].values
    at = {str(h): n for n, h in enumerate(head)}
    plus = ("drawn", "borrowed", "fit length", "fit height", "fit thickness")
    for row in rows:
        sums = sum(row[at[f"{t} (m³)"]] for t in plus)
        assert sums - sum(row[at[f"{t} (m³)"]] for t in ("openings", "finishes", "set aside", "lent", "laid")) == pytest.approx(0, abs=1e-6)


def test_every_parameter_has_its_source(plan: Path) -> None:
    _, *rows = book(plan)["Sources"].values
    assert len(rows) > 20
    assert all(row[5] for row in rows)


def test_names_are_never_formulas(tmp_path: Path) -> None:
    model = wall_list(tmp_path, wall(name="=1+1"), wall(name="@SUM(A1)", x=20_000), wall(name="<script>alert(1)</script>", x=40_000))
    code, _, told = outside("plan", model, "-o", tmp_path / "out", "--write", "xlsx")
    assert code in (0, 1), told
    names = set()
    for sheet in book(tmp_path / "out").worksheets:
        for row in sheet.iter_rows():
            for cell in row:
                assert cell.data_type != "f" and cell.hyperlink is None
                names.add(cell.value)
    assert {"=1+1", "@SUM(A1)", "<script>alert(1)</script>"} <= names


def test_equal_plans_have_equal_files(tmp_path: Path) -> None:
    for name in ("a", "b"):
        outside("plan", SAMPLES / "seedling_shed.yaml", "-o", tmp_path / name, "--write", "xlsx")
    assert (tmp_path / "a" / "schedules.xlsx").read_bytes() == (tmp_path / "b" / "schedules.xlsx").read_bytes()

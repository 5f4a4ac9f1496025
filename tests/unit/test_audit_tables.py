"""A cell that is changed in what is made from other files is told by the audit, though its checksum was put right again."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from tests.unit import audit_plan as made
from tests.unit.command_line import outside
from wallquant.audit import audit, examined

ROOT = Path(__file__).parents[2]
SPOILT = {
    "I4": {
        "courses.csv": ("bottom_mm",),
        "pieces.csv": ("course",),
        "runs.csv": ("length_mm", "start_corner", "end_corner"),
    },
    "I8": {"steps.csv": ("day", "run")},
    "I9": {
        "bill.csv": (
            "wall", "name", "thickness_mm", "chosen", "wall_m2", "openings_m2", "left_in_m2", "set_aside_m2", "measured_m2", "measured_m3",
        ),
        "items.csv": ("x_mm", "y_mm"),
        "labour.csv": ("kind", "pieces", "mass_kg", "hours_plan", "factor", "hours"),
        "ledger.csv": (
            "wall", "drawn_m3", "laid_m3", "thin_bed_m3", "levelling_m3", "movement_m3", "gaps_m3", "shared_m3", "pieces_m3", "offcuts_m3",
            "units_m3", "waste_m3", "rounding_m3", "bought_m3",
        ),
        "materials.csv": ("waste", "buy"),
        "mixing.csv": ("day", "mortar", "net_l", "waste_l", "bags", "batches", "bags_to_open"),
        "saw_list.csv": ("day", "when", "unit", "cut", "angle_deg", "height_mm", "length_mm", "count", "pieces", "stocks"),
        "schedule.csv": ("wall", "name", "thickness_mm", "item", "quantity", "whole", "cut_pieces", "cut_units", "volume_m3", "mass_kg"),
        "staging.csv": ("order", "unit", "holds", "mass_kg", "wall"),
    },
}  # fmt: skip
CELLS = [(code, file, column) for code, files in SPOILT.items() for file, columns in files.items() for column in columns]


@pytest.fixture(scope="module")
def shed(tmp_path_factory: pytest.TempPathFactory) -> Path:
    out = tmp_path_factory.mktemp("tables") / "out"
    code, _, told = outside("plan", ROOT / "sample_models" / "seedling_shed.yaml", "-o", out)
    assert code in (0, 1), told
    assert not audit(out)
    return out


def other(cells: list[str], row: int) -> str:
    """Another value of the same kind: a greater number, or the next word of the column."""
    try:
        number = float(cells[row]) + 370
    except ValueError:
        words = sorted({one for one in cells if one != cells[row]})
        return words[0] if words else cells[row] + "x"
    return str(int(number)) if cells[row].isdigit() else repr(number)


@pytest.mark.parametrize(("code", "file", "column"), CELLS)
def test_a_spoilt_cell_is_told(shed: Path, tmp_path: Path, code: str, file: str, column: str) -> None:
    rows = made.rows_of(shed / file)
    cells = [row[column] for row in rows]
    row = next(n for n, one in enumerate(cells) if one and (file != "schedule.csv" or rows[n]["group"] == "units"))
    if file == "materials.csv":
        row = next(n for n, one in enumerate(rows) if one["item"].startswith("std-") and one["unit"] == "pcs")
    plan = Path(shutil.copytree(shed, tmp_path / "out"))
    made.set_cell(plan, file, row, column, other(cells, row))
    told = [one for one in audit(plan) if one.code == f"audit.{code}"]
    assert any(file in one.text for one in told), [one.text for one in audit(plan)]


@pytest.mark.parametrize("file", sorted(SPOILT["I9"]))
def test_a_row_that_is_gone_is_told(shed: Path, tmp_path: Path, file: str) -> None:
    plan = Path(shutil.copytree(shed, tmp_path / "out"))
    made.write(plan / file, made.rows_of(plan / file)[1:])
    made.stamp(plan, file)
    assert [one for one in audit(plan) if one.code.startswith("audit.I")]


def test_a_plan_without_schedules_is_audited(shed: Path, tmp_path: Path) -> None:
    """Plans of older versions have none, and say so in their summary."""
    plan = Path(shutil.copytree(shed, tmp_path / "out"))
    for file in ("bill.csv", "labour.csv", "saw_list.csv"):
        (plan / file).unlink()
        made.change(plan, lambda summary, file=file: summary["files"].pop(file))
    assert not audit(plan)


def test_a_schedule_that_cannot_be_read_keeps_no_other_check_away(shed: Path, tmp_path: Path) -> None:
    """An older plan lacks a column there: that is told, and I1 to I8 are looked at."""
    plan = Path(shutil.copytree(shed, tmp_path / "out"))
    rows = [{key: cell for key, cell in row.items() if key != "batches"} for row in made.rows_of(plan / "mixing.csv")]
    made.write(plan / "mixing.csv", rows)
    made.stamp(plan, "mixing.csv")
    found, unseen = examined(plan)
    assert [one.text for one in found] == ["mixing.csv lacks the column batches; write the plan anew."]
    assert unseen == {"I9"}


@pytest.fixture(scope="module")
def barred(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("barred")
    rules = "{vertical_bars: {spacing: 1200 mm}, bond_beams: {top: true}}"
    (folder / "job.yaml").write_text(f"schema: wallquant.job/1\nrules: {rules}\n", encoding="utf-8")
    code, _, told = outside("plan", ROOT / "sample_models" / "seedling_shed.yaml", "--job", folder / "job.yaml", "-o", folder / "out")
    assert code in (0, 1), told
    assert not audit(folder / "out") and made.rows_of(folder / "out" / "bars.csv")
    return folder / "out"


@pytest.mark.parametrize(
    "column",
    ["bar", "sort", "size_mm", "stock_mm", "order", "length_mm", "offcut_mm", "item", "part", "parts", "run", "start_mm", "task", "day"],
)
def test_a_spoilt_cell_of_the_bars_to_cut_is_told(barred: Path, tmp_path: Path, column: str) -> None:
    cells = [row[column] for row in made.rows_of(barred / "bars.csv")]
    plan = Path(shutil.copytree(barred, tmp_path / "out"))
    made.set_cell(plan, "bars.csv", 0, column, other(cells, 0))
    assert any("bars.csv" in one.text for one in audit(plan) if one.code == "audit.I9"), [one.text for one in audit(plan)]


@pytest.mark.parametrize("row", [0, -1])
def test_a_bar_that_is_gone_is_told(barred: Path, tmp_path: Path, row: int) -> None:
    plan = Path(shutil.copytree(barred, tmp_path / "out"))
    rows = made.rows_of(plan / "bars.csv")
    del rows[row]
    made.write(plan / "bars.csv", rows)
    made.stamp(plan, "bars.csv")
    assert any("bars.csv" in one.text for one in audit(plan))

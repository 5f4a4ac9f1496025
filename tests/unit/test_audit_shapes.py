"""What the audit finds in mitred, raked and bridged work: each cell that is spoilt breaks what it says, in plans made and by hand."""

from __future__ import annotations

import json
import shutil
from math import cos, radians
from pathlib import Path
from typing import Any

import pytest
import shapely

from tests.cases.test_worked_cases import planned
from tests.unit import audit_plan as made
from wallquant.audit import audit
from wallquant.files import FINDINGS
from wallquant.findings import Finding
from wallquant.writers.folder import write


@pytest.fixture
def plan(tmp_path: Path) -> Path:
    return made.build(tmp_path / "out")


@pytest.fixture(scope="module")
def laid(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Two walls of 200 that turn by 45 degrees under a slope of 15, so that pieces are bevelled in plan, raked, or both."""
    folder, far = tmp_path_factory.mktemp("bay"), 2400 * cos(radians(45))
    walls = [
        "name: A, from: [-2400, 0], to: [0, 0], top: [[0, 810], [2400, 1453]]",
        f"name: B, from: [0, 0], to: [{far:.6f}, {far:.6f}], height: 1453",
    ]
    write(planned(folder, walls), folder / "out", run={}, writers={})
    return folder / "out"


@pytest.fixture
def bay(laid: Path, tmp_path: Path) -> Path:
    return shutil.copytree(laid, tmp_path / "bay")


def found(folder: Path, code: str, text: str) -> list[Finding]:
    return [one for one in audit(folder) if one.code == f"audit.{code}" and text in one.text]


def row_of(folder: Path, *columns: str) -> tuple[int, dict[str, Any]]:
    """Return the first piece with something in these columns, and nothing in the other one of elevation and plan."""
    rows = enumerate(made.rows_of(folder / "pieces.csv"))
    return next((at, row) for at, row in rows if all(bool(row[key]) == (key in columns) for key in ("elevation", "plan")))


def test_the_bay_holds(bay: Path) -> None:
    assert audit(bay) == ()
    assert {bool(row["elevation"]) for row in made.rows_of(bay / "pieces.csv") if row["plan"]} == {True, False}


@pytest.mark.parametrize("columns", [("plan",), ("elevation",), ("plan", "elevation")])
@pytest.mark.parametrize("more", [2.1e-6, -2.1e-6])
def test_the_volume_of_a_shape(bay: Path, columns: tuple[str, ...], more: float) -> None:
    at, row = row_of(bay, *columns)
    made.set_cell(bay, "pieces.csv", at, "volume_m3", float(row["volume_m3"]) + more)
    assert found(bay, "I3", f"{row['piece']}: volume_m3")


def test_the_least_piece_of_a_bevelled_one_is_its_mean(bay: Path) -> None:
    """A piece of 45 degrees is 82.84 longer at the outside than at the inside: what counts is half of that less than its box."""
    _, row = row_of(bay, "plan")
    mean = float(row["end_mm"]) - float(row["start_mm"]) - 41.421
    joint = json.loads((bay / "summary.json").read_text())["catalogue"]["head_joint_mm"]["nominal"]
    for least, short in ((mean - 0.1, False), (mean + 0.1, True)):
        made.change(bay, lambda summary, least=least: summary["catalogue"].update({"least_piece_mm": least + joint}))
        assert bool(found(bay, "I3", f"{row['piece']}: is")) is short


def test_bevelled_pieces_that_overlap(bay: Path) -> None:
    """A piece that is given the whole of its box reaches into the other wall's."""
    at, row = row_of(bay, "plan")
    start, end = float(row["start_mm"]), float(row["end_mm"])
    made.set_cell(bay, "pieces.csv", at, "plan", shapely.box(start, -100, end, 100).wkt)
    assert found(bay, "I2", "take the same space")


def test_raked_pieces_that_overlap(bay: Path) -> None:
    rows = made.rows_of(bay / "pieces.csv")
    at = next(at for at, row in enumerate(rows) if at and row["elevation"] and not row["plan"] and row["run"] == rows[at - 1]["run"]
              and row["course"] == rows[at - 1]["course"])  # fmt: skip
    ring = shapely.from_wkt(rows[at]["elevation"])
    moved = shapely.transform(ring, lambda points: points - (10, 0))
    start, end = float(rows[at]["start_mm"]) - 10, float(rows[at]["end_mm"]) - 10
    rows[at].update({"elevation": moved.wkt, "start_mm": start, "end_mm": end})
    made.write(bay / "pieces.csv", rows)
    made.stamp(bay, "pieces.csv")
    assert found(bay, "I2", f"{rows[at - 1]['piece']} and {rows[at]['piece']} take the same space")


def test_a_mitre_that_no_finding_names(bay: Path) -> None:
    file = json.loads((bay / FINDINGS).read_text(encoding="utf-8"))
    file["findings"] = [one for one in file["findings"] if one["code"] != "bond.mitre"]
    (bay / FINDINGS).write_text(json.dumps(file), encoding="utf-8")
    made.stamp(bay, FINDINGS)
    assert [one.code for one in audit(bay)] == ["audit.I4"]


@pytest.mark.parametrize("wall", [0, 1])
def test_half_of_the_mitre_joint_belongs_to_each_wall(bay: Path, wall: int) -> None:
    """Half of 1 mm along either centre line, 0.541, by 200 by the four whole courses of 199 below the slope: 86,166 mm3."""

    def how(summary: Any) -> None:
        for term in ("laid", "fit_length"):
            summary["walls"][wall]["ledger_m3"][term] -= 0.5 / cos(radians(22.5)) * 200 * 4 * 199 * 1e-9

    made.change(bay, how)
    assert {one.code for one in audit(bay)} == {"audit.I1", "audit.I9"}, "neither the pieces nor ledger.csv agree"


# by hand


def test_an_area_that_does_not_add_up(plan: Path) -> None:
    made.change(plan, lambda summary: summary["walls"][0]["area_m2"].update({"laid": 1}))
    assert [one.code for one in audit(plan)] == ["audit.I1"]


def test_pieces_of_a_run_that_no_wall_has_a_part_in(plan: Path) -> None:
    made.change(plan, lambda summary: summary["walls"][1].update({"parts": []}))
    assert found(plan, "I1", "on runs that no wall of summary.json has a part in")


def test_a_bed_below_the_least(plan: Path) -> None:
    made.change(plan, lambda summary: summary["catalogue"]["bed_mm"].update({"least": 1.5}))
    assert found(plan, "I2", "the bed between R1-C02-01 and R1-C01-01 is 1 mm, least is 1.5 mm")


@pytest.mark.parametrize(
    ("column", "value", "text"),
    [
        ("run", "R9", "its run is not in runs.csv"),
        ("lintel", "R2-C03-01", "its lintel R2-C03-01 lies in another run"),
        ("bearing_least_mm", "", "bearing_least_mm is empty"),
        ("head_mm", 389, "out of the tolerance of heads"),
    ],
)
def test_rows_of_openings(plan: Path, column: str, value: object, text: str) -> None:
    made.set_cell(plan, "openings.csv", 0, column, value)
    assert found(plan, "I6", text)


def test_units_that_bridge_an_opening_reach_over_both_jambs(plan: Path) -> None:
    made.set_cell(plan, "openings.csv", 0, "bridged", "units")
    assert audit(plan) == ()
    at = next(at for at, row in enumerate(made.rows_of(plan / "pieces.csv")) if row["unit"] == "L1200")
    for column, value in (("start_mm", 1300), ("end_mm", 2100)):
        kept = made.rows_of(plan / "pieces.csv")[at][column]
        made.set_cell(plan, "pieces.csv", at, column, value)
        assert found(plan, "I6", "the units above it do not span it")
        made.set_cell(plan, "pieces.csv", at, column, kept)
    assert audit(plan) == ()


def test_units_on_props_hang_where_no_opening_says_so(plan: Path) -> None:
    """The lintel of three U-units whose joints lie over the door: held where openings.csv says that units bridge it."""
    made.set_cell(plan, "openings.csv", 0, "bridged", "units")
    rows = made.rows_of(plan / "pieces.csv")
    at = next(at for at, row in enumerate(rows) if row["unit"] == "L1200")
    rows[at] |= {"unit": "U600", "cut": "length", "end_mm": 1499}
    rows.append(rows[at] | {"piece": "R1-C03-98", "start_mm": 1500, "end_mm": 1899, "x_mm": 1500})
    rows.append(rows[at] | {"piece": "R1-C03-99", "start_mm": 1900, "end_mm": 2299, "x_mm": 1900})
    made.write(plan / "pieces.csv", rows)
    made.stamp(plan, "pieces.csv")
    assert not found(plan, "I5", "") and not found(plan, "I6", "")
    made.set_cell(plan, "pieces.csv", len(rows) - 1, "start_mm", 1903)  # 4 from its neighbour, and joints are 3 at most
    assert found(plan, "I6", "the units above it do not span it")
    made.set_cell(plan, "openings.csv", 0, "bridged", "none")
    assert found(plan, "I5", "R1-C03-98: nothing is held")


@pytest.mark.parametrize(("head", "holds"), [(410, True), (410.1, False), (394.3, True), (394.2, False)])
def test_a_lintel_lies_within_the_tolerance_of_heads_and_a_bed(plan: Path, head: float, holds: bool) -> None:
    """Its underside is at 410: up to 12.7 and a bed of 3 over the head as drawn, and not below it."""
    made.set_cell(plan, "openings.csv", 0, "head_mm", head)
    assert bool(found(plan, "I6", "out of the tolerance of heads")) is not holds


def test_a_bearing_ends_where_its_pier_does(plan: Path) -> None:
    """Under the lintel's start the piece that reached to the jamb at 1300 ends at 1250."""
    at = next(at for at, row in enumerate(made.rows_of(plan / "pieces.csv")) if row["piece"] == "R1-C02-02")
    made.set_cell(plan, "pieces.csv", at, "end_mm", 1250)
    assert found(plan, "I6", "bearing at its start is 0 mm, asked 150 mm")


@pytest.mark.parametrize(
    ("column", "value", "text"),
    [("run", "R9", "its run is not in runs.csv"), ("size_mm", "", "size_mm is empty"), ("top_mm", "", "size_mm is empty")],
)
def test_rows_of_bars(plan: Path, column: str, value: object, text: str) -> None:
    made.set_cell(plan, "items.csv", 0, column, value)
    assert [one.code for one in audit(plan)] == ["audit.I7"] and found(plan, "I7", text)


def test_a_hole_that_cannot_be_read(plan: Path) -> None:
    made.set_cell(plan, "pieces.csv", 0, "holes", "250 0")
    assert found(plan, "files", "holes '250 0' is not station, offset and diameter")


def test_the_core_of_a_turned_unit_lies_at_its_other_end(plan: Path) -> None:
    """100 from the start of -100 to 499 is at 0; turned it is at 399, 399 from the bar of 12 in a core of 100: 50 - 399 - 6."""
    made.set_cell(plan, "pieces.csv", 0, "work", "turn")
    assert found(plan, "I7", "bar I1 has -355 mm clear to the side of its core in R1-C01-01")
    made.set_cell(plan, "items.csv", 0, "x_mm", 399)
    assert not found(plan, "I7", "R1-C01-01")


@pytest.mark.parametrize(("offset", "bottom", "holds"), [(37.65, 660, True), (37.66, 660, False), (-37.66, 660, False), (0, 659, False)])
@pytest.mark.parametrize("run", ["R1", "R2"])
def test_a_bar_lies_in_the_trough_with_its_clearance(plan: Path, run: str, offset: float, bottom: int, holds: bool) -> None:
    """Trough of 100 by 149 below 809: a bar of 12 may lie 50 - 6 - 6.35 = 37.65 beside the middle, and no lower than 660."""
    for at, row in enumerate(made.rows_of(plan / "pieces.csv")):
        if (row["run"], row["course"]) == (run, "4"):
            made.set_cell(plan, "pieces.csv", at, "unit", "U600")
    place = {"x_mm": 500, "y_mm": offset} if run == "R1" else {"x_mm": offset, "y_mm": 500}
    items = made.rows_of(plan / "items.csv")
    lying = {"item": "I2", "kind": "bar", "run": run, "start_mm": 500, "end_mm": 1600, "bottom_mm": bottom, "top_mm": bottom + 12}
    made.write(plan / "items.csv", [*items, lying | place | {"size_mm": 12, "quantity": 1.1, "unit": "m"}])
    made.stamp(plan, "items.csv")
    assert bool(found(plan, "I7", "bar I2")) is not holds


def test_a_fit_that_is_within_its_tolerance_and_not_as_laid(plan: Path) -> None:
    """The free end is drawn at 3500 and laid to 3499: -1, and the summary says 0."""
    made.change(plan, lambda summary: summary["walls"][0]["fit_mm"].update({"end": 0}))
    assert [one.code for one in audit(plan)] == ["audit.I1"]
    assert found(plan, "I1", "run R1 is laid -1 mm longer than wall W1 is drawn at the free end K2: that is not the fit that summary.json")


def test_a_free_end_outside_its_tolerance(plan: Path) -> None:
    """Drawn to 3506 and laid to 3499: -7, and 6.4 is allowed."""

    def how(summary: Any) -> None:
        summary["walls"][0]["parts"][0]["end_mm"] = 3506
        summary["walls"][0]["fit_mm"]["end"] = -7

    made.change(plan, how)
    assert found(plan, "I1", "run R1 is laid -7 mm longer than wall W1 is drawn at the free end K2: outside the tolerance")


def test_a_trough_is_no_part_of_what_is_solid(plan: Path) -> None:
    """A U-unit of 599 x 199 x 200 with a trough of 100 x 149."""
    at = next(at for at, row in enumerate(made.rows_of(plan / "pieces.csv")) if row["piece"] == "R1-C04-02")
    made.set_cell(plan, "pieces.csv", at, "unit", "U600")
    assert found(plan, "I3", "R1-C04-02: solid_m3")
    solid = 599 * (199 * 200 - 100 * 149) * 1e-9
    for column, value in (("solid_m3", solid), ("mass_kg", solid * 500 * 1.3)):
        made.set_cell(plan, "pieces.csv", at, column, value)
    assert not found(plan, "I3", "")


@pytest.mark.parametrize(("kerf", "holds"), [(200, True), (200.1, False)])
def test_after_the_last_piece_of_a_unit_no_kerf_is_needed(plan: Path, kerf: float, holds: bool) -> None:
    """200, a kerf and 199 of 599: as thick a kerf as 200 leaves room for both."""
    for at, row in enumerate(made.rows_of(plan / "cuts.csv")):
        if row["stock"] == "K1":
            made.set_cell(plan, "cuts.csv", at, "kerf_mm", kerf)
    assert ({one.code for one in audit(plan)} == set()) is holds


def test_what_is_bought_by_the_metre_is_enough(plan: Path) -> None:
    """0.809 m of bar are needed; 0.5 are bought, or none, which says that nobody buys them."""
    made.set_cell(plan, "materials.csv", 3, "buy", 0.5)
    assert [one.code for one in audit(plan)] == ["audit.I9"]
    made.set_cell(plan, "materials.csv", 3, "buy", 0)
    assert audit(plan) == ()


def test_a_piece_cut_from_a_unit_of_another_name(plan: Path) -> None:
    made.set_cell(plan, "cuts.csv", 0, "unit", "C600")
    assert found(plan, "I9", "cut from C600, pieces.csv says B600")


@pytest.mark.parametrize(
    "path",
    [
        ("counts", "pieces", "34"),
        ("catalogue", "units", {}),
        ("catalogue", "units", 0, "code", 5),
        ("walls", 0, "parts", 0, "top", "POINT (0 0)"),
        ("walls", 0, "parts", 0, "top", "LINE"),
        ("walls", 0, "ledger_m3", []),
    ],
)
def test_a_value_of_the_summary_that_cannot_be(plan: Path, path: tuple[Any, ...]) -> None:
    *keys, last, value = path

    def how(summary: Any) -> None:
        for key in keys:
            summary = summary[key]
        summary[last] = value

    made.change(plan, how)
    (finding,) = audit(plan)
    assert finding.code == "audit.files" and "summary.json" in finding.text and str(last) in finding.text

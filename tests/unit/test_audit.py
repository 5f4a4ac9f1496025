"""The audit finds nothing in a plan that holds, and exactly the invariant that one changed cell breaks."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from tests.unit import audit_plan as made
from wallquant.audit import INVARIANTS, audit
from wallquant.files import COLUMNS, FINDINGS, SUMMARY


@pytest.fixture
def plan(tmp_path: Path) -> Path:
    return made.build(tmp_path / "out")


def codes(folder: Path) -> set[str]:
    return {one.code.removeprefix("audit.") for one in audit(folder)}


def at(folder: Path, name: str, **wanted: object) -> int:
    """Row of a file in which the cells are as wanted."""
    rows = made.rows_of(folder / name)
    return next(at for at, row in enumerate(rows) if all(row[key] == str(value) for key, value in wanted.items()))


def piece(folder: Path, name: str, **cells: object) -> None:
    for column, value in cells.items():
        made.set_cell(folder, "pieces.csv", at(folder, "pieces.csv", piece=name), column, value)


def told(folder: Path, **finding: Any) -> None:
    """Add a finding to findings.json."""
    whole = {"severity": "warning", "text": "", "place": {}, "measured": "", "wanted": "", "times": 1, "rules": []} | finding
    (folder / FINDINGS).write_text(json.dumps({"schema": "wallquant.findings/1", "findings": [whole]}), encoding="utf-8")
    made.stamp(folder, FINDINGS)


def test_a_plan_that_holds_has_no_findings(plan: Path) -> None:
    assert audit(plan) == ()


@pytest.mark.parametrize("code", sorted(INVARIANTS))
def test_one_changed_cell_breaks_exactly_its_invariant(plan: Path, code: str) -> None:
    made.MUTATIONS[code](plan)
    assert codes(plan) == {code}


def test_findings_name_file_row_and_numbers(plan: Path) -> None:
    made.fewer_units(plan)
    finding, rounded = sorted(audit(plan), key=lambda one: "rounded" in one.text)
    assert "materials.csv" in finding.text and "B600" in finding.text
    assert "not rounded up" in rounded.text
    assert (finding.severity, finding.measured, finding.wanted) == ("error", "27 pcs", "28 pcs")


# I1


def test_a_piece_less_is_missed_in_the_ledger(plan: Path) -> None:
    rows = made.rows_of(plan / "pieces.csv")
    made.write(plan / "pieces.csv", rows[:-1])
    made.stamp(plan, "pieces.csv")
    assert {"I1", "I9"} <= codes(plan)


@pytest.mark.parametrize(("key", "value"), [("end", -7), ("top", 13), ("thickness", 1)])
def test_a_fit_beyond_its_tolerance_or_not_as_laid(plan: Path, key: str, value: float) -> None:
    made.change(plan, lambda summary: summary["walls"][0]["fit_mm"].update({key: value}))
    assert codes(plan) == {"I1"}


def test_a_butt_joint_belongs_to_the_run_that_butts(plan: Path) -> None:
    """Moving 200 x 199 x 1 mm of butt joint from one wall's ledger to the other is noticed in both."""

    def how(summary: Any) -> None:
        for wall, sign in zip(summary["walls"], (1, -1), strict=True):
            for term in ("laid", "fit_length"):
                wall["ledger_m3"][term] += sign * 200 * 199 * 1e-9

    made.change(plan, how)
    assert codes(plan) == {"I1"} and len(audit(plan)) == 2


# I2


def test_pieces_that_overlap_along_the_run(plan: Path) -> None:
    piece(plan, "R2-C02-02", start_mm=498, end_mm=1097, y_mm=498)
    assert "I2" in codes(plan)


def test_pieces_of_two_runs_that_overlap_at_the_corner(plan: Path) -> None:
    piece(plan, "R2-C01-01", start_mm=90, end_mm=689, y_mm=90)
    assert any("R1-C01-01 and R2-C01-01 take the same space" in one.text for one in audit(plan))


def test_a_butt_joint_that_gapes(plan: Path) -> None:
    piece(plan, "R2-C01-01", start_mm=105, y_mm=105)
    assert any(one.code == "audit.I2" and "5 mm" in one.text for one in audit(plan))


def test_a_gap_is_fine_once_it_is_named(plan: Path) -> None:
    piece(plan, "R2-C04-03", start_mm=1120, y_mm=1120)
    assert any(one.code == "audit.I2" for one in audit(plan))
    items = made.rows_of(plan / "items.csv")
    items.append({"item": "I2", "kind": "movement joint", "run": "R2", "start_mm": 1099, "end_mm": 1120, "bottom_mm": 610, "top_mm": 809})
    made.write(plan / "items.csv", items)
    made.stamp(plan, "items.csv")
    assert not any(one.code == "audit.I2" for one in audit(plan))


@pytest.mark.parametrize("spoilt", [None, "kind", "bonded", "code", "corner"])
def test_a_gap_at_a_corner_that_a_finding_says_is_left_open(plan: Path, spoilt: str | None) -> None:
    """Where runs meet askew and do not bond they stop square before each other; the finding of that names the corner."""
    piece(plan, "R2-C01-01", start_mm=105, y_mm=105)
    made.set_cell(plan, "corners.csv", 0, "kind", "L" if spoilt == "kind" else "angled")
    made.set_cell(plan, "corners.csv", 0, "bonded", "true" if spoilt == "bonded" else "false")
    code = "bond.mitre" if spoilt == "code" else "bond.angled-corner"
    told(plan, code=code, text="And at corner K2." if spoilt == "corner" else "And at 1 more place (corner K1).", place={"corner": "K9"})
    assert any(one.code == "audit.I2" and "R2-C01-01 and R1-C01-01 there are 5 mm" in one.text for one in audit(plan)) is (
        spoilt is not None
    )


def test_a_joint_below_the_least(plan: Path) -> None:
    made.change(plan, lambda summary: summary["catalogue"]["head_joint_mm"].update({"least": 1.5}))
    assert codes(plan) == {"I2"}


def test_a_tied_butt_may_be_thinner(plan: Path) -> None:
    """Where runs are tied and not bonded, a butt below the least joint is fine, other joints are not."""
    made.set_cell(plan, "corners.csv", 0, "bonded", "false")
    made.change(plan, lambda summary: summary["catalogue"]["head_joint_mm"].update({"least": 1.5}))
    assert not any("R1-C01-01 and R2-C01-01" in one.text or "R2-C01-01 and R1-C01-01" in one.text for one in audit(plan))


# I3


@pytest.mark.parametrize(
    ("name", "cells"),
    [
        ("R1-C01-02", {"unit": "nowhere"}),
        ("R1-C01-02", {"cut": "sawn"}),
        ("R1-C01-03", {"cut": ""}),
        ("R1-C01-02", {"thickness_mm": 190}),
        ("R1-C01-02", {"volume_m3": 0.03}),
        ("R1-C01-01", {"solid_m3": 599 * 199 * 200e-9}),
        ("R1-C01-02", {"mass_kg": 11}),
    ],
)
def test_a_piece_that_its_unit_cannot_give(plan: Path, name: str, cells: dict[str, object]) -> None:
    piece(plan, name, **cells)
    assert any(one.code == "audit.I3" and name in one.text for one in audit(plan))


def test_the_least_piece_counts_one_joint(plan: Path) -> None:
    """The shortest piece is 199, with its joint 200: a least piece of 200 holds, 201 does not."""
    made.change(plan, lambda summary: summary["catalogue"].update({"least_piece_mm": 200}))
    assert codes(plan) == set()
    made.change(plan, lambda summary: summary["catalogue"].update({"least_piece_mm": 201}))
    assert codes(plan) == {"I3"}


# I4


def test_offsets_are_between_joint_centres_and_butt_joints_count(plan: Path) -> None:
    """A butt joint at 100.5 stands under none nearer than 499.5: 399; the nearest elsewhere in course 3 of R1 is 199."""
    row = at(plan, "courses.csv", run="R1", course=3)
    made.set_cell(plan, "courses.csv", row, "offset_mm", 199)
    assert codes(plan) == set()
    made.set_cell(plan, "courses.csv", row, "offset_mm", 199.1)
    assert codes(plan) == {"I4"}


def test_an_offset_that_a_finding_names_with_both_rules_is_excused(plan: Path) -> None:
    made.set_cell(plan, "courses.csv", at(plan, "courses.csv", run="R1", course=3), "offset_mm", 250)
    told(plan, code="bond.least-offset", place={"run": "R1", "course": 3}, rules=["running_bond"])
    told(plan, code="bond.cut-window", place={"run": "R1", "course": 3}, rules=["closures", "running_bond"])
    assert codes(plan) == {"I4"}
    told(plan, code="bond.least-offset", place={"run": "R1", "course": 3}, rules=["running_bond", "lintel_bearing"])
    assert codes(plan) == set()


# I5


def test_a_piece_over_an_opening_without_lintel_hangs(plan: Path) -> None:
    rows = [row for row in made.rows_of(plan / "pieces.csv") if row["unit"] != "L1200"]
    made.write(plan / "pieces.csv", rows)
    made.stamp(plan, "pieces.csv")
    assert {"I5", "I6"} <= codes(plan)


def test_a_lintel_needs_both_bearings(plan: Path) -> None:
    rows = [row for row in made.rows_of(plan / "pieces.csv") if row["piece"] != "R1-C02-03"]
    made.write(plan / "pieces.csv", rows)
    made.stamp(plan, "pieces.csv")
    assert any(one.code == "audit.I5" and "R1-C03-02" in one.text for one in audit(plan))


# I6


@pytest.mark.parametrize(
    ("column", "value"),
    [("bridged", "none"), ("bridged", "beam"), ("lintel", "R1-C09-01"), ("lintel", ""), ("bearing_start_mm", 180), ("head_mm", 430)],
)
def test_openings_that_are_not_bridged_as_said(plan: Path, column: str, value: object) -> None:
    made.set_cell(plan, "openings.csv", 0, column, value)
    assert codes(plan) == {"I6"}


def test_no_lintel_is_fine_if_a_finding_says_so(plan: Path) -> None:
    made.set_cell(plan, "openings.csv", 0, "bridged", "none")
    told(plan, code="lintel.below-size", severity="note", place={"opening": "D1"})
    assert codes(plan) == set()


def test_a_void_up_to_a_bridged_opening_is_that_ones_to_carry(plan: Path) -> None:
    """The door's row parted at 150: below it nothing is said, above it the lintel bears as before."""
    (door,) = made.rows_of(plan / "openings.csv")
    blank = dict.fromkeys(("lintel", "bearing_start_mm", "bearing_end_mm", "bearing_least_mm"), "")
    under = {**door, **blank, "opening": "D2", "head_mm": 150, "bridged": "none"}
    for sill, wanted in ((150, set()), (160, {"I6"})):
        made.write(plan / "openings.csv", [{**door, "sill_mm": sill}, under])
        made.stamp(plan, "openings.csv")
        assert codes(plan) == wanted


def test_a_niche_needs_no_lintel(plan: Path) -> None:
    made.set_cell(plan, "openings.csv", 0, "bridged", "none")
    assert codes(plan) == {"I6"}
    made.set_cell(plan, "openings.csv", 0, "through", "false")
    assert codes(plan) == set()


def test_a_lintel_over_two_openings_bears_outside_both(plan: Path) -> None:
    (door,) = made.rows_of(plan / "openings.csv")
    window = {**door, "opening": "D2", "start_mm": 1700}
    made.write(plan / "openings.csv", [{**door, "end_mm": 1700}, window])
    made.stamp(plan, "openings.csv")
    assert codes(plan) == set()
    made.set_cell(plan, "openings.csv", 1, "bearing_start_mm", 600)
    assert codes(plan) == {"I6"}


def test_a_joint_under_a_bearing_splits_it(plan: Path) -> None:
    rows = made.rows_of(plan / "pieces.csv")
    under = next(row for row in rows if row["piece"] == "R1-C02-02")
    under["end_mm"] = 1199
    rows.append(under | {"piece": "R1-C02-99", "start_mm": 1200, "end_mm": 1300, "x_mm": 1200})
    made.write(plan / "pieces.csv", rows)
    made.stamp(plan, "pieces.csv")
    assert any(one.code == "audit.I6" and "splits the bearing at its start" in one.text for one in audit(plan))


# I7


@pytest.mark.parametrize(("size", "holds"), [(87.3, True), (87.31, False)])
def test_a_bar_keeps_its_clearance(plan: Path, size: float, holds: bool) -> None:
    """Core 100, clearance 6.35 to either side: the thickest bar is 87.3."""
    made.set_cell(plan, "items.csv", 0, "size_mm", size)
    assert codes(plan) == (set() if holds else {"I7"})


def test_a_bar_away_from_its_cores(plan: Path) -> None:
    made.set_cell(plan, "items.csv", 0, "x_mm", 250)
    assert codes(plan) == {"I7"}


def test_a_drilled_hole_serves_a_bar(plan: Path) -> None:
    made.set_cell(plan, "items.csv", 0, "x_mm", 250)
    for name in ("R1-C01-01", "R1-C02-01", "R1-C03-01", "R1-C04-01"):
        piece(plan, name, holes="250 0 100", work="drill")
    assert codes(plan) == set()


# I8


@pytest.mark.parametrize(
    ("name", "key", "column", "value"),
    [
        ("steps.csv", {"step": "S02"}, "crew", "M2"),
        ("steps.csv", {"step": "S05"}, "start_h", 13.4),
        ("steps.csv", {"step": "S05"}, "start_h", 50),
        ("steps.csv", {"step": "S02"}, "kind", "hold"),
        ("precedences.csv", {"first": "S01", "then": "S02"}, "then", "S99"),
        ("precedences.csv", {"first": "S01", "then": "S02"}, "first", "S14"),
        ("pieces.csv", {"piece": "R1-C02-01"}, "step", "S99"),
        ("pieces.csv", {"piece": "R1-C02-01"}, "step", "S01"),
        ("pieces.csv", {"piece": "R1-C02-01"}, "step", "S02"),
    ],
)
def test_work_out_of_order(plan: Path, name: str, key: dict[str, str], column: str, value: object) -> None:
    made.set_cell(plan, name, at(plan, name, **key), column, value)
    assert codes(plan) == {"I8"}


def test_a_lead_too_high_over_the_line_work(plan: Path) -> None:
    """With one course allowed, the lead of course 3 waits for the line work of course 2 beside it, which it does."""
    made.change(plan, lambda summary: summary["rules"][0]["params"].update({"courses": 1}))
    assert codes(plan) == set()
    for step, start, end in (("S08", 18.0, 18.4),):
        made.set_cell(plan, "steps.csv", at(plan, "steps.csv", step=step), "start_h", start)
        made.set_cell(plan, "steps.csv", at(plan, "steps.csv", step=step), "end_h", end)
    assert any(one.code == "audit.I8" and "S08 lays course 3 of a lead" in one.text for one in audit(plan))


def test_more_masons_or_hours_than_the_summary_has(plan: Path) -> None:
    """A summary that says who is on site and how long a day is; one that does not is audited without."""
    made.change(plan, lambda s: s.update(site={"masons": 1, "day_hours": 24}))
    (told,) = [one.text for one in audit(plan) if one.code == "audit.I8"]
    assert told.startswith("steps.csv: 2 masons are at work, summary.json has 1 on site")
    made.change(plan, lambda s: s.update(site={"masons": 99, "day_hours": 0.5}))
    assert any("outside the 0.5 h of a day" in one.text for one in audit(plan) if one.code == "audit.I8")


def test_a_wait_that_is_too_long_is_told_unless_the_plan_names_it(plan: Path) -> None:
    """A finding `order.too-late` that names the rule says so already."""
    rows = made.rows_of(plan / "steps.csv")
    waits = [n for n, row in enumerate(made.rows_of(plan / "precedences.csv")) if waiting(rows, row) > 0.1]
    made.set_cell(plan, "precedences.csv", waits[0], "most_lag_h", waiting(rows, made.rows_of(plan / "precedences.csv")[waits[0]]) - 0.1)
    (text,) = [one.text for one in audit(plan) if one.code == "audit.I8"]
    assert "at most" in text and "precedences.csv" in text
    told(plan, code="order.too-late", rules=["engine"])
    assert not [one for one in audit(plan) if one.code == "audit.I8"]


def waiting(steps: list[made.Row], row: made.Row) -> float:
    """Hours between the end of one step and the start of the other."""
    at = {step["step"]: step for step in steps}
    return float(at[row["then"]]["start_h"]) - float(at[row["first"]]["end_h"])


def test_work_on_a_day_of_rest(plan: Path) -> None:
    """Work on day 1 is wrong where that is a day of the week without work, or a single day off."""
    site = {"masons": 99, "day_hours": 24, "start_weekday": "saturday", "rest_days": [], "days_off": []}
    days = {int(row["day"]) for row in made.rows_of(plan / "steps.csv") if row["crew"]}
    made.change(plan, lambda s: s.update(site=dict(site, rest_days=["saturday"])))
    assert 1 in days and any("on day 1, which is a day without work" in one.text for one in audit(plan) if one.code == "audit.I8")
    made.change(plan, lambda s: s.update(site=dict(site, days_off=[1])))
    assert any("on day 1, which is a day without work" in one.text for one in audit(plan) if one.code == "audit.I8")
    made.change(plan, lambda s: s.update(site=site))
    assert not [one for one in audit(plan) if one.code == "audit.I8"]


# I9


def drop_cut(folder: Path) -> None:
    made.write(folder / "cuts.csv", made.rows_of(folder / "cuts.csv")[:-1])
    made.stamp(folder, "cuts.csv")


def long_cut(folder: Path) -> None:
    made.set_cell(folder, "cuts.csv", 0, "kerf_mm", 300)


def other_stock(folder: Path) -> None:
    made.set_cell(folder, "cuts.csv", 0, "stock", "K9")


def wrong_length(folder: Path) -> None:
    made.set_cell(folder, "cuts.csv", 0, "length_mm", 150)


def fewer_bought(folder: Path) -> None:
    made.change(folder, lambda summary: summary["counts"].update({"units_bought": 32}))


def lighter(folder: Path) -> None:
    made.change(folder, lambda summary: summary["totals"].update({"mass_kg": summary["totals"]["mass_kg"] - 0.01}))


def buys_less(folder: Path) -> None:
    made.set_cell(folder, "materials.csv", 0, "buy", 27)


def shorter_bars(folder: Path) -> None:
    made.set_cell(folder, "materials.csv", 3, "net", 0.7)


@pytest.mark.parametrize("spoil", [drop_cut, long_cut, other_stock, wrong_length, fewer_bought, lighter, buys_less, shorter_bars])
def test_units_cuts_and_sums(plan: Path, spoil: Callable[[Path], None]) -> None:
    spoil(plan)
    assert codes(plan) == {"I9"}


# files


@pytest.mark.parametrize("name", [*sorted(COLUMNS), FINDINGS, SUMMARY])
@pytest.mark.parametrize("content", [None, b"", b"\xff\xfe", b"a,b\n1\n", b"{}", b"[]"])
def test_a_missing_or_malformed_file_is_one_sentence(plan: Path, name: str, content: bytes | None) -> None:
    if content is None:
        (plan / name).unlink()
    else:
        (plan / name).write_bytes(content)
    (finding,) = audit(plan)
    assert finding.code == "audit.files" and name in finding.text and "\n" not in finding.text


def test_a_changed_file_fails_its_checksum(plan: Path) -> None:
    (plan / "runs.csv").write_bytes((plan / "runs.csv").read_bytes() + b"")
    assert codes(plan) == set()
    (plan / "report.html").write_text("a page", encoding="utf-8")
    made.stamp(plan, "report.html")
    (plan / "report.html").write_text("another page", encoding="utf-8")
    assert codes(plan) == {"files"}


@pytest.mark.parametrize(
    ("name", "column", "value"),
    [
        ("pieces.csv", "start_mm", "abc"),
        ("pieces.csv", "start_mm", "nan"),
        ("pieces.csv", "end_mm", "-200"),
        ("pieces.csv", "course", "1.5"),
        ("pieces.csv", "run", "R9"),
        ("pieces.csv", "piece", "R1-C01-02"),
        ("pieces.csv", "elevation", "POLYGON ((0 0"),
        ("runs.csv", "top", ""),
        ("corners.csv", "bonded", "maybe"),
        ("openings.csv", "sill_mm", "low"),
        ("cuts.csv", "kerf_mm", ""),
        ("items.csv", "size_mm", "thick"),
        ("steps.csv", "start_h", "noon"),
    ],
)
def test_a_wrong_cell_is_named(plan: Path, name: str, column: str, value: str) -> None:
    made.set_cell(plan, name, 0, column, value)
    findings = [one for one in audit(plan) if one.code == "audit.files"]
    assert len(findings) == 1 and f"{name}, line" in findings[0].text and column in findings[0].text


@pytest.mark.parametrize(("top", "holds"), [(200, True), (299, False)])
def test_raked_pieces_share_a_unit_slope_to_slope(plan: Path, top: int, holds: bool) -> None:
    """Two trapezoids of mean 250 and box 300 take 503.4 of 599 with their kerf; if one leans by 1 mm alone they take 602.4."""
    rows = made.rows_of(plan / "pieces.csv")
    cuts = made.rows_of(plan / "cuts.csv")
    for name, long in (("R1-C01-03", 200), ("R1-C01-06", top)):
        row = next(one for one in rows if one["piece"] == name)
        start = float(row["start_mm"])
        row |= {"cut": "length+rake", "end_mm": start + 300}
        row["elevation"] = f"POLYGON (({start} 10, {start + 300} 10, {start + long} 209, {start} 209, {start} 10))"
        next(one for one in cuts if one["piece"] == name).update({"length_mm": 300, "angle_deg": 63.32, "kerf_mm": 3.36})
    made.write(plan / "pieces.csv", rows)
    made.write(plan / "cuts.csv", cuts)
    made.stamp(plan, "pieces.csv")
    made.stamp(plan, "cuts.csv")
    assert any(one.code == "audit.I9" and "with their kerfs" in one.text for one in audit(plan)) is not holds

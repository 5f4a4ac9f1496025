"""Walls that lie in another wall over a part of their length: the rest is laid, and what is drawn twice is set aside by name.

Each case is planned from a wall list, written and audited from its files.  All figures are arithmetic from those of the case.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.cases.test_untidy_walls import line
from tests.cases.test_worked_cases import planned
from wallquant.audit import audit
from wallquant.bonding import Account
from wallquant.layout import Part
from wallquant.units import MM
from wallquant.writers.folder import write
from wallquant.writers.plan import Plan


def laid(folder: Path, walls: list[str]) -> Plan:
    plan = planned(folder, walls, any_thickness=True)
    write(plan, folder / "out", run={}, writers={})
    assert audit(folder / "out") == ()
    return plan


def account(plan: Plan, wall: str) -> Account:
    return next(a for a in plan.bond.accounts if a.wall == wall)


def part(plan: Plan, wall: str) -> Part:
    return next(p for r in plan.work.runs.values() for p in r.parts if p.wall == wall)


@pytest.mark.parametrize("way", [1, -1])
def test_the_rest_of_a_thinner_wall_is_laid_from_the_end_of_the_other(way: int, tmp_path: Path) -> None:
    """B, 150 thick and 6000 long, lies in A over its first 2500: 3500 are laid, 2.5 x 1.21 x 0.15 m3 set aside."""
    ends = [(3000.0, 25.0), (9000.0, 25.0)][::way]
    plan = laid(tmp_path, [line("A", (0, 0), (5500, 0), height=2410), line("B", *ends, height=1210, thickness=150)])
    assert not plan.set_aside
    one = account(plan, "B")
    assert (part(plan, "B").end - part(plan, "B").start) / MM == pytest.approx(3500)
    assert one.ledger["drawn"] == pytest.approx(6 * 1.21 * 0.15)
    assert one.ledger["set_aside"] == pytest.approx(2.5 * 1.21 * 0.15)
    assert one.area["set_aside"] == pytest.approx(2.5 * 1.21)
    assert "2500 mm of it lie in wall A" in one.reasons
    (told,) = [f for f in plan.findings if f.code == "graph.overlap"]
    assert told.measured == "2500 mm"
    assert told.place.wall == "B"


def test_openings_go_with_the_part_in_which_they_lie(tmp_path: Path) -> None:
    """Three doors of 800: in A, across its end (500 of it in A), and beyond."""
    doors = ", ".join(f"{{name: D{n}, at: {at}, width: 800, sill: 0, height: 2010}}" for n, at in enumerate((500, 2000, 4000)))
    plan = laid(tmp_path, [
        line("A", (0, 0), (5500, 0), height=2610, thickness=300),
        f"{line('B', (3000, 0), (9000, 0), height=2610)}, openings: [{doors}]",
    ])  # fmt: skip
    one = account(plan, "B")
    assert [(b.end - b.start) / MM for b in plan.work.bridges] == [300, 800]
    assert one.ledger["openings"] == pytest.approx(3 * 0.8 * 2.01 * 0.2)
    assert one.ledger["set_aside"] >= (2.5 * 2.61 - 1.3 * 2.01) * 0.2 - 1e-9  # and what lies over the door at the end
    assert one.area["openings"] == pytest.approx(1.1 * 2.01)


def test_a_wall_that_goes_on_at_both_ends_is_two(tmp_path: Path) -> None:
    plan = laid(tmp_path, [line("A", (2000, 0), (6000, 0), height=2410, thickness=300), line("B", (0, 25), (8000, 25), thickness=150)])
    assert [(part(plan, f"B/{n}").end - part(plan, f"B/{n}").start) / MM for n in (1, 2)] == [2000, 2000]
    assert account(plan, "B/1").ledger["set_aside"] == pytest.approx(4 * 1.21 * 0.15)
    assert account(plan, "B/2").ledger["set_aside"] == pytest.approx(0)


def test_in_one_line_and_of_one_unit_both_are_one_run(tmp_path: Path) -> None:
    """B lies in A over 2500 of its 4000: more than half, so that it is no overlap in the middle of which both divide."""
    plan = laid(tmp_path, [line("A", (0, 0), (5500, 0)), line("B", (3000, 0), (7000, 0))])
    (run,) = plan.work.runs.values()
    assert [(p.wall, p.start / MM, p.end / MM) for p in run.parts] == [("A", 0, 5500), ("B", 5500, 7000)]


@pytest.mark.parametrize("case", ["whole", "rest shorter than a unit", "higher than the other", "below the other"])
def test_what_cannot_go_on_is_set_aside_whole(case: str, tmp_path: Path) -> None:
    b = {
        "whole": line("B", (3000, 25), (5000, 25), thickness=150),
        "rest shorter than a unit": line("B", (3000, 25), (6000, 25), thickness=150),
        "higher than the other": line("B", (3000, 25), (9000, 25), height=2810, thickness=150),
        "below the other": line("B", (3000, 25), (9000, 25), bottom=-400, thickness=150),
    }[case]
    plan = laid(tmp_path, [line("A", (0, 0), (5500, 0), height=2410, thickness=300), b])
    assert [s.guid for s in plan.set_aside] == ["B"]

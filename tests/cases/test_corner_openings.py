"""Openings that take a whole corner, and openings of two heads beside each other: what carries the masonry above.

Each case is planned from a wall list, written and audited from its files.  That a lintel at a corner wants a post, and that one of two
lintels at a post lies on the other, is common practice, no source; whether it holds is the engineer's to say, and the finding says so.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.cases.test_worked_cases import planned
from wallquant.audit import audit
from wallquant.bonding import Account
from wallquant.findings import Finding
from wallquant.layout import Bridge
from wallquant.units import mm
from wallquant.writers.folder import write
from wallquant.writers.plan import Plan

XY = tuple[float, float]
Hole = tuple[float, float, float, float]
"""At, width, sill, height."""


def line(name: str, start: XY, end: XY, holes: list[Hole]) -> str:
    listed = ", ".join(f"{{name: {name}{n}, at: {a}, width: {w}, sill: {z}, height: {h}}}" for n, (a, w, z, h) in enumerate(holes))
    return f"name: {name}, from: {list(start)}, to: {list(end)}, height: 2610, thickness: 200, openings: [{listed}]"


def laid(folder: Path, walls: list[str]) -> Plan:
    """Plan walls, and audit what is written."""
    plan = planned(folder, walls, any_thickness=True)
    write(plan, folder / "out", run={}, writers={})
    assert audit(folder / "out") == ()
    return plan


def bridge(plan: Plan, opening: str) -> Bridge:
    return next(b for b in plan.work.bridges if b.opening.startswith(opening))


def account(plan: Plan, wall: str) -> Account:
    return next(a for a in plan.bond.accounts if a.wall == wall)


def told(plan: Plan, code: str) -> list[Finding]:
    return [f for f in plan.findings if f.code == code]


def corner(way: str, holes: list[Hole], others: list[Hole]) -> list[str]:
    """Wall A along x takes the corner at one of its ends, B butts against it there; `way` has the end, and which way B goes."""
    end, side = (5100.0 if "end" in way else -100.0), (-1 if "down" in way else 1)
    a = line("A", (-100, 0), (5100, 0), holes)
    x = end - 100 if end > 0 else end + 100
    return [a, line("B", (x, 100 * side), (x, 4000 * side), others)]


@pytest.mark.parametrize("way", ["start up", "start down", "end up", "end down"])
def test_a_window_round_a_corner(way: str, tmp_path: Path) -> None:
    """A is open over 1900 from its end on, B over 1500 from where it begins: B stands in the corner, and its lintel lies there.

    A's lintel lies on B's, one course (200) higher.  Of the strip between, 1700 x 200 are set aside; 200 x 200 are B's lintel.
    """
    at = 3300.0 if "end" in way else 0.0
    plan = laid(tmp_path, corner(way, [(at, 1900, 810, 1200)], [(0, 1500, 810, 1200)]))
    high, low = bridge(plan, "A"), bridge(plan, "B")
    assert (high.bridged, high.head, low.bridged, low.head) == ("lintel", mm(2210), "lintel", mm(2010))
    assert high.end - high.start == mm(1700)  # the corner is no part of what is open as laid
    (alone,) = account(plan, "A").causes.items()
    assert alone == ("between the heads of openings and lintels that lie higher", pytest.approx(1.7 * 0.2))
    assert account(plan, "B").causes == {}
    assert account(plan, "A").ledger["openings"] == pytest.approx(1.9 * 1.2 * 0.2)  # as drawn
    (one,) = told(plan, "lintel.corner-opening")
    assert one.severity == "warning"
    assert "no post is drawn there" in one.text
    assert "200 mm over the head" in one.text
    assert not told(plan, "lintel.no-bearing")


@pytest.mark.parametrize("way", ["start up", "end down"])
def test_a_window_up_to_a_wall_that_is_whole(way: str, tmp_path: Path) -> None:
    """B has no opening near: A's lintel lies at its own head, on B."""
    at = 3300.0 if "end" in way else 0.0
    plan = laid(tmp_path, corner(way, [(at, 1900, 810, 1200)], []))
    one = bridge(plan, "A")
    assert (one.bridged, one.head, one.end - one.start) == ("lintel", mm(2010), mm(1700))
    assert account(plan, "A").causes == {}
    (found,) = told(plan, "lintel.corner-opening")
    assert "set aside" not in found.text


def test_a_far_opening_of_the_other_wall_leaves_the_corner(tmp_path: Path) -> None:
    """From 600 on B's lintel, which bears 250, stays clear of A's."""
    plan = laid(tmp_path, corner("start up", [(0, 1900, 810, 1200)], [(500, 1000, 810, 1200)]))
    assert {bridge(plan, name).head for name in "AB"} == {mm(2010)}


def test_glass_on_both_sides_has_no_post_and_no_lintel(tmp_path: Path) -> None:
    """B is drawn through the corner too and open there: nobody stands in it, and all above is set aside."""
    walls = [line("A", (-100, 0), (5100, 0), [(0, 1900, 810, 1200)]), line("B", (0, -100), (0, 4000), [(0, 1600, 810, 1200)])]
    plan = laid(tmp_path, walls)
    assert not told(plan, "lintel.corner-opening")
    assert {f.place.opening for f in told(plan, "lintel.no-bearing")} == {b.opening for b in plan.work.bridges}
    assert account(plan, "A").area["set_aside"] > 1.7 * 0.6


def test_a_door_and_a_window_of_two_heads(tmp_path: Path) -> None:
    """A pier of 100 between a door (head 1910) and a window (head 2010): one lintel at 2010; 900 x 100 over the door are set aside.

    Heads more than a course apart are bridged each by itself.
    """
    holes: list[Hole] = [(1000, 900, 0, 1910), (2000, 2000, 810, 1200)]
    plan = laid(tmp_path, [line("A", (0, 0), (6000, 0), holes)])
    assert [(b.bridged, b.head) for b in plan.work.bridges] == [("lintel", mm(2010))] * 2
    assert len({b.lintel for b in plan.work.bridges}) == 1
    assert account(plan, "A").causes == {"between the heads of openings and lintels that lie higher": pytest.approx(0.9 * 0.1)}
    (one,) = told(plan, "lintel.two-heads")
    assert one.measured == "100 mm"
    assert "over the head of A0 " in one.text
    bare = planned(tmp_path, [line("A", (0, 0), (6000, 0), holes)])
    assert account(bare, "A").area["set_aside"] > 0.9 * 0.6

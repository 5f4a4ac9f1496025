"""What the engine tells of a layout: one finding a cause, sentences that name rule, place and what to do."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest

from tests.unit.laid_house import House, checked, lay, ring, wall
from wallquant.findings import Finding
from wallquant.layout import Courses, Run
from wallquant.rules import Choice, Fixed, Item, Lead, Rule, Sentence, Use, Window
from wallquant.units import MM


def told(house: House, code: str) -> Finding:
    found = [f for f in house.findings if f.code == code]
    assert len(found) == 1, [f.text for f in found]
    return found[0]


def test_a_clean_ring_has_nothing_to_tell() -> None:
    assert not {c for c in lay(ring(6200, 4400)).codes() if c.startswith("bond.")}


def test_windows_that_gave_way_are_told_once_for_the_whole_plan() -> None:
    """Cuts in leads of several runs make one note with the count of pieces, courses and runs."""
    house = checked(lay(ring(2150, 1750)))
    one = told(house, "bond.cut-window")
    p = house.work.pieces
    said = r"(\d+) cut pieces lie where closures wants none, in (\d+) courses of (\d+) runs, first in (R\d+), course (\d+);"
    count = re.match(said, one.text)
    assert count is not None, one.text
    assert int(count[1]) == one.times
    assert int(count[2]) <= one.times
    assert 1 < int(count[3]) <= len({int(p.run[k]) for k in range(len(p)) if p.cut[k]})
    assert (one.place.run, one.place.course) == (count[4], int(count[5]))
    assert one.rules == ("closures", "running_bond")
    assert one.severity == "note"


def test_a_cut_piece_in_two_windows_counts_once() -> None:
    """Doors whose piers are all lead and jamb zone: each cut piece lies in two windows or three, and is told once."""
    house = checked(lay([wall("A", (0, 0), (3800, 0), height=1810, openings=[(700, 1600, 0, 1410), (2150, 3050, 0, 1410)])]))
    one = told(house, "bond.cut-window")
    p = house.work.pieces
    near = [(c - 200, c + 200) for c in (700, 1600, 2150, 3050)]
    leads = [(0, 898.5), (3800 - 898.5, 3800)]
    found = 0
    for k in range(len(p)):
        lo, hi = p.start[k] / MM, p.end[k] / MM
        low = p.top[k] <= 1410 * MM
        found += bool(p.cut[k] & 1) and any(lo < b and hi > a for a, b in (leads + near if low else leads))
    assert one.times == found > 10
    assert int(one.text.split()[0]) == found <= house.bond.cuts


class Shy(Rule):
    """No head joint over a place of the first run, where that costs nothing."""

    code = "shy"

    def demand(self, run: Run, courses: Courses) -> list[Sentence]:
        return [Window(course=c.number, lo=-10 * MM, hi=4000 * MM, yields=8) for c in courses] if run.name == "R1" else []


def test_joint_windows_that_gave_way() -> None:
    house = lay([wall("A", (0, 0), (5999, 0))], more_rules=[Shy()])
    one = told(house, "bond.joint-window")
    inside = sum(0 < start < 4000 for course in range(1, 13) for start, _ in house.row("R1", course))
    assert f"{inside} head joints lie where shy wants none, in 12 courses of 1 run, first in R1, course 1" in one.text
    assert one.times == inside >= 12 * 6


class Stern(Rule):
    """No cut anywhere and no joint above course 1: what no wall can keep."""

    code = "stern"

    def demand(self, run: Run, courses: Courses) -> list[Sentence]:
        joints = [Window(course=c.number, lo=-10 * MM, hi=9000 * MM) for c in list(courses)[1:]]
        return [*joints, *(Window(course=c.number, lo=-10 * MM, hi=9000 * MM, of="cut") for c in courses)]


def test_windows_that_never_yield_are_errors_where_nothing_keeps_them() -> None:
    house = lay([wall("A", (0, 0), (5800, 0))], more_rules=[Stern()])
    joints, cuts = told(house, "bond.forbids-all"), told(house, "bond.cut-window-broken")
    assert (joints.severity, cuts.severity) == ("error", "error")
    assert joints.rules == ("stern",) and "stern" in cuts.rules
    assert joints.times == 11 and "run R1, course 2, and in 10 more courses of 1 run" in joints.text
    assert "where stern never allows one, in" in cuts.text


def test_hard_cut_windows_come_before_fewest_cuts() -> None:
    """A course of 5800 has a cut; beside its start none may be, at whatever cost in cuts elsewhere."""

    class Clear(Rule):
        """No cut in the first metre and a half."""

        code = "clear"

        def demand(self, run: Run, courses: Courses) -> list[Sentence]:
            return [Window(course=c.number, lo=-10 * MM, hi=1200 * MM, of="cut") for c in list(courses)[::2]]

    house = lay([wall("A", (0, 0), (5800, 0))], more_rules=[Clear()])
    assert not [f for f in house.findings if f.code == "bond.cut-window-broken"]
    for course in range(1, 12, 2):
        assert all(round(b - a, 6) == 599 for a, b in house.row("R1", course) if a < 1200)


class Straight(Rule):
    """One joint place in two units, the same in every course."""

    code = "straight"

    def demand(self, run: Run, courses: Courses) -> list[Sentence]:
        sides = ((1401 * MM, 2000 * MM), (2001 * MM, 2599 * MM))
        return [Window(course=c.number, lo=lo, hi=hi) for c in courses for lo, hi in sides]


def test_each_short_offset_is_told_with_its_place() -> None:
    """The finding counts the joints that stand too near, and names the courses and stations of the first six."""
    one = told(lay([wall("A", (0, 0), (5999, 0))], more_rules=[Straight()]), "bond.least-offset")
    joints = int(one.text.split()[1])
    assert joints >= one.times == 11
    assert one.text.startswith(f"R1: {joints} head joints in 11 courses stand nearer than 80.6 mm to the one below, the nearest 0 mm (")
    assert one.text.count("course ") == 6
    assert f" and {joints - 6} more)" in one.text
    assert one.place.course == 2


def test_offsets_that_gave_way_name_both_rules() -> None:
    """Jambs 250 apart leave one joint place in every course between them."""
    house = lay([wall("A", (0, 0), (5999, 0), openings=[(1000, 1900, 830, 2010)])])
    one = told(house, "bond.least-offset")
    assert one.rules == tuple(sorted(one.rules))
    assert len(one.rules) == 2
    assert "running_bond" in one.rules
    assert one.place.run == "R1"
    assert "as the engineer says" in one.text


def test_set_aside_is_told_once_a_cause_with_the_walls() -> None:
    walls = [wall(f"Low {n}", (0, 1000 * n), (2000, 1000 * n), height=40) for n in range(8)]
    one = told(lay(walls), "bond.set-aside")
    assert "of 8 walls (Low 0, Low 1, Low 2, Low 3, Low 4, Low 5 and 2 more) are set aside: less high than the least rip." in one.text
    assert one.times == 8
    assert one.place.wall == "Low 0"


def test_angled_corners_that_no_unit_closes() -> None:
    house = checked(lay([wall("A", (0, 0), (3000, 0)), wall("B", (3000, 0), (0, 300))]))
    one = told(house, "bond.angled-corner")
    assert "goes on, the others stop square before it" in one.text
    assert one.place.corner


def test_two_lintels_that_want_one_corner() -> None:
    """The run that does not pass gives way: its lintel is left out, named with the opening, and what is above it set aside."""
    house = checked(
        lay(
            [
                wall("A", (0, 100), (6000, 100), openings=[(250, 1200, 800, 2010)]),
                wall("B", (100, 200), (100, 3000), openings=[(100, 900, 800, 2010)]),
            ]
        )
    )
    one = told(house, "bond.left-out")
    assert one.place.opening in ("A#1", "B#1")
    assert "Move one of the openings away from the corner" in one.text
    left = house.account(one.place.opening[0])
    assert left.causes["over openings that nothing bridges"] > 0.1
    assert [b.bridged for b in house.work.bridges if b.opening == one.place.opening] == ["none"]


def test_a_unit_that_bridges_beside_a_lintel_finds_no_bearing() -> None:
    house = checked(lay([wall("A", (0, 0), (4000, 0), openings=[(1163, 1726, 0, 390), (1966, 2116, 0, 390)])]))
    bridged = {b.opening: b.bridged for b in house.work.bridges}
    if bridged["A#2"] == "none":
        assert told(house, "bond.left-out").place.opening == "A#2"
    assert bridged["A#1"] == "lintel"


class Brings(Rule):
    """An alternative that brings an item, a lead and another unit; the other one is dearer, since its piece cannot lie."""

    code = "brings"

    def demand(self, run: Run, courses: Courses) -> list[Sentence]:
        def item(kind: str) -> Item:
            return Item(kind=kind, run=run.name, start=0, end=0, bottom=run.bottom, top=run.bottom, course=1, corner=run.first.corner)

        hole = Fixed(course=2, lo=1500 * MM, hi=2099 * MM, unit=run.unit.code)
        core = next(u.code for u in run.catalogue.of_kind("core", run.thickness))
        good = (item("bar"), Lead(corner=run.first.corner, courses=5), Use(course=1, lo=0, hi=500 * MM, unit=core))
        return [Choice(name="either", alternatives=((hole, item("strap")), good))]


def test_items_of_the_picked_alternative_are_kept_and_no_others() -> None:
    house = lay([wall("A", (0, 0), (5999, 0), openings=[(1000, 1900, 0, 2010)])], more_rules=[Brings()])
    assert [(i.kind, i.rule) for i in house.work.items if i.rule == "brings"] == [("bar", "brings")]
    run = house.work.runs["R1"]
    assert house.bond.leads[run.first.corner] == 5
    p = house.work.pieces
    assert {p.units[int(p.unit[k])].kind for k in range(len(p)) if p.course[k] == 1 and p.start[k] < 500 * MM} == {"core"}


class Beam(Rule):
    """A lintel that bears 300 on either side, and asks less than that or nothing; no joint within 250 of the jambs."""

    code = "beam"

    def __init__(self, bearing: int) -> None:
        super().__init__()
        self.bearing = bearing

    def demand(self, run: Run, courses: Courses) -> list[Sentence]:
        lo, hi = 1000 * MM, 2000 * MM
        beam = Fixed(
            course=4, lo=lo - 250 * MM, hi=hi + 250 * MM, unit="lintel-1500x200x200", opening=(run.openings[0].key,), bearing=self.bearing
        )
        return [beam, Window(course=3, lo=lo - 250 * MM, hi=lo), Window(course=3, lo=hi, hi=hi + 250 * MM)]


@pytest.mark.parametrize("asked", [0, 120])
def test_the_bearing_asked_is_what_the_rule_says_and_no_window(asked: int) -> None:
    """Joints are kept out of the whole bearing of 250; what is asked is said by the rule, and 0 where it asks none."""
    one = wall("A", (0, 0), (3000, 0), height=1010, openings=[(1000, 2000, 0, 610)])
    house = lay([one], more_rules=[Beam(asked * MM)], rules_off=["lintel_bearing"])
    (bridge,) = house.work.bridges
    assert (bridge.bearing_start, bridge.bearing_end, bridge.bearing_least) == (250 * MM, 250 * MM, asked * MM)
    assert bridge.bridged == "lintel"


def test_one_tie_where_a_rule_and_the_engine_want_one() -> None:
    """A run that passes twice at a corner is tied once: by the rule that asked for it, else by the engine."""
    walls = ring(6200, 4400, height=2610)
    house = lay([wall("A", (0, 100), (6200, 100), height=2610, openings=[(300, 1200, 0, 2010)]), *walls[1:]])
    ties = house.items("tie")
    assert [(t.rule, t.course) for t in ties] == [("lintel_bearing", 10)]
    assert "passes in course 10 and again in course 11; lay a tie in the bed between" in told(house, "bond.corner-not-bonded").text


def test_walls_of_one_name_are_counted_and_corners_say_their_courses() -> None:
    """An exporter gives many walls one name: it is said once."""
    walls = [wall(g, (0, y), (3000, y), height=1810, openings=[(60, 2940, 0, 1500)]) for g, y in (("A", 0), ("B", 2000), ("C", 4000))]
    named = [replace(w, name="Bay" if w.guid != "C" else "Porch") for w in walls]
    found = [f for f in lay(named).findings if f.code == "bond.set-aside"]
    assert found and all("(2 times Bay, Porch)" in f.text for f in found), [f.text for f in found]

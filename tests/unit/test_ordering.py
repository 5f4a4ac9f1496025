"""Steps and precedences on small plans built by hand."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace

import numpy as np
import pytest
from wallquant_thinbed.corner_leads import CornerLeads

from tests.unit import ordering_work as site
from wallquant import ordering
from wallquant.layout import Step, Work
from wallquant.ordering import leads
from wallquant.rules import Precedence
from wallquant.units import MM

HOUR = 3600


def named(work: Work) -> dict[str, Step]:
    assert len({s.name for s in work.steps}) == len(work.steps)
    return {s.name: s for s in work.steps}


def rows(work: Work, *names: str) -> tuple[int, ...]:
    return tuple(work.pieces.names.index(n) for n in names)


def each_piece_once(work: Work) -> None:
    assert Counter(r for s in work.steps for r in s.pieces) == Counter(range(len(work.pieces)))


# Leads


def test_worked_case_a_lead_of_three_courses_has_nine_pieces() -> None:
    """Derived: with lap 150 the arms end at 1199, 800, 599 and 1400, 1199, 800 from the outside faces."""
    work = site.stepped(site.corner(courses=4), {"K1": 3}, laps={"A": 150 * MM, "B": 150 * MM})
    steps, pieces = named(work), work.pieces
    outside = 100 * MM
    ends: dict[str, list[int]] = {"passing in course 2": [], "butting in course 2": []}
    for course in (2, 3, 4):
        lead = steps[f"K1-C{course:02d}-lead"]
        for arm, run in (("passing in course 2", "B"), ("butting in course 2", "A")):
            ends[arm].append(max(int(pieces.end[r]) + outside for r in lead.pieces if pieces.runs[pieces.run[r]] == run) // MM)
    assert ends == {"passing in course 2": [1199, 800, 599], "butting in course 2": [1400, 1199, 800]}
    assert [len(steps[f"K1-C{c:02d}-lead"].pieces) for c in (2, 3, 4)] == [4, 3, 2]
    each_piece_once(work)


@pytest.mark.parametrize("courses", [1, 2, 3, 4])
def test_each_lead_piece_rests_on_lead_pieces_within_its_lift(courses: int) -> None:
    work = site.stepped(site.ring(courses=9, axis=(9000, 7800)), courses)
    owner = ordering.step_of(work.steps, len(work.pieces))
    for below, above in zip(*ordering.resting(work), strict=True):
        upper, lower = work.steps[owner[above]], work.steps[owner[below]]
        if upper.kind == "lead" and upper.course > 2 and (upper.course - 2) % courses:
            assert lower.kind == "lead", (upper.name, lower.name)
        if upper.kind == "lead" and upper.course == 2:
            assert lower.kind in ("corner", "lead"), (upper.name, lower.name)


def test_course_one_sets_the_corner_and_then_goes_on_under_the_lead() -> None:
    steps = named(site.stepped(site.corner()))
    work = site.stepped(site.corner())
    assert steps["K1-C01-corner"].pieces == rows(work, "A-C01-01", "B-C01-01")
    assert steps["K1-C01-corner"].runs == ("A", "B")
    assert steps["K2-C01-corner"].pieces == rows(work, "A-C01-06")
    assert steps["K1-C01-lead"].pieces == rows(work, "A-C01-02", "A-C01-03", "B-C01-02")
    assert steps["K1-C02-lead"].pieces == rows(work, "B-C02-01", "A-C02-01", "B-C02-02", "A-C02-02"), "the passing run first"


def test_no_lead_passes_half_of_a_stretch_between_two_leads() -> None:
    work = site.stepped(site.corner(courses=7, length=2300), 6)
    pieces = work.pieces
    for s in work.steps:
        for run in s.runs if s.kind == "lead" and s.course > 1 else ():
            mine = [r for r in s.pieces if pieces.runs[pieces.run[r]] == run]
            here = np.flatnonzero((pieces.run == pieces.run[mine[0]]) & (pieces.course == s.course))
            middle = (int(pieces.start[here].min()) + int(pieces.end[here].max())) // 2
            near = int(pieces.start[mine].min()) == int(pieces.start[here].min())
            assert len(mine) == 1 or (pieces.end[mine].max() <= middle if near else pieces.start[mine].min() >= middle)
    each_piece_once(work)


def test_a_stretch_of_one_piece_goes_to_one_lead() -> None:
    work = site.stepped(site.corner(courses=2, length=599), 2)
    each_piece_once(work)
    assert not [s for s in work.steps if s.kind == "closure"]


def test_a_corner_without_leads_is_laid_to_the_line() -> None:
    work = site.stepped(site.corner(), {})
    assert {s.kind for s in work.steps if s.course > 1} == {"line"}
    assert {s.kind for s in work.steps if s.course == 1} == {"corner", "line", "closure"}
    each_piece_once(work)


def test_lead_counts_begin_anew_in_each_lift() -> None:
    ends = {n: [600 * k - (300 if n % 2 else 1) for k in range(1, 9)] for n in range(1, 8)}
    counts = leads.lead_counts(ends, courses=2, lap=150, limits={})
    assert counts == {7: 1, 6: 1, 5: 1, 4: 1, 3: 1, 2: 1, 1: 2}


# Line work, closures, lintels


def test_line_work_ends_at_the_jambs_and_runs_away_from_the_leads() -> None:
    work = site.stepped(site.door())
    steps = named(work)
    assert steps["R1-C02-line1"].pieces == rows(work, "R1-C02-03", "R1-C02-04", "R1-C02-05")
    assert steps["R1-C02-line2"].pieces == rows(work, "R1-C02-08", "R1-C02-07", "R1-C02-06")
    assert not [s for s in work.steps if s.kind == "closure" and s.course <= 11], "a closure lies between two leads"
    assert steps["K1-C02-lead"].text == "Course 2 at K1: lay the lead from the corner, 2 pieces along R1 up to R1-C02-02."
    assert steps["R1-C02-line2"].text == (
        "Course 2 of R1: lay 3 pieces to the line from K2 towards the jamb of D1; the last is R1-C02-06, cut to 299 mm."
    )
    each_piece_once(work)


def test_the_closure_is_the_cut_piece_or_else_the_middle_one() -> None:
    plain = named(site.stepped(site.door()))
    closure = plain["R1-C12-closure1"]
    assert closure.pieces == rows(site.door(), "R1-C12-06")
    line = site.Line("R1", 4418, (site.junction("K1", "end", "start", 0), site.junction("K2", "end", "end", 4418)), courses=1)
    cut = [site.Row("R1", 1, a, b, cut="" if b - a == 599 else "length") for a, b in ((0, 599), (600, 1199), (1200, 1799))]
    cut += [site.Row("R1", 1, 1800, 2017, cut="length")]
    cut += [site.Row("R1", 1, a, a + 599) for a in (2018, 2618, 3218, 3818)]
    work = site.stepped(site.made([line], cut), 0)
    last = named(work)["R1-C01-closure1"]
    assert last.pieces == rows(work, "R1-C01-04")
    assert last.text == "Course 1 of R1: close with R1-C01-04, cut to 217 mm; measure the gap on site before it is cut."
    assert named(work)["R1-C01-line1"].pieces == rows(work, "R1-C01-02", "R1-C01-03", "R1-C01-07", "R1-C01-06", "R1-C01-05")


def long_wall(pieces: int, courses: int = 2) -> Work:
    """A wall of so many pieces between two ends."""
    length = 600 * pieces - 1
    line = site.Line("R1", length, (site.junction("K1", "end", "start", 0), site.junction("K2", "end", "end", length)), courses=courses)
    return site.made([line], [row for n in range(1, courses + 1) for row in site.course("R1", n, 0, length)])


@pytest.mark.parametrize("leads_of", [{"K1": 2, "K2": 2}, {"K1": 2}, {"K2": 2}, {}])
def test_no_line_work_is_longer_than_half_a_working_day(leads_of: dict[str, int]) -> None:
    """328 pieces of 320 s are 29 h: steps of 4 h at most, each going on where the one before ends, from its lead outward."""
    work = site.stepped(long_wall(328), leads_of)
    each_piece_once(work)
    for course in (1, 2):
        parts = [s for s in work.steps if s.kind == "line" and s.course == course]
        closures = [s for s in work.steps if s.kind == "closure" and s.course == course]
        assert len(parts) in (8, 9) and len(closures) == (1 if course == 1 or len(leads_of) == 2 else 0)
        assert all(len(c.pieces) == 1 for c in closures)
        seconds = [s.seconds for s in parts]
        assert max(seconds) <= 4 * HOUR and max(seconds) - min(seconds) <= 2 * 320
        steps = named(work)
        for part in parts:
            rising = part.pieces[0] < part.pieces[-1]
            assert list(part.pieces) == sorted(part.pieces, reverse=not rising)
            if part.follows:
                before = steps[part.follows]
                assert part.pieces[0] - before.pieces[-1] == (1 if rising else -1)
                assert f"to the line from {work.pieces.names[before.pieces[-1]]} on; the last is" in part.text
            else:
                assert f"to the line from {'K1' if rising else 'K2'}; the last is" in part.text
        assert sum(not part.follows for part in parts) == 1 + len(closures)
        for closure in closures:
            left = [s for s in parts if "then leave the closure" in s.text]
            assert {abs(s.pieces[-1] - closure.pieces[0]) for s in left} == {1} and len(left) == 2
    arcs = {(link.first, link.then) for link in ordering.precedences(work, CornerLeads().precede(work)).links()}
    assert all((s.follows, s.name) in arcs for s in work.steps if s.follows)
    for closure in (c for c in work.steps if c.kind == "closure"):
        assert all((s.name, closure.name) in arcs for s in work.steps if s.kind == "line" and s.course == closure.course)


def test_line_work_of_half_a_day_is_one_step() -> None:
    """45 pieces of 320 s are 4 h."""
    for pieces, steps in ((45, 1), (46, 2)):
        work = site.stepped(long_wall(pieces), {})
        assert len([s for s in work.steps if s.kind == "line" and s.course == 2]) == steps


def test_a_lintel_is_a_step_between_its_bearings_and_what_lies_over_it() -> None:
    work = site.stepped(site.door())
    lintel = named(work)["R1-C11-lintel1"]
    assert (lintel.kind, lintel.seconds) == ("lintel", 20 * 60)
    told = "Course 11 of R1: set R1-C11-05 (36 kg) over D1, bearing 300 mm and 300 mm."
    assert lintel.text == f"{told} It is chosen by length only, not by capacity."
    arcs = {(a.first, a.then) for a in ordering.precedences(work).links()}
    assert ("R1-C10-line1", lintel.name) in arcs
    assert ("R1-C10-line2", lintel.name) in arcs
    assert (lintel.name, "R1-C12-line1") in arcs


def test_rows_one_over_the_other_in_a_course_are_laid_bottom_up() -> None:
    """A head off course (level 2060): rips under both bearings, the lintel on them, a rip over it, all in course 11."""
    line = site.Line(
        "R1",
        3598,
        (site.junction("K1", "end", "start", 0), site.junction("K2", "end", "end", 3598)),
        openings=(site.opening("D1", 1300, 2300, 0, 2060),),
        courses=11,
    )
    rips = [site.Row("R1", 11, a, b, height=49, cut="height") for a, b in ((0, 599), (600, 1299), (2300, 2998), (2999, 3598))]
    over = [site.Row("R1", 11, a, b, level=2060, height=100, cut="height") for a, b in ((0, 899), (2701, 3598))]
    strip = [site.Row("R1", 11, a, b, level=2161, height=48, cut="height") for a, b in ((0, 599), (600, 3598))]
    work = site.made([line], [*rips, *over, site.Row("R1", 11, 900, 2700, level=2060, height=100, fixed=0), *strip])
    work = site.stepped(work)
    each_piece_once(work)
    plan = ordering.schedule(ordering.precedences(work), masons=2)
    laid: set[int] = set()
    under = {(int(a), int(b)) for a, b in zip(*ordering.resting(work), strict=True)}
    assert len(under) >= 9
    for turn in plan.turns:
        for r in turn.step.pieces:
            assert {a for a, b in under if b == r} <= laid
            laid.add(r)
    assert len(laid) == len(work.pieces)
    assert "on the row below" in " ".join(s.text for s in work.steps)


def test_a_passing_stem_ends_the_stretch_and_belongs_to_the_lead_at_its_corner() -> None:
    """A stem at 3000 passes in course 2; in course 1 the through run does, with a joint at the node in course 3 (tied)."""
    stem = site.junction("K3", "T", "through", 3000, "S", "end")
    lines = [
        site.Line("R", 6000, (site.junction("K1", "end", "start", 0), stem, site.junction("K2", "end", "end", 6000)), courses=3),
        site.Line("S", 2000, (site.junction("K4", "end", "start", 0), site.junction("K3", "T", "end", 2000, "R", "through")), courses=3),
    ]
    pieces = site.course("R", 1, 0, 6000) + site.course("S", 1, 0, 1899)
    pieces += site.course("R", 2, 0, 2899, 299) + site.course("R", 2, 3101, 6000) + site.course("S", 2, 0, 2100)
    pieces += site.course("R", 3, 0, 6000) + site.course("S", 3, 0, 1899)
    work = site.stepped(site.made(lines, pieces, phases={"K3": ("R", "S", "tied")}), 2)
    steps = named(work)
    each_piece_once(work)
    assert steps["K3-C02-lead"].runs == ("S",)
    assert rows(work, "S-C02-04")[0] in steps["K3-C02-lead"].pieces
    assert {s.name for s in work.steps if s.course == 2 and "R" in s.runs and s.kind == "line"} == {"R-C02-line1", "R-C02-line2"}
    assert [s.name for s in work.steps if s.course == 3 and s.runs == ("R",) and s.kind == "line"] == ["R-C03-line1"]
    arcs = {(a.first, a.then) for a in ordering.precedences(work).links()}
    assert ("K3-C02-lead", "R-C03-line1") in arcs or ("K3-C02-lead", "R-C03-closure1") in arcs, "the through run rests on the stem"


def test_a_crossing_of_two_through_runs_is_marked_by_the_piece_over_its_node() -> None:
    lines = [
        site.Line(a, 6000, (site.junction(f"{a}1", "end", "start", 0), site.junction("X1", "X", "through", 3000, b, "through"),
                            site.junction(f"{a}2", "end", "end", 6000)), courses=1)
        for a, b in (("R", "S"), ("S", "R"))
    ]  # fmt: skip
    pieces = site.course("R", 1, 0, 6000) + site.course("S", 1, 0, 2899) + site.course("S", 1, 3101, 6000)
    work = site.stepped(site.made(lines, pieces, phases={"X1": ("R",)}, start="R1"), 2)
    each_piece_once(work)
    assert named(work)["X1-C01-corner"].pieces == rows(work, "R-C01-06")


def test_arms_on_other_levels_are_laid_in_steps_of_their_own() -> None:
    work = site.corner(courses=3)
    lifted = replace(work.courses["B"], levels=tuple(replace(c, bottom=c.bottom + 50 * MM) for c in work.courses["B"].levels))
    work = site.stepped(replace(work, courses={**work.courses, "B": lifted}))
    each_piece_once(work)
    assert named(work)["K1-C02-lead"].runs == ("A",)
    assert named(work)["K1-B-C02-lead"].runs == ("B",)


def test_an_empty_plan_has_no_steps_and_takes_no_time() -> None:
    work = site.stepped(
        site.made([site.Line("R1", 1000, (site.junction("K1", "end", "start", 0), site.junction("K2", "end", "end", 1000)))], [])
    )
    plan = ordering.schedule(ordering.precedences(work))
    assert (work.steps, plan.turns, plan.seconds, plan.bound) == ((), (), 0, 0)


def test_pace_goes_by_mass_and_kind() -> None:
    assert ordering.Pace().seconds("line", [14.0] * 90) == 8 * HOUR
    assert ordering.Pace().seconds("lintel", [100.0, 100.0]) == 40 * 60
    # Schierhorn 1995, Table 1: 39 lb 131, 54 lb 90 units a mason-day.
    published = ordering.Pace(a_day=ordering.pace.BY_WEIGHT)
    assert published.seconds("line", [39 * ordering.pace.POUND] * 131) == 8 * HOUR
    assert published.seconds("line", [54 * ordering.pace.POUND] * 90) == 8 * HOUR


# Precedences


def test_support_at_a_corner_crosses_from_run_to_run() -> None:
    work = site.corner(courses=2)
    pairs = {(work.pieces.names[a], work.pieces.names[b]) for a, b in zip(*ordering.resting(work), strict=True)}
    assert ("A-C01-01", "B-C02-01") in pairs, "B passes over A's corner piece"
    assert ("A-C01-01", "A-C02-01") in pairs
    assert ("B-C01-01", "A-C02-01") not in pairs, "A's butting piece does not reach over B"
    assert not {(a, b) for a, b in pairs if a[:5] == b[:5]}


@pytest.mark.parametrize(("bottom", "rests"), [(810, True), (839, True), (840, False)])
def test_an_upper_storey_rests_on_the_pieces_below_it(bottom: int, rests: bool) -> None:
    """Four courses end at 809; with its bed of 10 the run above begins at 820, 849 or 850: up to 40 over them it rests on them."""

    def line(name: str, first: int, **more: int) -> site.Line:
        ends = (site.junction(f"K{first}", "end", "start", 0), site.junction(f"K{first + 1}", "end", "end", 1799))
        return site.Line(name, 1799, ends, **more)

    every = [one for name in "AB" for n in (1, 2, 3, 4) for one in site.course(name, n, 0, 1799)]
    work = site.made([line("A", 1), line("B", 3, bottom=bottom)], every)
    pairs = {(work.pieces.names[a], work.pieces.names[b]) for a, b in zip(*ordering.resting(work), strict=True)}
    assert {p for p in pairs if p[0][0] != p[1][0]} == ({(f"A-C04-0{n}", f"B-C01-0{n}") for n in (1, 2, 3)} if rests else set())


def test_a_hold_stands_between_all_first_and_all_then() -> None:
    asked = [Precedence(first=("a", "b"), then=("c", "d"), hold="Wait for the engineer.", lag=HOUR, rule="cure", reason="it sets")]
    made = site.graph({"a": HOUR, "b": HOUR, "c": HOUR, "d": HOUR}, asked)
    assert len(made.steps) == 5
    hold = made.steps[4]
    assert (hold.kind, hold.text, hold.panel) == ("hold", "Wait for the engineer.", "R1")
    arcs = {(a.first, a.then, a.lag, a.rule) for a in made.links()}
    assert arcs == {
        ("a", hold.name, HOUR, "cure"),
        ("b", hold.name, HOUR, "cure"),
        (hold.name, "c", 0, "cure"),
        (hold.name, "d", 0, "cure"),
    }
    plan = ordering.schedule(made, masons=2)
    assert site.times(plan)[hold.name] == (2.0, 2.0)
    assert next(t.crew for t in plan.turns if t.step is hold) == ""


def test_a_hold_finds_a_name_of_its_own_and_limits_reach_across_it() -> None:
    asked = [Precedence(first=("R1-hold1",), then=("b",), hold="Stop.", most_lag=HOUR, rule="r")]
    made = site.graph({"R1-hold1": HOUR, "b": HOUR}, asked)
    assert [s.name for s in made.steps] == ["R1-hold1", "b", "R1-hold1a"]
    assert ("R1-hold1", "b", HOUR) in {(a.first, a.then, a.most_lag) for a in made.links()}


def test_many_before_many() -> None:
    names = {f"s{i}": 1 for i in range(40)}
    some, others = tuple(names)[:20], tuple(names)[20:]
    made = site.graph(names, [Precedence(first=some, then=others, lag=5, rule="r")])
    assert {(a.first, a.then, a.lag) for a in made.links()} == {(a, b, 5) for a in some for b in others}


def test_arcs_between_the_same_steps_become_one_with_all_reasons() -> None:
    asked = [
        Precedence(first=("a",), then=("b",), lag=10, most_lag=500, rule="one", reason="first reason"),
        Precedence(first=("a",), then=("b",), lag=70, rule="two", reason="second reason"),
        Precedence(first=("a",), then=("b",), most_lag=90, rule="two", reason="second reason"),
    ]
    for order in (asked, asked[::-1]):
        (link,) = site.graph({"a": 1, "b": 1}, order).links()
        assert (link.lag, link.most_lag, link.rule, link.reason) == (70, 90, "one two", "first reason; second reason")


def test_a_circle_names_its_steps_and_rules() -> None:
    asked = [*site.before(("a", "b"), ("b", "c")), Precedence(first=("c",), then=("a",), rule="backwards"), *site.before(("c", "z"))]
    with pytest.raises(ordering.OrderError) as raised:
        site.graph({"a": 1, "b": 1, "c": 1, "z": 1}, asked)
    text = str(raised.value)
    for part in ("a before b (test_rule)", "b before c (test_rule)", "c before a (backwards)"):
        assert part in text
    assert "z" not in text
    assert raised.value.rules == ("backwards", "test_rule")


def test_a_step_before_itself_is_a_circle() -> None:
    with pytest.raises(ordering.OrderError, match="a before a"):
        site.graph({"a": 1}, site.before(("a", "a")))


def test_an_unknown_step_is_named_with_its_rule() -> None:
    with pytest.raises(ordering.OrderError, match="rule test_rule speaks of step 'q'"):
        site.graph({"a": 1}, site.before(("a", "q")))


def test_what_is_not_heeded_is_told() -> None:
    asked = site.before(("a", "b"), ("b", "c"), calendar="full moon")
    plan = ordering.schedule(site.graph({"a": 1, "b": 1, "c": 1}, asked))
    (finding,) = plan.findings
    assert (finding.code, finding.times, finding.rules) == ("order.not-heeded", 2, ("test_rule",))
    assert "full moon" in finding.text

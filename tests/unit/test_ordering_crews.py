"""Who lays what when, on small plans built by hand, and with the rule on corners."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from wallquant_thinbed.corner_leads import CornerLeads

from tests.unit import ordering_work as site
from wallquant import ordering
from wallquant.layout import Work
from wallquant.ordering import bound, precedence
from wallquant.rules import Precedence

HOUR = 3600


def test_a_step_waits_for_the_next_day_when_the_rest_of_the_shift_is_too_short() -> None:
    plan = ordering.schedule(site.graph({"a": 6 * HOUR, "b": 3 * HOUR}, site.before(("a", "b"))))
    assert site.times(plan) == {"a": (0.0, 6.0), "b": (24.0, 27.0)}
    assert [t.day for t in plan.turns] == [1, 2]
    assert plan.hours == 11.0 == plan.hours_bound


def test_a_shorter_step_fills_the_rest_of_the_shift() -> None:
    plan = ordering.schedule(site.graph({"a": 6 * HOUR, "b": 3 * HOUR, "c": 2 * HOUR}))
    assert site.times(plan) == {"a": (0.0, 6.0), "c": (6.0, 8.0), "b": (24.0, 27.0)}


def test_a_step_longer_than_a_shift_goes_on_the_next_day() -> None:
    plan = ordering.schedule(site.graph({"a": 2 * HOUR, "b": 20 * HOUR}, site.before(("a", "b"))))
    assert site.times(plan) == {"a": (0.0, 2.0), "b": (2.0, 54.0)}
    assert plan.hours == 22.0 == plan.hours_bound


def test_lags_run_over_the_night_and_release_times_count() -> None:
    plan = ordering.schedule(site.graph({"a": 6 * HOUR, "b": HOUR}, site.before(("a", "b"), lag=12 * HOUR)))
    assert site.times(plan)["b"] == (24.0, 25.0)
    plan = ordering.schedule(site.graph({"a": HOUR, "b": HOUR}, site.before(("a", "b"), not_before=50 * HOUR)))
    assert site.times(plan)["b"] == (50.0, 51.0)
    assert plan.hours_bound == 19.0


def test_a_broken_greatest_lag_is_one_finding_a_reason() -> None:
    seconds = {"a": 7 * HOUR, "b": 2 * HOUR, "c": 7 * HOUR, "d": 3 * HOUR}
    asked = site.before(("a", "b"), ("c", "d"), most_lag=HOUR, reason="the mortar is fresh")
    plan = ordering.schedule(site.graph(seconds, asked), masons=2)
    (finding,) = plan.findings
    assert (finding.code, finding.times, finding.rules) == ("order.too-late", 2, ("test_rule",))
    assert (finding.measured, finding.wanted) == ("17.00 h", "at most 1.00 h")


def test_a_panel_is_finished_before_another() -> None:
    steps = [site.step(f"{p}-{k}", HOUR // 2, panel=p) for p in ("R2", "R1") for k in range(3)]
    asked = site.before(*((f"{p}-{k}", f"{p}-{k + 1}") for p in ("R1", "R2") for k in range(2)))
    plan = ordering.schedule(precedence.build(steps, asked), panels={"R1": 0, "R2": 1})
    assert [t.step.panel for t in plan.turns] == ["R1"] * 3 + ["R2"] * 3
    assert {t.crew for t in plan.turns} == {"M1"}


def test_ranks_go_outward_from_the_start_corner() -> None:
    work = site.ring()
    assert list(ordering.ranks(work)) == ["R1", "R4", "R2", "R3"]
    assert list(ordering.ranks(replace(work, start_corner={"R1": "K3"}))) == ["R2", "R3", "R1", "R4"]
    assert list(ordering.ranks(replace(work, start_corner={}))) == ["R1", "R2", "R3", "R4"]


def test_laying_starts_at_the_start_corner() -> None:
    work = site.stepped(replace(site.ring(), start_corner={"R1": "K3"}))
    plan = ordering.schedule(ordering.precedences(work), panels=ordering.ranks(work), first=ordering.starts(work, work.steps))
    assert plan.turns[0].step.name == "K3-C01-corner"


def test_there_must_be_a_mason_and_a_shift() -> None:
    with pytest.raises(ValueError, match="at least 1"):
        ordering.schedule(site.graph({"a": 1}), masons=0)
    with pytest.raises(ValueError, match="at most 24 h"):
        ordering.Shift(seconds=25 * HOUR)


def test_working_time_and_clock_are_inverse() -> None:
    shift = bound.Shift(seconds=8 * HOUR)
    for working in (1, 5, 8 * HOUR, 8 * HOUR + 1, 30 * HOUR):
        assert shift.working(shift.clock(working)) == working
    assert shift.clock(8 * HOUR) == 8 * HOUR
    assert shift.clock(8 * HOUR + 1) == 24 * HOUR + 1
    for lag in (0, HOUR, 15 * HOUR, 17 * HOUR, 24 * HOUR, 41 * HOUR):
        worst = min(shift.working(t + lag) - shift.working(t) for t in range(0, 24 * HOUR, 1800))
        assert int(shift.least(np.array([lag]))[0]) == worst


# With the rule on corners


@pytest.mark.parametrize("work", [site.corner(), site.door(), site.ring()], ids=["corner", "door", "ring"])
@pytest.mark.parametrize("masons", [1, 3])
def test_corners_are_set_before_line_work_and_holds_are_kept(work: Work, masons: int) -> None:
    rule = CornerLeads()
    work = site.stepped(work)
    made = ordering.precedences(work, rule.precede(work))
    plan = ordering.schedule(made, masons=masons, panels=ordering.ranks(work), first=ordering.starts(work, work.steps))
    order = [t.step for t in plan.turns]
    last_corner = max(i for i, s in enumerate(order) if s.kind == "corner")
    assert last_corner < min(i for i, s in enumerate(order) if s.course == 1 and s.kind in ("line", "closure"))
    assert order[0].corner == "K1"
    place = {s.name: i for i, s in enumerate(order)}
    for closure in (s for s in order if s.kind == "closure"):
        for s in order:
            if s.kind in ("line", "lead") and s.course == closure.course and set(s.runs) & set(closure.runs):
                assert place[s.name] < place[closure.name]
    for link in made.links():
        assert place[link.first] < place[link.then]
    assert plan.bound <= plan.seconds <= 1.25 * plan.bound
    assert not plan.findings
    # Course 1 sets overnight: nothing of course 2 on the first day.
    assert min(t.day for t in plan.turns if t.step.course == 2 and t.step.kind != "hold") == 2


def test_the_same_plan_gives_the_same_order() -> None:
    def told(precedences: list[Precedence]) -> list[tuple[str, str, float]]:
        work = site.stepped(site.ring())
        made = ordering.precedences(work, precedences)
        plan = ordering.schedule(made, masons=2, panels=ordering.ranks(work))
        return [(t.step.name, t.crew, t.start_h) for t in plan.turns]

    names = [s.name for s in site.stepped(site.ring()).steps]
    asked = [Precedence(first=(a,), then=(b,), hold="Check the level.", rule="x") for a, b in (names[:2], names[1:3], names[2:4])]
    assert told(asked) == told(asked[::-1])

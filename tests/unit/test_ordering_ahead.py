"""Plans made ahead: urgent steps are in place first, others fill the holes, and the site keeps to the plan."""

from __future__ import annotations

from itertools import pairwise
from random import Random

import numpy as np
import pytest

from tests.unit import ordering_work as site
from wallquant import ordering
from wallquant.ordering.ahead import kept_to, planned, surcharge_of
from wallquant.ordering.clock import DAY
from wallquant.ordering.search import queue
from wallquant.ordering.site import Problem
from wallquant.rules import Precedence

HOUR = 3600
STOCK = {"hoist": 1}


def before(*names: str) -> list[Precedence]:
    return [Precedence(first=(a,), then=(b,), rule="r") for a, b in pairwise(names)]


def needs(resource: str, *steps: str) -> Precedence:
    return Precedence(first=(), then=steps, resource=resource, rule="r")


def problem(graph: ordering.Graph, masons: int, shift: ordering.Shift | None = None, walk: ordering.Walk | None = None) -> Problem:
    return Problem.of(graph, masons, shift or ordering.Shift(), STOCK, 0, walk)


def drawn(draw: Random) -> ordering.Graph:
    """Twelve steps of a quarter of an hour to a day, some for two, some with the hoist, with lags."""
    names = [f"s{n:02d}" for n in range(12)]
    asked = [needs("two people", *draw.sample(names, 3)), needs("hoist", *draw.sample(names, 4))]
    for _ in range(10):
        one, two = sorted(draw.sample(names, 2))
        asked.append(Precedence(first=(one,), then=(two,), lag=draw.choice((0, 0, 2, 12)) * HOUR, rule="r"))
    return site.graph({n: draw.choice((1, 2, 4, 10, 32)) * HOUR // 4 for n in names}, asked)


def test_a_long_step_does_not_take_the_mason_whom_a_step_for_two_needs_soon() -> None:
    """a 1 h, then p for two 1 h, then q 6 h; beside it x 5 h, which keeps the second mason until 5 h if it is begun at once."""
    graph = site.graph({"a": HOUR, "p": HOUR, "q": 6 * HOUR, "x": 5 * HOUR}, [*before("a", "p", "q"), needs("two people", "p")])
    made = ordering.schedule(graph, masons=2)
    assert made.hours == made.hours_bound == 8
    starts = dict(zip((s.name for s in graph.steps), (made.start / HOUR).tolist(), strict=True))
    assert starts == {"a": 0, "p": 1, "q": 2, "x": 2}


def test_a_hole_before_a_later_step_is_filled() -> None:
    """The hoist is taken from 0 to 3 h and from 3 to 5 h; b, which needs no hoist and comes last, is laid by the free mason at once."""
    graph = site.graph({"a": 3 * HOUR, "h": 2 * HOUR, "b": 2 * HOUR}, [needs("hoist", "a", "h")])
    plan = planned(problem(graph, 2), np.array([0, 1, 2]))
    assert [t / HOUR for t in plan.start] == [0, 3, 0]


@pytest.mark.parametrize("masons", [1, 2, 3])
@pytest.mark.parametrize("rest", [frozenset(), frozenset({1, 2})])
def test_the_site_keeps_to_a_plan(masons: int, rest: frozenset[int]) -> None:
    """Where nobody walks each step is begun when it was planned, in any order of priority; so what the site checks holds for the plan."""
    draw, shift = Random(masons), ordering.Shift(week_off=rest)
    for _ in range(40):
        one = problem(drawn(draw), masons, shift)
        plan = planned(one, np.array(draw.sample(range(12), 12), np.int64))
        assert kept_to(one, plan).start == plan.start


def test_a_plan_from_the_end_keeps_lags_and_masons() -> None:
    draw = Random(4)
    for _ in range(40):
        one = problem(drawn(draw), 2)
        plan = planned(one.turned(20 * DAY), np.array(draw.sample(range(12), 12), np.int64))
        for step in range(12):
            for arc in range(one.pointer[step], one.pointer[step + 1]):
                assert plan.end[one.then[arc]] + one.lag[arc] <= plan.start[step]
        for now in plan.start:
            assert sum(one.demands[one.demand[k]][0] for k in range(12) if plan.start[k] <= now < plan.end[k]) <= 2


def test_the_surcharge_is_the_mean_way_rounded_up() -> None:
    """One mason: 10 m and 21 m between three steps at 1 m/s, so 31 s for three steps."""
    graph = site.graph({"a": HOUR, "b": HOUR, "c": HOUR}, before("a", "b", "c"))
    one = problem(graph, 1, walk=ordering.Walk(places=[(0, 0), (10_000, 0), (31_000, 0)]))
    run = one.passed(queue(np.arange(3)))
    assert surcharge_of(one, run) == 11
    assert surcharge_of(problem(graph, 1), run) == 0
    assert [t - 3600 * n for n, t in enumerate(planned(one, np.arange(3), 11).start)] == [0, 11, 22]

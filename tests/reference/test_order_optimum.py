"""No bound of the order of work is above the true optimum, which a solver of constraint programs finds for little plans.

The model is written here from what a schedule must keep, and shares nothing with the functions that are tested: each step is begun and
done within one shift, holds lie anywhere, lags are time of the clock, masons and a hoist are shared.
"""

from __future__ import annotations

from dataclasses import replace
from itertools import count, pairwise
from random import Random

import numpy as np
import pytest
from ortools.sat.python import cp_model

from wallquant import ordering
from wallquant.layout import Step
from wallquant.ordering import evenings, precedence
from wallquant.ordering.bound import least_time, loads_of
from wallquant.ordering.clock import DAY
from wallquant.ordering.windows import Windows
from wallquant.rules import Precedence

HALF_HOUR = 1800
UNIT = 900
SHIFT = ordering.Shift(seconds=8 * 3600)
RESTING = ordering.Shift(seconds=8 * 3600, week_off=frozenset({2, 3}), days_off=frozenset({1, 7}))
STOCK = {"hoist": 1}


def little(draw: Random) -> ordering.Graph:
    """Return a plan of up to ten steps: short and long ones, checks of no length, holds, lags over night, pairs, one hoist."""
    many = draw.randrange(3, 10)
    lengths = [draw.choice((0, 1, 2, 3, 5, 9, 16)) * HALF_HOUR for _ in range(many)]
    steps = [Step(name=f"s{n}", kind="line", seconds=seconds, panel="R1", part="R1") for n, seconds in enumerate(lengths)]
    asked = []
    for n in range(draw.randrange(0, many + 3)):
        one, two = sorted(draw.sample(range(many), 2))
        lag = draw.choice((0, 0, 0, 1, 6, 24, 30, 48)) * HALF_HOUR
        hold = f"hold {n}" if draw.randrange(4) == 0 else ""
        firsts = tuple({f"s{one}", f"s{draw.randrange(one + 1)}"})
        asked.append(
            Precedence(first=firsts, then=(f"s{two}",), lag=lag, hold=hold, hold_seconds=draw.choice((0, 1, 2, 20)) * HALF_HOUR, rule="r")
        )
    for what in ("two people", "hoist"):
        if draw.randrange(3) == 0:
            asked.append(Precedence(first=(), then=tuple(f"s{n}" for n in draw.sample(range(many), 2)), resource=what, rule="r"))
    if draw.randrange(3) == 0:
        asked.append(Precedence(first=(), then=("s0",), not_before=draw.choice((3, 15, 20, 50)) * HALF_HOUR, rule="r"))
    return precedence.build(steps, asked)


def walled(draw: Random) -> ordering.Graph:
    """Return two or three walls, each laid, some inspected, grouted, left over night and laid on; some go on when others have set."""
    steps, asked, over = [], [], {}
    walls = "abc"[: draw.randrange(2, 4)]
    for wall in walls:
        low, high = draw.randrange(2, 4), draw.randrange(1, 3)
        names = [f"{wall}{n}" for n in range(low + high)]
        over[wall] = names[low]
        steps += [Step(name=n, kind="line", seconds=draw.choice((1, 2, 3, 4, 6)) * HALF_HOUR, panel=wall, part="R1") for n in names]
        steps.append(Step(name=f"{wall} grout", kind="line", seconds=UNIT, panel=wall, part="R1"))
        asked += [Precedence(first=(one,), then=(two,), rule="r") for one, two in pairwise(names)]
        hold = draw.choice(("", f"Inspection of {wall}"))
        asked.append(Precedence(first=(names[low - 1],), then=(f"{wall} grout",), hold=hold, hold_seconds=HALF_HOUR, rule="r"))
        if draw.randrange(3) == 0:
            asked.append(Precedence(first=(), then=tuple(draw.sample(names, 2)), resource="two people", rule="r"))
    for wall in walls:
        beside = draw.choice(walls)
        asked += [Precedence(first=(f"{w} grout",), then=(over[wall],), lag=12 * 3600, rule="r") for w in sorted({wall, beside})]
    return precedence.build(steps, asked)


def optimum(graph: ordering.Graph, masons: int, most: int, shift: ordering.Shift) -> int:
    """Return the least clock second at which all can be done, of at most `most`; all times are whole quarters of an hour."""
    model = cp_model.CpModel()
    spans, taken, lifted, starts = [], [], [], []
    most, day, whole = most // UNIT, DAY // UNIT, shift.seconds // UNIT
    for n, step in enumerate(graph.steps):
        assert step.seconds % UNIT == 0 and graph.release[n] % UNIT == 0
        start = model.new_int_var(int(graph.release[n]) // UNIT, most, "")
        starts.append(start)
        if step.kind == "hold":
            continue
        if not step.seconds:
            days = [d for d in range(most // day + 1) if d % 7 not in shift.week_off and d not in shift.days_off]
            into = model.new_int_var(0, whole - 1, "")
            model.add(start == day * model.new_int_var_from_domain(cp_model.Domain.from_values(days), "") + into)
            continue
        spans.append(model.new_fixed_size_interval_var(start, step.seconds // UNIT, ""))
        taken.append(2 if masons > 1 and "two people" in step.resources else 1)
        if "hoist" in step.resources:
            lifted.append(spans[-1])
    for n in range(most // day + 1):
        shut = 0 if n % 7 in shift.week_off or n in shift.days_off else whole
        spans.append(model.new_fixed_size_interval_var(n * day + shut, day - shut, ""))
        taken.append(masons)
    model.add_cumulative(spans, taken, masons)
    model.add_no_overlap(lifted)
    for one, two, lag in zip(graph.first.tolist(), graph.then.tolist(), graph.lag.tolist(), strict=True):
        model.add(starts[one] + (graph.steps[one].seconds + lag) // UNIT <= starts[two])
    end = model.new_int_var(0, most, "")
    for start, step in zip(starts, graph.steps, strict=True):
        model.add(start + step.seconds // UNIT <= end)
    model.minimize(end)
    solver = cp_model.CpSolver()
    solver.parameters.num_workers = 1
    assert solver.solve(model) == cp_model.OPTIMAL
    return round(solver.objective_value) * UNIT


@pytest.mark.parametrize("shift", [SHIFT, RESTING], ids=["daily", "resting"])
@pytest.mark.parametrize("masons", [1, 2, 3])
def test_no_bound_is_above_the_optimum(masons: int, shift: ordering.Shift) -> None:
    draw = Random(masons)
    reached = sharper = 0
    for _ in range(40):
        graph = little(draw)
        made = ordering.schedule(graph, masons=masons, shift=shift, resources=STOCK)
        best = shift.working(optimum(graph, masons, int(made.end.max()), shift))
        first = least_time(graph, masons, shift, STOCK)
        windows = Windows.of(graph, shift, loads_of(graph, masons, shift, STOCK))
        assert windows.possible(shift.until(best))
        bound = windows.least(first, made.seconds)
        assert first <= bound <= evenings.least(windows, bound, made.seconds) <= best <= made.seconds
        assert made.bound <= best
        reached += bound == best
        sharper += bound > first
    assert reached >= 24, "the bound is the optimum of most little plans"
    assert sharper >= 1, "windows tell more than paths and work shared by all"


@pytest.mark.parametrize("shift", [SHIFT, RESTING], ids=["daily", "resting"])
def test_no_evening_raises_a_bound_above_the_optimum(shift: ordering.Shift) -> None:
    """Walls that are grouted and left over night: the bound asked for each evening is proved, and tells more than windows alone."""
    draw = Random(1)
    sharp = 0
    for _ in range(200):
        graph, masons = walled(draw), draw.randrange(1, 4)
        made = ordering.schedule(graph, masons=masons, shift=shift, passes=20)
        best = shift.working(optimum(graph, masons, int(made.end.max()), shift))
        windows = Windows.of(graph, shift, loads_of(graph, masons, shift, {}))
        bound = windows.least(least_time(graph, masons, shift), made.seconds)
        sharper = evenings.least(windows, bound, made.seconds)
        assert bound <= sharper <= best <= made.seconds
        assert made.bound <= best
        sharp += bound < sharper
    assert sharp >= 3


@pytest.mark.parametrize("shift", [SHIFT, RESTING], ids=["daily", "resting"])
def test_windows_hold_the_best_schedule(shift: ordering.Shift) -> None:
    """Each step of an optimal schedule lies between its earliest start and its latest end."""
    draw = Random(9)
    for _ in range(40):
        graph = little(draw)
        made = ordering.schedule(graph, masons=2, shift=shift, resources=STOCK)
        windows = Windows.of(graph, shift, loads_of(graph, 2, shift, STOCK))
        start, end = windows.latest(int(made.end.max()))
        assert (windows.start <= made.start).all()
        assert (windows.end <= made.end).all()
        assert (made.start <= start).all()
        assert (made.end <= end).all()


def test_an_evening_missed_costs_a_day() -> None:
    """Two walls of 5 h each, one mason, an inspection of both, grout, a night's lag, one more hour: work alone would be done on day 2.

    The walls take all of day 1 and two hours of day 2; the grout is set on the morning of day 3 only, by the clock: 16 h and one.
    """
    hours = {"a": 5, "b": 5, "grout": 1, "top": 1}
    steps = [Step(name=name, kind="line", seconds=3600 * h, panel=name, part="R1") for name, h in hours.items()]
    asked = [
        Precedence(first=("a", "b"), then=("grout",), hold="Inspection", hold_seconds=1800, rule="r"),
        Precedence(first=("grout",), then=("top",), lag=12 * 3600, rule="r"),
    ]
    made = ordering.schedule(precedence.build(steps, asked), masons=1, shift=SHIFT)
    assert made.hours == made.hours_bound == 17


def test_turned_graphs_are_as_long() -> None:
    """Without nights a plan read from its end is as long as read from its start."""
    draw = Random(5)
    whole = ordering.Shift(seconds=DAY)
    for _ in range(40):
        graph = replace(one := little(draw), release=np.zeros_like(one.release))
        windows = Windows.of(graph, whole, loads_of(graph, 2, whole, STOCK))
        turn = next(t for t in count(int(windows.end.max()), 60) if (windows.latest(t)[0] >= windows.start).all())
        assert (windows.latest(turn)[0] >= 0).all()

"""The search for a short schedule: passes with several orders of priority.

The first order finishes a panel before another is begun; it is kept unless another one is done earlier, and nothing else is tried
where it is as good as done.  Glossary: a *rule* is a way to put steps in a queue; a pass is *patient* where a mason waits for a second
one (see `Problem.passed`).  `improving` goes on from the best of these.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping

import numpy as np
from numpy.typing import NDArray

from wallquant.ordering.bound import tails
from wallquant.ordering.precedence import Graph
from wallquant.ordering.site import Pass, Problem

EFFORT = 40_000
"""So many steps are placed in all the passes of a plan, so that small plans have all orders and large ones a single pass."""
NEAR = 50
"""A schedule is good enough where it is above the bound by one part in so many at most."""

_Ints = NDArray[np.int64]


def passes_for(steps: int) -> int:
    """Return how many orders are tried for so many steps."""
    return max(1, EFFORT // max(1, steps))


def good(run: Pass, problem: Problem, bound: int) -> bool:
    """Whether a schedule is as good as done: near its bound, in working seconds."""
    return problem.shift.working(run.last) <= bound + bound // NEAR


def search(graph: Graph, problem: Problem, panels: Mapping[str, int], later: NDArray[np.bool_], bound: int, passes: int) -> Pass:
    """Return the shortest of at most so many passes; of equal ones the first.

    Parameters
    ----------
    graph : Graph
    problem : Problem
    panels : mapping of str to int
        Rank of each panel.
    later : ndarray of bool, shape (steps,)
        False for steps that go first in each order.
    bound : int
        Working seconds that no schedule beats.
    passes : int
    """
    panel = panel_ranks(graph, panels)
    first = queue(later, *next(rules(graph, problem, panel)))
    best = problem.passed(first)
    left = passes - 1
    if left <= 0 or good(best, problem, bound):
        return best
    for patient in _ways(problem):
        for number, keys in enumerate(rules(graph, problem, panel)):
            if left <= 0:
                return best
            if number or patient:
                one = problem.passed(queue(later, *keys), patient=patient)
                left -= 1
                if one.last < best.last:
                    best = one
                    if good(one, problem, bound):
                        return best
    return best


def _ways(problem: Problem) -> tuple[bool, ...]:
    """Whether passes are patient: both ways where steps take more masons than one."""
    return (False, True) if any(many > 1 for many, _ in problem.demands) else (False,)


def rules(graph: Graph, problem: Problem, panel: _Ints) -> Iterator[tuple[_Ints, ...]]:
    """Yield orders of priority, as keys of which the first counts most."""
    tail = tails(graph, np.array(problem.seconds, np.int64), graph.lag)
    yield panel, -tail
    many = np.array([problem.demands[k][0] for k in problem.demand], np.int64)
    seconds = np.array(problem.seconds, np.int64)
    after = np.diff(graph.pointer)
    longest = np.zeros(int(panel.max(initial=0)) + 1, np.int64)
    np.maximum.at(longest, panel, tail)
    yield (-tail,)  # latest start first
    yield (seconds - tail,)  # latest finish first
    yield -longest[panel], panel, -tail  # the panel with most to come
    yield panel, -many, -tail
    yield -many, -tail
    yield -tail * (1 + after), -tail  # most successors
    yield (-(tail + seconds * many),)
    yield panel, -seconds, -tail
    yield -seconds, -tail


def queue(*keys: NDArray[np.int64] | NDArray[np.bool_]) -> _Ints:
    """Return the place of each step, by the first key, then the next; equal ones by number."""
    order = np.lexsort(keys[::-1])
    place = np.empty(len(order), np.int64)
    place[order] = np.arange(len(order))
    return place


def panel_ranks(graph: Graph, panels: Mapping[str, int]) -> _Ints:
    """Return the rank of each step's panel; panels without a rank come last, by name."""
    unknown = {name: len(panels) + i for i, name in enumerate(sorted({s.panel for s in graph.steps} - set(panels)))}
    return np.array([panels.get(s.panel, unknown.get(s.panel, 0)) for s in graph.steps], np.int64)

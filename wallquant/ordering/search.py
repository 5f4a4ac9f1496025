"""The search for a short schedule: passes with several orders of priority, improved from both ends, then sampled.

The first order finishes a panel before another is begun; it is kept unless another one is done earlier, and nothing else is tried
where it is as good as done.  Glossary: a *rule* is a way to put steps in a queue; *from both ends* means that the problem is
scheduled backward, latest first, and the order of starts that comes out is the queue of the next pass.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from random import Random

import numpy as np
from numpy.typing import NDArray

from wallquant.ordering.bound import tails
from wallquant.ordering.precedence import Graph
from wallquant.ordering.site import Pass, Problem

EFFORT = 40_000
"""So many steps are placed in all the passes of a plan, so that small plans have many and large ones a single pass."""
MOST = 200
"""Passes at most."""
NEAR = 50
"""A schedule is good enough where it is above the bound by one part in so many at most."""
SPREAD = 12
"""Sampled passes shift steps by up to one part in so many of the whole time."""

_Ints = NDArray[np.int64]


def passes_for(steps: int) -> int:
    """Return how many passes are made for so many steps."""
    return max(1, min(MOST, EFFORT // max(1, steps)))


def search(graph: Graph, problem: Problem, panels: Mapping[str, int], first: frozenset[str], bound: int, passes: int) -> Pass:
    """Return the shortest of at most so many passes; of equal ones the first.

    Parameters
    ----------
    graph : Graph
    problem : Problem
    panels : mapping of str to int
        Rank of each panel.
    first : frozenset of str
        Names of steps that go first in each order.
    bound : int
        Working seconds that no schedule beats.
    passes : int
    """
    later = np.array([s.name not in first for s in graph.steps], bool)
    panel = _panels(graph, panels)
    tail = tails(graph, np.array(problem.seconds, np.int64), graph.lag)
    best = problem.passed(_queue(later, panel, -tail))
    good = bound + bound // NEAR

    def done(one: Pass) -> bool:
        return problem.shift.working(one.last) <= good

    left = passes - 1
    if left <= 0 or done(best):
        return best
    ways = _ways(problem)
    mode, mirror = ways[0], problem.mirrored()
    for patient in ways:
        for number, keys in enumerate(_rules(graph, problem, panel, tail)):
            if left <= 0:
                return best
            if number or patient:
                one = problem.passed(_queue(later, *keys), patient=patient)
                left -= 1
                if one.last < best.last:
                    best, mode = one, patient
                    if done(best):
                        return best
    draw = Random(0)
    around, noise = best, 0
    while left > 0:
        late = np.array(around.end, np.int64)
        if noise:
            late = late + np.array([draw.randrange(noise) for _ in around.end], np.int64)
        back = mirror.passed(_queue(-late))
        one = problem.passed(_queue(later, -np.array(back.end, np.int64)), patient=mode)
        left -= 2
        better = one.last < best.last
        if better:
            best = one
            if done(best):
                return best
        around = best
        # From both ends until nothing is gained; then the best is shaken again and again.
        if not better:
            noise = max(2, best.last // (SPREAD * draw.choice((1, 2, 4))))
            mode = draw.choice(ways)
        else:
            noise = 0
    return best


def _ways(problem: Problem) -> tuple[bool, ...]:
    """Whether passes are patient: both ways where steps take more masons than one."""
    return (False, True) if any(many > 1 for many, _ in problem.demands) else (False,)


def _rules(graph: Graph, problem: Problem, panel: _Ints, tail: _Ints) -> Iterator[tuple[_Ints, ...]]:
    """Yield orders of priority, as keys of which the first counts most."""
    many = np.array([problem.demands[k][0] for k in problem.demand], np.int64)
    seconds = np.array(problem.seconds, np.int64)
    after = np.diff(graph.pointer)
    longest = np.zeros(int(panel.max(initial=0)) + 1, np.int64)
    np.maximum.at(longest, panel, tail)
    yield panel, -tail
    yield (-tail,)  # latest start first
    yield (seconds - tail,)  # latest finish first
    yield -longest[panel], panel, -tail  # the panel with most to come
    yield panel, -many, -tail
    yield -many, -tail
    yield -tail * (1 + after), -tail  # most successors
    yield (-(tail + seconds * many),)
    yield panel, -seconds, -tail
    yield -seconds, -tail


def _queue(*keys: _Ints) -> _Ints:
    """Return the place of each step, by the first key, then the next; equal ones by number."""
    order = np.lexsort(keys[::-1])
    place = np.empty(len(order), np.int64)
    place[order] = np.arange(len(order))
    return place


def _panels(graph: Graph, panels: Mapping[str, int]) -> _Ints:
    unknown = {name: len(panels) + i for i, name in enumerate(sorted({s.panel for s in graph.steps} - set(panels)))}
    return np.array([panels.get(s.panel, unknown.get(s.panel, 0)) for s in graph.steps], np.int64)

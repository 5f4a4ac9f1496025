"""The search goes on where the best order is not near its bound: orders are changed a little, again and again.

What is looked for is a schedule near the bound, so what is asked first is how far one keeps up with the latest starts of such a
schedule (see `windows`): a hold that is missed by minutes in the evening costs a day, which the end of all does not tell.  Glossary:
*from both ends* means that the problem is scheduled backward, latest first, and the order of starts that comes out is the queue of
the next pass.  The draw is fixed, and passes are counted, so that equal plans are equal on every machine.
"""

from __future__ import annotations

from dataclasses import dataclass
from random import Random

import numpy as np
from numpy.typing import NDArray

from wallquant.ordering.clock import DAY
from wallquant.ordering.search import NEAR, Found, good, queue, ways
from wallquant.ordering.site import Pass, Problem
from wallquant.ordering.windows import Windows

EFFORT = 600_000
"""So many steps are placed in all the passes of a plan at most."""
MOST = 2000
"""Passes at most."""
SHAKEN = (12, 24, 48, 192, 1000)
"""Steps are shifted by up to one part in so many of the whole time."""
MOVES = ("both ends", "both ends", "panels", "steps", "steps", "steps", "steps")
"""What is changed, as often as it stands here: all steps a little from both ends, whole panels, or a few steps."""

_Ints = NDArray[np.int64]
Value = tuple[int, int, int]
"""What is least in the best pass: its end, the first day on which it falls behind (negative), and by how much then."""


def passes_for(steps: int) -> int:
    """Return how many passes are made for so many steps."""
    return min(MOST, EFFORT // max(1, steps))


def improved(problem: Problem, found: Found, windows: Windows, panel: _Ints, later: NDArray[np.bool_], bound: int, passes: int) -> Pass:
    """Return the shortest of at most so many more passes, or the one that was found.

    Parameters
    ----------
    problem : Problem
    found : Found
        The best so far.
    windows : Windows
        Of the same graph.
    panel : ndarray of int64, shape (steps,)
        Rank of each step's panel.
    later : ndarray of bool, shape (steps,)
        False for steps that go first in each order.
    bound : int
        Working seconds that no schedule beats.
    passes : int
    """
    goal = problem.shift.until(bound + bound // NEAR)
    aim = _Aim(problem=problem, latest=windows.latest(goal)[0])
    back = problem.turned(goal)
    draw, modes = Random(0), ways(problem)
    best, patient = found.run, found.patient
    value, gained, left = aim.value(best), True, passes

    def tried(place: _Ints, mode: bool) -> None:
        nonlocal best, patient, value, gained, left
        one = problem.passed(place, patient=mode)
        left -= 1
        now = aim.value(one)
        gained = now < value
        if now <= value:
            best, patient, value = one, mode, now

    for mode in modes:
        tried(queue(later, aim.latest), mode)
        tried(queue(later, panel, aim.latest), mode)
    while left > 0 and not good(best, problem, bound):
        mode = patient if draw.randrange(4) else draw.choice(modes)
        noise = max(2, best.last // draw.choice(SHAKEN))
        move = "both ends" if gained else draw.choice(MOVES)
        if move == "both ends":
            late = np.array(best.end, np.int64)
            if not gained:
                late = late + (_drawn(draw, noise, len(late)) if draw.randrange(2) else _drawn(draw, noise, int(panel.max()) + 1)[panel])
            turned = back.passed(queue(-late), patient=mode)
            left -= 1
            key = -np.array(turned.end, np.int64)
        elif move == "panels":
            base = aim.latest if draw.randrange(2) else np.array(best.start, np.int64)
            key = base - _drawn(draw, noise, int(panel.max()) + 1)[panel]
        else:
            key = np.array(best.start, np.int64)
            near = aim.near(key, value) if draw.randrange(3) else np.arange(len(key))
            for _ in range(draw.choice((1, 2, 4, 8))):
                key[near[draw.randrange(len(near))]] += draw.randrange(-2 * noise, 2 * noise + 1)
        tried(queue(later, key), mode)
    return best


@dataclass(frozen=True, kw_only=True, slots=True)
class _Aim:
    """The latest starts of a schedule that is good enough."""

    problem: Problem
    latest: _Ints

    def value(self, one: Pass) -> Value:
        """Return what is to be least."""
        start = np.array(one.start, np.int64)
        late = np.flatnonzero(start > self.latest)
        if not len(late):
            return one.last, -(1 << 60), 0
        day = self.latest[late] // DAY
        first = int(day.min())
        late = late[day == first]
        shift = self.problem.shift
        behind = shift.all_working(start[late]) - shift.all_working(self.latest[late])
        return one.last, -first, int(np.maximum(behind, 1).sum())

    def near(self, start: _Ints, value: Value) -> _Ints:
        """Return the steps of the day on which a pass falls behind first, and of the day before; all where there are none."""
        on = np.flatnonzero((start // DAY == -value[1]) | (start // DAY == -value[1] - 1))
        return on if len(on) else np.arange(len(start))


def _drawn(draw: Random, most: int, count: int) -> _Ints:
    return np.array([draw.randrange(most) for _ in range(count)], np.int64)

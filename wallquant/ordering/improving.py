"""The search goes on where the best order is not near its bound: plans are made ahead, and their orders changed a little, again and again.

What is looked for is a schedule near the bound, so besides the one that ends first another one is followed, which keeps up furthest with
the latest starts of such a schedule (see `windows`): a hold that is missed by minutes in the evening costs a day, which the end of all
does not tell.  Glossary: *from both ends* means that the problem is planned backward, latest first, and the order of starts that comes
out is the queue of the next plan.  A plan made *ahead* (see `ahead`) counts as what the site makes of it.  The draw is fixed, and plans
are counted, so that equal plans are equal on every machine.
"""

from __future__ import annotations

from dataclasses import dataclass
from random import Random

import numpy as np
from numpy.typing import NDArray

from wallquant.ordering.ahead import kept_to, planned, surcharge_of
from wallquant.ordering.clock import DAY
from wallquant.ordering.precedence import Graph
from wallquant.ordering.search import NEAR, good, queue, rules
from wallquant.ordering.site import Pass, Problem
from wallquant.ordering.windows import Windows

EFFORT = 600_000
"""So many steps are placed in all the plans of a search at most."""
MOST = 2000
"""Plans at most."""
SHAKEN = (12, 24, 48, 192, 1000)
"""Steps are shifted by up to one part in so many of the whole time."""
AGAIN = 2
"""So often each rule's plan is turned to the order from both ends, before any is changed."""
BEGUN = 4
"""One plan in so many is not made ahead: the site begins what can be begun."""
MOVES = ("both ends", "both ends", "both ends", "panels", "steps", "steps", "steps")
"""What is changed, as often as it stands here: all steps a little from both ends, whole panels, or a few steps."""

_Ints = NDArray[np.int64]
Value = tuple[int, int, int]
"""First day on which a schedule falls behind (negative), by how much then, and its end: all are to be least."""


def passes_for(steps: int) -> int:
    """Return how many plans are made for so many steps."""
    return min(MOST, EFFORT // max(1, steps))


def improved(
    graph: Graph, problem: Problem, run: Pass, windows: Windows, panel: _Ints, later: NDArray[np.bool_], bound: int, most: int
) -> Pass:
    """Return the shortest of at most so many more plans, as the site keeps to them, or the pass that was found.

    Parameters
    ----------
    graph : Graph
    problem : Problem
    run : Pass
        The best so far.
    windows : Windows
        Of the same graph.
    panel : ndarray of int64, shape (steps,)
        Rank of each step's panel.
    later : ndarray of bool, shape (steps,)
        False for steps that go first in each order.
    bound : int
        Working seconds that no schedule beats.
    most : int
        Plans at most.
    """
    goal = problem.shift.until(bound + bound // NEAR)
    aim = _Aim(problem=problem, latest=windows.latest(goal)[0])
    back, walked = problem.turned(goal), surcharge_of(problem, run)
    draw, left, panels = Random(0), most, int(panel.max(initial=0)) + 1
    moves = [move for move in MOVES if panels > 1 or move != "panels"]
    ended = _Track(best=run, value=aim.value(run), counts=1)
    tracks = [ended]
    if problem.shift.seconds < DAY or not problem.shift.daily:
        tracks.append(_Track(best=run, value=aim.value(run), counts=3))

    def made(one: Problem, place: _Ints, ahead: bool) -> Pass:
        nonlocal left
        left -= 1
        return planned(one, place, walked and draw.randrange(2 * walked + 1)) if ahead else one.passed(place)

    def tried(place: _Ints, ahead: bool = True) -> Pass:
        one = plan = made(problem, place, ahead)
        value = aim.value(plan)
        if ahead and any(track.takes(value) for track in tracks):
            one = kept_to(problem, plan)
            value = aim.value(one)
        for track in tracks:
            track.offer(one, value)
        return plan

    def both_ends(late: _Ints, ahead: bool = True) -> Pass:
        turned = made(back, queue(-late), ahead)
        return tried(queue(later, -np.array(turned.end, np.int64)), ahead)

    for keys in ((aim.latest,), (panel, aim.latest), *rules(graph, problem, panel)):
        plan = run
        for again in range(AGAIN + 1):
            if left > 0 and not good(ended.best, problem, bound):
                plan = both_ends(np.array(plan.end, np.int64)) if again else tried(queue(later, *keys))
    while left > 0 and not good(ended.best, problem, bound):
        ahead = draw.randrange(BEGUN) > 0
        track = draw.choice(tracks)
        best, gained = track.best, track.gained
        noise = max(2, best.last // draw.choice(SHAKEN))
        move = "both ends" if gained else draw.choice(moves)
        if move == "both ends":
            late = np.array(best.end, np.int64)
            if not gained:
                late = late + (_drawn(draw, noise, len(late)) if draw.randrange(2) else _drawn(draw, noise, panels)[panel])
            track.gained = False
            both_ends(late, ahead)
        elif move == "panels":
            base = aim.latest if draw.randrange(2) else np.array(best.start, np.int64)
            tried(queue(later, base - _drawn(draw, noise, panels)[panel]), ahead)
        else:
            key = np.array(best.start, np.int64)
            near = aim.near(key, track.value) if draw.randrange(3) else np.arange(len(key))
            for _ in range(draw.choice((1, 2, 4, 8))):
                key[near[draw.randrange(len(near))]] += draw.randrange(-2 * noise, 2 * noise + 1)
            tried(queue(later, key), ahead)
    return ended.best


@dataclass(kw_only=True, slots=True)
class _Track:
    """The best schedule so far by the last `counts` entries of its value: by its end alone, or by how far it keeps up first."""

    counts: int
    best: Pass
    value: Value
    gained: bool = False

    def takes(self, value: Value) -> bool:
        """Whether a schedule is no worse."""
        return value[-self.counts :] <= self.value[-self.counts :]

    def offer(self, one: Pass, value: Value) -> None:
        """Take a schedule that is no worse."""
        if self.takes(value):
            self.gained = self.gained or value != self.value
            self.best, self.value = one, value


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
            return -(1 << 60), 0, one.last
        day = self.latest[late] // DAY
        first = int(day.min())
        late = late[day == first]
        shift = self.problem.shift
        behind = shift.all_working(start[late]) - shift.all_working(self.latest[late])
        return -first, int(np.maximum(behind, 1).sum()), one.last

    def near(self, start: _Ints, value: Value) -> _Ints:
        """Return the steps of the day on which a pass falls behind first, and of the day before; all where there are none."""
        on = np.flatnonzero((start // DAY == -value[0]) | (start // DAY == -value[0] - 1))
        return on if len(on) else np.arange(len(start))


def _drawn(draw: Random, most: int, count: int) -> _Ints:
    return np.array([draw.randrange(most) for _ in range(count)], np.int64)

"""When each step can be begun at the earliest, and must be done at the latest for all to be done in time, by the clock.

`Side` is what comes before what, read from the start or, `turned`, from the end: turned clocks run backward from the end of a shift,
so that turned days begin with a shift and end with a night as well, and one function serves both.  Glossary: a *gate* is a step
that much must be done before, such as an inspection: it is not begun before all that is shared by as many as there are.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from wallquant.ordering.clock import DAY, Shift
from wallquant.ordering.precedence import Graph

GATES = 400
"""At most so many gates, those before the longest lags."""
THRESHOLDS = 100
"""So many times at most from which on work is added up."""

_Ints = NDArray[np.int64]
Loads = Sequence[tuple[_Ints, int]]
"""What each step takes of something, in working seconds times amount, and how much of it there is."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Side:
    """Steps and arcs, read from one side; arcs of step i are `pointer[i]` to `pointer[i + 1]`."""

    seconds: list[int]
    held: list[bool]
    pointer: list[int]
    then: list[int]
    lag: list[int]
    order: list[int]
    release: list[int]

    @classmethod
    def of(cls, graph: Graph) -> Side:
        """Read a graph from its start."""
        return cls(
            seconds=[s.seconds for s in graph.steps],
            held=[s.kind == "hold" for s in graph.steps],
            pointer=graph.pointer.tolist(),
            then=graph.then.tolist(),
            lag=graph.lag.tolist(),
            order=graph.order.tolist(),
            release=graph.release.tolist(),
        )

    def turned(self) -> Side:
        """Return the other side; what is not begun before some time is free there."""
        count = len(self.seconds)
        then = np.array(self.then, np.int64)
        first = np.repeat(np.arange(count), np.diff(self.pointer))
        order = np.argsort(then, kind="stable")
        return Side(
            seconds=self.seconds,
            held=self.held,
            pointer=np.searchsorted(then[order], np.arange(count + 1)).tolist(),
            then=first[order].tolist(),
            lag=np.array(self.lag, np.int64)[order].tolist(),
            order=self.order[::-1],
            release=[0] * count,
        )


def turned_from(clock: int, shift: Shift) -> int:
    """Return the end of a shift, from which time is turned for work that is all done at a clock second."""
    return -(-(clock - shift.seconds) // DAY) * DAY + shift.seconds


@dataclass(frozen=True, kw_only=True, slots=True)
class Gate:
    """What a gate waits for: numbers of steps, and for each load work, amount there is and working seconds left before the gate."""

    waits: tuple[tuple[_Ints, _Ints, _Ints, int], ...]

    def opens(self, head: _Ints) -> int:
        """Return the working seconds before which the gate is not open, if no step begins before its `head`."""
        return max((shared(work, head[steps], left, whole) for steps, work, left, whole in self.waits), default=0)


def shared(work: _Ints, head: _Ints, tail: _Ints, whole: int) -> int:
    """Return the least time until work is done that is shared by `whole`, begun after its heads and followed by its tails.

    For each threshold: the steps of the greatest tails cannot begin before the least of their heads, take their work, and the least
    of their tails follows; and the mirror image.
    """
    best = 0
    for one, other in ((head, tail), (tail, head)):
        order = np.argsort(-other, kind="stable")
        total = np.cumsum(work[order])
        best = max(best, int((np.minimum.accumulate(one[order]) - (-total // whole) + other[order]).max()))
    return best


def gates(side: Side, shift: Shift, loads: Loads) -> dict[int, Gate]:
    """Return the gates of a side: holds, and steps that a lag follows."""
    count = len(side.seconds)
    lags = np.array(side.lag, np.int64)
    first = np.repeat(np.arange(count), np.diff(side.pointer))
    weight = np.zeros(count, np.int64)
    np.maximum.at(weight, first, lags)
    held = np.array(side.held)
    found = np.flatnonzero((weight > 0) | held)
    if len(found) > GATES:
        found = np.sort(found[np.argsort(-weight[found], kind="stable")[:GATES]])
    left = _between(side, shift, found)
    out = {}
    for row, gate in enumerate(found.tolist()):
        before = left[row] >= 0
        before[gate] = False
        waits = []
        for work, whole in loads:
            steps = np.flatnonzero(before & (work > 0))
            if len(steps):
                waits.append((steps, work[steps], left[row, steps], whole))
        if waits:
            out[gate] = Gate(waits=tuple(waits))
    return out


def _between(side: Side, shift: Shift, ends: _Ints) -> _Ints:
    """Return the least working seconds from the end of each step (column) to the start of each of `ends` (row), below 0 where none."""
    count, far = len(side.seconds), -(1 << 60)
    seconds = np.array(side.seconds, np.int64)
    taken = np.where(side.held, shift.least(seconds), seconds).tolist()
    lag = shift.least(np.array(side.lag, np.int64)).tolist()
    column = {step: n for n, step in enumerate(ends.tolist())}
    after = np.full((count, len(ends)), far, np.int64)  # from the end of each step
    whole = after.copy()  # from its start
    for step in side.order[::-1]:
        row = after[step]
        for arc in range(side.pointer[step], side.pointer[step + 1]):
            np.maximum(row, whole[side.then[arc]] + lag[arc], out=row)
        whole[step] = row + taken[step]
        if step in column:
            whole[step, column[step]] = 0
    return after.T


def earliest(side: Side, shift: Shift, opening: Mapping[int, Gate], release: Sequence[int]) -> tuple[_Ints, _Ints]:
    """Return the clock seconds before which no step starts, and before which none is done.

    Parameters
    ----------
    side : Side
    shift : Shift
    opening : mapping of int to Gate
        Gates by step.
    release : sequence of int
        Clock seconds before which steps do not start, whatever comes before them.
    """
    pointer, then, lag, seconds, held = side.pointer, side.then, side.lag, side.seconds, side.held
    start, end, whole, daily = list(release), [0] * len(seconds), shift.seconds, shift.daily
    head = np.zeros(len(start), np.int64)
    for step in side.order:
        at, length = start[step], seconds[step]
        if step in opening:
            at = max(at, shift.clock(opening[step].opens(head)))
        done = at + length
        # Steps of no length may as well end the day as begin the next.
        if not held[step] and (at % DAY + length > whole or not (daily or not length or shift.open(at // DAY))):
            at = shift.begin(at, length)
            done = shift.finish(at, length)
        start[step], end[step], head[step] = at, done, shift.working(at)
        for arc in range(pointer[step], pointer[step + 1]):
            if done + lag[arc] > start[then[arc]]:
                start[then[arc]] = done + lag[arc]
    return np.array(start, np.int64), np.array(end, np.int64)


@dataclass(frozen=True, kw_only=True, slots=True)
class Windows:
    """Both sides of a graph for so many masons, with gates and loads; `start` and `end` are the earliest."""

    shift: Shift
    loads: Loads
    start: _Ints
    end: _Ints
    fore: Side
    before: Mapping[int, Gate]
    back: Side
    behind: Mapping[int, Gate]

    @classmethod
    def of(cls, graph: Graph, shift: Shift, loads: Loads) -> Windows:
        """Work out both sides of a graph."""
        side = Side.of(graph)
        back = side.turned()
        before = gates(side, shift, loads)
        start, end = earliest(side, shift, before, side.release)
        return cls(
            shift=shift,
            loads=loads,
            start=start,
            end=end,
            fore=side,
            before=before,
            back=back,
            behind=gates(back, shift, loads),
        )

    def latest(self, clock: int) -> tuple[_Ints, _Ints]:
        """Return the clock seconds at which each step starts and is done at the latest, where all is done at `clock`."""
        shut = turned_from(clock, self.shift)
        start, end = earliest(self.back, self.shift.turned(shut), self.behind, [shut - clock] * len(self.start))
        return shut - end, shut - start

    def possible(self, clock: int) -> bool:
        """Whether nothing is against all being done at a clock second."""
        return self.fits(self.start, *self.latest(clock))

    def fits(self, start: _Ints, latest: _Ints, end: _Ints) -> bool:
        """Whether all steps can lie between their earliest starts and latest ends, where they start at `latest` at the latest."""
        if (latest < start).any():
            return False
        head, last = self.shift.all_working(start), self.shift.all_working(end)
        return not any(_crowded(work, head, last, whole) for work, whole in self.loads)

    def least(self, low: int, high: int) -> int:
        """Return working seconds, from `low` up to `high`, within which no schedule is done; known is that none is in less than `low`."""
        while low < high:
            middle = (low + high) // 2
            if self.possible(self.shift.until(middle)):
                high = middle
            else:
                low = middle + 1
        return low


def _crowded(work: _Ints, head: _Ints, last: _Ints, whole: int) -> bool:
    """Whether work that lies between two times takes more than `whole` can do then."""
    on = np.flatnonzero(work)
    order = on[np.argsort(last[on], kind="stable")]
    work, head, last = work[order], head[order], last[order]
    times = np.unique(head)
    for begin in times[:: -(-len(times) // THRESHOLDS) or 1]:
        inside = np.cumsum(np.where(head >= begin, work, 0))
        if (inside > np.where(inside > 0, whole * (last - begin), 0)).any():
            return True
    return False

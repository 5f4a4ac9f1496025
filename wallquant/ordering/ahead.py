"""Plans made ahead: steps are taken in the order of priority, and each is put where there is room for it first.

The site begins whatever can be begun, so that a long step that has time takes the mason whom a step for two needs soon.  A plan made
ahead puts the urgent steps in place first and lets the others fill the holes; the site then keeps to its times (see `kept_to`).
Masons are counted, not named, and walking is a surcharge that is the same for every step.
"""

from __future__ import annotations

import heapq
from bisect import bisect_left, bisect_right
from dataclasses import replace
from itertools import pairwise
from math import isqrt

import numpy as np
from numpy.typing import NDArray

from wallquant.ordering.clock import DAY
from wallquant.ordering.search import queue
from wallquant.ordering.site import NOBODY, Pass, Problem

_Ints = NDArray[np.int64]


class _Free:
    """How much of something is free, from one clock second to the next one at which that changes."""

    def __init__(self, whole: int) -> None:
        self.at, self.free = [0], [whole]

    def first(self, start: int, end: int, amount: int) -> int:
        """Return `start` if the amount is free until `end`, else the first clock second at which to ask again."""
        at, free = self.at, self.free
        k, count = bisect_right(at, start) - 1, len(at)
        while k < count and at[k] < end:
            if free[k] < amount:
                while free[k] < amount:
                    k += 1
                return at[k]
            k += 1
        return start

    def take(self, start: int, end: int, amount: int) -> None:
        """Take the amount from `start` to `end`."""
        at, free = self.at, self.free
        k = self._cut(start)
        j = self._cut(end)
        for i in range(k, j):
            free[i] -= amount
        for i in (j, k):
            if i and free[i] == free[i - 1]:
                del at[i], free[i]

    def _cut(self, clock: int) -> int:
        k = bisect_left(self.at, clock)
        if k == len(self.at) or self.at[k] != clock:
            self.at.insert(k, clock)
            self.free.insert(k, self.free[k - 1])
        return k


def planned(problem: Problem, priority: _Ints, surcharge: int = 0) -> Pass:
    """Plan all steps ahead.

    Parameters
    ----------
    problem : Problem
    priority : ndarray of int64, shape (steps,)
        Place of each step in the queue, a permutation: of the steps whose predecessors are placed the lowest is placed next.
    surcharge : int
        Seconds that each step takes longer because masons walk to it.

    Returns
    -------
    Pass
        Nobody is named in it.
    """
    p, shift = problem, problem.shift
    count = len(p.seconds)
    left, ready, place = p.left.copy(), list(p.release), priority.tolist()
    start, end = [0] * count, [0] * count
    masons, stock = _Free(p.masons), [_Free(whole) for whole in p.stock]
    heap = [(place[step], step) for step in range(count) if not left[step]]
    heapq.heapify(heap)
    while heap:
        step = heapq.heappop(heap)[1]
        at, seconds = ready[step], p.seconds[step]
        if p.held[step]:
            done = at + seconds
        else:
            many, needs = p.demands[p.demand[step]]
            if seconds:
                seconds = seconds + surcharge if seconds > shift.seconds else min(seconds + surcharge, shift.seconds)
            asked = -1
            while asked != at:
                asked = at = shift.begin(at, seconds)
                if step in p.days and (at // DAY + p.weekday) % 7 not in p.days[step]:
                    at = shift.next(at)
                    continue
                done = shift.finish(at, seconds)
                if seconds:
                    at = masons.first(at, done, many)
                    for which, amount in needs:
                        at = max(at, stock[which].first(asked, done, amount))
            if seconds:
                masons.take(at, done, many)
                for which, amount in needs:
                    stock[which].take(at, done, amount)
        start[step], end[step] = at, done
        for arc in range(p.pointer[step], p.pointer[step + 1]):
            after = p.then[arc]
            if done + p.lag[arc] > ready[after]:
                ready[after] = done + p.lag[arc]
            left[after] -= 1
            if not left[after]:
                heapq.heappush(heap, (place[after], after))
    return Pass(start=start, end=end, crew=[NOBODY] * count)


def kept_to(problem: Problem, plan: Pass) -> Pass:
    """Return what becomes of a plan on the site: no step is begun before its time, and masons walk from one to the next."""
    start = np.array(plan.start, np.int64)
    brief = np.array(plan.end, np.int64) == start
    held = np.array(problem.held, bool)
    release = np.where(held, problem.release, np.maximum(problem.release, start))
    return replace(problem, release=release.tolist()).passed(queue(start, ~brief))


def surcharge_of(problem: Problem, run: Pass) -> int:
    """Return how many seconds masons walk to a step in a pass, on average and rounded up; 0 where walking takes no time."""
    walk = problem.walk
    if walk is None:
        return 0
    by_mason: dict[int, list[tuple[int, int, int]]] = {}
    for step, crew in enumerate(run.crew):
        for mason in (crew, *run.helpers.get(step, ())):
            if mason != NOBODY:
                by_mason.setdefault(mason, []).append((run.start[step], run.end[step], step))
    walked = steps = 0
    for turns in by_mason.values():
        steps += len(turns)
        for (*_, one), (*_, two) in pairwise(sorted(turns)):
            (x, y), (u, v) = walk.places[one], walk.places[two]
            walked += isqrt((u - x) ** 2 + (v - y) ** 2)
    return -(-walked // (walk.speed * max(1, steps)))

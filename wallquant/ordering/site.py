"""The site: steps are begun by the clock, in an order of priority, as masons and what they need become free.

`Problem` is what does not change between passes; `Problem.passed` makes one schedule from one order of priority.
"""

from __future__ import annotations

import heapq
from bisect import insort
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from math import isqrt

import numpy as np
from numpy.typing import NDArray

from wallquant.ordering.clock import DAY, Shift
from wallquant.ordering.precedence import PAIR, Graph
from wallquant.ordering.windows import turned_from

NOBODY = 0
"""Crew of a hold."""
TRIES = 100
"""So many steps are looked at that the rest of the day is too short for, whenever somebody is free; they then wait for the next day."""
Demand = tuple[int, tuple[tuple[int, int], ...]]
"""How many masons, and of which resources how much."""
_Ints = NDArray[np.int64]


@dataclass(frozen=True, kw_only=True, slots=True)
class Walk:
    """How masons walk from step to step.

    Attributes
    ----------
    places : sequence of (int, int)
        Where each step of the graph is in plan, millimetres; holds, which come last, need none.
    speed : int
        Millimetres a second.
    """

    places: Sequence[tuple[int, int]]
    speed: int = 1000


@dataclass(frozen=True, kw_only=True, slots=True)
class Pass:
    """One schedule: clock seconds and mason of each step, and the masons who help."""

    start: list[int]
    end: list[int]
    crew: list[int]
    helpers: dict[int, list[int]] = field(default_factory=dict)

    @property
    def last(self) -> int:
        """Clock second at which all is done."""
        return max(self.end, default=0)


@dataclass(frozen=True, kw_only=True, slots=True)
class Problem:
    """What every pass is given: times, arcs by first step, and what steps need.

    `demands` are the different things that steps take: how many masons, and pairs (resource, amount); `demand` has the number of
    each step's.  `stock` is how much there is of each resource.
    """

    seconds: list[int]
    held: list[bool]
    panel: list[str]
    pointer: list[int]
    then: list[int]
    lag: list[int]
    left: list[int]
    release: list[int]
    masons: int
    shift: Shift
    demand: list[int]
    demands: tuple[Demand, ...]
    stock: tuple[int, ...] = ()
    weekday: int = 0
    days: dict[int, frozenset[int]] = field(default_factory=dict)
    walk: Walk | None = None

    @classmethod
    def of(
        cls, graph: Graph, masons: int, shift: Shift, resources: Mapping[str, int], weekday: int = 0, walk: Walk | None = None
    ) -> Problem:
        """Read a graph.  A step takes of a resource at most what there is; what `resources` does not name is there for all."""
        names = sorted(resources)
        at = {name: k for k, name in enumerate(names)}
        demands: dict[Demand, int] = {(1, ()): 0}
        demand = [0] * len(graph.steps)
        for n, step in enumerate(graph.steps):
            if step.resources:
                many = 2 if masons > 1 and PAIR in step.resources else 1
                needs = tuple((at[r], min(a, resources[r])) for r, a in step.needs if r in at)
                demand[n] = demands.setdefault((many, needs), len(demands))
        return cls(
            seconds=[s.seconds for s in graph.steps],
            held=[s.kind == "hold" for s in graph.steps],
            panel=[s.panel for s in graph.steps],
            pointer=graph.pointer.tolist(),
            then=graph.then.tolist(),
            lag=graph.lag.tolist(),
            left=np.bincount(graph.then, minlength=len(graph.steps)).tolist(),
            release=graph.release.tolist(),
            masons=masons,
            shift=shift,
            weekday=weekday,
            days={n: frozenset(s.days) for n, s in enumerate(graph.steps) if s.days},
            demand=demand,
            demands=tuple(demands),
            stock=tuple(resources[name] for name in names),
            walk=walk,
        )

    def turned(self, clock: int) -> Problem:
        """Return the problem read from its end, where all is done at a clock second, to its start (see `windows`); nobody walks."""
        count = len(self.seconds)
        then = np.array(self.then, np.int64)
        first = np.repeat(np.arange(count), np.diff(self.pointer))
        order = np.argsort(then, kind="stable")
        shut = turned_from(clock, self.shift)
        return replace(
            self,
            shift=self.shift.turned(shut),
            pointer=np.searchsorted(then[order], np.arange(count + 1)).tolist(),
            then=first[order].tolist(),
            lag=np.array(self.lag, np.int64)[order].tolist(),
            left=np.bincount(first, minlength=count).tolist(),
            release=[shut - clock] * count,
            days={},
            walk=None,
        )

    def passed(self, priority: _Ints, *, patient: bool = False) -> Pass:
        """Make one schedule.

        Parameters
        ----------
        priority : ndarray of int64, shape (steps,)
            Place of each step in the queue, a permutation: the lowest of those that can be begun is begun.
        patient : bool
            Whether a step for two that finds one mason free keeps him, unless another step is done before the next one is free.
        """
        return _Site(self, priority, patient).work()


class _Site:
    """The state of one pass: an event loop over the clock."""

    def __init__(self, problem: Problem, priority: _Ints, patient: bool) -> None:
        count = len(problem.seconds)
        self.p = problem
        self.patient = patient
        self.priority: list[int] = priority.tolist()
        at = np.empty(count, np.int64)
        at[priority] = np.arange(count)
        self.step_at: list[int] = at.tolist()
        self.left, self.free_at = problem.left.copy(), problem.release.copy()
        self.start, self.end, self.crew = [0] * count, [0] * count, [NOBODY] * count
        self.idle = list(range(1, problem.masons + 1))
        self.last_step: dict[int, int] = {}
        self.ready: list[list[int]] = [[] for _ in problem.demands]
        self.count = 0  # of what is ready
        self.waiting: list[tuple[int, int]] = []
        self.running: list[tuple[int, int]] = []
        self.tomorrow: list[int] = []
        self.stock = list(problem.stock)
        self.helpers: dict[int, list[int]] = {}

    def work(self) -> Pass:
        """Run the clock until every step is done."""
        now = 0
        for step, left in enumerate(self.left):
            if not left:
                self._free(step, now)
        waiting, running, shift = self.waiting, self.running, self.p.shift
        while self.count or waiting or running or self.tomorrow:
            self._arrive(now)
            if self.count and self.idle:
                self._assign(now)
            if (waiting and waiting[0][0] == now) or (running and running[0][0] == now):
                continue
            coming = [heap[0][0] for heap in (waiting, running) if heap]
            if (self.count and self.idle) or self.tomorrow:
                coming.append(shift.next(now))
            if not coming:
                break
            later = min(coming)
            if self.tomorrow and later // DAY > now // DAY:
                for place in self.tomorrow:
                    self._push(place)
                self.tomorrow = []
            now = later
        return Pass(start=self.start, end=self.end, crew=self.crew, helpers=self.helpers)

    def _free(self, step: int, now: int) -> None:
        """All before the step is done: it can be begun now, or at the time it waits for."""
        if self.free_at[step] > now:
            heapq.heappush(self.waiting, (self.free_at[step], step))
        elif self.p.held[step]:
            self._begin(step, now, now + self.p.seconds[step], NOBODY)
        else:
            self._push(self.priority[step])

    def _push(self, place: int) -> None:
        heapq.heappush(self.ready[self.p.demand[self.step_at[place]]], place)
        self.count += 1

    def _arrive(self, now: int) -> None:
        running, pointer, then, lags = self.running, self.p.pointer, self.p.then, self.p.lag
        left, free_at, helpers, stock = self.left, self.free_at, self.helpers, self.stock
        while running and running[0][0] <= now:
            step = heapq.heappop(running)[1]
            if self.crew[step] != NOBODY:
                insort(self.idle, self.crew[step])
                if step in helpers:
                    for mason in helpers[step]:
                        insort(self.idle, mason)
                for which, amount in self.p.demands[self.p.demand[step]][1]:
                    stock[which] += amount
            for arc in range(pointer[step], pointer[step + 1]):
                after = then[arc]
                if lags[arc] and free_at[after] < now + lags[arc]:
                    free_at[after] = now + lags[arc]
                left[after] -= 1
                if not left[after]:
                    self._free(after, now)
        while self.waiting and self.waiting[0][0] <= now:
            self._free(heapq.heappop(self.waiting)[1], now)

    def _assign(self, now: int) -> None:
        p, idle, walk = self.p, self.idle, self.p.walk
        shift, room = p.shift.seconds, p.shift.room(now)
        later: list[int] = []  # what would keep a mason for whom a step for two waits
        kept = 0  # clock second at which that one is begun
        tries = TRIES
        while room and idle and tries:
            place = self._next()
            if place < 0:
                break
            step = self.step_at[place]
            seconds = p.seconds[step]
            many, needs = p.demands[p.demand[step]]
            if room < seconds <= shift or (step in p.days and (now // DAY + p.weekday) % 7 not in p.days[step]):
                self.tomorrow.append(place)
                tries -= 1
                continue
            if len(idle) < many:
                kept = kept or min((end for end, one in self.running if self.crew[one] != NOBODY), default=0)
                later.append(place)
                tries -= 1
                continue
            if kept and now + seconds > kept:
                later.append(place)
                tries -= 1
                continue
            mason = self._nearest(step, now) if walk else self._at_hand(step)
            helpers = [m for m in idle if m != mason][: many - 1] if many > 1 else []
            begun, rest = now, room
            if walk:
                begun = max(now, self._there(mason, step))
                for other in helpers:
                    begun = max(begun, self._there(other, step))
                rest = room - (begun - now)
                if rest <= 0 or rest < seconds <= shift:
                    self.tomorrow.append(place)
                    tries -= 1
                    continue
            for one in (mason, *helpers):
                idle.remove(one)
                self.last_step[one] = step
            if helpers:
                self.helpers[step] = helpers
            for which, amount in needs:
                self.stock[which] -= amount
            self._begin(step, begun, begun + seconds if seconds <= rest else p.shift.finish(begun, seconds), mason)
        for place in later:
            self._push(place)

    def _next(self) -> int:
        """Take from the queue what comes first of what masons and resources are there for; -1 if there is nothing.

        Where the pass is patient, steps for two come up though one mason alone is free, so that he is kept.
        """
        free, stock, best, at = len(self.idle), self.stock, -1, -1
        for k, heap in enumerate(self.ready):
            if heap and (at < 0 or heap[0] < best):
                many, needs = self.p.demands[k]
                if (many <= free or self.patient) and all(stock[which] >= amount for which, amount in needs):
                    best, at = heap[0], k
        if at >= 0:
            heapq.heappop(self.ready[at])
            self.count -= 1
        return best

    def _at_hand(self, step: int) -> int:
        """Return an idle mason who was at the step's panel last, else the first one."""
        panel, panels = self.p.panel[step], self.p.panel
        for mason in self.idle:
            last = self.last_step.get(mason)
            if last is not None and panels[last] == panel:
                return mason
        return self.idle[0]

    def _nearest(self, step: int, now: int) -> int:
        """Return the idle mason who is there first."""
        if len(self.idle) == 1:
            return self.idle[0]
        return min(self.idle, key=lambda m: (max(now, self._there(m, step)), m))

    def _there(self, mason: int, step: int) -> int:
        """Return when an idle mason, who walks on as soon as a step is done, can be at the place of another."""
        last, walk = self.last_step.get(mason), self.p.walk
        if last is None or walk is None:
            return 0
        (x, y), (u, v) = walk.places[last], walk.places[step]
        return self.end[last] - (-isqrt((u - x) ** 2 + (v - y) ** 2) // walk.speed)

    def _begin(self, step: int, begun: int, end: int, mason: int) -> None:
        self.start[step], self.end[step], self.crew[step] = begun, end, mason
        heapq.heappush(self.running, (end, step))

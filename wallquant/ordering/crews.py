"""Who lays what when: list scheduling of the steps for a number of masons.

A panel is finished before another is begun; in it the step with the most still to come goes first.  Masons work within the
shift of each day; lags and holds are clock time and run over nights.
"""

from __future__ import annotations

import heapq
from bisect import insort
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from wallquant.findings import Finding, Place
from wallquant.layout import Step, Work
from wallquant.ordering.bound import DAY, Shift, least_time, tails
from wallquant.ordering.precedence import NEVER, PAIR, Graph

NOBODY = 0
"""Crew of a hold."""

_Ints = NDArray[np.int64]


@dataclass(frozen=True, kw_only=True, slots=True)
class Turn:
    """One step in its place in the order of work; hours of the clock from the start of day 1, nights included."""

    step: Step
    crew: str
    start_h: float
    end_h: float
    day: int


@dataclass(frozen=True, kw_only=True)
class Schedule:
    """The steps in the order of work.

    Attributes
    ----------
    graph : Graph
        The steps and what comes before what.
    order : ndarray of int64, shape (steps,)
        Numbers of the steps by start, then crew: a topological order of the graph.
    start, end : ndarray of int64, shape (steps,)
        Clock seconds of each step (by its number) from the start of day 1.
    crew : ndarray of int64, shape (steps,)
        Number of the mason, `NOBODY` for a hold.
    masons : int
    shift : Shift
    seconds, bound : int
        Working seconds until all is done, and those within which no schedule of so many masons is done.
    findings : tuple of Finding
    """

    graph: Graph
    order: _Ints
    start: _Ints
    end: _Ints
    crew: _Ints
    masons: int
    shift: Shift
    seconds: int
    bound: int
    helpers: Mapping[int, Sequence[int]] = field(default_factory=dict)
    """Masons besides `crew`, of steps that take two."""
    findings: tuple[Finding, ...] = ()

    @property
    def hours(self) -> float:
        """Working hours until all is done."""
        return self.seconds / 3600

    @property
    def hours_bound(self) -> float:
        """Working hours within which no schedule of so many masons is done."""
        return self.bound / 3600

    @property
    def turns(self) -> tuple[Turn, ...]:
        """The steps in the order of work."""
        steps, start, end, crew = self.graph.steps, self.start.tolist(), self.end.tolist(), self.crew.tolist()
        return tuple(
            Turn(
                step=steps[i],
                crew=" ".join(f"M{m}" for m in sorted((crew[i], *self.helpers.get(i, ())))) if crew[i] != NOBODY else "",
                start_h=start[i] / 3600,
                end_h=end[i] / 3600,
                day=start[i] // DAY + 1,
            )
            for i in self.order.tolist()
        )


def schedule(
    graph: Graph,
    *,
    masons: int = 1,
    shift: Shift | None = None,
    panels: Mapping[str, int] | None = None,
    first: Iterable[str] = (),
    resources: Mapping[str, int] | None = None,
    weekday: int = 0,
) -> Schedule:
    """Give each step its time and mason.

    A step that the day has no room for waits for the next day; one longer than a shift is begun and goes on the next day.
    A hold needs no mason and begins when all before it is done, at night too.

    Parameters
    ----------
    graph : Graph
    masons : int
        Masons at work, M1 and so on.
    shift : Shift, optional
        Working time of a day; 8 h where missing.
    panels : mapping of str to int, optional
        Rank of each panel: lower is finished first (see `ranks`); panels that are missing come last, by name.
    first : iterable of str
        Names of steps to go first of all that can be begun (at the corners where laying starts).
    resources : mapping of str to int, optional
        How many there are of what steps need besides masons; what is not named is there for all.  A step that needs ``two people``
        takes two masons, where there are two.
    weekday : int
        Day of the week of day 1, Monday 0.

    Returns
    -------
    Schedule

    Raises
    ------
    ValueError
        If there is no mason.
    """
    if masons < 1:
        raise ValueError(f"{masons} masons cannot lay anything; give at least 1")
    hours = shift or Shift()
    count = len(graph.steps)
    queue = _priority(graph, panels or {}, frozenset(first))
    run = _Site(graph=graph, masons=masons, shift=hours, priority=queue, resources=resources or {}, weekday=weekday)
    run.work()
    start, end, crew = np.array(run.start, np.int64), np.array(run.end, np.int64), np.array(run.crew, np.int64)
    place = np.empty(count, np.int64)
    place[graph.order] = np.arange(count)
    brief = end == start
    order = np.lexsort((place, np.where(brief, 0, crew), np.where(brief, place, 0), ~brief, start))
    done = int(end.max()) if count else 0
    return Schedule(
        graph=graph,
        order=order.astype(np.int64),
        start=start,
        end=end,
        crew=crew,
        masons=masons,
        shift=hours,
        helpers=dict(sorted(run.helpers.items())),
        seconds=hours.working(done),
        bound=least_time(graph, masons, hours),
        findings=(*graph.findings, *_late(graph, start, end)),
    )


def ranks(work: Work) -> dict[str, int]:
    """Return the order in which panels (runs) are finished: part by part, from the corner where laying starts outward."""
    out: dict[str, int] = {}
    for part in work.parts:
        wave = [work.start_corner[part[0]]] if work.start_corner.get(part[0]) else []
        members, seen = set(part), set(wave)
        for corner in wave:
            for name in work.corners[corner].runs if corner in work.corners else ():
                if name in members and name not in out:
                    out[name] = len(out)
                    further = [j.corner for j in sorted(work.runs[name].junctions, key=lambda j: j.station) if j.corner not in seen]
                    seen.update(further)
                    wave += further
        for name in part:
            out.setdefault(name, len(out))
    return out


def starts(work: Work, steps: Sequence[Step]) -> tuple[str, ...]:
    """Return the names of the corner steps at the corners where laying starts."""
    corners = set(work.start_corner.values())
    return tuple(s.name for s in steps if s.kind == "corner" and s.corner in corners)


def _priority(graph: Graph, panels: Mapping[str, int], first: frozenset[str]) -> list[int]:
    """Return for each step its place in the queue: a permutation."""
    seconds = np.array([s.seconds for s in graph.steps], np.int64)
    tail = tails(graph, seconds, graph.lag)
    unknown = {name: len(panels) + i for i, name in enumerate(sorted({s.panel for s in graph.steps} - set(panels)))}
    panel = np.array([panels.get(s.panel, unknown.get(s.panel, 0)) for s in graph.steps], np.int64)
    later = np.array([s.name not in first for s in graph.steps], bool)
    order = np.lexsort((np.arange(len(seconds)), -tail, panel, later))
    place = np.empty(len(order), np.int64)
    place[order] = np.arange(len(order))
    return [int(p) for p in place]


class _Site:
    """The state of one run of the scheduler: an event loop over the clock."""

    def __init__(
        self, *, graph: Graph, masons: int, shift: Shift, priority: list[int], resources: Mapping[str, int], weekday: int
    ) -> None:
        count = len(graph.steps)
        self.shift = shift
        self.seconds = [s.seconds for s in graph.steps]
        self.panel = [s.panel for s in graph.steps]
        self.held = [s.kind == "hold" for s in graph.steps]
        self.pointer, self.then, self.lag = graph.pointer.tolist(), graph.then.tolist(), graph.lag.tolist()
        self.left: list[int] = np.bincount(graph.then, minlength=count).tolist()
        self.free_at: list[int] = graph.release.tolist()
        self.priority = priority
        self.step_at = [0] * count
        for step, place in enumerate(priority):
            self.step_at[place] = step
        self.start, self.end, self.crew = [0] * count, [0] * count, [NOBODY] * count
        self.idle = list(range(1, masons + 1))
        self.last_panel: dict[int, str] = {}
        self.ready: list[int] = []
        self.waiting: list[tuple[int, int]] = []
        self.running: list[tuple[int, int]] = []
        self.tomorrow: list[int] = []
        self.weekday = weekday
        self.days = {n: set(s.days) for n, s in enumerate(graph.steps) if s.days}
        self.masons = {n: min(2, masons) for n, s in enumerate(graph.steps) if PAIR in s.resources}
        self.needs = {n: own for n, s in enumerate(graph.steps) if (own := [r for r in s.resources if r in resources])}
        self.left_over = dict(resources)
        self.helpers: dict[int, list[int]] = {}

    def work(self) -> None:
        """Run the clock until every step is done."""
        now = 0
        for step, left in enumerate(self.left):
            if not left:
                self._free(step, now)
        while self.ready or self.waiting or self.running or self.tomorrow:
            self._arrive(now)
            self._assign(now)
            if now in (w[0] for w in self.waiting[:1] + self.running[:1]):
                continue
            coming = [heap[0][0] for heap in (self.waiting, self.running) if heap]
            if (self.ready and self.idle) or self.tomorrow:
                coming.append(self.shift.next(now))
            if not coming:
                return
            later = min(coming)
            if self.tomorrow and later // DAY > now // DAY:
                for place in self.tomorrow:
                    heapq.heappush(self.ready, place)
                self.tomorrow = []
            now = later

    def _free(self, step: int, now: int) -> None:
        """All before the step is done: it can be begun now, or at the time it waits for."""
        if self.free_at[step] > now:
            heapq.heappush(self.waiting, (self.free_at[step], step))
        elif self.held[step]:
            self._begin(step, now, now + self.seconds[step], NOBODY)
        else:
            heapq.heappush(self.ready, self.priority[step])

    def _arrive(self, now: int) -> None:
        while self.running and self.running[0][0] <= now:
            _, step = heapq.heappop(self.running)
            if self.crew[step] != NOBODY:
                for mason in (self.crew[step], *self.helpers.get(step, ())):
                    insort(self.idle, mason)
            for need in self.needs.get(step, ()):
                self.left_over[need] += 1
            for arc in range(self.pointer[step], self.pointer[step + 1]):
                after = self.then[arc]
                self.free_at[after] = max(self.free_at[after], now + self.lag[arc])
                self.left[after] -= 1
                if not self.left[after]:
                    self._free(after, now)
        while self.waiting and self.waiting[0][0] <= now:
            self._free(heapq.heappop(self.waiting)[1], now)

    def _assign(self, now: int) -> None:
        later: list[int] = []  # what waits for a second mason or a hoist, until somebody is done
        while self.shift.room(now) and self.ready and self.idle:
            place = heapq.heappop(self.ready)
            step = self.step_at[place]
            wrong_day = step in self.days and (now // DAY + self.weekday) % 7 not in self.days[step]
            if wrong_day or self.shift.begin(now, self.seconds[step]) > now:
                self.tomorrow.append(place)
                continue
            if len(self.idle) < self.masons.get(step, 1) or any(self.left_over[need] < 1 for need in self.needs.get(step, ())):
                later.append(place)
                continue
            mason = next((m for m in self.idle if self.last_panel.get(m) == self.panel[step]), self.idle[0])
            self.idle.remove(mason)
            self.last_panel[mason] = self.panel[step]
            for need in self.needs.get(step, ()):
                self.left_over[need] -= 1
            if self.masons.get(step, 1) > 1:
                self.helpers[step] = [self.idle.pop(0)]
            self._begin(step, now, self.shift.finish(now, self.seconds[step]), mason)
        for place in later:
            heapq.heappush(self.ready, place)

    def _begin(self, step: int, now: int, end: int, mason: int) -> None:
        self.start[step], self.end[step], self.crew[step] = now, end, mason
        heapq.heappush(self.running, (end, step))


def _late(graph: Graph, start: _Ints, end: _Ints) -> Iterable[Finding]:
    """Tell of each reason how often its greatest lag is exceeded, and the worst case."""
    gap = start[graph.then] - end[graph.first]
    late = np.flatnonzero((graph.most_lag != NEVER) & (gap > graph.most_lag))
    by_reason: dict[int, list[int]] = {}
    for arc in late.tolist():
        by_reason.setdefault(int(graph.why[arc]), []).append(arc)
    for why, arcs in sorted(by_reason.items(), key=lambda item: graph.reasons[item[0]]):
        worst = max(arcs, key=lambda arc: (int(gap[arc] - graph.most_lag[arc]), -arc))
        rule, reason = graph.reasons[why]
        one, two = graph.steps[int(graph.first[worst])], graph.steps[int(graph.then[worst])]
        measured, wanted = f"{gap[worst] / 3600:.2f} h", f"at most {graph.most_lag[worst] / 3600:.2f} h"
        yield Finding(
            code="order.too-late",
            severity="warning",
            text=f"Step {two.name} starts {measured} after {one.name}, allowed is {wanted} ({reason}); put more masons there or split it.",
            place=Place(run=two.panel, course=two.course or None),
            measured=measured,
            wanted=wanted,
            times=len(arcs),
            rules=tuple(rule.split()),
        )

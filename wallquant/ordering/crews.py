"""Who lays what when: the schedule of the steps for a number of masons.

A panel is finished before another is begun, unless another order is done earlier; in it the step with the most still to come goes
first.  Masons work within the shift of each day; lags and holds are clock time and run over nights.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from wallquant.findings import Finding, Place
from wallquant.layout import Step, Work
from wallquant.ordering import evenings, improving
from wallquant.ordering.bound import least_time, loads_of
from wallquant.ordering.clock import DAY, Shift
from wallquant.ordering.precedence import NEVER, Graph
from wallquant.ordering.search import good, panel_ranks, passes_for, search
from wallquant.ordering.shares import MOST
from wallquant.ordering.site import NOBODY, Problem, Walk
from wallquant.ordering.windows import Windows

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
    walk: Walk | None = None,
    passes: int | None = None,
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
    walk : Walk, optional
        Where steps are and how fast masons walk from one to the next; without it that takes no time.
    passes : int, optional
        Orders that are tried at most, and as many again where none is near the bound; by the number of steps where missing.

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
    things = resources or {}
    bound = least_time(graph, masons, hours, things)
    problem = Problem.of(graph, masons, hours, things, weekday, walk)
    going_first, ranked = frozenset(first), panels or {}
    later = np.array([s.name not in going_first for s in graph.steps], bool)
    run = search(graph, problem, ranked, later, bound, passes_for(count) if passes is None else passes)
    if count <= MOST and not good(run, problem, bound):
        windows = Windows.of(graph, hours, loads_of(graph, masons, hours, things))
        bound = windows.least(bound, hours.working(run.last))
        if not good(run, problem, bound):
            bound = evenings.least(windows, bound, hours.working(run.last))
        more = improving.passes_for(count) if passes is None else passes
        run = improving.improved(graph, problem, run, windows, panel_ranks(graph, ranked), later, bound, more)
    start, end, crew = np.array(run.start, np.int64), np.array(run.end, np.int64), np.array(run.crew, np.int64)
    place = np.empty(count, np.int64)
    place[graph.order] = np.arange(count)
    brief = end == start
    order = np.lexsort((place, np.where(brief, 0, crew), np.where(brief, place, 0), ~brief, start))
    return Schedule(
        graph=graph,
        order=order.astype(np.int64),
        start=start,
        end=end,
        crew=crew,
        masons=masons,
        shift=hours,
        helpers=dict(sorted(run.helpers.items())),
        seconds=hours.working(run.last),
        bound=bound,
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

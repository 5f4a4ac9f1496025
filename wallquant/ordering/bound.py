"""How early the work can be done at best: a bound that no plan with so many masons can beat.

It is worked out in working time, the clock with nights and days off cut out: `working` maps one to the other.  A lag of the clock may
run over nights, so only the working time that it takes up wherever it lies is counted; then the bound holds for every schedule
that keeps to the shifts (see `Shift.begin`).
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping

import numpy as np
from numpy.typing import NDArray

from wallquant.ordering.clock import DAY, Shift
from wallquant.ordering.precedence import PAIR, Graph
from wallquant.ordering.shares import shares

_Ints = NDArray[np.int64]


def earliest(graph: Graph, shift: Shift, before: _Ints | None = None) -> _Ints:
    """Return the clock second before which each step cannot start, however many masons there are.

    Parameters
    ----------
    graph : Graph
    shift : Shift
    before : ndarray of int64, shape (steps,), optional
        Working seconds that must be over before each step.

    Returns
    -------
    ndarray of int64, shape (steps,)
    """
    pointer, then, gap = graph.pointer.tolist(), graph.then.tolist(), graph.lag.tolist()
    seconds, held = [s.seconds for s in graph.steps], [s.kind == "hold" for s in graph.steps]
    start, whole, daily = graph.release.tolist(), shift.seconds, shift.daily
    if before is not None:
        start = [max(at, shift.clock(least)) for at, least in zip(start, before.tolist(), strict=True)]
    for step in graph.order.tolist():
        done = start[step] + seconds[step]
        # Most steps are begun and done within the day at once.
        rest = start[step] % DAY
        if not held[step] and (rest + seconds[step] > whole or rest >= whole or not (daily or shift.open(start[step] // DAY))):
            start[step] = shift.begin(start[step], seconds[step])
            done = shift.finish(start[step], seconds[step])
        for arc in range(pointer[step], pointer[step + 1]):
            if done + gap[arc] > start[then[arc]]:
                start[then[arc]] = done + gap[arc]
    return np.array(start, np.int64)


def tails(graph: Graph, taken: _Ints, lag: _Ints, after: _Ints | None = None) -> _Ints:
    """Return for each step the longest path from its start to the end of all.

    Parameters
    ----------
    graph : Graph
    taken : ndarray of int64, shape (steps,)
        Time of each step.
    lag : ndarray of int64, shape (arcs,)
        Time between the end of one and the start of the other.
    after : ndarray of int64, shape (steps,), optional
        Time that what comes after each step takes at least.

    Returns
    -------
    ndarray of int64, shape (steps,)
    """
    pointer, then, time, gap = graph.pointer.tolist(), graph.then.tolist(), taken.tolist(), lag.tolist()
    tail = [0] * len(time) if after is None else after.tolist()
    for step in graph.order.tolist()[::-1]:
        longest = tail[step]
        for arc in range(pointer[step], pointer[step + 1]):
            if tail[then[arc]] + gap[arc] > longest:
                longest = tail[then[arc]] + gap[arc]
        tail[step] = longest + time[step]
    return np.array(tail, np.int64)


def least_time(graph: Graph, masons: int, shift: Shift, resources: Mapping[str, int] | None = None) -> int:
    """Return working seconds within which no schedule of so many masons is done.

    No step begins before all that comes before it is done, shared by all; and all that comes after it is still to be shared.
    For each threshold: the steps after which at least so much is still to come cannot begin before the least of their heads,
    take their work shared by all masons, and what is to come follows; and the mirror image (heads for tails).  Heads are
    earliest starts by the clock, put into working time; tails count of a lag only what it takes up wherever it lies.  A step that
    takes two masons counts twice; and steps for two alone are shared by as many pairs as there are.  So are the steps that take a
    resource, each by its amount, by as much as there is, and those that take more than half of it one after another.

    Parameters
    ----------
    graph : Graph
    masons : int
    shift : Shift
    resources : mapping of str to int, optional
        How many there are of what steps need besides masons.
    """
    if not graph.steps:
        return 0
    seconds = np.array([s.seconds for s in graph.steps], np.int64)
    held = np.array([s.kind == "hold" for s in graph.steps])
    taken = np.where(held, shift.least(seconds), seconds)
    loads = loads_of(graph, masons, shift, resources or {})
    earlier, later = shares(graph, loads)
    early = earliest(graph, shift, earlier)
    head = shift.all_working(early)
    after = tails(graph, taken, shift.least(graph.lag), later) - taken
    best = int((head + taken + after).max())
    for load, whole in loads:
        on = load > 0
        if on.any():
            best = max(best, _shared(load[on], head[on], after[on], whole), _shared(load[on], after[on], head[on], whole))
    return best


def loads_of(graph: Graph, masons: int, shift: Shift, resources: Mapping[str, int]) -> list[tuple[_Ints, int]]:
    """Return what can be shared out only so far: working seconds times amount that each step takes of something, and how much there is."""
    seconds = np.array([s.seconds for s in graph.steps], np.int64)
    laid = np.array([s.kind != "hold" for s in graph.steps], bool)
    pair = np.array([PAIR in s.resources for s in graph.steps], bool) & (masons > 1)
    return [(seconds * amount, whole) for amount, whole in _loads(graph, laid, pair, masons, resources)]


def _loads(
    graph: Graph, laid: NDArray[np.bool_], pair: NDArray[np.bool_], masons: int, resources: Mapping[str, int]
) -> Iterator[tuple[_Ints, int]]:
    """Yield the amounts; holds take nothing."""
    if laid.any():
        yield laid.astype(np.int64) + (laid & pair), masons
    if pair.any():
        yield (laid & pair).astype(np.int64), masons // 2
    takes: dict[str, list[tuple[int, int]]] = {}
    for n, step in enumerate(graph.steps):
        if step.resources and laid[n]:
            for name, amount in step.needs:
                if name in resources:
                    takes.setdefault(name, []).append((n, min(amount, resources[name])))
    for name, found in sorted(takes.items()):
        load, whole = np.zeros(len(graph.steps), np.int64), resources[name]
        load[[n for n, _ in found]] = [a for _, a in found]
        yield load, whole
        if (2 * load > whole).any():
            yield (2 * load > whole).astype(np.int64), 1


def _shared(work: _Ints, one: _Ints, other: _Ints, masons: int) -> int:
    """Greatest of least `one` + shared work + least `other` over the steps with the greatest `other`."""
    order = np.argsort(-other, kind="stable")
    total = np.cumsum(work[order])
    return int((np.minimum.accumulate(one[order]) - (-total // masons) + other[order]).max())

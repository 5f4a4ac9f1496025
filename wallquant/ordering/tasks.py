"""Items that are work: one step for those of one run or corner, course and task, and where it comes among the laying steps."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from wallquant.layout import Step, Work
from wallquant.rules import Item
from wallquant.units import Nm

_Ints = NDArray[np.int64]
SHOWN = 3
"""So many different sentences of items stand in the sentence of their step."""


def items_of(work: Work) -> dict[tuple[str, int, str], list[int]]:
    """Return the items that are work, as positions in `Work.items`, by the corner or run they are built in at, course and task."""
    out: dict[tuple[str, int, str], list[int]] = {}
    for n, item in enumerate(work.items):
        if isinstance(item, Item) and item.task and item.run in work.runs:
            out.setdefault((item.corner or item.run, item.course, item.task), []).append(n)
    return out


def task_steps(work: Work, part: Mapping[str, str]) -> Iterator[Step]:
    """Yield the steps in which items are built in; they lay no pieces.

    Parameters
    ----------
    work : Work
    part : mapping of str to str
        Connected part by run.
    """
    for (where, course, task), rows in sorted(items_of(work).items()):
        items: list[Item] = [work.items[n] for n in rows]  # type: ignore[misc]
        runs = tuple(sorted({i.run for i in items}, key=lambda name: int(name[1:]) if name[1:].isdigit() else 0))
        yield Step(
            name=f"{where}-C{course:02d}-{task.replace(' ', '-')}",
            kind=task,
            runs=runs,
            course=course,
            corner=where if where in work.corners else "",
            items=tuple(rows),
            seconds=sum(i.seconds for i in items),
            text=_said(items, task, where, course),
            part=part.get(runs[0], runs[0]),
            panel=runs[0],
        )


def _said(items: Sequence[Item], task: str, where: str, course: int) -> str:
    """Return the sentences of the items, each once; else what is done, where, and how often."""
    told: dict[str, int] = {}
    for item in items:
        if item.text:
            told[item.text] = told.get(item.text, 0) + 1
    if not told:
        return f"{task.capitalize()} at {where}, course {course}: {len(items)}."
    said = [text if n == 1 else f"{text.rstrip('.')} ({n} times)." for text, n in told.items()]
    more = f" And {len(said) - SHOWN} more of this kind." if len(said) > SHOWN else ""
    return " ".join(one if one.endswith((".", "!", "?")) else f"{one}." for one in said[:SHOWN]) + more


def between(work: Work, steps: Sequence[Step], owner: _Ints) -> tuple[_Ints, _Ints]:
    """Return what comes before and after the steps of items: numbers of steps, arc by arc.

    An item is built in after the pieces whose undersides lie below the top of its course, and before the others, of all that stand
    over its stations: in its own run, and in the runs that cross it there.

    Parameters
    ----------
    work : Work
    steps : sequence of Step
        Their numbers are their positions.
    owner : ndarray of int64, shape (pieces,)
        Number of the step that lays each piece.

    Returns
    -------
    first, then : ndarray of int64, shape (arcs,)
    """
    pieces = work.pieces
    bounds = np.searchsorted(pieces.run, np.arange(len(pieces.runs) + 1)).tolist()
    rows = {name: (bounds[n], bounds[n + 1]) for n, name in enumerate(pieces.runs)}
    arcs: set[tuple[int, int]] = set()
    for number, step in enumerate(steps):
        if not step.items:
            continue
        before: set[int] = set()
        after: set[int] = set()
        for n in step.items:
            item = work.items[n]
            if isinstance(item, Item):
                limit = _limit(work, item)
                for name, lo, hi in _over(work, item):
                    first, last = rows.get(name, (0, 0))
                    hit = np.flatnonzero((pieces.start[first:last] <= hi) & (pieces.end[first:last] >= lo)) + first
                    below = pieces.bottom[hit] < limit
                    before.update(owner[hit[below]].tolist())
                    after.update(owner[hit[~below]].tolist())
        arcs.update((one, number) for one in before if one >= 0)
        arcs.update((number, one) for one in after - before if one >= 0)
    table = np.array(sorted(arcs), np.int64).reshape(-1, 2)
    return table[:, 0], table[:, 1]


def _limit(work: Work, item: Item) -> Nm:
    """Return the level below which pieces are laid before an item: the top of its course."""
    levels = work.courses[item.run].levels
    if item.course < 1 or not levels:
        return min((c.bottom for c in levels), default=0) - (1 << 50)
    return levels[min(item.course, len(levels)) - 1].top


def _over(work: Work, item: Item) -> Iterable[tuple[str, Nm, Nm]]:
    """Return the stretches that stand over an item's place: run, and stations."""
    lo, hi = min(item.start, item.end), max(item.start, item.end)
    yield item.run, lo, hi
    own = work.runs[item.run]
    for junction in own.junctions:
        half = junction.thickness // 2
        if junction.other in work.runs and junction.station - half <= hi and junction.station + half >= lo:
            other = work.runs[junction.other]
            met = next((j for j in other.junctions if j.corner == junction.corner and j.other == own.name), None)
            if met is not None:
                yield other.name, met.station - own.thickness // 2, met.station + own.thickness // 2

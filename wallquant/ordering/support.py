"""Which piece rests on which: by station within a run, by plan overlap at corners and where a run stands on another one."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import shapely
from numpy.typing import NDArray

from wallquant.layout import Junction, Pieces, Run, Work
from wallquant.units import MM, Nm

BED: Nm = 40 * MM
"""The widest bed across which a piece still rests on the one below (derived: more than the widest levelling bed, 3/4 in and a
fit of 1/2 in; less than the least rip of 50 mm)."""

Rows = NDArray[np.int64]


def resting(work: Work) -> tuple[Rows, Rows]:
    """Return pairs of pieces: each of the second rests on that of the first.

    Within a run a piece rests on the pieces whose top is at most `BED` below its underside and whose stations overlap its own.
    At a corner it rests on pieces of the other run too, where both lie in the square in which the runs cross; and a run of an
    upper storey rests on the runs below it, by plan.

    Parameters
    ----------
    work : Work
        Pieces in the order run, course, start.

    Returns
    -------
    below, above : ndarray of int64, shape (pairs,)
        Row numbers of pieces.
    """
    storeys = np.array(list(_storeys(work)), np.int64).reshape(-1, 2)
    parts = [_own(work.pieces), _crossed(work), (storeys[:, 0], storeys[:, 1])]
    return np.concatenate([p[0] for p in parts]), np.concatenate([p[1] for p in parts])


def _own(pieces: Pieces) -> tuple[Rows, Rows]:
    """Pairs within runs: bottoms and tops are matched as levels, stations by binary search in all rows at once."""
    if not len(pieces):
        return np.zeros(0, np.int64), np.zeros(0, np.int64)
    # Levels of all runs on one axis, runs far apart, so that one search serves all.
    floor = int(pieces.bottom.min())
    tall = int(pieces.top.max()) - floor + 2 * BED + 1
    shift = pieces.run.astype(np.int64) * tall + (BED - floor)
    tops, lower = _levels(shift + pieces.top)
    bottoms, upper = _levels(shift + pieces.bottom)
    # For each underside, the tops from BED below it up to itself.
    first = np.searchsorted(tops, bottoms - BED, side="left")
    last = np.searchsorted(tops, bottoms, side="right")
    who, level = _ranges(first[upper], last[upper])
    base = int(pieces.start.min())
    span = int(pieces.end.max()) - base + 1
    order = np.lexsort((pieces.start, lower))
    starts = lower[order] * span + (pieces.start[order] - base)
    ends = lower[order] * span + (pieces.end[order] - base)
    lo = np.searchsorted(ends, level * span + (pieces.start[who] - base), side="right")
    hi = np.searchsorted(starts, level * span + (pieces.end[who] - base), side="left")
    pair, at = _ranges(lo, np.maximum(lo, hi))
    below, above = order[at], who[pair]
    keep = below != above
    return below[keep].astype(np.int64), above[keep].astype(np.int64)


def _levels(values: Rows) -> tuple[Rows, Rows]:
    levels, which = np.unique(values, return_inverse=True)
    return levels, which.astype(np.int64)


def _ranges(lo: Rows, hi: Rows) -> tuple[Rows, Rows]:
    """Spell out ranges: which range, and each number in it."""
    size = hi - lo
    which = np.repeat(np.arange(len(lo), dtype=np.int64), size)
    offset = np.arange(len(which), dtype=np.int64) - np.repeat(np.cumsum(size) - size, size)
    return which, lo[which] + offset


def _crossed(work: Work) -> tuple[Rows, Rows]:
    """Pairs at corners: pieces of two runs that both reach into the square in which the runs cross; all corners in one search."""
    pieces = work.pieces
    index = {name: i for i, name in enumerate(pieces.runs)}
    corners: dict[str, int] = {}
    met = [
        (corners.setdefault(j.corner, len(corners)), index[name], j.station, _half(j))
        for name in sorted(work.runs)
        if name in index
        for j in work.runs[name].junctions
        if j.other
    ]
    if not met or not len(pieces):
        return np.zeros(0, np.int64), np.zeros(0, np.int64)
    corner, run, station, half = np.array(met, np.int64).T
    bounds = np.searchsorted(pieces.run, np.arange(len(pieces.runs) + 1))
    which, row = _ranges(bounds[run], bounds[run + 1])
    near = (pieces.start[row] < (station + half)[which]) & (pieces.end[row] > (station - half)[which])
    which, row = which[near], row[near]
    # Levels of all corners on one axis, corners far apart.
    floor = int(pieces.bottom.min())
    tall = int(pieces.top.max()) - floor + 2 * BED + 1
    shift = corner[which] * tall + (BED - floor)
    tops = shift + pieces.top[row]
    order = np.argsort(tops, kind="stable")
    bottoms = shift + pieces.bottom[row]
    first = np.searchsorted(tops[order], bottoms - BED, side="left")
    last = np.searchsorted(tops[order], bottoms, side="right")
    over, at = _ranges(first, last)
    under = order[at]
    keep = run[which[under]] != run[which[over]]
    return row[under[keep]], row[over[keep]]


def _storeys(work: Work) -> Iterator[tuple[int, int]]:
    """Pairs where one run stands on another: runs that share no corner, one over the other in plan."""
    pieces = work.pieces
    bounds = np.searchsorted(pieces.run, np.arange(len(pieces.runs) + 1))
    rows = [np.arange(bounds[k], bounds[k + 1]) for k in range(len(pieces.runs))]
    runs = [work.runs[name] for name in pieces.runs]
    live = [k for k in range(len(runs)) if len(rows[k])]
    if len({runs[k].bottom for k in live}) < 2:
        return
    strips = [_strip(runs[k], int(pieces.start[rows[k]].min()), int(pieces.end[rows[k]].max())) for k in live]
    pairs = shapely.STRtree(strips).query(strips, predicate="intersects")
    corners = {r.name: {j.corner for j in r.junctions} for r in runs}
    for i, j in sorted(zip(*pairs.tolist(), strict=True)):
        low, high = live[i], live[j]
        if low == high or runs[low].bottom >= runs[high].bottom or corners[runs[low].name] & corners[runs[high].name]:
            continue
        under, over = rows[low], rows[high]
        highest, lowest = int(pieces.top[under].max()), int(pieces.bottom[over].min())
        under = under[pieces.top[under] >= lowest - BED]
        over = over[pieces.bottom[over] <= highest + BED]
        if not len(under) or not len(over):
            continue
        shapes = [_strip(runs[low], int(a), int(b)) for a, b in zip(pieces.start[under], pieces.end[under], strict=True)]
        tree = shapely.STRtree(shapes)
        asked = [_strip(runs[high], int(a), int(b)) for a, b in zip(pieces.start[over], pieces.end[over], strict=True)]
        upper, lower = tree.query(asked, predicate="intersects")
        gap = pieces.bottom[over[upper]] - pieces.top[under[lower]]
        keep = (gap >= 0) & (gap <= BED)
        yield from sorted(zip(under[lower][keep].tolist(), over[upper][keep].tolist(), strict=True))


def _strip(run: Run, start: Nm, end: Nm) -> shapely.Polygon:
    """Return a stretch of a run in plan, millimetres."""
    half = run.thickness // 2
    return shapely.Polygon(
        [(x / MM, y / MM) for x, y in (run.at(start, -half), run.at(end, -half), run.at(end, half), run.at(start, half))]
    )


def _half(junction: Junction) -> Nm:
    """Half the length, on this run, in which the other crosses it."""
    return max(junction.thickness // 2, 1)

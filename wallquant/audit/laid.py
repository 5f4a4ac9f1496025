"""What is laid in the elevation of each run: pieces, upright joints, beds and the levelling bed, as areas over stations.

Each strip of area is even over its stations, so that it can be divided between walls at a station.  How it is counted:

- an upright joint between two pieces of the run, or between its piece and a piece of another run against which it butts
  (for two runs in one line, in the run that stands first in runs.csv), over the levels that both have; one in a plane askew to
  the run by its length on the centre line, at a mitre by halves;
- a bed under each underside, wherever a level top lies below it within the range of beds; upright joints carry it on.
  It belongs to the run of the piece above, also where a piece of another run lies below;
- a movement joint of items.csv that is wider than a head joint, over the levels at which pieces stand on both sides of it, beds
  crossed, down to the run's bottom where course 1 stands beside it;
- the levelling bed from the run's bottom to the undersides of course 1 (or of strips below it) that have nothing below them.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely

from wallquant.audit.cells import Floats
from wallquant.audit.elevation import Elevation
from wallquant.audit.mitres import askew_joints
from wallquant.audit.neighbours import THIN
from wallquant.audit.read import MM, Plan

Spans = list[tuple[float, float]]
SNAP_MM = 0.003
"""Stations are rounded to less than this, so a joint between two runs that are askew to each other may be so much wider or narrower."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Laid:
    """What is laid in one run.

    Attributes
    ----------
    strips : array (n, 3)
        Start, end (mm) and height (mm).
    shapes : tuple
        Raked pieces, as polygons of station and level.
    doubt : float
        mm2 of mortar under slopes, in the joints of raked pieces, that may be counted or not.
    """

    strips: Floats
    shapes: tuple[Any, ...]
    doubt: float

    def area(self, low: float, high: float) -> float:
        """Return the mm2 between two stations."""
        wide = np.clip(np.minimum(self.strips[:, 1], high) - np.maximum(self.strips[:, 0], low), 0.0, None)
        total = float(wide @ self.strips[:, 2])
        for shape in self.shapes:
            x0, _, x1, _ = shape.bounds
            if x0 >= low and x1 <= high:
                total += shape.area
            elif x1 > low and x0 < high:
                total += shapely.clip_by_rect(shape, low, -1e12, high, 1e12).area
        return total


def laid(plan: Plan, view: Elevation) -> tuple[Laid, ...]:
    """Return what is laid in each run, in the order of runs.csv."""
    p = plan.pieces
    count = len(plan.runs.name)
    strips: list[list[Floats]] = [[] for _ in range(count)]
    raked = np.zeros(p.count, dtype=bool)
    raked[sorted(p.elevation)] = True
    doubt: dict[int, float] = defaultdict(float)
    box = np.column_stack([view.start, view.end, view.top - view.bottom])[: p.count]
    order = np.argsort(p.run, kind="stable")
    order = order[~raked[order]]
    edges = np.searchsorted(p.run[order], np.arange(count + 1))
    for run in range(count):
        strips[run].append(box[order[edges[run] : edges[run + 1]]])
    for run, rows in _upright(view).items():
        strips[run].append(np.array(rows))
    for run, rows in _beds(plan, view).items():
        strips[run].append(np.array(rows))
    for run, rows in _movement(plan, view).items():
        strips[run].append(np.array(rows))
    for run, rows in askew_joints(plan).items():
        strips[run].append(np.array(rows))
        doubt[run] += SNAP_MM * sum(height for _, _, height in rows)
    shapes: dict[int, list[Any]] = defaultdict(list)
    for row, shape in sorted(p.elevation.items()):
        if row in p.plan:  # a bevelled one counts to where its ends cross the centre line; under a slope that is not all of it
            whole, low, high = p.volume[row] / p.thickness[row] * 1e9, float(view.start[row]), float(view.end[row])
            shape = shapely.clip_by_rect(shape, low, -1e12, high, 1e12)
            doubt[int(p.run[row])] += abs(whole - shape.area)
        shapes[int(p.run[row])].append(shape)
        doubt[int(p.run[row])] += _doubt(plan, shape)
    return tuple(Laid(strips=np.concatenate(strips[run]), shapes=tuple(shapes[run]), doubt=doubt[run]) for run in range(count))


def _doubt(plan: Plan, shape: Any) -> float:
    sides = np.abs(np.diff(shapely.get_coordinates(shape), axis=0))
    steep = sides[(sides[:, 0] > MM) & (sides[:, 1] > MM)]
    bed, head = plan.header.bed.most, plan.header.head.most
    return float((bed * bed * steep[:, 0] / steep[:, 1] + head * head * steep[:, 1] / steep[:, 0]).sum())


def _upright(view: Elevation) -> dict[int, list[tuple[float, float, float]]]:
    """Upright joints as strips; a butt against several pieces of another run is one joint over the levels that they share with it."""
    j = view.joints
    foreign = np.where(view.own[j.left], j.right, j.left)
    counted = ~view.in_line[foreign] | view.own[foreign] | (view.run[j.left] < view.run[view.piece[foreign]])
    use = np.flatnonzero(counted & (j.gap > 0))
    levels: dict[tuple[int, int, int], Spans] = defaultdict(list)
    data = zip(
        view.run[j.left[use]].tolist(),
        view.end[j.left[use]].tolist(),
        view.start[j.right[use]].tolist(),
        j.low[use].tolist(),
        j.high[use].tolist(),
        strict=True,
    )
    for run, start, end, low, high in data:
        levels[run, _nano(start), _nano(end)].append((low, high))
    rows: dict[int, list[tuple[float, float, float]]] = defaultdict(list)
    for (run, start, end), spans in levels.items():
        rows[run].extend((start / 1e6, end / 1e6, high - low) for low, high in _closed(spans, 0.0))
    return rows


def _movement(plan: Plan, view: Elevation) -> dict[int, list[tuple[float, float, float]]]:
    """Movement joints as strips."""
    i, head, bed = plan.items, plan.header.head.most, plan.header.bed.most
    index = {name: at for at, name in enumerate(plan.runs.name)}
    rows: dict[int, list[tuple[float, float, float]]] = defaultdict(list)
    stations = zip(i.numbers("start_mm", blank=np.nan).tolist(), i.numbers("end_mm", blank=np.nan).tolist(), strict=True)
    for kind, name, (start, end) in zip(i.texts("kind"), i.texts("run"), stations, strict=True):
        if kind != "movement joint" or name not in index or not end - start > head + MM:
            continue
        run = index[name]
        own = np.flatnonzero(view.own & (view.run == run))
        left = [(float(view.right[at, 0]), float(view.right[at, 1])) for at in own[np.abs(view.end[own] - start) <= MM].tolist()]
        right = [(float(view.left[at, 0]), float(view.left[at, 1])) for at in own[np.abs(view.start[own] - end) <= MM].tolist()]
        first = plan.pieces.bottom[(plan.pieces.run == run) & (plan.pieces.course <= 1)].min(initial=np.inf)
        for low, high in _common(_closed(left, bed), _closed(right, bed)):
            foot = float(plan.runs.bottom[run]) if low <= first + MM else low
            rows[run].append((start, end, high - foot))
    return rows


def _nano(level: float) -> int:
    return round(level * 1e6)


def _beds(plan: Plan, view: Elevation) -> dict[int, list[tuple[float, float, float]]]:
    p = plan.pieces
    under: dict[tuple[int, int], Spans] = defaultdict(list)
    first = {(run, _nano(z)) for run, z, course in zip(p.run.tolist(), p.bottom.tolist(), p.course.tolist(), strict=True) if course <= 1}
    tops: dict[int, dict[int, Spans]] = defaultdict(lambda: defaultdict(list))
    guests: dict[int, list[tuple[float, float, float, float]]] = defaultdict(list)
    columns = (view.run, view.bottom, view.top, view.start, view.end, view.own, view.plain)
    for at, (run, bottom, top, start, end, own, plain) in enumerate(zip(*(column.tolist() for column in columns), strict=True)):
        if not plain:
            continue
        if own:
            under[run, _nano(bottom)].append((float(view.under[at, 0]), float(view.under[at, 1])))
        else:
            guests[run].append((bottom, top, start, end))
        tops[run][_nano(top)].append((float(view.flat[at, 0]), float(view.flat[at, 1])))
    most, head = plan.header.bed.most, plan.header.head.most
    levels = {run: np.array(sorted(found)) for run, found in tops.items()}
    rows: dict[int, list[tuple[float, float, float]]] = defaultdict(list)
    for (run, level), spans in sorted(under.items()):
        here = [(start, end) for bottom, top, start, end in guests[run] if bottom <= level / 1e6 + THIN < top]
        line = _without(_closed(spans + here, head), here)
        line = [(start, end) for start, end in line if any(a < end and b > start for a, b in spans)]  # not between two guests
        bottom = float(plan.runs.bottom[run])
        found = levels[run]
        for below in found[np.searchsorted(found, level - _nano(most) - 1) : np.searchsorted(found, level)].tolist():
            common = _common(line, _closed(tops[run][below], head))
            rows[run].extend((start, end, (level - below) / 1e6) for start, end in common)
            line = _without(line, common)
        gap = level / 1e6 - bottom
        if (run, level) in first and gap > 0:
            rows[run].extend((start, end, gap) for start, end in line)
    return rows


def _closed(spans: Spans, head: float) -> Spans:
    """Union of spans, with gaps no wider than a joint filled."""
    found: Spans = []
    for start, end in sorted(spans):
        if found and start - found[-1][1] <= head + MM:
            found[-1] = (found[-1][0], max(end, found[-1][1]))
        elif end > start:
            found.append((start, end))
    return found


def _common(one: Spans, other: Spans) -> Spans:
    found, at = [], 0
    for start, end in one:
        while at < len(other) and other[at][1] <= start:
            at += 1
        along = at
        while along < len(other) and other[along][0] < end:
            found.append((max(start, other[along][0]), min(end, other[along][1])))
            along += 1
    return found


def _without(one: Spans, other: Spans) -> Spans:
    found = []
    rest = sorted(other)
    for start, end in one:
        at = start
        for low, high in rest:
            if low >= end:
                break
            if high > at:
                if low > at:
                    found.append((at, low))
                at = high
        if at < end:
            found.append((at, end))
    return found

"""Every run seen from its side: its own pieces and those of other runs that come into its band, with what lies between.

One search tree serves all runs: each run is moved to a place of its own on the axis of stations.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely

from wallquant.audit.cells import Floats, Ints
from wallquant.audit.neighbours import THIN, footprint, neighbours
from wallquant.audit.read import MM, Plan


@dataclass(frozen=True, kw_only=True, slots=True)
class Joints:
    """Upright joints between members `left` and `right`: gap in mm, from level `low` to `high`."""

    left: Ints
    right: Ints
    gap: Floats
    low: Floats
    high: Floats


@dataclass(frozen=True, kw_only=True, slots=True)
class Rests:
    """Members `upper` (own) on members `lower`: bed in mm, over the stations `start` to `end`."""

    upper: Ints
    lower: Ints
    bed: Floats
    start: Floats
    end: Floats


@dataclass(frozen=True, kw_only=True, slots=True)
class Elevation:
    """Members of all elevations: first every piece in its own run, then the pieces of other runs in a run's band.

    Attributes
    ----------
    run, piece : array (n,)
        The run in whose elevation the member stands; the row of pieces.csv.
    own : array (n,) of bool
        Whether the piece belongs to this run.
    start, end, bottom, top : array (n,)
        Box in stations and levels, mm; bevelled pieces by their centre line.
    left, right : array (n, 2)
        Levels of the upright edges.
    under, flat : array (n, 2)
        Stations of the underside and of the level top.
    share : array (n,)
        Part of the band's thickness that it takes.
    plain : array (n,) of bool
        False for members that stand askew to the run or are bevelled there.
    in_line : array (n,) of bool
        True for members of a parallel run.
    joints, rests, clashes
        What lies between members; `clashes` are pairs of piece rows that take the same space.
    """

    run: Ints
    piece: Ints
    own: Any
    start: Floats
    end: Floats
    bottom: Floats
    top: Floats
    left: Floats
    right: Floats
    under: Floats
    flat: Floats
    share: Floats
    plain: Any
    in_line: Any
    joints: Joints
    rests: Rests
    clashes: tuple[tuple[int, int], ...]


def elevation(plan: Plan) -> Elevation:
    """Build the elevations of a plan."""
    p = plan.pieces
    reach = max([plan.header.head.most, *(unit.length for unit in plan.header.units)])
    near = neighbours(plan, reach=reach)
    run, piece = np.concatenate([p.run, near.run]), np.concatenate([np.arange(p.count), near.piece])
    own = np.arange(run.size) < p.count
    start, end = np.concatenate([p.start, near.start]), np.concatenate([p.end, near.end])
    bottom, top = p.bottom[piece], p.top[piece]
    left, right = np.column_stack([bottom, top]), np.column_stack([bottom, top])
    for row, shape in sorted(p.plan.items()):
        middle = shapely.get_coordinates(shape.intersection(shapely.LineString([(start[row] - 1e4, 0), (end[row] + 1e4, 0)])))
        if len(middle) >= 2:
            start[row], end[row] = middle[:, 0].min(), middle[:, 0].max()
    under, flat = np.column_stack([start, end]), np.column_stack([start, end])
    left[p.count :, 1], right[p.count :, 1], flat[p.count :] = near.left, near.right, near.flat
    top[p.count :] = np.where(near.in_line, top[p.count :], near.left)
    for row, shape in sorted(p.elevation.items()):
        left[row], right[row], under[row], flat[row] = _edges(shape, p.start[row], p.end[row], bottom[row], top[row])
        if row in p.plan:
            under[row], flat[row] = np.clip(under[row], start[row], end[row]), np.clip(flat[row], start[row], end[row])
    plain = np.concatenate([np.ones(p.count, dtype=bool), near.square])
    share = np.concatenate([np.ones(p.count), near.share])
    in_line = np.concatenate([np.zeros(p.count, dtype=bool), near.in_line])
    away = float(end.max() - start.min()) + 2 * reach + 1e4 if run.size else 0.0
    shift = run * away
    return Elevation(
        run=run,
        piece=piece,
        own=own,
        start=start,
        end=end,
        bottom=bottom,
        top=top,
        left=left,
        right=right,
        under=under,
        flat=flat,
        share=share,
        plain=plain,
        in_line=in_line,
        joints=_joints(plan, own, plain, start, end, left, right, shift),
        rests=_rests(plan, own, plain, bottom, top, under, flat, shift),
        clashes=_clashes(plan, own, plain, piece, np.column_stack([start, end]), np.column_stack([bottom, top]), shift),
    )


def _edges(shape: Any, start: float, end: float, bottom: float, top: float) -> tuple[Any, Any, Any, Any]:
    """Upright edges at both ends, underside and level top of a polygon; a point counts as an edge without length."""
    ring = shapely.get_coordinates(shape)

    def span(axis: int, value: float) -> tuple[float, float]:
        on = ring[np.abs(ring[:, axis] - value) <= MM][:, 1 - axis]
        return (float(on.min()), float(on.max())) if on.size else (0.0, 0.0)

    return span(0, start), span(0, end), span(1, bottom), span(1, top)


def _joints(plan: Plan, own: Any, plain: Any, start: Floats, end: Floats, left: Floats, right: Floats, shift: Floats) -> Joints:
    most = plan.header.head.most
    lead, follow = np.flatnonzero(plain & (right[:, 1] > right[:, 0])), np.flatnonzero(plain & (left[:, 1] > left[:, 0]))
    edges = shapely.box(start[follow] + shift[follow], left[follow, 0], start[follow] + shift[follow], left[follow, 1])
    slots = shapely.box(
        end[lead] + shift[lead] - THIN,
        right[lead, 0] + THIN,
        end[lead] + shift[lead] + most + THIN,
        np.maximum(right[lead, 1] - THIN, right[lead, 0] + THIN),
    )
    one, other = shapely.STRtree(edges).query(slots)
    a, b = lead[one], follow[other]
    gap = start[b] - end[a]
    low, high = np.maximum(right[a, 0], left[b, 0]), np.minimum(right[a, 1], left[b, 1])
    keep = (own[a] | own[b]) & (gap >= -THIN) & (gap <= most + MM) & (high - low > THIN)
    order = np.lexsort((b[keep], a[keep]))
    return Joints(left=a[keep][order], right=b[keep][order], gap=gap[keep][order], low=low[keep][order], high=high[keep][order])


def _rests(plan: Plan, own: Any, plain: Any, bottom: Floats, top: Floats, under: Floats, flat: Floats, shift: Floats) -> Rests:
    most = plan.header.bed.most
    above, below = np.flatnonzero(own & (under[:, 1] > under[:, 0])), np.flatnonzero(plain & (flat[:, 1] > flat[:, 0]))
    tops = shapely.box(flat[below, 0] + shift[below], top[below], flat[below, 1] + shift[below], top[below])
    beds = shapely.box(under[above, 0] + shift[above], bottom[above] - most - THIN, under[above, 1] + shift[above], bottom[above] + THIN)
    one, other = shapely.STRtree(tops).query(beds)
    a, b = above[one], below[other]
    bed = bottom[a] - top[b]
    start, end = np.maximum(under[a, 0], flat[b, 0]), np.minimum(under[a, 1], flat[b, 1])
    keep = (a != b) & (bed >= -THIN) & (bed <= most + MM) & (end - start > THIN)
    order = np.lexsort((b[keep], a[keep]))
    return Rests(upper=a[keep][order], lower=b[keep][order], bed=bed[keep][order], start=start[keep][order], end=end[keep][order])


def _clashes(plan: Plan, own: Any, plain: Any, piece: Ints, station: Floats, level: Floats, shift: Floats) -> tuple[tuple[int, int], ...]:
    boxes = shapely.box(station[:, 0] + shift + THIN / 2, level[:, 0] + THIN / 2, station[:, 1] + shift - THIN / 2, level[:, 1] - THIN / 2)
    rows = np.flatnonzero(own)
    one, other = shapely.STRtree(boxes).query(boxes[rows])
    a, b = rows[one], other
    keep = (a < b) | ~own[b]
    found = set()
    for i, j in zip(a[keep].tolist(), b[keep].tolist(), strict=True):
        first, second = int(piece[i]), int(piece[j])
        if (i != j) and first != second and _meet(plan, first, second, bool(own[j]), bool(plain[j]), station[j]):
            found.add((min(first, second), max(first, second)))
    return tuple(sorted(found))


def _meet(plan: Plan, first: int, second: int, same_run: bool, plain: bool, station: Floats) -> bool:
    """Whether two pieces whose boxes overlap take the same space, by their true shapes."""
    p = plan.pieces
    if not same_run and (not plain or first in p.plan):
        return bool(footprint(plan, first).intersection(footprint(plan, second)).area > 1.0)
    if same_run and first in p.plan and second in p.plan:
        return bool(p.plan[first].intersection(p.plan[second]).area > 1.0)
    if first not in p.elevation and (not same_run or second not in p.elevation):
        return True

    def side(row: int, s0: float, s1: float) -> Any:
        return p.elevation[row] if row in p.elevation and p.run[row] == p.run[first] else shapely.box(s0, p.bottom[row], s1, p.top[row])

    return bool(side(first, p.start[first], p.end[first]).intersection(side(second, float(station[0]), float(station[1]))).area > 1.0)

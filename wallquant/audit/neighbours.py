"""Which pieces of other runs come into the band of a run, seen on that run's stations.

The *band* of a run is its thickness, drawn out along its centre line.  Where runs meet, pieces of the one lie in the band
of the other: they bear, they close a course, and a piece may butt against them.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely

from wallquant.audit.cells import Floats, Ints
from wallquant.audit.read import MM, Plan

THIN = 0.01
"""Overlaps of less than this are rounding, mm."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Neighbours:
    """Pieces in the bands of other runs.

    Attributes
    ----------
    run : array (n,)
        The run whose band it is.
    piece : array (n,)
        The piece of another run.
    start, end : array (n,)
        Stations of that run, mm.
    share : array (n,)
        Part of the band's thickness that the piece takes, 0 to 1; of a raked piece across the band, that its level top takes.
    square : array (n,) of bool
        Whether the runs are square to each other or in line, and the piece has a plain footprint.
    in_line : array (n,) of bool
        Whether the runs are parallel.
    left, right : array (n,)
        Tops of the upright sides, mm: of a raked piece as high as it stands there, or within the band.
    flat : array (n, 2)
        Stations of the level top; equal where a raked piece has none within the band.
    """

    run: Ints
    piece: Ints
    start: Floats
    end: Floats
    share: Floats
    square: Any
    in_line: Any
    left: Floats
    right: Floats
    flat: Floats


def by_run(plan: Plan) -> tuple[Ints, ...]:
    """Return the rows of each run's pieces, in the order of the file."""
    order = np.argsort(plan.pieces.run, kind="stable")
    edges = np.searchsorted(plan.pieces.run[order], np.arange(len(plan.runs.name) + 1))
    return tuple(order[edges[at] : edges[at + 1]] for at in range(len(plan.runs.name)))


def footprint(plan: Plan, piece: int) -> Any:
    """Return the outline of a piece in plan, from its own place and, where it has one, its plan shape."""
    p = plan.pieces
    if piece in p.plan:
        shape = shapely.get_coordinates(p.plan[piece]) - [p.start[piece], 0.0]
    else:
        length, half = p.end[piece] - p.start[piece], p.thickness[piece] / 2
        shape = np.array([[0.0, -half], [length, -half], [length, half], [0.0, half]])
    angle = np.radians(p.angle[piece])
    cos, sin = np.cos(angle), np.sin(angle)
    x = p.x[piece] + shape[:, 0] * cos - shape[:, 1] * sin
    y = p.y[piece] + shape[:, 0] * sin + shape[:, 1] * cos
    return shapely.Polygon(np.column_stack([x, y]))


def neighbours(plan: Plan, *, reach: float) -> Neighbours:
    """Find the pieces that come into the band of another run, or lie ahead of its ends by no more than `reach` mm."""
    groups = by_run(plan)
    parts = [part for a, b in _meeting(plan, groups, reach) if (part := _into(plan, a, groups[a], groups[b], reach)) is not None]

    def column(at: int, kind: Any) -> Any:
        return np.concatenate([part[at] for part in parts]).astype(kind) if parts else np.zeros(0, dtype=kind)

    return Neighbours(
        run=column(0, np.int64),
        piece=column(1, np.int64),
        start=column(2, np.float64),
        end=column(3, np.float64),
        share=column(4, np.float64),
        square=column(5, np.bool_),
        in_line=column(6, np.bool_),
        left=column(7, np.float64),
        right=column(8, np.float64),
        flat=np.concatenate([part[9] for part in parts]) if parts else np.zeros((0, 2)),
    )


def _meeting(plan: Plan, groups: tuple[Ints, ...], reach: float) -> list[tuple[int, int]]:
    """Pairs of runs (a, b) where b comes near the band of a, in plan and in level."""
    p, r = plan.pieces, plan.runs
    used = [at for at, rows in enumerate(groups) if rows.size]
    if not used:
        return []
    low = np.array([p.start[groups[at]].min() for at in used])
    high = np.array([p.end[groups[at]].max() for at in used])
    floor = np.array([p.bottom[groups[at]].min() for at in used]) - plan.header.bed.most - 1.0
    ceiling = np.array([p.top[groups[at]].max() for at in used]) + plan.header.bed.most + 1.0
    angle = np.radians(r.angle[used])
    half = r.thickness[used] / 2

    def bands(ahead: float) -> Any:
        corners = []
        for s, o in ((low - ahead, -half), (high + ahead, -half), (high + ahead, half), (low - ahead, half)):
            corners.append([r.x[used] + s * np.cos(angle) - o * np.sin(angle), r.y[used] + s * np.sin(angle) + o * np.cos(angle)])
        return shapely.polygons(np.moveaxis(np.array(corners), 2, 0))

    plain = bands(50.0)
    one, other = shapely.STRtree(plain).query(bands(reach), predicate="intersects")
    near = (one != other) & (floor[one] < ceiling[other]) & (floor[other] < ceiling[one])
    return [(used[a], used[b]) for a, b in zip(one[near].tolist(), other[near].tolist(), strict=True)]


def _into(plan: Plan, a: int, own: Ints, rows: Ints, reach: float) -> tuple[Any, ...] | None:
    p, r = plan.pieces, plan.runs
    turn = np.radians(r.angle[a])
    along, across = np.array([np.cos(turn), np.sin(turn)]), np.array([-np.sin(turn), np.cos(turn)])
    at = np.column_stack([p.x[rows] - r.x[a], p.y[rows] - r.y[a]])
    swing = np.radians(p.angle[rows] - r.angle[a])
    cos, sin = np.cos(swing), np.sin(swing)
    cos, sin = np.where(np.abs(cos) < 1e-7, 0.0, cos), np.where(np.abs(sin) < 1e-7, 0.0, sin)
    length, half = p.end[rows] - p.start[rows], p.thickness[rows] / 2
    s = np.array([at @ along + u * cos - v * sin for u in (0.0, length) for v in (-half, half)])
    o = np.array([at @ across + u * sin + v * cos for u in (0.0, length) for v in (-half, half)])
    wide = r.thickness[a] / 2
    taken = np.minimum(o.max(axis=0), wide) - np.maximum(o.min(axis=0), -wide)
    s0, s1 = s.min(axis=0), s.max(axis=0)
    level = (p.bottom[rows] < p.top[own].max() + plan.header.bed.most + 1.0) & (
        p.top[rows] > p.bottom[own].min() - plan.header.bed.most - 1.0
    )
    keep = (taken > THIN) & (s1 > p.start[own].min() - reach) & (s0 < p.end[own].max() + reach) & level
    if not keep.any():
        return None
    bevelled = np.array([row in p.plan for row in rows.tolist()]) if p.plan else np.zeros(rows.size, dtype=bool)
    square = ((sin == 0) | (cos == 0)) & ~bevelled
    frame = np.full(int(keep.sum()), a, dtype=np.int64)
    left, right, flat = p.top[rows].copy(), p.top[rows].copy(), np.column_stack([s0, s1])
    for k in np.flatnonzero(keep & square).tolist() if p.elevation else ():
        if (shape := p.elevation.get(int(rows[k]))) is None:
            continue
        if sin[k] == 0:
            left[k], right[k], flat[k] = _from_the_side(shape, float(s0[k]), float(s1[k]), bool(cos[k] < 0))
        else:
            ahead = float(at[k] @ across)
            low, high = sorted(float(p.start[rows[k]] + (edge - ahead) / sin[k]) for edge in (-wide, wide))
            left[k], taken[k] = _within(shape, low, high)
            right[k], flat[k, 1] = left[k], s1[k] if taken[k] > THIN else s0[k]
    return (
        frame, rows[keep], s0[keep], s1[keep], np.minimum(taken[keep] / r.thickness[a], 1.0), square[keep], (sin == 0)[keep],
        left[keep], right[keep], flat[keep],
    )  # fmt: skip


def _from_the_side(shape: Any, start: float, end: float, mirrored: bool) -> tuple[float, float, tuple[float, float]]:
    """Tops of the left and right side of a raked piece that lies between two stations of a parallel run, and its level top."""
    ring = shapely.get_coordinates(shape)
    first, last = ring[:, 0].min(), ring[:, 0].max()
    sides = [float(ring[np.abs(ring[:, 0] - x) <= MM][:, 1].max()) for x in (first, last)]
    level = ring[np.abs(ring[:, 1] - ring[:, 1].max()) <= MM][:, 0] - first
    flat = (start + float(level.min()), start + float(level.max()))
    return (sides[1], sides[0], (end - flat[1] + start, end - flat[0] + start)) if mirrored else (sides[0], sides[1], flat)


def _within(shape: Any, start: float, end: float) -> tuple[float, float]:
    """How high a raked piece stands between two of its stations, and how much of its top is level at that height, mm."""
    part = shapely.clip_by_rect(shape, start, -1e12, end, 1e12)
    if part.is_empty:
        return float(shape.bounds[1]), 0.0
    ring = shapely.get_coordinates(part)
    level = ring[np.abs(ring[:, 1] - ring[:, 1].max()) <= MM][:, 0]
    return float(ring[:, 1].max()), float(level.max() - level.min())

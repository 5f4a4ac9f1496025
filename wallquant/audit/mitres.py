"""Joints in the planes in which ends of runs are cut askew: between the bevelled pieces and the pieces of other runs beyond."""

from __future__ import annotations

from collections import defaultdict
from math import hypot
from typing import Any

import numpy as np
import shapely

from wallquant.audit.neighbours import THIN, footprint
from wallquant.audit.read import Plan

Strip = tuple[float, float, float]
"""Start, end (mm) and height (mm) in elevation."""


def askew_joints(plan: Plan) -> dict[int, list[Strip]]:
    """Return the joints at slanted ends, by run, as strips on its centre line.

    Where the piece beyond is bevelled along the same plane the joint belongs to both by halves, else to the bevelled one.  It is as
    high as both.  Over the beds of the run beyond it goes on.
    """
    p = plan.pieces
    if not p.plan:
        return {}
    shapes: dict[int, Any] = {}
    far = float((p.end - p.start).max() + p.thickness.max())
    tree = shapely.STRtree(shapely.points(p.x, p.y))
    found: dict[int, list[Strip]] = defaultdict(list)
    for at in sorted(p.plan):
        for edge, station, side in _edges(plan, at):
            reach = plan.header.head.most + THIN
            near = [q for q in tree.query(edge.buffer(far + reach)).tolist() if p.run[q] != p.run[at]]
            near = [q for q in sorted(near) if p.bottom[q] < p.top[at] and p.top[q] > p.bottom[at]]
            shapes.update({q: footprint(plan, q) for q in near if q not in shapes})
            near = [q for q in near if any(_along(edge, side, reach) for side in _sides(shapes[q]))]
            if not near:
                continue
            mates = [q for q in near if q in p.plan and any(_along(edge, other, reach) for other, _, _ in _edges(plan, q))]
            gap = min(float(shapely.distance(edge, shapes[q])) for q in mates or near)
            (x0, y0), (x1, y1) = shapely.get_coordinates(edge)
            width = gap * hypot(x1 - x0, y1 - y0) / p.thickness[at] / (2 if mates else 1)
            height = _height(plan, at, station, edge.centroid, mates or near)
            low, high = (station, station + width) if side > 0 else (station - width, station)
            found[int(p.run[at])].append((low, high, height))
    return found


def _edges(plan: Plan, at: int) -> list[tuple[Any, float, int]]:
    """Slanted edges of a bevelled piece in the model's plan, with the station at which each crosses the centre line, and its side."""
    p = plan.pieces
    ring, real = shapely.get_coordinates(p.plan[at]), shapely.get_coordinates(footprint(plan, at))
    middle = float(p.plan[at].centroid.x)
    out = []
    for k in range(len(ring) - 1):
        (s0, o0), (s1, o1) = ring[k], ring[k + 1]
        if abs(s1 - s0) > 1e-6 and abs(o1 - o0) > THIN:
            station = float(s0 + (s1 - s0) * -o0 / (o1 - o0))
            out.append((shapely.LineString([real[k], real[k + 1]]), station, 1 if station > middle else -1))
    return out


def _sides(shape: Any) -> list[Any]:
    points = shapely.get_coordinates(shape)
    return [shapely.LineString(points[k : k + 2]) for k in range(len(points) - 1)]


def _along(edge: Any, other: Any, reach: float) -> bool:
    """Whether two edges are parallel, within reach of each other, and beside each other over more than 1 mm."""
    if shapely.distance(edge, other) > reach:
        return False
    (a, b), (c, d) = shapely.get_coordinates(edge), shapely.get_coordinates(other)
    long, short = float(np.hypot(*(b - a))), float(np.hypot(*(d - c)))
    if long < 1.0 or short < 1.0:
        return False
    along = (b - a) / long
    if abs(along[0] * (d - c)[1] - along[1] * (d - c)[0]) > 1e-4 * short:
        return False
    p, q = sorted((float((c - a) @ along), float((d - a) @ along)))
    return min(q, long) - max(p, 0.0) > 1.0


def _height(plan: Plan, at: int, station: float, middle: Any, others: list[int]) -> float:
    """Height that a piece at its end shares with others, beds between them crossed, mm; of raked ones at the middle of the joint."""
    p, r, bed = plan.pieces, plan.runs, plan.header.bed.most + THIN
    floor, ceiling = _levels(plan, at, station)
    spans = []
    for q in others:
        turn = np.radians(r.angle[p.run[q]])
        beyond = (middle.x - r.x[p.run[q]]) * np.cos(turn) + (middle.y - r.y[p.run[q]]) * np.sin(turn)
        spans.append(_levels(plan, q, float(beyond)))
    total, top = 0.0, -np.inf
    for bottom, upper in sorted(spans):
        low, high = max(bottom, floor), min(upper, ceiling)
        if low - top <= bed:
            low = top
        total += max(0.0, high - max(low, top))
        top = max(top, high)
    return total


def _levels(plan: Plan, at: int, station: float) -> tuple[float, float]:
    """Lowest and highest level of a piece at a station, or at its nearest end."""
    p = plan.pieces
    if at not in p.elevation:
        return float(p.bottom[at]), float(p.top[at])
    within = min(max(station, float(p.start[at]) + THIN), float(p.end[at]) - THIN)
    cut = shapely.get_coordinates(p.elevation[at].intersection(shapely.LineString([(within, -1e7), (within, 1e7)])))
    return (float(cut[:, 1].min()), float(cut[:, 1].max())) if len(cut) else (float(p.bottom[at]), float(p.bottom[at]))

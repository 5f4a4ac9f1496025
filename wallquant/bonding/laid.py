"""What a run takes up in elevation: spans, fixed pieces, head joints, beds, the levelling bed and butt joints, as rectangles.

Stations and levels (relative to the underside) in nanometres.  The rectangles do not overlap, so areas add up.
"""

from __future__ import annotations

from dataclasses import dataclass

from wallquant.bonding.cells import level
from wallquant.bonding.problem import Passes, Problem
from wallquant.bonding.solving import Solved
from wallquant.bonding.span import Interval, Span
from wallquant.units import Nm

Box = tuple[Nm, Nm, Nm, Nm]
"""Start, end, bottom, top."""
Outline = tuple[tuple[Nm, Nm], ...]


@dataclass(frozen=True, kw_only=True, slots=True)
class Region:
    """Boxes, and outlines of raked spans."""

    boxes: tuple[Box, ...]
    outlines: tuple[Outline, ...]


def outline(problem: Problem, start: Nm, end: Nm, bottom: Nm, top: Nm) -> Outline | None:
    """Return the shape of a piece under the run's top, from its lower left corner round, or None where it is a box."""
    profile = problem.top
    inner = [s for s, _ in profile if start < s < end]
    crossing = [
        a + round((b - a) * (z - p) / (q - p))
        for (a, p), (b, q) in zip(profile, profile[1:], strict=False)
        if a < b and p != q
        for z in (bottom, top)
        if min(p, q) < z < max(p, q)
    ]
    stations = sorted({start, end, *inner, *(s for s in crossing if start < s < end)})
    upper: list[tuple[Nm, Nm]] = []
    for s in stations:
        sides = ([level(profile, s, -1)] if s > start else []) + ([level(profile, s, 1)] if s < end else [])
        for z in dict.fromkeys(sides):
            upper.append((s, max(bottom, min(top, z))))
    if all(z == top for _, z in upper):
        return None
    points = [(start, bottom), (end, bottom), *reversed(upper)]
    out: list[tuple[Nm, Nm]] = []
    for p in points:
        if not out or out[-1] != p:
            out.append(p)
    if out[0] == out[-1]:
        out.pop()
    return tuple(_plain(out))


def _plain(points: list[tuple[Nm, Nm]]) -> list[tuple[Nm, Nm]]:
    """Drop points that lie on the straight line between their neighbours."""
    kept: list[tuple[Nm, Nm]] = []
    for k, (x, z) in enumerate(points):
        (a, p), (b, q) = points[k - 1], points[(k + 1) % len(points)]
        if (x - a) * (q - p) != (b - a) * (z - p):
            kept.append((x, z))
    return kept


def area(points: Outline) -> float:
    """Return the area of an outline, square nanometres."""
    return abs(sum(a * q - b * p for (a, p), (b, q) in zip(points, (*points[1:], points[0]), strict=True))) / 2


def region(problem: Problem, solved: Solved, others: tuple[tuple[bool, ...], ...]) -> Region:
    """Return what a run takes up.

    Parameters
    ----------
    problem : Problem
    solved : Solved
    others : tuple of tuple of bool
        For each junction and course: does the other run stand there, where it passes, so that a bed lies on it and a butt joint
        is filled?
    """
    boxes: list[Box] = []
    outlines: list[Outline] = []
    most = problem.how.joint_most
    under: list[tuple[Nm, Nm, Nm]] = []
    tops: dict[Nm, list[Interval]] = {}
    upright: list[Box] = []
    for k, row in enumerate(solved.face.rows, start=1):
        members: list[Box] = []
        for span in row.spans:
            shape = outline(problem, span.lo, span.hi, span.bottom, span.top) if span.raked or _dips(problem, span) else None
            if shape is None:
                boxes.append((span.lo, span.hi, span.bottom, span.top))
                tops.setdefault(span.top, []).append((span.lo, span.hi))
            else:
                outlines.append(shape)
                flat = [s for s, z in shape if z == span.top]
                if len(flat) > 1:
                    tops.setdefault(span.top, []).append((min(flat), max(flat)))
            members.append((span.lo, span.hi, span.bottom, span.top))
            under.append((span.lo, span.hi, span.bottom))
        bottom, top = problem.levels.bottom(k), problem.levels.top(k)
        guests = _guests(problem, solved.passes, k, others)
        for put in solved.face.puts:
            if put.unit and put.bottom < top and put.top > bottom:
                members.append((put.lo, put.hi, put.bottom, put.top))
        members += [(a, b, bottom, top) for a, b in guests]
        tops.setdefault(top, []).extend(guests)
        upright += _between(members, most, {(a, b) for a, b in guests})
    for put in solved.face.puts:
        if put.unit:
            boxes.append((put.lo, put.hi, put.bottom, put.top))
            under.append((put.lo, put.hi, put.bottom))
            tops.setdefault(put.top, []).append((put.lo, put.hi))
    boxes += sorted(set(upright))
    for z in sorted({u[2] for u in under}):
        line = [(a, b) for a, b, at in under if at == z]
        guests = [g for k in range(1, problem.levels.count + 1) if problem.levels.bottom(k) == z for g in _guests(problem, solved.passes, k, others)]
        rest = _without(_closed(line + guests, most), guests)
        for below in sorted((t for t in tops if 0 < z - t <= most), reverse=True):
            common = _common(rest, _closed(tops[below], most))
            boxes += [(a, b, below, z) for a, b in common]
            rest = _without(rest, common)
        if z == problem.levels.bed:
            boxes += [(a, b, 0, z) for a, b in rest]
    return Region(boxes=tuple(b for b in boxes if b[0] < b[1] and b[2] < b[3]), outlines=tuple(outlines))


def _dips(problem: Problem, span: Span) -> bool:
    return any(span.lo < s < span.hi and z < span.top for s, z in problem.top)


def _guests(problem: Problem, passes: Passes, k: int, others: tuple[tuple[bool, ...], ...]) -> list[Interval]:
    """Return where another run passes through this run's line in a course and stands there."""
    out: list[Interval] = []
    for meets, on, there in zip(problem.meets, passes, others, strict=True):
        if meets.half and not on[k - 1] and there[k - 1]:
            out.append((meets.station - meets.half, meets.station + meets.half))
    return out


def _between(members: list[Box], most: Nm, guests: set[Interval]) -> list[Box]:
    """Return the head joints between neighbours of one course, over the height that both have."""
    out: list[Box] = []
    for a in members:
        for b in members:
            gap = b[0] - a[1]
            low, high = max(a[2], b[2]), min(a[3], b[3])
            if 0 < gap <= most and low < high and not ((a[0], a[1]) in guests and (b[0], b[1]) in guests):
                out.append((a[1], b[0], low, high))
    return out


def _closed(spans: list[Interval], most: Nm) -> list[Interval]:
    out: list[Interval] = []
    for a, b in sorted(spans):
        if out and a - out[-1][1] <= most:
            out[-1] = (out[-1][0], max(b, out[-1][1]))
        elif b > a:
            out.append((a, b))
    return out


def _common(one: list[Interval], two: list[Interval]) -> list[Interval]:
    return [(max(a, c), min(b, d)) for a, b in one for c, d in two if max(a, c) < min(b, d)]


def _without(one: list[Interval], two: list[Interval]) -> list[Interval]:
    out: list[Interval] = []
    for a, b in one:
        at = a
        for c, d in sorted(two):
            if c >= b:
                break
            if d > at:
                if c > at:
                    out.append((at, c))
                at = d
        if at < b:
            out.append((at, b))
    return out

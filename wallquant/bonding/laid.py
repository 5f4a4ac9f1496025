"""What a run takes up in elevation: spans, fixed pieces, head joints, beds, the levelling bed and butt joints, as rectangles.

Stations and levels (relative to the underside) in nanometres.  The rectangles do not overlap, so areas add up.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass

from wallquant.bonding.cells import level
from wallquant.bonding.intervals import Interval, joined
from wallquant.bonding.problem import Problem
from wallquant.bonding.solving import Solved
from wallquant.bonding.span import Span
from wallquant.units import Nm

Box = tuple[Nm, Nm, Nm, Nm]
"""Start, end, bottom, top."""
Outline = tuple[tuple[Nm, Nm], ...]
Side = tuple[Nm, Nm, Nm, Nm, Nm]
"""Start, end, bottom, and the tops of the left and the right side."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Guest:
    """A piece of another run in a run's line: its box there, and whether the joint against it belongs to this run.

    Of two runs in one line the joint belongs to the first.  A piece under a slope reaches as high as it does within the run's
    thickness; `left` and `right` are the tops of its two sides, and `flat` the stations of its level top, if it has one.
    """

    box: Box
    joint: bool
    left: Nm = 0
    right: Nm = 0
    flat: Interval | None = None
    plane: Nm = 0
    """Where it lies beyond the plane in which this run's end is cut askew: what the joint between takes of this run's centre line."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Region:
    """Boxes, and outlines of raked spans; `straight` are those of the boxes that are straight joints, without mortar."""

    boxes: tuple[Box, ...]
    outlines: tuple[Outline, ...]
    straight: tuple[Box, ...] = ()


def outline(problem: Problem, start: Nm, end: Nm, bottom: Nm, top: Nm) -> Outline | None:
    """Return the shape of a piece under the run's top, from its lower left corner round, or None where it is a box."""
    profile = problem.top
    if top <= min(z for _, z in profile):
        return None
    inner = [s for s, _ in profile if start < s < end]
    crossing = [
        a + round((b - a) * (z - p) / (q - p))
        for (a, p), (b, q) in itertools.pairwise(profile)
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


def edges(shape: Outline) -> tuple[Nm, Nm, Interval | None]:
    """Return the tops of both upright sides of an outline, and the stations of its level top (None: it comes to a point)."""
    lo, hi, top = min(s for s, _ in shape), max(s for s, _ in shape), max(z for _, z in shape)
    flat = [s for s, z in shape if z == top]
    left, right = (max(z for s, z in shape if s == end) for end in (lo, hi))
    return left, right, (min(flat), max(flat)) if len(flat) > 1 else None


def slopes(problem: Problem, span: Span) -> bool:
    """Say whether the run's top cuts into a span."""
    return span.raked or any(span.lo < s < span.hi and z < span.top for s, z in problem.top)


def area(points: Outline) -> float:
    """Return the area of an outline, square nanometres."""
    return abs(sum(a * q - b * p for (a, p), (b, q) in zip(points, (*points[1:], points[0]), strict=True))) / 2


def region(problem: Problem, solved: Solved, guests: Sequence[Guest]) -> Region:
    """Return what a run takes up.

    Parameters
    ----------
    problem : Problem
    solved : Solved
    guests : sequence of Guest
        Pieces of other runs that lie in this run's line: where they pass at corners, and the storey below.  A bed on them and a
        butt joint against them belong to this run.
    """
    boxes: list[Box] = []
    outlines: list[Outline] = []
    most = problem.how.joint_most
    under: list[tuple[Nm, Nm, Nm]] = []
    tops: dict[Nm, list[Interval]] = {}
    members: list[Side] = []
    for row in solved.face.rows:
        for span in row.spans:
            lo, hi = span.mean
            shape = outline(problem, lo, hi, span.bottom, span.top) if slopes(problem, span) else None
            if shape is None:
                boxes.append((lo, hi, span.bottom, span.top))
                tops.setdefault(span.top, []).append((lo, hi))
                members.append((lo, hi, span.bottom, span.top, span.top))
            else:
                outlines.append(shape)
                left, right, flat = edges(shape)
                if flat:
                    tops.setdefault(max(z for _, z in shape), []).append(flat)
                members.append((min(s for s, _ in shape), max(s for s, _ in shape), span.bottom, left, right))
            under.append((lo, hi, span.bottom))
    for put in solved.face.puts:
        if put.unit:
            box = (put.lo, put.hi, put.bottom, put.top)
            boxes.append(box)
            members.append((*box, put.top))
            under.append(box[:3])
            tops.setdefault(put.top, []).append(box[:2])
    boxes += [box for g in guests if g.plane for box in _in_plane(problem, members, g)]
    guests = [g for g in guests if not g.plane]
    for g in guests:
        if g.flat:
            tops.setdefault(g.box[3], []).append(g.flat)
    boxes += _between(members, guests, most)
    straight = [box for put in solved.face.puts if not put.unit for box in _parting(members, put.lo, put.hi, problem.levels.bed, most)]
    boxes += straight
    for z in sorted({u[2] for u in under}):
        line = [(a, b) for a, b, at in under if at == z]
        here = [(a, b) for a, b, bottom, top in (g.box for g in guests) if bottom <= z < top]
        rest = _without(joined(line + here, most), joined(here, most))  # a joint between two guests is theirs
        for below in sorted((t for t in tops if 0 < z - t <= most), reverse=True):
            common = _common(rest, joined(tops[below], most))
            boxes += [(a, b, below, z) for a, b in common]
            rest = _without(rest, common)
        if z == problem.levels.bed:
            boxes += [(a, b, 0, z) for a, b in rest]
    return Region(boxes=tuple(b for b in boxes if b[0] < b[1] and b[2] < b[3]), outlines=tuple(outlines), straight=tuple(straight))


def _parting(members: Sequence[Side], lo: Nm, hi: Nm, bed: Nm, most: Nm) -> list[Box]:
    """Return a straight joint over the levels at which masonry stands on both sides of it, beds crossed, from the slab up.

    One that is no wider than a head joint is among the head joints.
    """
    if hi - lo <= most:
        return []
    left = joined([(m[2], m[4]) for m in members if m[1] == lo], most)
    right = joined([(m[2], m[3]) for m in members if m[0] == hi], most)
    return [(lo, hi, 0 if p == bed else p, q) for p, q in _common(left, right)]


def _in_plane(problem: Problem, members: Sequence[Side], guest: Guest) -> list[Box]:
    """Return the joint between the pieces at an end that is cut askew and what lies beyond, on the centre line, under the top there."""
    lo, hi, bottom, top = guest.box
    after = [(hi, m[0], m[2], m[3]) for m in members if m[0] == hi + guest.plane]
    before = [(m[1], lo, m[2], m[4]) for m in members if m[1] == lo - guest.plane]
    under = {a: min(level(problem.top, a, 1), level(problem.top, b, -1)) for a, b, _, _ in after + before}
    return [(a, b, max(p, bottom), min(q, top, under[a])) for a, b, p, q in after + before]


def _between(members: Sequence[Side], guests: Sequence[Guest], most: Nm) -> list[Box]:
    """Return the head joints of the run: between its own, and between its own and guests, over the height that both have."""
    out: set[Box] = set()
    every = [(m, True) for m in members] + [((*g.box[:3], g.left, g.right), False) for g in guests if g.joint]
    starts: dict[int, list[tuple[Side, bool]]] = {}
    for one in every:
        starts.setdefault(one[0][0] // (most + 1), []).append(one)
    for a, mine in every:
        for key in (a[1] // (most + 1), a[1] // (most + 1) + 1):
            for b, own in starts.get(key, ()):
                low, high = max(a[2], b[2]), min(a[4], b[3])
                if 0 < b[0] - a[1] <= most and low < high and (mine or own):
                    out.add((a[1], b[0], low, high))
    return sorted(out)


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

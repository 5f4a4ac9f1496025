"""Guests: pieces of other runs that lie in a run's line, at its corners and under it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

import shapely

from wallquant.bonding.asking import Asked
from wallquant.bonding.intervals import Interval
from wallquant.bonding.laid import Box, Guest, edges, outline, slopes
from wallquant.bonding.solving import Solved
from wallquant.layout import Run
from wallquant.units import MM, Nm

SQUARE = 1e-7
"""Runs whose directions are this near to parallel or to a right angle (sine) see each other as boxes; others are no guests."""
THIN: Nm = MM // 100
"""What reaches into a run's line by less than this does not."""


def guests(asked: Mapping[str, Asked], solved: Mapping[str, Solved]) -> dict[str, tuple[Guest, ...]]:
    """Return for each run the boxes that other runs' courses and fixed pieces take in its line: station and relative level."""
    names = list(asked)
    boxes = {name: _boxes(asked[name], solved[name]) for name in names}
    live = [n for n in names if boxes[n]]
    strips = [_strip(asked[n].fitted.run, *_reach(boxes[n]), asked[n].problem.how.joint_most) for n in live]
    heights = [(min(b[2] for b in boxes[n]), max(b[3] for b in boxes[n])) for n in live]
    out: dict[str, list[Guest]] = {n: [] for n in names}
    if len(live) > 1:
        one, two = shapely.STRtree(strips).query(strips, predicate="intersects")
        for i, j in sorted(zip(one.tolist(), two.tolist(), strict=True)):
            if i != j:
                out[live[i]] += _seen(asked[live[i]], asked[live[j]], boxes[live[j]], heights[j], i < j)
    return {n: tuple(sorted(set(out[n]), key=lambda g: (g.box, g.joint))) for n in names}


def _boxes(one: Asked, done: Solved) -> list[Box]:
    """Return what a run's courses and fixed pieces take: spans, and under a slope each piece."""
    out: list[Box] = []
    for row, layout in zip(done.face.rows, done.stack.layouts, strict=True):
        for span in row.spans:
            lo, hi = span.mean
            if slopes(one.problem, span):
                own = [(a, b) for a, b in layout if span.lo <= a and b <= span.hi]
                ends = [(lo if a == span.lo else a, hi if b == span.hi else b) for a, b in own]
                out += [(a, b, span.bottom, span.top) for a, b in ends]
            else:
                out.append((lo, hi, span.bottom, span.top))
    return out + [(p.lo, p.hi, p.bottom, p.top) for p in done.face.puts if p.unit]


def _reach(boxes: list[Box]) -> tuple[Nm, Nm]:
    return min(b[0] for b in boxes), max(b[1] for b in boxes)


def _strip(run: Run, start: Nm, end: Nm, joint: Nm) -> shapely.Polygon:
    start, end = start - joint, end + joint
    half = run.thickness // 2
    points = (run.at(start, -half), run.at(end, -half), run.at(end, half), run.at(start, half))
    return shapely.Polygon([(x / MM, y / MM) for x, y in points])


def _seen(host: Asked, other: Asked, boxes: list[Box], heights: Interval, earlier: bool) -> Iterator[Guest]:
    """Yield the boxes of another run, which lie between two heights, that reach into the host's thickness, as the host sees them."""
    here, there = host.fitted.run, other.fitted.run
    (u, v), (p, q) = here.direction, there.direction
    along, across = u * p + v * q, u * q - v * p
    shift = there.bottom - here.bottom
    x, y = there.start[0] - here.start[0], there.start[1] - here.start[1]
    station, side = x * u + y * v, y * u - x * v
    half, wide = there.thickness // 2, here.thickness // 2
    # a course of room below and above: beds on the wall below count, the rest of it does not
    low, high = -here.unit.height - shift, max(z for _, z in host.problem.top) + here.unit.height - shift
    if heights[1] < low or heights[0] > high:
        return
    for a, b, bottom, top in boxes:
        if top < low or bottom > high:
            continue
        if abs(across) <= SQUARE:
            taken = min(side + half, wide) - max(side - half, -wide)
            if taken > THIN:
                yield _in_line(other, (a, b, bottom, top), station, along, shift, earlier)
        elif abs(along) <= SQUARE:
            right, left = sorted((side + across * a, side + across * b))
            taken = min(left, wide) - max(right, -wide)
            if taken > THIN:
                at = round(station)
                within = sorted(round((edge - side) / across) for edge in (-wide, wide))
                shape = outline(other.problem, max(a, within[0]), min(b, within[1]), bottom, top)
                upper = shift + (max(z for _, z in shape) if shape else top)
                flat = (at - half, at + half) if shape is None or edges(shape)[2] else None
                yield Guest(box=(at - half, at + half, bottom + shift, upper), joint=True, left=upper, right=upper, flat=flat)


def _in_line(other: Asked, box: Box, station: float, along: float, shift: Nm, earlier: bool) -> Guest:
    """Return a piece of a parallel run as the host sees it, its slope from the side."""
    a, b, bottom, top = box
    shape = outline(other.problem, a, b, bottom, top)
    left = right = top
    flat: Interval | None = (a, b)
    if shape:
        a, b = min(s for s, _ in shape), max(s for s, _ in shape)
        top = max(z for _, z in shape)
        left, right, flat = edges(shape)
    if along < 0:
        left, right = right, left
    lo, hi = sorted((round(station + along * a), round(station + along * b)))
    seen = sorted(round(station + along * s) for s in flat) if flat else None
    return Guest(
        box=(lo, hi, bottom + shift, top + shift),
        joint=earlier,
        left=left + shift,
        right=right + shift,
        flat=(seen[0], seen[1]) if seen else None,
    )

"""Guests: pieces of other runs that lie in a run's line, at its corners and under it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

import shapely

from wallquant.bonding.asking import Asked
from wallquant.bonding.cells import level
from wallquant.bonding.laid import Box, Guest
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
    boxes = {name: _boxes(solved[name]) for name in names}
    live = [n for n in names if boxes[n]]
    strips = [_strip(asked[n].fitted.run, *_reach(boxes[n]), asked[n].problem.how.joint_most) for n in live]
    out: dict[str, list[Guest]] = {n: [] for n in names}
    if len(live) > 1:
        one, two = shapely.STRtree(strips).query(strips, predicate="intersects")
        for i, j in sorted(zip(one.tolist(), two.tolist(), strict=True)):
            if i != j:
                out[live[i]] += _seen(asked[live[i]], asked[live[j]], boxes[live[j]], i < j)
    return {n: tuple(sorted(set(out[n]), key=lambda g: (g.box, g.joint))) for n in names}


def _boxes(done: Solved) -> list[Box]:
    own = [(*s.mean, s.bottom, s.top) for row in done.face.rows for s in row.spans]
    return own + [(p.lo, p.hi, p.bottom, p.top) for p in done.face.puts if p.unit]


def _reach(boxes: list[Box]) -> tuple[Nm, Nm]:
    return min(b[0] for b in boxes), max(b[1] for b in boxes)


def _strip(run: Run, start: Nm, end: Nm, joint: Nm) -> shapely.Polygon:
    start, end = start - joint, end + joint
    half = run.thickness // 2
    points = (run.at(start, -half), run.at(end, -half), run.at(end, half), run.at(start, half))
    return shapely.Polygon([(x / MM, y / MM) for x, y in points])


def _seen(host: Asked, other: Asked, boxes: list[Box], earlier: bool) -> Iterator[Guest]:
    """Yield the boxes of another run that reach into the host's thickness, as the host sees them."""
    here, there = host.fitted.run, other.fitted.run
    (u, v), (p, q) = here.direction, there.direction
    along, across = u * p + v * q, u * q - v * p
    shift = there.bottom - here.bottom
    x, y = there.start[0] - here.start[0], there.start[1] - here.start[1]
    station, side = x * u + y * v, y * u - x * v
    half, wide = there.thickness // 2, here.thickness // 2
    # a course of room below and above: beds on the wall below count, the rest of it does not
    low, high = -here.unit.height - shift, max(z for _, z in host.problem.top) + here.unit.height - shift
    for a, b, bottom, top in boxes:
        if top < low or bottom > high:
            continue
        if abs(across) <= SQUARE:
            taken = min(side + half, wide) - max(side - half, -wide)
            if taken > THIN:
                lo, hi = sorted((round(station + along * a), round(station + along * b)))
                upper = _top(other, (a + b) // 2, bottom, top) + shift
                yield Guest(box=(lo, hi, bottom + shift, upper), joint=earlier)
        elif abs(along) <= SQUARE:
            right, left = sorted((side + across * a, side + across * b))
            taken = min(left, wide) - max(right, -wide)
            if taken > THIN:
                at = round(station)
                middle = round((max(right, -wide) + taken / 2 - side) / across)
                upper = _top(other, middle, bottom, top) + shift
                yield Guest(box=(at - half, at + half, bottom + shift, upper), joint=True)


def _top(other: Asked, station: Nm, bottom: Nm, top: Nm) -> Nm:
    return max(bottom, min(top, level(other.problem.top, station, 1), level(other.problem.top, station, -1)))

"""Runs whose bodies lie in each other though no corner joins them: the lesser wall of the two is set aside."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

import numpy as np
import shapely

from wallquant.building import SetAside, Wall
from wallquant.findings import Finding, Place
from wallquant.graph.corners import Node, by_line
from wallquant.graph.lines import Line
from wallquant.graph.merging import Strip, set_aside
from wallquant.units import MM, Nm, mm_text

DEEP: Nm = MM // 10
"""Bodies that reach into each other by no more than this are drawn beside each other: the last digits of a model's floats."""


def overlapping(made: Sequence[Strip], found: Sequence[Node]) -> Iterator[tuple[Wall, SetAside, Finding]]:
    """Yield the walls that cannot be laid because another one takes their place.

    Parameters
    ----------
    made : sequence of Strip
    found : sequence of Node
        Their corners; lines with a common corner keep clear of each other there by its phases.
    """
    if len(made) < 2:
        return
    joined = {(a, b) for node in found for a, _, _ in node.lines for b, _, _ in node.lines}
    bodies = np.array([_body(made, k, there) for k, there in enumerate(_stretches(made, found))])
    one, two = shapely.STRtree(bodies).query(bodies, predicate="intersects")
    gone: set[str] = set()
    for i, j in sorted(zip(one.tolist(), two.tolist(), strict=True)):
        if i >= j or (i, j) in joined or not _share(made[i].line, made[j].line):
            continue
        common = bodies[i].intersection(bodies[j])
        if common.area <= 0:
            continue
        loser, keeper = sorted((_there(made[i], common), _there(made[j], common)), key=lambda w: (w.drawn_m3, w.guid))
        if not gone & {loser.guid, keeper.guid}:
            gone.add(loser.guid)
            yield loser, *_aside(loser, keeper, common)


def _share(one: Line, two: Line) -> bool:
    return min(one.top, two.top) - max(one.bottom, two.bottom) > MM


def _stretches(made: Sequence[Strip], found: Sequence[Node]) -> list[list[tuple[float, float]]]:
    """Return the stations that each line takes: to the far face of a line that it meets, or up to what is taken of it."""
    lined = by_line(found)
    out: list[list[tuple[float, float]]] = []
    for k, strip in enumerate(made):
        lo, hi, gaps = 0.0, strip.line.length, []
        for n, role, at in lined.get(k, []):
            node = found[n]
            half = max(made[other].line.width for other, _, _ in node.lines if other != k) / 2
            taken = node.taken.get(k)
            if k in node.planes:
                lo, hi = (node.planes[k].at, hi) if role == "start" else (lo, node.planes[k].at)
            elif role == "through":
                gaps += [taken] if taken else []
            elif role == "start":
                lo = taken[1] if taken else lo if node.loose else at - half
            else:
                hi = taken[0] if taken else hi if node.loose else at + half
        parts = [(lo, hi)]
        for a, b in sorted(gaps):
            parts = [*parts[:-1], (parts[-1][0], a), (b, parts[-1][1])]
        out.append([(a, b) for a, b in parts if b - a > 2 * DEEP])
    return out


def _body(made: Sequence[Strip], k: int, parts: Sequence[tuple[float, float]]) -> Any:
    """Return what a line takes in plan, millimetres, drawn in by half of `DEEP` on all sides."""
    line, in_by = made[k].line, DEEP / 2
    half = line.width / 2 - in_by
    boxes = []
    for lo, hi in parts:
        (a, b), (c, d) = line.at(lo + in_by), line.at(hi - in_by)
        u, v = line.u * half, line.v * half
        corners = ((a + v, b - u), (c + v, d - u), (c - v, d + u), (a - v, b + u))
        boxes.append(shapely.Polygon([(x / MM, y / MM) for x, y in corners]))
    return shapely.MultiPolygon(boxes)


def _there(strip: Strip, common: Any) -> Wall:
    """Return the wall of a line that lies nearest to a place."""
    at = strip.line.station((common.centroid.x * MM, common.centroid.y * MM))

    def away(wall: Wall) -> tuple[float, str]:
        lo, hi = sorted((strip.line.station(wall.start), strip.line.station(wall.end)))
        return max(lo - at, at - hi, 0.0), wall.guid

    return min(strip.walls, key=away)


def _aside(loser: Wall, keeper: Wall, common: Any) -> tuple[SetAside, Finding]:
    sides = sorted(max(p, q) - min(p, q) for p, q in ((common.bounds[0], common.bounds[2]), (common.bounds[1], common.bounds[3])))
    over = mm_text(round(sides[1]) * MM)
    reason = (
        f"it lies in wall {keeper.name or keeper.guid} over {over} mm and no corner joins them; "
        "draw them apart, or let one end at the other"
    )
    finding = Finding(
        code="graph.overlap",
        severity="warning",
        text=f"Wall {loser.name or loser.guid} is set aside: {reason}.",
        place=Place(wall=loser.guid, storey=loser.storey),
    )
    return set_aside(loser, reason), finding

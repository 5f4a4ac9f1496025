"""Which walls are one line: collinear walls that touch become one; a wall that lies in another one is set aside."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import networkx as nx

from wallquant.building import SetAside, Wall
from wallquant.findings import Finding, Place
from wallquant.graph.lines import PARALLEL, SIDE, Line, beside, line, meet, neighbours, turn
from wallquant.layout import Role
from wallquant.masonry import Unit
from wallquant.units import MM, Nm, to_mm


@dataclass(frozen=True, kw_only=True, slots=True)
class Strip:
    """One line made of walls: its walls in order of the line, and the unit it is laid with."""

    line: Line
    walls: tuple[Wall, ...]
    unit: Unit


def top_of(wall: Wall) -> Nm:
    """Return the highest level of a wall."""
    return max(level for _, level in wall.top)


def set_aside(wall: Wall, reason: str) -> SetAside:
    """Return the record of a wall that was read and is not laid."""
    area = sum((b[0] - a[0]) * (a[1] + b[1] - 2 * wall.bottom) / 2 for a, b in zip(wall.top, wall.top[1:], strict=False)) / 1e18
    area += wall.set_aside_m2
    holes = [(o.end - o.start) * (o.head - o.sill) / 1e18 for o in wall.openings if o.through]
    voids = [hole_m3(wall, k) for k in range(len(wall.openings))]
    return SetAside(
        guid=wall.guid,
        name=wall.name,
        storey=wall.storey,
        reason=reason,
        area_m2=area,
        volume_m3=wall.drawn_m3,
        openings_m2=sum(holes),
        openings_m3=sum(voids) + wall.finish_voids_m3,
        finishes_m3=wall.finishes_m3,
        thickness=wall.thickness,
        footprint=wall.footprint,
        openings=tuple(o.key for o in wall.openings),
        element=wall.element,
    )


def hole_m3(wall: Wall, index: int) -> float:
    """Return the void of one opening within the drawn body, cubic metres."""
    o = wall.openings[index]
    return o.volume_m3 if o.volume_m3 is not None else (o.end - o.start) * (o.head - o.sill) * wall.thickness / 1e27


def strips(walls: Sequence[tuple[Wall, Unit]], join: Nm, stub: Nm) -> tuple[tuple[Strip, ...], tuple[SetAside, ...], tuple[Finding, ...]]:
    """Join collinear walls that touch, or whose gap is just the wall that crosses there, into lines.

    Parameters
    ----------
    walls : sequence of (Wall, Unit)
        Each with the unit that it is laid with.
    join : int
        How far apart ends may be and still meet.
    stub : int
        Below this length a piece cannot be laid.
    """
    lines = [
        line((w.bottom, *min(w.start, w.end), *max(w.start, w.end), w.guid), w.start, w.end, u.thickness, w.bottom, top_of(w), w.cover)
        for w, u in walls
    ]
    order = sorted(range(len(lines)), key=lambda k: lines[k].key)
    walls, lines = [walls[k] for k in order], [lines[k] for k in order]
    pairs = neighbours(lines, join + stub)
    aside, findings = _overlapping(walls, lines, pairs, join)
    gone = set(aside)
    same: nx.Graph[int] = nx.Graph()
    same.add_nodes_from(k for k in range(len(lines)) if k not in gone)
    ends: dict[tuple[int, Role], list[tuple[int, float]]] = {}
    for i, j in pairs:
        if i in gone or j in gone:
            continue
        if turn(lines[i], lines[j]) < PARALLEL:
            if _alike(walls[i], walls[j]):
                lie = beside(lines, i, j)
                if lie.side <= SIDE and lie.gap <= join:
                    same.add_edge(i, j)
        elif met := meet(lines, i, j, join, stub):
            for index in (i, j):
                role, _at, other = met.of(index)
                if role != "through":
                    ends.setdefault((other, role), []).append((index, met.of(other)[1]))
    _across(walls, lines, ends, same, join)
    made = [_strip([walls[k] for k in sorted(group)]) for group in sorted(nx.connected_components(same), key=min)]
    return tuple(made), tuple(aside[k] for k in sorted(aside)), tuple(findings)


def _alike(one: tuple[Wall, Unit], two: tuple[Wall, Unit]) -> bool:
    return one[1] == two[1] and abs(one[0].bottom - two[0].bottom) <= MM


def _across(
    walls: Sequence[tuple[Wall, Unit]],
    lines: Sequence[Line],
    ends: Mapping[tuple[int, Role], Sequence[tuple[int, float]]],
    same: nx.Graph[int],
    join: Nm,
) -> None:
    """Join collinear walls that end at both faces of the same wall: they run through it."""
    by_wall: dict[int, list[tuple[float, int]]] = {}
    for (other, _), there in ends.items():
        by_wall.setdefault(other, []).extend((at, index) for index, at in there)
    for other, found in sorted(by_wall.items()):
        ranked = sorted(set(found))
        for (a, i), (b, j) in ((p, q) for n, p in enumerate(ranked) for q in ranked[n + 1 :]):
            if abs(a - b) > SIDE or i == j or not _alike(walls[i], walls[j]) or turn(lines[i], lines[j]) >= PARALLEL:
                continue
            lie = beside(lines, i, j)
            if lie.side <= SIDE and lie.gap <= lines[other].width + sum(lines[other].cover) + 2 * join:
                same.add_edge(i, j)


def _overlapping(
    walls: Sequence[tuple[Wall, Unit]], lines: Sequence[Line], pairs: Sequence[tuple[int, int]], join: Nm
) -> tuple[dict[int, SetAside], list[Finding]]:
    """Set aside the smaller of two nearly parallel walls whose bodies lie in each other."""
    aside: dict[int, SetAside] = {}
    findings: list[Finding] = []
    for i, j in pairs:
        if i in aside or j in aside or turn(lines[i], lines[j]) >= PARALLEL:
            continue
        lie = beside(lines, i, j)
        inside = (lines[i].width + lines[j].width) / 2 - lie.side
        if inside <= MM or lie.gap > -join:
            continue
        shorter = min(lines[i].length, lines[j].length)
        if lie.side <= SIDE and _alike(walls[i], walls[j]) and -lie.gap < shorter / 2:
            continue  # two walls of one run that overlap a little: they divide at the middle of it
        if -lie.gap <= max(join, lines[i].width / 2, lines[j].width / 2) and -lie.gap < shorter / 2:
            continue  # two walls of other thickness or level end in each other: the lesser one stops at the end of the other
        loser = max((i, j), key=lambda k: (-walls[k][0].drawn_m3, lines[k].key))
        keeper = i + j - loser
        wall, over = walls[loser][0], to_mm(round(min(-lie.gap, shorter)))
        reason = f"it lies in wall {walls[keeper][0].name or walls[keeper][0].guid} over {over:.0f} mm; draw one of them"
        if -lie.gap < lines[loser].length - join:
            long = to_mm(round(lines[loser].length))
            reason = reason.replace(" mm; draw", f" of its {long:.0f} mm, and is not laid at all; let it end there, or draw")
        aside[loser] = set_aside(wall, reason)
        findings.append(
            Finding(
                code="graph.overlap",
                severity="warning",
                text=f"Wall {wall.name or wall.guid} is set aside: {reason}.",
                place=Place(wall=wall.guid, storey=wall.storey),
            )
        )
    return aside, findings


def _strip(group: Sequence[tuple[Wall, Unit]]) -> Strip:
    """Make one line through a group of collinear walls: the direction of the longest, from the first end to the last."""
    longest = max(group, key=lambda g: (g[0].length, g[0].guid))[0]
    guide = line((longest.guid,), longest.start, longest.end, group[0][1].thickness, longest.bottom, 0)
    stations = sorted((guide.station(p), w.guid) for w, _ in group for p in (w.start, w.end))
    first, last = guide.at(stations[0][0]), guide.at(stations[-1][0])
    bottom, top = min(w.bottom for w, _ in group), max(top_of(w) for w, _ in group)
    base = Line(
        key=(bottom, round(first[0]), round(first[1]), round(last[0]), round(last[1]), longest.guid),
        x=first[0], y=first[1], u=guide.u, v=guide.v, length=stations[-1][0] - stations[0][0],
        width=group[0][1].thickness, bottom=bottom, top=top, cover=_cover(guide, [w for w, _ in group]),
    )  # fmt: skip
    ordered = sorted((w for w, _ in group), key=lambda w: (base.station(w.start) + base.station(w.end), w.guid))
    return Strip(line=base, walls=tuple(ordered), unit=group[0][1])


def _cover(guide: Line, walls: Sequence[Wall]) -> tuple[Nm, Nm]:
    """The most that is drawn beside the walls of a line, on its right and left."""
    turned = [w.cover if guide.station(w.start) < guide.station(w.end) else (w.cover[1], w.cover[0]) for w in walls]
    return max(right for right, _ in turned), max(left for _, left in turned)

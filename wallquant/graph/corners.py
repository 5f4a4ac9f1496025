"""Corners: where lines meet.  Meetings that share a line's end are one corner; its kind, its runs' order, and whether they can bond."""

from __future__ import annotations

import itertools
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from math import cos, radians
from typing import Any

import networkx as nx
import shapely

from wallquant.graph.lines import PARALLEL, Line, Meeting, beside, meet, neighbours, snapped, turn
from wallquant.graph.merging import Strip
from wallquant.graph.planes import End, EndPlane, end_planes
from wallquant.layout import Role
from wallquant.units import MM, UM, Nm

SQUARE_WEDGE: Nm = MM * 3 // 10
"""A corner is square where the wedge between a butting end and the face it meets is thinner than this (a joint takes it up)."""

TOUCH: Nm = 5 * MM
"""An end that stops this near to a line that goes first touches it: a joint comes between."""


NEAR: Nm = 3 * MM
"""Lines of a loose corner that come this near to each other need a joint between them."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Node:
    """A corner as found: the lines that meet, each with its role and station, in the order in which they pass."""

    kind: str
    point: tuple[float, float]
    lines: tuple[tuple[int, Role, Nm], ...]
    turn: float
    bondable: bool
    taken: Mapping[int, tuple[float, float]] = field(default_factory=dict)
    """At a loose corner, for each line that does not go first: the stations that those before it take of it."""

    planes: Mapping[int, EndPlane] = field(default_factory=dict)
    """At an angled corner, for each line that is cut askew: where it ends."""

    @property
    def mitred(self) -> bool:
        """Whether both lines end in one plane."""
        return len(self.planes) == 2

    @property
    def loose(self) -> bool:
        """Whether the corner is askew and no mitre, end to end, or has more than two lines."""
        return (self.kind == "angled" and not self.mitred) or len(self.lines) > 2


def nodes(strips: Sequence[Strip], join: Nm, stub: Nm, least: Nm) -> tuple[Node, ...]:
    """Find all corners where lines meet (free ends are no meeting).

    Parameters
    ----------
    strips : sequence of Strip
        Lines in their fixed order.
    join, stub : int
        As in `wallquant.graph.lines.meet`.
    least : int
        Least piece with its joints; corners nearer to each other than that are tied, since no piece fits between.
    """
    lines = [s.line for s in strips]
    met: list[Meeting] = []
    for i, j in neighbours(lines, join + stub):
        found = _in_line(strips, i, j, join) if turn(lines[i], lines[j]) < PARALLEL else meet(lines, i, j, join, stub)
        if found:
            met.append(found)
    met = _next_to_each_other(met, least)
    made = [_cleared(strips, _node(strips, group, stub)) for group in _clusters(met)]
    return _tied_where_crowded(strips, made, least)


def _next_to_each_other(met: Sequence[Meeting], least: Nm) -> list[Meeting]:
    """Leave out where two ends would meet beyond a line that lies between them: it meets each with another of its ends, as a chord does."""
    ends: dict[tuple[int, Role], list[tuple[int, Role, float]]] = {}
    for one in met:
        if "through" not in (one.role_one, one.role_two):
            ends.setdefault((one.one, one.role_one), []).append((one.two, one.role_two, one.at_two))
            ends.setdefault((one.two, one.role_two), []).append((one.one, one.role_one, one.at_one))

    def parted(one: Meeting) -> bool:
        here, there = ends.get((one.one, one.role_one), ()), ends.get((one.two, one.role_two), ())
        return any(k == n and first != last and abs(a - b) >= least for (k, first, a), (n, last, b) in itertools.product(here, there))

    return [one for one in met if "through" in (one.role_one, one.role_two) or not parted(one)]


def _in_line(strips: Sequence[Strip], i: int, j: int, join: Nm) -> Meeting | None:
    """Two lines that go on in each other's direction but are no run of one thickness: they meet end to end."""
    one, two = strips[i].line, strips[j].line
    lie = beside([one, two], 0, 1)
    if lie.gap > join or lie.gap < -max(join, one.width / 2, two.width / 2) or lie.side >= (one.width + two.width) / 2 - MM:
        return None
    ends: list[tuple[float, Role, Role, float, float]] = []
    for role_one, at_one in (("start", 0.0), ("end", one.length)):
        for role_two, at_two in (("start", 0.0), ("end", two.length)):
            point = two.at(at_two)
            ends.append((abs(one.station(point) - at_one), role_one, role_two, at_one, at_two))  # type: ignore[arg-type]
    _, role_one, role_two, at_one, at_two = min(ends)
    return Meeting(one=i, two=j, role_one=role_one, role_two=role_two, at_one=at_one, at_two=at_two, point=one.at(at_one), turn=0.0)


def _clusters(met: Sequence[Meeting]) -> list[list[Meeting]]:
    """Group the meetings that share an end of a line; a meeting of two through lines stands alone."""
    shared: nx.Graph[Any] = nx.Graph()
    for k, one in enumerate(met):
        shared.add_node(("meeting", k))
        for index in (one.one, one.two):
            role, _, _ = one.of(index)
            if role != "through":
                shared.add_edge(("meeting", k), ("end", index, role))
    groups = ([met[n[1]] for n in part if n[0] == "meeting"] for part in nx.connected_components(shared))
    return sorted((sorted(g, key=lambda m: (m.one, m.two)) for g in groups), key=lambda g: (g[0].one, g[0].two, g[0].at_one))


def _node(strips: Sequence[Strip], group: Sequence[Meeting], least: Nm) -> Node:
    places: dict[int, tuple[Role, float]] = {}
    for one in group:
        for index in (one.one, one.two):
            role, at, _ = one.of(index)
            held = places.get(index)
            if held is None or (held[0] == "through" and role != "through"):
                places[index] = (role, at)

    def rank(index: int) -> tuple[object, ...]:
        line = strips[index].line
        return (places[index][0] != "through", line.bottom - line.top, -line.width, -round(line.length), index)

    order = sorted(places, key=rank)
    if len(group) == 1 and group[0].turn == 0.0:
        kind, square = "angled", False
    else:
        lines = [strips[k].line for k in order]
        square = all(
            one.turn > 80 and max(strips[one.one].line.width, strips[one.two].line.width) * cos(radians(one.turn)) <= SQUARE_WEDGE
            for one in group
        )
        through = sum(places[k][0] == "through" for k in order)
        kind = "angled" if not square else {0: "L", 1: "T", 2: "X"}[min(through, 2)] if len(lines) == 2 else "T" if len(lines) == 3 else "X"
    turned, planes = min(one.turn for one in group), {}
    if kind == "angled" and len(order) == 2 and len(group) == 1 and group[0].turn:
        near, far = (End(line=strips[k].line, role=places[k][0], at=places[k][1]) for k in order)
        found = end_planes(near, far, (strips[order[0]].unit.length, strips[order[1]].unit.length), least)
        planes = {order[k]: plane for k, plane in found.items()}
        if len(planes) == 2 and near.inward[0] * far.inward[0] + near.inward[1] * far.inward[1] > 0:
            turned = 180 - turned
    bondable = kind in ("L", "T", "X") or (len(planes) == 2 and strips[order[0]].unit == strips[order[1]].unit)
    bondable = bondable and len(order) == 2 and _common_courses(strips[order[0]], strips[order[1]])
    return Node(
        kind=kind,
        point=group[0].point,
        lines=tuple((k, places[k][0], snapped(places[k][1])) for k in order),
        turn=turned,
        bondable=bondable,
        planes=planes,
    )


def _cleared(strips: Sequence[Strip], node: Node) -> Node:
    """Let each line of a loose corner stop where it is clear of those that go before it there."""
    if not node.loose:
        return node
    before: list[tuple[int, Any]] = []
    taken: dict[int, tuple[float, float]] = {}
    for k, role, _ in node.lines:
        line = strips[k].line
        far = TOUCH + max((max(strips[o].line.cover) for o, _ in before), default=0)  # lines are drawn up to what covers another
        reach = _strip(line, -far if role == "start" else 0, line.length + (far if role == "end" else 0))
        inside = [p.intersection(reach) for o, p in before if _share_height(strips[k], strips[o])]
        stations = [line.station((x, y)) for one in inside if one.area > 0 for x, y in shapely.get_coordinates(one).tolist()]
        lo, hi = 0.0, line.length
        if stations:
            # overlays are floats: a few nanometres of noise would make a cut where whole units fit
            taken[k] = (round(min(stations) / UM) * UM, round(max(stations) / UM) * UM)
            lo, hi = (taken[k][1], hi) if role == "start" else (lo, taken[k][0]) if role == "end" else (lo, hi)
        if lo < hi:
            before.append((k, _strip(line, lo, hi)))
    return replace(node, taken=taken)


def _share_height(one: Strip, two: Strip) -> bool:
    return min(one.line.top, two.line.top) - max(one.line.bottom, two.line.bottom) > MM


def _strip(line: Line, lo: float, hi: float) -> Any:
    half = line.width / 2
    (a, b), (c, d) = line.at(lo), line.at(hi)
    u, v = line.u * half, line.v * half
    return shapely.Polygon([(a + v, b - u), (c + v, d - u), (c - v, d + u), (a - v, b + u)])


def _common_courses(one: Strip, two: Strip) -> bool:
    return abs(one.line.bottom - two.line.bottom) <= MM and one.unit.height == two.unit.height and one.unit.length == two.unit.length


def _tied_where_crowded(strips: Sequence[Strip], made: Sequence[Node], least: Nm) -> tuple[Node, ...]:
    """Tie a through corner that is so near to another corner of the same line that no piece fits between them."""
    on_line: dict[int, list[tuple[Nm, int, Nm]]] = {}
    for k, node in enumerate(made):
        for index, _, at in node.lines:
            half = max(strips[other].line.width for other, _, _ in node.lines if other != index) // 2
            half = round(abs(node.planes[index].lean)) if index in node.planes else half
            on_line.setdefault(index, []).append((at, k, half))
    tied: set[int] = set()
    for there in on_line.values():
        ranked = sorted(there)
        for (a, k, half_a), (b, n, half_b) in itertools.pairwise(ranked):
            if b - a < half_a + half_b + least:
                tied.add(n if made[n].kind != "L" and not (made[n].mitred and not made[k].mitred) else k)
    roomy = _walled_in(strips, made)
    return tuple(replace(node, bondable=node.bondable and k not in tied) for k, node in enumerate(roomy))


def _walled_in(strips: Sequence[Strip], made: Sequence[Node]) -> list[Node]:
    """Tie an L corner behind which a wall stands so near that the end of a passing line leaves no joint; the line with room passes."""
    bodies = [_strip(s.line, 0, s.line.length) for s in strips]
    tree = shapely.STRtree(bodies)
    out: list[Node] = []
    for node in made:
        if node.kind == "L" and node.bondable:
            own = {index for index, _, _ in node.lines}
            shut: list[bool] = []
            for (index, role, at), (other, _, _) in zip(node.lines, reversed(node.lines), strict=True):
                half = strips[other].line.width / 2
                lo, hi = (at - half - NEAR, at - half) if role == "start" else (at + half, at + half + NEAR)
                behind = _strip(strips[index].line, lo, hi)
                near = [k for k in tree.query(behind).tolist() if k not in own and _share_height(strips[index], strips[k])]
                shut.append(any(bodies[k].intersection(behind).area > MM * MM for k in near))
            if any(shut) and not all(shut):
                node = replace(node, bondable=False, lines=node.lines if shut[1] else tuple(reversed(node.lines)))
        out.append(node)
    return out


def by_line(found: Sequence[Node]) -> Mapping[int, list[tuple[int, Role, Nm]]]:
    """Return for each line its corners: (node index, role, station)."""
    out: dict[int, list[tuple[int, Role, Nm]]] = {}
    for k, node in enumerate(found):
        for index, role, at in node.lines:
            out.setdefault(index, []).append((k, role, at))
    return out

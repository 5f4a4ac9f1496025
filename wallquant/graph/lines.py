"""Lines: walls, and later runs, as straight strips in plan that may meet.

Glossary
--------
line
    A straight strip: two ends of its centre line, a width, a bottom and a top.  First each wall is one; collinear walls that
    touch become one line, which is then a run.
crossing
    The point where the centre lines of two lines that are not parallel cross.
role
    What a crossing is for one of its lines: its start, its end, or a place that it runs through.
meeting
    Two lines, their crossing and both roles.

All lengths are nanometres (floats only within one calculation); stations are measured from the line's start.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import atan2, cos, degrees, hypot, pi, sin

import numpy as np
from shapely import STRtree, box

from wallquant.layout import Role
from wallquant.units import MM, Nm

SNAP: Nm = 2_500
"""Stations are whole multiples of this (2.5 um, which divides 1/16 in): the last digits of a model's floats are no drawing."""

PARALLEL = 1.0
"""Lines that turn by less than this many degrees overlap or touch, and do not cross."""

SIDE: Nm = 5 * MM
"""Collinear lines may lie this far beside each other and still be one run: drawing habit, project input."""


def snapped(length: float) -> Nm:
    """Return a length rounded to `SNAP`."""
    return round(length / SNAP) * SNAP


@dataclass(frozen=True, kw_only=True, slots=True)
class Line:
    """A strip in plan; `key` says which of two equal ones comes first, so that order never depends on the file.

    `cover` is what is drawn beside it on its right and left: ends of other lines stop short by as much.
    """

    key: tuple[object, ...]
    x: float
    y: float
    u: float
    v: float
    length: float
    width: Nm
    bottom: Nm
    top: Nm
    cover: tuple[Nm, Nm] = (0, 0)

    def at(self, station: float) -> tuple[float, float]:
        """Return the plan point of a station."""
        return self.x + self.u * station, self.y + self.v * station

    def station(self, point: tuple[float, float]) -> float:
        """Return the station of the foot of a point."""
        return (point[0] - self.x) * self.u + (point[1] - self.y) * self.v

    def beside(self, point: tuple[float, float]) -> float:
        """Return how far a point lies to the left."""
        return (point[1] - self.y) * self.u - (point[0] - self.x) * self.v

    def bounds(self, grow: float) -> tuple[float, float, float, float]:
        """Return least x, least y, most x, most y of the strip, grown on all sides."""
        (a, b), (c, d), e = self.at(0), self.at(self.length), self.width / 2 + grow
        return min(a, c) - e, min(b, d) - e, max(a, c) + e, max(b, d) + e


def line(
    key: tuple[object, ...],
    start: tuple[float, float],
    end: tuple[float, float],
    width: Nm,
    bottom: Nm,
    top: Nm,
    cover: tuple[Nm, Nm] = (0, 0),
) -> Line:
    """Make a line; a direction within a billionth of an axis is that axis, and it runs from least x, then least y (within 1 mm)."""
    (a, b), (c, d) = start, end
    if (c - a < -MM) or (abs(c - a) <= MM and d < b):
        (a, b), (c, d), cover = end, start, (cover[1], cover[0])
    length = hypot(c - a, d - b)
    u, v = (c - a) / length, (d - b) / length
    if abs(u) < 1e-9 or abs(c - a) < SNAP:
        u, v = 0.0, 1.0 if v > 0 else -1.0
    elif abs(v) < 1e-9 or abs(d - b) < SNAP:
        u, v = 1.0 if u > 0 else -1.0, 0.0
    return Line(key=key, x=a, y=b, u=u, v=v, length=length, width=width, bottom=bottom, top=top, cover=cover)


@dataclass(frozen=True, kw_only=True, slots=True)
class Meeting:
    """Two lines (indices) that cross: the crossing's stations on both, both roles, and the angle between them in degrees."""

    one: int
    two: int
    role_one: Role
    role_two: Role
    at_one: float
    at_two: float
    point: tuple[float, float]
    turn: float

    def of(self, index: int) -> tuple[Role, float, int]:
        """Return role, station and partner of one of the two."""
        return (self.role_one, self.at_one, self.two) if index == self.one else (self.role_two, self.at_two, self.one)


@dataclass(frozen=True, kw_only=True, slots=True)
class Beside:
    """Two nearly parallel lines: sideways distance, and the gap between their ends (negative: they overlap lengthwise)."""

    one: int
    two: int
    side: float
    gap: float


def neighbours(lines: Sequence[Line], tolerance: Nm) -> list[tuple[int, int]]:
    """Return the pairs (i < j) whose strips come within the tolerance of each other in plan and share some height."""
    if len(lines) < 2:
        return []
    grown = np.array([one.bounds(tolerance / 2 + one.width / 2 + max(one.cover)) for one in lines])
    boxes = box(grown[:, 0], grown[:, 1], grown[:, 2], grown[:, 3])
    pairs = STRtree(boxes).query(boxes)
    keep = pairs[0] < pairs[1]
    bottom, top = np.array([o.bottom for o in lines]), np.array([o.top for o in lines])
    i, j = pairs[0][keep], pairs[1][keep]
    shared = np.minimum(top[i], top[j]) - np.maximum(bottom[i], bottom[j]) > MM
    return sorted(zip(i[shared].tolist(), j[shared].tolist(), strict=True))


def turn(one: Line, two: Line) -> float:
    """Return the angle between two lines, 0 to 90 degrees."""
    angle = abs(degrees(atan2(one.u * two.v - one.v * two.u, one.u * two.u + one.v * two.v))) % 180
    return min(angle, 180 - angle)


def meet(lines: Sequence[Line], i: int, j: int, join: Nm, stub: Nm) -> Meeting | None:
    """Return how two lines that are not parallel meet, or None.

    An end belongs to the crossing when it falls at most `join` short of the other strip and what covers it on that side, or
    sticks out of it and what covers it on the far side by less than `stub` (what is too short to be laid there).
    """
    one, two = lines[i], lines[j]
    cross = one.u * two.v - one.v * two.u
    dx, dy = two.x - one.x, two.y - one.y
    a, b = (dx * two.v - dy * two.u) / cross, (dx * one.v - dy * one.u) / cross
    angle = turn(one, two) * pi / 180
    roles: list[Role] = []
    for here, other, at in ((one, two, a), (two, one, b)):
        half = other.width / 2 / sin(angle) + (here.width / 2 * abs(cos(angle)) / sin(angle))
        near = other.beside(here.at(here.length / 2)) > 0
        role = _role(at, here.length, half, join + other.cover[near], stub + other.cover[not near])
        if role is None:
            return None
        roles.append(role)
    return Meeting(one=i, two=j, role_one=roles[0], role_two=roles[1], at_one=a, at_two=b, point=one.at(a), turn=degrees(angle))


def _role(at: float, length: float, half: float, join: Nm, stub: Nm) -> Role | None:
    from_start, from_end = at, length - at
    reach: list[tuple[float, Role]] = []
    if -half - join <= from_start < half + stub:
        reach.append((abs(from_start), "start"))
    if -half - join <= from_end < half + stub:
        reach.append((abs(from_end), "end"))
    if reach:
        return min(reach)[1]
    return "through" if 0 < at < length else None


def beside(lines: Sequence[Line], i: int, j: int) -> Beside:
    """Return how two nearly parallel lines lie."""
    one, two = lines[i], lines[j]
    a, b = sorted((one.station(two.at(0)), one.station(two.at(two.length))))
    middle = two.at(two.length / 2)
    at = max(0.0, min(one.length, one.station(middle)))
    near = two.at(max(0.0, min(two.length, two.station(one.at(at)))))
    return Beside(one=i, two=j, side=abs(one.beside(near)), gap=max(a - one.length, -b))

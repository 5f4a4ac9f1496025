"""Which two raked or mitred pieces lie in one block, one of them turned: a straight cut parts them.

A block is a rectangle that is cut out of a unit.  Two pieces go into it side by side, each in any of its four attitudes (a plain
unit has the same face in front and behind, above and below), so that a straight cut at the angle of one of their edges, with
its kerf, passes between them.  Only the outlines' corners count, so an outline that is not convex is taken with its hollows filled.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from math import atan2, ceil, cos, degrees, radians, sin

import numpy as np
from numpy.typing import NDArray

from wallquant.units import UM, Nm

Ring = tuple[tuple[Nm, Nm], ...]
Ints = NDArray[np.int64]
Floats = NDArray[np.float64]

_SLACK: Nm = UM
"""Corners of polygons are rounded to nanometres; two pieces that share a unit may miss its length by this."""
_ANGLES = 200
"""Most angles of cuts that are tried for one unit type, those of most edges first."""


@dataclass(frozen=True, kw_only=True, slots=True, order=True)
class Shape:
    """A piece's least box and, if it is not a box, its outline from the box's corner, in the attitude that sorts first.

    `flat` tells mitred pieces, whose outline is in plan: (length, offset).
    """

    width: Nm
    height: Nm
    flat: bool = False
    ring: Ring = ()


@dataclass(frozen=True, kw_only=True)
class Nested:
    """Pairs that take less than two boxes side by side: arrays with one entry a pair, `first` and `second` index the shapes."""

    first: Ints
    second: Ints
    width: Ints
    height: Ints


def shape(ring: Sequence[tuple[Nm, Nm]], height: Nm, *, flat: bool) -> Shape:
    """Return the shape of a piece with an outline in elevation, or (`flat`) in plan with the piece's height."""
    left, foot = min(x for x, _ in ring), min(y for _, y in ring)
    points = [(x - left, y - foot) for x, y in (ring[:-1] if ring[0] == ring[-1] else ring)]
    wide, high = max(x for x, _ in points), max(y for _, y in points)
    turns = [_from_least([(wide - x if a else x, high - y if b else y) for x, y in points]) for a in (0, 1) for b in (0, 1)]
    return Shape(width=wide, height=height if flat else high, flat=flat, ring=min(turns))


def _from_least(points: Sequence[tuple[Nm, Nm]]) -> Ring:
    """An outline from its least corner on, the same way round whichever it was given."""
    at = points.index(min(points))
    one, other = (*points[at:], *points[:at]), (*points[at::-1], *points[:at:-1])
    return min(one, other)


def slants(rings: Iterable[Sequence[tuple[Nm, Nm]]]) -> list[float]:
    """Return the angles to the length of the slanted edges of outlines, degrees to four places, the most frequent first.

    Edges that are off a right angle by less than a hundredth of a degree are square.
    """
    count: dict[float, int] = {}
    for ring in rings:
        for (x, y), (u, v) in zip(ring, [*ring[1:], *ring[:1]], strict=True):
            angle = round(degrees(atan2(abs(v - y), abs(u - x))), 4)
            if 0 < round(angle, 2) < 90:
                count[angle] = count.get(angle, 0) + 1
    return sorted(count, key=lambda a: (-count[a], a))


def nested(shapes: Sequence[Shape], many: Sequence[int], angles: Sequence[float], kerf: Nm, length: Nm, height: Nm) -> Nested:
    """Find all pairs of slanted pieces that take less of a unit together than side by side.

    Parameters
    ----------
    shapes : sequence of Shape
    many : sequence of int
        How many pieces there are of each; a lone one has no pair of its own kind.
    angles : sequence of float
        Angles of cuts to be tried, degrees to the length.
    kerf, length, height : int
        Of the saw and the unit.

    Returns
    -------
    Nested
        For each pair the shortest block as high as the higher of the two and, if that is shorter, one of the unit's height.
    """
    found: list[tuple[Ints, ...]] = []
    for flat in (False, True):
        at = np.array([i for i, s in enumerate(shapes) if s.ring and s.flat == flat], dtype=np.int64)
        if not len(at):
            continue
        some = [shapes[i] for i in at.tolist()]
        wide = np.array([s.width for s in some], dtype=np.float64)
        high = np.array([s.height for s in some], dtype=np.int64)
        tall = np.maximum(high[:, None], high[None, :])
        side = np.ceil(wide[:, None] + wide[None, :]).astype(np.int64) + kerf
        own = np.array([many[i] > 1 for i in at.tolist()])
        usable = np.triu(np.ones((len(at), len(at)), dtype=bool), 1) | np.diag(own)
        low = _shortest(some, angles, kerf, tall.astype(np.float64), flat=flat)
        blocks = [(low, tall, side)]
        if not flat:
            full = np.full(tall.shape, height)
            blocks.append((_shortest(some, angles, kerf, full.astype(np.float64), flat=flat), full, np.minimum(low, side)))
        for long, deep, than in blocks:
            first, second = np.nonzero(usable & (long < than) & (long <= length + _SLACK))
            found.append((at[first], at[second], np.minimum(long[first, second], length), deep[first, second]))
    columns = [np.concatenate(c) for c in zip(*found, strict=True)] if found else [np.zeros(0, dtype=np.int64)] * 4
    return Nested(first=columns[0], second=columns[1], width=columns[2], height=columns[3])


def _shortest(some: Sequence[Shape], angles: Sequence[float], kerf: Nm, room: Floats, *, flat: bool) -> Ints:
    """Length of the shortest block of height `room` for each pair; mitred ones lie face to face and are not moved up."""
    most = max(len(s.ring) for s in some)
    xs = np.array([[x for x, _ in s.ring] + [s.ring[0][0]] * (most - len(s.ring)) for s in some], dtype=np.float64)
    ys = np.array([[y for _, y in s.ring] + [s.ring[0][1]] * (most - len(s.ring)) for s in some], dtype=np.float64)
    wide, high = xs.max(axis=1), ys.max(axis=1)
    turns = [(wide[:, None] - xs if a else xs, high[:, None] - ys if b else ys) for a in (0, 1) for b in (0, 1)]
    # How far the second can stand above the first, and below it.
    above = np.zeros(room.shape) if flat else room - high[None, :]
    below = np.zeros(room.shape) if flat else room - high[:, None]
    own = [set(slants([s.ring])) for s in some]
    best = np.full(room.shape, np.inf)
    for angle in angles[:_ANGLES]:
        has = np.array([angle in o for o in own])
        if not has.any():
            continue
        theirs = has[:, None] | has[None, :]
        nx, up = sin(radians(angle)), cos(radians(angle))
        for ny in (up, -up):
            # Each takes the attitude in which it reaches least beyond the cut, whatever that of the other.
            over = np.minimum.reduce([(nx * x + ny * y).max(axis=1) for x, y in turns])
            back = np.minimum.reduce([(-nx * x - ny * y).max(axis=1) for x, y in turns])
            moved = np.maximum(ny * above, -ny * below)
            best = np.where(theirs, np.minimum(best, (over[:, None] + back[None, :] + kerf - moved) / nx), best)
    long: Ints = np.ceil(np.maximum(wide[:, None], np.maximum(best, 0) + wide[None, :]) - 1e-3).astype(np.int64)
    return long


def slant_kerf(kerf: Nm, angle_deg: float) -> Nm:
    """Return what a cut at an angle to the unit's length takes of that length, rounded up."""
    return ceil(round(kerf / sin(radians(angle_deg)), 3))

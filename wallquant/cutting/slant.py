"""Raked and mitred pieces: their mean length, the angle of their cut, and which two can share a unit."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import atan2, ceil, degrees, radians, sin

from wallquant.layout import Pieces
from wallquant.units import UM, Nm

_SLACK: Nm = UM
"""Corners of polygons are rounded to nanometres; two pieces that share a unit may miss its length by this."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Slant:
    """A piece with cuts that are not square.

    `angle_deg` is its flattest such cut, to the unit's length.  `mean` is its mean length, rounded up, where it is square at
    one end and has one straight slanted cut over its whole height (or thickness) at the other; else None.  `flat` tells the
    mitred ones, whose shape is in plan.
    """

    row: int
    flat: bool
    angle_deg: float
    mean: Nm | None


def slants(pieces: Pieces, rows: Sequence[int]) -> list[Slant]:
    """Return those of `rows` whose elevation or plan has a slanted edge."""
    out = []
    for row in rows:
        shapes = [p for p in (pieces.elevation.get(row), pieces.plan.get(row)) if p is not None]
        angles = [a for shape in shapes for a in _angles(shape)]
        if angles:
            mean = _mean(shapes[0]) if len(shapes) == 1 and len(angles) == 1 else None
            out.append(Slant(row=row, flat=row in pieces.plan, angle_deg=min(angles), mean=mean))
    return out


def _ring(shape: Sequence[tuple[Nm, Nm]]) -> list[tuple[Nm, Nm]]:
    return list(shape[:-1] if len(shape) > 1 and shape[0] == shape[-1] else shape)


def _angles(shape: Sequence[tuple[Nm, Nm]]) -> list[float]:
    """Angles to the length (0 to 90 degrees, both left out) of the edges, to a hundredth."""
    ring = _ring(shape)
    out = []
    for (x, y), (u, v) in zip(ring, [*ring[1:], *ring[:1]], strict=True):
        angle = round(degrees(atan2(abs(v - y), abs(u - x))), 2)
        if 0 < angle < 90:
            out.append(angle)
    return out


def _mean(shape: Sequence[tuple[Nm, Nm]]) -> Nm | None:
    ring = _ring(shape)
    xs, ys = [x for x, _ in ring], [y for _, y in ring]
    deep = max(ys) - min(ys)
    full = any({y, v} == {min(ys), max(ys)} and x != u for (x, y), (u, v) in zip(ring, [*ring[1:], *ring[:1]], strict=True))
    if len(ring) not in (3, 4) or not full or deep == 0 or max(xs) == min(xs):
        return None
    twice = sum(x * v - u * y for (x, y), (u, v) in zip(ring, [*ring[1:], *ring[:1]], strict=True))
    return -(-abs(twice) // (2 * deep))


def slant_kerf(kerf: Nm, angle_deg: float) -> Nm:
    """Return what a cut at an angle to the unit's length takes of that length, rounded up."""
    return ceil(round(kerf / sin(radians(angle_deg)), 3))


def pairs(found: Sequence[Slant], sizes: Mapping[int, tuple[Nm, Nm]], kerf: Nm, length: Nm) -> list[tuple[int, int, Nm]]:
    """Match pieces of equal slant and height that share a unit, one turned.

    Parameters
    ----------
    found : sequence of Slant
    sizes : mapping of row to (height, height)
        Height of each piece and of the strip that it is cut from; those of a pair are equal.
    kerf, length : int
        The saw's kerf and the unit's length.

    Returns
    -------
    list of (row, row, length)
        As many pairs as can be; `length` is what both take of the unit, the cut between them included.
    """
    groups: dict[tuple[bool, float, tuple[Nm, Nm]], list[tuple[Nm, int]]] = {}
    for one in found:
        if one.mean is not None:
            groups.setdefault((one.flat, one.angle_deg, sizes[one.row]), []).append((one.mean, one.row))
    out = []
    for (_, angle, _), group in sorted(groups.items()):
        group.sort()
        taken = slant_kerf(kerf, angle)
        low, high = 0, len(group) - 1
        while low < high:
            both = group[low][0] + group[high][0] + taken
            if both <= length + _SLACK:
                out.append((group[high][1], group[low][1], min(both, length)))
                low += 1
            high -= 1
    return out

"""A leaf of a layered wall: the part of a body between two offsets, as a body of its own."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

from shapely import box
from shapely.geometry import Polygon

from wallquant.importers.ifc.bodies import Body
from wallquant.importers.ifc.frames import Unreadable
from wallquant.importers.ifc.plan import straight
from wallquant.importers.ifc.relations import Layers
from wallquant.importers.ifc.sections import polygons

SAME = 1e-6
"""Stations closer than this are one, in mm."""
AGREE = 1.0
"""What the layers' sum may differ from the drawn thickness, in mm."""


def offsets(body: Body, layers: Layers, scale: float, *, leftward: bool) -> list[float] | None:
    """Return the offsets of all faces of the layers, first to last, or None where they do not add up to the drawn thickness.

    Parameters
    ----------
    body : Body
    layers : Layers
    scale : float
        Millimetres in one length unit of the model.
    leftward : bool
        Whether the layers are counted from the right face to the left one.
    """
    sizes = [one.thickness * scale for one in layers.each]
    total = sum(sizes)
    if min(sizes, default=-1.0) < 0 or not abs(total - body.plan.thickness) <= AGREE:
        return None
    stretch = body.plan.thickness / total
    at = [0.0]
    for size in sizes:
        at.append(at[-1] + size * stretch)
    return [body.plan.right + t for t in at] if leftward else [body.plan.left - t for t in at]


def leaf(body: Body, one: float, two: float) -> Body:
    """Return the part of a body between two offsets; its ends are its own, which matters where the body is mitred.

    Raises
    ------
    Unreadable
        If that part is no straight wall.
    """
    right, left = sorted((one, two))
    low, _, high, _ = body.footprint.bounds
    pieces = polygons(body.footprint.intersection(box(low - 1, right, high + 1, left)), least=1.0)
    if len(pieces) != 1:
        raise Unreadable("a layer of it falls into parts")
    plan = straight(pieces[0])
    if abs(plan.right - right) > AGREE or abs(plan.left - left) > AGREE:
        raise Unreadable("a layer of it is no straight wall with two parallel faces")
    plan = replace(plan, right=right, left=left)
    shift = (plan.start - body.plan.start, plan.end - body.plan.end)
    top = _between(body.top, body.top[0][0] + shift[0], body.top[-1][0] + shift[1])
    elevation = Polygon([(top[0][0], body.bottom), (top[-1][0], body.bottom), *top[::-1]])
    niches = [n for one in body.niches if (n := one.between(right, left)).volume > AGREE * n.region.area]
    return replace(
        body, plan=plan, top=top, elevation=elevation, volume=elevation.area * plan.thickness, beyond=0.0, niches=niches, reasons=[],
        batter=[],
    )  # fmt: skip


def _between(top: list[tuple[float, float]], start: float, end: float) -> list[tuple[float, float]]:
    """A profile from start to end: cut off, or its first and last stretch gone on."""
    kept = [p for p in top if start + SAME < p[0] < end - SAME]
    return [(start, _level(top, start)), *kept, (end, _level(top, end))]


def _level(top: list[tuple[float, float]], at: float) -> float:
    stretches = [(a, b) for a, b in pairwise(top) if b[0] - a[0] > SAME]
    (s1, z1), (s2, z2) = next((pair for pair in stretches if at <= pair[1][0]), stretches[-1])
    return z1 + (z2 - z1) * (at - s1) / (s2 - s1)

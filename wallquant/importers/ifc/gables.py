"""Openings without a leaf that cut off a part of a wall's top: the cut becomes the top's outline, and no hole is left of it.

Programs draw gables so: a wall up to the ridge, and an opening that takes away what is above the roof.
"""

from __future__ import annotations

import shapely
from shapely import box
from shapely.geometry import Polygon
from shapely.geometry.base import BaseGeometry

from wallquant.importers.ifc.bodies import Body
from wallquant.importers.ifc.frames import Unreadable
from wallquant.importers.ifc.openings import LEAST, Face, Slab, clear
from wallquant.importers.ifc.plan import CLOSE
from wallquant.importers.ifc.profiles import outline_profile
from wallquant.importers.ifc.sections import polygons

GRID = 1e-6
"""Overlays are made on a grid of one nanometre."""
MOST_POINTS = 12
"""A top with more corners than this is a curve drawn in chords; its opening stays an opening, and its least box is left open."""


def cut_tops(body: Body, face: Face, openings: list[list[Slab]]) -> list[tuple[list[Slab], float]]:
    """Cut openings that reach a body's top off its outline, where what is left has a plain top.

    Parameters
    ----------
    body : Body
        Changed: elevation, top and volume.
    face : Face
        The wall before.
    openings : list of list of Slab
        What each opening takes out of it.

    Returns
    -------
    list of (list of Slab, float)
        For each opening what is left of it to be holes, and the area in elevation (mm2) that is cut off the top.
    """
    result: list[tuple[list[Slab], float]] = []
    for slabs in openings:
        left, area = slabs, 0.0
        for part in polygons(clear(slabs, face), least=LEAST * LEAST) if body.beyond == 0 else ():
            gone = _cut(body, part)
            if gone > 0:
                area += gone
                left = [(a, b, region.difference(part)) for a, b, region in left]
        result.append(([s for s in left if s[2].area > LEAST * LEAST] if area else slabs, area))
    return result


def _cut(body: Body, part: Polygon) -> float:
    """Cut one region off a body's top; return the area that it lost, 0 where it stays as it was."""
    start, bottom, end, _ = body.elevation.bounds
    first, _, last, _ = part.bounds
    across = first <= start + CLOSE and last >= end - CLOSE
    if part.area >= (1 - 1e-6) * box(*part.bounds).area and not across:
        return 0.0  # a rectangle is an opening, up to the top or not
    rest: BaseGeometry = shapely.difference(body.elevation, part, grid_size=GRID)
    left = polygons(rest, least=LEAST * LEAST)
    if len(left) != 1 or left[0].interiors:
        return 0.0
    try:
        low, top, elevation, _ = outline_profile(left[0], notches=False)
    except Unreadable:
        return 0.0
    if abs(low - bottom) > CLOSE or abs(top[0][0] - start) > CLOSE or abs(top[-1][0] - end) > CLOSE or len(top) > MOST_POINTS:
        return 0.0
    if min(z for _, z in top) < bottom:
        return 0.0
    gone = float(body.elevation.area - elevation.area)
    if gone <= LEAST * LEAST:
        return 0.0
    body.volume -= gone * body.plan.thickness
    body.elevation, body.top = elevation, top
    return gone

"""A battered body: how far its faces reach beyond those that are parallel, by level."""

from __future__ import annotations

import numpy as np
import shapely
from shapely import LineString
from shapely.geometry import Polygon
from shapely.geometry.base import BaseGeometry

from wallquant.importers.ifc.frames import Matrix, Unreadable
from wallquant.importers.ifc.plan import CLOSE, Straight
from wallquant.importers.ifc.slices import slabs_of
from wallquant.importers.ifc.solids import Solid

LEAST = 20.0
"""Faces that reach less beyond the parallel ones, in mm, are none that a step is worth."""
INSET = 2.0
"""How far from its ends and openings, in mm, the thickness of a body is measured: ends lean."""
Reach = tuple[float, float, float]
"""A level, and what the body has at it beyond the right face and beyond the left one, in mm."""

_TURNED: Matrix = np.array(((1.0, 0.0, 0.0, 0.0), (0.0, 0.0, 1.0, 0.0), (0.0, 1.0, 0.0, 0.0), (0.0, 0.0, 0.0, 1.0)))
"""Changes offset and level, so that sections are level ones."""


def reaches(solids: list[Solid], plan: Straight, elevation: BaseGeometry) -> list[Reach]:
    """Return how far a body reaches beyond the faces of the wall in it, by rising level and straight between them.

    Parameters
    ----------
    solids : list of Solid
        In the wall's own frame.
    plan : Straight
        The faces that are parallel over the whole height.
    elevation : BaseGeometry
        What is laid between them, holes cut out.

    Returns
    -------
    list
        Two entries of one level make a step.  Empty where the body is no such wall, or no face of it reaches `LEAST` beyond.
    """
    try:
        slabs = slabs_of([solid.moved(_TURNED) for solid in solids])
    except Unreadable:
        return []
    found: list[Reach] = []
    for slab in slabs:
        for level, near, region in ((slab.low, 1e-3, slab.ends[0]), (slab.high, -1e-3, slab.ends[1])):
            there = _beyond(region, plan, _stretches(elevation, level + near))
            if there is None:
                return _worth(found)  # here the top begins, which narrows what is above
            if not found or found[-1] != (level, *there):
                found.append((level, *there))
    return _worth(found)


def _worth(found: list[Reach]) -> list[Reach]:
    """What was found; nothing where no face reaches out far enough for a step."""
    return found if max((max(right, left) for _, right, left in found), default=0.0) >= LEAST else []


def _stretches(elevation: BaseGeometry, level: float) -> list[tuple[float, float]]:
    """Stations between which the wall is at a level, off its ends."""
    first, _, last, _ = elevation.bounds
    parts = shapely.get_parts(elevation.intersection(LineString(((first - 1, level), (last + 1, level)))))
    spans = [(float(p.bounds[0]) + INSET, float(p.bounds[2]) - INSET) for p in parts if p.length > 2 * INSET + CLOSE]
    return sorted(spans)


def _beyond(region: BaseGeometry, plan: Straight, spans: list[tuple[float, float]]) -> tuple[float, float] | None:
    """What a level section has beyond both faces over all of the stretches; None where it is not whole between the faces."""
    if not spans:
        return None
    stations = {s for span in spans for s in span}
    for part in shapely.get_parts(region):
        if isinstance(part, Polygon):
            stations |= {round(float(s) + off, 4) for s, _ in part.exterior.coords for off in (-0.01, 0.01)}
    _, low, _, high = region.bounds
    right, left = plan.right, plan.left
    reach_right, reach_left = float("inf"), float("inf")
    for s in sorted(stations):
        if not any(a <= s <= b for a, b in spans):
            continue
        lines = [p for p in shapely.get_parts(region.intersection(LineString(((s, low - 1), (s, high + 1))))) if p.length > CLOSE]
        if len(lines) != 1:
            return None
        _, one, _, two = lines[0].bounds
        if one > right + CLOSE or two < left - CLOSE:
            return None
        reach_right, reach_left = min(reach_right, right - float(one)), min(reach_left, float(two) - left)
    if reach_right == float("inf"):
        return None
    return round(max(0.0, reach_right), 4), round(max(0.0, reach_left), 4)

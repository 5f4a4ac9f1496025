"""The outline in plan: which way a wall runs, its faces, and where its ends are."""

from __future__ import annotations

import itertools
from dataclasses import dataclass
from math import hypot

import numpy as np
import shapely
from shapely import box
from shapely.geometry import Polygon

from wallquant.importers.ifc.frames import Unreadable, Vector

CLOSE = 1.0
"""What a drawn outline may differ from a straight wall, in mm."""
END_LIMIT = 2.0
"""An end that is no straight cut is taken at its mean where it is no longer than this many thicknesses."""
NOTCH_LIMIT = 0.6
"""A triangular notch in a face, as some programs draw where another wall's pointed end meets it, is no deeper than this part."""
SAME = 0.001
"""Stations closer than this are one, in mm."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Straight:
    """A straight wall in plan, in its own frame: stations `start` to `end` (mitred ends at their mean), offsets `right` to `left`.

    `odd_ends` is the number of ends that are no straight cut, `notches` that of triangular notches at junctions.
    """

    start: float
    end: float
    right: float
    left: float
    odd_ends: int
    notches: int
    square: bool

    @property
    def thickness(self) -> float:
        """Distance of the faces in mm."""
        return self.left - self.right


def direction(outline: Polygon, axis: Vector | None) -> tuple[Vector, bool]:
    """Return the unit vector along a wall in plan, and whether it had to be guessed from the outline.

    The direction is that of the longest face; the axis, where it is given, only chooses between the faces and says which way.
    """
    ring = shapely.get_coordinates(outline.exterior)
    edges = ring[1:] - ring[:-1]
    sizes = np.hypot(edges[:, 0], edges[:, 1])
    ranks = [(-round(size, 3), round(x, 3), round(y, 3)) for size, (x, y) in zip(sizes.tolist(), ring[:-1].tolist(), strict=True)]
    order = sorted(range(len(ranks)), key=ranks.__getitem__)
    if axis is not None:
        for i in order:
            if sizes[i] > CLOSE:
                unit = edges[i] / sizes[i]
                if abs(float(unit[0] * axis[1] - unit[1] * axis[0])) < 0.02:
                    return (unit if float(np.dot(unit, axis)) > 0 else -unit), False
    if sizes[order[0]] <= 0:
        raise Unreadable("its outline in plan has no size")
    unit = edges[order[0]] / sizes[order[0]]
    return (unit if (round(float(unit[0]), 9), round(float(unit[1]), 9)) > (0.0, 0.0) else -unit), True


def straight(outline: Polygon) -> Straight:
    """Return the straight wall that an outline in the wall's own frame (station, offset) is.

    Raises
    ------
    Unreadable
        If the outline is no straight wall: no two long parallel faces, or something between or beyond its ends.
    """
    reason = "its outline in plan is no straight wall with two parallel faces"
    if outline.geom_type != "Polygon" or outline.is_empty:
        raise Unreadable("its outline in plan falls into several parts")
    ring = shapely.get_coordinates(outline.exterior).tolist()
    faces: list[list[float]] = []  # offset, total length, longest
    for (s1, t1), (s2, t2) in itertools.pairwise(ring):
        length = abs(s2 - s1)
        if length > abs(t2 - t1) * 100 and abs(t2 - t1) <= CLOSE:
            at = (t1 + t2) / 2
            near = next((f for f in faces if abs(f[0] - at) <= CLOSE), None)
            if near is None:
                faces.append([at, length, length])
            else:
                near[0], near[2] = (at, length) if length > near[2] else (near[0], near[2])
                near[1] += length
    if len(faces) < 2:
        raise Unreadable(reason)
    faces.sort(key=lambda f: (-round(f[1], 3), f[0]))
    right, left = sorted((faces[0][0], faces[1][0]))
    low, _, high, _ = outline.bounds
    strip = outline.intersection(box(low - CLOSE, right, high + CLOSE, left))
    slack = CLOSE * (high - low)
    if outline.area - strip.area > slack or strip.is_empty:
        raise Unreadable(reason)
    for inset in (0.01, CLOSE):
        found = _ends(strip, right, left, inset)
        if found is not None:
            start, end, odd, notches, gone = found
            if end - start <= CLOSE:
                raise Unreadable("it has no length between its mitred ends")
            square = gone == 0.0 and outline.area == strip.area
            return Straight(start=start, end=end, right=right, left=left, odd_ends=odd, notches=notches, square=square and notches == 0)
    raise Unreadable(reason)


def _ends(strip: Polygon, right: float, left: float, inset: float) -> tuple[float, float, int, int, float] | None:
    """Mean ends of what lies between the faces, odd ends, notches, and the area that the ends lack; None if it is no straight wall.

    What lies within `inset` of a face is not looked at: float noise there would join what the two ends lack.
    """
    low, _, high, _ = strip.bounds
    thickness = left - right - 2 * inset
    if thickness <= 0:
        return None
    gone = {"low": 0.0, "high": 0.0}
    large: dict[str, list[Polygon]] = {"low": [], "high": []}
    notches = 0
    for part in shapely.get_parts(box(low, right + inset, high, left - inset).difference(strip)):
        first, below, last, above = part.bounds
        at_low, at_high = first <= low + SAME, last >= high - SAME
        if at_low != at_high:
            gone["low" if at_low else "high"] += part.area
            if part.area > CLOSE * thickness:
                large["low" if at_low else "high"].append(part)
        elif min(last - first, above - below) > CLOSE:
            if at_low or not _triangle(part) or last - first > END_LIMIT * thickness or above - below > NOTCH_LIMIT * thickness:
                return None
            notches += 1
    odd_at = [end for end, parts in large.items() if len(parts) > 1 or any(not _triangle(p) for p in parts)]
    if any(p.bounds[2] - p.bounds[0] > END_LIMIT * thickness for end in odd_at for p in large[end]):
        return None
    start, end = low + gone["low"] / thickness, high - gone["high"] / thickness
    if odd_at and notches == 0:  # a straight cut has the same mean within the insets; another end has not
        middle = (start + end) / 2
        if "low" in odd_at:
            start = middle - strip.intersection(box(low, right, middle, left)).area / (left - right)
        if "high" in odd_at:
            end = middle + strip.intersection(box(middle, right, high, left)).area / (left - right)
    return start, end, len(odd_at), notches, sum(gone.values())


def _triangle(part: Polygon) -> bool:
    """Whether a polygon has three corners; two that are near each other, as the insets leave them of a corner cut off, are one."""
    ring = shapely.get_coordinates(part.simplify(CLOSE / 2).exterior).tolist()
    return sum(hypot(b[0] - a[0], b[1] - a[1]) > CLOSE / 2 for a, b in itertools.pairwise(ring)) == 3


def axis_direction(points: list[tuple[float, float]]) -> Vector | None:
    """Return the unit vector from the first to the last point of an axis, None where it has no length.

    Raises
    ------
    Unreadable
        If the axis is not straight.
    """
    (ax, ay), (bx, by) = points[0], points[-1]
    size = hypot(bx - ax, by - ay)
    off = max((abs((x - ax) * (by - ay) - (y - ay) * (bx - ax)) for x, y in points), default=0.0)
    if len(points) > 2 and (size < CLOSE or off / size > CLOSE):
        raise Unreadable("its axis is not straight")
    return None if size < CLOSE else np.array(((bx - ax) / size, (by - ay) / size))

"""Openings of one wall: what an opening's body takes out of it, as rectangles in elevation."""

from __future__ import annotations

import itertools
from dataclasses import dataclass, field

import numpy as np
import shapely
from shapely import box
from shapely.geometry import Polygon
from shapely.geometry.base import BaseGeometry

from wallquant.importers.ifc.frames import PARALLEL
from wallquant.importers.ifc.sections import Window, polygons, section, sound
from wallquant.importers.ifc.solids import HalfSpace, Prism, Solid

LEAST = 1.0
"""Width and height below which a hole is none, and depth that a niche may lack to count as through, in mm."""
_PANELS = 8
Slab = tuple[float, float, BaseGeometry]
"""From offset, to offset, what is taken out there."""


@dataclass(kw_only=True, slots=True)
class Hole:
    """A rectangle in the wall's own frame, in mm, and the mm3 it takes out of the body."""

    start: float
    sill: float
    end: float
    head: float
    through: bool
    volume: float
    exact: bool = True

    @property
    def area(self) -> float:
        """Width by height."""
        return (self.end - self.start) * (self.head - self.sill)

    def away(self, station: float, level: float) -> float:
        """Return how far a point of the wall's face is from the hole."""
        return max(self.start - station, station - self.end, 0.0) + max(self.sill - level, level - self.head, 0.0)


@dataclass(frozen=True, kw_only=True, slots=True)
class Face:
    """Where holes can be: the faces' offsets and the elevation of the body."""

    right: float
    left: float
    elevation: BaseGeometry
    bounds: Window = field(init=False)
    """Of the elevation."""
    plain: bool = field(init=False)
    """Whether the elevation is a rectangle."""

    def __post_init__(self) -> None:
        low, bottom, high, top = self.elevation.bounds
        object.__setattr__(self, "bounds", (low, bottom, high, top))
        object.__setattr__(self, "plain", bool(self.elevation.area == (high - low) * (top - bottom)))


def slabs_of(solids: list[Solid], face: Face) -> list[Slab]:
    """Return what one opening's solids take out of a wall, by depth; empty where they miss it or only touch it.

    Parameters
    ----------
    solids : list of Solid
        In the wall's own frame.
    face : Face
        The wall.
    """
    slabs: list[Slab] = []
    for solid in solids:
        slabs += _slabs(solid, face)
    slabs = _stacked(slabs)
    return slabs if sum(b - a for a, b, _ in slabs) >= LEAST else []


def clear(slabs: list[Slab], face: Face) -> BaseGeometry:
    """Return what is open through the whole thickness, in elevation; empty for a niche."""
    if sum(b - a for a, b, _ in slabs) < face.left - face.right - LEAST:
        return Polygon()
    if len(slabs) == 1:
        return slabs[0][2]
    common: BaseGeometry = box(*shapely.unary_union([region for _, _, region in slabs]).bounds)
    for a, b, region in slabs:
        if b - a > LEAST:
            common = common.intersection(region)
    return common


def read_holes(slabs: list[Slab], face: Face) -> list[Hole]:
    """Return the holes that one opening makes in a wall, the largest first.

    Parameters
    ----------
    slabs : list of Slab
        What the opening takes out, by `slabs_of`.
    face : Face
        The wall.
    """
    if not slabs:
        return []
    if len(slabs) == 1 and len(plain := _rectangles(slabs[0][2], through=True)) == 1 and plain[0].exact:
        (hole,), (low, high, region) = plain, slabs[0]
        hole.through = high - low >= face.left - face.right - LEAST
        within = region if face.plain else region.intersection(face.elevation)  # a region lies within the elevation's bounds
        hole.volume = (high - low) * float(within.area)
        return plain if hole.volume > 0 else []
    union = shapely.unary_union([region for _, _, region in slabs])
    common = clear(slabs, face)
    holes = _rectangles(common, through=True)
    if holes:
        apart = [p for p in polygons(union.difference(common), least=LEAST * LEAST) if p.distance(common) > LEAST]
        for niche in apart:  # what touches a clear hole is its reveal
            holes += _rectangles(niche, through=False)
    else:
        holes = _rectangles(union, through=False)
    total = sum((b - a) * region.intersection(face.elevation).area for a, b, region in slabs)
    for hole in holes:
        rect = box(hole.start, hole.sill, hole.end, hole.head)
        hole.volume = sum((b - a) * region.intersection(rect).intersection(face.elevation).area for a, b, region in slabs)
    holes = sorted((h for h in holes if h.volume > 0), key=lambda h: (-round(h.area), h.start, h.sill))
    if holes:
        largest = max(holes, key=lambda h: (h.through, h.area, -h.start, -h.sill))
        largest.volume += max(0.0, total - sum(h.volume for h in holes))  # reveals beside the clear hole
    return holes


def _slabs(solid: Solid, face: Face) -> list[Slab]:
    if isinstance(solid.base, Prism) and not solid.cuts and (found := _box_of(solid.base)) is not None:
        (s1, t1, z1), (s2, t2, z2) = found
        low, high = max(face.right, t1), min(face.left, t2)
        least, bottom, most, top = face.bounds
        start, sill, end, head = max(least, s1), max(bottom, z1), min(most, s2), min(top, z2)
        return [(low, high, box(start, sill, end, head))] if high - low >= 1e-6 and start < end and sill < head else []
    points = solid.base.points()
    low, high = max(face.right, float(points[:, 1].min())), min(face.left, float(points[:, 1].max()))
    if high - low < 1e-6:
        return []
    if isinstance(solid.base, Prism) and not solid.cuts:
        base = solid.base
        size = float(np.linalg.norm(base.vector))
        flat = float(base.outer[:, 1].max() - base.outer[:, 1].min())
        if max(abs(float(base.vector[0])), abs(float(base.vector[2]))) <= PARALLEL * size and flat < 0.01:
            region = sound(Polygon(base.outer[:, [0, 2]], [h[:, [0, 2]] for h in base.holes]))
            return [(low, high, _within(region, face))]
    breaks = {low, high} | {float(t) for t in points[:, 1] if low < t < high}
    for cut in solid.cuts:
        if not isinstance(cut, HalfSpace):
            breaks |= {float(t) for t in cut.points()[:, 1] if low < t < high}
    marks = sorted(breaks)
    slabs: list[Slab] = []
    for one, two in itertools.pairwise(marks):
        if two - one < 1e-6:
            continue
        first, last = (_section(solid, one + (two - one) * part, face) for part in (0.001, 0.999))
        panels = 1 if first.symmetric_difference(last).area <= 1e-6 * (first.area + last.area) else _PANELS
        step = (two - one) / panels
        slabs += [(one + step * i, one + step * (i + 1), _section(solid, one + step * (i + 0.5), face)) for i in range(panels)]
    return [s for s in slabs if not s[2].is_empty]


_Corner = tuple[float, float, float]


def _box_of(base: Prism) -> tuple[_Corner, _Corner] | None:
    """Least and greatest corner of a prism that is a box along the wall's own axes, whichever way it is extruded: by far the most
    openings are.  By hand, because arrays of three numbers cost more to make than to use.
    """
    if len(base.outer) != 4 or base.holes:
        return None
    ring, vector = base.outer.tolist(), base.vector.tolist()
    if sum(abs(v) > 1e-6 for v in vector) != 1:
        return None
    for (a, b, c), (d, e, f) in itertools.pairwise(ring):
        if (abs(d - a) > 1e-6) + (abs(e - b) > 1e-6) + (abs(f - c) > 1e-6) != 1:
            return None
    sides = []
    for k, step in enumerate(vector):
        there = [p[k] for p in ring]
        there += [v + step for v in there]
        low, high = min(there), max(there)
        if any(min(v - low, high - v) >= 1e-6 for v in there):
            return None
        sides.append((low, high))
    (s1, s2), (t1, t2), (z1, z2) = sides
    return (s1, t1, z1), (s2, t2, z2)


def _section(solid: Solid, offset: float, face: Face) -> BaseGeometry:
    low = solid.base.points().min(axis=0)
    high = solid.base.points().max(axis=0)
    window = (float(low[0]) - 1, float(low[2]) - 1, float(high[0]) + 1, float(high[2]) + 1)
    region = section(solid.base, offset, window)
    for cut in solid.cuts:
        region = region.difference(section(cut, offset, window))
    return _within(region, face)


def _within(region: BaseGeometry, face: Face) -> BaseGeometry:
    """The part within the wall's length, its underside and its highest point; a raked top is left to the volume."""
    low, bottom, high, top = face.bounds
    return region.intersection(box(low, bottom, high, top))


def _stacked(slabs: list[Slab]) -> list[Slab]:
    """Slabs that do not overlap in depth, each with the union of what lies there."""
    slabs = [s for s in slabs if s[2].area > LEAST * LEAST]
    if len(slabs) < 2:
        return [s for s in slabs if s[1] - s[0] > 1e-6]
    marks = sorted({m for a, b, _ in slabs for m in (a, b)})
    result: list[Slab] = []
    for one, two in itertools.pairwise(marks):
        here = [region for a, b, region in slabs if a < (one + two) / 2 < b]
        if here and two - one > 1e-6:
            result.append((one, two, here[0] if len(here) == 1 else shapely.unary_union(here)))
    return result


def _rectangles(region: BaseGeometry, *, through: bool) -> list[Hole]:
    holes: list[Hole] = []
    for part in polygons(region, least=LEAST * LEAST):
        for rect, exact in decomposed(part):
            start, sill, end, head = rect
            if end - start >= LEAST and head - sill >= LEAST:
                holes.append(Hole(start=start, sill=sill, end=end, head=head, through=through, volume=0.0, exact=exact))
    return holes


def decomposed(part: Polygon) -> list[tuple[tuple[float, float, float, float], bool]]:
    """Return rectangles that are a polygon, each with True; or its least box with False, where its edges are not upright and level."""
    low, bottom, high, top = part.bounds
    bounds = (float(low), float(bottom), float(high), float(top))
    if part.area >= (1 - 1e-6) * ((bounds[2] - bounds[0]) * (bounds[3] - bounds[1])):
        return [(bounds, True)]
    rings = [part.exterior, *part.interiors]
    edges = [(a, b) for ring in rings for a, b in zip(ring.coords[:-1], ring.coords[1:], strict=True)]
    if any(min(abs(b[0] - a[0]), abs(b[1] - a[1])) > 0.1 for a, b in edges):
        return [(bounds, False)]
    marks = sorted({round(float(a[0]), 3) for a, _ in edges})
    columns: list[list[float]] = []
    for one, two in itertools.pairwise(marks):
        if two - one < 0.1:
            continue
        line = part.intersection(shapely.LineString(((((one + two) / 2), bounds[1] - 1), ((one + two) / 2, bounds[3] + 1))))
        for piece in shapely.get_parts(line):
            if piece.length > 0.1:
                sill, head = float(piece.bounds[1]), float(piece.bounds[3])
                last = next((c for c in columns if abs(c[2] - one) < 0.1 and abs(c[1] - sill) < 0.1 and abs(c[3] - head) < 0.1), None)
                if last is None:
                    columns.append([one, sill, two, head])
                else:
                    last[2] = two
    return [((c[0], c[1], c[2], c[3]), True) for c in columns]

"""Sections of cuts and bodies by the upright plane at one offset of a wall: polygons of (station, level)."""

from __future__ import annotations

import numpy as np
import shapely
from shapely.geometry import LineString, MultiPolygon, Polygon
from shapely.geometry.base import BaseGeometry

from wallquant.importers.ifc.frames import PARALLEL, unit_vector
from wallquant.importers.ifc.solids import Cut, Faces, HalfSpace, Points, Prism, Solid, Tree

Window = tuple[float, float, float, float]
"""Least station, least level, greatest station, greatest level."""


def section(cut: Cut | Tree, offset: float, window: Window) -> BaseGeometry:
    """Return what a cut covers of the plane at an offset, within a window.

    Parameters
    ----------
    cut : HalfSpace, Prism, Faces, Solid or Tree
        In the wall's own frame (station, offset, level).
    offset : float
        Where the plane is, in mm.
    window : Window
        The part of the plane that matters.
    """
    if isinstance(cut, (Prism, Faces)):
        return faces_section(cut.faces(), offset).intersection(shapely.box(*window))
    if isinstance(cut, Solid):
        region = section(cut.base, offset, window)
        for one in cut.cuts:
            region = region.difference(section(one, offset, window))
        return region
    if isinstance(cut, Tree):
        first, second = section(cut.first, offset, window), section(cut.second, offset, window)
        return first.union(second) if cut.operator == "UNION" else first.intersection(second)
    pad = 1000.0
    low_s, low_z, high_s, high_z = window[0] - pad, window[1] - pad, window[2] + pad, window[3] + pad
    corners = [(low_s, low_z), (high_s, low_z), (high_s, high_z), (low_s, high_z)]
    ns, nt, nz = (float(v) for v in cut.normal)
    reach = float(np.dot(cut.normal, cut.point)) - nt * offset
    kept = _beyond(corners, ns, nz, reach)
    if len(kept) < 3:
        return Polygon()
    half: BaseGeometry = Polygon(kept)
    if cut.bound is not None and cut.frame is not None:
        half = half.intersection(_bounded(cut, offset, (low_s, low_z, high_s, high_z)))
    return half


def plan_region(cut: HalfSpace, window: Window, levels: tuple[float, float]) -> BaseGeometry | None:
    """Return what a cut takes away in plan (station, offset), or None where that is not the same at all levels of the body."""
    if abs(float(cut.normal[2])) > PARALLEL:
        return None
    corners = [(window[0], window[1]), (window[2], window[1]), (window[2], window[3]), (window[0], window[3])]
    kept = _beyond(corners, float(cut.normal[0]), float(cut.normal[1]), float(np.dot(cut.normal[:2], cut.point[:2])))
    region: BaseGeometry = Polygon(kept) if len(kept) > 2 else Polygon()
    if cut.bound is None or cut.frame is None:
        return region
    way = unit_vector(cut.frame[:3, 2])
    flat = (np.array([(x, y, 0.0, 1.0) for x, y in cut.bound]) @ cut.frame.T)[:, :3]
    if float(np.hypot(way[0], way[1])) <= PARALLEL:
        return region.intersection(sound(Polygon(flat[:, :2])))
    if abs(float(way[2])) > PARALLEL:
        return None
    # the endless prism lies level: in plan it is a strip, where its outline is upright over all levels
    across = flat[:, :2] @ np.array((-way[1], way[0]))
    face = sound(Polygon(np.column_stack((across, flat[:, 2]))))
    low, high = levels
    left, _, right, _ = face.bounds
    inner = face.intersection(shapely.box(left, low, right, high))
    if inner.is_empty:
        return Polygon()
    first, _, last, _ = inner.bounds
    if inner.area < (last - first) * (high - low) * (1 - 1e-6):
        return None
    far = max(abs(v) for v in window) * 4 + 1000
    side, ahead = np.array((-way[1], way[0])), way[:2]
    strip = Polygon([side * a + ahead * b for a, b in ((first, -far), (last, -far), (last, far), (first, far))])
    return region.intersection(strip)


def faces_section(faces: list[Points], offset: float) -> BaseGeometry:
    """Return the section of a closed body, given by its faces, with the plane at an offset: inside is where a ray meets the
    outline an odd number of times.
    """
    lines: list[LineString] = []
    for ring in faces:
        sides = ring[:, 1] > offset
        if sides.all() or not sides.any():
            continue
        crossings: list[tuple[float, float]] = []
        for i in range(len(ring)):
            (s1, t1, z1), (s2, t2, z2) = ring[i - 1], ring[i]
            if (t1 > offset) != (t2 > offset):
                part = (offset - t1) / (t2 - t1)
                crossings.append((round(float(s1 + part * (s2 - s1)), 7), round(float(z1 + part * (z2 - z1)), 7)))
        crossings.sort()
        lines += [LineString(pair) for pair in zip(crossings[::2], crossings[1::2], strict=False) if pair[0] != pair[1]]
    if len(lines) < 3:
        return Polygon()
    merged = shapely.unary_union(lines)
    cells = shapely.get_parts(shapely.polygonize([merged]))
    return shapely.unary_union([c for c in cells if _odd(c.representative_point().coords[0], lines)])


def sound(shape: BaseGeometry) -> BaseGeometry:
    """Return a polygon without crossings of its own outline."""
    if shape.is_valid:
        return shape
    parts = [p for p in shapely.get_parts(shapely.make_valid(shape)) if p.geom_type in ("Polygon", "MultiPolygon")]
    return shapely.unary_union(parts)


def polygons(shape: BaseGeometry, least: float = 0.0) -> list[Polygon]:
    """Return the polygons of a geometry with more than the least area, in a fixed order; points and lines are left out."""
    if isinstance(shape, Polygon):
        return [shape] if shape.area > least else []
    found = list(shape.geoms) if hasattr(shape, "geoms") else []
    flat = [p for f in found for p in (list(f.geoms) if isinstance(f, MultiPolygon) else [f]) if isinstance(p, Polygon)]
    return sorted((p for p in flat if p.area > least), key=lambda p: p.bounds)


def _odd(point: tuple[float, ...], lines: list[LineString]) -> bool:
    s, z = point[0], point[1]
    count = 0
    for line in lines:
        (s1, z1), (s2, z2) = line.coords
        if (s1 > s) != (s2 > s) and z1 + (s - s1) * (z2 - z1) / (s2 - s1) > z:
            count += 1
    return count % 2 == 1


def _beyond(corners: list[tuple[float, float]], a: float, b: float, reach: float) -> list[tuple[float, float]]:
    """Part of a convex polygon where ``a x + b y >= reach``."""
    kept: list[tuple[float, float]] = []
    for i, (x2, y2) in enumerate(corners):
        x1, y1 = corners[i - 1]
        d1, d2 = a * x1 + b * y1 - reach, a * x2 + b * y2 - reach
        if (d1 < 0) != (d2 < 0):
            kept.append((_between(x1, x2, d1, d2), _between(y1, y2, d1, d2)))
        if d2 >= 0:
            kept.append((x2, y2))
    return kept


def _between(one: float, two: float, d1: float, d2: float) -> float:
    return one if one == two else one + (two - one) * (d1 / (d1 - d2))


def _bounded(cut: HalfSpace, offset: float, window: Window) -> BaseGeometry:
    """Section of the endless prism over a bound."""
    assert cut.bound is not None and cut.frame is not None
    frame = cut.frame
    way = frame[:3, 2]
    flat = (np.array([(x, y, 0.0, 1.0) for x, y in cut.bound]) @ frame.T)[:, :3]
    if abs(float(way[1])) > 1e-9 * float(np.linalg.norm(way)):
        moved = flat + ((offset - flat[:, 1]) / way[1])[:, None] * way
        return sound(Polygon(moved[:, [0, 2]]))
    # the prism runs within the plane: strips over the stretches in which the plane meets the bound
    span = max(window[2] - window[0], window[3] - window[1]) * 4 + float(np.abs(flat).max())
    upright = abs(float(way[0])) <= PARALLEL * abs(float(way[2]))
    ring = sound(Polygon([(p[0], p[1]) if upright else (p[2], p[1]) for p in flat]))
    line = LineString([(ring.bounds[0] - 1, offset), (ring.bounds[2] + 1, offset)])
    strips = []
    for part in shapely.get_parts(ring.intersection(line)):
        if part.geom_type == "LineString":
            first, _, last, _ = part.bounds
            if upright:
                strips.append(shapely.box(first, window[1], last, window[3]))
            else:  # level or raked: move the stretch along the prism
                at = flat[0]
                normal = np.cross(frame[:3, 0], frame[:3, 1])
                pair = []
                for z in (first, last):
                    s = at[0] - (normal[2] * (z - at[2]) + normal[1] * (offset - at[1])) / normal[0]
                    pair.append((s, z))
                (s1, z1), (s2, z2) = pair
                far_s, far_z = way[0] * span, way[2] * span
                corners = [(s1 - far_s, z1 - far_z), (s2 - far_s, z2 - far_z), (s2 + far_s, z2 + far_z), (s1 + far_s, z1 + far_z)]
                strips.append(sound(Polygon(corners)))
    return shapely.unary_union(strips) if strips else Polygon()

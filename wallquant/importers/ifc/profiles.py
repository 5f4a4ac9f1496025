"""The outline in elevation: a level underside, a top profile, and the holes that the body itself has."""

from __future__ import annotations

import itertools

import shapely
from shapely import box
from shapely.geometry import Polygon

from wallquant.importers.ifc.frames import Unreadable
from wallquant.importers.ifc.plan import CLOSE
from wallquant.importers.ifc.sections import polygons

Chain = list[tuple[float, float]]
_SAME = 1e-4


def outline_profile(shape: Polygon, *, notches: bool) -> tuple[float, Chain, Polygon, list[Polygon]]:
    """Return bottom, top profile, elevation without holes, and the holes of an outline.

    Parameters
    ----------
    shape : Polygon
        Outline in elevation (station, level), in mm.
    notches : bool
        Whether notches in the underside are doorways that the outline draws; otherwise they make the underside uneven.

    Raises
    ------
    Unreadable
        If the underside is not level, or a part of the top overhangs.
    """
    holes = [Polygon(h) for h in shape.interiors if Polygon(h).area > 1.0]
    outer = Polygon(shape.exterior)
    if notches:
        low = outer.bounds[1]
        hull = _filled(outer, low)
        doors = polygons(hull.difference(outer), least=100.0)
        holes += doors
        outer = hull if doors else outer
    bottom, top = _profile(outer)
    elevation = Polygon([(top[0][0], bottom), (top[-1][0], bottom), *top[::-1]])
    return bottom, top, shapely.make_valid(elevation) if not elevation.is_valid else elevation, sorted(holes, key=lambda h: h.bounds)


def _filled(outer: Polygon, low: float) -> Polygon:
    """The outline with all notches in its underside filled that are rectangles not at an end."""
    first, _, last, high = outer.bounds
    result = outer
    for gap in polygons(box(first, low, last, high).difference(outer), least=100.0):
        s1, z1, s2, z2 = gap.bounds
        if z1 <= low + CLOSE and s1 > first + CLOSE and s2 < last - CLOSE and gap.area > 0.999 * box(*gap.bounds).area:
            result = shapely.unary_union([result, box(s1 - 1e-6, z1, s2 + 1e-6, z2 + 1e-6)])
    if not isinstance(result, Polygon):
        raise Unreadable("its outline in elevation falls into parts")
    return result


def _profile(outer: Polygon) -> tuple[float, Chain]:
    ring = [(float(x), float(y)) for x, y in shapely.geometry.polygon.orient(outer).exterior.coords[:-1]]
    ring = [p for i, p in enumerate(ring) if max(abs(p[0] - ring[i - 1][0]), abs(p[1] - ring[i - 1][1])) > _SAME]
    low = min(z for _, z in ring)
    first, last = min(s for s, _ in ring), max(s for s, _ in ring)
    under = [i for i, (_, z) in enumerate(ring) if z <= low + CLOSE]
    start = min(under, key=lambda i: (ring[i][0], ring[i][1]))
    end = max(under, key=lambda i: (ring[i][0], -ring[i][1]))
    if ring[start][0] > first + CLOSE or ring[end][0] < last - CLOSE:
        raise Unreadable("its underside is not level")
    size = len(ring)
    below = [ring[(start + i) % size] for i in range((end - start) % size + 1)]
    if any(z > low + CLOSE for _, z in below):
        raise Unreadable("its underside is not level")
    chain = [ring[(end + i) % size] for i in range((start - end) % size + 1)][::-1]
    if any(b[0] < a[0] - 0.01 for a, b in itertools.pairwise(chain)):
        raise Unreadable("a part of its top overhangs")
    stations = [max(p[0] for p in chain[: i + 1]) for i in range(len(chain))]
    top = [(s, p[1]) for s, p in zip(stations, chain, strict=True)]
    if len(top) > 2 and top[1][0] - top[0][0] <= _SAME and top[0][1] <= low + CLOSE:
        top = top[1:]
    if len(top) > 2 and top[-1][0] - top[-2][0] <= _SAME and top[-1][1] <= low + CLOSE:
        top = top[:-1]
    return low, _simple(top)


def _simple(top: Chain) -> Chain:
    """Leave out points that are in line with their neighbours."""
    kept: Chain = []
    for i, point in enumerate(top):
        if kept and i + 1 < len(top):
            (s1, z1), (s2, z2), (s3, z3) = kept[-1], point, top[i + 1]
            size = max(abs(s3 - s1), abs(z3 - z1))
            if size <= _SAME or abs((s2 - s1) * (z3 - z1) - (z2 - z1) * (s3 - s1)) / size <= _SAME:
                continue
        kept.append(point)
    return kept

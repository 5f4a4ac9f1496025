"""What is known of a wall that is not laid: outline, area, volume."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from shapely import box
from shapely.geometry import MultiPoint, Polygon

from wallquant.importers.ifc.frames import Matrix, Unreadable, Vector
from wallquant.importers.ifc.openings import Face
from wallquant.importers.ifc.sections import section
from wallquant.importers.ifc.solids import Prism, Solid, Tree

_SLICES = 40


@dataclass(kw_only=True, slots=True)
class Mass:
    """A wall that is not laid, as well as it is known: millimetres, mm2, mm3; `outline` in plan, world orientation."""

    outline: Polygon | None = None
    area: float = 0.0
    volume: float = 0.0
    thickness: float = 0.0
    openings_area: float = 0.0
    openings_volume: float = 0.0


def weighed(solids: list[Solid]) -> tuple[Mass, Matrix, Face]:
    """Return what is known of a body that is no straight wall: least box in plan, section in the middle, volume."""
    points = np.vstack([s.base.points() for s in solids])
    hull = MultiPoint(points[:, :2]).convex_hull
    rect = shapely.minimum_rotated_rectangle(hull)
    if not isinstance(rect, Polygon) or rect.area < 1.0:
        raise Unreadable("it has no size in plan")
    corners = np.array(rect.exterior.coords)
    edges = np.diff(corners, axis=0)
    sizes = np.hypot(edges[:, 0], edges[:, 1])
    along = edges[int(sizes[1] > sizes[0])] / sizes.max()
    frame = np.eye(4)
    frame[0, :2], frame[1, :2] = along, (-along[1], along[0])
    turned = [s.moved(frame) for s in solids]
    low = np.min([s.base.points().min(axis=0) for s in turned], axis=0)
    high = np.max([s.base.points().max(axis=0) for s in turned], axis=0)
    middle = float(low[1] + high[1]) / 2
    whole = box(float(low[0]), float(low[2]), float(high[0]), float(high[2]))
    volume = sum(_volume(s, float(low[1]), float(high[1])) for s in turned)
    window = (float(low[0]), float(low[2]), float(high[0]), float(high[2]))
    cut = shapely.unary_union([section(s.base, middle + 1e-3, window) for s in turned])
    thickness = float(high[1] - low[1])
    area = cut.area if cut.area > 0 else whole.area
    mass = Mass(outline=hull if isinstance(hull, Polygon) else rect, area=area, volume=volume or area * thickness, thickness=thickness)
    return mass, frame, Face(right=float(low[1]), left=float(high[1]), elevation=cut if cut.area > 0 else whole)


def _volume(solid: Solid, right: float, left: float) -> float:
    """Volume in mm3, clips not deducted: by the divergence theorem, or by sections where the faces' sense cannot be relied on."""
    base = solid.base
    if isinstance(base, Prism):
        area = _area_vector(base.outer)
        for hole in base.holes:
            inner = _area_vector(hole)
            area = area - (inner if float(np.dot(inner, area)) > 0 else -inner)
        return abs(float(np.dot(area, base.vector)))
    if isinstance(base, Tree) or base.kind == "a surface model":
        step = (left - right) / _SLICES
        points = base.points()
        (low, _, bottom), (high, _, top) = points.min(axis=0), points.max(axis=0)
        window = (float(low), float(bottom), float(high), float(top))
        return sum(float(section(base, right + step * (i + 0.5), window).area) * step for i in range(_SLICES))
    total = 0.0
    for ring in base.rings:
        for i in range(1, len(ring) - 1):
            total += float(np.dot(ring[0], np.cross(ring[i], ring[i + 1])))
    return abs(total / 6)


def _area_vector(ring: Vector) -> Vector:
    total = np.zeros(3)
    for i in range(1, len(ring) - 1):
        total += np.cross(ring[i] - ring[0], ring[i + 1] - ring[0])
    result: Vector = total / 2
    return result

"""A body that is no plain extrusion: the straight wall in it, what is open in it, and what lies outside of it."""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import numpy as np
import shapely
from shapely import box
from shapely.geometry import Polygon
from shapely.geometry.base import BaseGeometry

from wallquant.importers.ifc.batters import reaches
from wallquant.importers.ifc.bodies import LEAN, Body, Niche, read_body
from wallquant.importers.ifc.frames import Unreadable, Vector
from wallquant.importers.ifc.openings import decomposed
from wallquant.importers.ifc.plan import CLOSE, Straight, straight
from wallquant.importers.ifc.profiles import outline_profile
from wallquant.importers.ifc.sections import polygons, sound
from wallquant.importers.ifc.slices import Slab, slabs_of
from wallquant.importers.ifc.solids import Points, Prism, Solid

LEAST_LAID = 1 / 3
"""A body of which a smaller part is a straight wall is set aside as a whole."""
REACH = 4.0
"""What reaches further across than this many thicknesses is no face that leans or steps, but a second wall."""
UPRIGHT = 0.35
"""Greatest part of a face's normal that points up or down where the face still tells the wall's direction (20 degrees)."""
FULL = 0.85
"""Faces are sought between which the wall reaches over this part of its elevation."""
LEAST_BATTER = 0.02
"""The part of a body outside its parallel faces from which on it is a battered wall, to be laid in steps."""
SLIVER = 1.0
"""Width of what is no hole, in mm."""


def read_shape(solids: list[Solid], axis: Vector | None) -> Body:
    """Return the straight wall in solids in world orientation: extrusions and their clips exactly, all else by slices.

    Parameters
    ----------
    solids : list of Solid
        Items of the body.
    axis : Vector or None
        Unit vector in plan along the axis, where the model gives one.

    Raises
    ------
    Unreadable
        With the reason, where they are no straight wall.
    """
    if not all(isinstance(s.base, Prism) for s in solids):
        return read_sliced(solids, axis)
    try:
        return read_body(solids, axis)
    except Unreadable:
        if len(solids) < 2 and not any(s.cuts for s in solids):
            raise
        try:
            return read_sliced(solids, axis)
        except Unreadable:
            pass  # the first reason is nearer to how it is drawn
        raise


def read_sliced(solids: list[Solid], axis: Vector | None) -> Body:
    """Return the straight wall in a body of any kind, in world orientation.

    Parameters
    ----------
    solids : list of Solid
        Items of the body; where they overlap, the overlap counts once.
    axis : Vector or None
        Unit vector in plan along the axis, where the model gives one.

    Raises
    ------
    Unreadable
        With the reason, where there is no straight wall in it.
    """
    along, guessed = _direction([ring for s in solids for ring in s.faces()], axis)
    frame = np.eye(4)
    frame[0, :2], frame[1, :2] = along, (-along[1], along[0])
    turned = [s.moved(frame) for s in solids]
    slabs = slabs_of(turned)
    total = sum(s.volume() for s in slabs)
    if total <= 0:
        raise Unreadable("its body has no volume")
    planes = _planes([ring for s in turned for ring in s.faces()])
    right, left = _faces(slabs, planes)
    inner = [s for s in slabs if s.low >= right - 1e-3 and s.high <= left + 1e-3]
    outline = _outline(inner)
    plan = straight(outline)
    view = _view(inner, plan)
    bottom, top, _, _ = outline_profile(view.elevation, notches=False)
    top = _settled(top)
    elevation = Polygon([(top[0][0], bottom), (top[-1][0], bottom), *top[::-1]])
    holes = [box(*rect) if exact else part for part in _apart(elevation.difference(view.any)) for rect, exact in decomposed(part)]
    niches = _niches(elevation.intersection(view.any).difference(view.full), inner)
    hollow = sum(h.area for h in holes) * plan.thickness + sum(n.volume for n in niches)
    laid = elevation.area * plan.thickness
    inside = sum(s.volume() for s in inner)
    across = max(0.0, total - inside)
    largest = max((area for at, area in planes.items() if min(abs(at - right), abs(at - left)) <= CLOSE), default=0.0)
    if largest < 0.5 * float(view.full.area) or (guessed and plan.end - plan.start < plan.thickness):
        raise Unreadable("its faces are curved, or lie in more than one direction")
    if laid - hollow < LEAST_LAID * total:
        raise Unreadable("less than a third of its body lies between two parallel upright faces")
    volume = total + hollow
    steps = inside + hollow - laid
    beyond = across + (max(0.0, steps) if view.varies else 0.0)
    reasons: list[str] = []
    batter = reaches(turned, plan, view.full.intersection(elevation)) if across > LEAST_BATTER * total else []
    if beyond <= 1e-4 * total:
        volume, beyond, across = volume if view.varies or across == 0.0 else volume - across, 0.0, 0.0
    elif across > 1e-4 * total and not batter:
        reasons.append(f"a face leans or steps, and {across * 1e-9:.3f} m3 lie outside the faces that are parallel")
    if beyond - across > 1e-4 * total:
        reasons.append("its top or an end leans or steps across its thickness")
    return Body(
        frame=frame, plan=plan, elevation=elevation, bottom=bottom, top=top, footprint=outline, volume=volume, beyond=beyond,
        beyond_area=(beyond - across) / plan.thickness, holes=holes, niches=niches, reasons=reasons, guessed=guessed,
        batter=batter if across > 0 else [],
    )  # fmt: skip


def _direction(rings: list[Points], axis: Vector | None) -> tuple[Vector, bool]:
    """Unit vector along the wall: that of the largest upright faces, or of those that the axis is parallel to."""
    found: list[tuple[float, Vector]] = []
    for ring in rings:
        area = _area(ring)
        size = float(np.linalg.norm(area))
        if size > 1.0 and abs(float(area[2])) <= UPRIGHT * size:
            flat = np.array((-area[1], area[0]))
            found.append((size, flat if (round(float(flat[0]), 3), round(float(flat[1]), 3)) > (0.0, 0.0) else -flat))
    if not found:
        raise Unreadable("its body has no upright face")
    found.sort(key=lambda f: (-round(f[0]), round(float(f[1][0])), round(float(f[1][1]))))
    groups: list[tuple[Vector, list[float]]] = []
    for size, flat in found:
        way = flat / float(np.hypot(*flat))
        group = next((g for g in groups if abs(float(g[0][0] * way[1] - g[0][1] * way[0])) < 0.002), None)
        if group is None:
            groups.append((way, [size]))
        else:
            group[1].append(size)
    groups.sort(key=lambda g: -round(sum(g[1])))
    if axis is not None:
        for way, _ in groups:
            if abs(float(way[0] * axis[1] - way[1] * axis[0])) < 0.02:
                return (way if float(np.dot(way, axis)) > 0 else -way), False
    way = groups[0][0]
    return (way if (round(float(way[0]), 9), round(float(way[1]), 9)) > (0.0, 0.0) else -way), True


def _area(ring: Points) -> Vector:
    """Area of a face as a vector along its normal."""
    from_first = ring - ring[0]
    result: Vector = np.cross(from_first[:-1], from_first[1:]).sum(axis=0) / 2
    return result


def _planes(rings: list[Points]) -> dict[float, float]:
    """Offsets of the faces that are upright along the wall, with their areas."""
    planes: dict[float, float] = {}
    for ring in rings:
        low, high = float(ring[:, 1].min()), float(ring[:, 1].max())
        if high - low <= 0.1:
            at = next((p for p in planes if abs(p - (low + high) / 2) <= CLOSE / 2), round((low + high) / 2, 4))
            planes[at] = planes.get(at, 0.0) + abs(float(_area(ring)[1]))
    most = max(planes.values(), default=0.0)
    return {at: area for at, area in sorted(planes.items()) if area >= 0.1 * most and area > 1.0}


def _faces(slabs: list[Slab], planes: dict[float, float]) -> tuple[float, float]:
    """Offsets of the two faces between which the most of the body is a wall of full height and thickness."""
    low, high = slabs[0].low, slabs[-1].high
    marks = [low, *(s.high for s in slabs)]
    flat = {min(marks, key=lambda m: abs(m - at)) for at in planes}
    chosen = flat | {low, high}
    if not {low, high} <= flat:
        chosen |= {*marks[:: max(1, len(marks) // 8)]}
    whole = shapely.union_all([r for s in slabs for r in s.sections]).area
    volumes = [s.volume() for s in slabs]
    best: tuple[tuple[bool, float], float, float] | None = None
    for one, two in itertools.combinations(sorted(chosen), 2):
        inner = [i for i, s in enumerate(slabs) if s.low >= one - 1e-3 and s.high <= two + 1e-3]
        if not inner or not {one, two} & flat or high - low > (1 + REACH) * (two - one) + CLOSE:
            continue
        full = slabs[inner[0]].sections[0]
        for region in (r for i in inner for r in slabs[i].sections):
            full = full.intersection(region)
        under = _filled(full)
        hollow = sum(slabs[i].depth * under.area - slabs[i].volume(under) for i in inner)
        through = _filled(under).difference(shapely.union_all([r for i in inner for r in slabs[i].sections])).area * (two - one)
        outside = sum(volumes) - sum(slabs[i].volume(under) for i in inner)
        rank = (under.area >= FULL * whole, -(outside + hollow - through))
        if best is None or rank > best[0]:
            best = rank, one, two
    if best is None:
        raise Unreadable("its body has no two parallel upright faces that are near to each other")
    return best[1], best[2]


def _outline(slabs: list[Slab]) -> Polygon:
    """Outline in plan: the ends of the body from face to face."""
    start: list[tuple[float, float]] = []
    end: list[tuple[float, float]] = []
    for slab in slabs:
        for at, region in zip((slab.low, slab.high), slab.ends, strict=True):
            if not region.is_empty:
                start.append((float(region.bounds[0]), at))
                end.append((float(region.bounds[2]), at))
    found = polygons(sound(Polygon([*start, *end[::-1]]))) if len(start) > 1 else []
    if len(found) != 1:
        raise Unreadable("its outline in plan is no straight wall with two parallel faces")
    outline = found[0].simplify(0.01)
    return outline if isinstance(outline, Polygon) else found[0]


@dataclass(frozen=True, kw_only=True, slots=True)
class _View:
    """The body in elevation between the mean ends: where it is at all, where it has its full thickness, and that filled downward."""

    any: BaseGeometry
    full: BaseGeometry
    elevation: Polygon
    varies: bool


def _view(slabs: list[Slab], plan: Straight) -> _View:
    sections = [r for s in slabs for r in s.sections if not r.is_empty]
    low, high = min(r.bounds[1] for r in sections), max(r.bounds[3] for r in sections)
    whole = box(plan.start, low, plan.end, high)
    gone = []
    for region in sections:  # what a section lacks beyond its own ends is the mitre, which the mean ends take care of
        first, _, last, _ = region.bounds
        gone.append(box(first, low - 1, last, high + 1).difference(region).intersection(whole))
    some, every = shapely.union_all(gone), gone[0]
    for one in gone[1:]:
        every = every.intersection(one)
    middle = gone[len(gone) // 2]
    leans = some.area - every.area > LEAN * max(plan.end - plan.start, high - low)
    present, full = whole.difference(every if leans else middle), whole.difference(some if leans else middle)
    pieces = polygons(full, least=0.0001 * whole.area)
    if not pieces:
        raise Unreadable("nothing of its body has its full thickness")
    full = shapely.union_all(pieces)
    under = _filled(full).simplify(SLIVER / 4)
    if not isinstance(under, Polygon):
        raise Unreadable("its outline in elevation falls into parts")
    _level(under, present, plan)
    return _View(any=present, full=full, elevation=under, varies=leans)


def _level(under: Polygon, present: BaseGeometry, plan: Straight) -> None:
    """Raise where the underside is not level: what is missing there is no doorway."""
    _, low, _, _ = under.bounds
    for gap in _apart(under.difference(present)):
        first, sill, last, head = gap.bounds
        if sill > low + CLOSE:
            continue
        if first <= plan.start + CLOSE or last >= plan.end - CLOSE or gap.area < 0.98 * box(first, sill, last, head).area:
            raise Unreadable("its underside is not level")


def _filled(shape: BaseGeometry) -> BaseGeometry:
    """The shape and all below it down to its lowest level, gaps between its parts filled."""
    if shape.is_empty:
        return Polygon()
    low = float(shape.bounds[1])
    parts: list[BaseGeometry] = [shape]
    for part in polygons(shape):
        ring = np.array(part.exterior.coords)
        for (s1, z1), (s2, z2) in itertools.pairwise(ring.tolist()):
            if abs(s2 - s1) > 1e-9 and max(z1, z2) > low:
                parts.append(Polygon([(s1, low), (s2, low), (s2, z2), (s1, z1)]))
    grown = shapely.union_all([sound(p) for p in parts], grid_size=1e-6)
    pieces = polygons(grown, least=1.0)
    for one, two in itertools.pairwise(pieces):
        a, b = one.bounds[2], two.bounds[0]
        if b > a:
            pieces.append(Polygon([(a - 1e-6, low), (b + 1e-6, low), (b + 1e-6, _height(two, b, low)), (a - 1e-6, _height(one, a, low))]))
    result = shapely.union_all(pieces, grid_size=1e-6)
    return Polygon(result.exterior) if isinstance(result, Polygon) else result


def _settled(top: list[tuple[float, float]]) -> list[tuple[float, float]]:
    """A top without slopes that are only the rounding of the model's numbers."""
    kept = top[:1]
    for station, level in top[1:]:
        kept.append((station, kept[-1][1] if abs(level - kept[-1][1]) < SLIVER / 20 else level))
    return [p for i, p in enumerate(kept) if i in (0, len(kept) - 1) or not kept[i - 1][1] == p[1] == kept[i + 1][1]]


def _height(part: Polygon, at: float, low: float) -> float:
    """The level of a part's top at one of its ends."""
    return max((z for s, z in part.exterior.coords if abs(s - at) < 1e-3), default=low)


def _apart(shape: BaseGeometry) -> list[Polygon]:
    """The polygons of what is left, slivers left out."""
    half = SLIVER / 2
    worn = shape.buffer(-half, join_style="mitre").buffer(half, join_style="mitre")
    return polygons(worn.intersection(shape), least=100.0)


def _niches(shape: BaseGeometry, slabs: list[Slab]) -> list[Niche]:
    """What does not go through, with the volume that is missing there."""
    found: list[Niche] = []
    for part in _apart(shape):
        for rect, exact in decomposed(part):
            region = box(*rect) if exact else part
            one = Niche(region=region, voids=tuple((s.low, s.high, s.depth * region.area - s.volume(region)) for s in slabs))
            if one.volume > SLIVER * region.area:
                found.append(one)
    return found

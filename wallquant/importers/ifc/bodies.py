"""A wall's body: prisms and cuts become one straight wall with a level underside and a top profile."""

from __future__ import annotations

import itertools
from dataclasses import dataclass, field
from math import hypot

import numpy as np
import shapely
from shapely import box
from shapely.geometry import Polygon
from shapely.geometry.base import BaseGeometry

from wallquant.importers.ifc.frames import PARALLEL, Matrix, Unreadable, Vector
from wallquant.importers.ifc.plan import CLOSE, END_LIMIT, Straight, direction, straight
from wallquant.importers.ifc.profiles import outline_profile
from wallquant.importers.ifc.sections import plan_region, polygons, section, sound
from wallquant.importers.ifc.solids import Cut, HalfSpace, Prism, Solid

LEAN = 2.0
"""A cut that differs by less than this between the faces, in mm, is taken at its mean."""
_HAIR = 1e-6
"""Edges of a box are along its axes to this, in mm."""
_SAMPLES = (0.0, 1 / 6, 1 / 3, 0.5, 2 / 3, 5 / 6, 1.0)
_GAUSS = ((-0.7745966692414834, 5 / 9), (0.0, 8 / 9), (0.7745966692414834, 5 / 9))


@dataclass(frozen=True, kw_only=True, slots=True)
class Niche:
    """A part of the body's elevation, in mm, that is hollow but not through, and what is missing between offsets, in mm3."""

    region: Polygon
    voids: tuple[tuple[float, float, float], ...]
    """From offset, to offset, what is missing there: evenly spread."""

    @property
    def volume(self) -> float:
        """All that is missing."""
        return sum(void for _, _, void in self.voids)

    def between(self, right: float, left: float) -> Niche:
        """Return what of it lies between two offsets."""
        inside = ((max(low, right), min(high, left), void / (high - low)) for low, high, void in self.voids)
        return Niche(region=self.region, voids=tuple((a, b, void * (b - a)) for a, b, void in inside if a < b))


@dataclass(kw_only=True, slots=True)
class Body:
    """A straight wall in its own frame (station, offset, level), in mm.

    Attributes
    ----------
    frame : Matrix
        From world orientation to the wall's own frame; a turn in plan.
    plan : Straight
        Faces and ends.
    elevation : Polygon
        What can be laid, holes filled; between the ends, from the underside to the top.
    bottom : float
        Level of the underside.
    top : list of (float, float)
        Stations and levels, from end to end.
    footprint : Polygon
        Outline in plan of the drawn body.
    volume : float
        mm3 of the body, cuts applied, holes filled.
    beyond : float
        The part of `volume` outside `elevation` that cannot be laid.
    beyond_area : float or None
        The face area of that part in mm2, where it is not `beyond` by the thickness.
    holes : list of Polygon
        Holes that the body itself has, in elevation.
    niches : list of Niche
        Hollows that do not go through.
    """

    frame: Matrix
    plan: Straight
    elevation: Polygon
    bottom: float
    top: list[tuple[float, float]]
    footprint: Polygon
    volume: float
    beyond: float
    holes: list[Polygon]
    niches: list[Niche] = field(default_factory=list)
    beyond_area: float | None = None
    reasons: list[str] = field(default_factory=list)
    guessed: bool = False
    batter: list[tuple[float, float, float]] = field(default_factory=list)
    """Levels, and what is drawn there beyond the right and left face, where a face leans or steps back; straight between."""


@dataclass(kw_only=True, slots=True)
class _Block:
    """One solid: its outline in plan, its levels, and its outline in elevation where it is not upright."""

    plan: Polygon
    low: float
    high: float
    solid: Solid
    lying: bool


def read_body(solids: list[Solid], axis: Vector | None) -> Body:
    """Return the straight wall that solids in world orientation are.

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
    if len(solids) == 1 and (plain := _plain(solids[0], axis)) is not None:
        return plain
    blocks = [_block(s) for s in solids]
    if not blocks:
        raise Unreadable("it has no body")
    largest = max(blocks, key=lambda b: (round(b.plan.area), b.plan.bounds))
    along, guessed = direction(largest.plan, axis)
    frame = np.eye(4)
    frame[0, :2], frame[1, :2] = along, (-along[1], along[0])
    turned = [_block(s.moved(frame)) for s in solids]
    if len(turned) > 1:
        whole = _merged(turned)
        turned = turned if whole is None else [whole]
    parts = [_part(b, frame) for b in turned]
    body = parts[0] if len(parts) == 1 else _joined(parts, frame)
    body.guessed = guessed
    return body


def _plain(solid: Solid, axis: Vector | None) -> Body | None:
    """The wall that an uncut upright prism of four corners is, square or mitred, as by far the most walls are: by hand, what all that
    follows comes to for it.
    """
    base = solid.base
    if solid.cuts or not isinstance(base, Prism) or len(base.outer) != 4 or base.holes or base.curved:
        return None
    (x, y, z), ring = base.vector.tolist(), base.outer.tolist()
    low = ring[0][2]
    if hypot(x, y) > PARALLEL * abs(z) or max(abs(p[2] - low) for p in ring) > 0.01:
        return None
    edges = [(b[0] - a[0], b[1] - a[1]) for a, b in zip(ring, (*ring[1:], ring[0]), strict=True)]
    if not any(abs(edges[k][0] * edges[k + 2][1] - edges[k][1] * edges[k + 2][0]) < _HAIR * hypot(*edges[k]) for k in (0, 1)):
        return None
    outline = Polygon(base.outer[:, :2])
    if not outline.is_valid:
        return None
    along, guessed = direction(outline, axis)
    frame = np.eye(4)
    frame[0, :2], frame[1, :2] = along, (-along[1], along[0])
    turned = (base.outer @ frame[:3, :3].T)[:, :2]
    corners = turned.tolist()
    first = next((k for k in (0, 1) if all(abs(corners[n][1] - corners[n + 1 - 4][1]) < _HAIR for n in (k, k + 2))), None)
    if first is None:
        return None
    faces = sorted(sorted((corners[k], corners[k + 1 - 4])) for k in (first, first + 2))
    (one, two), (three, four) = sorted(faces, key=lambda face: face[0][1])
    right, left = one[1], three[1]
    start, end = (one[0] + three[0]) / 2, (two[0] + four[0]) / 2
    # the faces are longer than the wall is thick, and the ends are no faces
    if min(two[0] - one[0], four[0] - three[0], end - start) < max(left - right, 2 * CLOSE) or left - right < 2 * CLOSE:
        return None
    cuts = abs(one[0] - three[0]), abs(two[0] - four[0])
    if max(cuts) > END_LIMIT * (left - right):
        return None
    square = max(cuts) < _HAIR
    bottom, top = sorted((low, low + z))
    elevation = Polygon([(start, bottom), (end, bottom), (end, top), (start, top)])
    plan = Straight(start=start, end=end, right=right, left=left, odd_ends=0, notches=0, square=square)
    footprint = Polygon(turned)
    volume = elevation.area * plan.thickness if square else footprint.area * (top - bottom)
    return Body(
        frame=frame, plan=plan, elevation=elevation, bottom=bottom, top=[(start, top), (end, top)], footprint=footprint, volume=volume,
        beyond=0.0, holes=[], guessed=guessed,
    )  # fmt: skip


def _block(solid: Solid) -> _Block:
    base = solid.base
    if not isinstance(base, Prism):
        raise Unreadable("its body is no extrusion")
    way = base.vector / np.linalg.norm(base.vector)
    if abs(float(np.hypot(way[0], way[1]))) <= PARALLEL:
        levels = base.outer[:, 2]
        if float(levels.max() - levels.min()) > 0.01:
            raise Unreadable("its underside is not level")
        if base.curved:
            raise Unreadable("its outline in plan is curved")
        low, high = sorted((float(levels[0]), float(levels[0] + base.vector[2])))
        plan = sound(Polygon(base.outer[:, :2], [h[:, :2] for h in base.holes]))
        if not isinstance(plan, Polygon) or plan.is_empty or plan.interiors:
            raise Unreadable("its outline in plan is no straight wall with two parallel faces")
        return _Block(plan=plan, low=low, high=high, solid=solid, lying=False)
    if abs(float(way[2])) > PARALLEL:
        raise Unreadable("its body is extruded at a slant, neither upright nor level")
    side = np.array((-way[1], way[0]))
    across, ahead = base.outer[:, :2] @ side, base.outer[:, :2] @ way[:2]
    if float(ahead.max() - ahead.min()) > 0.01:
        raise Unreadable("its ends lean out of the vertical")
    a, b = float(across.min()), float(across.max())
    c, d = sorted((float(ahead[0]), float(ahead[0]) + float(np.linalg.norm(base.vector))))
    corners = [side * x + way[:2] * y for x, y in ((a, c), (b, c), (b, d), (a, d))]
    levels = base.outer[:, 2]
    return _Block(plan=Polygon(corners), low=float(levels.min()), high=float(levels.max()), solid=solid, lying=True)


def _merged(blocks: list[_Block]) -> _Block | None:
    """One block for uncut upright solids of the same levels whose outlines together are one, such as layers; else None."""
    first = blocks[0]
    same = all(not b.lying and not b.solid.cuts and abs(b.low - first.low) < 0.01 and abs(b.high - first.high) < 0.01 for b in blocks)
    if not same:
        return None
    whole = shapely.unary_union([b.plan.buffer(0.005, join_style="mitre") for b in blocks]).buffer(-0.005, join_style="mitre")
    if not isinstance(whole, Polygon) or whole.interiors or sum(b.plan.area for b in blocks) - whole.area > CLOSE * whole.length:
        return None
    ring = np.array([(x, y, first.low) for x, y in whole.exterior.coords[:-1]])
    base = Prism(outer=ring, holes=[], vector=np.array((0.0, 0.0, first.high - first.low)), curved=False)
    return _Block(plan=whole, low=first.low, high=first.high, solid=Solid(base=base), lying=False)


def _part(block: _Block, frame: Matrix) -> Body:
    footprint: BaseGeometry = block.plan
    rest: list[Cut] = []
    low, right, high, left = footprint.bounds
    for cut in block.solid.cuts:
        wide = (low - 1000, right - 1000, high + 1000, left + 1000)
        region = plan_region(cut, wide, (block.low, block.high)) if isinstance(cut, HalfSpace) else None
        if region is None:
            rest.append(cut)
        elif region.intersects(footprint):
            footprint = footprint.difference(region)
    pieces = polygons(footprint, least=1.0)
    if not pieces:
        raise Unreadable("its clips leave nothing of its body")
    if len(pieces) > 1:
        raise Unreadable("its clips cut its body into several parts")
    footprint = pieces[0]
    plan = straight(footprint)
    drawn: BaseGeometry = box(plan.start, block.low, plan.end, block.high)
    if block.lying:
        drawn = drawn.intersection(_elevation(block, plan))
    whole = drawn
    window = drawn.bounds
    reasons: list[str] = []
    varies = False
    for cut in rest:
        region, leans = _covered(cut, plan, (window[0], window[1], window[2], window[3]))
        varies = varies or leans
        drawn = drawn.difference(region)
        if leans and "a clip leans or steps across its thickness" not in reasons:
            reasons.append("a clip leans or steps across its thickness")
    faces = polygons(drawn, least=0.0001 * whole.area)
    if not faces:
        raise Unreadable("its clips leave nothing that has its full thickness")
    if len(faces) > 1:
        raise Unreadable("its clips cut its body into several parts")
    bottom, top, elevation, holes = outline_profile(faces[0], notches=block.lying)
    laid = elevation.area * plan.thickness
    if not varies and (plan.square or (not rest and not block.lying)):
        volume = laid if plan.square else footprint.area * (block.high - block.low)
    else:
        volume = _volume(block, footprint, rest, plan) + sum(h.area for h in holes) * plan.thickness
    beyond = max(0.0, volume - laid) if varies else 0.0
    if beyond > 0.5 * volume:
        raise Unreadable("more than half of its body is clipped by planes that lean across its thickness")
    return Body(
        frame=frame, plan=plan, elevation=elevation, bottom=bottom, top=top, footprint=footprint, volume=volume, beyond=beyond,
        holes=holes, reasons=reasons if beyond > 0 else [],
    )  # fmt: skip


def _elevation(block: _Block, plan: Straight) -> BaseGeometry:
    """Outline in elevation of a body that is extruded level."""
    base = block.solid.base
    assert isinstance(base, Prism)
    if abs(float(base.vector[1])) > abs(float(base.vector[0])):  # through the thickness
        return sound(Polygon(base.outer[:, [0, 2]], [h[:, [0, 2]] for h in base.holes]))
    cross = sound(Polygon(base.outer[:, 1:]))
    if base.holes or cross.area < (1 - 1e-6) * box(*cross.bounds).area or abs(cross.bounds[2] - cross.bounds[0] - plan.thickness) > CLOSE:
        raise Unreadable("its cross-section is no rectangle")
    return box(plan.start, block.low, plan.end, block.high)


def _covered(cut: Cut, plan: Straight, window: tuple[float, float, float, float]) -> tuple[BaseGeometry, bool]:
    """What a cut takes away in elevation, and whether it differs across the thickness (then all that it touches is taken)."""
    if isinstance(cut, HalfSpace):
        corners = [(s, t, z) for s in window[::2] for t in (plan.right, plan.left) for z in window[1::2]]
        if max(float(np.dot(cut.normal, np.array(c) - cut.point)) for c in corners) <= 1e-6:
            return Polygon(), False  # it takes nothing away, as clips often do
    inset = plan.thickness * 1e-6
    whole = box(*window)
    at = [plan.right + inset + (plan.thickness - 2 * inset) * part for part in _SAMPLES]
    regions = [section(cut, t, window).intersection(whole) for t in at]
    middle = regions[len(regions) // 2]
    union = shapely.unary_union([r for r in regions if not r.is_empty] or [Polygon()])
    if union.is_empty:
        return Polygon(), False
    common = regions[0]
    for region in regions[1:]:
        common = common.intersection(region)
    spread = union.area - common.area
    reach = max(union.bounds[2] - union.bounds[0], union.bounds[3] - union.bounds[1])
    if spread <= LEAN * reach:
        return middle, False
    return union, True


def _volume(block: _Block, footprint: Polygon, cuts: list[Cut], plan: Straight) -> float:
    """Volume by sections: exact to the quadrature, which serves planes and breaks exactly but for where two cuts cross."""
    base = block.solid.base
    assert isinstance(base, Prism)
    shape = _elevation(block, plan) if block.lying else None
    breaks = {round(float(t), 6) for _, t in footprint.exterior.coords} | {plan.right, plan.left}
    for cut in cuts:
        if isinstance(cut, HalfSpace):
            if cut.bound is not None and cut.frame is not None:
                breaks |= {round(float((cut.frame @ np.array((x, y, 0.0, 1.0)))[1]), 6) for x, y in cut.bound}
        else:
            breaks |= {round(float(t), 6) for t in cut.points()[:, 1]}
    low, right, high, left = footprint.bounds
    marks = sorted(b for b in breaks if right <= b <= left)
    window = (low, block.low, high, block.high)
    total = 0.0
    for one, two in itertools.pairwise(marks):
        if two - one < 1e-6:
            continue
        for panel in range(2):
            half = (two - one) / 4
            centre = one + half * (2 * panel + 1)
            for node, weight in _GAUSS:
                t = centre + half * node
                line = footprint.intersection(shapely.LineString(((low - 1, t), (high + 1, t))))
                area: BaseGeometry = shapely.unary_union(
                    [box(p.bounds[0], block.low, p.bounds[2], block.high) for p in shapely.get_parts(line) if p.length > 0]
                )
                if shape is not None:
                    area = area.intersection(shape)
                for cut in cuts:
                    area = area.difference(section(cut, t, window))
                total += area.area * weight * half
    return total


def _joined(parts: list[Body], frame: Matrix) -> Body:
    """One body of several with the same faces, beside or upon each other."""
    first = parts[0]
    reason = "its body has several solids that make no straight wall together"
    for one in parts[1:]:
        if abs(one.plan.right - first.plan.right) > CLOSE or abs(one.plan.left - first.plan.left) > CLOSE:
            raise Unreadable(reason)
    near = 0.005
    shape = shapely.unary_union([p.elevation.buffer(near, join_style="mitre") for p in parts]).buffer(-near, join_style="mitre")
    outline = shapely.unary_union([p.footprint.buffer(near, join_style="mitre") for p in parts]).buffer(-near, join_style="mitre")
    if not isinstance(shape, Polygon) or not isinstance(outline, Polygon) or shape.interiors:
        raise Unreadable(reason)
    overlap = sum(p.elevation.area for p in parts) - shape.area
    if overlap > CLOSE * shape.length:
        raise Unreadable("its body has several solids that overlap")
    bottom, top, elevation, _ = outline_profile(shape, notches=False)
    plan = straight(outline)
    return Body(
        frame=frame, plan=plan, elevation=elevation, bottom=bottom, top=top, footprint=outline, volume=sum(p.volume for p in parts),
        beyond=sum(p.beyond for p in parts), holes=[h for p in parts for h in p.holes],
        reasons=sorted({r for p in parts for r in p.reasons}),
    )  # fmt: skip

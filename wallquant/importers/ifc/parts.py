"""A wall without a body of its own: its parts as layers and blocks of one straight wall, or their outline where they are a frame."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
import shapely
from shapely import box
from shapely.geometry import MultiPoint, Polygon
from shapely.geometry.base import BaseGeometry

from wallquant.importers.ifc.bodies import Body
from wallquant.importers.ifc.frames import Entity, Matrix, Unreadable, Vector
from wallquant.importers.ifc.labels import label
from wallquant.importers.ifc.meshes import read_shape
from wallquant.importers.ifc.plan import CLOSE, Straight
from wallquant.importers.ifc.profiles import outline_profile
from wallquant.importers.ifc.relations import Layer, Layers, Relations, layers
from wallquant.importers.ifc.sections import section, sound
from wallquant.importers.ifc.slices import slabs_of
from wallquant.importers.ifc.solids import Prism, Solid, Tree

MEMBERS = ("IfcMember", "IfcPlate", "IfcBeam", "IfcColumn")
"""Parts that are framing."""
BODIES = (*MEMBERS, "IfcBuildingElementPart", "IfcBuildingElementProxy", "IfcCovering", "IfcSlab")
"""Parts that are the wall's body; fasteners, reinforcement and what else hangs on a wall are not."""
SOLID = 0.85
"""Parts among which are members are a frame where they fill less than this of their outline."""
MOSTLY = 0.5
"""Parts without members are no wall where they fill less than this of their outline."""
GAP = 20.0
"""Joints between parts up to this wide are part of the wall's outline, in mm."""
LEAST_HOLE = 1e4
"""What is open between panels is a hole of the wall from this size on, in mm2; the frame's own gaps are smaller."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Part:
    """A part of a wall: its solids in world orientation about the wall's placement."""

    solids: list[Solid]
    member: bool
    layer: Layer
    """Its material; its thickness is not known yet."""


@dataclass(frozen=True, kw_only=True, slots=True)
class InParts:
    """A wall read from its parts; `outline`: its body is their outline, and why."""

    body: Body
    outline: str = ""


def part_elements(wall: Entity, relations: Relations) -> tuple[list[Entity], list[str]]:
    """Return the elements that are a wall's body, parts of assemblies included, and the classes of the other ones."""
    found: list[Entity] = []
    others: set[str] = set()
    waiting = list(relations.parts.get(wall.id(), ()))
    seen = {wall.id()}
    while waiting:
        one = waiting.pop(0)
        if one.id() in seen:
            continue
        seen.add(one.id())
        inner = relations.parts.get(one.id(), ())
        if getattr(one, "Representation", None) is None and inner:
            waiting += inner
        elif any(one.is_a(kind) for kind in BODIES):
            found.append(one)
        else:
            others.add(one.is_a())
    return sorted(found, key=lambda e: (str(e.GlobalId or ""), e.id())), sorted(others)


def gathered(elements: list[Entity], relations: Relations, placed: Callable[[Entity], list[Solid]]) -> list[Part]:
    """Return parts with their own openings cut out.

    Parameters
    ----------
    elements : list of Entity
        As `part_elements` returns them.
    relations : Relations
    placed : callable
        Gives an element's solids in world orientation about the wall's placement.

    Raises
    ------
    Unreadable
        With the part's name, where one has no solids.
    """
    parts: list[Part] = []
    for one in elements:
        name = label(one.Name) or label(one.GlobalId)
        try:
            cuts = [cut for opening in relations.openings.get(one.id(), ()) for cut in placed(opening)]
            solids = [Solid(base=solid.base, cuts=[*solid.cuts, *cuts]) for solid in placed(one)]
        except Unreadable as reason:
            raise Unreadable(f"its part {name} cannot be read: {reason}") from None
        made = layers(relations.material.get(one.id()))
        function = made.each[0].function if len(made.each) == 1 else ""
        layer = Layer(name=made.name or name, thickness=0.0, function=function)
        parts.append(Part(solids=solids, member=any(one.is_a(kind) for kind in MEMBERS), layer=layer))
    return parts


def read_parts(parts: list[Part], axis: Vector | None) -> InParts:
    """Return the one straight wall that parts are.

    Parameters
    ----------
    parts : list of Part
        At least one.
    axis : Vector or None
        Unit vector in plan along the axis, where the model gives one.

    Raises
    ------
    Unreadable
        With the reason, where they are none.
    """
    solids = [solid for part in parts for solid in part.solids]
    members = sum(len(part.solids) for part in parts if part.member)
    body = outline(parts, axis)
    full = body.volume - sum(hole.area for hole in body.holes) * body.plan.thickness
    drawn = sum(slab.volume() for slab in slabs_of([solid.moved(body.frame) for solid in solids]))
    if members and drawn < SOLID * full:
        panels = len(solids) - members
        kinds = f"{members} member{'s' * (members > 1)}" + (f" and {panels} panel{'s' * (panels > 1)}" if panels else "")
        return InParts(body=body, outline=f"a frame of {kinds}, {drawn * 1e-9:.3f} m3 together")
    try:
        return InParts(body=read_shape(solids, axis))
    except Unreadable:
        if drawn < MOSTLY * full:
            raise
    return InParts(body=body, outline=f"{len(solids)} bodies that do not join to one, {drawn * 1e-9:.3f} m3 together")


def outline(parts: list[Part], axis: Vector | None) -> Body:
    """Return the upright prism over the outline of parts in elevation, as thick as all of them; a frame without panels has no holes."""
    solids = [solid for part in parts for solid in part.solids]
    points = np.vstack([solid.base.points() for solid in solids])
    along, guessed = _direction(points[:, :2], axis)
    frame = np.eye(4)
    frame[0, :2], frame[1, :2] = along, (-along[1], along[0])
    points = points @ frame[:3, :3].T
    right, left = float(points[:, 1].min()), float(points[:, 1].max())
    half = GAP / 2
    grown = shapely.union_all([_shadow(solid.moved(frame)) for solid in solids]).buffer(half, join_style="mitre")
    shape = grown.buffer(-half, join_style="mitre").simplify(0.01)
    if not isinstance(shape, Polygon) or shape.is_empty:
        raise Unreadable("its parts lie apart from each other")
    bottom, top, elevation, holes = outline_profile(shape, notches=True)
    if all(part.member for part in parts):
        holes = []
    plan = Straight(start=top[0][0], end=top[-1][0], right=right, left=left, odd_ends=0, notches=0, square=True)
    if plan.thickness < CLOSE or plan.end - plan.start < plan.thickness:
        raise Unreadable("its parts together are no longer than they are thick")
    return Body(
        frame=frame, plan=plan, elevation=elevation, bottom=bottom, top=top, footprint=box(plan.start, right, plan.end, left),
        volume=elevation.area * plan.thickness, beyond=0.0, holes=[h for h in holes if h.area >= LEAST_HOLE], guessed=guessed,
    )  # fmt: skip


def stacked(parts: list[Part], body: Body, scale: float, *, leftward: bool) -> Layers:
    """Return the layers that parts are, or none where they do not lie behind each other.

    Parameters
    ----------
    parts : list of Part
    body : Body
        That they are together.
    scale : float
        Millimetres in one length unit of the model.
    leftward : bool
        Whether the wall's own y is on its left, so that layers are counted from right to left.
    """
    deep: list[tuple[float, float, float, Layer]] = []
    for part in parts:
        turned = [solid.moved(body.frame) for solid in part.solids]
        points = np.vstack([solid.base.points() for solid in turned])
        size = sum(slab.volume() for slab in slabs_of(turned))
        deep.append((float(points[:, 1].min()), float(points[:, 1].max()), size, part.layer))
    deep.sort(key=lambda d: (d[0], d[1], -d[2], d[3]))
    each: list[Layer] = []
    at, largest = body.plan.right, 0.0
    before: tuple[float, float] | None = None
    for low, high, size, layer in deep:
        if before is not None and max(abs(low - before[0]), abs(high - before[1])) <= CLOSE:  # blocks side by side in one layer
            if size > largest:
                each[-1], largest = replace(layer, thickness=each[-1].thickness), size
            continue
        if low < at - CLOSE:
            return Layers(name=max(deep, key=lambda d: d[2])[3].name)
        if low > at + CLOSE:
            each.append(Layer(name="", thickness=(low - at) / scale, ventilated=True))
        else:
            low = at
        each.append(replace(layer, thickness=(high - low) / scale))
        at, largest, before = high, size, (low, high)
    thick = max(each, key=lambda one: one.thickness)
    return Layers(
        name=thick.name, total=sum(one.thickness for one in each), positive=leftward, count=len(each),
        title="of " + ", ".join(one.name or "no name" for one in each), each=tuple(each),
    )  # fmt: skip


def through(solids: list[Solid], body: Body) -> list[Solid]:
    """Return an opening's solids, in the wall's frame, drawn out across a wall of which only the outline is known."""
    result: list[Solid] = []
    for solid in solids:
        offsets = solid.base.points()[:, 1]
        low, high = float(offsets.min()), float(offsets.max())
        matrix: Matrix = np.eye(4)
        if high - low > 1e-6:
            matrix[1, 1] = (body.plan.thickness + 2 * CLOSE) / (high - low)
            matrix[1, 3] = body.plan.right - CLOSE - matrix[1, 1] * low
        result.append(solid.moved(matrix))
    return result


def _direction(points: Vector, axis: Vector | None) -> tuple[Vector, bool]:
    """Unit vector along the longer side of the least box in plan, the axis's way where it is parallel to it; whether guessed."""
    rect = shapely.minimum_rotated_rectangle(MultiPoint(points).convex_hull)
    if not isinstance(rect, Polygon) or rect.area < 1.0:
        raise Unreadable("its parts have no size in plan")
    edges = np.diff(np.array(rect.exterior.coords), axis=0)
    sizes = np.hypot(edges[:, 0], edges[:, 1])
    along = edges[int(sizes[1] > sizes[0])] / sizes.max()
    if axis is not None and abs(float(along[0] * axis[1] - along[1] * axis[0])) < 0.02:
        return (along if float(np.dot(along, axis)) > 0 else -along), False
    return (along if (round(float(along[0]), 9), round(float(along[1]), 9)) > (0.0, 0.0) else -along), True


def _shadow(solid: Solid) -> BaseGeometry:
    """What a solid covers in elevation; where it has holes or cuts, its section in the middle of its depth."""
    base = solid.base
    if solid.cuts or isinstance(base, Tree) or (isinstance(base, Prism) and base.holes):
        points = base.points()
        (low, right, bottom), (high, left, top) = points.min(axis=0), points.max(axis=0)
        return section(solid, float(right + left) / 2, (float(low), float(bottom), float(high), float(top)))
    seen = [sound(Polygon(ring[:, [0, 2]])) for ring in base.faces() if len(ring) > 2]
    return shapely.union_all([one for one in seen if one.area > 0])

"""One wall element of a model: its body, its openings, or the reason why it is set aside."""

from __future__ import annotations

from contextlib import suppress
from dataclasses import dataclass, field, replace

import numpy as np
import shapely
from shapely.geometry import MultiPoint, Polygon, box

from wallquant.building import Filling
from wallquant.importers.ifc.bodies import Body
from wallquant.importers.ifc.curves import Curves
from wallquant.importers.ifc.facets import Facets
from wallquant.importers.ifc.frames import Entity, Frames, Matrix, Unreadable, Vector
from wallquant.importers.ifc.gables import cut_tops
from wallquant.importers.ifc.kernel import Kernel
from wallquant.importers.ifc.meshes import read_shape
from wallquant.importers.ifc.openings import Face, Hole, Slab, read_holes, slabs_of
from wallquant.importers.ifc.plan import axis_direction
from wallquant.importers.ifc.relations import Layers, Relations, layers
from wallquant.importers.ifc.sections import section
from wallquant.importers.ifc.solids import Prism, Solid, Solids, Tree
from wallquant.units import MM

MALFORMED = (
    RuntimeError,
    TypeError,
    AttributeError,
    ValueError,
    LookupError,
    ArithmeticError,
    shapely.errors.ShapelyError,
    np.linalg.LinAlgError,
)
"""What broken data of a model makes the libraries raise."""
_SLICES = 40
_SOLID = (
    "IfcSolidModel", "IfcBooleanResult", "IfcFaceBasedSurfaceModel", "IfcShellBasedSurfaceModel", "IfcMappedItem", "IfcTessellatedItem",
)  # fmt: skip


@dataclass(kw_only=True, slots=True)
class Mass:
    """A wall that is not laid, as well as it is known: millimetres, mm2, mm3; `outline` in plan, world orientation."""

    outline: Polygon | None = None
    area: float = 0.0
    volume: float = 0.0
    thickness: float = 0.0
    openings_area: float = 0.0
    openings_volume: float = 0.0


@dataclass(kw_only=True, slots=True)
class OpeningAsRead:
    """The holes of one opening element, the filling of each by its index, fillings beyond one a hole, and what went wrong."""

    guid: str
    name: str
    holes: list[Hole]
    fillings: dict[int, Filling] = field(default_factory=dict)
    more: list[Filling] = field(default_factory=list)
    trouble: str = ""
    top: float = 0.0
    """mm2 of the body's face that it cuts off the top: that part is no hole but the top's outline."""


@dataclass(kw_only=True, slots=True)
class WallAsRead:
    """A wall as read: either `body`, or `reason` and `mass`.  `at` is its placement's origin in world coordinates, mm."""

    guid: str
    name: str
    storey: str
    at: Vector
    body: Body | None = None
    reason: str = ""
    mass: Mass = field(default_factory=Mass)
    openings: list[OpeningAsRead] = field(default_factory=list)
    layers: Layers = field(default_factory=Layers)
    axis: bool = False
    axis_offset: float | None = None
    placed: bool = True
    bearing: bool | None = None
    joins: tuple[str, ...] = ()


class WallReader:
    """Reads wall elements of one model."""

    def __init__(self, frames: Frames, curves: Curves, relations: Relations, kernel: Kernel) -> None:
        self.frames = frames
        self.curves = curves
        self.solids = Solids(frames, curves, Facets(frames, kernel))
        self.relations = relations

    def read(self, wall: Entity, guid: str, storey: str) -> WallAsRead:
        """Return one wall; never raises for broken data."""
        number = wall.id()
        found = WallAsRead(
            guid=guid, name=str(wall.Name or ""), storey=storey, at=np.zeros(3), bearing=self.relations.bearing.get(number),
            joins=tuple(sorted(self.relations.joins.get(number, ()))),
        )  # fmt: skip
        solids: list[Solid] = []
        turn = np.eye(4)
        with suppress(*MALFORMED):  # a material is only a name here
            found.layers = layers(self.relations.material.get(number))
        try:
            found.placed = wall.ObjectPlacement is not None
            matrix = self.frames.placement(wall.ObjectPlacement)
            found.at = matrix[:3, 3].copy()
            turn[:3, :3] = matrix[:3, :3]
            solids = self._solids(wall, turn)
            if np.abs(turn[2, :3]).max() < 1 - 1e-8:
                raise Unreadable("its placement is tilted out of the vertical")
            axis = self._axis(wall, turn)
            found.axis = axis is not None
            found.body = read_shape(solids, None if axis is None else axis[0])
            if axis is not None:
                found.axis_offset = float((found.body.frame[:2, :2] @ axis[1])[1])
        except Unreadable as reason:
            found.reason = str(reason)
        except MALFORMED as error:
            found.reason = f"its data in the model is broken ({type(error).__name__})"
        self._openings(wall, found, solids)
        return found

    def _solids(self, element: Entity, turn: Matrix) -> list[Solid]:
        representation = _body(element)
        if representation is None:
            parts = len(self.relations.parts.get(element.id(), ()))
            reason = f"it has no body of its own but {parts} parts, which this version cannot read yet" if parts else "it has no body"
            raise Unreadable(reason)
        return [s.moved(turn) for s in self.solids.items(representation)]

    def _axis(self, wall: Entity, turn: Matrix) -> tuple[Vector, Vector] | None:
        """Unit vector along the axis in plan, and its first point, in world orientation; None where there is none."""
        shape = wall.Representation
        for representation in shape.Representations if shape is not None else ():
            if representation.RepresentationIdentifier == "Axis" and len(representation.Items) == 1:
                item = representation.Items[0]
                if item.is_a("IfcMappedItem") or not item.is_a("IfcCurve"):
                    return None
                try:
                    points, curved = self.curves.curve(item)
                except Unreadable:
                    return None  # the faces serve
                if curved:
                    raise Unreadable("it is curved")
                flat = np.array(points) @ turn[:3, :3].T
                along = axis_direction([(float(x), float(y)) for x, y, _ in flat])
                return None if along is None else (along, flat[0, :2])
        return None

    def _openings(self, wall: Entity, found: WallAsRead, solids: list[Solid]) -> None:
        face: Face | None = None
        frame: Matrix = np.eye(4)
        if found.body is not None:
            frame, plan = found.body.frame, found.body.plan
            face = Face(right=plan.right, left=plan.left, elevation=found.body.elevation)
        else:
            try:
                found.mass, frame, face = weighed(solids)
            except (Unreadable, *MALFORMED):
                pass  # nothing is known but the reason
        number = wall.id()
        listed = list(self.relations.openings.get(number, ()))
        for above in self.relations.ancestors(wall):  # an opening of a wall without a body is one in the walls that are its parts
            if above.is_a("IfcWall"):
                listed += self.relations.openings.get(above.id(), ())
        own = {o.id() for o in self.relations.openings.get(number, ())}
        seen: set[int] = set()
        voids: list[tuple[OpeningAsRead, Entity, list[Slab]]] = []
        for opening in sorted(listed, key=lambda o: (str(o.GlobalId or ""), str(o.Name or ""))):
            if opening.id() in seen:
                continue  # two relations of the same two elements
            seen.add(opening.id())
            one = OpeningAsRead(guid=str(opening.GlobalId or ""), name=str(opening.Name or ""), holes=[])
            found.openings.append(one)
            try:
                if face is not None:
                    voids.append((one, opening, slabs_of(self.placed(opening, found.at, frame), face)))
            except Unreadable as reason:
                one.trouble = f"cannot be read: {reason}"
            except MALFORMED as error:
                one.trouble = f"cannot be read: its data in the model is broken ({type(error).__name__})"
        if found.body is not None and face is not None:
            open_ones = [(one, slabs) for one, opening, slabs in voids if not self.relations.fillings.get(opening.id())]
            for (one, slabs), (left, area) in zip(open_ones, cut_tops(found.body, face, [s for _, s in open_ones]), strict=True):
                slabs[:], one.top = left, area
            face = replace(face, elevation=found.body.elevation)
        for one, opening, slabs in voids:
            try:
                one.holes = [] if face is None else read_holes(slabs, face)
                if not one.holes and not one.top and opening.id() in own:
                    one.trouble = "lies outside the wall or takes less than 1 mm out of it"
                self._fill(one, opening, found.at, frame)
            except MALFORMED as error:
                one.trouble = f"cannot be read: its data in the model is broken ({type(error).__name__})"
            if found.body is None:
                found.mass.openings_area += sum(h.area for h in one.holes)
                found.mass.openings_volume += sum(h.volume for h in one.holes)

    def placed(self, element: Entity, at: Vector, frame: Matrix) -> list[Solid]:
        """Return the solids of an opening, door or window in a frame about a point in world coordinates."""
        representation = _body(element)
        if representation is None:
            raise Unreadable("it has no body")
        matrix = self.frames.placement(element.ObjectPlacement).copy()
        matrix[:3, 3] -= at
        matrix = frame @ matrix
        return [s.moved(matrix) for s in self.solids.items(representation)]

    def _fill(self, one: OpeningAsRead, opening: Entity, at: Vector, frame: Matrix) -> None:
        """Give each door or window of an opening to a hole: the first to the largest; several each to the one it stands in."""
        elements = sorted(self.relations.fillings.get(opening.id(), ()), key=lambda e: str(e.GlobalId or ""))
        for element in elements:
            filling = self._filling(element)
            place = 0
            if len(elements) > 1 and len(one.holes) > 1:
                matrix = self.frames.placement(element.ObjectPlacement)
                half = np.array((0.0 if filling.width is None else filling.width / MM / 2, 0.0, 0.0, 1.0))
                s, _, z = (frame[:3, :3] @ ((matrix @ half)[:3] - at)).tolist()
                place = min(range(len(one.holes)), key=lambda k: (k in one.fillings, one.holes[k].away(s, z), k))
            if place in one.fillings or not one.holes:
                one.more.append(filling)
            else:
                one.fillings[place] = filling

    def _filling(self, element: Entity) -> Filling:
        kind = "door" if element.is_a("IfcDoor") else "window" if element.is_a("IfcWindow") else element.is_a()[3:].lower()
        width, height = getattr(element, "OverallWidth", None), getattr(element, "OverallHeight", None)
        return Filling(
            guid=str(element.GlobalId or ""), kind=kind, name=str(element.Name or ""),
            width=None if width is None else round(float(width) * self.frames.scale * MM),
            height=None if height is None else round(float(height) * self.frames.scale * MM),
        )  # fmt: skip


def has_body(element: Entity) -> bool:
    """Return whether an element has a body of its own."""
    try:
        return _body(element) is not None
    except MALFORMED:
        return True  # it is read, and set aside with its reason


def _body(element: Entity) -> Entity | None:
    """The representation that is the body: the one called Body, or the only one of solids."""
    shape = element.Representation
    every = [r for r in shape.Representations if r.Items] if shape is not None else []
    named = [r for r in every if r.RepresentationIdentifier == "Body"]
    if named:
        return named[0]
    fitting = [r for r in every if r.RepresentationIdentifier not in ("Axis", "Box", "FootPrint", "Reference") and _holds(r, _SOLID)]
    return fitting[0] if len(fitting) == 1 else None


def _holds(representation: Entity, kinds: tuple[str, ...]) -> bool:
    for item in representation.Items:
        for kind in kinds:
            try:
                if item.is_a(kind):
                    return True
            except RuntimeError:
                continue  # a kind that this schema does not have
    return False


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

"""One wall element of a model: its body, its openings, or the reason why it is set aside."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely
from shapely.geometry import Polygon

from wallquant.building import Filling
from wallquant.findings import Severity
from wallquant.importers.ifc.bending import bend
from wallquant.importers.ifc.bodies import Body
from wallquant.importers.ifc.choice import Chosen, choose, selected
from wallquant.importers.ifc.chords import Bent, Limits, read_bent
from wallquant.importers.ifc.curves import Curves
from wallquant.importers.ifc.facets import Facets
from wallquant.importers.ifc.frames import Entity, Frames, Matrix, Unreadable, Vector
from wallquant.importers.ifc.gables import cut_tops
from wallquant.importers.ifc.kernel import Kernel
from wallquant.importers.ifc.labels import called, label
from wallquant.importers.ifc.leaves import leaf, offsets
from wallquant.importers.ifc.masses import Mass, weighed
from wallquant.importers.ifc.meshes import read_shape
from wallquant.importers.ifc.openings import Face, Hole, Slab, read_holes, slabs_of
from wallquant.importers.ifc.parts import Part, gathered, part_elements, read_parts, stacked, through
from wallquant.importers.ifc.plan import axis_direction
from wallquant.importers.ifc.relations import Layer, Layers, Relations, layers
from wallquant.importers.ifc.representations import body_of, box_of
from wallquant.importers.ifc.solids import Solid, Solids
from wallquant.units import MM, mm_text

if TYPE_CHECKING:
    from wallquant.job import Select

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
_SIZED = ("IfcDoor", "IfcWindow")
LONGEST, HIGHEST, THICKEST = 1e6, 2e5, 1e4
"""Sizes in mm beyond which a wall is none; our choice."""


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
    leaves: list[WallAsRead] = field(default_factory=list)
    """What is laid of a layered wall; the wall itself then says what is drawn."""
    chosen: Chosen | None = None
    loose: str = ""
    """Why the body is laid although the wall may have layers."""
    outline: str = ""
    """What the wall is drawn as, where its body is only the outline of its parts."""
    remarks: list[tuple[str, Severity, str]] = field(default_factory=list)
    """Code, severity and text of what else is worth telling."""
    bent: Bent | None = None
    chords: list[WallAsRead] = field(default_factory=list)
    """What a bent wall is laid as; the wall itself then has no body."""
    inset: float = 0.0
    """How far inside the faces, in mm, openings are looked at: the rise of the drawn arc over a chord."""


class WallReader:
    """Reads wall elements of one model."""

    def __init__(self, frames: Frames, curves: Curves, relations: Relations, kernel: Kernel, select: Select | None, limits: Limits) -> None:
        self.select = select
        self.limits = limits
        self.frames = frames
        self.curves = curves
        self.solids = Solids(frames, curves, Facets(frames, kernel))
        self.relations = relations
        self._known: dict[int, Layers] = {}

    def _layers_of(self, material: Entity | None) -> Layers:
        """Layers of a material, which many walls share."""
        if material is None:
            return Layers()
        number = material.id()
        if number not in self._known:
            self._known[number] = layers(material)
        return self._known[number]

    def read(self, wall: Entity, guid: str, storey: str) -> WallAsRead:
        """Return one wall; never raises for broken data."""
        number = wall.id()
        found = WallAsRead(
            guid=guid, name=label(wall.Name), storey=storey, at=np.zeros(3), bearing=self.relations.bearing.get(number),
            joins=tuple(sorted(self.relations.joins.get(number, ()))),
        )  # fmt: skip
        solids: list[Solid] = []
        turn = np.eye(4)
        with suppress(*MALFORMED):  # a material is only a name here
            found.layers = self._layers_of(self.relations.material.get(number))
        try:
            found.placed = wall.ObjectPlacement is not None
            matrix = self.frames.placement(wall.ObjectPlacement)
            found.at = matrix[:3, 3].copy()
            turn[:3, :3] = matrix[:3, :3]
            parts = self._parts(wall, found)
            solids = [s for part in parts for s in part.solids] if parts else self._solids(wall, turn, found)
            if np.abs(turn[2, :3]).max() < 1 - 1e-8:
                raise Unreadable("its placement is tilted out of the vertical")
            axis = self._axis(wall, turn)
            found.axis = axis is not None
            way = None if axis is None else axis[0]
            body = self._in_parts(found, parts, way, turn) if parts else read_shape(solids, way)
            _vet_size(body)
            found.body = body
            if axis is not None:
                found.axis_offset = float((found.body.frame[:2, :2] @ axis[1])[1])
        except Unreadable as reason:
            found.reason = str(reason)
            try:
                found.bent = read_bent(solids, self.limits) if np.abs(turn[2, :3]).max() >= 1 - 1e-8 else None
            except Unreadable as tight:
                found.reason = str(tight)
        except MALFORMED as error:
            found.reason = f"its data in the model is broken ({type(error).__name__})"
        if found.bent is not None:
            bend(found, self.select, self.frames.scale, lambda part: self._openings(wall, part, []))
            if found.chords:
                return found
        self._openings(wall, found, solids)
        if found.body is not None and not (found.outline and self.select is None):
            self._leaves(wall, found, turn)
        return found

    def _parts(self, wall: Entity, found: WallAsRead) -> list[Part]:
        """The parts of a wall without a body of its own; what hangs on it besides is told."""
        if has_body(wall, self.frames.get):
            return []
        elements, others = part_elements(wall, self.relations)
        parts = gathered(elements, self.relations, lambda one: self.placed(one, found.at, np.eye(4)))
        if others and parts:
            text = f"Parts of wall {found.name or found.guid} that are no body of a wall are left out: {', '.join(others)}."
            found.remarks.append(("parts-left-out", "note", text))
        return parts

    def _in_parts(self, found: WallAsRead, parts: list[Part], axis: Vector | None, turn: Matrix) -> Body:
        made = read_parts(parts, axis)
        found.outline = made.outline
        name, thickness = found.name or found.guid, mm_text(round(made.body.plan.thickness * MM))
        if made.outline:
            text = (
                f"Wall {name} has no body of its own; it is drawn as {made.outline}. It is laid as a wall of that outline, {thickness} mm "
                "thick, its openings through; the outline's volume counts as drawn."
            )
            found.remarks.append(("outline-of-parts", "warning", text))
            return made.body
        text = f"Wall {name} has no body of its own; its parts are read as one wall, {thickness} mm thick."
        found.remarks.append(("in-parts", "note", text))
        if sum(one.thickness > 0 for one in found.layers.each) < 2:
            body = made.body
            across = float(np.dot((-body.frame[0, 1], body.frame[0, 0]), turn[:2, 1]))
            found.layers = stacked(parts, body, self.frames.scale, leftward=across > 0)
        return made.body

    def _leaves(self, wall: Entity, found: WallAsRead, turn: Matrix) -> None:
        """Divide a layered wall: its leaves are laid, the rest is finishes; where its layers say nothing sound, the body is laid."""
        body, layers = found.body, found.layers
        assert body is not None
        scale = self.frames.scale
        if any(one.thickness < 0 for one in layers.each):
            found.loose = "a layer of it has a thickness below zero"
            return
        if self.select is not None and sum(one.thickness > 0 for one in layers.each) < 2:
            one = Layer(name=layers.name, thickness=body.plan.thickness / scale, function=next((x.function for x in layers.each), ""))
            if not layers.name:
                found.loose = "it has no material"
            elif not selected(one, scale, self.select):
                self._unselected(found)
            return
        if sum(one.thickness > 0 for one in layers.each) < 2:
            return
        across = float(np.dot((-body.frame[0, 1], body.frame[0, 0]), turn[:2, 1]))
        at = offsets(body, layers, scale, leftward=layers.positive == (across > 0))
        if at is None:
            return  # told with the body: its layers do not add up to what is drawn
        chosen = choose(layers, scale, self.select)
        if chosen.lost:
            self._unselected(found)
            return
        parts: list[WallAsRead] = []
        for n, (first, last) in enumerate(chosen.leaves):
            try:
                part = leaf(body, at[first], at[last + 1])
            except Unreadable as reason:
                found.loose = str(reason)
                return
            key = found.guid if len(chosen.leaves) == 1 else f"{found.guid}/{n + 1}"
            name = layers.each[first].name
            parts.append(replace(found, guid=key, body=part, openings=[], leaves=[], layers=Layers(name=name), axis_offset=None))
            self._openings(wall, parts[-1], [])
            for whole, mine in zip(found.openings, parts[-1].openings, strict=True):
                mine.top = 0.0  # told of the whole wall
                if mine.trouble and not whole.trouble:
                    mine.trouble = "" if whole.top else "lies in layers that are not laid"
        found.leaves, found.chosen = parts, chosen

    def _unselected(self, found: WallAsRead) -> None:
        """Set a wall aside of which the job selects nothing."""
        body = found.body
        assert body is not None
        turn = body.frame[:2, :2]
        outline = Polygon(np.array(body.footprint.exterior.coords) @ turn)
        found.mass = Mass(
            outline=outline, area=body.elevation.area, volume=body.volume, thickness=body.plan.thickness,
            openings_area=sum(h.area for o in found.openings for h in o.holes),
            openings_volume=sum(h.volume for o in found.openings for h in o.holes),
        )  # fmt: skip
        found.body, found.reason = None, "the job selects none of its layers"

    def _solids(self, element: Entity, turn: Matrix, found: WallAsRead) -> list[Solid]:
        representation = body_of(element, self.frames.get)
        if representation is None:
            representation = box_of(element)
            if representation is None:
                inner = ", ".join(part_elements(element, self.relations)[1])
                raise Unreadable(f"it has no body, and none of its parts is one ({inner})" if inner else "it has no body")
            text = f"Wall {found.name or found.guid} has no body but its bounding box; it is laid as that box. Export its body."
            found.remarks.append(("box-only", "warning", text))
        return self.solids.items(representation, turn)

    def _axis(self, wall: Entity, turn: Matrix) -> tuple[Vector, Vector] | None:
        """Unit vector along the axis in plan, and its first point, in world orientation; None where there is none."""
        get = self.frames.get
        shape = get(wall, "Representation")
        for representation in get(shape, "Representations") if shape is not None else ():
            if get(representation, "RepresentationIdentifier") == "Axis" and len(get(representation, "Items")) == 1:
                item = get(representation, "Items")[0]
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
            face = Face(right=plan.right + found.inset, left=plan.left - found.inset, elevation=found.body.elevation)
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
        named = sorted(((called(o, self.frames.get), o) for o in listed), key=lambda pair: pair[0])
        for (opening_guid, opening_name), opening in named:
            if opening.id() in seen:
                continue  # two relations of the same two elements
            seen.add(opening.id())
            one = OpeningAsRead(guid=opening_guid, name=opening_name, holes=[])
            found.openings.append(one)
            try:
                if face is not None:
                    placed = self.placed(opening, found.at, frame)
                    if found.outline and found.body is not None:
                        placed = through(placed, found.body)
                    voids.append((one, opening, slabs_of(placed, face)))
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
        representation = body_of(element, self.frames.get)
        if representation is None:
            raise Unreadable("it has no body")
        matrix = self.frames.placement(self.frames.get(element, "ObjectPlacement")).copy()
        matrix[:3, 3] -= at
        matrix = frame @ matrix
        return self.solids.items(representation, matrix)

    def _fill(self, one: OpeningAsRead, opening: Entity, at: Vector, frame: Matrix) -> None:
        """Give each door or window of an opening to a hole: the first to the largest; several each to the one it stands in."""
        elements = self.relations.fillings.get(opening.id(), ())
        elements = sorted(elements, key=called) if len(elements) > 1 else elements
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
        kind = element.is_a()
        if kind not in _SIZED:
            kind = "IfcDoor" if element.is_a("IfcDoor") else "IfcWindow" if element.is_a("IfcWindow") else kind
        get = self.frames.get
        try:
            width, height = get(element, "OverallWidth"), get(element, "OverallHeight")
        except AttributeError:
            width, height = getattr(element, "OverallWidth", None), getattr(element, "OverallHeight", None)
        return Filling(
            guid=label(get(element, "GlobalId")), kind=kind[3:].lower(), name=label(get(element, "Name")),
            width=None if width is None else round(float(width) * self.frames.scale * MM),
            height=None if height is None else round(float(height) * self.frames.scale * MM),
        )  # fmt: skip


def _vet_size(body: Body) -> None:
    """A wall that no building has is set aside, because its pieces would be counted in millions."""
    sizes = (("long", body.plan.end - body.plan.start, LONGEST), ("high", body.elevation.bounds[3] - body.bottom, HIGHEST))
    for word, size, most in (*sizes, ("thick", body.plan.thickness, THICKEST)):
        if size > most:
            raise Unreadable(f"it is {size / 1000:,.0f} m {word}, more than any wall of a building; check the units of the model")


def has_body(element: Entity, get: Callable[[Entity, str], Any] = getattr) -> bool:
    """Return whether an element has a body of its own."""
    try:
        return body_of(element, get) is not None
    except MALFORMED:
        return True  # it is read, and set aside with its reason

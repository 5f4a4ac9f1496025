"""Small IFC models for tests, made with ifcopenshell: one wall, its clips and openings at a time."""

from __future__ import annotations

import hashlib
import pathlib
from collections.abc import Sequence
from typing import Any

import ifcopenshell
import ifcopenshell.geom
import ifcopenshell.guid
import ifcopenshell.util.shape

MILLIMETRES = {"mm": 1.0, "cm": 10.0, "m": 1000.0, "in": 25.4, "ft": 304.8}
Vec = Sequence[float]


class Maker:
    """Builds one model; all lengths given are in the model's own unit.

    Parameters
    ----------
    schema : str
        IFC2X3, IFC4 or IFC4X3_ADD2.
    unit : str or None
        mm, cm, m, in, ft; None makes a model without a length unit.
    """

    def __init__(self, schema: str = "IFC4", unit: str | None = "mm") -> None:
        self.file = ifcopenshell.file(schema=schema)
        self.count = 0
        units = [] if unit is None else [self._unit(unit)]
        self.context = self.add(
            "IfcGeometricRepresentationContext",
            ContextType="Model",
            CoordinateSpaceDimension=3,
            Precision=1e-5,
            WorldCoordinateSystem=self.axes(),
        )
        self.project = self.root(
            "IfcProject", "project", RepresentationContexts=[self.context], UnitsInContext=self.add("IfcUnitAssignment", units)
        )
        self.storey: Any = None

    def _unit(self, unit: str) -> Any:
        if unit in ("mm", "cm", "m"):
            prefix = {"mm": "MILLI", "cm": "CENTI", "m": None}[unit]
            return self.add("IfcSIUnit", None, "LENGTHUNIT", prefix, "METRE")
        metre = self.add("IfcSIUnit", None, "LENGTHUNIT", None, "METRE")
        if unit == "ft":  # a foot that is stated as twelve inches, for the chain
            inch = self._conversion("inch", 0.0254, metre)
            return self._conversion("foot", 12.0, inch)
        return self._conversion("inch", 0.0254, metre)

    def _conversion(self, name: str, factor: float, of: Any) -> Any:
        value = self.add("IfcMeasureWithUnit", self.add("IfcReal", factor), of)
        dimensions = self.add("IfcDimensionalExponents", 1, 0, 0, 0, 0, 0, 0)
        return self.add("IfcConversionBasedUnit", dimensions, "LENGTHUNIT", name, value)

    def add(self, kind: str, *values: Any, **named: Any) -> Any:
        return self.file.create_entity(kind, *values, **named)

    def root(self, kind: str, name: str | None = None, **named: Any) -> Any:
        self.count += 1
        guid = ifcopenshell.guid.compress(hashlib.md5(f"{self.count}".encode(), usedforsecurity=False).hexdigest())
        return self.add(kind, GlobalId=guid, Name=name, **named)

    def point(self, *values: float) -> Any:
        return self.add("IfcCartesianPoint", tuple(float(v) for v in values))

    def way(self, *values: float) -> Any:
        return self.add("IfcDirection", tuple(float(v) for v in values))

    def axes(self, at: Vec = (0, 0, 0), z: Vec | None = None, x: Vec | None = None) -> Any:
        return self.add("IfcAxis2Placement3D", self.point(*at), None if z is None else self.way(*z), None if x is None else self.way(*x))

    def placed(self, at: Vec = (0, 0, 0), x: Vec | None = None, to: Any = None, z: Vec | None = None) -> Any:
        return self.add("IfcLocalPlacement", to, self.axes(at, z if z is not None or x is None else (0, 0, 1), x))

    def polyline(self, points: Sequence[Vec], *, close: bool = False) -> Any:
        made = [self.point(*p) for p in points]
        return self.add("IfcPolyline", made + made[:1] if close else made)

    def rectangle(self, x: float, y: float, middle: Vec = (0, 0)) -> Any:
        return self.add("IfcRectangleProfileDef", "AREA", None, self.add("IfcAxis2Placement2D", self.point(*middle)), float(x), float(y))

    def outline(self, points: Sequence[Vec], holes: Sequence[Sequence[Vec]] = ()) -> Any:
        ring = self.polyline(points, close=True)
        if holes:
            return self.add("IfcArbitraryProfileDefWithVoids", "AREA", None, ring, [self.polyline(h, close=True) for h in holes])
        return self.add("IfcArbitraryClosedProfileDef", "AREA", None, ring)

    def extruded(self, profile: Any, depth: float, at: Vec = (0, 0, 0), z: Vec | None = None, x: Vec | None = None) -> Any:
        return self.add("IfcExtrudedAreaSolid", profile, self.axes(at, z, x), self.way(0, 0, 1), float(depth))

    def half_space(self, at: Vec, normal: Vec, bound: Sequence[Vec] | None = None) -> Any:
        """Takes away what lies on the side of the normal; `bound` is an outline in plan."""
        x = (1, 0, 0) if abs(normal[0]) < 0.9 else (0, 1, 0)
        plane = self.add("IfcPlane", self.axes(at, [-n for n in normal], x))
        if bound is None:
            return self.add("IfcHalfSpaceSolid", plane, True)
        return self.add("IfcPolygonalBoundedHalfSpace", plane, True, self.axes(), self.polyline(bound, close=True))

    def cut(self, solid: Any, *halves: Any) -> Any:
        for half in halves:
            solid = self.add("IfcBooleanClippingResult", "DIFFERENCE", solid, half)
        return solid

    def shape(self, *items: Any, axis: Any = None, kind: str = "SweptSolid") -> Any:
        body = self.add("IfcShapeRepresentation", self.context, "Body", kind, list(items))
        lines = [] if axis is None else [self.add("IfcShapeRepresentation", self.context, "Axis", "Curve2D", [axis])]
        return self.add("IfcProductDefinitionShape", None, None, [*lines, body])

    def wall(self, *items: Any, axis: Any = None, place: Any = None, name: str = "W", kind: str = "IfcWall") -> Any:
        shape = self.shape(*items, axis=axis) if items else None
        wall = self.root(kind, name, ObjectPlacement=place if place is not None else self.placed(), Representation=shape)
        if self.storey is not None:
            self.root("IfcRelContainedInSpatialStructure", RelatedElements=[wall], RelatingStructure=self.storey)
        return wall

    def plain_wall(self, length: float, thickness: float, height: float, **named: Any) -> Any:
        """A wall along its own x axis, centred on it."""
        axis = self.polyline([(0, 0), (length, 0)])
        return self.wall(self.extruded(self.rectangle(length, thickness, (length / 2, 0)), height), axis=axis, **named)

    def opening(self, wall: Any, *items: Any, place: Any = None) -> Any:
        place = place if place is not None else self.placed(to=wall.ObjectPlacement)
        opening = self.root("IfcOpeningElement", "O", ObjectPlacement=place, Representation=self.shape(*items))
        self.root("IfcRelVoidsElement", RelatingBuildingElement=wall, RelatedOpeningElement=opening)
        return opening

    def box(self, start: float, end: float, sill: float, head: float, right: float = -500, left: float = 500) -> Any:
        """A box in a wall's own frame, extruded across the wall (along -y, from its left side)."""
        profile = self.rectangle(end - start, head - sill, ((start + end) / 2, (sill + head) / 2))
        # the profile's x is the wall's x, its y is up, its z looks to the right of the wall
        return self.extruded(profile, left - right, (0, left, 0), (0, -1, 0), (1, 0, 0))

    def fill(self, opening: Any, kind: str = "IfcDoor", width: float | None = None, height: float | None = None) -> Any:
        filling = self.root(kind, "leaf", OverallWidth=width, OverallHeight=height)
        self.root("IfcRelFillsElement", RelatingOpeningElement=opening, RelatedBuildingElement=filling)
        return filling

    def add_storey(self, name: str, level: float) -> Any:
        self.storey = self.root("IfcBuildingStorey", name, ObjectPlacement=self.placed((0, 0, level)), Elevation=float(level))
        return self.storey

    def write(self, folder: pathlib.Path, name: str = "model.ifc") -> pathlib.Path:
        path = folder / name
        self.file.write(str(path))
        return path


def kernel_m3(path: pathlib.Path, guid: str, *, openings: bool = True) -> float:
    """Volume of an element by the OpenCASCADE kernel of ifcopenshell, in m3."""
    settings = ifcopenshell.geom.settings()
    settings.set("disable-opening-subtractions", not openings)
    model = ifcopenshell.open(str(path))  # must outlive its entities
    shape = ifcopenshell.geom.create_shape(settings, model.by_guid(guid))
    return float(ifcopenshell.util.shape.get_volume(shape.geometry))

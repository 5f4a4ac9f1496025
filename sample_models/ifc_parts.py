"""The small parts of an IFC file: points, placements, profiles, boxes, units; GlobalIds that come from names.

Written for this project.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Literal
from uuid import UUID, uuid5

import ifcopenshell
import ifcopenshell.guid

Point = tuple[float, float]
Entity = Any
NAMES = UUID("6a1f0c52-93d7-4b08-8e44-2f7d51c3a960")
SECONDS = 1768464000
"""Creation time in an IFC2X3 owner history: 2026-01-15 08:00 UTC."""


class Parts:
    """An IFC file, and the parts that every drawing needs.

    Parameters
    ----------
    schema : str
        ``IFC2X3`` or ``IFC4``.
    unit : str
        ``mm`` or ``in``.
    name : str
        Every GlobalId depends on it.
    """

    def __init__(self, *, schema: Literal["IFC2X3", "IFC4"], unit: Literal["mm", "in"], name: str) -> None:
        self.file = ifcopenshell.file(schema=schema)
        self.name, self.unit, self.is_ifc4 = name, unit, schema == "IFC4"
        self._made: dict[tuple[str, tuple[float, ...]], Entity] = {}
        self._owner = None if self.is_ifc4 else self._history()
        model = self.add(
            "IfcGeometricRepresentationContext",
            ContextType="Model",
            CoordinateSpaceDimension=3,
            Precision=1e-6,
            WorldCoordinateSystem=self.axes((0.0, 0.0, 0.0)),
        )
        self.context = model
        self._views = {
            kind: self.add(
                "IfcGeometricRepresentationSubContext",
                ContextIdentifier=kind,
                ContextType="Model",
                ParentContext=model,
                TargetView=view,
            )
            for kind, view in (("Axis", "GRAPH_VIEW"), ("Body", "MODEL_VIEW"))
        }

    def root(self, kind: str, key: str, **values: Any) -> Entity:
        """Add an entity that has a GlobalId, which comes from the project's name, `kind` and `key`."""
        guid = ifcopenshell.guid.compress(uuid5(NAMES, f"{self.name}/{kind}/{key}").hex)
        return self.add(kind, GlobalId=guid, OwnerHistory=self._owner, **values)

    def add(self, kind: str, *args: Any, **values: Any) -> Entity:
        """Add any other entity."""
        return self.file.create_entity(kind, *args, **values)

    def point(self, at: Sequence[float]) -> Entity:
        """Return the point with these coordinates; equal points are one entity."""
        return self._shared("IfcCartesianPoint", at)

    def direction(self, to: Sequence[float]) -> Entity:
        """Return this direction; equal directions are one entity."""
        return self._shared("IfcDirection", to)

    def _shared(self, kind: str, numbers: Sequence[float]) -> Entity:
        key = (kind, tuple(float(n) + 0.0 for n in numbers))
        if key not in self._made:
            self._made[key] = self.add(kind, key[1])
        return self._made[key]

    def axes(self, at: Sequence[float], up: Sequence[float] | None = None, along: Sequence[float] | None = None) -> Entity:
        """Add axes at a point: z points `up`, x points `along`."""
        turned = {"Axis": self.direction(up), "RefDirection": self.direction(along)} if up and along else {}
        return self.add("IfcAxis2Placement3D", Location=self.point(at), **turned)

    def placement(self, parent: Entity, at: Sequence[float], along: Sequence[float] = (1.0, 0.0, 0.0)) -> Entity:
        """Add a placement relative to `parent`, its x axis turned in plan to `along`."""
        axes = self.axes(at) if tuple(along) == (1.0, 0.0, 0.0) else self.axes(at, (0.0, 0.0, 1.0), along)
        return self.add("IfcLocalPlacement", PlacementRelTo=parent, RelativePlacement=axes)

    def rectangle(self, x: float, y: float, at: Point) -> Entity:
        """Add a rectangular profile with its middle at `at`."""
        position = self.add("IfcAxis2Placement2D", Location=self.point(at))
        return self.add("IfcRectangleProfileDef", ProfileType="AREA", Position=position, XDim=float(x), YDim=float(y))

    def box(self, width: float, deep: float, height: float, across: bool) -> Entity:
        """Add a box over the middle of its base: x is the width along the wall, y the depth across it."""
        if across:  # profile x along the wall, profile y up, pushed through from the left face to the right one
            profile = self.rectangle(width, height, (0.0, height / 2))
            position = self.axes((0.0, deep / 2, 0.0), (0.0, -1.0, 0.0), (1.0, 0.0, 0.0))
            depth = deep
        else:
            profile, position, depth = self.rectangle(width, deep, (0.0, 0.0)), self.axes((0.0, 0.0, 0.0)), height
        solid = self.add(
            "IfcExtrudedAreaSolid",
            SweptArea=profile,
            Position=position,
            ExtrudedDirection=self.direction((0.0, 0.0, 1.0)),
            Depth=float(depth),
        )
        return self.add("IfcProductDefinitionShape", Representations=[self.shape("Body", "SweptSolid", solid)])

    def shape(self, name: str, kind: str, item: Entity) -> Entity:
        """Add the Axis or Body representation of one item."""
        return self.add(
            "IfcShapeRepresentation",
            ContextOfItems=self._views[name],
            RepresentationIdentifier=name,
            RepresentationType=kind,
            Items=[item],
        )

    def units(self) -> Entity:
        """Add the units: lengths in the drawing's unit, areas and volumes in m2 and m3."""
        metre = self.add("IfcSIUnit", UnitType="LENGTHUNIT", Name="METRE")
        if self.unit == "mm":
            length = self.add("IfcSIUnit", UnitType="LENGTHUNIT", Prefix="MILLI", Name="METRE")
        else:
            inch = self.add("IfcMeasureWithUnit", ValueComponent=self.file.create_entity("IfcLengthMeasure", 0.0254), UnitComponent=metre)
            powers = self.add("IfcDimensionalExponents", 1, 0, 0, 0, 0, 0, 0)
            length = self.add("IfcConversionBasedUnit", Dimensions=powers, UnitType="LENGTHUNIT", Name="INCH", ConversionFactor=inch)
        others = [
            self.add("IfcSIUnit", UnitType=kind, Name=name)
            for kind, name in (("AREAUNIT", "SQUARE_METRE"), ("VOLUMEUNIT", "CUBIC_METRE"), ("PLANEANGLEUNIT", "RADIAN"))
        ]
        return self.add("IfcUnitAssignment", Units=[length, *others])

    def _history(self) -> Entity:
        person = self.add("IfcPerson", FamilyName="Samples")
        firm = self.add("IfcOrganization", Name="wallquant")
        program = self.add(
            "IfcApplication",
            ApplicationDeveloper=firm,
            Version="1",
            ApplicationFullName="ifc_drawing.py",
            ApplicationIdentifier="ifc_drawing",
        )
        user = self.add("IfcPersonAndOrganization", ThePerson=person, TheOrganization=firm)
        return self.add("IfcOwnerHistory", OwningUser=user, OwningApplication=program, ChangeAction="ADDED", CreationDate=SECONDS)

"""Draw walls with openings into an IFC file: what the sample models and the benchmark models share.

Lengths are in the model's own unit.  GlobalIds come from names and the header's time is fixed, so that the same calls give
the same bytes.  A wall is described by its *centre line*: the middle of each end face, mitred ends at their mean station.
Written for this project.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import hypot, sqrt
from pathlib import Path
from typing import Literal

from ifc_parts import Entity, Parts, Point

TIME = "2026-01-15T08:00:00"
SECONDS = 1768464000


@dataclass(frozen=True, kw_only=True, slots=True)
class Hole:
    """An opening: stations along the wall's centre line, heights above the wall's bottom, and what fills it.

    `filling` is ``door``, ``window`` or empty.  `across` draws the box as an elevation that is pushed through the wall,
    instead of a plan that is pulled up: programs do either.  `beyond` is how far the box stands out of each face.
    """

    name: str
    start: float
    end: float
    sill: float
    head: float
    filling: str = ""
    across: bool = False
    beyond: float = 0.0


@dataclass(frozen=True, kw_only=True, slots=True)
class Rake:
    """A plane that cuts the top of a wall: it passes `level` (above the bottom) at `station` and rises by `slope`."""

    station: float
    level: float
    slope: float


@dataclass(frozen=True, kw_only=True, slots=True)
class Drawn:
    """A wall as it is to be drawn.

    Attributes
    ----------
    start, end : (float, float)
        The centre line of the body in plan.
    height : float
        Of the extruded body, before any rake cuts it.
    mitres : (int, int)
        For each end 1, 0 or -1: the left corner lies that many half thicknesses further along the wall than the middle.
    reach : (float, float)
        How far the Axis representation runs past the body at each end (to the crossing of the axes, say).
    line : float
        Where the reference line lies: 0 the centre line, 1 the left face, -1 the right face.
    """

    name: str
    start: Point
    end: Point
    thickness: float
    height: float
    bearing: bool
    external: bool = False
    mitres: tuple[int, int] = (0, 0)
    reach: tuple[float, float] = (0.0, 0.0)
    line: int = 0
    rakes: Sequence[Rake] = ()
    holes: Sequence[Hole] = ()

    @property
    def length(self) -> float:
        return hypot(self.end[0] - self.start[0], self.end[1] - self.start[1])

    @property
    def along(self) -> Point:
        return (self.end[0] - self.start[0]) / self.length, (self.end[1] - self.start[1]) / self.length


class Drawing:
    """One IFC file in the making: a project with one site, one building, and storeys that hold walls.

    Parameters
    ----------
    schema : str
        ``IFC2X3`` or ``IFC4``.
    unit : str
        ``mm`` or ``in``.
    name : str
        Names the project; every GlobalId depends on it.
    material : str
        The material of every wall.
    at : (float, float)
        Where the building's origin lies in the site.
    """

    def __init__(
        self,
        *,
        schema: Literal["IFC2X3", "IFC4"],
        unit: Literal["mm", "in"],
        name: str,
        site: str,
        building: str,
        material: str,
        at: Point = (0.0, 0.0),
    ) -> None:
        self._ifc = Parts(schema=schema, unit=unit, name=name)
        self._layers: dict[float, Entity] = {}
        project = self._ifc.root(
            "IfcProject", name, Name=name, RepresentationContexts=[self._ifc.context], UnitsInContext=self._ifc.units()
        )
        self._material = self._ifc.add("IfcMaterial", Name=material)
        self._ground = self._ifc.placement(None, (0.0, 0.0, 0.0))
        site_ = self._ifc.root("IfcSite", f"site {site}", Name=site, ObjectPlacement=self._ground, CompositionType="ELEMENT")
        self._base = self._ifc.placement(self._ground, (*at, 0.0))
        self._building = self._ifc.root(
            "IfcBuilding", f"building {building}", Name=building, ObjectPlacement=self._base, CompositionType="ELEMENT"
        )
        self._storeys: list[Entity] = []
        self._inside: dict[int, list[Entity]] = {}
        self._bearing: dict[tuple[bool, bool], list[Entity]] = {}
        self._made_of: dict[tuple[float, int], list[Entity]] = {}
        for whole, part in ((project, site_), (site_, self._building)):
            self._ifc.root("IfcRelAggregates", f"parts of {whole.Name}", RelatingObject=whole, RelatedObjects=[part])

    def storey(self, name: str, level: float) -> Entity:
        """Add a storey with its floor at `level`."""
        place = self._ifc.placement(self._base, (0.0, 0.0, level))
        made = self._ifc.root(
            "IfcBuildingStorey", f"storey {name}", Name=name, ObjectPlacement=place, CompositionType="ELEMENT", Elevation=level
        )
        self._storeys.append(made)
        return made

    def wall(self, storey: Entity, drawn: Drawn) -> Entity:
        """Add a wall with its openings and what fills them; its bottom lies on the storey's floor."""
        t, (ux, uy) = drawn.thickness, drawn.along
        shift = drawn.line * t / 2
        back = drawn.reach[0]
        origin = (drawn.start[0] - ux * back - uy * shift, drawn.start[1] - uy * back + ux * shift, 0.0)
        place = self._ifc.placement(storey.ObjectPlacement, origin, (ux, uy, 0.0))
        axis = self._ifc.add(
            "IfcPolyline", Points=[self._ifc.point((0.0, 0.0)), self._ifc.point((back + drawn.length + drawn.reach[1], 0.0))]
        )
        body = self._ifc.add(
            "IfcExtrudedAreaSolid",
            SweptArea=self._plan(drawn, back, -shift),
            Position=self._ifc.axes((0.0, 0.0, 0.0)),
            ExtrudedDirection=self._ifc.direction((0.0, 0.0, 1.0)),
            Depth=float(drawn.height),
        )
        for rake in drawn.rakes:
            body = self._ifc.add(
                "IfcBooleanClippingResult", Operator="DIFFERENCE", FirstOperand=body, SecondOperand=self._above(rake, back)
            )
        shape = self._ifc.add(
            "IfcProductDefinitionShape",
            Representations=[
                self._ifc.shape("Axis", "Curve2D", axis),
                self._ifc.shape("Body", "Clipping" if drawn.rakes else "SweptSolid", body),
            ],
        )
        kind = {"PredefinedType": "SOLIDWALL"} if self._ifc.is_ifc4 else {}
        made = self._ifc.root(
            "IfcWall" if self._ifc.is_ifc4 else "IfcWallStandardCase",
            f"wall {storey.Name} {drawn.name}",
            Name=drawn.name,
            ObjectPlacement=place,
            Representation=shape,
            **kind,
        )
        self._inside.setdefault(storey.id(), []).append(made)
        self._bearing.setdefault((drawn.bearing, drawn.external), []).append(made)
        self._made_of.setdefault((t, drawn.line), []).append(made)
        for hole in drawn.holes:
            self._hole(storey, made, drawn, hole, back, -shift)
        return made

    def join(self, first: Entity, first_end: str, second: Entity, second_end: str) -> None:
        """Say that two walls meet; each end is ``ATSTART``, ``ATEND`` or ``ATPATH``."""
        self._ifc.root(
            "IfcRelConnectsPathElements",
            f"join {first.GlobalId} {second.GlobalId}",
            RelatingElement=first,
            RelatedElement=second,
            RelatingPriorities=[],
            RelatedPriorities=[],
            RelatingConnectionType=first_end,
            RelatedConnectionType=second_end,
        )

    def write(self, path: Path) -> None:
        """Write the file; call it once, when all is drawn."""
        self._ifc.root("IfcRelAggregates", "storeys", RelatingObject=self._building, RelatedObjects=self._storeys)
        for storey in self._storeys:
            if inside := self._inside.get(storey.id()):
                self._ifc.root(
                    "IfcRelContainedInSpatialStructure", f"inside {storey.Name}", RelatingStructure=storey, RelatedElements=inside
                )
        for (bearing, external), walls in sorted(self._bearing.items()):
            self._ifc.root(
                "IfcRelDefinesByProperties",
                f"bearing {bearing} {external}",
                RelatedObjects=walls,
                RelatingPropertyDefinition=self._common(bearing, external),
            )
        for (thickness, line), walls in sorted(self._made_of.items()):
            self._ifc.root(
                "IfcRelAssociatesMaterial",
                f"layers {thickness} {line}",
                RelatedObjects=walls,
                RelatingMaterial=self._usage(thickness, line),
            )
        header = self._ifc.file.header
        header.file_description.description = ("ViewDefinition [CoordinationView]",)
        name = header.file_name
        name.name, name.time_stamp, name.author, name.organization = path.name, TIME, ("wallquant samples",), ("wallquant",)
        name.preprocessor_version, name.originating_system, name.authorization = "ifc_drawing.py", "ifc_drawing.py", ""
        self._ifc.file.write(str(path))

    def _hole(self, storey: Entity, wall: Entity, drawn: Drawn, hole: Hole, back: float, middle: float) -> None:
        width, height, deep = hole.end - hole.start, hole.head - hole.sill, drawn.thickness + 2 * hole.beyond
        place = self._ifc.placement(wall.ObjectPlacement, (back + (hole.start + hole.end) / 2, middle, hole.sill))
        key = f"{storey.Name} {drawn.name} {hole.name}"
        opening = self._ifc.root(
            "IfcOpeningElement",
            f"opening {key}",
            Name=f"{hole.name} opening",
            ObjectPlacement=place,
            Representation=self._ifc.box(width, deep, height, hole.across),
            **({"PredefinedType": "OPENING"} if self._ifc.is_ifc4 else {}),
        )
        self._ifc.root("IfcRelVoidsElement", f"void {key}", RelatingBuildingElement=wall, RelatedOpeningElement=opening)
        if not hole.filling:
            return
        kind = {"door": "IfcDoor", "window": "IfcWindow"}[hole.filling]
        filling = self._ifc.root(
            kind,
            f"{hole.filling} {key}",
            Name=hole.name,
            ObjectPlacement=self._ifc.placement(place, (0.0, 0.0, 0.0)),
            Representation=self._ifc.box(width, drawn.thickness / 4, height, False),
            OverallHeight=float(height),
            OverallWidth=float(width),
        )
        self._ifc.root("IfcRelFillsElement", f"fill {key}", RelatingOpeningElement=opening, RelatedBuildingElement=filling)
        self._inside[storey.id()].append(filling)

    def _plan(self, drawn: Drawn, back: float, middle: float) -> Entity:
        length, half = drawn.length, drawn.thickness / 2
        if drawn.mitres == (0, 0):
            return self._ifc.rectangle(length, drawn.thickness, (back + length / 2, middle))
        at_start, at_end = (m * half for m in drawn.mitres)
        corners = [
            (back - at_start, middle - half),
            (back + length - at_end, middle - half),
            (back + length + at_end, middle + half),
            (back + at_start, middle + half),
        ]
        outline = self._ifc.add("IfcPolyline", Points=[self._ifc.point(p) for p in (*corners, corners[0])])
        return self._ifc.add("IfcArbitraryClosedProfileDef", ProfileType="AREA", OuterCurve=outline)

    def _above(self, rake: Rake, back: float) -> Entity:
        size = sqrt(1.0 + rake.slope * rake.slope)
        normal = (-rake.slope / size, 0.0, 1.0 / size)
        position = self._ifc.axes((back + rake.station, 0.0, rake.level), normal, (1.0 / size, 0.0, rake.slope / size))
        return self._ifc.add("IfcHalfSpaceSolid", BaseSurface=self._ifc.add("IfcPlane", Position=position), AgreementFlag=False)

    def _usage(self, thickness: float, line: int) -> Entity:
        if thickness not in self._layers:
            layer = self._ifc.add("IfcMaterialLayer", Material=self._material, LayerThickness=float(thickness))
            name = f"{self._material.Name} {thickness:g} {self._ifc.unit}"
            self._layers[thickness] = self._ifc.add("IfcMaterialLayerSet", MaterialLayers=[layer], LayerSetName=name)
        return self._ifc.add(
            "IfcMaterialLayerSetUsage",
            ForLayerSet=self._layers[thickness],
            LayerSetDirection="AXIS2",
            DirectionSense="POSITIVE",
            OffsetFromReferenceLine=-(line + 1) * thickness / 2,
        )

    def _common(self, bearing: bool, external: bool) -> Entity:
        values = (("LoadBearing", bearing), ("IsExternal", external))
        properties = [
            self._ifc.add("IfcPropertySingleValue", Name=name, NominalValue=self._ifc.file.create_entity("IfcBoolean", value))
            for name, value in values
        ]
        return self._ifc.root("IfcPropertySet", f"common {bearing} {external}", Name="Pset_WallCommon", HasProperties=properties)

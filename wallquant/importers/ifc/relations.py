"""What hangs together in a model, gathered once: openings, fillings, parts, storeys, properties, materials, joins."""

from __future__ import annotations

from dataclasses import dataclass, field

from wallquant.importers.ifc.attributes import Attributes
from wallquant.importers.ifc.frames import Entity
from wallquant.importers.ifc.labels import label


@dataclass(kw_only=True, slots=True)
class Relations:
    """Maps from an instance's number to what it is related to."""

    openings: dict[int, list[Entity]] = field(default_factory=dict)
    fillings: dict[int, list[Entity]] = field(default_factory=dict)
    parent: dict[int, Entity] = field(default_factory=dict)
    parts: dict[int, list[Entity]] = field(default_factory=dict)
    structure: dict[int, Entity] = field(default_factory=dict)
    bearing: dict[int, bool] = field(default_factory=dict)
    material: dict[int, Entity] = field(default_factory=dict)
    joins: dict[int, set[str]] = field(default_factory=dict)

    def ancestors(self, entity: Entity) -> list[Entity]:
        """Return what an element is part of, nearest first; stops at a circle."""
        found: list[Entity] = []
        seen = {entity.id()}
        at = self.parent.get(entity.id())
        while at is not None and at.id() not in seen:
            seen.add(at.id())
            found.append(at)
            at = self.parent.get(at.id())
        return found


def gather(model: Entity) -> Relations:
    """Return the relations of a model."""
    found, get = Relations(), Attributes()
    for rel in model.by_type("IfcRelVoidsElement"):
        one, other = get(rel, "RelatingBuildingElement"), get(rel, "RelatedOpeningElement")
        if hasattr(one, "id") and hasattr(other, "id"):  # a damaged file has values here
            found.openings.setdefault(one.id(), []).append(other)
    for rel in model.by_type("IfcRelFillsElement"):
        one, other = get(rel, "RelatingOpeningElement"), get(rel, "RelatedBuildingElement")
        if one is not None and other is not None:
            found.fillings.setdefault(one.id(), []).append(other)
    for kind in ("IfcRelAggregates", "IfcRelNests"):
        for rel in model.by_type(kind):
            parts = get(rel, "RelatedObjects") or ()
            whole: Entity = get(rel, "RelatingObject") if parts else None
            for part in parts:
                found.parent[part.id()] = whole
                found.parts.setdefault(whole.id(), []).append(part)
    for rel in model.by_type("IfcRelContainedInSpatialStructure"):
        elements = get(rel, "RelatedElements") or ()
        structure = get(rel, "RelatingStructure") if elements else None
        for element in elements:
            found.structure[element.id()] = structure
    _properties(model, found, get)
    for rel in model.by_type("IfcRelAssociatesMaterial"):
        several = get(rel, "RelatedObjects") or ()
        material = get(rel, "RelatingMaterial") if several else None
        for one in several:
            found.material.setdefault(one.id(), material)
    for rel in model.by_type("IfcRelDefinesByType"):
        kind = rel.RelatingType
        for one in rel.RelatedObjects or () if kind is not None else ():
            if kind.id() in found.material:
                found.material.setdefault(one.id(), found.material[kind.id()])
            if kind.id() in found.bearing:
                found.bearing.setdefault(one.id(), found.bearing[kind.id()])
    for rel in model.by_type("IfcRelConnectsElements"):
        one, other = rel.RelatingElement, rel.RelatedElement
        if rel.is_a("IfcRelConnectsPathElements") and one is not None and other is not None:
            found.joins.setdefault(one.id(), set()).add(label(other.GlobalId))
            found.joins.setdefault(other.id(), set()).add(label(one.GlobalId))
    return found


def _properties(model: Entity, found: Relations, get: Attributes) -> None:
    for rel in model.by_type("IfcRelDefinesByProperties"):
        value = _bearing(get(rel, "RelatingPropertyDefinition"), get)
        if value is not None:
            for one in rel.RelatedObjects or ():
                found.bearing[one.id()] = value
    for kind in model.by_type("IfcTypeObject"):
        for definition in kind.HasPropertySets or ():
            value = _bearing(definition, get)
            if value is not None:
                found.bearing.setdefault(kind.id(), value)


def _bearing(definition: Entity | None, get: Attributes) -> bool | None:
    """The property LoadBearing of Pset_WallCommon."""
    if definition is None or not definition.is_a("IfcPropertySet") or get(definition, "Name") != "Pset_WallCommon":
        return None
    for one in definition.HasProperties or ():
        if one.is_a("IfcPropertySingleValue") and get(one, "Name") == "LoadBearing" and one.NominalValue is not None:
            value = one.NominalValue.wrappedValue
            return value if isinstance(value, bool) else None
    return None


@dataclass(frozen=True, kw_only=True, slots=True, order=True)
class Layer:
    """One layer: its material's name, thickness in units of the file (0 where it is missing), function as IFC4 categorises it."""

    name: str
    thickness: float
    function: str = ""
    ventilated: bool = False


@dataclass(frozen=True, kw_only=True, slots=True)
class Layers:
    """The material of a wall: the name of its main one, and its layers' total and place, in units of the file (None: no layers)."""

    name: str = ""
    total: float | None = None
    offset: float | None = None
    positive: bool = True
    count: int = 0
    title: str = ""
    each: tuple[Layer, ...] = ()


def _thickness(value: float | None) -> float:
    """A layer's thickness as it stands in the file; 0, which is missing, where no layer can have it."""
    return float(value) if value is not None and abs(value) < 1e9 else 0.0


def _offset(value: float | None) -> float | None:
    return float(value) if value is not None and abs(value) < 1e9 else None


def layers(material: Entity | None) -> Layers:
    """Return name and layers of an IfcMaterialSelect."""
    if material is None:
        return Layers()
    kind = material.is_a()
    if kind == "IfcMaterialLayerSetUsage":
        inner = layers(material.ForLayerSet)
        return Layers(
            name=inner.name, total=inner.total, count=inner.count, offset=_offset(material.OffsetFromReferenceLine),
            positive=material.DirectionSense != "NEGATIVE", title=inner.title, each=inner.each,
        )  # fmt: skip
    if kind == "IfcMaterialLayerSet":
        every = list(material.MaterialLayers or ())
        main = max(every, key=lambda one: _thickness(one.LayerThickness), default=None)
        name = main.Material.Name if main is not None and main.Material is not None else material.LayerSetName
        each = tuple(_layer(one) for one in every)
        title = label(material.LayerSetName)
        return Layers(name=name or "", total=sum(one.thickness for one in each), count=len(every), title=title, each=each)
    if kind == "IfcMaterialLayer":
        return Layers(name=(material.Material.Name if material.Material else "") or "", total=_thickness(material.LayerThickness), count=1)
    if kind == "IfcMaterialList":
        return Layers(name=next((m.Name for m in material.Materials or () if m.Name), ""))
    if kind == "IfcMaterialConstituentSet":
        return Layers(name=next((c.Material.Name for c in material.MaterialConstituents or () if c.Material), ""))
    return Layers(name=str(getattr(material, "Name", "") or ""))


def _layer(one: Entity) -> Layer:
    ventilated = one.IsVentilated in (True, "T", "TRUE", ".T.")
    name = label(one.Material.Name) if one.Material is not None else ""
    return Layer(
        name=name, thickness=_thickness(one.LayerThickness), function=str(getattr(one, "Category", None) or ""), ventilated=ventilated
    )

"""Where a model says it lies, and in which units: what is worth telling about that.

Walls are read in the model's engineering coordinates: the placements, within the coordinate system of the 3D context.  A map
conversion (IfcMapConversion, or its property sets in IFC2X3) and true north say where these lie on the earth; neither moves,
turns nor scales a plan, so that two models of one house have one plan.  All lengths are in the project's length unit, also those
of types that a project library declares.
"""

from __future__ import annotations

from wallquant.findings import Finding
from wallquant.importers.ifc.frames import Entity, named_size, units_of
from wallquant.importers.ifc.labels import label


def findings(model: Entity, unit: str) -> list[Finding]:
    """Return what is worth telling about the units and the place of a model whose lengths are read in `unit`."""
    told: list[Finding] = []
    sizes = [named_size(u) for project in model.by_type("IfcProject") for u in units_of(project, "LENGTHUNIT")]
    others = sorted({name for _, name in sizes} - {unit})
    if others:
        text = f"The model states its lengths in {unit} and in {' and '.join(others)}; {unit} is taken. Check a wall's length."
        told.append(Finding(code="reading.two-units", severity="warning", text=text))
    for library in _of(model, "IfcProjectLibrary"):
        odd = sorted({name for _, name in map(named_size, units_of(library, "LENGTHUNIT"))} - {unit})
        if odd:
            text = (
                f"Library {label(library.Name) or 'without a name'} states its lengths in {odd[0]}, the project in {unit}; "
                f"walls are read in {unit}, types of the library too. Check the length of one that has such a type."
            )
            told.append(Finding(code="reading.library-unit", severity="warning", text=text))
    if _of(model, "IfcMapConversion"):
        text = "The model says where it lies on the map; the plan keeps the model's own coordinates, and x and y are no map coordinates."
        told.append(Finding(code="reading.map", severity="note", text=text))
    return told


def _of(model: Entity, kind: str) -> list[Entity]:
    try:
        return list(model.by_type(kind))
    except RuntimeError:
        return []  # a kind that this schema does not have

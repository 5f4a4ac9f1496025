"""Where a model says it lies, and in which units: what is worth telling about that.

Walls are read in the model's engineering coordinates: the placements, within the coordinate system of the 3D context.  A map
conversion (IfcMapConversion, or its property sets in IFC2X3) and true north say where these lie on the earth; neither moves,
turns nor scales a plan, so that two models of one house have one plan.  A map conversion is handed on for layout.ifc.  All lengths
are in the project's length unit, also those of types that a project library declares.
"""

from __future__ import annotations

from math import isfinite

import numpy as np

from wallquant.building import MapPlace
from wallquant.findings import Finding
from wallquant.importers.ifc.frames import Entity, Frames, named_size, units_of
from wallquant.importers.ifc.labels import label


def findings(model: Entity, unit: str, on_map: MapPlace | None) -> list[Finding]:
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
        text += "" if on_map else " It cannot be said again in layout.ifc: it lacks numbers, or the world coordinate system is moved."
        told.append(Finding(code="reading.map", severity="note", text=text))
    return told


def map_place(model: Entity, frames: Frames, unit: str) -> MapPlace | None:
    """Return where a model lies on a map; None where it does not say, or not so that it can be said again.

    Parameters
    ----------
    model : Entity
    frames : Frames
        Its length unit, and its world coordinate system: where that is moved, programs differ on what the map conversion starts from.
    unit : str
        What people call that unit.
    """
    scale = frames.scale
    for one in _of(model, "IfcMapConversion") if np.array_equal(frames.world, np.eye(4)) else ():
        source, target = one.SourceCRS, one.TargetCRS
        if source is None or target is None or not source.is_a("IfcGeometricRepresentationContext") or not target.is_a("IfcProjectedCRS"):
            continue
        factors = {float(getattr(one, name, None) or 1.0) for name in ("FactorX", "FactorY", "FactorZ")}
        at = tuple(_number(value) for value in (one.Eastings, one.Northings, one.OrthogonalHeight))
        if None in at or len(factors) > 1:
            continue
        eastings, northings, height = (value for value in at if value is not None)
        size, stated = (scale, unit) if target.MapUnit is None else named_size(target.MapUnit)
        if not size > 0:
            continue
        way = _number(one.XAxisAbscissa), _number(one.XAxisOrdinate)
        wide = _number(one.Scale)
        if target.MapUnit is None or wide is not None or stated == unit:
            wide = (1.0 if wide is None else wide) * factors.pop() / scale
        names = (getattr(target, n, None) for n in ("Name", "Description", "GeodeticDatum", "VerticalDatum", "MapProjection", "MapZone"))
        return MapPlace(
            system=tuple(None if name is None else label(name) for name in names), eastings=eastings, northings=northings, height=height,
            way=None if way[0] is None or way[1] is None else (way[0], way[1]), scale=wide, unit=(stated, size),
        )  # fmt: skip
    return None


def _number(value: float | None) -> float | None:
    """A number of the file; None where it is missing or none."""
    return None if value is None or not isfinite(value) else float(value)


def _of(model: Entity, kind: str) -> list[Entity]:
    try:
        return list(model.by_type(kind))
    except RuntimeError:
        return []  # a kind that this schema does not have

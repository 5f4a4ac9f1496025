"""Which representation of an element is its body."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from wallquant.importers.ifc.frames import Entity

_SOLID = (
    "IfcSolidModel", "IfcBooleanResult", "IfcFaceBasedSurfaceModel", "IfcShellBasedSurfaceModel", "IfcMappedItem", "IfcTessellatedItem",
)  # fmt: skip


def body_of(element: Entity, get: Callable[[Entity, str], Any] = getattr) -> Entity | None:
    """Return the representation that is the body, the one called Body or the only one of solids; None where there is none."""
    shape = get(element, "Representation")
    every = [r for r in get(shape, "Representations") if get(r, "Items")] if shape is not None else []
    named = [r for r in every if get(r, "RepresentationIdentifier") == "Body"]
    if named:
        return named[0]
    fitting = [r for r in every if r.RepresentationIdentifier not in ("Axis", "Box", "FootPrint", "Reference") and _holds(r, _SOLID)]
    return fitting[0] if len(fitting) == 1 else None


def box_of(element: Entity) -> Entity | None:
    """Return the representation that is a bounding box, None where there is none."""
    shape = element.Representation
    every = [r for r in shape.Representations if r.RepresentationIdentifier == "Box"] if shape is not None else []
    return next((r for r in every if len(r.Items or ()) == 1 and r.Items[0].is_a("IfcBoundingBox")), None)


def _holds(representation: Entity, kinds: tuple[str, ...]) -> bool:
    for item in representation.Items:
        for kind in kinds:
            try:
                if item.is_a(kind):
                    return True
            except RuntimeError:
                continue  # a kind that this schema does not have
    return False

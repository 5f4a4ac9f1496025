"""The child process of `kernel`: opens the model, then answers one line of JSON for each instance number on its standard input.

Run as ``python -m wallquant.importers.ifc.kernel_child MODEL BYTES DESCRIPTOR``.  What the kernel itself prints goes nowhere.
"""

from __future__ import annotations

import json
import resource
import sys
from typing import Any


def main(path: str, memory: int, descriptor: int) -> None:
    """Answer until the input ends."""
    resource.setrlimit(resource.RLIMIT_AS, (memory, memory))
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
    import ifcopenshell
    import ifcopenshell.geom

    model = ifcopenshell.open(path)
    settings: Any = ifcopenshell.geom.settings()  # type: ignore[no-untyped-call]
    settings.set("disable-opening-subtractions", True)  # openings are read from their own bodies, and cuts can take minutes
    settings.set("weld-vertices", True)
    with open(descriptor, "w", encoding="ascii") as answers:
        answers.write(json.dumps({"unit_mm": unit_mm(model, settings)}) + "\n")
        answers.flush()
        for line in sys.stdin:
            answers.write(json.dumps(answer(model, settings, int(line))) + "\n")
            answers.flush()


def unit_mm(model: Any, settings: Any) -> float:
    """Return the millimetres that the kernel takes for one length unit of the model: the metres of a cube of a thousand."""
    import ifcopenshell.geom

    square = model.create_entity("IfcRectangleProfileDef", "AREA", None, flat(model), 1000.0, 1000.0)
    place = model.create_entity("IfcAxis2Placement3D", model.create_entity("IfcCartesianPoint", (0.0, 0.0, 0.0)), None, None)
    up = model.create_entity("IfcDirection", (0.0, 0.0, 1.0))
    cube = model.create_entity("IfcExtrudedAreaSolid", square, place, up, 1000.0)
    shape: Any = ifcopenshell.geom.create_shape(settings, cube)
    heights = [float(z) for z in shape.verts[2::3]]
    return max(heights) - min(heights)


def flat(model: Any) -> Any:
    """Return a placement at the origin of a plane."""
    return model.create_entity("IfcAxis2Placement2D", model.create_entity("IfcCartesianPoint", (0.0, 0.0)), None)


def answer(model: Any, settings: Any, number: int) -> dict[str, object]:
    """Return what is told about one item: its points in mm and its triangles, or what went wrong."""
    import ifcopenshell.geom

    try:
        shape: Any = ifcopenshell.geom.create_shape(settings, model.by_id(number))
        points = [float(v) * 1000 for v in shape.verts]
        triangles = [int(i) for i in shape.faces]
        returned = int(str(shape.id).split("-")[0])
    except Exception as error:  # the kernel raises many kinds, some of its own
        return {"item": number, "error": type(error).__name__}
    return {"item": returned, "points": points, "triangles": triangles}


if __name__ == "__main__":
    main(sys.argv[1], int(sys.argv[2]), int(sys.argv[3]))

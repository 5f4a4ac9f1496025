"""Bodies given by their faces, read from the attributes: Brep, surface model, tessellation; what is left goes to the geometry kernel."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Protocol

import numpy as np

from wallquant.importers.ifc.frames import Entity, Frames, Unreadable
from wallquant.importers.ifc.solids import Faces, Points

MOST_FACES = 200_000
"""A wall of more faces is a model of its surface and not of its shape."""


class Tessellates(Protocol):
    """The geometry kernel: gives the faces of one item."""

    def faces(self, item: Entity) -> list[Points]:
        """Return the faces of an item in its own coordinates, in mm, or raise `Unreadable`."""
        ...  # pragma: no cover


class Facets:
    """Reads the faces of one model's items.

    Parameters
    ----------
    frames : Frames
        Placements, for their scale.
    kernel : Tessellates
        Evaluates what has curved faces or is swept along a curve.
    """

    def __init__(self, frames: Frames, kernel: Tessellates) -> None:
        self.frames = frames
        self.kernel = kernel

    def faces(self, item: Entity) -> Faces:
        """Return the faces of an item; its rings are the outlines and the holes of the faces.

        Raises
        ------
        Unreadable
            If it has no faces, or is no solid, or the kernel cannot evaluate it within its limits.
        """
        kind = item.is_a()
        if item.is_a("IfcManifoldSolidBrep"):
            name, rings = "a Brep", self._shells([item.Outer, *(getattr(item, "Voids", None) or ())])
        elif kind == "IfcFaceBasedSurfaceModel":
            name, rings = "a surface model", self._shells(item.FbsmFaces)
        elif kind == "IfcShellBasedSurfaceModel":
            name, rings = "a surface model", self._shells(item.SbsmBoundary)
        elif kind in ("IfcTriangulatedFaceSet", "IfcTriangulatedIrregularNetwork", "IfcPolygonalFaceSet"):
            name, rings = "a tessellation", self._tessellated(item)
        elif item.is_a("IfcSolidModel") or item.is_a("IfcCsgPrimitive3D"):
            name, rings = f"an {kind}", None
        else:
            raise Unreadable(f"its body is an {kind}, which is no solid that this version can read")
        if rings is None:
            rings = self.kernel.faces(item)
        if not rings:
            raise Unreadable("its body has no faces")
        if len(rings) > MOST_FACES:
            raise Unreadable(f"its body has {len(rings)} faces, more than a wall's shape needs")
        return Faces(rings=rings, kind=name)

    def _shells(self, shells: Sequence[Entity]) -> list[Points] | None:
        """Rings of shells whose edges are straight and whose faces are level; None where a curve is among them."""
        rings: list[Points] = []
        for shell in shells:
            for face in shell.CfsFaces:
                if face.is_a("IfcFaceSurface") and not face.FaceSurface.is_a("IfcPlane"):
                    return None
                for bound in face.Bounds:
                    points = self._loop(bound.Bound)
                    if points is None:
                        return None
                    if len(points) > 2:
                        rings.append(points)
        return rings

    def _loop(self, loop: Entity) -> Points | None:
        if loop.is_a("IfcPolyLoop"):
            return np.array([self.frames.point(p) for p in loop.Polygon])
        if not loop.is_a("IfcEdgeLoop"):
            return None
        points: list[tuple[float, float, float]] = []
        for edge in loop.EdgeList:
            under = edge.EdgeElement
            forward = bool(edge.Orientation)
            curve = under.EdgeGeometry if under.is_a("IfcEdgeCurve") else None
            inner: list[tuple[float, float, float]] = []
            if curve is not None and curve.is_a("IfcPolyline"):
                inner = [self.frames.point(p) for p in curve.Points][1:-1]
                inner = inner if bool(under.SameSense) == forward else inner[::-1]
            elif curve is not None and not curve.is_a("IfcLine"):
                return None
            first = under.EdgeStart if forward else under.EdgeEnd
            points += [self.frames.point(first.VertexGeometry), *inner]
        return np.array(points)

    def _tessellated(self, item: Entity) -> list[Points]:
        points = np.array([self.frames.coordinates(c) for c in item.Coordinates.CoordList])
        remap = getattr(item, "PnIndex", None)
        lists: list[Sequence[int]] = []
        if item.is_a("IfcPolygonalFaceSet"):
            for face in item.Faces:
                lists += [face.CoordIndex, *(getattr(face, "InnerCoordIndices", None) or ())]
        else:
            lists = list(item.CoordIndex)
        rings: list[Points] = []
        for one in lists:
            index = [remap[i - 1] if remap else i for i in one]
            if min(one) < 1 or min(index) < 1:
                raise Unreadable("its faces refer to points that are not there")
            rings.append(points[[i - 1 for i in index]])
        return rings

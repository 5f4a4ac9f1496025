"""Representation items as prisms, faces and cuts, in one frame."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

import numpy as np
import numpy.typing as npt

from wallquant.importers.ifc.curves import Curves
from wallquant.importers.ifc.frames import Entity, Frames, Matrix, Unreadable, Vector, unit_vector

Points = npt.NDArray[np.float64]
"""Shape (n, 3), millimetres."""


@dataclass(kw_only=True, slots=True)
class Prism:
    """A profile moved along a vector."""

    outer: Points
    holes: list[Points]
    vector: Vector
    curved: bool

    def points(self) -> Points:
        """Return all corners of the outer outline."""
        return np.vstack((self.outer, self.outer + self.vector))

    def faces(self) -> list[Points]:
        """Return the faces as rings; holes are rings of the caps, which serves sections by a plane."""
        faces: list[Points] = []
        for ring in (self.outer, *self.holes):
            moved = ring + self.vector
            faces += [ring, moved]
            faces += [np.array((ring[i - 1], ring[i], moved[i], moved[i - 1])) for i in range(len(ring))]
        return faces

    def moved(self, matrix: Matrix) -> Prism:
        """Return it in another frame."""
        turn, shift = matrix[:3, :3].T, matrix[:3, 3]
        return Prism(
            outer=self.outer @ turn + shift, holes=[h @ turn + shift for h in self.holes], vector=self.vector @ turn, curved=self.curved
        )


@dataclass(kw_only=True, slots=True)
class Faces:
    """A body given by its faces: Brep, surface model or tessellation."""

    rings: list[Points]
    kind: str

    def points(self) -> Points:
        """Return all corners."""
        return np.vstack(self.rings)

    def faces(self) -> list[Points]:
        """Return the faces as rings."""
        return self.rings

    def moved(self, matrix: Matrix) -> Faces:
        """Return it in another frame."""
        return Faces(rings=[r @ matrix[:3, :3].T + matrix[:3, 3] for r in self.rings], kind=self.kind)


@dataclass(kw_only=True, slots=True)
class HalfSpace:
    """What a half-space takes away: all on the side of `normal`, within the endless prism over `bound` if there is one.

    `bound` is the outline in the plane of `frame`; the prism runs along the frame's z both ways.
    """

    point: Vector
    normal: Vector
    bound: list[tuple[float, float]] | None = None
    frame: Matrix | None = None

    def moved(self, matrix: Matrix) -> HalfSpace:
        """Return it in another frame."""
        linear = matrix[:3, :3]
        normal = unit_vector(np.linalg.inv(linear).T @ self.normal)
        frame = None if self.frame is None else matrix @ self.frame
        return HalfSpace(point=linear @ self.point + matrix[:3, 3], normal=normal, bound=self.bound, frame=frame)


Cut = HalfSpace | Prism | Faces


@dataclass(kw_only=True, slots=True)
class Solid:
    """A body and what is taken away from it."""

    base: Prism | Faces
    cuts: list[Cut] = field(default_factory=list)

    def moved(self, matrix: Matrix) -> Solid:
        """Return it in another frame."""
        return Solid(base=self.base.moved(matrix), cuts=[c.moved(matrix) for c in self.cuts])


class Solids:
    """Reads representation items of one model; what is mapped often is read once."""

    def __init__(self, frames: Frames, curves: Curves) -> None:
        self.frames = frames
        self.curves = curves
        self._mapped: dict[int, list[Solid]] = {}

    def items(self, representation: Entity, depth: int = 0) -> list[Solid]:
        """Return the solids of a representation.

        Raises
        ------
        Unreadable
            If an item is of a kind that this version cannot read.
        """
        if depth > 8:
            raise Unreadable("its body is mapped in a circle")
        solids: list[Solid] = []
        for item in representation.Items:
            if item.is_a("IfcMappedItem"):
                source = item.MappingSource
                if source.id() not in self._mapped:
                    inner = self.items(source.MappedRepresentation, depth + 1)
                    back: Matrix = np.asarray(np.linalg.inv(self.frames.axes(source.MappingOrigin)), dtype=np.float64)
                    self._mapped[source.id()] = [s.moved(back) for s in inner]
                matrix = self.frames.operator(item.MappingTarget)
                solids += [s.moved(matrix) for s in self._mapped[source.id()]]
            else:
                solids.append(self.solid(item))
        return solids

    def solid(self, item: Entity) -> Solid:
        """Return one solid item with its cuts."""
        cuts: list[Cut] = []
        seen = 0
        while item.is_a("IfcBooleanResult"):  # IfcBooleanClippingResult is one
            if item.Operator != "DIFFERENCE":
                raise Unreadable(f"its body is a Boolean {str(item.Operator).lower()}, which this version cannot read")
            cuts.append(self._cut(item.SecondOperand))
            item = item.FirstOperand
            seen += 1
            if seen > 5000:
                raise Unreadable("its body is nested without end")
        return Solid(base=self._base(item), cuts=cuts[::-1])

    def _cut(self, item: Entity) -> Cut:
        if not item.is_a("IfcHalfSpaceSolid"):
            try:
                solid = self.solid(item)
            except Unreadable:
                raise Unreadable(f"its body is cut by an {item.is_a()}, which this version cannot read") from None
            if solid.cuts:
                raise Unreadable("its body is cut by a solid that is cut itself, which this version cannot read")
            return solid.base
        surface = item.BaseSurface
        if not surface.is_a("IfcPlane"):
            raise Unreadable(f"its body is cut by an {surface.is_a()}, which this version cannot read")
        plane = self.frames.axes(surface.Position)
        normal = plane[:3, 2] * (-1.0 if item.AgreementFlag else 1.0)
        cut = HalfSpace(point=plane[:3, 3].copy(), normal=normal)
        if item.is_a("IfcPolygonalBoundedHalfSpace"):
            ring, _ = self.curves.curve(item.PolygonalBoundary)
            cut.bound = [(x, y) for x, y, _ in ring]
            cut.frame = self.frames.axes(item.Position)
        elif item.is_a("IfcBoxedHalfSpace"):
            pass  # the box only says where the half-space matters; it takes nothing less away
        return cut

    def _base(self, item: Entity) -> Prism | Faces:
        kind = item.is_a()
        if kind == "IfcExtrudedAreaSolid":
            outline = self.curves.profile(item.SweptArea)
            frame = self.frames.axes(item.Position)
            ratios = np.array([float(r) for r in item.ExtrudedDirection.DirectionRatios])
            vector = unit_vector(ratios) * self.frames.length(item.Depth)
            prism = Prism(outer=np.array(outline.outer), holes=[np.array(h) for h in outline.holes], vector=vector, curved=outline.curved)
            if float(np.linalg.norm(vector)) < 1e-6:
                raise Unreadable("its body has no depth")
            return prism.moved(frame)
        return self._faces(item, kind)

    def _faces(self, item: Entity, kind: str) -> Faces:
        rings: list[Points] = []
        name: Literal["a Brep", "a surface model", "a tessellation"] = "a Brep"
        if kind in ("IfcFacetedBrep", "IfcFacetedBrepWithVoids", "IfcManifoldSolidBrep"):
            shells = [item.Outer, *(getattr(item, "Voids", None) or ())]
        elif kind == "IfcFaceBasedSurfaceModel":
            name, shells = "a surface model", list(item.FbsmFaces)
        elif kind == "IfcShellBasedSurfaceModel":
            name, shells = "a surface model", list(item.SbsmBoundary)
        elif kind in ("IfcTriangulatedFaceSet", "IfcPolygonalFaceSet"):
            name, shells = "a tessellation", []
            points = np.array([self.frames.coordinates(c) for c in item.Coordinates.CoordList])
            lists = item.CoordIndex if kind == "IfcTriangulatedFaceSet" else [f.CoordIndex for f in item.Faces]
            remap = getattr(item, "PnIndex", None)
            rings = [points[[(remap[i - 1] if remap else i) - 1 for i in one]] for one in lists]
        else:
            raise Unreadable(f"its body is an {kind}, which this version cannot read")
        for shell in shells:
            for face in shell.CfsFaces:
                for bound in face.Bounds:
                    if not bound.Bound.is_a("IfcPolyLoop"):
                        raise Unreadable("its body is a Brep with curved edges, which this version cannot read")
                    ring = np.array([self.frames.point(p) for p in bound.Bound.Polygon])
                    rings.append(ring if bound.Orientation else ring[::-1])
        if not rings:
            raise Unreadable("its body has no faces")
        return Faces(rings=rings, kind=name)

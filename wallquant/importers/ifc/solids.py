"""Representation items as prisms, faces and cuts, in one frame."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Protocol

import numpy as np
import numpy.typing as npt

from wallquant.importers.ifc.curves import Curves
from wallquant.importers.ifc.frames import Entity, Frames, Matrix, Unreadable, Vector, unit_vector

_SAME_FRAME = np.eye(4)
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
        if (matrix == _SAME_FRAME).all():
            return self
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


@dataclass(kw_only=True, slots=True)
class Solid:
    """A body and what is taken away from it."""

    base: Prism | Faces | Tree
    cuts: list[Cut] = field(default_factory=list)

    def points(self) -> Points:
        """Return all corners of the body and of the solids that are taken away from it."""
        return np.vstack([self.base.points(), *(c.points() for c in self.cuts if not isinstance(c, HalfSpace))])

    def faces(self) -> list[Points]:
        """Return the faces of the body, as if nothing were taken away."""
        return self.base.faces()

    def moved(self, matrix: Matrix) -> Solid:
        """Return it in another frame."""
        return Solid(base=self.base.moved(matrix), cuts=[c.moved(matrix) for c in self.cuts])


@dataclass(kw_only=True, slots=True)
class Tree:
    """Two bodies of a Boolean result: both together (UNION), or what they share (INTERSECTION)."""

    operator: str
    first: Solid
    second: Cut

    def points(self) -> Points:
        """Return all corners of both."""
        return np.vstack([self.first.points(), *([] if isinstance(self.second, HalfSpace) else [self.second.points()])])

    def faces(self) -> list[Points]:
        """Return the faces of both, as if each stood alone."""
        return self.first.faces() + ([] if isinstance(self.second, HalfSpace) else self.second.faces())

    def moved(self, matrix: Matrix) -> Tree:
        """Return it in another frame."""
        return Tree(operator=self.operator, first=self.first.moved(matrix), second=self.second.moved(matrix))


Cut = HalfSpace | Prism | Faces | Solid


class Evaluates(Protocol):
    """What turns an item that is no extrusion into faces."""

    def faces(self, item: Entity) -> Faces:
        """Return the faces of an item, or raise `Unreadable`."""
        ...  # pragma: no cover


class Solids:
    """Reads representation items of one model; what is mapped often is read once."""

    def __init__(self, frames: Frames, curves: Curves, facets: Evaluates) -> None:
        self.frames = frames
        self.curves = curves
        self.facets = facets
        self._mapped: dict[int, list[Solid]] = {}
        self._ways: dict[int, Vector] = {}

    def items(self, representation: Entity, into: Matrix, depth: int = 0) -> list[Solid]:
        """Return the solids of a representation.

        Parameters
        ----------
        representation : Entity
        into : Matrix
            From the representation's coordinates to those of the result.

        Raises
        ------
        Unreadable
            If an item is of a kind that this version cannot read.
        """
        if depth > 8:
            raise Unreadable("its body is mapped in a circle")
        solids: list[Solid] = []
        for item in self.frames.get(representation, "Items"):
            if item.is_a() == "IfcExtrudedAreaSolid":  # by far the most items are
                solids.append(Solid(base=self._extrusion(item, into)))
            elif item.is_a("IfcMappedItem"):
                source = item.MappingSource
                if source.id() not in self._mapped:
                    inner = self.items(source.MappedRepresentation, np.eye(4), depth + 1)
                    back: Matrix = np.asarray(np.linalg.inv(self.frames.axes(source.MappingOrigin)), dtype=np.float64)
                    self._mapped[source.id()] = [s.moved(back) for s in inner]
                matrix = self.frames.operator(item.MappingTarget)
                solids += [s.moved(matrix).moved(into) for s in self._mapped[source.id()]]
            else:
                solids.append(self.solid(item).moved(into))
        return solids

    def solid(self, item: Entity, depth: int = 0) -> Solid:
        """Return one solid item with its cuts."""
        if depth > 100:
            raise Unreadable("its body is nested without end")
        cuts: list[Cut] = []
        seen = 0
        while item.is_a("IfcBooleanResult") or item.is_a("IfcCsgSolid"):  # IfcBooleanClippingResult is one
            if item.is_a("IfcCsgSolid"):
                item = item.TreeRootExpression
            elif item.Operator == "DIFFERENCE":
                cuts.append(self._cut(item.SecondOperand, depth + 1))
                item = item.FirstOperand
            else:
                first, second = self.solid(item.FirstOperand, depth + 1), self._cut(item.SecondOperand, depth + 1)
                return Solid(base=Tree(operator=str(item.Operator), first=first, second=second), cuts=cuts[::-1])
            seen += 1
            if seen > 5000:
                raise Unreadable("its body is nested without end")
        return Solid(base=self._base(item), cuts=cuts[::-1])

    def _cut(self, item: Entity, depth: int) -> Cut:
        if not item.is_a("IfcHalfSpaceSolid"):
            try:
                solid = self.solid(item, depth)
            except Unreadable as error:
                if "without end" in str(error):
                    raise
                raise Unreadable(f"its body is cut by an {item.is_a()}, which this version cannot read") from None
            return solid if solid.cuts or isinstance(solid.base, Tree) else solid.base
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
            return self._extrusion(item, _SAME_FRAME)
        if kind == "IfcBlock":
            return self._box(item.XLength, item.YLength, item.ZLength).moved(self.frames.axes(item.Position))
        if kind == "IfcBoundingBox":
            matrix = np.eye(4)
            matrix[:3, 3] = self.frames.point(item.Corner)
            return self._box(item.XDim, item.YDim, item.ZDim).moved(matrix)
        return self.facets.faces(item)

    def _extrusion(self, item: Entity, into: Matrix) -> Prism:
        get = self.frames.get
        outline = self.curves.profile(get(item, "SweptArea"))
        frame = into @ self.frames.axes(get(item, "Position"))
        depth = self.frames.length(get(item, "Depth"))
        vector = self._way(get(item, "ExtrudedDirection")) * depth
        prism = Prism(outer=np.array(outline.outer), holes=[np.array(h) for h in outline.holes], vector=vector, curved=outline.curved)
        if abs(depth) < 1e-6:
            raise Unreadable("its body has no depth")
        return prism.moved(frame)

    def _way(self, direction: Entity) -> Vector:
        """Unit vector of an IfcDirection; most extrusions of a model share one."""
        number = direction.id()
        if number not in self._ways:
            self._ways[number] = unit_vector(np.array([float(r) for r in direction.DirectionRatios]))
        return self._ways[number]

    def _box(self, x: float, y: float, z: float) -> Prism:
        a, b, c = (self.frames.length(v) for v in (x, y, z))
        if min(a, b, c) < 1e-6:
            raise Unreadable("its body has no depth")
        ring = np.array(((0.0, 0.0, 0.0), (a, 0.0, 0.0), (a, b, 0.0), (0.0, b, 0.0)))
        return Prism(outer=ring, holes=[], vector=np.array((0.0, 0.0, c)), curved=False)

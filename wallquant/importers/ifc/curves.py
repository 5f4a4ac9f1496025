"""Curves and profiles of a model as rings of points."""

from __future__ import annotations

from dataclasses import dataclass, field
from math import acos, atan2, ceil, cos, hypot, pi, sin

import numpy as np

from wallquant.importers.ifc.frames import Entity, Frames, Matrix, Unreadable

Point3 = tuple[float, float, float]
Ring = list[Point3]

CHORDS = 128
"""Least chords of a full circle; the area of such a polygon is 0.04 % short."""
RISE = 1.0
"""Most rise of an arc over a chord, in mm."""
LEAST_CHORDS = 4
"""Least chords of an arc: so many that it can be told from bends."""
MOST_CHORDS = 4096
"""Most chords of an arc."""
_SAME_WAY = (1.0, 0.0, 0.0, 0.0, 1.0, 0.0, 0.0, 0.0, 1.0)
SAME = 1e-6
"""Distance in mm below which two points are one (a nanometre)."""


@dataclass(kw_only=True, slots=True)
class Outline:
    """A profile: its outer ring and its holes, in mm in the profile's plane; `curved` where a part is an arc drawn in chords."""

    outer: Ring
    holes: list[Ring] = field(default_factory=list)
    curved: bool = False


class Curves:
    """Reads the curves of one model.

    Parameters
    ----------
    frames : Frames
        Placements, for their scale.
    angle : float
        Radians in the model's plane angle unit.
    """

    def __init__(self, frames: Frames, angle: float) -> None:
        self.frames = frames
        self.angle = angle

    def profile(self, entity: Entity, depth: int = 0) -> Outline:
        """Return the outline of an IfcProfileDef.

        Raises
        ------
        Unreadable
            If the kind of profile is none that this version reads.
        """
        kind = entity.is_a()
        if kind == "IfcRectangleProfileDef":
            get = self.frames.get
            x, y = self.frames.length(get(entity, "XDim")) / 2, self.frames.length(get(entity, "YDim")) / 2
            corners: Ring = [(-x, -y, 0.0), (x, -y, 0.0), (x, y, 0.0), (-x, y, 0.0)]
            return Outline(outer=_moved(corners, self.frames.axes(get(entity, "Position"))))
        if kind == "IfcCircleProfileDef":
            ring = self._conic(entity.Radius, entity.Radius, 0.0, 2 * pi)
            return Outline(outer=_moved(ring, self.frames.axes(entity.Position)), curved=True)
        if kind == "IfcCircleHollowProfileDef":
            inner = entity.Radius - entity.WallThickness
            if inner <= 0:
                raise Unreadable("its hollow profile is thicker than its radius")
            rings = [_moved(self._conic(r, r, 0.0, 2 * pi), self.frames.axes(entity.Position)) for r in (entity.Radius, inner)]
            return Outline(outer=rings[0], holes=[rings[1]], curved=True)
        if kind == "IfcEllipseProfileDef":
            ring = self._conic(entity.SemiAxis1, entity.SemiAxis2, 0.0, 2 * pi)
            return Outline(outer=_moved(ring, self.frames.axes(entity.Position)), curved=True)
        if kind in ("IfcArbitraryClosedProfileDef", "IfcArbitraryProfileDefWithVoids"):
            outer, curved = self.curve(self.frames.get(entity, "OuterCurve"))
            outline = Outline(outer=closed(outer), curved=curved)
            for inner in entity.InnerCurves if kind == "IfcArbitraryProfileDefWithVoids" else ():
                ring, bent = self.curve(inner)
                outline.holes.append(closed(ring))
                outline.curved = outline.curved or bent
            return outline
        if kind in ("IfcDerivedProfileDef", "IfcMirroredProfileDef") and depth < 8:
            parent = self.profile(entity.ParentProfile, depth + 1)
            matrix = np.diag((-1.0, 1.0, 1.0, 1.0)) if kind == "IfcMirroredProfileDef" else self.frames.operator(entity.Operator)
            return Outline(outer=_moved(parent.outer, matrix), holes=[_moved(h, matrix) for h in parent.holes], curved=parent.curved)
        raise Unreadable(f"its profile is an {kind}, which this version cannot read")

    def curve(self, entity: Entity, depth: int = 0) -> tuple[Ring, bool]:
        """Return the points of a curve, and whether a part of it is an arc."""
        kind = entity.is_a()
        if depth > 16:
            raise Unreadable("a curve of its geometry is nested without end")
        if kind == "IfcPolyline":
            return [self.frames.point(p) for p in self.frames.get(entity, "Points")], False
        if kind == "IfcIndexedPolyCurve":
            return self._indexed(entity)
        if kind in ("IfcCompositeCurve", "Ifc2DCompositeCurve"):
            points: Ring = []
            curved = False
            for segment in entity.Segments:
                part, bent = self.curve(segment.ParentCurve, depth + 1)
                points.extend(part if segment.SameSense else part[::-1])
                curved = curved or bent
            return points, curved
        if kind == "IfcTrimmedCurve":
            return self._trimmed(entity)
        if kind == "IfcCircle":
            return _moved(self._conic(entity.Radius, entity.Radius, 0.0, 2 * pi), self.frames.axes(entity.Position)), True
        if kind == "IfcEllipse":
            return _moved(self._conic(entity.SemiAxis1, entity.SemiAxis2, 0.0, 2 * pi), self.frames.axes(entity.Position)), True
        raise Unreadable(f"a curve of its geometry is an {kind}, which this version cannot read")

    def _indexed(self, entity: Entity) -> tuple[Ring, bool]:
        given = [self.frames.coordinates(c) for c in entity.Points.CoordList]
        if not entity.Segments:
            return given, False
        points: Ring = []
        curved = False
        for segment in entity.Segments:
            part = [given[i - 1] for i in segment.wrappedValue]
            if segment.is_a("IfcArcIndex"):
                curved = True
                part = arc_through(*part)
            points.extend(part)
        return points, curved

    def _trimmed(self, entity: Entity) -> tuple[Ring, bool]:
        basis = entity.BasisCurve
        first, last = (list(trim) for trim in (entity.Trim1, entity.Trim2))
        if basis.is_a("IfcLine"):
            ends = [self._on_line(basis, trim) for trim in (first, last)]
            return (ends if entity.SenseAgreement else ends[::-1]), False
        if basis.is_a("IfcCircle") or basis.is_a("IfcEllipse"):
            a, b = (basis.Radius, basis.Radius) if basis.is_a("IfcCircle") else (basis.SemiAxis1, basis.SemiAxis2)
            matrix = self.frames.axes(basis.Position)
            one, two = (self._on_conic(matrix, float(a), float(b), trim) for trim in (first, last))
            if not entity.SenseAgreement:
                one, two = two, one
            if two <= one + 1e-9:
                two += 2 * pi
            ring = self._conic(a, b, one, two)
            return _moved(ring if entity.SenseAgreement else ring[::-1], matrix), True
        raise Unreadable(f"a curve of its geometry is a trimmed {basis.is_a()}, which this version cannot read")

    def _on_line(self, line: Entity, trim: list[Entity]) -> Point3:
        for one in trim:
            if one.is_a("IfcCartesianPoint"):
                return self.frames.point(one)
        at = self.frames.length(float(trim[0].wrappedValue) * float(line.Dir.Magnitude))
        ratios = [float(r) for r in line.Dir.Orientation.DirectionRatios]
        size = hypot(*ratios)
        start = self.frames.point(line.Pnt)
        x, y, z = (start[i] + at * (ratios[i] if i < len(ratios) else 0.0) / size for i in range(3))
        return x, y, z

    def _on_conic(self, matrix: Matrix, a: float, b: float, trim: list[Entity]) -> float:
        for one in trim:
            if not one.is_a("IfcCartesianPoint"):
                return float(one.wrappedValue) * self.angle
        local = np.linalg.inv(matrix) @ np.array((*self.frames.point(trim[0]), 1.0))
        return atan2(float(local[1]) / b, float(local[0]) / a)

    def _conic(self, a: float, b: float, first: float, last: float) -> Ring:
        a, b = self.frames.length(a), self.frames.length(b)
        count = _count(max(a, b), last - first)
        turns = [first + (last - first) * i / count for i in range(count + 1)]
        return [(a * cos(t), b * sin(t), 0.0) for t in turns]


def arc_through(first: Point3, middle: Point3, last: Point3) -> Ring:
    """Return chords of the arc through three points of one plane z (a straight line where they are in line)."""
    (ax, ay, z), (bx, by, _), (cx, cy, _) = first, middle, last
    twice = 2 * ((bx - ax) * (cy - ay) - (by - ay) * (cx - ax))
    if abs(twice) < 1e-9:
        return [first, last]
    b2, c2 = (bx - ax) ** 2 + (by - ay) ** 2, (cx - ax) ** 2 + (cy - ay) ** 2
    ux, uy = ((cy - ay) * b2 - (by - ay) * c2) / twice, ((bx - ax) * c2 - (cx - ax) * b2) / twice
    radius = hypot(ux, uy)
    one, two = (atan2(y - ay - uy, x - ax - ux) for x, y in ((ax, ay), (cx, cy)))
    if twice > 0 and two < one:
        two += 2 * pi
    if twice < 0 and two > one:
        two -= 2 * pi
    count = _count(radius, two - one)
    inner = [one + (two - one) * i / count for i in range(1, count)]
    return [first, *((ax + ux + radius * cos(t), ay + uy + radius * sin(t), z) for t in inner), last]


def _count(radius: float, angle: float) -> int:
    """Chords of an arc of a radius in mm."""
    step = min(2 * pi / CHORDS, 2 * acos(max(0.0, 1 - RISE / radius)) if radius > RISE else pi)
    return min(MOST_CHORDS, max(LEAST_CHORDS, ceil(abs(angle) / max(step, 1e-9))))


def closed(ring: Ring) -> Ring:
    """Return a ring without repeated points (the last is not the first).

    Raises
    ------
    Unreadable
        If less than three points are left.
    """
    points: Ring = []
    for point in ring:
        if not points or max(abs(a - b) for a, b in zip(point, points[-1], strict=True)) > SAME:
            points.append(point)
    while len(points) > 1 and max(abs(a - b) for a, b in zip(points[0], points[-1], strict=True)) <= SAME:
        points.pop()
    if len(points) < 3:
        raise Unreadable("its profile has no area")
    return points


def _moved(ring: Ring, matrix: Matrix) -> Ring:
    (a, b, c, x), (d, e, f, y), (g, h, i, z), _ = matrix.tolist()
    if (a, b, c, d, e, f, g, h, i) == _SAME_WAY:
        return [(u + x, v + y, w + z) for u, v, w in ring]
    flat = np.array(ring) @ matrix[:3, :3].T + matrix[:3, 3]
    return [(u, v, w) for u, v, w in flat.tolist()]

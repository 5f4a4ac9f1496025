"""A bent wall in plan: an outline of one thickness along a path of straight stretches and arcs.

An outline is such a band where four square corners part it into two ends and two faces, and both faces are the same row of straight
stretches and concentric arcs; or a whole ring between two concentric circles.  Arcs are found again in their chords, so that it does
not matter how a program wrote them.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass
from math import atan2, cos, hypot, pi, radians, sin

import numpy as np
import numpy.typing as npt
import shapely
from shapely.geometry import Polygon

from wallquant.importers.ifc.frames import Vector
from wallquant.importers.ifc.plan import CLOSE

CORNER = radians(50)
"""A vertex that turns more than this is a corner of an end; less, a bend of a face."""
STEP = radians(20)
"""Chords of a drawn arc turn less than this each."""
ON_ARC = 0.2
"""How far the vertices of a drawn arc may lie off their circle, in mm."""
NEAR = 0.05
"""Vertices nearer to each other are one, in mm: where an arc meets a line, their ends as computed differ."""
FLAT = 1e-3
"""A vertex this near to the line between its neighbours is none, in mm."""
LEAST_CHORDS = 3
"""An arc is drawn in at least this many chords."""
Ring = npt.NDArray[np.float64]
"""Shape (n, 2), millimetres."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Stretch:
    """A part of the path: from `start` to `end`, straight, or an arc about `centre` that turns by `angle` (positive: to the left)."""

    start: Vector
    end: Vector
    centre: Vector | None = None
    radius: float = 0.0
    angle: float = 0.0

    @property
    def length(self) -> float:
        """Length along the path in mm."""
        if self.centre is not None:
            return self.radius * abs(self.angle)
        return float(hypot(*(self.end - self.start)))

    def at(self, part: float) -> Vector:
        """Return the point at a part of an arc, 0 to 1."""
        assert self.centre is not None
        x, y = self.start - self.centre
        turned = atan2(float(y), float(x)) + self.angle * part
        point: Vector = self.centre + self.radius * np.array((cos(turned), sin(turned)))
        return point


@dataclass(frozen=True, kw_only=True, slots=True)
class Band:
    """A wall of one thickness along a path; its outline as drawn."""

    path: tuple[Stretch, ...]
    thickness: float
    outline: Polygon


@dataclass(frozen=True, kw_only=True, slots=True)
class _Piece:
    """Vertices first to last of a face; an arc where it has a centre."""

    first: int
    last: int
    centre: Vector | None = None
    radius: float = 0.0


def band(outline: Polygon, sagitta: float) -> Band | None:
    """Return the bent wall that an outline in plan is, or None where it is none.

    Parameters
    ----------
    outline : Polygon
        In mm; one with a hole is a band where it is a ring between two circles.
    sagitta : float
        Most rise of an arc over one of the chords it is drawn in, in mm; what is coarser is straight stretches.
    """
    if outline.interiors:
        return _round(outline, sagitta) if len(outline.interiors) == 1 else None
    ring = _plain(np.array(shapely.geometry.polygon.orient(outline).exterior.coords[:-1]))
    faces = _faces(ring)
    if faces is None:
        return None
    right, left = faces
    ours, theirs = _pieces(right, sagitta), _pieces(left, sagitta)
    if len(ours) != len(theirs) or len(ours) + sum(p.centre is not None for p in ours) < 2:
        return None
    path: list[Stretch] = []
    sizes: list[float] = []
    for one, two in zip(ours, theirs, strict=True):
        found = _between(right[one.first : one.last + 1], one, left[two.first : two.last + 1], two)
        if found is None:
            return None
        path.append(found[0])
        sizes += found[1]
    if max(sizes) - min(sizes) > CLOSE or min(sizes) <= CLOSE:
        return None
    return Band(path=tuple(path), thickness=float(np.mean(sizes)), outline=outline)


def _round(outline: Polygon, sagitta: float) -> Band | None:
    """The ring between two concentric circles, as two half ones from where its outer face is begun; None where it is none."""
    turned = shapely.geometry.polygon.orient(outline)
    faces = [_plain(np.array(one.coords[:-1])) for one in (turned.exterior, turned.interiors[0])]
    found: list[tuple[Vector, float]] = []
    for face in faces:
        circle = _circle(face[0], face[len(face) // 3], face[2 * len(face) // 3]) if len(face) >= 2 * pi / STEP else None
        if circle is None:
            return None
        centre, radius = circle
        chord = float(np.hypot(*(face - np.roll(face, 1, axis=0)).T).max())
        rise = radius - float(np.sqrt(max(0.0, radius**2 - chord**2 / 4)))
        if float(np.abs(np.hypot(*(face - centre).T) - radius).max()) > ON_ARC or chord > radius * STEP or rise > sagitta:
            return None
        found.append(circle)
    (centre, outer), (other, inner) = found
    if float(hypot(*(centre - other))) > CLOSE / 2 or outer - inner <= CLOSE:
        return None
    radius, way = (outer + inner) / 2, (faces[0][0] - centre) / float(hypot(*(faces[0][0] - centre)))
    ends = centre + radius * way, centre - radius * way
    path = tuple(Stretch(start=a, end=b, centre=centre, radius=radius, angle=pi) for a, b in (ends, ends[::-1]))
    return Band(path=path, thickness=outer - inner, outline=outline)


def _plain(ring: Ring) -> Ring:
    """A ring without vertices at, or on the line between, their neighbours."""
    ring = ring[np.hypot(*(ring - np.roll(ring, 1, axis=0)).T) > NEAR]
    kept = list(range(len(ring)))
    for i in range(len(ring)):
        if len(kept) > 3:
            k = kept.index(i)
            a, b, c = ring[kept[k - 1]], ring[i], ring[kept[(k + 1) % len(kept)]]
            size = hypot(*(c - a))
            if size > FLAT and abs(_cross(b - a, c - a)) <= FLAT * size and float(np.dot(b - a, c - b)) > 0:
                kept.remove(i)
    return ring[kept]


def _cross(a: Vector, b: Vector) -> float:
    return float(a[0] * b[1] - a[1] * b[0])


def _faces(ring: Ring) -> tuple[Ring, Ring] | None:
    """The right and left face of a band, both in the direction of the right one."""
    steps = np.roll(ring, -1, axis=0) - ring
    before = np.roll(steps, 1, axis=0)
    turns = np.arctan2(before[:, 0] * steps[:, 1] - before[:, 1] * steps[:, 0], (before * steps).sum(axis=1))
    corners = np.flatnonzero(turns > CORNER).tolist()
    if len(corners) != 4 or float(np.abs(turns).max()) > pi - CORNER / 2 or float(turns.min()) < -CORNER:
        return None
    count = len(ring)
    for a, b, c, d in (corners, corners[1:] + corners[:1]):
        if (b - a) % count == 1 and (d - c) % count == 1:
            rolled = np.roll(ring, -b, axis=0)
            between = (c - b) % count
            right, left = rolled[: between + 1], rolled[between + 1 :][::-1]
            if max(len(right), len(left)) > 2:
                return right, left
    return None


def _pieces(face: Ring, sagitta: float) -> list[_Piece]:
    found: list[_Piece] = []
    at = 0
    while at < len(face) - 1:
        arc = _arc(face, at, sagitta)
        found.append(arc if arc is not None else _Piece(first=at, last=at + 1))
        at = found[-1].last
    return found


def _arc(face: Ring, first: int, sagitta: float) -> _Piece | None:
    """The longest arc that begins at a vertex."""
    best: _Piece | None = None
    for last in range(first + LEAST_CHORDS, len(face)):
        circle = _circle(face[first], face[(first + last) // 2], face[last])
        if circle is None:
            break
        centre, radius = circle
        points = face[first : last + 1] - centre
        if float(np.abs(np.hypot(points[:, 0], points[:, 1]) - radius).max()) > ON_ARC:
            break
        turned = np.arctan2(points[:-1, 0] * points[1:, 1] - points[:-1, 1] * points[1:, 0], (points[:-1] * points[1:]).sum(axis=1))
        most = float(np.abs(turned).max())
        if most > STEP or len(set(np.sign(turned).tolist())) > 1 or radius * (1 - cos(most / 2)) > sagitta:
            break
        best = _Piece(first=first, last=last, centre=centre, radius=radius)
    return best


def _circle(a: Vector, b: Vector, c: Vector) -> tuple[Vector, float] | None:
    p, q = b - a, c - a
    twice = 2 * _cross(p, q)
    if abs(twice) < 1e-9:
        return None
    centre = np.array((q[1] * (p @ p) - p[1] * (q @ q), p[0] * (q @ q) - q[0] * (p @ p))) / twice
    return a + centre, float(hypot(*centre))


def _between(right: Ring, one: _Piece, left: Ring, two: _Piece) -> tuple[Stretch, list[float]] | None:
    """The path between a right and a left stretch of the faces, and their distances; None where they are not parallel."""
    start, end = (right[0] + left[0]) / 2, (right[-1] + left[-1]) / 2
    if (one.centre is None) != (two.centre is None):
        return None
    if one.centre is None or two.centre is None:
        along = (right[-1] - right[0]) / hypot(*(right[-1] - right[0]))
        return Stretch(start=start, end=end), [_cross(along, p - right[0]) for p in left]
    centre = one.centre if one.radius >= two.radius else two.centre
    radii = [np.hypot(*(face - centre).T) for face in (right, left)]
    side = 1 if radii[0].mean() > radii[1].mean() else -1  # the left face is the inner one where the wall turns to the left
    radius = float(radii[0].mean() + radii[1].mean()) / 2
    if min(float(r.min()) for r in radii) < CLOSE:
        return None
    sizes = [side * float(a - b) for a, b in itertools.product((radii[0].min(), radii[0].max()), (radii[1].min(), radii[1].max()))]
    angle = 0.0
    for p, q in itertools.pairwise(right - centre):
        angle += atan2(_cross(p, q), float(p @ q))
    if angle * side <= 0:
        return None
    ends = [centre + radius * (p - centre) / hypot(*(p - centre)) for p in (start, end)]
    (p, q) = ends[0] - centre, ends[1] - centre
    last = atan2(_cross(p, q), float(p @ q))
    angle = last + 2 * pi * round((angle - last) / (2 * pi))
    return Stretch(start=ends[0], end=ends[1], centre=centre, radius=radius, angle=angle), sizes

"""A curved wall as straight ones: its arcs cut into equal chords, each a body of its own, joined end to end at mitres."""

from __future__ import annotations

import itertools
from dataclasses import dataclass
from math import acos, atan2, ceil, cos, degrees, hypot, sin

import numpy as np
from shapely import box
from shapely.geometry import Polygon

from wallquant.importers.ifc.bands import Band, Stretch, band
from wallquant.importers.ifc.bodies import Body
from wallquant.importers.ifc.frames import PARALLEL, Unreadable, Vector
from wallquant.importers.ifc.plan import Straight
from wallquant.importers.ifc.sections import sound
from wallquant.importers.ifc.solids import Prism, Solid

AGREE = 0.005
"""The part by which the outline's area may differ from path by thickness."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Limits:
    """How arcs are cut, in mm: most rise of the centre line's arc over a chord, and the least length of a chord."""

    gap: float
    least: float


@dataclass(frozen=True, kw_only=True, slots=True)
class Arc:
    """An arc as cut: radius of its centre line, number and length of its chords, angle between two of them in degrees, rise over one."""

    radius: float
    count: int
    chord: float
    turn: float
    gap: float


@dataclass(frozen=True, kw_only=True, slots=True)
class Bent:
    """A bent wall: a body for each chord and straight stretch in the order of the path, its arcs, and the outline as drawn."""

    bodies: tuple[Body, ...]
    beside: tuple[float, ...]
    """What lies between the arc and each body, in mm3."""
    arcs: tuple[Arc, ...]
    turns: tuple[float, ...]
    """Degrees by which each body turns from the one before."""
    outline: Polygon
    thickness: float


def read_bent(solids: list[Solid], limits: Limits) -> Bent | None:
    """Return the bent wall that solids in world orientation are, or None where they are none.

    Parameters
    ----------
    solids : list of Solid
        Items of the body; one upright extrusion without clips is read.
    limits : Limits

    Raises
    ------
    Unreadable
        If an arc is so tight that its chords would be shorter than `limits.least`.
    """
    prism = _upright(solids)
    if prism is None:
        return None
    outline = sound(Polygon(prism.outer[:, :2], [hole[:, :2] for hole in prism.holes]))
    if not isinstance(outline, Polygon) or outline.is_empty:
        return None
    found = band(outline, limits.gap)
    if found is None:
        return None
    arcs = [_cut(one, limits) for one in found.path if one.centre is not None]
    curved = sum(one.length for one in found.path if one.centre is not None) * found.thickness
    plain = sum(one.length for one in found.path if one.centre is None) * found.thickness
    if abs(curved + plain - outline.area) > AGREE * outline.area:
        return None
    share = 1.0 if prism.curved or not curved else (outline.area - plain) / curved  # of a polygon, what is drawn is the polygon
    low, high = sorted((float(prism.outer[0, 2]), float(prism.outer[0, 2] + prism.vector[2])))
    pieces = _chords(found, arcs)
    bodies = tuple(_body(one, found.thickness, (low, high)) for one in pieces)
    ways = [one[1] - one[0] for one in pieces]
    sizes = [float(hypot(*way)) for way in ways]
    longer = (along * share - size if along > size * (1 + 1e-12) else 0.0 for (_, _, along, _), size in zip(pieces, sizes, strict=True))
    beside = tuple(max(0.0, more) * found.thickness * (high - low) for more in longer)
    turns = tuple(abs(degrees(atan2(a[0] * b[1] - a[1] * b[0], float(a @ b)))) for a, b in itertools.pairwise(ways))
    return Bent(bodies=bodies, beside=beside, arcs=tuple(arcs), turns=turns, outline=outline, thickness=found.thickness)


def _upright(solids: list[Solid]) -> Prism | None:
    """The one level upright extrusion that a body is, if it is one."""
    if len(solids) != 1 or solids[0].cuts or not isinstance(solids[0].base, Prism):
        return None
    prism = solids[0].base
    way = prism.vector / np.linalg.norm(prism.vector)
    if hypot(float(way[0]), float(way[1])) > PARALLEL or float(np.ptp(prism.outer[:, 2])) > 0.01:
        return None
    return prism


def _cut(arc: Stretch, limits: Limits) -> Arc:
    step = 2 * acos(max(0.0, 1 - limits.gap / arc.radius))
    count = max(1, ceil(abs(arc.angle) / step - 1e-9))
    turn = abs(arc.angle) / count
    chord = 2 * arc.radius * sin(turn / 2)
    if chord < limits.least:
        raise Unreadable(
            f"its curve of radius {arc.radius:.0f} mm is too tight: within {limits.gap:g} mm of the arc its chords would be {chord:.0f} mm "
            f"long, less than {limits.least:g} mm"
        )
    return Arc(radius=arc.radius, count=count, chord=chord, turn=degrees(turn), gap=arc.radius * (1 - cos(turn / 2)))


_Chord = tuple[Vector, Vector, float, Polygon]
"""Start, end, length along the path, and outline as drawn."""


def _chords(found: Band, arcs: list[Arc]) -> list[_Chord]:
    """Start and end, length along the path, and outline as drawn, of each straight piece."""
    half = found.thickness / 2
    waiting = iter(arcs)
    made: list[_Chord] = []
    for one in found.path:
        if one.centre is None:
            way = (one.end - one.start) / one.length
            side = np.array((-way[1], way[0])) * half
            made.append((one.start, one.end, one.length, Polygon([one.start - side, one.end - side, one.end + side, one.start + side])))
            continue
        count = next(waiting).count
        inner, outer = (one.radius - half) / one.radius, (one.radius + half) / one.radius
        for k in range(count):
            points = [one.at((k + part) / count) - one.centre for part in np.linspace(0.0, 1.0, 9).tolist()]
            drawn = [one.centre + p * outer for p in points] + [one.centre + p * inner for p in reversed(points)]
            made.append((one.at(k / count), one.at((k + 1) / count), one.length / count, Polygon(drawn)))
    return made


def _body(piece: _Chord, thickness: float, levels: tuple[float, float]) -> Body:
    """The body of one piece."""
    start, end, _, drawn = piece
    low, high = levels
    size = hypot(*(end - start))
    way = (end - start) / size
    frame = np.eye(4)
    frame[0, :2], frame[1, :2] = way, (-way[1], way[0])
    turn = frame[:2, :2]
    first, offset = (turn @ start).tolist()
    last = first + size
    plan = Straight(start=first, end=last, right=offset - thickness / 2, left=offset + thickness / 2, odd_ends=0, notches=0, square=False)
    footprint = Polygon(np.array(drawn.exterior.coords[:-1]) @ turn.T)
    return Body(
        frame=frame, plan=plan, elevation=box(first, low, last, high), bottom=low, top=[(first, high), (last, high)], footprint=footprint,
        volume=size * thickness * (high - low), beyond=0.0, holes=[],
    )  # fmt: skip

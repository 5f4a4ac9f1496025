"""The levelling bed of a building: for each connected part the level of course 1, the bed of each piece, and where to begin."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import hypot

import numpy as np
import shapely

from wallquant.survey.datum import Decision, Limits, at_level, decide, strippable
from wallquant.survey.footings import XY, Footing, Ground, Mark
from wallquant.survey.odd import odd
from wallquant.survey.surface import Surface
from wallquant.survey.tying import Tied

NEAR = 300.0
"""A slab whose level differs more from the underside of walls than this, in millimetres, is not theirs, or has levels of its own."""
COVER = 300.0
"""A footprint further outside the shots than this, in millimetres, is told (project input)."""


@dataclass(frozen=True, kw_only=True, slots=True)
class PieceBed:
    """The bed of a piece of course 1, millimetres: at both its ends on the centre line, least, most; what is cut off its foot,
    the strip under it, what is taken off the slab; the volume of mortar in litres."""

    footing: Footing
    bed_start: float
    bed_end: float
    least: float
    most: float
    rip: float
    strip: float
    ground: float
    litres: float
    beyond: float


@dataclass(frozen=True, kw_only=True, slots=True)
class CornerBed:
    """A corner: bed under its first block, level of that block's top, and the rod reading there (None where no rod was read)."""

    corner: str
    piece: str
    bed: float
    top: float
    reading: float | None


@dataclass(frozen=True, kw_only=True, slots=True)
class Spot:
    """A place of the slab under a wall."""

    level: float
    at: XY
    piece: str


@dataclass(frozen=True, kw_only=True)
class PartBeds:
    """One connected part on one slab.

    `low_start` is what starting at the lowest point with the usual bed would ask: pieces ripped, and the most cut off one.
    `deep`, `stripped` are how many pieces stand too high over the slab from the highest point down, and how many of these could
    stand on a strip.
    """

    part: str
    decision: Decision
    lowest: Spot
    highest: Spot
    beds: tuple[PieceBed, ...]
    corners: tuple[CornerBed, ...]
    start: str
    low_start: tuple[int, float]
    deep: int
    stripped: int

    @property
    def litres(self) -> float:
        """Mortar of the bed."""
        return sum(b.litres for b in self.beds)

    @property
    def range(self) -> float:
        """Between the highest and the lowest point of the slab under the walls, millimetres."""
        return self.highest.level - self.lowest.level


@dataclass(frozen=True, kw_only=True)
class Levelled:
    """All parts that stand on the slab; `shift` is what was added to the survey's levels, `skipped` how many parts do not.

    `odd` are the shots that do not agree with the others: names (one, or all of a group of which none explains the rest), and how far
    off it, or the worst of them, is, in millimetres.
    """

    parts: tuple[PartBeds, ...]
    shift: float
    skipped: int
    instrument: float | None
    odd: tuple[tuple[tuple[str, ...], float], ...]


def levelled(ground: Ground, shots: Tied) -> Levelled:
    """Return the bed of every piece of course 1.

    Parameters
    ----------
    ground : Ground
    shots : Tied
        At least three, not on one line.

    Raises
    ------
    SurveyError
        If the shots make no surface.
    """
    surface = Surface.of(shots.points)
    groups: dict[tuple[str, float], list[Footing]] = {}
    for one in ground.footings:
        groups.setdefault((one.part, one.bottom), []).append(one)
    off = {key: key[1] - float(np.median(surface.level([f.ends[0] for f in some]))) for key, some in groups.items()}
    shift = 0.0
    if off and (shots.relative or min(abs(v) for v in off.values()) > NEAR):
        # levels of their own: the slab's highest point under the lowest walls is the underside that the model gives them
        lowest = min(groups, key=lambda key: (key[1], key[0]))
        shift = lowest[1] - max(surface.extremes(f.outline)[1][0] for f in groups[lowest])
        off = {key: value - shift for key, value in off.items()}
    limits = Limits(
        least=ground.least_bed,
        usual=ground.usual_bed,
        most=ground.most_bed,
        joint=ground.joint,
        rip=ground.least_rip,
        strip=ground.least_strip,
    )
    parts = [_part(key[0], groups[key], ground, surface, shots, shift, limits) for key in sorted(groups) if abs(off[key]) <= NEAR]
    return Levelled(
        parts=tuple(sorted(parts, key=lambda p: int(p.part[1:]) if p.part[1:].isdigit() else 0)),
        shift=shift,
        skipped=len(groups) - len(parts),
        instrument=None if shots.instrument is None else shots.instrument + shift,
        odd=tuple((tuple(shots.names[k] for k in one.shots), one.most) for one in odd(surface)),
    )


def _part(name: str, some: Sequence[Footing], ground: Ground, surface: Surface, shots: Tied, shift: float, limits: Limits) -> PartBeds:
    ends = [surface.extremes(f.outline) for f in some]
    low, high = (np.array([e[k][0] for e in ends]) + shift for k in (0, 1))
    height = np.array([f.height for f in some])
    done = decide(low, high, height, limits)
    under = done.datum + done.rips - np.where(done.strips > 0, done.strips + limits.joint, 0.0)
    beds = []
    for k, f in enumerate(some):
        a, b = (surface.level(f.ends) + shift).tolist()
        # a ground slab is plane under the piece, at the least bed
        cap = under[k] - limits.least if done.ground[k] else np.inf
        volume = _under(surface, f, shift, float(under[k]), float(cap))
        beds.append(
            PieceBed(
                footing=f, bed_start=float(under[k] - min(a, cap)), bed_end=float(under[k] - min(b, cap)),
                least=float(under[k] - min(high[k], cap)), most=float(under[k] - low[k]), rip=float(done.rips[k]),
                strip=float(done.strips[k]), ground=float(done.ground[k]), litres=volume * (1 + f.gap / (f.end - f.start)) / 1e6,
                beyond=float(surface.beyond(f.outline).max()),
            )
        )  # fmt: skip
    top, foot = int(high.argmax()), int(low.argmin())
    highest = Spot(level=float(high[top]), at=ends[top][1][1], piece=some[top].piece)
    lowest = Spot(level=float(low[foot]), at=ends[foot][0][1], piece=some[foot].piece)
    runs = {f.run for f in some}
    marks = [m for m in ground.marks if any(r in runs for r, _ in m.stations)]
    start = min(marks, key=lambda m: (round(hypot(m.at[0] - highest.at[0], m.at[1] - highest.at[1]), 3), _number(m)), default=None)
    instrument = None if shots.instrument is None else shots.instrument + shift
    wrong = at_level(float(low.min()) + limits.usual, low, high, np.full(len(low), 1e9), limits)
    rips = np.maximum(0.0, limits.least - (low.min() + limits.usual - high)) if wrong is None else wrong.rips
    deep, can = strippable(float(high.max()) + limits.usual, low, high, limits)
    return PartBeds(
        part=name, decision=done, lowest=lowest, highest=highest, beds=tuple(beds),
        corners=tuple(_corner(m, beds, done.datum, instrument) for m in marks), start=start.corner if start else "",
        low_start=(int(np.count_nonzero(rips > 1e-9)), float(rips.max())), deep=int(deep.sum()), stripped=int((deep & can).sum()),
    )  # fmt: skip


def _number(mark: Mark) -> tuple[int, str]:
    return len(mark.corner), mark.corner


def _corner(mark: Mark, beds: Sequence[PieceBed], datum: float, instrument: float | None) -> CornerBed:
    """Return the bed at a corner: of the piece that reaches nearest to it, at its nearer end."""
    stations = dict(mark.stations)

    def far(bed: PieceBed) -> float:
        f = bed.footing
        return max(0.0, f.start - stations[f.run], stations[f.run] - f.end) if f.run in stations else np.inf

    k = min(range(len(beds)), key=lambda n: (far(beds[n]), beds[n].footing.piece))
    one, f = beds[k], beds[k].footing
    nearer = abs(stations[f.run] - f.start) <= abs(stations[f.run] - f.end)
    top = datum + f.height  # also where it is ripped at its foot or stands on a strip
    return CornerBed(
        corner=mark.corner, piece=f.piece, bed=one.bed_start if nearer else one.bed_end, top=top,
        reading=None if instrument is None else instrument - top,
    )  # fmt: skip


def _under(surface: Surface, footing: Footing, shift: float, under: float, cap: float) -> float:
    """Return the volume between a piece's underside and the slab, cubic millimetres: exact, triangle by triangle."""
    shape = shapely.Polygon(footing.outline)
    total, left = 0.0, shape.area
    middle = surface.points[:, :2].mean(axis=0)
    for k in sorted(surface.tree.query(shape, predicate="intersects").tolist()):
        part = shapely.intersection(surface.tree.geometries[k], shape)
        area = float(shapely.area(part))
        if area <= 0:
            continue
        centre = shapely.get_coordinates(shapely.centroid(part))[0] - middle
        level = float(surface.planes[k][:2] @ centre + surface.planes[k][2]) + shift
        total += area * (under - min(level, cap))
        left -= area
    if left > 1e-6 * shape.area:  # beyond the shots the nearest level counts
        rest = shapely.difference(shape, surface.hull)
        at = shapely.get_coordinates(shapely.centroid(rest))[0]
        total += left * (under - min(float(surface.level([tuple(at)])[0]) + shift, cap))
    return total

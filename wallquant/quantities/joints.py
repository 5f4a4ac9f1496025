"""Mortar volumes from the joints as laid: beds, head joints, butt joints, mitre planes, the levelling bed.

A thin bed is spread over whole stretches of a course, head and butt joints crossed, wherever masonry lies below: its own run's or, in a
corner, the other run's.  A head joint is as high as both of its pieces; a joint between a run and the run that it butts
against belongs to the butting one; a mitre plane belongs to both runs by halves.  Gaps wider than the catalogue's greatest
head joint are no mortar joints.  Where a storey stands on one that is laid higher than drawn, so that less than a joint is left for its
levelling bed, that joint is thin-bed mortar.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Mapping
from dataclasses import dataclass
from math import hypot

import numpy as np
from numpy.typing import NDArray

from wallquant.layout import Courses, Junction, Pieces, Run
from wallquant.units import MM, Nm

Ints = NDArray[np.int64]
Spans = list[tuple[Nm, Nm]]
SQUARE = 1e-7
"""Runs whose directions are this near to parallel or to a right angle (sine) see each other as boxes, as in the ledger."""
THIN: Nm = MM // 100
"""What lies over another run by less than this does not."""


@dataclass(frozen=True, kw_only=True, slots=True)
class JointVolumes:
    """Mortar of one run, cubic metres, waste not included.

    Attributes
    ----------
    bed_m3, head_m3 : float
        Thin-bed mortar in bed joints, and in head joints, butt joints and mitre planes.
    levelling_m3 : float
        Levelling bed under the run's lowest pieces.
    """

    bed_m3: float = 0.0
    head_m3: float = 0.0
    levelling_m3: float = 0.0

    @property
    def thin_bed_m3(self) -> float:
        """All thin-bed mortar."""
        return self.bed_m3 + self.head_m3


def joint_volumes(pieces: Pieces, runs: Mapping[str, Run], courses: Mapping[str, Courses]) -> dict[str, JointVolumes]:
    """Measure the mortar of every run.

    Parameters
    ----------
    pieces : Pieces
    runs : mapping of name to Run
        Their junctions tell where the run butts, and where the other run carries it.
    courses : mapping of name to Courses
        The levelling bed of each run.

    Returns
    -------
    dict of str to JointVolumes
        By run, sorted by name; every run of `runs`.
    """
    order = np.argsort(pieces.run, kind="stable")
    groups = pieces.run[order]
    sides = _Sides.of(pieces)
    index = {name: i for i, name in enumerate(pieces.runs)}
    below = _Below.of(pieces, runs)
    out = {}
    for name in sorted(runs):
        at = index.get(name, -1)
        rows = order[np.searchsorted(groups, at) : np.searchsorted(groups, at, side="right")]
        run = runs[name]
        level = courses[name].bed if name in courses else 0
        levelling, thin = _levelling(pieces, rows, run, level, below)
        out[name] = JointVolumes(
            bed_m3=(_beds(pieces, rows, run) + thin) / 1e27,
            head_m3=(_heads(pieces, sides, rows, run) + _mitres(pieces, rows, run)) / 1e27,
            levelling_m3=levelling / 1e27,
        )
    return out


@dataclass(frozen=True, kw_only=True)
class _Below:
    """All pieces by the level of their top, to find what stands right under a run."""

    pieces: Pieces
    runs: Mapping[str, Run]
    order: Ints
    tops: Ints

    @classmethod
    def of(cls, pieces: Pieces, runs: Mapping[str, Run]) -> _Below:
        order = np.argsort(pieces.top, kind="stable")
        return cls(pieces=pieces, runs=runs, order=order, tops=pieces.top[order])

    def under(self, run: Run, level: Nm) -> list[tuple[Nm, Spans]]:
        """Return the tops less than a joint under a level, highest first, each with the stretches of the run that lie on it."""
        joint = run.catalogue.head_joint.most
        rows = self.order[np.searchsorted(self.tops, level - joint) : np.searchsorted(self.tops, level)]
        rows = rows[[row not in self.pieces.elevation for row in rows.tolist()]] if self.pieces.elevation else rows
        out: list[tuple[Nm, Spans]] = []
        for top, there in sorted(_groups(self.pieces.top[rows]).items(), reverse=True):
            found: Spans = []
            for number, own in _groups(self.pieces.run[rows[there]].astype(np.int64)).items():
                other, mine = self.runs[self.pieces.runs[number]], rows[there][own]
                for lo, hi in _spans(self.pieces.start[mine], self.pieces.end[mine], joint):
                    found += _seen(run, other, lo, hi)
            if found:
                out.append((top, _spans(np.array([a for a, _ in found]), np.array([b for _, b in found]), joint)))
        return out


def _seen(run: Run, other: Run, lo: Nm, hi: Nm) -> Spans:
    """The stations of a run over a stretch of another run, if its body lies over that one's at all."""
    half = other.thickness // 2
    points = [other.at(s, side) for s in (lo, hi) for side in (-half, half)]
    (x, y), (u, v) = run.start, run.direction
    along = [(p - x) * u + (q - y) * v for p, q in points]
    across = [(q - y) * u - (p - x) * v for p, q in points]
    square = min(abs(u * other.direction[0] + v * other.direction[1]), abs(u * other.direction[1] - v * other.direction[0])) <= SQUARE
    over = min(max(across), run.thickness / 2) - max(min(across), -run.thickness / 2)
    return [(round(min(along)), round(max(along)))] if square and over > THIN else []


@dataclass(frozen=True, kw_only=True)
class _Sides:
    """Levels between which each piece has a vertical end face, at its start and at its end."""

    start_low: Ints
    start_high: Ints
    end_low: Ints
    end_high: Ints

    @classmethod
    def of(cls, pieces: Pieces) -> _Sides:
        low, high = pieces.bottom.copy(), pieces.top.copy()
        far_low, far_high = low.copy(), high.copy()
        for row, shape in sorted(pieces.elevation.items()):
            for station, bottoms, tops in ((pieces.start[row], low, high), (pieces.end[row], far_low, far_high)):
                levels = [y for x, y in shape if x == station] or [int(pieces.bottom[row])]
                bottoms[row], tops[row] = min(levels), max(levels)
        return cls(start_low=low, start_high=high, end_low=far_low, end_high=far_high)


def _spans(start: Ints, end: Ints, joint: Nm) -> Spans:
    """Merge pieces to stretches; gaps of up to `joint` are crossed."""
    if not len(start):
        return []
    by = np.argsort(start, kind="stable")
    first, reach = start[by], np.maximum.accumulate(end[by])
    breaks = np.flatnonzero(first[1:] - reach[:-1] > joint)
    starts, ends = first[breaks + 1].tolist(), reach[breaks].tolist()
    return list(zip([int(first[0]), *starts], [*ends, int(reach[-1])], strict=True))


def _overlap(one: Spans, other: Spans) -> Nm:
    """Common length of two lists of stretches, each sorted and without overlaps."""
    total = i = k = 0
    while i < len(one) and k < len(other):
        total += max(0, min(one[i][1], other[k][1]) - max(one[i][0], other[k][0]))
        if one[i][1] < other[k][1]:
            i += 1
        else:
            k += 1
    return total


def _beds(pieces: Pieces, rows: Ints, run: Run) -> float:
    """Volume of the thin beds, nm3: stretches of one underside over stretches of the tops just below it."""
    joint, most = run.catalogue.head_joint.most, run.catalogue.bed.most
    bottom, top, start, end = pieces.bottom[rows], pieces.top[rows], pieces.start[rows], pieces.end[rows]
    unders, tops = _groups(bottom), _groups(top)
    total = 0.0
    for under, above in unders.items():
        upper = _to_faces(_spans(start[above], end[above], joint), run, under)
        gaps = [t for t in reversed(tops) if 0 < under - t <= most]
        for number, level in enumerate(gaps):
            lower = _spans(start[tops[level]], end[tops[level]], joint)
            if number == 0:
                lower = _merged(lower + [_square(j, joint) for j in run.junctions if _carries(j, level, run)])
            total += float(_overlap(upper, lower)) * float(run.thickness) * float(under - level)
            if pieces.plan:
                for row in rows[above].tolist():
                    if row in pieces.plan:
                        box = (int(pieces.end[row]) - int(pieces.start[row])) * run.thickness
                        total -= float(box - _area(pieces.plan[row])) * float(under - level)
    return total


def _groups(values: Ints) -> dict[Nm, Ints]:
    """Indices of each value, by rising value."""
    by = np.argsort(values, kind="stable")
    kinds, first = np.unique(values[by], return_index=True)
    return dict(zip(kinds.tolist(), np.split(by, first[1:]), strict=True)) if len(values) else {}


def _merged(spans: Spans) -> Spans:
    out: Spans = []
    for lo, hi in sorted(spans):
        if out and lo <= out[-1][1]:
            out[-1] = (out[-1][0], max(out[-1][1], hi))
        else:
            out.append((lo, hi))
    return out


def _to_faces(spans: Spans, run: Run, level: Nm) -> Spans:
    """Let stretches that end a joint short of another run's face reach it: the bed crosses that joint too."""
    most = run.catalogue.head_joint.most
    faces = [(j.station - j.thickness // 2, j.station + j.thickness // 2) for j in run.junctions if _carries(j, level, run)]
    out: Spans = []
    for lo, hi in spans:
        ends = [right for _, right in faces if 0 < lo - right <= most]
        starts = [left for left, _ in faces if 0 < left - hi <= most]
        out.append((min([lo, *ends]), max([hi, *starts])))
    return out


def _square(junction: Junction, joint: Nm) -> tuple[Nm, Nm]:
    """The stretch of a run that the other run fills at a corner, and the joints beside it."""
    half = junction.thickness // 2
    return junction.station - half - joint, junction.station + half + joint


def _carries(junction: Junction, level: Nm, run: Run) -> bool:
    """Whether the other run stands at a level; its top is as drawn, and may be laid higher by the fit."""
    return bool(junction.other) and junction.kind != "angled" and junction.bottom < level <= junction.top + run.catalogue.fit.top.plus


def _heads(pieces: Pieces, sides: _Sides, rows: Ints, run: Run) -> float:
    """Volume of the head and butt joints, nm3."""
    most = run.catalogue.head_joint.most
    if not len(rows):
        return 0.0
    by = np.lexsort((pieces.start[rows], pieces.top[rows], pieces.bottom[rows]))
    band = np.stack([pieces.bottom[rows[by]], pieces.top[rows[by]]])
    first = np.flatnonzero(np.r_[True, np.any(band[:, 1:] != band[:, :-1], axis=0)])
    bands, members = band[:, first], np.split(rows[by], first[1:])
    tallest = int((bands[1] - bands[0]).max())
    met_start, met_end = np.zeros(len(rows), dtype=bool), np.zeros(len(rows), dtype=bool)
    total = 0.0
    levels: Spans = list(zip(bands[0].tolist(), bands[1].tolist(), strict=True))  # sorted by underside
    near = [
        (one, two)
        for one, (low, high) in enumerate(levels)
        for two in range(bisect_left(levels, (low - tallest, 0)), bisect_left(levels, (high, 0)))
        if levels[two][0] < high and levels[two][1] > low
    ]
    for one, two in near:
        left, right = members[one], members[two]
        at = np.searchsorted(pieces.start[right], pieces.end[left], side="right")
        inside = at < len(right)
        a, b = left[inside], right[at[inside]]
        gap = pieces.start[b] - pieces.end[a]
        close = gap <= most
        a, b, gap = a[close], b[close], gap[close]
        high = np.minimum(sides.end_high[a], sides.start_high[b]) - np.maximum(sides.end_low[a], sides.start_low[b])
        total += float(np.sum(gap.astype(np.float64) * np.maximum(high, 0))) * run.thickness
        met_end[np.searchsorted(rows, a[high > 0])] = True
        met_start[np.searchsorted(rows, b[high > 0])] = True
    return total + sum(_butts(pieces, sides, rows, run, j, met_start, met_end) for j in run.junctions)


def _butts(
    pieces: Pieces, sides: _Sides, rows: Ints, run: Run, junction: Junction, met_start: NDArray[np.bool_], met_end: NDArray[np.bool_]
) -> float:
    """Volume of the joints between a run's pieces and the faces of the run that it meets, nm3."""
    if not junction.other or junction.kind == "angled":
        return 0.0
    half, most = junction.thickness // 2, run.catalogue.head_joint.most
    total = 0.0
    for gap, low, high, met in (
        (pieces.start[rows] - (junction.station + half), sides.start_low[rows], sides.start_high[rows], met_start),
        (junction.station - half - pieces.end[rows], sides.end_low[rows], sides.end_high[rows], met_end),
    ):
        here = (gap > 0) & (gap <= most) & ~met
        tall = np.minimum(high[here], junction.top + run.catalogue.fit.top.plus) - np.maximum(low[here], junction.bottom)
        total += float(np.sum(gap[here].astype(np.float64) * np.maximum(tall, 0))) * run.thickness
    return total


def _mitres(pieces: Pieces, rows: Ints, run: Run) -> float:
    """Half the volume of the joints in mitre planes, all of those along a face, nm3; a plane's joint is taken as nominal."""
    total = 0.0
    if pieces.plan:
        for row in rows.tolist():
            ring = pieces.plan.get(row, ())
            for (x, y), (u, v) in zip(ring, [*ring[1:], *ring[:1]], strict=True):
                if x != u and y != v:
                    end = run.first if x + u < int(pieces.start[row]) + int(pieces.end[row]) else run.last
                    share = 1 if end.plane is not None and not end.plane.shared else 2
                    total += hypot(u - x, v - y) * float(pieces.top[row] - pieces.bottom[row]) * run.catalogue.head_joint.nominal / share
    return total


def _levelling(pieces: Pieces, rows: Ints, run: Run, bed: Nm, below: _Below) -> tuple[float, float]:
    """Volume of the levelling bed under the lowest pieces, and of the thin bed where pieces stand right below them, nm3."""
    if not len(rows):
        return 0.0, 0.0
    lowest = rows[pieces.bottom[rows] == pieces.bottom[rows].min()]
    if int(pieces.bottom[lowest[0]]) - run.bottom > run.catalogue.levelling_bed.most:
        return 0.0, 0.0  # nothing is laid on the slab
    level = int(pieces.bottom[lowest[0]])
    spans = _to_faces(_spans(pieces.start[lowest], pieces.end[lowest], run.catalogue.head_joint.most), run, level)
    borne: Spans = []
    thin = 0.0
    for top, there in below.under(run, level):
        taken = _overlap(spans, _merged(borne + there)) - _overlap(spans, borne)
        thin += float(taken) * run.thickness * (level - top)
        borne = _merged(borne + there)
    askew = [row for row in lowest.tolist() if row in pieces.plan]
    beside = sum((int(pieces.end[row]) - int(pieces.start[row])) * run.thickness - _area(pieces.plan[row]) for row in askew)
    return (float(sum(hi - lo for lo, hi in spans) - _overlap(spans, borne)) * run.thickness - beside) * bed, thin


def _area(ring: tuple[tuple[Nm, Nm], ...]) -> int:
    return abs(sum(x * v - u * y for (x, y), (u, v) in zip(ring, [*ring[1:], *ring[:1]], strict=True))) // 2

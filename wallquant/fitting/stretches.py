"""Stretches of a run's courses: from one face to the next, as the plan lays them course by course.

A *face* is where a row of units has to stop: a free end, a jamb, a step of the top, the outer face of a corner where the run
passes, or the face of a run against which it butts.  From face to face n units close without a cut where the distance is
n pitches less one joint, and one joint more for each face against which the row butts.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from typing import Literal

from wallquant.building import Profile
from wallquant.layout import TIED, Course, Junction, Run, Work
from wallquant.units import MM, Nm

Kind = Literal["free", "pass", "butt", "jamb", "step", "askew"]


@dataclass(frozen=True, kw_only=True, slots=True)
class Face:
    """Where a row stops: its kind, and the corner or opening it belongs to ('' for neither)."""

    kind: Kind
    station: Nm
    of: str = ""


@dataclass(frozen=True, kw_only=True, slots=True)
class Stretch:
    """A row between two faces in one course; `whole` where both are ends of the run."""

    course: int
    first: Face
    last: Face
    whole: bool

    @property
    def length(self) -> Nm:
        return self.last.station - self.first.station


@dataclass(kw_only=True, slots=True)
class Family:
    """All stretches between the same two things, whichever run passes there, course by course."""

    whole: bool
    stretches: list[Stretch] = field(default_factory=list)

    def one_end(self) -> Stretch | None:
        """Return the row that passes at the first end and butts at the last, of a run that passes at both ends or at none.

        No length closes both kinds of course of such a run; a run that passes at one end in turn closes on whole pitches between
        its axes, so that is what its length is measured against.
        """
        kinds = {(s.first.kind, s.last.kind) for s in self.stretches}
        if not self.whole or not {("pass", "pass"), ("butt", "butt")} <= kinds:
            return None
        outer = next(s for s in self.stretches if s.first.kind == s.last.kind == "pass")
        inner = next(s for s in self.stretches if s.first.kind == s.last.kind == "butt")
        return Stretch(course=outer.course, first=outer.first, last=inner.last, whole=True)


def families(work: Work, run: Run) -> list[Family]:
    """Return the stretches of a run, those between the same two things together, by station."""
    found: dict[tuple[object, ...], Family] = {}
    fixed = _fixed(work, run.name)
    for course in work.courses[run.name].levels:
        for one in _row(work, run, course):
            lintels = fixed.get(course.number, ())
            if any(lo < one.last.station and hi > one.first.station for lo, hi in lintels):
                continue
            key = (_thing(one.first), _thing(one.last), one.whole)
            found.setdefault(key, Family(whole=one.whole)).stretches.append(one)
    return sorted(found.values(), key=lambda f: (not f.whole, f.stretches[0].first.station, f.stretches[0].last.station))


def _thing(face: Face) -> tuple[object, ...]:
    """What a face belongs to; the two faces of a corner are one thing."""
    return (face.of, face.kind == "jamb") if face.of else (face.kind, face.station)


def _fixed(work: Work, run: str) -> Mapping[int, Sequence[tuple[Nm, Nm]]]:
    """Stations of the run's fixed pieces (lintels) by the courses that they stand in."""
    p = work.pieces
    out: dict[int, list[tuple[Nm, Nm]]] = {}
    if run not in p.runs:
        return out
    rows = ((p.run == p.runs.index(run)) & (p.fixed >= 0)).nonzero()[0]
    for k in rows.tolist():
        for course in work.courses[run].levels:
            if p.bottom[k] < course.top and p.top[k] > course.bottom:
                out.setdefault(course.number, []).append((int(p.start[k]), int(p.end[k])))
    return out


def _row(work: Work, run: Run, course: Course) -> Iterator[Stretch]:
    """Cut one course at openings and passing runs; a stretch that ends on a slope or askew is left out."""
    ends = _end(work, run, run.first, course), _end(work, run, run.last, course)
    stops: list[tuple[Face, Face]] = []
    for o in run.openings:
        if o.through and o.sill < course.top and o.head > course.bottom:
            stops.append((Face(kind="jamb", station=o.start, of=o.key), Face(kind="jamb", station=o.end, of=o.key)))
    for j in run.through:
        if not _passes(work, run, j, course) and j.bottom < course.top and j.top > course.bottom:
            kind: Kind = "askew" if j.loose else "butt"
            lo, hi = _taken(j)
            stops.append((Face(kind=kind, station=lo, of=j.corner), Face(kind=kind, station=hi, of=j.corner)))
    for first, last in _standing(run.top, course.top, ends):
        face = first
        for near, far in sorted(stops, key=lambda s: (s[0].station, s[1].station)):
            if far.station > face.station and near.station < last.station:
                yield from _stretch(course, face, near, ends)
                face = far
        yield from _stretch(course, face, last, ends)


def _stretch(course: Course, first: Face, last: Face, ends: tuple[Face, Face]) -> Iterator[Stretch]:
    if "askew" not in (first.kind, last.kind) and last.station > first.station:
        yield Stretch(course=course.number, first=first, last=last, whole=first is ends[0] and last is ends[1])


def _end(work: Work, run: Run, j: Junction, course: Course) -> Face:
    if j.kind == "end":
        return Face(kind="free", station=j.station, of=j.corner)
    if j.loose:
        return Face(kind="askew", station=j.station, of=j.corner)
    passes = _passes(work, run, j, course)
    lo, hi = _taken(j)
    outer, inner = (lo, hi) if j.role == "start" else (hi, lo)
    return Face(kind="pass", station=outer, of=j.corner) if passes else Face(kind="butt", station=inner, of=j.corner)


def _taken(j: Junction) -> tuple[Nm, Nm]:
    return j.taken if j.taken is not None else (j.station - j.thickness // 2, j.station + j.thickness // 2)


def _passes(work: Work, run: Run, j: Junction, course: Course) -> bool:
    phase = work.phases.get(j.corner, ())
    if course.number <= len(phase) and phase[course.number - 1] != TIED:
        return phase[course.number - 1] == run.name
    return work.corners[j.corner].runs[0] == run.name


def _standing(top: Profile, level: Nm, ends: tuple[Face, Face]) -> Iterator[tuple[Face, Face]]:
    """Yield where the wall stands to at least `level` (within 1 mm), from face to face; a slope is no face."""
    spans: list[tuple[Nm, Nm, bool, bool]] = []
    for (a, p), (b, q) in pairwise(top):
        if a == b or max(p, q) < level - MM:
            continue
        lo = a if p >= level - MM else a + round((b - a) * (level - p) / (q - p))
        hi = b if q >= level - MM else a + round((b - a) * (level - p) / (q - p))
        if spans and spans[-1][1] == lo == a and spans[-1][3]:
            spans[-1] = (spans[-1][0], hi, spans[-1][2], hi == b)
        else:
            spans.append((lo, hi, lo == a, hi == b))
    for lo, hi, square_lo, square_hi in spans:
        first = ends[0] if lo == top[0][0] else Face(kind="step" if square_lo else "askew", station=lo)
        last = ends[1] if hi == top[-1][0] else Face(kind="step" if square_hi else "askew", station=hi)
        yield first, last

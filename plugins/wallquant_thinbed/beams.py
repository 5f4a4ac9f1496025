"""Where bond beams lie in a run, and how their troughs end.

Words of this module: a *beam* is one course of U units over a stretch of a run; its *channel* is the trough through them, from end stop
to end stop, into the troughs of other runs at corners; a *stop* closes a trough.  Where two runs cross, the square that both troughs
share is the channel of the run that goes first, whichever passes.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise
from typing import Protocol

from wallquant.building import Profile
from wallquant.catalogue import Unit
from wallquant.layout import Course, Courses, Junction, Run
from wallquant.units import MM, Nm, inches, parse_length


class Asked(Protocol):
    """The parameters of the rule that this module reads."""

    @property
    def top(self) -> bool: ...
    @property
    def levels(self) -> str: ...
    @property
    def spacing(self) -> Nm: ...
    @property
    def bearing_only(self) -> bool: ...


@dataclass(frozen=True, kw_only=True, slots=True)
class Beam:
    """A course of U units over the stations lo to hi; `asked` is the level at which its top is wanted."""

    course: Course
    unit: Unit
    lo: Nm
    hi: Nm
    asked: Nm
    on_top: bool

    @property
    def width(self) -> Nm:
        return self.unit.trough.width if self.unit.trough else 0

    @property
    def depth(self) -> Nm:
        return self.unit.trough.depth if self.unit.trough else 0

    @property
    def base(self) -> Nm:
        """The level of the trough's bottom."""
        return self.course.top - self.depth

    @property
    def stop(self) -> Nm:
        """The thickness of what closes its trough: that of a flange."""
        return (self.unit.thickness - self.width) // 2


@dataclass(frozen=True, kw_only=True, slots=True)
class Wanted:
    """A beam's top as asked: its level, the stretch of the run, and whether it is the wall's own top."""

    level: Nm
    lo: Nm
    hi: Nm
    on_top: bool


def levels_of(text: str) -> tuple[Nm, ...]:
    """Read a list of heights, ``4 ft, 8 ft``.

    Raises
    ------
    ValueError
        If one of them is no length, or not above the underside.
    """
    levels = {parse_length(part): part.strip() for part in text.split(",") if part.strip()}
    low = next((part for level, part in sorted(levels.items()) if level <= 0), "")
    if low:
        raise ValueError(f"'{low}' is not above the underside of a run; write heights above it, like '4 ft, 8 ft'")
    return tuple(sorted(levels))


LEAST_TROUGH: Nm = inches("1-1/2")
"""Least width of a space for fine grout (TMS 602, table of grout spaces, from memory: 1-1/2 in for pours of 1 ft)."""


def asked_for(asked: Asked) -> bool:
    """Whether any beam is asked for."""
    return bool(asked.top or asked.spacing or levels_of(asked.levels))


def u_unit(run: Run, thickness: Nm) -> Unit | None:
    """Return the U unit of a thickness that has the face of the run's own units, and a trough that takes grout."""
    face = next((f for f in run.catalogue.faces if (f.length, f.height) == (run.unit.length, run.unit.height)), None)
    return next((u for u in run.catalogue.of_kind("U", thickness, face) if u.trough is not None and u.trough.width >= LEAST_TROUGH), None)


def wanted(run: Run, asked: Asked) -> tuple[Wanted, ...]:
    """Return where beams are asked for: at the lowest level of each stretch of the top without a step, and at given heights."""
    if not run.top or (asked.bearing_only and run.bearing is False):
        return ()
    out: list[Wanted] = []
    if asked.top:
        out += [Wanted(level=min(z for _, z in part), lo=part[0][0], hi=part[-1][0], on_top=True) for part in unstepped(run.top)]
    highest = max(z for _, z in run.top)
    for height in heights(asked, highest - run.bottom):
        out.append(Wanted(level=run.bottom + height, lo=run.top[0][0], hi=run.top[-1][0], on_top=False))
    return tuple(out)


def heights(asked: Asked, most: Nm) -> tuple[Nm, ...]:
    """Return the heights above the underside at which beams are asked for, below `most`."""
    every = range(asked.spacing, most, asked.spacing) if asked.spacing else ()
    return tuple(sorted({h for h in (*levels_of(asked.levels), *every) if 0 < h < most}))


def unstepped(top: Profile) -> list[list[tuple[Nm, Nm]]]:
    """Cut a top profile at its steps."""
    parts: list[list[tuple[Nm, Nm]]] = [[top[0]]]
    for (a, p), (b, q) in pairwise(top):
        if a == b and abs(p - q) > MM:
            parts.append([])
        parts[-1].append((b, q))
    return [part for part in parts if len(part) > 1 and part[0][0] < part[-1][0]]


def course_at(run: Run, courses: Courses, one: Wanted) -> Course | None:
    """Return the whole course whose top is a beam's: within the fit at the wall's own top, else the nearest one."""
    whole = [c for c in courses.levels if c.top - c.bottom == run.unit.height]
    if one.on_top:
        fit = run.catalogue.fit.top
        whole = [c for c in whole if fit.holds(drawn=one.level, laid=c.top)]
    return min(whole, key=lambda c: (abs(c.top - one.level), c.number), default=None)


def bed_of(run: Run, courses: Courses, one: Wanted) -> Nm:
    """Return the level of the bed under a beam: of the course at its level, or at a wall's top so that the U course is whole."""
    course = course_at(run, courses, one)
    return course.bottom if course is not None else one.level - run.unit.height


def beams(run: Run, courses: Courses, asked: Asked) -> tuple[Beam, ...]:
    """Return the beams of a run, by course and station; none where the catalogue has no U unit for it."""
    unit = u_unit(run, run.unit.thickness)
    if unit is None or not len(courses):
        return ()
    out: list[Beam] = []
    for one in wanted(run, asked):
        course = course_at(run, courses, one)
        if course is None:
            continue
        for lo, hi in standing(run.top, course.top, one.lo, one.hi):
            if hi - lo >= run.unit.length and not any(b.course.number == course.number and b.lo <= lo and hi <= b.hi for b in out):
                out.append(Beam(course=course, unit=unit, lo=lo, hi=hi, asked=one.level, on_top=one.on_top))
    return tuple(sorted(out, key=lambda b: (b.course.number, b.lo, b.hi)))


def standing(top: Profile, level: Nm, lo: Nm, hi: Nm) -> list[tuple[Nm, Nm]]:
    """Return the stretches between two stations over which the top is at a level or above it."""
    out: list[tuple[Nm, Nm]] = []
    for (a, p), (b, q) in pairwise(top):
        if a == b or max(p, q) < level or b <= lo or a >= hi:
            continue
        at = [a, b]
        if min(p, q) < level:
            cross = a + round(Fraction((level - p) * (b - a), q - p))
            at = [cross, b] if q > p else [a, cross]
        first, last = max(lo, at[0]), min(hi, at[1])
        if first >= last:
            continue
        if out and out[-1][1] == first:
            out[-1] = (out[-1][0], last)
        else:
            out.append((first, last))
    return out


def stands(run: Run, junction: Junction, beam: Beam) -> bool:
    """Whether the other run at a corner stands in a beam's course."""
    return bool(junction.other) and junction.bottom < beam.course.top - MM and junction.top > beam.course.bottom + MM


def joins(run: Run, courses: Courses, junction: Junction, beam: Beam, asked: Asked) -> Nm:
    """Return the width of the other run's trough where it has a beam in this course too, 0 where it has none.

    A rule sees the other run's levels at the corner only: its top there, and the heights asked of all runs.
    """
    if not stands(run, junction, beam) or junction.loose or abs(junction.bottom - run.bottom) > MM:
        return 0
    unit = u_unit(run, junction.thickness)
    if unit is None or unit.trough is None or (asked.bearing_only and junction.bearing is False):
        return 0
    own = asked.top and run.catalogue.fit.top.holds(drawn=junction.top, laid=beam.course.top)
    high = [Wanted(level=run.bottom + h, lo=0, hi=0, on_top=False) for h in heights(asked, junction.top - run.bottom)]
    if own or any(course_at(run, courses, one) == beam.course for one in high if junction.top >= beam.course.top - MM):
        return unit.trough.width
    return 0


@dataclass(frozen=True, kw_only=True, slots=True)
class Channel:
    """A stretch of trough from lo to hi; `stop_lo` and `stop_hi`: an end stop closes it there.

    With a `corner` it is there only where the run passes at it.
    """

    lo: Nm
    hi: Nm
    stop_lo: bool = False
    stop_hi: bool = False
    corner: str = ""


@dataclass(frozen=True, kw_only=True, slots=True)
class Meeting:
    """A corner where a beam meets another run's: so many flanges are opened in the run that passes, over `width` of the other trough."""

    junction: Junction
    width: Nm
    flanges: int
    stops: int


def openings_in(run: Run, beam: Beam) -> list[tuple[Nm, Nm]]:
    """Return the stretches of openings that cross a beam's course."""
    crossing = (o for o in run.openings if o.through and o.sill < beam.course.top and o.head > beam.course.bottom)
    return sorted((max(beam.lo, o.start), min(beam.hi, o.end)) for o in crossing if o.start < beam.hi and o.end > beam.lo)


def channels(run: Run, courses: Courses, beam: Beam, asked: Asked) -> tuple[Channel, ...]:
    """Return a beam's channels, by station: parted at openings, and at corners as the other run lets it pass."""
    whole, more = _ends(run, courses, beam, asked)
    out: list[Channel] = []
    at, stop = whole.lo, whole.stop_lo
    for lo, hi in openings_in(run, beam):
        if lo - beam.stop > at:
            out.append(Channel(lo=at, hi=lo - beam.stop, stop_lo=stop, stop_hi=True))
        at, stop = max(at, hi + beam.stop), True
    if at < whole.hi:
        out.append(Channel(lo=at, hi=whole.hi, stop_lo=stop, stop_hi=whole.stop_hi))
    for junction in run.through:
        if not stands(run, junction, beam) or junction.loose or not beam.lo < junction.station < beam.hi:
            continue
        width = joins(run, courses, junction, beam, asked)
        half = width // 2 if width else junction.thickness // 2 + run.catalogue.head_joint.nominal
        lo, hi = junction.station - half, junction.station + half
        if width and (junction.kind != "X" or junction.goes_first):
            continue
        out = [piece for one in out for piece in _parted(one, lo, hi)]
        if not width:
            more.append(Channel(lo=lo, hi=hi, corner=junction.corner))
    return tuple(sorted([*out, *more], key=lambda c: (c.lo, c.hi, c.corner)))


def meetings(run: Run, courses: Courses, beam: Beam, asked: Asked) -> tuple[Meeting, ...]:
    """Return the corners where troughs are joined, by station; for each of its runs what is done where that run passes."""
    out: list[Meeting] = []
    for junction in run.junctions:
        width = joins(run, courses, junction, beam, asked)
        if not width or not beam.lo - junction.thickness < junction.station < beam.hi + junction.thickness:
            continue
        if junction.kind == "angled":
            out.append(Meeting(junction=junction, width=width, flanges=0, stops=0))
        elif junction.role == "through":
            out.append(Meeting(junction=junction, width=width, flanges=2 if junction.kind == "X" else 1, stops=0))
        else:
            out.append(Meeting(junction=junction, width=width, flanges=2 if junction.other_role == "through" else 1, stops=1))
    return tuple(out)


def _parted(one: Channel, lo: Nm, hi: Nm) -> Iterator[Channel]:
    if hi <= one.lo or lo >= one.hi:
        yield one
        return
    if one.lo < lo:
        yield Channel(lo=one.lo, hi=lo, stop_lo=one.stop_lo)
    if hi < one.hi:
        yield Channel(lo=hi, hi=one.hi, stop_hi=one.stop_hi)


def _ends(run: Run, courses: Courses, beam: Beam, asked: Asked) -> tuple[Channel, list[Channel]]:
    """Return a beam's channel as if nothing lay in its way, and what there is more of it where the run passes at its ends."""
    ends: list[tuple[Nm, bool]] = []
    more: list[Channel] = []
    for junction, edge, into in ((run.first, beam.lo, 1), (run.last, beam.hi, -1)):
        at_end = edge == (run.top[0][0] if into > 0 else run.top[-1][0])
        if not at_end or junction.kind == "end" or junction.loose:
            ends.append((edge + into * beam.stop, True))
            continue
        half = junction.thickness // 2
        width = joins(run, courses, junction, beam, asked)
        outer = junction.station - into * half
        if junction.kind == "angled":
            ends.append((junction.station, False) if width else (junction.station + into * beam.stop, True))
        elif width:
            # the square that both troughs share belongs to the run that goes first
            ends.append((junction.station + (-into if junction.goes_first else into) * (width // 2), False))
        elif not stands(run, junction, beam):
            ends.append((outer + into * beam.stop, True))
        else:
            inner = junction.station + into * (half + run.catalogue.head_joint.nominal)
            ends.append((inner, False))
            far = outer + into * beam.stop
            lo, hi = min(far, inner), max(far, inner)
            more.append(Channel(lo=lo, hi=hi, stop_lo=into > 0, stop_hi=into < 0, corner=junction.corner))
    (lo, stop_lo), (hi, stop_hi) = ends
    return Channel(lo=lo, hi=hi, stop_lo=stop_lo, stop_hi=stop_hi), more


def spaced(lo: Nm, hi: Nm, most: Nm) -> Sequence[Nm]:
    """Return stations at most `most` apart, evenly, half a pitch from both ends."""
    count = max(1, -(-(hi - lo) // most))
    return [lo + (2 * k + 1) * (hi - lo) // (2 * count) for k in range(count)]


def raked(top: Profile) -> Iterable[tuple[Nm, Nm]]:
    """Yield the stretches of a top that slope."""
    for (a, p), (b, q) in pairwise(top):
        if a < b and p != q:
            yield a, b

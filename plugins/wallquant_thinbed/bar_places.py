"""Where upright bars stand on a run: at corners, ends, beside openings, and between them at most a spacing apart."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise

from wallquant.layout import Junction, Run
from wallquant.rules import ParamError
from wallquant.units import MM, Nm, parse_length, text

LEAST_SPACING: Nm = 300 * MM
"""Bars nearer to one another leave too little of a unit between their cores (project input)."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Spot:
    """A bar: its station, why it stands there, whether it may move, and the corner it belongs to ('' for none)."""

    station: Nm
    why: str
    free: bool = False
    corner: str = ""


@dataclass(frozen=True, kw_only=True, slots=True)
class Wanted:
    """What is asked for."""

    spacing: Nm
    corners: bool
    ends: bool
    openings: bool
    from_end: Nm
    from_jamb: Nm
    least_opening: Nm
    schedule: str


def spots(run: Run, wanted: Wanted) -> tuple[Spot, ...]:
    """Return the bars of a run by station; those at a corner that another run says are left out.

    With a schedule its stations count and no others.
    """
    if wanted.schedule.strip():
        told = scheduled(wanted.schedule).get(run.name, ())
        first, last = run.parts[0].start, run.parts[-1].end
        for station in told:
            if not first <= station <= last:
                system = run.catalogue.system
                where = f"{text(first, system)} to {text(last, system)}"
                raise ParamError(
                    f"rule vertical_bars, parameter schedule: {run.name} has no station {text(station, system)}; it goes from {where}"
                )
        return tuple(Spot(station=s, why="as scheduled") for s in told)
    if wanted.spacing <= 0:
        return ()
    if wanted.spacing < LEAST_SPACING:
        raise ParamError(f"rule vertical_bars, parameter spacing: bars nearer than {LEAST_SPACING // MM} mm leave no unit between cores")
    found = [*_at_corners(run, wanted), *_at_openings(run, wanted)]
    kept: list[Spot] = []
    for one in sorted(found, key=lambda s: (s.station, s.why)):
        if not kept or one.station - kept[-1].station >= 2 * wanted.from_end or one.corner:
            kept.append(one)
    out = list(kept)
    for a, b in pairwise(kept):
        station = a.station + wanted.spacing
        while station < b.station - wanted.from_end:
            if not any(o.through and o.start - wanted.from_end < station < o.end + wanted.from_end for o in run.openings):
                out.append(Spot(station=station, why="by spacing", free=True))
            station += wanted.spacing
    said = {s.station for s in out if s.corner and not _ours(run, s.corner)}
    return tuple(sorted((s for s in out if s.station not in said), key=lambda s: s.station))


def stations(run: Run, wanted: Wanted) -> tuple[Nm, ...]:
    """Return all stations at which bars cross a run, those of other runs' corners too."""
    own = {s.station for s in spots(run, wanted)}
    if not wanted.schedule.strip() and wanted.spacing > 0:
        own |= {s.station for s in _at_corners(run, wanted) if s.corner}
    return tuple(sorted(own))


def _ours(run: Run, corner: str) -> bool:
    """Whether this run says the bar of a corner: of two runs the one named first does."""
    other = next((j.other for j in run.junctions if j.corner == corner), "")
    return not other or _number(run.name) < _number(other)


def _number(name: str) -> tuple[int, str]:
    digits = name[1:]
    return (int(digits) if digits.isdigit() else 0, name)


def _at_corners(run: Run, wanted: Wanted) -> Iterator[Spot]:
    first, last = run.parts[0].start, run.parts[-1].end
    for j in run.junctions:
        if j.kind == "end":
            if wanted.ends:
                yield Spot(station=first + wanted.from_end if j.role == "start" else last - wanted.from_end, why="at the end")
        elif wanted.corners and _square(j):
            yield Spot(station=j.station, why="at the corner", corner=j.corner)


def _square(junction: Junction) -> bool:
    return junction.plane is None and not junction.loose and bool(junction.other)


def _at_openings(run: Run, wanted: Wanted) -> Iterator[Spot]:
    if not wanted.openings:
        return
    first, last = run.parts[0].start, run.parts[-1].end
    for o in run.openings:
        if o.through and o.width >= wanted.least_opening:
            for station in (o.start - wanted.from_jamb, o.end + wanted.from_jamb):
                beside = any(p.through and p is not o and p.start < station < p.end for p in run.openings)
                if first + wanted.from_end <= station <= last - wanted.from_end and not beside:
                    yield Spot(station=station, why="beside the opening", free=True)


def scheduled(said: str) -> dict[str, tuple[Nm, ...]]:
    """Read a schedule like 'R1: 100 mm, 1300 mm; R2: 4 in' as stations by run.

    Raises
    ------
    ParamError
        If it cannot be read.
    """
    out: dict[str, tuple[Nm, ...]] = {}
    for part in filter(None, (p.strip() for p in said.split(";"))):
        name, colon, rest = part.partition(":")
        try:
            if not colon:
                raise ValueError(f"'{part}' names no run; write it like 'R1: 100 mm, 1300 mm; R2: 4 in'")
            out[name.strip()] = tuple(sorted({parse_length(word) for word in rest.split(",") if word.strip()}))
        except ValueError as error:
            raise ParamError(f"rule vertical_bars, parameter schedule: {error}") from error
    return out


def top_at(run: Run, station: Nm) -> Nm:
    """Return the level of a run's top at a station, the lower one at a step."""
    inside = max(run.top[0][0], min(run.top[-1][0], station))
    levels = [
        p if a == b else p + (q - p) * (inside - a) // (b - a) for (a, p), (b, q) in pairwise(run.top) if min(a, b) <= inside <= max(a, b)
    ]
    return min(levels, default=run.bottom)


def lifts(levels: Sequence[tuple[Nm, Nm]], most: Nm) -> list[tuple[int, int]]:
    """Cut courses (bottom, top) into lifts of at most a height: first and last course of each, from 1."""
    out: list[tuple[int, int]] = []
    first = 0
    for n, (_, top) in enumerate(levels):
        if top - levels[first][0] > most and n > first:
            out.append((first + 1, n))
            first = n
    if levels:
        out.append((first + 1, len(levels)))
    return out


REACH = 25 * MM
"""Least web beside a core where the catalogue has no core unit (project input)."""

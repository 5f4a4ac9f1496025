"""Where a stock lintel can lie over an opening: its limits, its places, and why there may be none.

Words of this module: a *bridging* is one lintel's task, over one opening or over two or more that stand too near for a
lintel each; its *limits* are the stations that the lintel may not pass; a *place* is a stock length at a station.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from math import ceil, radians, tan
from typing import Protocol

from wallquant.catalogue import Unit
from wallquant.layout import Courses, Junction, Run, RunOpening
from wallquant.units import INCH, MM, Nm
from wallquant_thinbed.junctions import why_tied

LENGTHS = 3
"""So many stock lengths are tried, the shortest that do first."""


class Asked(Protocol):
    """The parameters of the rule that this module reads."""

    @property
    def bearing(self) -> Nm: ...
    @property
    def short_span(self) -> Nm: ...
    @property
    def short_bearing(self) -> Nm: ...
    @property
    def least(self) -> Nm: ...
    @property
    def least_width(self) -> Nm: ...


@dataclass(frozen=True, kw_only=True, slots=True)
class Place:
    """A stock lintel from lo to hi."""

    unit: Unit
    lo: Nm
    hi: Nm


Zone = tuple[Junction, tuple[Nm, Nm]]
"""A corner, and the stations that the other run takes up where it passes there."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Bridging:
    """One lintel's task.

    `left` and `right` are the bearings asked of this lintel, `full` what the rule asks without a neighbour; `limits` the
    stations it may not pass; `zones` the corners that one of its places may come near.  Without places `problem` says why: none,
    too-long, too-near, no-bearing, no-room or no-place.
    `small`: the units bridge it themselves.  `assumed`: its places are of lintels made to measure, and this is why no stock one does.
    `past`: the corners that its openings take, which end at the other run here; `lift`: how far over the highest head it lies.
    """

    openings: tuple[RunOpening, ...]
    full: Nm
    left: Nm
    right: Nm
    limits: tuple[Nm, Nm]
    height: Nm = 0
    longest: Nm = 0
    places: tuple[Place, ...] = ()
    zones: tuple[Zone, ...] = ()
    problem: str = ""
    small: bool = False
    assumed: str = ""
    past: tuple[Junction, ...] = ()
    lift: Nm = 0

    @property
    def start(self) -> Nm:
        return self.openings[0].start

    @property
    def end(self) -> Nm:
        return max(o.end for o in self.openings)

    @property
    def head(self) -> Nm:
        """The level of its underside."""
        return max(o.head for o in self.openings) + self.lift


def bridgings(run: Run, courses: Courses, asked: Asked) -> tuple[Bridging, ...]:
    """Return the bridgings of a run, by station; none for an opening without masonry above."""
    if not len(courses):
        return ()
    over = sorted((o for o in run.openings if o.through and levels(run, o.start, o.end)[1] > o.head), key=lambda o: (o.start, o.key))
    small = [o for o in over if _small(run, o, asked)]
    wide = [o.clear_of(run.over_corner(o)) for o in over if o not in small]
    stock = stocked(run)
    out = [Bridging(openings=(o,), full=0, left=0, right=0, limits=(o.start, o.end), small=True) for o in small]
    chain: list[RunOpening] = []
    for opening in wide:
        if chain and not near_by(run, chain[-1], opening, asked):
            out += _chain(run, chain, wide, stock, asked)
            chain = []
        chain.append(opening)
    if chain:
        out += _chain(run, chain, wide, stock, asked)
    return tuple(sorted(out, key=lambda b: (b.start, b.head, b.openings[0].key)))


def _lift(run: Run, past: Sequence[Junction], head: Nm, full: Nm, height: Nm) -> Nm:
    """How far a lintel that passes at these corners lies over its head: on the lintels of the other runs that want the corner too."""
    bed, joint = run.catalogue.bed.nominal, run.catalogue.head_joint.nominal
    apart = [j.head - head for one in past for j in one.jambs if j.near - run.thickness // 2 < full + joint]
    alike = run.catalogue.fit.head.plus  # heads of one level may be seen before and after they are fitted
    return max(((0 if abs(by) <= alike else by) + height + bed for by in apart if abs(by) < height + bed), default=0)


def stocked(run: Run) -> tuple[Unit, ...]:
    """Return the stock lintels of the run's thickness and face, shortest first."""
    face = next((f for f in run.catalogue.faces if (f.length, f.height) == (run.unit.length, run.unit.height)), None)
    return run.catalogue.of_kind("lintel", run.unit.thickness, face)


def bearing(width: Nm, asked: Asked) -> Nm:
    """Return the bearing asked on each side of a clear width."""
    return asked.short_bearing if 0 < width <= asked.short_span else asked.bearing


def levels(run: Run, lo: Nm, hi: Nm) -> tuple[Nm, Nm]:
    """Return the lowest and highest level of the run's drawn top over the open interval (lo, hi)."""
    found: list[Nm | Fraction] = [level for at, level in run.top if lo < at < hi]
    for (a, low), (b, high) in zip(run.top, run.top[1:], strict=False):
        if a < b and a < hi and b > lo and low == high:
            found.append(low)
        elif a < b and a < hi and b > lo:
            found += [low + Fraction(high - low, b - a) * (at - a) for at in (max(a, lo), min(b, hi))]
    if not found:
        found = [run.top[0][1] if hi <= run.top[0][0] else run.top[-1][1]] if run.top else [run.bottom]
    return round(min(found)), round(max(found))


def zone(run: Run, junction: Junction) -> tuple[Nm, Nm] | None:
    """Return the stations where the other run lies, joints included, when it passes at this corner; None where it never does."""
    if not junction.other or junction.loose or junction.kind == "angled" or _first_only(run, junction):
        return None
    half, joint = junction.thickness // 2, run.catalogue.head_joint.nominal
    return junction.station - half - joint, junction.station + half + joint


def reaches(band: tuple[Nm, Nm], one: Bridging, place: Place) -> bool:
    """Whether a bearing reaches into a corner's zone, so that this run passes there under the lintel and beside it."""
    return (place.lo < band[1] and one.start > band[0]) or (one.end < band[1] and place.hi > band[0])


def _small(run: Run, opening: RunOpening, asked: Asked) -> bool:
    """Whether one unit spans it: on at least half of its length, and with the least bearing on both sides."""
    width, length = opening.width, run.unit.length
    if not (width < asked.least_width and 2 * width <= length and width + 2 * asked.least <= length):
        return False
    lo, hi, high = opening.start - asked.least, opening.end + asked.least, run.unit.height
    if lo < _run_limit(run, run.first, 1) or hi > _run_limit(run, run.last, -1):
        return False
    beside = (o for o in run.openings if o is not opening and o.through and o.start < hi and o.end > lo)
    return not any(o.sill < opening.head + high and o.head > opening.head - high for o in beside)


def near_by(run: Run, one: RunOpening, two: RunOpening, asked: Asked) -> bool:
    both = bearing(one.width, asked) + bearing(two.width, asked) + run.catalogue.head_joint.nominal
    return one.head == two.head and two.start - one.end < both


def _chain(run: Run, chain: Sequence[RunOpening], wide: Sequence[RunOpening], stock: Sequence[Unit], asked: Asked) -> Iterator[Bridging]:
    """Bridge openings of one head that stand too near: as many as one stock lintel spans together, else each with what there is."""
    at = 0
    while at < len(chain):
        for end in range(len(chain), at, -1):
            one = bridging(run, tuple(chain[at:end]), wide, stock, asked)
            if one.places or end == at + 1:
                yield one
                at = end
                break


def bridging(run: Run, group: tuple[RunOpening, ...], wide: Sequence[RunOpening], stock: Sequence[Unit], asked: Asked) -> Bridging:
    start, end = group[0].start, max(o.end for o in group)
    full = max(bearing(o.width, asked) for o in group)
    past = tuple({j.corner: j for o in run.openings if any(o.key == one.key for one in group) for j in run.over_corner(o)}.values())
    lift = _lift(run, past, max(o.head for o in group), full, (stock[0] if stock else run.unit).height)
    head = max(o.head for o in group) + lift
    height, longest = (stock[0].height, stock[-1].length) if stock else (run.unit.height, 0)
    far = longest + run.catalogue.least_piece
    near = (j for j in run.junctions if abs(j.station - (start + end) // 2) <= end - start + far + j.thickness)
    zones = tuple((j, band) for j in near if (band := zone(run, j)))
    hard = (_run_limit(run, run.first, 1), _run_limit(run, run.last, -1))
    hard = _crossed(run, hard, (head, head + height), (start, end))
    hard = _voids(run, group, hard, (head, head + height), (start, end))
    lo, hi = _shared(run, group, wide, hard, (head, height), (start, end))
    left, right = (min(full, room) if limit != own else full for room, limit, own in ((start - lo, lo, hard[0]), (hi - end, hi, hard[1])))
    one = Bridging(
        openings=group, full=full, left=left, right=right, limits=(lo, hi), height=height, longest=longest, zones=zones, past=past,
        lift=lift,
    )  # fmt: skip
    if not stock:
        return replace(one, problem="none")
    if min(left, right) < min(asked.least, full):
        return replace(one, problem="too-near")
    if end - start + left + right > stock[-1].length:
        return replace(one, problem="too-long")
    if start - lo < left or hi - end < right:
        return replace(one, problem="no-bearing")
    fitting = [u for u in stock if u.length >= end - start + left + right]
    found = _places(run, one, fitting)
    roofed = [p for p in found if head + height <= levels(run, p.lo, p.hi)[0] + run.catalogue.fit.top.plus]
    clear = [p for p in roofed if not any(reaches(z, one, p) for _, z in zones)]
    roofed = clear or roofed
    lengths = sorted({p.unit.length for p in roofed})[:LENGTHS]
    problem = "" if roofed else "no-room" if found else "no-place"
    return replace(one, places=tuple(p for p in roofed if p.unit.length in lengths), problem=problem)


def _run_limit(run: Run, junction: Junction, sign: int) -> Nm:
    """How far a lintel may reach at the run's end: its outer face, or where it butts for good; `sign` points into the run."""
    if not junction.other:
        return junction.station
    if junction.plane is not None:
        plane, joint = junction.plane, run.catalogue.head_joint.nominal
        return plane.station + sign * (plane.least(run.catalogue.least_actual) + joint)
    if junction.loose:
        if junction.taken is not None:
            return junction.taken[1 if sign > 0 else 0] + sign * run.catalogue.head_joint.nominal
        return run.parts[0].start if sign > 0 else run.parts[-1].end
    half = junction.thickness // 2
    if junction.kind == "angled":
        return junction.station + sign * ceil(run.thickness / 2 * tan(radians(junction.turn) / 2))
    if _first_only(run, junction) and not junction.goes_first:
        return junction.station + sign * (half + run.catalogue.head_joint.nominal)
    return junction.station - sign * half


def _first_only(run: Run, junction: Junction) -> bool:
    """Whether the run that goes first at a corner passes in every course."""
    return not junction.bondable or (junction.kind in ("T", "X") and bool(why_tied(run, junction)))


def _crossed(run: Run, hard: tuple[Nm, Nm], band: tuple[Nm, Nm], span: tuple[Nm, Nm]) -> tuple[Nm, Nm]:
    """Limits set by runs that go through this one and first, where they stand at the lintel's levels."""
    (lo, hi), joint = hard, run.catalogue.head_joint.nominal
    for junction in run.through:
        if junction.goes_first or not junction.bottom < band[1] or not junction.top > band[0]:
            continue
        half = junction.thickness // 2
        taken = junction.taken if junction.loose else (junction.station - half, junction.station + half)
        if taken is None or not (junction.loose or (junction.kind == "X" and _first_only(run, junction))):
            continue
        if taken[0] + taken[1] < span[0] + span[1]:
            lo = max(lo, taken[1] + joint)
        else:
            hi = min(hi, taken[0] - joint)
    return lo, hi


def _voids(run: Run, group: Sequence[RunOpening], hard: tuple[Nm, Nm], band: tuple[Nm, Nm], span: tuple[Nm, Nm]) -> tuple[Nm, Nm]:
    """Limits set by other openings, niches too, at the lintel's levels."""
    lo, hi = hard
    own = {o.key for o in group}
    for other in run.openings:
        if other.key in own or other.sill >= band[1] or other.head <= band[0]:
            continue
        if other.start < span[0]:
            lo = max(lo, min(other.end, span[0]))
        else:
            hi = min(hi, max(other.start, span[1]))
    return lo, hi


def _shared(
    run: Run, group: Sequence[RunOpening], wide: Sequence[RunOpening], hard: tuple[Nm, Nm], at: tuple[Nm, Nm], span: tuple[Nm, Nm]
) -> tuple[Nm, Nm]:
    """Limits set by neighbours' lintels at the same levels (`at`: underside and height): the middle of the pier, half a joint off."""
    (lo, hi), (head, height) = hard, at
    joint, bed = run.catalogue.head_joint.nominal, run.catalogue.bed.nominal
    for other in wide:
        if other in group or abs(other.head - head) >= height + bed:
            continue
        if other.start < span[0]:
            lo = max(lo, (other.end + span[0] - joint) // 2 + joint)
        else:
            hi = min(hi, (span[1] + other.start - joint) // 2)
    return lo, hi


def _places(run: Run, one: Bridging, fitting: Sequence[Unit]) -> list[Place]:
    """Places of each length: centred, at corners flush or butting, and with the least bearing on either side.

    Where none of these holds, those at the least piece from a limit are tried: with them no place means that there is none.
    """
    grid = MM if run.catalogue.system == "mm" else INCH // 16
    (lo, hi), least = one.limits, run.catalogue.least_piece
    found: dict[tuple[Nm, Nm], Place] = {}
    rare: dict[tuple[Nm, Nm], Place] = {}
    for unit in fitting:
        spare = unit.length - (one.end - one.start)
        starts = [round(Fraction(2 * one.start - spare, 2 * grid)) * grid, lo, hi - unit.length]
        for _, band in one.zones:
            starts += [band[1], band[0] - unit.length]
        starts += [one.start - one.left, one.end + one.right - unit.length]
        for at, into in [(at, found) for at in starts] + [(lo + least, rare), (hi - least - unit.length, rare)]:
            if holds(run, one, at, at + unit.length):
                into.setdefault((at, at + unit.length), Place(unit=unit, lo=at, hi=at + unit.length))
    return list((found or rare).values())


def holds(run: Run, one: Bridging, lo: Nm, hi: Nm) -> bool:
    """Whether both bearings hold, and what is left up to the limits can be laid: nothing, or a joint and the least piece."""
    if one.start - lo < one.left or hi - one.end < one.right:
        return False
    least = run.catalogue.least_piece
    return all(rest == 0 or rest >= least for rest in (lo - one.limits[0], one.limits[1] - hi))

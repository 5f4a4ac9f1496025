"""What a stretch costs in cut pieces by how much longer it becomes: tables that the programme chooses from.

Two neighbouring courses are laid together by the engine that lays the plan (`wallquant.bonding.pair`), joints anywhere in their
range, free ends within their fit.  What lies over them (lintels, bars) is not asked here; the plan laid afterwards says what is true.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import pairwise

from wallquant.bonding.pair import Half, least_two
from wallquant.bonding.span import Bonded, Span
from wallquant.bonding.stack import Solver
from wallquant.fitting.module import Module
from wallquant.fitting.stretches import Face, Family, families
from wallquant.fitting.things import Terms, Things, negative, total
from wallquant.layout import TIED, Run, Work
from wallquant.masonry import Fit
from wallquant.units import Nm

Segment = tuple[int, int, int]
"""From so many steps to so many, both held, so many cut pieces in two courses."""
COARSE = 8
"""Steps between the first places that are tried."""
WORST = 8
"""Cut pieces that a stretch counts which no bond fills as drawn."""

Ends = tuple[Face, Face]


@dataclass(frozen=True, kw_only=True, slots=True)
class Corner:
    """An end of a stretch whose run passes in turn: the corner, and whether the run is the first of those that meet there."""

    corner: str
    first: bool


@dataclass(frozen=True, kw_only=True, slots=True)
class Costs:
    """A family of stretches: how its length moves, what it costs for two courses, how often it is laid.

    `plain` is its table; where who passes at both its ends may be chosen, `alike` holds when the run passes at both ends in the same
    courses, and `plain` when it does not.
    """

    run: str
    terms: Terms
    courses: int
    plain: tuple[Segment, ...]
    alike: tuple[Segment, ...] = ()
    ends: tuple[Corner, Corner] | None = None


@dataclass
class Tables:
    """The tables of a plan; equal stretches are asked once."""

    work: Work
    things: Things
    offsets: Mapping[str, Sequence[Nm]]
    step: Nm
    reach: int
    """Steps that a length may change by either way, at most."""
    solvers: dict[Bonded, Solver] = field(default_factory=dict)
    known: dict[tuple[object, ...], int | None] = field(default_factory=dict)

    def all(self) -> list[Costs]:
        """Return the costs of every family whose length can change."""
        out = []
        for run in self.work.runs.values():
            for family in families(self.work, run):
                made = self._of(run, family)
                if made is not None:
                    out.append(made)
        return out

    def _of(self, run: Run, family: Family) -> Costs | None:
        one = family.stretches[0]
        first, last = (self.things.face(run, face, last=far) for face, far in ((one.first, False), (one.last, True)))
        terms = total(last, negative(first))
        if not terms:
            return None
        by = {s.course: s for s in family.stretches}
        pairs = Counter(((s.first, s.last), (by[c + 1].first, by[c + 1].last)) for c, s in sorted(by.items()) if c + 1 in by)
        ends = self._turning(run, family)
        courses = len(family.stretches)
        if ends:
            lo, hi = _both(family, last=False), _both(family, last=True)
            alike = self._table(run, (lo["pass"], hi["pass"]), (lo["butt"], hi["butt"]))
            plain = self._table(run, (lo["pass"], hi["butt"]), (lo["butt"], hi["pass"]))
            return Costs(run=run.name, terms=terms, courses=courses, plain=plain, alike=alike, ends=ends)
        if pairs:
            lower, upper = pairs.most_common(1)[0][0]
            return Costs(run=run.name, terms=terms, courses=courses, plain=self._table(run, lower, upper))
        lone = Counter((s.first, s.last) for s in family.stretches).most_common(1)[0][0]
        return Costs(run=run.name, terms=terms, courses=courses, plain=self._table(run, lone, lone, alone=True))

    def _turning(self, run: Run, family: Family) -> tuple[Corner, Corner] | None:
        """Return both ends of a family where at each its run passes in turn."""
        out = []
        for faces in ([s.first for s in family.stretches], [s.last for s in family.stretches]):
            if {f.kind for f in faces} != {"pass", "butt"} or TIED in self.work.phases.get(faces[0].of, (TIED,)):
                return None
            out.append(Corner(corner=faces[0].of, first=self.work.corners[faces[0].of].runs[0] == run.name))
        return out[0], out[1]

    def _table(self, run: Run, lower: Ends, upper: Ends, *, alone: bool = False) -> tuple[Segment, ...]:
        """Return the segments of equal cost from -`reach` to `reach`; where it cannot be laid there is none."""
        joint = run.catalogue.head_joint
        how = Bonded(
            unit=run.unit.length, joint=joint.nominal, least=run.catalogue.least_actual, joint_least=joint.least, joint_most=joint.most
        )
        offset = 0 if alone else max(self.offsets.get(run.name, ()), default=0)

        def cost(steps: int) -> int | None:
            tries = (self._two(how, pair, offset) for pair in _fitted(run, lower, upper, steps * self.step))
            return min((c for c in tries if c is not None), default=None if steps else WORST)

        marks = {-self.reach, 0, self.reach, *range(-self.reach, self.reach, COARSE)}
        for ends in (lower, upper):
            marks.update(m for m in _full(run, ends, self.step, self.reach) if abs(m) <= self.reach)
        return _segments(sorted(marks), cost)

    def _two(self, how: Bonded, pair: tuple[Span, Span], offset: Nm) -> int | None:
        zero = pair[0].lo
        key = (how, offset, *((s.lo - zero, s.hi - zero, s.lapped_lo, s.lapped_hi) for s in pair))
        if key not in self.known:
            solver = self.solvers.setdefault(how, Solver(how))
            fits = all(s.hi - s.lo >= how.least and solver.fewest(s, ()) is not None for s in pair)
            halves = [Half(spans=(s,), windows=()) for s in pair]
            self.known[key] = least_two(halves[0], halves[1], how, offset) if fits else None
        return self.known[key]


def _both(family: Family, *, last: bool) -> dict[str, Face]:
    return {f.kind: f for f in ((s.last if last else s.first) for s in family.stretches)}


def _fitted(run: Run, lower: Ends, upper: Ends, longer: Nm) -> list[tuple[Span, Span]]:
    """Return both courses as drawn and, where an end is free, with the free end where whole units close one of them."""
    free: Fit = run.catalogue.fit.free_end
    shifts = {0}
    if any(face.kind == "free" for face in (*lower, *upper)):
        module = Module(unit=run.unit.length, joint=run.catalogue.head_joint)
        for ends in (lower, upper):
            length, more = ends[1].station - ends[0].station + longer, _more(ends)
            near = (size - length for size in module.near(length, more) if size is not None)
            shifts.update(shift for shift in near if -free.minus <= shift <= free.plus)
    out = []
    for shift in sorted(shifts, key=lambda s: (abs(s), s)):
        out.append((_span(run, lower, longer + shift), _span(run, upper, longer + shift)))
    return out


def _more(ends: Ends) -> int:
    return (ends[0].kind == "butt") + (ends[1].kind == "butt") - 1


def _span(run: Run, ends: Ends, longer: Nm) -> Span:
    first, last = ends
    joint = run.catalogue.head_joint.nominal
    lo = first.station + (joint if first.kind == "butt" else 0)
    hi = last.station + longer - (joint if last.kind == "butt" else 0)
    lapped = first.kind == "butt", last.kind == "butt"
    return Span(lo=lo, hi=hi, bottom=0, top=run.unit.height, lapped_lo=lapped[0], lapped_hi=lapped[1], full_lo=lo, full_hi=hi)


def _full(run: Run, ends: Ends, step: Nm, reach: int) -> list[int]:
    """Return the steps at the edges of what whole units, or these and a half one, close, and in the middle of it."""
    joint, length, more = run.catalogue.head_joint, ends[1].station - ends[0].station, _more(ends)
    module, free = Module(unit=run.unit.length, joint=joint), run.catalogue.fit.free_end
    fit = sum(f.kind == "free" for f in ends)
    out = []
    far = length + reach * step
    for halves in range(1, 2 * far // module.pitch + 3):
        size, joints = module.size(halves, more), (halves + 1) // 2 + more
        least = size - joints * (joint.nominal - joint.least) - fit * free.plus
        most = size + joints * (joint.most - joint.nominal) + fit * free.minus
        out += [-((length - least) // step), (most - length) // step, (size - length + step // 2) // step]
    return out


def _segments(marks: Sequence[int], cost: Callable[[int], int | None]) -> tuple[Segment, ...]:
    """Return the segments of equal cost: what lies between two places that cost the same does too, else the change is searched."""
    points = {m: cost(m) for m in marks}
    for a, b in pairwise(marks):
        _between(points, cost, a, b)
    out: list[Segment] = []
    ordered = sorted(points)
    at = 0
    while at < len(ordered):
        first, value = ordered[at], points[ordered[at]]
        while at + 1 < len(ordered) and points[ordered[at + 1]] == value:
            at += 1
        if value is not None:
            out.append((first, ordered[at], value))
        at += 1
    return tuple(out)


def _between(points: dict[int, int | None], cost: Callable[[int], int | None], a: int, b: int) -> None:
    while b - a > 1 and points[a] != points[b]:
        middle = (a + b) // 2
        points[middle] = cost(middle)
        if points[middle] == points[a]:
            a = middle
        elif points[middle] == points[b]:
            b = middle
        else:
            _between(points, cost, a, middle)
            a = middle

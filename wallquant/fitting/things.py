"""What can move in a drawing, and what moves with it.

A *thing* moves as one: a run sideways (with the runs that stand on it or under it, with every corner on it, and with the free ends over
or under such a corner), a free end along its run, an opening along its run, or an opening's far jamb.  A *place* is then a sum of things:
the end of a run at a corner goes where the run that it meets there goes.  Lengths are nanometres.
"""

from __future__ import annotations

from collections.abc import Container, Iterator, Mapping
from dataclasses import dataclass
from itertools import combinations
from typing import Any, Literal

import networkx as nx

from wallquant.fitting.stretches import Face
from wallquant.layout import Junction, Run, RunOpening, Work
from wallquant.units import MM, Nm

Kind = Literal["line", "end", "opening", "width"]
Terms = tuple[tuple[int, int], ...]
"""A place's move as (thing, sign) pairs, by thing."""

SQUARE = 1e-6
"""Cosine below which two runs are square to each other, and sine below which they are parallel."""
TOGETHER: Nm = 5 * MM
"""Ends and openings above each other within this are drawn above each other (drawing habit, project input)."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Thing:
    """What moves as one: names of runs, corners or openings, each with the sign of its move (left of, or along, its run)."""

    kind: Kind
    members: tuple[tuple[str, int], ...]


@dataclass(frozen=True, kw_only=True, slots=True)
class Gap:
    """A distance that may not fall below `least` (where it is less as drawn: not below that)."""

    terms: Terms
    length: Nm
    least: Nm


class Things:
    """All that can move in a plan.

    Parameters
    ----------
    work : Work
    walls : container of str
        Walls that are as the model draws them; runs of others, askew corners and filled holes stay.
    element : mapping of str to str
        The model's wall of each wall that is a part of one: leaves move together.
    widths : bool
        Whether an opening may become wider or narrower.
    hold : container of str
        Walls that stay as drawn, with their free ends and openings.
    """

    def __init__(
        self, work: Work, walls: Container[str], element: Mapping[str, str], *, widths: bool = False, hold: Container[str] = ()
    ) -> None:
        self.work, self.hold = work, hold
        self.held = {name for name, run in work.runs.items() if any(p.wall in hold for p in run.parts)}
        self.bound = {name for name, run in work.runs.items() if run.infills or any(p.wall not in walls for p in run.parts)}
        fixed = self.bound | self.held
        for name, run in work.runs.items():
            askew = any(j.kind == "angled" or j.loose or (j.other and not square(run, work.runs[j.other])) for j in run.junctions)
            if askew or run.foot is not None:
                fixed.add(name)
            if name in self.bound:
                fixed.update(j.other for j in run.junctions if j.other)
        stacked = _stacked(work, element)
        self.all: list[Thing] = []
        self.of: dict[tuple[Kind, str], tuple[int, int]] = {}
        for group in _groups(work.runs, stacked):
            if not fixed & set(group):
                first = work.runs[group[0]]
                self._add("line", tuple((name, along(first, work.runs[name])) for name in group))
        ends = self._ends()
        self.over: dict[str, tuple[str, Junction]] = {name: found for name in ends if (found := self._crossing(*ends[name][:2], stacked))}
        """Free ends over or under a corner of another run, which go where that corner goes: the run and its corner."""
        self._along("end", {name: end for name, end in ends.items() if name not in self.over}, stacked)
        self._along("opening", self._openings(), stacked)
        if widths:
            for _, thing in [*enumerate(self.all)]:
                if thing.kind == "opening":
                    self._add("width", tuple((name, 1) for name, _ in thing.members))

    @property
    def walls(self) -> frozenset[int]:
        """The things that are runs and their free ends."""
        return frozenset(n for n, thing in enumerate(self.all) if thing.kind in ("line", "end"))

    def _add(self, kind: Kind, members: tuple[tuple[str, int], ...]) -> None:
        for name, sign in members:
            self.of[kind, name] = (len(self.all), sign)
        self.all.append(Thing(kind=kind, members=members))

    def _ends(self) -> dict[str, tuple[Run, Nm, Nm]]:
        runs = [r for name, r in self.work.runs.items() if name not in self.bound | self.held]
        return {j.corner: (r, j.station, j.station) for r in runs for j in (r.first, r.last) if j.kind == "end"}

    def _crossing(self, run: Run, station: Nm, stacked: nx.Graph[str]) -> tuple[str, Junction] | None:
        """Return the corner of a run over or under this one, within whose crossing wall, or flush with it, a free end of this lies."""
        near = [
            (away, other, j)
            for other in sorted(stacked[run.name])
            for j in self.work.runs[other].junctions
            if j.other in self.work.runs
            and (away := abs(_station(self.work.runs[other], run.at(station)) - j.station)) <= j.thickness // 2 + TOGETHER
        ]
        return min(near, key=lambda one: (one[0], one[1], one[2].corner))[1:] if near else None

    def _openings(self) -> dict[str, tuple[Run, Nm, Nm]]:
        runs = [r for name, r in self.work.runs.items() if name not in self.bound]
        return {o.key: (r, o.start, o.end) for r in runs for o in r.openings if not r.over_corner(o) and o.wall not in self.hold}

    def _along(self, kind: Kind, found: Mapping[str, tuple[Run, Nm, Nm]], stacked: nx.Graph[str]) -> None:
        """Things along runs; those above each other in runs that are stacked are one."""
        same: nx.Graph[Any] = nx.Graph()
        same.add_nodes_from(found)
        by: dict[str, list[str]] = {}
        for name, (run, _, _) in found.items():
            by.setdefault(run.name, []).append(name)
        for one, two in stacked.edges:
            for a in by.get(one, ()):
                for b in by.get(two, ()):
                    (r, *here), (q, *there) = found[a], found[b]
                    moved = sorted(_station(r, q.at(s)) for s in there)
                    if all(abs(x - y) <= TOGETHER for x, y in zip(here, moved, strict=True)):
                        same.add_edge(a, b)
        for group in _groups(found, same):
            first = found[group[0]][0]
            self._add(kind, tuple((name, along(first, found[name][0])) for name in group))

    def at(self, run: Run, j: Junction) -> Terms:
        """Return how a corner moves along a run."""
        if j.corner in self.over:
            other, crossed = self.over[j.corner]
            there = self.at(self.work.runs[other], crossed)
            return there if along(run, self.work.runs[other]) > 0 else negative(there)
        if j.kind == "end":
            return self.one("end", j.corner, 1)
        if not j.other or j.other not in self.work.runs:
            return ()
        (u, v), (a, b) = run.direction, self.work.runs[j.other].direction
        return self.one("line", j.other, 1 if -b * u + a * v > 0 else -1)

    def face(self, run: Run, face: Face, *, last: bool) -> Terms:
        """Return how a face at which a row stops moves along its run; `last`: the row ends at it."""
        if face.kind == "jamb":
            return self.jamb(face.of, far=not last)
        j = next((j for j in run.junctions if j.corner == face.of), None)
        return self.at(run, j) if j else ()

    def jamb(self, key: str, *, far: bool) -> Terms:
        """Return how the first or the far jamb of an opening moves along its run."""
        return total(self.one("opening", key, 1), self.one("width", key, 1) if far else ())

    def one(self, kind: Kind, name: str, sign: int = 1) -> Terms:
        """Return the move of a run, a free end or an opening by its name; none where it stays."""
        found = self.of.get((kind, name))
        return ((found[0], sign * found[1]),) if found else ()

    def gaps(self) -> Iterator[Gap]:
        """Yield what must stay between an opening and the next, a corner, and the ends of its wall."""
        asked = {b.opening: b.bearing_least or 0 for b in self.work.bridges}
        for name, run in self.work.runs.items():
            if name in self.bound:
                continue
            joint, least = run.catalogue.head_joint.nominal, run.catalogue.least_actual
            by_start = sorted(run.openings, key=lambda o: (o.start, o.end, o.key))
            for n, o in enumerate(by_start):
                bearing = asked.get(o.key, 0)
                for other in by_start[n + 1 :]:
                    if o.end <= other.start and other.sill < o.head and o.sill < other.head:
                        terms = total(self.jamb(other.key, far=False), negative(self.jamb(o.key, far=True)))
                        need = max(least, bearing + asked.get(other.key, 0) + joint)
                        yield _gap(terms, other.start - o.end, need)
                for j in run.junctions:
                    yield from self._beside(run, o, j, max(least, bearing + joint))
                yield from self._within(run, o)

    def _beside(self, run: Run, o: RunOpening, j: Junction, least: Nm) -> Iterator[Gap]:
        half, corner = j.thickness // 2, self.at(run, j)
        if o.start >= j.station:
            yield _gap(total(self.jamb(o.key, far=False), negative(corner)), o.start - j.station - half, least)
        if o.end <= j.station:
            yield _gap(total(corner, negative(self.jamb(o.key, far=True))), j.station - half - o.end, least)

    def _within(self, run: Run, o: RunOpening) -> Iterator[Gap]:
        part = next(p for p in run.parts if p.wall == o.wall)
        first, last = (self.end_of(run, s) for s in (part.start, part.end))
        yield _gap(total(self.jamb(o.key, far=False), negative(first)), o.start - part.start, 0)
        yield _gap(total(last, negative(self.jamb(o.key, far=True))), part.end - o.end, 0)

    def end_of(self, run: Run, station: Nm) -> Terms:
        """Return how the end of a wall at a station of its run moves along it: as the corner there; elsewhere it stays."""
        if station == run.parts[0].start or station == run.parts[-1].end:
            return self.at(run, run.first if station == run.parts[0].start else run.last)
        fit = run.catalogue.fit.joined_end
        near = [j for j in run.junctions if abs(j.station - station) <= j.thickness // 2 + max(fit.minus, fit.plus)]
        nearest = min(near, key=lambda j: (abs(j.station - station), j.corner), default=None)
        return self.at(run, nearest) if nearest else ()


def square(one: Run, two: Run) -> bool:
    """Say whether two runs are square to each other."""
    return abs(one.direction[0] * two.direction[0] + one.direction[1] * two.direction[1]) < SQUARE


def along(one: Run, two: Run) -> int:
    """Return 1 where two parallel runs have one direction, else -1."""
    return 1 if one.direction[0] * two.direction[0] + one.direction[1] * two.direction[1] > 0 else -1


def total(*several: Terms) -> Terms:
    """Return the sum of moves."""
    by: dict[int, int] = {}
    for thing, sign in (t for terms in several for t in terms):
        by[thing] = by.get(thing, 0) + sign
    return tuple(sorted((thing, sign) for thing, sign in by.items() if sign))


def negative(terms: Terms) -> Terms:
    """Return a move the other way."""
    return tuple((thing, -sign) for thing, sign in terms)


def _gap(terms: Terms, length: Nm, least: Nm) -> Gap:
    return Gap(terms=terms, length=length, least=min(length, least))


def _groups(names: Mapping[str, object], same: nx.Graph[Any]) -> list[list[str]]:
    """Connected names in the order of `names`."""
    order = {name: n for n, name in enumerate(names)}
    parts = [sorted(part, key=order.__getitem__) for part in nx.connected_components(same)]
    return sorted(parts, key=lambda part: order[part[0]])


def _stacked(work: Work, element: Mapping[str, str]) -> nx.Graph[str]:
    """Join parallel runs that stand over each other in plan, and the leaves of one wall of the model."""
    out: nx.Graph[str] = nx.Graph()
    out.add_nodes_from(work.runs)
    runs = list(work.runs.values())
    of = {r.name: {element[p.wall] for p in r.parts if p.wall in element} for r in runs}
    for one, two in combinations(runs, 2):
        (u, v), (a, b) = one.direction, two.direction
        if abs(u * b - v * a) > SQUARE:
            continue
        x, y = two.start[0] - one.start[0], two.start[1] - one.start[1]
        lo, hi = sorted(_station(one, two.at(s)) for s in (0, two.length))
        over = min(hi, one.length) - max(lo, 0) > MM
        if over and (abs(y * u - x * v) <= max(one.thickness, two.thickness) / 2 or of[one.name] & of[two.name]):
            out.add_edge(one.name, two.name)
    return out


def _station(run: Run, point: tuple[float, float]) -> float:
    return (point[0] - run.start[0]) * run.direction[0] + (point[1] - run.start[1]) * run.direction[1]

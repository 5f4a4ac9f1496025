"""What of a drawing misses the module: runs, piers and openings in length, sills, heads and tops in height.

The module is a unit and its joint, both nominal.  A size that is met within the joints' range and the fit, or that costs no cut
piece, is on the module; so is, said apart, one that is met with one half unit.  Each size that misses is told once, with the
nearest sizes that are met and the cut pieces that it costs in this plan.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Literal

import numpy as np

from wallquant.files import CUTS
from wallquant.findings import Finding, Place
from wallquant.fitting.module import Met, Module
from wallquant.fitting.stretches import Face, Family, Stretch, families
from wallquant.graph import Network
from wallquant.layout import Run, RunOpening, Work
from wallquant.units import MM, Nm, text

What = Literal["run", "pier", "opening", "sill", "head", "top"]
WHATS: tuple[What, ...] = ("run", "pier", "opening", "sill", "head", "top")
_LENGTH, _HEIGHT = (1 << CUTS.index(word) for word in ("length", "height"))


@dataclass(frozen=True, kw_only=True, slots=True)
class Size:
    """One size of the drawing against the module.

    Attributes
    ----------
    what, where : str
        Kind of size, and between what.
    met : str
        ``full``, ``half`` (with one half unit) or '' where it misses.
    measured : int
        Nanometres; for sills, heads and tops above the run's underside.
    below, above : int or None
        The nearest sizes that are met with whole units; None where there is none.
    half : int or None
        The nearest that is met with a half unit; None for heights.
    cuts : int
        Pieces of the plan that are cut in this stretch, at these jambs, or ripped at this level.
    courses : int
        How many courses it concerns.
    """

    what: What
    where: str
    place: Place
    met: Met
    measured: Nm
    below: Nm | None
    above: Nm | None
    half: Nm | None
    cuts: int
    courses: int


def sizes(work: Work, network: Network, names: Mapping[str, str]) -> tuple[Size, ...]:
    """Measure every run of a plan against the module.

    Parameters
    ----------
    work : Work
        As laid.
    network : Network
        Its runs have openings and tops as drawn.
    names : mapping of str to str
        Name of each wall by its GlobalId.

    Returns
    -------
    tuple of Size
        Run by run; in a run by kind, then station.
    """
    drawn = {r.name: r for r in network.runs}
    out: list[Size] = []
    for name, run in work.runs.items():
        one = _Run(work, run, drawn[name], names)
        out += [one.stretch(family) for family in families(work, run)]
        out += one.widths()
        out += one.levels()
    order = {name: n for n, name in enumerate(work.runs)}
    return tuple(sorted(out, key=lambda s: (order[s.place.run], WHATS.index(s.what), s.place.start or 0, s.place.end or 0, s.measured)))


class _Run:
    """One run while it is measured."""

    def __init__(self, work: Work, run: Run, drawn: Run, names: Mapping[str, str]) -> None:
        self.work, self.run, self.drawn, self.names = work, run, drawn, names
        self.module = Module(unit=run.unit.length, joint=run.catalogue.head_joint)
        self.of = {o.key: o for o in drawn.openings}
        p = work.pieces
        mine = (p.run == p.runs.index(run.name)).nonzero()[0] if run.name in p.runs else np.zeros(0, np.int64)
        self.rows = mine[(p.cut[mine] & (_LENGTH | _HEIGHT)) > 0]

    def stretch(self, family: Family) -> Size:
        """Judge the stretches between the same two faces: the worst of them that costs cuts speaks for all."""
        by: dict[tuple[str, str, Nm], list[Stretch]] = {}
        for one in family.stretches:
            by.setdefault((one.first.kind, one.last.kind, one.length), []).append(one)
        judged = [(self._met(several[0]), self._cut_in(several), several) for several in by.values()]
        worst = min(judged, key=lambda j: (("", "half", "full").index(j[0]), j[1] == 0, -len(j[2]), j[2][0].course))
        met, cuts, several = worst
        one = several[0]
        if (turned := family.one_end()) is not None:
            one, met, cuts = turned, self._met(turned), sum(c for _, c, _ in judged)
        book = self.run.catalogue
        if cuts == 0 and one.length >= book.least_piece - book.head_joint.nominal:  # what is shorter is set aside, and costs more than cuts
            met = "full"
        middle = (one.first.station + one.last.station) // 2
        below, above, half = self.module.near(one.length, _more(one))
        return Size(
            what="run" if family.whole else "pier",
            where=f"{self._named(middle)}, {self._face(one.first)} to {self._face(one.last)}",
            place=Place(
                wall=self._wall(middle),
                run=self.run.name,
                storey=self.run.storey,
                course=one.course,
                start=one.first.station,
                end=one.last.station,
            ),
            met=met,
            measured=one.length,
            below=below,
            above=above,
            half=half,
            cuts=sum(c for _, c, _ in judged),
            courses=len(family.stretches),
        )

    def _met(self, one: Stretch) -> Met:
        fit = self.run.catalogue.fit.free_end
        free = (one.first.kind == "free") + (one.last.kind == "free")
        return self.module.meets(one.length, _more(one), minus=free * fit.minus, plus=free * fit.plus)

    def _cut_in(self, several: Sequence[Stretch]) -> int:
        p, courses, one = self.work.pieces, {s.course for s in several}, several[0]
        middle = (p.start[self.rows] + p.end[self.rows]) // 2
        inside = (middle > one.first.station) & (middle < one.last.station) & ((p.cut[self.rows] & _LENGTH) > 0)
        return sum(1 for c in p.course[self.rows[inside]].tolist() if c in courses)

    def _face(self, face: Face) -> str:
        if face.kind == "jamb":
            return f"the jamb of {self._opening(self.of[face.of])}"
        if face.kind == "step":
            return "the step of the top"
        kind = {"free": "the free end", "pass": "the outer face", "butt": "the face"}[face.kind]
        return f"{kind} at {face.of}"

    def _opening(self, one: RunOpening) -> str:
        filling = one.filling.name if one.filling else ""
        return one.name or filling or one.key

    def widths(self) -> Iterator[Size]:
        """Judge the openings in length: n units and a joint on both sides."""
        p, most = self.work.pieces, self.module.joint.most
        start, end, bottom, top = p.start[self.rows], p.end[self.rows], p.bottom[self.rows], p.top[self.rows]
        for o in self.drawn.openings:
            if not o.through:
                continue
            beside = (np.abs(end - o.start) <= most) | (np.abs(start - o.end) <= most)
            cuts = int(np.count_nonzero(beside & (bottom < o.head) & (top > o.sill) & ((p.cut[self.rows] & _LENGTH) > 0)))
            met = self.module.meets(o.width, 1) if cuts else "full"
            below, above, half = self.module.near(o.width, 1)
            courses = sum(1 for c in self.work.courses[self.run.name].levels if c.bottom < o.head and c.top > o.sill)
            yield Size(
                what="opening", where=f"{self.names.get(o.wall, o.wall)}, {self._opening(o)}", place=self._at(o), met=met, measured=o.width,
                below=below, above=above, half=half, cuts=cuts, courses=courses,
            )  # fmt: skip

    def _at(self, o: RunOpening) -> Place:
        return Place(wall=o.wall, run=self.run.name, storey=self.run.storey, opening=o.key, start=o.start, end=o.end)

    def levels(self) -> Iterator[Size]:
        """Judge sills and flat tops against the tops of courses, heads against the lines that courses start at."""
        courses = self.work.courses[self.run.name]
        first = self.run.bottom + courses.bed
        pitch = self.run.unit.height + courses.joint
        laid = {o.key: o for o in self.run.openings}
        spans = {b.opening: self._lintel(b.lintel) for b in self.work.bridges if b.run == self.run.name}
        for o in self.drawn.openings:
            moved, where = laid.get(o.key, o), f"{self.names.get(o.wall, o.wall)}, {self._opening(o)}"
            if o.sill > first:
                cuts = self._ripped(o.start, o.end, o.sill - pitch, o.sill + MM)
                yield self._height("sill", where, self._at(o), o.sill, moved.sill, first - courses.joint, pitch, cuts)
            if o.through and self._covered(o):
                lo, hi = spans.get(o.key) or (o.start, o.end)
                cuts = self._ripped(lo, hi, o.head - pitch, o.head + 2 * pitch)
                yield self._height("head", where, self._at(o), o.head, moved.head, first, pitch, cuts)
        tops: dict[Nm, list[tuple[Nm, Nm]]] = {}
        for (a, p), (b, q) in pairwise(self.drawn.top):
            if a < b and p == q:
                tops.setdefault(p, []).append((a, b))
        for level, stretches in sorted(tops.items()):
            (a, b), middle = stretches[0], sum(stretches[0]) // 2
            end = next((z for (s, z), (t, y) in pairwise(self.run.top) if s <= middle <= t and z == y), level)
            cuts = sum(self._ripped(lo, hi, end - pitch, end + MM) for lo, hi in stretches)
            place = Place(wall=self._wall(middle), run=self.run.name, storey=self.run.storey, start=a, end=b, level=level)
            where = ", ".join(dict.fromkeys(self._named((lo + hi) // 2) for lo, hi in stretches))
            yield self._height("top", where, place, level, end, first - courses.joint, pitch, cuts)

    def _height(self, what: What, where: str, place: Place, drawn: Nm, laid: Nm, line: Nm, pitch: Nm, cuts: int) -> Size:
        n = (drawn - line) // pitch
        zero = self.run.bottom
        return Size(
            what=what, where=where, place=place, met="" if (laid - line) % pitch else "full", measured=drawn - zero,
            below=line + n * pitch - zero if n > 0 else None, above=line + max(1, n + 1) * pitch - zero, half=None, cuts=cuts, courses=1,
        )  # fmt: skip

    def _covered(self, o: RunOpening) -> bool:
        """Whether any masonry is over an opening."""
        heads = [z for s, z in self.drawn.top if o.start <= s <= o.end]
        heads += [max(p, q) for (a, p), (b, q) in pairwise(self.drawn.top) if a <= o.start and o.end <= b]
        return max(heads, default=o.head) > o.head + MM

    def _lintel(self, rows: Sequence[int]) -> tuple[Nm, Nm] | None:
        p = self.work.pieces
        return (int(min(p.start[k] for k in rows)), int(max(p.end[k] for k in rows))) if rows else None

    def _ripped(self, lo: Nm, hi: Nm, bottom: Nm, top: Nm) -> int:
        p, k = self.work.pieces, self.rows
        middle = (p.bottom[k] + p.top[k]) // 2
        there = (p.start[k] < hi) & (p.end[k] > lo) & (middle > bottom) & (middle < top)
        return int(np.count_nonzero(there & ((p.cut[k] & _HEIGHT) > 0)))

    def _named(self, station: Nm) -> str:
        return self.names.get(self._wall(station), self._wall(station))

    def _wall(self, station: Nm) -> str:
        return next((part.wall for part in self.drawn.parts if part.start <= station <= part.end), self.drawn.parts[0].wall)


def _more(one: Stretch) -> int:
    """How many joints a stretch holds beyond its units: one less, and one more at each face against which it butts."""
    return (one.first.kind == "butt") + (one.last.kind == "butt") - 1


def findings(found: Sequence[Size], system: str) -> tuple[Finding, ...]:
    """Return a note for each size that misses the module, lengths in the system's units."""
    out = []
    for s in found:
        if s.met:
            continue
        wanted = " or ".join(text(v, system) for v in (s.below, s.above) if v is not None)
        half = f", or {text(s.half, system)} with a half unit," if s.half is not None else ""
        measured = text(s.measured, system)
        above = " above the underside" if s.what in ("sill", "head", "top") else ""
        cost = f"it costs {s.cuts} cut piece{'' if s.cuts == 1 else 's'}" if s.cuts else "no piece is cut for it, but no course is there"
        out.append(
            Finding(
                code=f"module.{s.what}",
                severity="note",
                text=f"{s.place.run}, {s.what} of {s.where}: {measured}{above} misses the module; {wanted}{half} would not; {cost}.",
                place=s.place,
                measured=measured,
                wanted=wanted + half.rstrip(","),
            )
        )
    return tuple(out)


def modularity(work: Work, network: Network, names: Mapping[str, str], system: str) -> tuple[Finding, ...]:
    """Return the findings of `sizes`: one a size that misses the module."""
    return findings(sizes(work, network, names), system)

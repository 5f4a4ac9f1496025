"""Rule corner_leads."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from itertools import pairwise
from typing import Any, ClassVar

from wallquant.findings import Source
from wallquant.layout import Courses, Run, Step, Work
from wallquant.rules import Lead, ParamInfo, Precedence, Rule, Sentence, param

_CREWS = "leads of two to three courses; thin-bed mortar grabs fast, so that a high lead cannot be adjusted"


@dataclass(frozen=True, kw_only=True)
class Params:
    """Parameters of corner_leads."""

    courses: int = param(
        3,
        ParamInfo(
            kind="count",
            text="How many courses a lead stands above the line work",
            source=Source(basis="practice", text=_CREWS),
            unit="courses",
            least=1,
            most=5,
        ),
    )
    hold_after_first: float = param(
        12.0,
        ParamInfo(
            kind="number",
            text="How long course 1 sets before course 2, commonly overnight; 0 for no hold",
            source=Source(basis="practice", text="the levelling bed is mortar of normal thickness and sets overnight"),
            unit="h",
            least=0,
            most=168,
        ),
    )


class CornerLeads(Rule):
    """Corners first: all corner units to one bench mark, then leads of a few courses, then the line between them, then the closure.

    What it asks
    ------------
    In each connected part the corner units of course 1 are set from the start corner round, each to the bench mark of the
    first, before anything else of course 1.  Course 2 waits until course 1 has set.  In each course the leads at both ends
    stand before the line is laid, the closure comes last, and no lead rises more than `courses` above the line work.

    Why
    ---
    The corners carry the level, the plumb and the string.  A corner that is out is found before the wall hangs on it, and
    a lead that is too high cannot be adjusted any more.

    Source
    ------
    Leads of two to three courses, the bench mark and the night after course 1: common practice, no source.  For block in
    ordinary mortar leads are usually four or five courses high: NAVEDTRA 14043, chapter 8 (read); the preset general has 4.

    Example
    -------
    With leads of 3, the lead of course 4 at corner C1 waits for the line and closure of course 1 of both runs there.
    """

    code = "corner_leads"
    title = "Corners and leads first"
    Params = Params
    presets: ClassVar[Mapping[str, Mapping[str, Any]]] = {"low": {"courses": 2}, "general": {"courses": 4}}

    def demand(self, run: Run, courses: Courses) -> Iterable[Sentence]:
        """Leads stand at both ends of the run."""
        if not len(courses):
            return
        for junction in (run.first, run.last):
            yield Lead(corner=junction.corner, courses=min(self.params.courses, len(courses)), why=self.title)

    def precede(self, work: Work) -> Iterable[Precedence]:
        """Order corner, lead, line and closure steps."""
        # runs of one part on another level have a first course of their own
        parts: dict[tuple[str, int], list[Step]] = defaultdict(list)
        for step in work.steps:
            parts[step.part, work.runs[step.panel].bottom if step.panel in work.runs else 0].append(step)
        group = {name: runs for runs in work.parts for name in runs}
        for (part, _), steps in sorted(parts.items()):
            yield from self._corners(work, part, group.get(part, (part,)), steps)
            yield from self._first_sets(steps)
        yield from self._leads(work.steps)

    def _corners(self, work: Work, part: str, group: tuple[str, ...], steps: list[Step]) -> Iterator[Precedence]:
        at: dict[str, list[str]] = defaultdict(list)
        for step in steps:
            if step.kind == "corner":
                at[step.corner].append(step.name)
        names = [tuple(sorted(at[corner])) for corner in _round(work, part, group) if corner in at]
        for n, (one, two) in enumerate(pairwise(names)):
            yield Precedence(
                first=one,
                then=two,
                hold="" if n else "Take the top of the first corner unit as bench mark and carry it by level to every other corner",
                reason="corner units are set from the start corner round, all to one bench mark",
                rule=self.code,
            )
        rest = tuple(sorted(s.name for s in steps if s.course == 1 and s.kind not in ("corner", "hold")))
        if names and rest:
            yield Precedence(
                first=tuple(sorted(name for several in names for name in several)),
                then=rest,
                hold="Check every corner unit against the bench mark, and the diagonals, before course 1 is filled" if names[1:] else "",
                reason="all corners are set before a wall of course 1 is filled",
                rule=self.code,
            )

    def _first_sets(self, steps: list[Step]) -> Iterator[Precedence]:
        one, two = (tuple(sorted(s.name for s in steps if s.course == c and s.kind != "hold")) for c in (1, 2))
        if self.params.hold_after_first > 0 and one and two:
            yield Precedence(
                first=one,
                then=two,
                lag=round(self.params.hold_after_first * 3600),
                hold="Leave course 1 to set, and check its level and line, before course 2 is laid",
                reason="the levelling bed sets before it is loaded",
                rule=self.code,
            )

    def _leads(self, steps: Iterable[Step]) -> Iterator[Precedence]:
        of: dict[tuple[str, str, int], list[str]] = defaultdict(list)
        leads = []
        for step in steps:
            for run in step.runs:
                of[step.kind, run, step.course].append(step.name)
            if step.kind == "lead":
                leads.append(step)
        for kind, run, course in sorted(of):
            here = tuple(sorted(of[kind, run, course]))
            if kind == "line" and (before := of.get(("lead", run, course))):
                why = "the line is stretched between the leads"
                yield Precedence(first=tuple(sorted(before)), then=here, reason=why, rule=self.code)
            if kind == "closure" and (before := of.get(("line", run, course)) or of.get(("lead", run, course))):
                why = "the closure is cut to the gap that is left"
                yield Precedence(first=tuple(sorted(before)), then=here, reason=why, rule=self.code)
        for lead in sorted(leads, key=lambda s: s.name):
            below = lead.course - self.params.courses
            done = {n for run in lead.runs for kind in ("line", "closure") for n in of.get((kind, run, below), ())}
            if done:
                why = f"no lead stands more than {self.params.courses} courses above the line work"
                yield Precedence(first=tuple(sorted(done)), then=(lead.name,), reason=why, rule=self.code)


def _round(work: Work, part: str, group: tuple[str, ...]) -> list[str]:
    """Corners of a connected part (`group`: its runs), the start corner first, then neighbours of neighbours; those of one distance by
    name."""
    beside: dict[str, set[str]] = defaultdict(set)
    for name in group:
        if name not in work.runs:
            continue
        corners = [j.corner for j in sorted(work.runs[name].junctions, key=lambda j: (j.station, j.corner))]
        for one, two in pairwise(corners):
            beside[one].add(two)
            beside[two].add(one)

    def named(corner: str) -> tuple[int, str]:
        return len(corner), corner

    order: list[str] = []
    ring = [work.start_corner.get(part) or min(beside, key=named, default="")]
    seen = set(ring)
    while ring:
        order += ring
        ring = sorted({c for corner in ring for c in beside.get(corner, ())} - seen, key=named)
        seen.update(ring)
    return order

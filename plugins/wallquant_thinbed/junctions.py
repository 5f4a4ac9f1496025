"""Rule junctions."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

from wallquant.findings import Finding, Place, Source
from wallquant.layout import TIED, Courses, Junction, Run, Work
from wallquant.rules import Item, ParamError, ParamInfo, Phase, Rule, Sentence, Window, param
from wallquant.units import MM, Nm, text

MODES = ("auto", "bonded", "tied")
TYPES = ("flat", "sliding", "screwed")
_CROWDED_YIELDS = 1


@dataclass(frozen=True, kw_only=True)
class Params:
    """Parameters of junctions."""

    mode: str = param(
        "auto",
        ParamInfo(
            kind="choice",
            text="How T and X corners are joined; auto bonds two load-bearing walls of one thickness and ties others",
            source=Source(basis="practice", text="bonding or ties, EN 1996-1-1, 8.5.2, from memory"),
            choices=MODES,
        ),
    )
    corners: str = param(
        "",
        ParamInfo(kind="text", text="Other modes for single corners, like C3=tied C7=bonded", source=Source(basis="project")),
    )
    spacing: int = param(
        2,
        ParamInfo(
            kind="count",
            text="A tie in every so many beds",
            source=Source(basis="project", text="every second bed"),
            unit="beds",
            least=1,
            most=6,
        ),
    )
    tie_length: Nm = param(
        300 * MM,
        ParamInfo(
            kind="length", text="Length of a tie, half of it in either wall", source=Source(basis="project"), least=50 * MM, most=2000 * MM
        ),
    )
    tie_type: str = param(
        "flat",
        ParamInfo(
            kind="choice",
            text="Type of tie: flat is bedded in both walls, sliding lets one move along it, screwed is fixed to the wall that stands",
            source=Source(basis="project"),
            choices=TYPES,
        ),
    )
    head_gap: Nm = param(
        0,
        ParamInfo(
            kind="length",
            text="Gap over a wall that bears nothing, under what bends above it; 0: the engineer gave none",
            source=Source(basis="project", text="the engineer's value"),
            least=0,
            most=100 * MM,
        ),
    )


class Junctions(Rule):
    """Walls that meet at a T or X are bonded where both are load-bearing and equally thick, and tied in every second bed elsewhere.

    What it asks
    ------------
    At each T and X corner that is not bonded no run passes the other, and a tie lies in every `spacing`-th bed, the top of the
    wall excepted, where both walls stand.  L corners are always bonded.  `corners` names corners that are joined otherwise.
    With `head_gap` a gap is named over each wall that bears nothing.  Over a bonded stem the run through has no joint within the
    stem's thickness; where the stem passes, its faces are head joints, from which others stand off as running_bond asks.
    That gives way only within a unit of a jamb, an end or another corner.

    Why
    ---
    A partition bonded into a bearing wall cuts that wall's bond for nothing, and cracks when the two move differently; units of two
    thicknesses need cuts.

    Source
    ------
    Bonded or tied by connectors: EN 1996-1-1, 8.5.2 (from memory).  Which of both, and every second bed: project inputs.

    Example
    -------
    A partition of 12 courses against a bearing wall: ties on courses 2, 4, 6, 8 and 10, five in all.  Bonded, 200 mm thick, with a
    lap of 80 mm: where it butts, no joint of the other run lies within 181.5 mm of its axis.
    """

    code = "junctions"
    title = "Bonded and tied junctions"
    Params = Params

    def __init__(self, params: Any = None) -> None:
        super().__init__(params)
        self.modes: dict[str, str] = {}
        for word in re.split(r"[\s;,]+", self.params.corners.strip()):
            corner, equals, mode = word.partition("=")
            if word and not (corner and equals and mode in MODES):
                modes = ", ".join(MODES)
                raise ParamError(
                    f"rule {self.code}, parameter corners: '{word}' is no setting; write a corner and one of {modes}, like C3=tied"
                )
            if word:
                self.modes[corner] = mode

    def demand(self, run: Run, courses: Courses) -> Iterable[Sentence]:
        """Tied corners, and their ties on the run that is responsible for them; windows over bonded stems."""
        for junction in run.junctions:
            if not self._why_tied(run, junction):
                yield from self._over_stem(run, courses, junction)
                continue
            for course in courses:
                yield Phase(corner=junction.corner, course=course.number, passes=TIED, why=self.title)
            yield from self._ties(run, courses, junction)
        if run.bearing is False and self.params.head_gap and len(courses):
            top = max(level for _, level in run.top)
            yield Item(kind="gap", run=run.name, start=0, end=run.length, bottom=top, top=top + self.params.head_gap, course=len(courses))

    def findings(self, work: Work) -> Iterable[Finding]:
        """Tell which junctions are tied, and why."""
        for run in sorted(work.runs.values(), key=lambda r: r.name):
            courses = work.courses.get(run.name)
            for junction in run.junctions:
                why = self._why_tied(run, junction)
                if not why or courses is None or not _places_ties(run, junction):
                    continue
                kind = self.params.tie_type
                ties = sum(1 for _ in self._ties(run, courses, junction))
                held = f"{ties} {kind} {'tie' if ties == 1 else 'ties'}, one in every {_ordinal(self.params.spacing)} bed"
                if not ties:
                    held = "there is no bed for a tie where both stand, so the engineer says what holds them together"
                yield Finding(
                    code="junctions.tied",
                    severity="note",
                    text=f"Runs {run.name} and {junction.other} are tied at corner {junction.corner}, not bonded: {why}; {held}. "
                    f"Set {self.code}.corners to {junction.corner}=bonded to bond them",
                    place=Place(run=run.name, corner=junction.corner, storey=run.storey),
                    rules=(self.code,),
                    cause="" if ties else "no tie",
                )
                yield from self._split(work, run, junction)
        yield from self._unknown(work)
        yield from self._heads(work)

    def _split(self, work: Work, run: Run, junction: Junction) -> Iterator[Finding]:
        """Tell of a tied crossing that the run through it has head joints there: no unit of it reaches from one side to the other."""
        if junction.kind != "X" or junction.role != "through" or junction.other_role != "through":
            return
        name, other = (run.name, junction.other) if junction.goes_first else (junction.other, run.name)
        if name not in work.pieces.runs or name not in work.runs:
            return
        through = next((j for j in work.runs[name].junctions if j.corner == junction.corner and j.role == "through"), None)
        if through is None:  # more than two runs meet here, and another one goes first
            return
        lo, hi = through.station - through.thickness // 2, through.station + through.thickness // 2
        p = work.pieces
        rows = (p.run == p.runs.index(name)).nonzero()[0]
        left, right = rows[:-1], rows[1:]
        inside = (p.course[left] == p.course[right]) & (p.end[left] > lo) & (p.start[right] < hi) & (p.end[left] <= p.start[right])
        if inside.any():
            courses = sorted(set(p.course[left[inside]].tolist()))
            many = f"{len(courses)} courses, first in course {courses[0]}" if courses[1:] else f"course {courses[0]}"
            yield Finding(
                code="junctions.split",
                severity="note",
                text=f"Run {name} goes through the tied corner {junction.corner} and has a head joint in the crossing with {other} in "
                f"{many}: it holds there by its beds. Move the corner along the run if a whole unit is wanted there",
                place=Place(run=name, corner=junction.corner, course=courses[0], storey=run.storey),
                rules=(self.code,),
            )

    def _unknown(self, work: Work) -> Iterator[Finding]:
        """Tell the corners that the job names and that are no T or X: a typing error must not pass in silence."""
        known = {j.corner for run in work.runs.values() for j in run.junctions if j.kind in ("T", "X")}
        lost = sorted(set(self.modes) - known, key=lambda name: (len(name), name))
        if lost and work.runs:
            names = ", ".join(sorted(known, key=lambda name: (len(name), name))) or "none"
            yield Finding(
                code="junctions.no-corner",
                severity="warning",
                text=f"{self.code}.corners names {', '.join(lost)}, which {'is' if len(lost) == 1 else 'are'} no T or X corner here, so "
                f"nothing comes of it; the T and X corners are: {names}. L corners are always bonded",
                rules=(self.code,),
            )

    def _heads(self, work: Work) -> Iterator[Finding]:
        loose = sorted((name for name, run in work.runs.items() if run.bearing is False), key=lambda n: (len(n), n))
        if loose:
            gap = self.params.head_gap
            said = f"a gap of {text(gap, work.catalogue.system)} stays"
            said = said if gap else f"a gap stays (the engineer's value: {self.code}.head_gap)"
            yield Finding(
                code="junctions.head",
                severity="note",
                text=f"{'Run' if len(loose) == 1 else 'Runs'} {_listed(loose)} {'bears' if len(loose) == 1 else 'bear'} nothing: {said} "
                "at the head, under what bends above it, filled soft and never wedged; the top is held sideways as the engineer says",
                rules=(self.code,),
            )

    def _why_tied(self, run: Run, junction: Junction) -> str:
        if junction.kind not in ("T", "X") or not junction.other:
            return ""
        mode = self.modes.get(junction.corner, self.params.mode)
        if mode == "auto":
            return why_tied(run, junction)
        return "the job says so" if mode == "tied" else ""

    def _over_stem(self, run: Run, courses: Courses, junction: Junction) -> Iterator[Window]:
        if junction.kind not in ("T", "X") or junction.role != "through" or not junction.bondable or junction.loose:
            return
        half, pitch = junction.thickness // 2, run.unit.height + courses.joint
        lo, hi = junction.station - half, junction.station + half
        left, right = lo - run.unit.length, hi + run.unit.length
        free = all(o.end <= left or o.start >= right for o in run.openings)
        free = free and all(j is junction or not left < j.station < right for j in run.junctions)
        lowest = _lowest(run, lo, hi) + run.catalogue.fit.top.plus
        for course in courses:
            if course.top > lowest:
                break  # under a slope no unit lies over the stem
            if junction.bottom < course.top + pitch and course.bottom < junction.top + pitch:
                yield Window(course=course.number, lo=lo, hi=hi, yields=0 if free else _CROWDED_YIELDS, why="a unit lies over the stem")

    def _ties(self, run: Run, courses: Courses, junction: Junction) -> Iterator[Item]:
        if not _places_ties(run, junction):
            return
        face = junction.station + (-1 if junction.role == "end" else 1) * (junction.thickness // 2)
        half = self.params.tie_length // 2
        every = self.params.spacing
        for course in list(courses)[every - 1 : len(courses) - 1 : every]:
            if not junction.bottom < course.top < junction.top:
                continue
            yield Item(
                kind="tie",
                run=run.name,
                start=face - half,
                end=face + half,
                bottom=course.top,
                top=course.top + courses.joint,
                size=self.params.tie_length,
                course=course.number,
                corner=junction.corner,
                text=f"A {self.params.tie_type} tie across the joint",
                rule=self.code,
            )


def _listed(names: list[str]) -> str:
    """Return names of runs for people, those that follow one another as a range: 'R1, R4 to R9'."""
    spans: list[list[str]] = []
    for name in names:
        follows = spans and name[1:].isdigit() and spans[-1][-1][1:].isdigit() and int(name[1:]) == int(spans[-1][-1][1:]) + 1
        if follows:
            spans[-1].append(name)
        else:
            spans.append([name])
    return ", ".join(f"{span[0]} to {span[-1]}" if len(span) > 2 else ", ".join(span) for span in spans)


def why_tied(run: Run, junction: Junction) -> str:
    """Return why a T or X is tied where no job says otherwise, or '' where it is bonded."""
    if junction.thickness != run.thickness:
        system = run.catalogue.system
        return f"they are {text(run.thickness, system)} and {text(junction.thickness, system)} thick"
    if run.bearing is False or junction.bearing is False:
        return "one of them is not load-bearing"
    low, high = max(run.bottom, junction.bottom), min(_top(run, junction.station), junction.top)
    return "" if low < high else "they do not stand at one level"


def _top(run: Run, station: Nm) -> Nm:
    """The run's drawn top near a station: the level of the nearest point of its profile on either side, the higher one."""
    before = [level for at, level in run.top if at <= station][-1:]
    after = [level for at, level in run.top if at >= station][:1]
    return max(before + after, default=run.bottom)


def _lowest(run: Run, lo: Nm, hi: Nm) -> Nm:
    """The lowest level of the run's drawn top between two stations."""
    found = [
        low + (high - low) * (at - a) // (b - a)
        for (a, low), (b, high) in pairwise(run.top)
        if a < b and a < hi and b > lo
        for at in (max(a, lo), min(b, hi))
    ]
    return min(found, default=run.bottom)


def _places_ties(run: Run, junction: Junction) -> bool:
    """One of the two runs places the ties: the one that ends here, or the first by name of two that go through."""
    return junction.role != "through" or (junction.other_role == "through" and run.name < junction.other)


def _ordinal(number: int) -> str:
    return {1: "single", 2: "second", 3: "third"}.get(number, f"{number}th")

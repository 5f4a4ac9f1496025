"""Rule stability."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any, ClassVar

from wallquant.findings import Finding, Source
from wallquant.layout import Course, Run, Work
from wallquant.rules import ParamInfo, Precedence, Rule, param
from wallquant.units import FOOT, MM, Nm, text


@dataclass(frozen=True, kw_only=True)
class Params:
    """Parameters of stability."""

    brace_over: Nm = param(
        8 * FOOT,
        ParamInfo(
            kind="length",
            text="Walls higher than this are braced until they are held by the building",
            source=Source(basis="read", text="29 CFR 1926.706(b)"),
            least=0,
            most=100 * FOOT,
        ),
    )
    zone_beyond: Nm = param(
        4 * FOOT,
        ParamInfo(
            kind="length",
            text="Width of the limited access zone beyond the wall's height",
            source=Source(basis="read", text="29 CFR 1926.706(a)"),
            least=0,
            most=100 * FOOT,
        ),
    )
    day_height: Nm = param(
        0,
        ParamInfo(
            kind="length",
            text="Height that is laid in a day; 0: no limit",
            source=Source(
                basis="read", text="thin-joint walls are stable after about 60 min, Concrete Centre; 1.5 m in general mortar, LABC"
            ),
            least=0,
            most=10 * FOOT,
        ),
    )
    rest: float = param(
        14.0,
        ParamInfo(
            kind="number",
            text="Time that masonry rests where day_height is reached",
            source=Source(basis="project", text="a night"),
            unit="hours",
            least=0,
            most=96,
        ),
    )
    gable_over: Nm = param(
        600 * MM,
        ParamInfo(
            kind="length",
            text="A raked top that rises more than this above its lower end is a free-standing gable until the roof is on",
            source=Source(basis="project"),
            least=0,
            most=10000 * MM,
        ),
    )


class Stability(Rule):
    """What stands without floors and roof is kept clear of, braced, and laid no higher in a day than it can stand.

    What it asks
    ------------
    Nothing of the layout.  It tells how wide the limited access zone is, which runs are higher than `brace_over` and are braced
    on both sides, which are gables, and which stand without another wall.  With a `day_height`, what lies higher waits for `rest`.

    Why
    ---
    A fresh wall without roof or floors falls in wind, and on whoever stands beside it.

    Source
    ------
    29 CFR 1926.706 and the OSHA letter of 16 February 1993 on bracing in either direction (read).  Day heights: general mortar
    1.5 m (LABC, read), preset general; 1 m in Indian practice (guideline, a weak source, read), preset low; thin-joint walls can be
    laid whole (Concrete Centre, read), the default.  Gables and free-standing walls: common practice, no source.

    Example
    -------
    Twelve US courses stand 96-1/4 in, over 8 ft: the wall is braced, and its zone is 12 ft 1/4 in wide.  A wall of 12 ft has a zone
    of 16 ft.
    """

    code = "stability"
    title = "Stability while it is built"
    Params = Params
    presets: ClassVar[Mapping[str, Mapping[str, Any]]] = {"general": {"day_height": 1500 * MM}, "low": {"day_height": 1000 * MM}}

    def precede(self, work: Work) -> Iterable[Precedence]:
        """Let what lies above a day's height wait."""
        if not self.params.day_height:
            return
        of: dict[tuple[str, int], list[str]] = {}
        for step in work.steps:
            if step.pieces or step.kind != "hold":
                for run in step.runs:
                    of.setdefault((run, step.course), []).append(step.name)
        for courses in _stacks(work):
            for low, high in pairwise(courses):
                days = [(c.top - c.run.height_from - 1) // self.params.day_height for c in (low, high)]
                first, then = (tuple(sorted(of.get((c.run.name, c.number), ()))) for c in (low, high))
                if days[1] > days[0] and first and set(then) - set(first):
                    yield Precedence(
                        first=first,
                        then=tuple(sorted(set(then) - set(first))),
                        lag=round(self.params.rest * 3600),
                        reason=f"no more than {text(self.params.day_height, work.catalogue.system)} of wall is laid in a day",
                        rule=self.code,
                    )

    def findings(self, work: Work) -> Iterable[Finding]:
        """Tell zones, bracing, gables, and walls that stand alone."""
        heights = {name: height_of(work, run) for name, run in work.runs.items()}
        if not heights:
            return
        system = work.catalogue.system
        tallest = max(heights.values())
        yield self._note(
            "zone",
            f"Before work starts keep a limited access zone along the side of each wall that has no scaffold: the wall's height and "
            f"{text(self.params.zone_beyond, system)} wide, {text(tallest + self.params.zone_beyond, system)} at the highest wall of this "
            "plan, over its whole length; only the crew at the wall enters, until it is held (29 CFR 1926.706(a))",
            measured=text(tallest, system),
        )
        over = [name for name, height in heights.items() if height > self.params.brace_over]
        if over:
            yield self._note(
                "bracing",
                f"{_listed(over)} higher than {text(self.params.brace_over, system)}: brace both sides, and keep the limited access "
                "zone, until floors or roof hold the wall (29 CFR 1926.706(b); OSHA letter of 16 February 1993)",
                measured=text(tallest, system),
                wanted=text(self.params.brace_over, system),
            )
        yield from self._alone(work, heights)

    def _alone(self, work: Work, heights: Mapping[str, Nm]) -> Iterator[Finding]:
        system = work.catalogue.system
        gables = {name: rise for name, run in work.runs.items() if (rise := _rise(run)) > self.params.gable_over}
        if gables:
            yield self._note(
                "gable",
                f"{_listed(list(gables))} free-standing, with a raked top up to {text(max(gables.values()), system)} "
                "above the lower end: brace on both sides as the engineer says before the raked courses are begun, and do not stop under "
                "the ridge; it stands free until the roof holds it (common practice)",
                measured=text(max(gables.values()), system),
            )
        alone = [name for name, run in work.runs.items() if all(j.kind == "end" for j in run.junctions)]
        if alone:
            yield self._note(
                "free-standing",
                f"{_listed(alone)} held by no other wall: brace it from the first day, whatever its height (common practice)",
                measured=text(max(heights[name] for name in alone), system),
            )

    def _note(self, what: str, said: str, *, measured: str = "", wanted: str = "") -> Finding:
        return Finding(code=f"caution.{what}", severity="note", text=said, measured=measured, wanted=wanted, rules=(self.code,))


def _stacks(work: Work) -> Iterator[list[Course]]:
    """The courses of each run from the bottom up; those of a battered wall's steps, which stand on each other, in one."""
    found: dict[tuple[str, ...], list[Course]] = {}
    for name, courses in sorted(work.courses.items(), key=lambda one: (work.runs[one[0]].bottom, one[0])):
        run = work.runs[name]
        walls = sorted({part.wall.rpartition("/")[0] for part in run.parts})
        found.setdefault((name,) if run.foot is None else ("", *walls), []).extend(courses.levels)
    yield from (found[key] for key in sorted(found))


def height_of(work: Work, run: Run) -> Nm:
    """Height of a run as laid, from its underside or its battered wall's; as drawn where no course is laid or the drawn top is higher."""
    courses = work.courses.get(run.name)
    tops = [level for _, level in run.top]
    if courses is not None and len(courses):
        tops.append(courses.levels[-1].top)
    return max(tops, default=run.bottom) - run.height_from


def _rise(run: Run) -> Nm:
    """Return how far a raked top rises above the lowest level of its profile; 0 where no part of it slopes."""
    if not any(a < b and p != q for (a, p), (b, q) in pairwise(run.top)):
        return 0
    return max(level for _, level in run.top) - min(level for _, level in run.top)


def _listed(names: Sequence[str]) -> str:
    several = sorted(names, key=lambda n: (len(n), n))
    return f"{'Run' if len(several) == 1 else 'Runs'} {', '.join(several)} {'is' if len(several) == 1 else 'are'}"

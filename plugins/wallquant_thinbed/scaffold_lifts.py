"""Rule scaffold_lifts."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from itertools import pairwise

from wallquant.findings import Finding, Source
from wallquant.layout import Course, Courses, Run, Work
from wallquant.rules import ParamInfo, Precedence, Rule, param
from wallquant.units import MM, Nm, text


@dataclass(frozen=True, kw_only=True)
class Params:
    """Parameters of scaffold_lifts."""

    reach: Nm = param(
        1500 * MM,
        ParamInfo(
            kind="length",
            text="Height above the floor, or above the platform before, up to which is laid without a new lift",
            source=Source(basis="practice", text="about 1.5 m"),
            least=600 * MM,
            most=3000 * MM,
        ),
    )
    hold: bool = param(
        False,
        ParamInfo(
            kind="flag",
            text="Work stops for each lift of a run: a step of its own in the order of work",
            source=Source(basis="project"),
        ),
    )
    minutes: float = param(
        60.0,
        ParamInfo(
            kind="number",
            text="How long setting a lift along one run takes, where hold is set",
            source=Source(basis="project"),
            unit="minutes",
            least=0,
            most=1440,
        ),
    )


class ScaffoldLifts(Rule):
    """Courses above reach are laid from a scaffold: each run has the course after which it is set or raised.

    What it asks
    ------------
    Nothing of the layout.  The steps of courses that end more than `reach` above the floor need a scaffold, those of twice as much its
    second lift, and so on; their text says so.  With `hold` work stops at each lift of a run until it is set and inspected.

    Why
    ---
    Above shoulder height units are lifted badly and laid out of line.

    Source
    ------
    A lift at about 1.5 m: common practice, no source.

    Example
    -------
    Twelve courses of 200 mm on a bed of 10 mm: course 7 ends at 1409 mm and is the last from the floor; course 8 needs a scaffold.
    """

    code = "scaffold_lifts"
    title = "Scaffold lifts"
    Params = Params

    def precede(self, work: Work) -> Iterable[Precedence]:
        """Say which steps need a scaffold, and where work stops for it."""
        of: dict[tuple[str, int], list[str]] = {}
        needs: dict[int, set[str]] = {}
        for step in work.steps:
            if not step.course or step.kind == "hold":
                continue
            lifts = [self._lift(work.runs[r], work.courses[r], step.course) for r in step.runs if r in work.courses]
            if max(lifts, default=0):
                needs.setdefault(max(lifts), set()).add(step.name)
            for run in step.runs:
                of.setdefault((run, step.course), []).append(step.name)
        for lift, names in sorted(needs.items()):
            yield Precedence(first=(), then=tuple(sorted(names)), resource=f"scaffold, lift {lift}", reason=self.title, rule=self.code)
        if self.params.hold:
            for name in sorted(work.courses):
                for last, lift in self._last_before(work.runs[name], work.courses[name]):
                    first = tuple(sorted(of.get((name, last.number), ())))
                    then = tuple(sorted(set(of.get((name, last.number + 1), ())) - set(first)))
                    if first and then:
                        yield Precedence(
                            first=first,
                            then=then,
                            hold=f"Set scaffold lift {lift} along {name}, with guards; a competent person inspects it before it is used",
                            hold_seconds=round(self.params.minutes * 60),
                            reason=self.title,
                            rule=self.code,
                        )

    def findings(self, work: Work) -> Iterable[Finding]:
        """Tell after which courses lifts are set."""
        after: dict[tuple[int, int], list[str]] = {}
        levels: dict[tuple[int, int], Nm] = {}
        for name in sorted(work.courses, key=lambda n: (len(n), n)):
            for last, lift in self._last_before(work.runs[name], work.courses[name]):
                after.setdefault((lift, last.number), []).append(name)
                levels[lift, last.number] = last.top - work.runs[name].height_from
        for (lift, course), names in sorted(after.items()):
            system = work.catalogue.system
            yield Finding(
                code="caution.scaffold",
                severity="note",
                text=f"Scaffold lift {lift} is set after course {course} ({text(levels[lift, course], system)} above the floor) of "
                f"{', '.join(names)}, with guards and inspected before use; load no pallets on it beyond what it is built for",
                measured=text(levels[lift, course], system),
                wanted=text(self.params.reach * lift, system),
                rules=(self.code,),
            )

    def _lift(self, run: Run, courses: Courses, number: int) -> int:
        level = courses.levels[min(number, len(courses)) - 1].top - run.height_from if len(courses) else 0
        lift: int = max(0, (level - 1) // self.params.reach)
        return lift

    def _last_before(self, run: Run, courses: Courses) -> Iterator[tuple[Course, int]]:
        """Yield each course after which a lift is set, and the lift's number."""
        for low, high in pairwise(courses.levels):
            lift = self._lift(run, courses, high.number)
            if lift > self._lift(run, courses, low.number):
                yield low, lift

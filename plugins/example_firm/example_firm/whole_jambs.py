"""Rule whole_jambs."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from wallquant.findings import Source
from wallquant.layout import Courses, Run
from wallquant.rules import ParamInfo, Rule, Sentence, Window, param
from wallquant.units import MM


@dataclass(frozen=True, kw_only=True)
class Params:
    """Parameters of whole_jambs."""

    least: int = param(
        200 * MM,
        ParamInfo(
            kind="length", text="No cut piece shorter than this beside a jamb", least=50 * MM, most=500 * MM,
            source=Source(basis="project", text="frames are fixed there, and short pieces split"),
        ),
    )  # fmt: skip


class WholeJambs(Rule):
    """No cut piece shorter than 200 mm stands beside a jamb.

    What it asks
    ------------
    No head joint nearer to a jamb than `least`, in each course that the opening meets: a piece there is then at least so long.

    Why
    ---
    Frames are fixed beside jambs, and short pieces split.

    Source
    ------
    The firm's own experience (project input).

    Example
    -------
    With 200 mm and a jamb at 3000, no head joint lies between 2800 and 3000.
    """

    code = "whole_jambs"
    title = "No short pieces beside jambs"
    Params = Params

    def demand(self, run: Run, courses: Courses) -> Iterable[Sentence]:
        """A window without joints on both sides of each opening."""
        least = self.params.least
        for o in run.openings:
            for c in courses.levels:
                if o.through and o.sill < c.top and o.head > c.bottom:
                    yield Window(course=c.number, lo=o.start - least, hi=o.start, yields=2, why=self.title)
                    yield Window(course=c.number, lo=o.end, hi=o.end + least, yields=2, why=self.title)

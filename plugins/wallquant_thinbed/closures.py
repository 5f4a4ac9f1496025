"""Rule closures."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from wallquant.findings import Source
from wallquant.layout import Courses, Junction, Run
from wallquant.rules import ParamInfo, Rule, Sentence, Window, param
from wallquant.units import MM, Nm

_YIELDS = 6


@dataclass(frozen=True, kw_only=True)
class Params:
    """Parameters of closures."""

    lead_units: float = param(
        1.5,
        ParamInfo(
            kind="number",
            text="No closure within so many unit lengths of a corner",
            source=Source(basis="practice", text="a lead is laid of whole units"),
            unit="unit lengths",
            least=0,
            most=5,
        ),
    )
    near_jamb: Nm = param(
        200 * MM,
        ParamInfo(
            kind="length",
            text="No closure so near a jamb",
            source=Source(basis="practice", text="jambs are laid of whole or half units where they can be"),
            least=0,
            most=2000 * MM,
        ),
    )


class Closures(Rule):
    """Closures belong in the line work: no cut piece in a lead or beside a jamb, where that costs no further cut.

    What it asks
    ------------
    In each course no cut piece within `lead_units` unit lengths of a corner, and none within `near_jamb` of the jamb of an
    opening that the course meets.  The wish yields: it never costs a cut, a bearing or an offset.

    Why
    ---
    A lead is set, plumbed and levelled before the line is laid, so it wants whole units; the last gap of a course is
    measured and cut when both sides stand.  A small piece beside a jamb is knocked loose by the door.

    Source
    ------
    Common practice, no source.  A project specification that asks for at least a nominal 4 in face at corners and jambs
    (read): the catalogue's least piece says that.

    Example
    -------
    A run of 6.45 m from a corner, units of 599 mm: the closure is wanted at station 900 mm or later.
    """

    code = "closures"
    title = "Closures in the line work"
    Params = Params

    def demand(self, run: Run, courses: Courses) -> Iterable[Sentence]:
        """Windows without cuts at both ends and beside jambs."""
        zone = round(self.params.lead_units * run.unit.length)
        near = self.params.near_jamb
        ends = [(_outer(run.first), run.first.station + zone), (run.last.station - zone, _outer(run.last))]
        for course in courses:
            spans = list(ends) if zone else []
            for opening in run.openings:
                if near and opening.through and opening.sill < course.top and opening.head > course.bottom:
                    spans += [(opening.start - near, opening.start), (opening.end, opening.end + near)]
            for lo, hi in sorted(spans):
                yield Window(course=course.number, lo=lo, hi=hi, of="cut", yields=_YIELDS, why=self.title)


def _outer(junction: Junction) -> Nm:
    """Station of the outer face of a corner, or of a free end."""
    half = junction.thickness // 2 if junction.other else 0
    return junction.station + (half if junction.role == "end" else -half)

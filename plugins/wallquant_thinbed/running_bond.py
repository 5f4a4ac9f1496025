"""Rule running_bond."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from fractions import Fraction
from math import ceil
from typing import Any, ClassVar

from wallquant.findings import Finding, Place, Source
from wallquant.layout import Course, Run, Work
from wallquant.rules import ParamInfo, Rule, param
from wallquant.units import MM, Nm, inch_text, inches, text

_QUARTER = Source(basis="read", text="MSJC-08, running bond, printed in Taly, Design of Reinforced Masonry Structures, p. 2.37")
_EC6 = Source(basis="memory", text="EN 1996-1-1, 8.1.4.1")


@dataclass(frozen=True, kw_only=True)
class Params:
    """Parameters of running_bond."""

    measure: str = param(
        "auto",
        ParamInfo(
            kind="choice",
            text="What is measured: offset (between joint centres, share of the unit's length) or lap (between joint edges, by the "
            "unit's height); auto is offset with a catalogue in inches and lap with one in millimetres",
            source=Source(basis="derived", text="US codes speak of offset, EN 1996-1-1 of lap"),
            choices=("auto", "offset", "lap"),
        ),
    )
    share_of_length: float = param(
        0.25, ParamInfo(kind="number", text="Least offset, as a share of the unit's length", source=_QUARTER, least=0, most=0.5)
    )
    share_of_height: float = param(
        0.4, ParamInfo(kind="number", text="Least lap, as a share of the height of a unit up to tall_from", source=_EC6, least=0, most=2)
    )
    least: Nm = param(40 * MM, ParamInfo(kind="length", text="Least lap of such a unit", source=_EC6, least=0, most=500 * MM))
    tall_from: Nm = param(
        250 * MM, ParamInfo(kind="length", text="A unit higher than this is a tall one", source=_EC6, least=0, most=2000 * MM)
    )
    tall_share: float = param(
        0.2, ParamInfo(kind="number", text="Least lap of a tall unit, as a share of its height", source=_EC6, least=0, most=2)
    )
    tall_least: Nm = param(100 * MM, ParamInfo(kind="length", text="Least lap of a tall unit", source=_EC6, least=0, most=500 * MM))
    thin_corners: bool = param(
        True,
        ParamInfo(kind="flag", text="Where a run meets a wall thinner than the lap, the lap is that wall's thickness", source=_EC6),
    )


class RunningBond(Rule):
    """Head joints stand off from those of the course below, by a quarter of the unit's length or by the lap of the code in use.

    What it asks
    ------------
    Between two neighbouring courses the joint centres stand apart by at least `share_of_length` of the unit's length
    (measure offset), or the joint edges by the lap (measure lap): the greater of `share_of_height` x height and `least`;
    for units higher than `tall_from` the greater of `tall_share` x height and `tall_least`.  With `thin_corners` a lap
    greater than the thickness of a wall met at a corner becomes that thickness, for the whole run.

    Why
    ---
    A wall spreads its loads and holds together only if the units lap.  The two measures differ by one joint, and that
    decides cases: a 6 in wall turns the corner with an offset of 6 in, which is a quarter of 23-7/8 in, and a lap of
    5-7/8 in, which is not.

    Source
    ------
    Offset: MSJC-08, definition of running bond, printed in Taly, Design of Reinforced Masonry Structures, p. 2.37 (read).
    Lap: EN 1996-1-1, 8.1.4.1 (from memory).  A lap of 4 in: common practice, no source.

    Example
    -------
    Units of 599 x 199 mm, joint 1 mm: lap max(0.4 x 199, 40) = 79.6 mm, so offset 80.6 mm.  Units of 23-7/8 in:
    offset 5.96875 in.
    """

    code = "running_bond"
    title = "Running bond"
    Params = Params
    presets: ClassVar[Mapping[str, Mapping[str, Any]]] = {
        "quarter": {"measure": "offset"},
        "lap": {"measure": "lap"},
        "four_inch": {
            "measure": "lap",
            "share_of_height": 0.0,
            "least": inches(4),
            "tall_share": 0.0,
            "tall_least": inches(4),
            "thin_corners": False,
        },
    }

    def offset(self, upper: Course, lower: Course) -> Nm:
        """Return the least offset of joint centres of two courses, nanometres."""
        if self._by_offset(upper.run):
            return max(_part(self.params.share_of_length, course.unit.length) for course in (upper, lower))
        return max(self._lap(course.run, course.unit.height) for course in (upper, lower)) + upper.run.catalogue.head_joint.nominal

    def findings(self, work: Work) -> Iterable[Finding]:
        """Tell where the lap in use is no running bond by the US definition, and where a thin wall reduces it."""
        for run in sorted(work.runs.values(), key=lambda r: r.name):
            if self._by_offset(run):
                continue
            system = run.catalogue.system
            lap, full = self._lap(run, run.unit.height), self._full_lap(run.unit.height)
            quarter, offset = _part(0.25, run.unit.length), lap + run.catalogue.head_joint.nominal
            if offset < quarter and (system == "in" or not self.params.share_of_height):
                yield Finding(
                    code="running_bond.less-than-quarter",
                    severity="note",
                    text=f"The offset asked of units {run.unit.code} is {_shown(offset, system)}, less than a quarter of their length: "
                    "US codes call such a wall not laid in running bond; ask the engineer, or use the preset quarter",
                    measured=_shown(offset, system),
                    wanted=_shown(quarter, system),
                    rules=(self.code,),
                )
            if lap < full:
                yield Finding(
                    code="running_bond.thin-corner",
                    severity="note",
                    text=f"Run {run.name} meets a wall only {text(lap, system)} thick, so its lap is {text(lap, system)} instead of "
                    f"{text(full, system)}; a thicker wall there, or cut units, would keep the full lap",
                    place=Place(run=run.name, storey=run.storey),
                    measured=text(lap, system),
                    wanted=text(full, system),
                    rules=(self.code,),
                )

    def _by_offset(self, run: Run) -> bool:
        measure = self.params.measure
        return bool(measure == "offset" or (measure == "auto" and run.catalogue.system == "in"))

    def _full_lap(self, height: Nm) -> Nm:
        p: Params = self.params
        if height > p.tall_from:
            return max(_part(p.tall_share, height), p.tall_least)
        return max(_part(p.share_of_height, height), p.least)

    def _lap(self, run: Run, height: Nm) -> Nm:
        full = self._full_lap(height)
        if not self.params.thin_corners:
            return full
        return min([full, *(j.thickness for j in run.junctions if j.thickness > 0)])


def _part(share: float, length: Nm) -> Nm:
    """A share of a length, exact for the decimal that was written, rounded up: 'at least' stays at least."""
    return ceil(Fraction(str(share)) * length)


def _shown(length: Nm, system: str) -> str:
    """An offset for people, finer than a tape shows it: a quarter of 23-7/8 in is not 6 in."""
    return inch_text(length, finest=32) if system == "in" else text(length, system)

"""Rule bond_beams."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Any, ClassVar

from wallquant.findings import Finding, Source
from wallquant.layout import Courses, Run, Work
from wallquant.rules import Bed, Item, ParamError, ParamInfo, Precedence, Rule, Sentence, Use, Window, param
from wallquant.units import FOOT, INCH, MM, Nm, inches, text
from wallquant_thinbed import beam_findings, beam_steps, beams
from wallquant_thinbed.bar_stock import STOCK, stock_of
from wallquant_thinbed.beams import Beam, Channel

_WINDOW_YIELDS = 1
_METRE = 1000 * MM
_ENGINEER = Source(basis="project", text="the engineer's value")
_PACE = Source(basis="project", text="a guess until the site has measured it")


def _seconds(default: int, said: str) -> Any:
    return param(default, ParamInfo(kind="count", text=said, source=_PACE, unit="s", least=0, most=36000))


@dataclass(frozen=True, kw_only=True)
class Params:
    """Parameters of bond_beams."""

    top: bool = param(
        False, ParamInfo(kind="flag", text="A bond beam at the top of each wall, in a gable at its lowest level", source=_ENGINEER)
    )
    levels: str = param(
        "",
        ParamInfo(
            kind="text", text="Heights of the tops of bond beams above the underside of each run, like '4 ft, 8 ft'", source=_ENGINEER
        ),
    )
    spacing: Nm = param(
        0,
        ParamInfo(
            kind="length",
            text="A bond beam at each multiple of this height above the underside of each run; 0 for none",
            source=_ENGINEER,
            least=0,
            most=10000 * MM,
        ),
    )
    bearing_only: bool = param(
        True, ParamInfo(kind="flag", text="None in a wall that the model calls not load-bearing", source=Source(basis="project"))
    )
    bars: int = param(
        2,
        ParamInfo(
            kind="count",
            text="Bars in each beam, one above the other",
            source=Source(basis="practice", text="two bars, one above the other"),
            least=0,
            most=4,
        ),
    )
    bar_size: Nm = param(
        inches("1/2"),
        ParamInfo(
            kind="length",
            text="Diameter of a bar",
            source=Source(basis="practice", text="No. 4; the engineer says which"),
            least=6 * MM,
            most=32 * MM,
        ),
    )
    lap_diameters: float = param(
        48.0,
        ParamInfo(
            kind="number",
            text="Lap of bars, and leg of L-bars, in bar diameters",
            source=Source(basis="read", text="UFGS 04200, 3.10: 48 bar diameters in bond beams; UFC 3-310-03A: No. 4 24 in"),
            least=20,
            most=100,
        ),
    )
    bar_stock: Nm = param(0, STOCK)
    cover: Nm = param(
        inches("1-1/2"),
        ParamInfo(
            kind="length",
            text="From the end of a bar to the end stop of its trough",
            source=Source(basis="read", text="WAC 246-359-440: cover 1-1/2 in to the weather, the unit included"),
            least=0,
            most=200 * MM,
        ),
    )
    opening_clear: Nm = param(
        25 * MM,
        ParamInfo(
            kind="length",
            text="No head joint nearer than this to an opening in a flange",
            source=Source(basis="project", text="the web that a core unit keeps"),
            least=0,
            most=200 * MM,
        ),
    )
    strap_spacing: Nm = param(
        0,
        ParamInfo(
            kind="length",
            text="Straps in beams on top of walls, at most so far apart; 0 for none",
            source=_ENGINEER,
            least=0,
            most=5000 * MM,
        ),
    )
    anchor_spacing: Nm = param(
        0,
        ParamInfo(
            kind="length",
            text="Anchors in beams on top of walls, at most so far apart; 0 for none",
            source=_ENGINEER,
            least=0,
            most=5000 * MM,
        ),
    )
    dry_climate: bool = param(
        False,
        ParamInfo(
            kind="flag",
            text="Troughs are wetted before the grout",
            source=Source(basis="practice", text="U units are wetted in dry climates"),
        ),
    )
    inspection_hours: float = param(
        1.0,
        ParamInfo(
            kind="number", text="The hold before the grout, for inspection", source=Source(basis="project"), unit="h", least=0, most=240
        ),
    )
    cure_hours: float = param(
        24.0,
        ParamInfo(
            kind="number",
            text="From the grout until pieces are laid on the beam",
            source=Source(basis="project", text="the engineer or the supplier of the grout says how long"),
            unit="h",
            least=0,
            most=672,
        ),
    )
    opening_seconds: int = _seconds(600, "Cutting one opening into a flange on site")
    stop_seconds: int = _seconds(300, "Setting one end stop")
    bar_seconds: int = _seconds(60, "Placing one metre of bar")
    strap_seconds: int = _seconds(120, "Placing one strap or anchor")
    wetting_seconds: int = _seconds(20, "Wetting one metre of trough")
    grout_seconds: int = _seconds(90, "Grouting and rodding one metre of trough")


class BondBeams(Rule):
    """Bond beams of U units, bars and grout run through the walls where the engineer wants them.

    What it asks
    ------------
    With `top`, `levels` or `spacing`: U units over a whole course of each wall (what is ripped lies below it), bars in their trough, one
    above the other, L-bars at corners, flanges opened where troughs meet with no head joint beside the opening, end stops, straps and
    anchors, an inspection, grout, and a wait until it has set.  Openings and lintels in the course interrupt a beam.  Without: nothing.

    Why
    ---
    A beam ties the walls together and holds what floors and roof are fixed to.  What is ripped from a U unit has no trough left.

    Source
    ------
    Two bars, cross units cut on site: common practice, no source.  Lap of 48 diameters, continuous round corners, not through movement
    joints unless shown: UFGS 04200, 3.10 (read).  24 in for No. 4: UFC 3-310-03A (read).  Hours of work: project input.
    Whether, where and with what steel is the engineer's value.

    Example
    -------
    Wall 200 thick, U unit with flanges and base of 50: trough 100 x 149, 14.9 L a metre.  A run of 6 m between free ends and a stem
    of 3 m take 132.6 L, one opening in a flange, three end stops and two L-bars with legs of 24 in.
    """

    code = "bond_beams"
    title = "Bond beams"
    Params = Params
    presets: ClassVar[Mapping[str, Mapping[str, Any]]] = {"wac": {"top": True, "spacing": 4 * FOOT, "lap_diameters": 48.0}}

    def __init__(self, params: Any = None) -> None:
        super().__init__(params)
        try:
            beams.levels_of(self.params.levels)
        except ValueError as error:
            raise ParamError(f"rule {self.code}, parameter levels: {error}") from error

    def demand(self, run: Run, courses: Courses) -> Iterable[Sentence]:
        """Say the beds under beams, the U units, and what is built into their troughs."""
        if not beams.asked_for(self.params) or beams.u_unit(run, run.unit.thickness) is None or not len(courses):
            return
        for one in beams.wanted(run, self.params):
            yield Bed(level=beams.bed_of(run, courses, one), yields=0, why="the U course stays whole, and what is ripped lies below it")
        for beam in beams.beams(run, courses, self.params):
            reach = max(j.thickness for j in run.junctions)
            lo = beam.lo - (reach if beam.lo == run.top[0][0] else 0)
            hi = beam.hi + (reach if beam.hi == run.top[-1][0] else 0)
            yield Use(course=beam.course.number, lo=lo, hi=hi, unit=beam.unit.code, why=self.title)
            yield from self._joined(run, courses, beam)
            for channel in beams.channels(run, courses, beam, self.params):
                yield from self._filled(run, courses, beam, channel)

    def _joined(self, run: Run, courses: Courses, beam: Beam) -> Iterator[Window | Item]:
        """Flange openings and their windows, L-bars, and the stop behind the corner where this run passes."""
        p, system = self.params, run.catalogue.system
        for met in beams.meetings(run, courses, beam, p):
            at, corner = met.junction.station, met.junction.corner
            lo, hi = at - met.width // 2, at + met.width // 2
            if met.flanges:
                clear = p.opening_clear
                yield Window(
                    course=beam.course.number,
                    lo=lo - clear,
                    hi=hi + clear,
                    yields=_WINDOW_YIELDS,
                    why="no joint beside an opening in a flange",
                )
                size = f"{text(met.width, system)} x {text(beam.depth, system)}"
                sides = "both flanges" if met.flanges > 1 else f"the flange on the side of {met.junction.other}"
                yield Item(
                    kind="flange opening", run=run.name, start=lo, end=hi, bottom=beam.base, top=beam.course.top, size=met.width,
                    quantity=float(met.flanges), course=beam.course.number, corner=corner, passing=True, task=beam_steps.TROUGH,
                    seconds=met.flanges * p.opening_seconds,
                    text=f"Cut an opening of {size} into {sides} of the U unit of {run.name} at corner {corner}, so that the troughs join",
                )  # fmt: skip
            if met.stops:
                yield self._stop(run, beam, at, corner=corner, passing=True)
            if met.junction.goes_first and p.bars:
                leg = text(self._lap(system), system)
                yield Item(
                    kind="L bar", run=run.name, start=at, end=at, bottom=beam.base, top=beam.course.top, size=p.bar_size,
                    quantity=float(p.bars), course=beam.course.number, corner=corner, task=beam_steps.BARS, seconds=p.bars * p.bar_seconds,
                    text=f"At corner {corner} lay {p.bars} L-bars with legs of {leg} + {leg}, one above the other, "
                    "lapped with the bars of both runs",
                )  # fmt: skip

    def _filled(self, run: Run, courses: Courses, beam: Beam, channel: Channel) -> Iterator[Item]:
        """Stops, bars, straps and grout of one stretch of trough."""
        p, system, number = self.params, run.catalogue.system, beam.course.number
        passing, length = (True if channel.corner else None), channel.hi - channel.lo
        for closed, at in ((channel.stop_lo, channel.lo), (channel.stop_hi, channel.hi)):
            if closed:
                yield self._stop(run, beam, at, corner=channel.corner, passing=passing)
        lo, hi = channel.lo + (p.cover if channel.stop_lo else 0), channel.hi - (p.cover if channel.stop_hi else 0)
        if lo < hi:
            lap, bars = self._lap(system), f"{p.bars} bars" if p.bars > 1 else "1 bar"
            stock = stock_of(p.bar_stock, lap, system, self.code)
            said = (
                f"Lay {bars} of {text(p.bar_size, system)} in the trough of {run.name}, course {number}, one above the other; laps of "
                f"{text(lap, system)}; they run on round corners, and not through movement joints unless the drawings say so"
            )
            for k in range(p.bars):
                level = beam.base + beam.depth * (k + 1) // (p.bars + 1)
                yield Item(
                    kind="bar", run=run.name, start=lo, end=hi, size=p.bar_size,
                    bottom=level - p.bar_size // 2, top=level + p.bar_size // 2,
                    quantity=(hi - lo) / _METRE, unit="m", stock=stock, lap=lap, course=number, corner=channel.corner, passing=passing,
                    interrupted=True, task=beam_steps.BARS, seconds=round((hi - lo) * p.bar_seconds / _METRE), text="" if k else said,
                )  # fmt: skip
        for kind, most in (("strap", p.strap_spacing), ("anchor", p.anchor_spacing)):
            for at in beams.spaced(channel.lo, channel.hi, most) if most and beam.on_top and not channel.corner else ():
                yield Item(
                    kind=kind, run=run.name, start=at, end=at, bottom=beam.base, top=beam.course.top, course=number, interrupted=True,
                    task=beam_steps.STRAPS, seconds=p.strap_seconds,
                    text=f"Set the straps and anchors in the trough of {run.name}, course {number}, before the grout",
                )  # fmt: skip
        fill = Item(
            kind="trough fill", run=run.name, start=channel.lo, end=channel.hi, bottom=beam.base, top=beam.course.top, size=beam.width,
            quantity=length * beam.width * beam.depth / 1e27, unit="m3", course=number, corner=channel.corner, passing=passing,
            interrupted=True, task=beam_steps.GROUT, seconds=round(length * p.grout_seconds / _METRE),
            text=f"Grout the trough of {run.name}, course {number}, and rod it; all troughs that join here in one go",
        )  # fmt: skip
        yield fill
        if p.dry_climate:
            yield replace(
                fill,
                kind="wetting",
                quantity=length / _METRE,
                unit="m",
                task=beam_steps.WETTING,
                seconds=round(length * p.wetting_seconds / _METRE),
                text=f"Wet the trough of {run.name}, course {number}, before the grout; no water stands in it",
            )

    def _stop(self, run: Run, beam: Beam, at: Nm, *, corner: str, passing: bool | None) -> Item:
        return Item(
            kind="end stop", run=run.name, start=at, end=at, bottom=beam.base, top=beam.course.top, size=beam.width,
            course=beam.course.number, corner=corner, passing=passing, task=beam_steps.TROUGH, seconds=self.params.stop_seconds,
            text=f"Close the trough of {run.name}, course {beam.course.number}, with an end stop "
            f"{text(beam.stop, run.catalogue.system)} thick",
        )  # fmt: skip

    def _lap(self, system: str) -> Nm:
        """Lap of bars, rounded up to a millimetre or a sixteenth of an inch."""
        grid = MM if system == "mm" else INCH // 16
        return int(-(-(self.params.lap_diameters * self.params.bar_size) // grid)) * grid

    def precede(self, work: Work) -> Iterable[Precedence]:
        """Openings, stops, bars and straps, then an inspection, then the grout of all troughs that join, then the cure."""
        yield from beam_steps.precedences(work, self.params, self.code)

    def findings(self, work: Work) -> Iterable[Finding]:
        """Tell that nothing is asked, or what of the beams needs a decision."""
        yield from beam_findings.findings(work, self.params, self.code)

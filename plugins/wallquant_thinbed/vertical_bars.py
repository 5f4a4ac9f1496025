"""Rule vertical_bars."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from math import pi
from typing import Any, ClassVar

from wallquant.findings import Finding, Source
from wallquant.layout import Courses, Run, Work
from wallquant.rules import Choice, Item, ParamInfo, Precedence, Rule, Sentence, Window, param
from wallquant.units import INCH, MM, Nm, inches, text
from wallquant_thinbed import bar_steps
from wallquant_thinbed.bar_places import REACH, Spot, Wanted, lifts, scheduled, spots, stations, top_at
from wallquant_thinbed.bar_steps import BAR, CHECK, FILL, STUB, WETTING
from wallquant_thinbed.bar_stock import STOCK, stock_of

YIELDS = 1
MOST_CHOICES = 6
"""So many bars of a run may move: each is a choice that is tried."""
_ENGINEER = Source(basis="project", text="the engineer's value")
_PRACTICE = Source(basis="practice", text="crews of thin-bed AAC")
_PACE = Source(basis="project", text="a guess until the site has measured it")


def _length(default: Nm, said: str, source: Source, least: Nm = 0, most: Nm = 10_000 * MM) -> Any:
    return param(default, ParamInfo(kind="length", text=said, source=source, least=least, most=most))


def _flag(default: bool, said: str) -> Any:
    return param(default, ParamInfo(kind="flag", text=said, source=_ENGINEER))


@dataclass(frozen=True, kw_only=True)
class Params:
    """Parameters of vertical_bars."""

    spacing: int = _length(0, "Bars stand at most so far apart; 0 for none", _ENGINEER)
    schedule: str = param(
        "",
        ParamInfo(
            kind="text", text="The engineer's bars, stations from each run's first corner, like 'R1: 100 mm, 1300 mm; R2: 4 in'",
            source=_ENGINEER,
        ),
    )  # fmt: skip
    corners: bool = _flag(True, "A bar at each corner and junction")
    ends: bool = _flag(True, "A bar at each free end")
    openings: bool = _flag(True, "A bar beside each jamb")
    least_opening: int = _length(
        16 * INCH, "No bars beside openings narrower than this",
        Source(basis="read", text="NCMA TEK 14-18B figures: beside openings over 16 in"),
    )  # fmt: skip
    bearing_only: bool = param(
        True, ParamInfo(kind="flag", text="None in a wall that the model calls not load-bearing", source=Source(basis="project"))
    )
    least_wall: int = _length(
        140 * MM, "None in walls thinner than this: a core needs a web on both sides", Source(basis="project"), most=1000 * MM
    )
    from_end: int = _length(100 * MM, "From a free end to the bar", _PRACTICE, least=40 * MM)
    from_jamb: int = _length(
        400 * MM, "From a jamb to the bar: beyond what bears there",
        Source(basis="read", text="within 16 in of openings: NCMA TEK 14-18B figures; AAC: 16 or 24 in, from memory, in conflict"),
        least=40 * MM,
    )  # fmt: skip
    offset: int = _length(
        0, "From the middle of the wall to the bar, to the left of the run",
        Source(basis="practice", text="4 in from the faces of 8 in block, 5 in from the slab's edge with 10 in block: its middle"),
        least=-500 * MM, most=500 * MM,
    )  # fmt: skip
    tolerance: int = _length(
        0, "A bar may move so far along the wall where that saves a cut (ACI 530 study card: 2 in)",
        Source(basis="read", text="bar placement within 2 in along the wall: ACI 530, by a study card"), most=200 * MM,
    )  # fmt: skip
    size: int = _length(
        inches("1/2"), "Diameter of a bar or rod", Source(basis="practice", text="No. 4; 1/2 in rod"), least=6 * MM, most=32 * MM
    )
    system: str = param(
        "bars",
        ParamInfo(
            kind="choice", text="Bars lapping stubs, or rods with couplers", choices=("bars", "rods"),
            source=Source(basis="practice", text="1/2 in rod, coupler above the levelling course, washer, sleeve and nut at the bond beam"),
        ),
    )  # fmt: skip
    lap_diameters: float = param(
        48.0,
        ParamInfo(
            kind="number", text="Lap of bar and stub in bar diameters", least=20, most=100,
            source=Source(basis="read", text="UFC 3-310-03A: No. 4 24 in, No. 5 30 in, No. 6 36 in"),
        ),
    )  # fmt: skip
    bar_stock: int = param(0, STOCK)
    lift: int = _length(
        64 * INCH, "Highest lift that is grouted in one go",
        Source(basis="read", text="TMS 602, 3.5 D, by a testing laboratory's page: 5 ft 4 in"), least=400 * MM,
    )  # fmt: skip
    cleanout: int = _length(
        64 * INCH, "A pour over this height has a cleanout at its foot",
        Source(basis="read", text="TMS 602, 3.2 F, by a testing laboratory's page: 5 ft 4 in"),
    )  # fmt: skip
    cure_hours: float = param(
        12.0, ParamInfo(kind="number", text="From the grout of a lift to the courses over it", unit="h", source=_PACE, least=0, most=240)
    )
    inspection_hours: float = param(
        0.5, ParamInfo(kind="number", text="How long an inspection takes", unit="h", source=_PACE, least=0, most=72)
    )
    wetting: bool = param(False, ParamInfo(kind="flag", text="Cores are wetted before the grout (dry climates)", source=_PRACTICE))
    bar_seconds: int = param(240, ParamInfo(kind="count", text="To place a bar", unit="s", source=_PACE, least=0, most=36000))
    fill_seconds: int = param(180, ParamInfo(kind="count", text="To grout a core, a lift", unit="s", source=_PACE, least=0, most=36000))


class VerticalBars(Rule):
    """Vertical bars stand in cores at corners, ends and jambs and at most a spacing apart, and their cores are grouted lift by lift.

    What it asks
    ------------
    Nothing without the engineer's spacing or schedule.  With one: no head joint over a core, a bar through every piece there, a stub
    in the slab before course 1, cored blocks threaded over the stub only, the bar dropped in from the top after the lift, a notch in
    the foot of the first piece for the inspection, then grout, and a wait.  Cores under a rake go with the next pour.
    Engines choose core units, turn them, or have pieces drilled.

    Why
    ---
    A bar that meets no core is found out when the block is lifted over it, and a core over a joint loses its grout.

    Source
    ------
    Lap 48 diameters: UFC 3-310-03A (read).  Lifts and cleanouts: TMS 602, by a testing laboratory's page (read).  Clearance 1/4 in in
    fine grout: a trade journal (read).  Places, notch and threading: common practice, no source.  Two versions of the spacing that
    AAC walls need are remembered, and they conflict (16 in or 24 in from openings and ends): neither is called code.

    Example
    -------
    A wall of 6.2 m outside, 200 thick, spacing 1200 mm: bars at 100, 1300, 2500, 3700, 4900 and 6100 from the outside face.
    """

    code = "vertical_bars"
    title = "Vertical bars and grouted cores"
    Params = Params
    presets: ClassVar[Mapping[str, Mapping[str, Any]]] = {"four_feet": {"spacing": 48 * INCH}, "metric_1200": {"spacing": 1200 * MM}}

    def demand(self, run: Run, courses: Courses) -> Iterable[Sentence]:
        """Windows over the cores of each bar; the bars, checks and fills as items."""
        wanted, levels = self._wanted(), courses.levels
        if not levels or run.thickness < self.params.least_wall or (self.params.bearing_only and run.bearing is False):
            return
        reach = self._reach(run)
        moving = 0
        own = spots(run, wanted)
        pours = self._pours(run, courses, own)
        for station in stations(run, wanted):
            spot = next((s for s in own if s.station == station), None)
            if spot is not None and spot.free and self.params.tolerance and moving < MOST_CHOICES:
                moving += 1
                steps = (0, -self.params.tolerance, self.params.tolerance)
                yield Choice(
                    name=f"bar at {station // MM}", why="a bar may move within its tolerance",
                    alternatives=tuple(
                        (*_windows(courses, station + d, reach), *self._items(run, courses, spot, station + d, pours)) for d in steps
                    ),
                )  # fmt: skip
                continue
            yield from _windows(courses, station, reach)
            if spot is not None:
                yield from self._items(run, courses, spot, station, pours)

    def _wanted(self) -> Wanted:
        p = self.params
        return Wanted(
            spacing=p.spacing, corners=p.corners, ends=p.ends, openings=p.openings, from_end=p.from_end, from_jamb=p.from_jamb,
            least_opening=p.least_opening, schedule=p.schedule,
        )  # fmt: skip

    def _reach(self, run: Run) -> Nm:
        """Half of what no joint may cut: the core and a web beside it."""
        return self._core(run) // 2 + REACH

    def _core(self, run: Run) -> Nm:
        cores = [c.diameter for u in run.catalogue.of_kind("core", run.thickness) for c in u.cores]
        return min(cores, default=100 * MM)

    def _pours(self, run: Run, courses: Courses, own: Sequence[Spot]) -> tuple[int, ...]:
        """Courses after which cores are grouted: where a bar goes on, and the last one that any bar reaches.

        A core that ends below a rake is open at its top, so it waits for the next pour: a gable is not stopped course by course.
        """
        parts = [lifts(_below(courses, top_at(run, s.station)), self.params.lift) for s in own]
        goes_on = {last for part in parts for _, last in part[:-1]}
        return tuple(sorted(goes_on | {max((part[-1][1] for part in parts if part), default=0)}))

    def _items(self, run: Run, courses: Courses, spot: Spot, station: Nm, pours: Sequence[int]) -> Iterator[Item]:
        p, lap = self.params, round(self.params.lap_diameters * self.params.size)
        top = top_at(run, station)
        levels = _below(courses, top)
        if not levels:
            return
        area = pi / 4 * (self._core(run) ** 2 - p.size**2)
        parts = lifts(levels, p.lift)
        where = f"at {text(station, run.catalogue.system)} in {run.name} ({spot.why})"
        rods = p.system == "rods"
        stock = stock_of(p.bar_stock, lap, run.catalogue.system, self.code)

        def bar(bottom: Nm, high: Nm, course: int, task: str, said: str) -> Item:
            return Item(
                kind="bar", run=run.name, start=station, end=station, bottom=bottom, top=high, offset=p.offset, size=p.size,
                quantity=round((high - bottom) / 1e9, 6), unit="m", course=course, task=task, seconds=p.bar_seconds, text=said,
                stock=stock, lap=lap, sort="rod" if rods else "",
            )  # fmt: skip

        def thing(kind: str, course: int, level: Nm, task: str, said: str) -> Item:
            return Item(
                kind=kind, run=run.name, start=station, end=station, bottom=level, top=level, offset=p.offset, course=course, task=task,
                text=said,
            )  # fmt: skip

        stub = min(lap, top - run.bottom)
        word = "rod" if rods else "stub"
        yield bar(
            run.bottom, run.bottom + (levels[0][1] - run.bottom if rods else stub), 0, STUB,
            f"Check every {word} of {run.name} in the slab from two of its edges before course 1; one that is off is drilled and epoxied "
            "anew only with the building official's agreement",
        )  # fmt: skip
        for n, (first, last) in enumerate(parts):
            low, high = levels[first - 1][0], min(levels[last - 1][1], top)
            more = n + 1 < len(parts)
            foot = run.bottom if n == 0 else low
            end = min(high + lap, top) if more and not rods else high
            carried = n > 0 and not rods and low + lap >= top  # the bar below reaches the top
            pour = next((c for c in pours if c >= last), last)
            if rods:
                yield thing("coupler", first, low if n else levels[0][1], BAR, f"Screw the next rod into its coupler {where}")
            said = f"{'Set the rod' if rods else 'Drop the bar in from the top'} {where}"
            if not carried:
                yield bar(foot if not rods or n else levels[0][1], end, pour, BAR, said)
            yield thing("inspection", pour, low, CHECK, f"Look through the notch at the foot of the core {where}: bar, lap, core clean")
            if p.wetting:
                yield thing("wetting", pour, low, WETTING, f"Wet the core {where}")
            yield Item(
                kind="core fill", run=run.name, start=station, end=station, bottom=low, top=high, offset=p.offset, size=self._core(run),
                quantity=round(area * (high - low) / 1e27, 9), unit="m3", course=pour, task=FILL, seconds=p.fill_seconds,
                text=f"Grout the cores of {run.name} up to {text(high - run.bottom, run.catalogue.system)}; first put back what the "
                "notches gave",
            )  # fmt: skip
        if rods:
            for kind in ("washer", "nut"):
                yield thing(kind, len(levels), min(levels[-1][1], top), BAR, f"Washer, sleeve and nut {where}, or a hook into the beam")

    def precede(self, work: Work) -> Iterable[Precedence]:
        """Bar, check, hold, water, grout, cure."""
        yield from bar_steps.precedences(work, self.params, self.code)

    def findings(self, work: Work) -> Iterable[Finding]:
        """Tell that the engineer's value is needed, or what the bars ask for."""
        p = self.params
        if p.spacing <= 0 and not p.schedule.strip():
            if work.runs:
                yield Finding(
                    code="bars.engineer", severity="note", rules=(self.code,),
                    text="Vertical bars are not planned: engineer's value needed (spacing or schedule of vertical_bars in the job). Two "
                    "versions of what AAC walls need are remembered and conflict, so none is a default",
                )  # fmt: skip
            return
        for name in sorted(set(scheduled(p.schedule)) - set(work.runs)):
            yield Finding(
                code="bars.no-run", severity="warning", rules=(self.code,),
                text=f"The schedule of vertical bars names run {name}, which this plan does not have; its bars are not placed",
            )  # fmt: skip
        bars = [i for i in work.items if isinstance(i, Item) and i.rule == self.code]
        stubs = sum(i.kind == "bar" and i.course == 0 for i in bars)
        drilled = len(work.pieces.holes)
        system = work.catalogue.system
        heights = [i.top - i.bottom for i in bars if i.kind == "core fill"]
        yield Finding(
            code="bars.placed", severity="note", rules=(self.code,),
            text=f"{stubs} vertical bars stand in cores; {drilled} pieces are drilled on site. Set out stubs from two edges of the slab, "
            "check them before the pour and again before course 1. Grout within 90 min of adding water, slump 8 to 11 in (TMS 602). The "
            "engineer confirms bars, laps and grout; the plan checks places alone",
        )  # fmt: skip
        if heights and max(heights) > p.cleanout:
            yield Finding(
                code="bars.cleanouts", severity="warning", rules=(self.code,), measured=text(max(heights), system),
                wanted=text(p.cleanout, system),
                text=f"Pours up to {text(max(heights), system)} are over {text(p.cleanout, system)}: leave a cleanout of at least 3 in at "
                "the foot of each core (TMS 602, 3.2 F)",
            )  # fmt: skip


def _windows(courses: Courses, station: Nm, reach: Nm) -> Iterator[Window]:
    for c in courses.levels:
        yield Window(course=c.number, lo=station - reach, hi=station + reach, yields=YIELDS, why="no joint over a core")


def _below(courses: Courses, top: Nm) -> list[tuple[Nm, Nm]]:
    return [(c.bottom, c.top) for c in courses.levels if c.bottom < top]

"""Rule lintel_bearing."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import replace
from typing import Any, ClassVar

from wallquant.findings import Finding, Place, Severity
from wallquant.layout import Courses, Junction, Run, Work
from wallquant.rules import Amount, Bed, Choice, Fixed, Item, Phase, Precedence, Rule, Sentence, Window
from wallquant.units import INCH, MM, inches, text
from wallquant_thinbed import assumed, lintel_notes, lintels
from wallquant_thinbed.lintel_params import Params
from wallquant_thinbed.lintels import Bridging

_PIER_YIELDS = 3
_SMALL_YIELDS = 2
_BED_YIELDS = 5


class LintelBearing(Rule):
    """Each opening with masonry above gets a stock lintel that bears enough on both sides, on units without a joint there.

    What it asks
    ------------
    A bed at the head, a stock lintel, `bearing` (or `short_bearing`) on both sides, no head joint below within them.  Near a corner
    it ends at the outer face or butts.  Openings with a short pier share one lintel where stock is long enough, else half each, at
    least `least`.  A unit bridges what is narrower than `least_width`.  With virtual units, where no stock does, one made to measure
    is assumed, up to `assumed_width`.  An opening that takes a whole corner ends at the other run; where both lintels want it, this
    one lies on the other.  Each is set `bearing_settles` after what it bears on; props from `prop_from` on, a hoist above
    `hoist_over`.

    Why
    ---
    A lintel passes loads to the jambs; a joint inside a bearing makes a loose corner.

    Source
    ------
    8 in: common practice for AAC.  4 in at least: 2006 IBC 2104.1.5 (a study card, read).  Settling, 60 min: Concrete Centre
    (read).  uk: NHBC Standards 2020, 6.1.12, table 5 (read); wac: WAC 246-359-440 (read).  Arching:
    NCMA TEK 17-01B (read).  Lengths only, no capacity.

    Example
    -------
    A 900 mm door, 500 mm from the outside of a corner, wall 200 mm: a 1500 mm lintel bears 299 and 301 mm.
    """

    code = "lintel_bearing"
    title = "Lintels and their bearings"
    Params = Params
    presets: ClassVar[Mapping[str, Mapping[str, Any]]] = {
        "us": {"bearing": inches(8), "least": inches(4)},
        "ibc": {"bearing": inches(4), "least": inches(4)},
        "wac": {"bearing": inches(20), "least": inches(20)},
        "uk": {"bearing": 150 * MM, "short_span": 1200 * MM, "short_bearing": 100 * MM, "least": 100 * MM},
    }

    def demand(self, run: Run, courses: Courses) -> Iterable[Sentence]:
        """Say the beds at the heads, and for each lintel a choice of places."""
        for one in assumed.bridgings(run, courses, self.params):
            yield Bed(level=one.head - one.lift, yields=_BED_YIELDS, why="a lintel wants a bed under it")
            if one.small:
                at = courses.at(one.head)
                least = self.params.least
                why = "one unit spans a small opening"
                yield Window(course=at, lo=one.start - least, hi=one.end + least, yields=_SMALL_YIELDS, why=why)
            elif one.places:
                keys = ", ".join(o.key for o in one.openings)
                alternatives = tuple(tuple(self._laid(run, courses, one, place)) for place in one.places)
                yield Choice(name=f"lintel over {keys}", alternatives=alternatives, why=self.title)

    def _laid(self, run: Run, courses: Courses, one: Bridging, place: lintels.Place) -> Iterator[Window | Fixed | Phase | Item]:
        head, top = one.head, one.head + place.unit.height
        course, last = courses.at(head), courses.at(top - 1)
        yield Fixed(
            course=course,
            courses=last - course + 1,
            lo=place.lo,
            hi=place.hi,
            unit=place.unit.code,
            bottom=head,
            opening=tuple(o.key for o in one.openings),
            bearing=min(one.left, one.right),
            why=self.title,
        )
        below = courses.at(head - courses.joint - 1)
        bearings = [(place.lo, one.start, 0), (one.end, place.hi, 0)]
        bearings += [(a.end, b.start, _PIER_YIELDS) for a, b in zip(one.openings, one.openings[1:], strict=False) if a.end < b.start]
        for lo, hi, yields in sorted(bearings):
            yield Window(course=below, lo=lo, hi=hi, yields=yields, why="no joint inside a bearing")
        yield from lintel_notes.props(run, courses, one, self.params)
        for zone in one.zones:
            yield from self._at_corner(run, courses, zone, one, place, (below, course, last))

    def _at_corner(
        self,
        run: Run,
        courses: Courses,
        zone: lintels.Zone,
        one: Bridging,
        place: lintels.Place,
        at: tuple[int, int, int],
    ) -> Iterator[Phase | Item]:
        """Which run passes where the lintel or its bearing reaches into a corner; a tie where this run passes twice running."""
        junction, band = zone
        below, course, last = at
        reaches = junction not in one.past and lintels.reaches(band, one, place)  # at a corner that its opening takes the other stands
        passing: set[int] = set()
        gap = max(place.lo - band[1], band[0] - place.hi)
        if gap < 0 or 0 < gap < run.catalogue.least_piece:  # beside a shorter gap no piece could be laid if the other run passed
            passing.update(range(course, last + 1))
        elif gap == 0:
            for number in range(course, last + 1):
                yield Phase(corner=junction.corner, course=number, passes=junction.other, why="the lintel butts against the other run")
        if reaches:
            passing.add(below)
        for number in sorted(passing):
            yield Phase(corner=junction.corner, course=number, passes=run.name, why="the lintel leaves the other run no room here")
        if reaches:
            yield Item(
                kind="tie",
                run=run.name,
                start=band[0],
                end=band[1],
                bottom=one.head - courses.joint,
                top=one.head,
                size=band[1] - band[0],
                course=below,
                corner=junction.corner,
                rule=self.code,
            )

    def precede(self, work: Work) -> Iterable[Precedence]:
        """A lintel is set when what it bears on has settled; props are taken away when the run stands and has set."""
        yield from lintel_notes.settled(work, self.params, self.code)
        yield from lintel_notes.precedences(work, self.params, self.code)

    def measure(self, work: Work) -> Iterable[Amount]:
        """One lift for each lintel that is heavier than `hoist_over`."""
        return lintel_notes.lifts(work, self.params, self.code)

    def findings(self, work: Work) -> Iterable[Finding]:
        """Tell small and unbridged openings, short bearings, lintels at corners, and heads off course."""
        any_lintel = False
        stocked = []
        for run in sorted(work.runs.values(), key=lambda r: r.name):
            courses = work.courses.get(run.name)
            if courses is None or not len(courses):
                continue
            for one in assumed.bridgings(run, courses, self.params):
                any_lintel |= bool(one.places)
                if not (one.small or one.problem or one.assumed):
                    stocked.append((run, one, self._place(run, one)))
                yield from self._of(run, courses, one)
        if any_lintel:
            said = "Lintels are chosen by length alone, not by what they carry: their supplier and the engineer confirm each"
            if not self.params.prop_from:
                said += "; whether they are propped until what stands on them has set is theirs to say too"
            yield Finding(code="lintel.capacity", severity="note", text=said, rules=(self.code,))
        yield from lintel_notes.arching(stocked, self.params, self.code)
        yield from lintel_notes.told(work, self.params, self.code)

    def _of(self, run: Run, courses: Courses, one: Bridging) -> Iterator[Finding]:
        system = run.catalogue.system
        width = text(one.end - one.start, system)
        named = " and ".join(o.name or o.key for o in one.openings)
        if one.small or one.places:
            yield from self._off_course(run, courses, one, named)
        if one.small:
            said = f"Opening {named} is only {width} wide: a whole unit spans it, without a lintel"
            yield self._finding(run, one, "small", "note", said, width, text(self.params.least_width, system))
            return
        if one.problem:
            yield self._unbridged(run, one, named, width)
            return
        yield from lintel_notes.corner_openings(run, one, named, self._place(run, one), self.code)
        if one.assumed:
            yield self._assumed(run, one, named, width)
            yield from self._corners(run, one, named)
            return
        if one.openings[1:]:
            pier = text(min(b.start - a.end for a, b in zip(one.openings, one.openings[1:], strict=False)), system)
            full = text(one.full, system)
            said = f"One lintel spans openings {named}: the pier between them is {pier}, too short for two bearings of {full}"
            yield self._finding(run, one, "common", "note", said, pier, text(2 * one.full + run.catalogue.head_joint.nominal, system))
        if min(one.left, one.right) < one.full:
            shortest, full = text(min(one.left, one.right), system), text(one.full, system)
            others = _beside(run, one)
            pier = text(2 * one.full + run.catalogue.head_joint.nominal, system)
            said = (
                f"Openings {named} and {others} stand too near for two bearings of {full}: the lintel bears {shortest} there, and no stock "
                f"lintel spans both (longest {text(one.longest, system)}). Leave a pier of {pier}, or have one beam made over both"
            )
            yield self._finding(run, one, "too-near", "warning", said, shortest, full)
        yield from self._corners(run, one, named)

    def _corners(self, run: Run, one: Bridging, named: str) -> Iterator[Finding]:
        for junction, band in one.zones:
            if junction not in one.past and all(lintels.reaches(band, one, place) for place in one.places):
                yield self._beside_corner(run, one, junction, named)

    def _assumed(self, run: Run, one: Bridging, named: str, width: str) -> Finding:
        system = run.catalogue.system
        shortest, full = min(one.left, one.right), text(one.full, system)
        short = min(p.unit.height for p in one.places) < run.unit.height
        why = {
            "none": "no lintel is stocked in this thickness",
            "too-long": f"the longest in stock is {text(one.longest, system)}",
            "too-near": "the openings stand too near for a lintel each",
            "no-bearing": "the wall ends too near",
            "no-room": "the wall ends less than a course above its head",
            "no-place": "no stock length leaves a piece beside it that can be laid",
        }[one.assumed]
        said = (
            f"{'Openings' if one.openings[1:] else 'Opening'} {named}, {width} wide, {'get' if one.openings[1:] else 'gets'} a lintel "
            f"that nobody stocks ({why}): one made to measure is assumed, {text(run.thickness, system)} thick"
            + (f" and lower than a course ({text(one.places[0].unit.height, system)})" if short else "")
            + (f", that bears only {text(shortest, system)} ({full} is asked)" if shortest < one.full else "")
            + ". Have it designed, then order it or cast it on site"
        )
        measured = text(shortest, system) if shortest < one.full else width
        told = self._finding(run, one, "assumed", "warning", said, measured, full if shortest < one.full else "")
        return replace(told, cause=one.assumed)

    def _unbridged(self, run: Run, one: Bridging, named: str, width: str) -> Finding:
        system = run.catalogue.system
        need = one.end - one.start + one.left + one.right
        full, asked, longest = text(one.full, system), text(need, system), text(one.longest, system)
        room = text(max(0, min(one.start - one.limits[0], one.limits[1] - one.end)), system)
        pier = text(2 * one.full + run.catalogue.head_joint.nominal, system)
        said = {
            "none": f"catalogue {run.catalogue.code} has no lintel {text(run.thickness, system)} thick; add one, or have it designed",
            "too-long": f"width and bearings need a lintel of {asked}, the longest in stock is {longest}; have a beam designed, or make "
            "the opening narrower",
            "too-near": f"beside {_beside(run, one)} each lintel would bear less than {text(self.params.least, system)}; leave a pier "
            f"of {pier}, or have one beam made over both",
            "no-bearing": f"there is room for a bearing of only {room} beside it, {full} is asked; move the opening, or have its "
            "support designed",
            "no-room": f"a lintel {text(one.height, system)} high does not fit between its head and the top of the wall; lower the head, "
            "raise the wall, or have a beam designed",
            "no-place": "no stock length leaves a piece beside it that can be laid; move the opening, or add a stock length",
        }[one.problem]
        measured, wanted = {
            "too-long": (longest, asked),
            "no-bearing": (room, full),
            "too-near": (text(min(one.left, one.right), system), full),
        }.get(one.problem, (width, ""))
        whole = f"{'Openings' if one.openings[1:] else 'Opening'} {named}, {width} wide, gets no lintel: {said}"
        return self._finding(run, one, one.problem, "warning", whole, measured, wanted)

    def _off_course(self, run: Run, courses: Courses, one: Bridging, named: str) -> Iterator[Finding]:
        system = run.catalogue.system
        course = courses.levels[courses.at(one.head) - 1]
        pitch = course.top - course.bottom + courses.joint
        under = one.head - course.bottom
        if under in (0, pitch):
            return
        low, high = text(one.head - under, system), text(one.head - under + pitch, system)
        said = (
            f"The head of {named} at {text(one.head, system)} is off course: the nearest bearing lines are {low} "
            f"(-{text(under, system)}) and {high} (+{text(pitch - under, system)}). It is laid as drawn, "
            "on ripped units; heads in the job file moves it"
        )
        yield self._finding(run, one, "head-off-course", "note", said, text(one.head, system), f"{low} or {high}")

    def _beside_corner(self, run: Run, one: Bridging, junction: Junction, named: str) -> Finding:
        """No place is clear of the corner: a jamb so near that the joint of the butting run would lie in the bearing, mostly."""
        system = run.catalogue.system
        half, joint = junction.thickness // 2, run.catalogue.head_joint.nominal
        after = junction.station <= one.start
        outer = one.start - junction.station + half if after else junction.station + half - one.end
        wanted = junction.thickness + joint + (one.left if after else one.right)
        grid = MM if system == "mm" else INCH // 16
        move = text(-(-(wanted - outer) // grid) * grid, system)
        shown, clean = text(outer, system), text(wanted, system)
        advice = (
            f"Move it {move} away from the corner ({clean} from that face)"
            if outer < wanted
            else "Add a stock length that ends clear of it"
        )
        said = (
            f"Opening {named} stands {shown} from the far face of run {junction.other} at corner {junction.corner}, and its lintel's "
            f"bearing reaches into the corner: run {run.name} passes there in two courses one on the other, and a tie joins "
            f"run {junction.other}. {advice} for a clean bond"
        )
        return self._finding(run, one, "beside-corner", "warning", said, shown, clean, junction.corner)

    def _finding(
        self, run: Run, one: Bridging, what: str, severity: Severity, said: str, measured: str, wanted: str, corner: str = ""
    ) -> Finding:
        place = self._place(run, one, corner)
        return Finding(
            code=f"lintel.{what}", severity=severity, text=said, place=place, measured=measured, wanted=wanted, rules=(self.code,)
        )

    def _place(self, run: Run, one: Bridging, corner: str = "") -> Place:
        first, at = one.openings[0], one.start
        return Place(
            wall=first.wall, run=run.name, storey=run.storey, corner=corner, opening=first.key, start=at, end=one.end, level=one.head
        )


def _beside(run: Run, one: Bridging) -> str:
    """Names of the openings of one head whose piers limit this lintel."""
    near = [
        o.name or o.key
        for o in run.openings
        if o not in one.openings and o.through and (0 <= one.start - o.end < 2 * one.full or 0 <= o.start - one.end < 2 * one.full + MM)
    ]
    return " and ".join(near) or "its neighbour"

"""Rule movement_joints."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any, ClassVar

from wallquant.findings import Finding, Place, Source
from wallquant.layout import Courses, Run, Work
from wallquant.rules import Amount, Choice, Fixed, Item, ParamInfo, Rule, Sentence, param
from wallquant.units import FOOT, MM, Nm, inches, text
from wallquant_thinbed import joint_places
from wallquant_thinbed.joint_places import Places

KIND = "movement joint"
TIE = "sliding tie"
TIES = "sliding ties"
_METRE = 1000 * MM


@dataclass(frozen=True, kw_only=True)
class Params:
    """Parameters of movement_joints."""

    spacing: Nm = param(
        0,
        ParamInfo(
            kind="length",
            text="Greatest distance between joints; 0: the engineer gave none, and no joint is placed unless per_height is set",
            source=Source(basis="project", text="engineer's value, or a preset"),
            least=0,
            most=60000 * MM,
        ),
    )
    per_height: float = param(
        0.0,
        ParamInfo(
            kind="number",
            text="Greatest distance between joints as a multiple of the wall's height; 0: not asked.  The lesser of both counts",
            source=Source(basis="read", text="NCMA TEK 10-2B: 1.5 times the height (for concrete masonry)"),
            unit="times the height",
            least=0,
            most=10,
        ),
    )
    width: Nm = param(
        10 * MM,
        ParamInfo(
            kind="length",
            text="Width of a joint",
            source=Source(basis="read", text="NHBC Good Craftsmanship Guide 2002: 10 mm in concrete block"),
            least=3 * MM,
            most=50 * MM,
        ),
    )
    near_corner: float = param(
        0.5,
        ParamInfo(
            kind="number",
            text="The joint next to a corner is within this share of the distance",
            source=Source(basis="read", text="NCMA TEK 10-2B and NHBC Good Craftsmanship Guide 2002: half"),
            unit="share",
            least=0.1,
            most=1,
        ),
    )
    wide: Nm = param(
        6 * FOOT,
        ParamInfo(
            kind="length",
            text="An opening wider than this has a joint on both sides",
            source=Source(basis="read", text="NCMA TEK 10-2B: both sides over 6 ft"),
            least=0,
            most=20000 * MM,
        ),
    )
    off_jambs: Nm = param(
        600 * MM,
        ParamInfo(
            kind="length",
            text="No joint is nearer to a jamb, so that none lies in the bearing of a lintel",
            source=Source(basis="project", text="a unit beside the jamb"),
            least=0,
            most=3000 * MM,
        ),
    )
    off_corners: Nm = param(
        600 * MM,
        ParamInfo(
            kind="length",
            text="No joint is nearer to the face of a wall that meets this one",
            source=Source(basis="project", text="a unit beside the corner"),
            least=0,
            most=3000 * MM,
        ),
    )
    note_over: Nm = param(
        6000 * MM,
        ParamInfo(
            kind="length",
            text="While no distance is given, a run longer than this is told",
            source=Source(basis="read", text="NHBC Good Craftsmanship Guide 2002: 6 m in concrete block"),
            least=0,
            most=60000 * MM,
        ),
    )
    ties: int = param(
        2,
        ParamInfo(
            kind="count",
            text="A sliding tie across the joint in every so many beds; 0: none",
            source=Source(basis="project", text="every second bed"),
            unit="beds",
            least=0,
            most=12,
        ),
    )
    tie_length: Nm = param(
        300 * MM,
        ParamInfo(
            kind="length",
            text="Length of a sliding tie, half of it on either side",
            source=Source(basis="project"),
            least=50 * MM,
            most=2000 * MM,
        ),
    )
    tie_minutes: float = param(
        1.0,
        ParamInfo(
            kind="number",
            text="Work of one mason to lay a sliding tie into the bed",
            source=Source(basis="project"),
            unit="minutes",
            least=0,
            most=60,
        ),
    )
    minutes: float = param(
        4.0,
        ParamInfo(
            kind="number",
            text="Work of one mason for filler and sealant",
            source=Source(basis="project"),
            unit="minutes per metre of joint",
            least=0,
            most=120,
        ),
    )


class MovementJoints(Rule):
    """Long walls are parted by straight movement joints, at the distance that the engineer or a code set gives.

    What it asks
    ------------
    Nothing until a distance is given.  Then in each longer run: straight joints of `width` through all courses, as few and as even as
    can be; the first within `near_corner` of the distance from a corner; one at each step of the top, and on both sides of
    openings wider than `wide`.  None lies over an opening, nearer to a jamb than `off_jambs` or to
    another wall than `off_corners`.  Where there is room the engine chooses the place with fewest cuts.  In
    every `ties`-th bed is a sliding tie; filler and sealant on both faces come last.

    Why
    ---
    Masonry shrinks and moves; where no joint lets it, it cracks at its weakest place.

    Source
    ------
    Presets, read: ncma, 1.5 times the height and at most 25 ft (NCMA TEK 10-2B, with horizontal steel); ncma_4in, at most 20 ft (TEK
    10-02D notice of 2019); us_army, 20 ft (masonry course EN5157: 20 to 25 ft); nhbc, 6 m (Good Craftsmanship Guide 2002, concrete
    block).  From memory: en, 6 m for AAC (EN 1996-2, 2.3.4.2).  3/8 in is common practice, no source.  The engineer decides.

    Example
    -------
    Preset ncma: walls 8, 10, 12 and 20 ft high have joints at most 12, 15, 18 and 25 ft apart.
    """

    code = "movement_joints"
    title = "Movement joints"
    Params = Params
    presets: ClassVar[Mapping[str, Mapping[str, Any]]] = {
        "ncma": {"spacing": 25 * FOOT, "per_height": 1.5, "width": inches("3/8")},
        "ncma_4in": {"spacing": 20 * FOOT, "per_height": 1.5, "width": inches("3/8")},
        "us_army": {"spacing": 20 * FOOT, "width": inches("3/8")},
        "nhbc": {"spacing": 6000 * MM, "width": 10 * MM},
        "en": {"spacing": 6000 * MM, "width": 10 * MM},
    }

    def demand(self, run: Run, courses: Courses) -> Iterable[Sentence]:
        """Say a choice of places for each joint, with its ties."""
        for n, stations in enumerate(self._places(run, courses).joints, start=1):
            alternatives = tuple(tuple(self._joint(run, courses, at)) for at in stations)
            yield Choice(name=f"movement joint {n} of {run.name}", alternatives=alternatives, why=self.title)

    def measure(self, work: Work) -> Iterable[Amount]:
        """Filler and sealant of each joint; its ties are items, and counted as such."""
        for item in self._laid(work):
            high = (item.top - item.bottom) / _METRE
            width = text(self.params.width, work.catalogue.system)
            yield Amount(item=f"joint filler {width}", quantity=high, unit="m", where=item.run)
            yield Amount(item=f"joint sealant {width}", quantity=2 * high, unit="m", where=item.run)

    def findings(self, work: Work) -> Iterable[Finding]:
        """Tell what is placed, what keeps no distance, what crosses a joint; or that a value is needed."""
        if not self.params.spacing and not self.params.per_height:
            yield from self._unset(work)
            return
        laid = list(self._laid(work))
        for run in sorted(work.runs.values(), key=lambda r: (len(r.name), r.name)):
            yield from self._told(work, run, [i for i in laid if i.run == run.name])
        yield from self._crossed(work, laid)

    def _joint(self, run: Run, courses: Courses, at: Nm) -> Iterator[Fixed | Item]:
        hi, last = at + self.params.width, courses.levels[-1]
        yield Fixed(course=1, courses=len(courses), lo=at, hi=hi, offset=False, why=self.title)
        bottom, top = run.bottom, max(joint_places.top_at(run, at), joint_places.top_at(run, hi))
        wide = text(self.params.width, run.catalogue.system)
        yield Item(
            kind=KIND,
            run=run.name,
            start=at,
            end=hi,
            bottom=bottom,
            top=top,
            size=self.params.width,
            course=last.number,
            task=KIND,
            seconds=round(self.params.minutes * 60 * (top - bottom) / _METRE),
            text=f"Movement joint at {text(at, run.catalogue.system)} in {run.name}: {wide} wide from the slab to the top, no mortar in it;"
            " filler, and sealant when it is dry",
        )
        every, half = self.params.ties, self.params.tie_length // 2
        for course in list(courses)[every - 1 : len(courses) - 1 : every] if every else ():
            if course.top < top:
                yield Item(
                    kind=TIE,
                    run=run.name,
                    start=at - half,
                    end=hi + half,
                    bottom=course.top,
                    top=course.top + courses.joint,
                    size=self.params.tie_length,
                    course=course.number,
                    task=TIES,
                    seconds=round(self.params.tie_minutes * 60),
                    text=f"A sliding tie into the bed over course {course.number} of {run.name}, across the movement joint at "
                    f"{text(at, run.catalogue.system)}",
                )

    def _places(self, run: Run, courses: Courses) -> Places:
        return joint_places.places(run, courses, self.params)

    def _laid(self, work: Work) -> Iterator[Item]:
        for one in work.items:
            if isinstance(one, Item) and one.kind == KIND and one.rule in ("", self.code):
                yield one

    def _unset(self, work: Work) -> Iterator[Finding]:
        system = work.catalogue.system
        long = sorted((-run.length, len(run.name), run.name) for run in work.runs.values() if run.length > self.params.note_over)
        if long:
            names = sorted((name for _, _, name in long), key=lambda n: (len(n), n))
            yield Finding(
                code="movement_joints.value-needed",
                severity="note",
                text=f"No movement joints are placed: the engineer's value is needed. {_listed(names)} longer than "
                f"{text(self.params.note_over, system)}, the longest {text(-long[0][0], system)}. Set {self.code}.spacing, or one of its "
                f"presets ({', '.join(sorted(self.presets))})",
                rules=(self.code,),
            )

    def _told(self, work: Work, run: Run, laid: list[Item]) -> Iterator[Finding]:
        system, courses = work.catalogue.system, work.courses[run.name]
        places, limit = self._places(run, courses), joint_places.limit(run, self.params)
        place = Place(run=run.name, storey=run.storey)
        if laid:
            at = ", ".join(text(i.start, system) for i in sorted(laid, key=lambda i: i.start))
            count = f"{len(laid)} movement {'joint' if len(laid) == 1 else 'joints'}"
            yield Finding(
                code="movement_joints.placed",
                severity="note",
                text=f"Run {run.name} has {count} of {text(self.params.width, system)}, "
                f"at most {text(limit, system)} apart, at {at}: the engineer confirms places, ties and what they do to stability",
                place=place,
                rules=(self.code,),
            )
        if places.far:
            yield Finding(
                code="movement_joints.too-far",
                severity="warning",
                text=f"In run {run.name} openings and corners leave no place for a movement joint: {text(places.far, system)} are without "
                f"one, {text(places.allowed, system)} is asked. Let the engineer detail one at a jamb, or set {self.code}.off_jambs lower",
                place=place,
                measured=text(places.far, system),
                wanted=text(places.allowed, system),
                rules=(self.code,),
            )
        for what in places.missed:
            yield Finding(
                code="movement_joints.no-place",
                severity="warning",
                text=f"In run {run.name} a movement joint is asked {what}, and there is no place for it: the engineer decides",
                place=place,
                rules=(self.code,),
            )

    def _crossed(self, work: Work, laid: list[Item]) -> Iterator[Finding]:
        """Tell what passes a joint that it must not pass: lintels, and bars along the wall."""
        pieces = work.pieces
        for joint in laid:
            at = pieces.runs.index(joint.run) if joint.run in pieces.runs else -1
            rows = ((pieces.run == at) & (pieces.start < joint.end) & (pieces.end > joint.start)).nonzero()[0].tolist()
            bars = [
                i
                for i in work.items
                if isinstance(i, Item) and i.kind == "bar" and i.run == joint.run and i.start < joint.start and i.end > joint.end
            ]
            if rows or bars:
                names = [*(pieces.names[row] for row in rows), *(["the bars of a bond beam"] if bars else [])]
                yield Finding(
                    code="movement_joints.crossed",
                    severity="warning",
                    text=f"{', '.join(names)} {'passes' if len(names) == 1 and not bars else 'pass'} the movement joint at "
                    f"{text(joint.start, work.catalogue.system)} of run {joint.run}: it needs the engineer's detail (bars do not pass a "
                    f"control joint unless drawn so, UFGS 04200, 3.10). Move the joint by {self.code}.off_jambs, or let the bars end there",
                    place=Place(run=joint.run, start=joint.start, end=joint.end),
                    rules=(self.code,),
                )


def _listed(names: list[str]) -> str:
    shown = ", ".join(names[:6]) + (f" and {len(names) - 6} more" if len(names) > 6 else "")
    return f"{'Run' if len(names) == 1 else 'Runs'} {shown} {'is' if len(names) == 1 else 'are'}"

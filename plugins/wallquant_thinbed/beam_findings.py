"""What of bond beams is worth telling: that none is asked for, or what of those placed needs a decision."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Protocol

import numpy as np

from wallquant.findings import Finding, Place, Severity
from wallquant.layout import Bridge, Courses, Run, Work
from wallquant.rules import Item
from wallquant.units import MM, Nm, text
from wallquant_thinbed import beams
from wallquant_thinbed.beams import Beam


class Asked(beams.Asked, Protocol):
    """The parameters of the rule that this module reads."""

    @property
    def bars(self) -> int: ...
    @property
    def bar_size(self) -> Nm: ...


def findings(work: Work, asked: Asked, rule: str) -> Iterator[Finding]:
    """Yield all of them."""
    if not beams.asked_for(asked):
        said = (
            "No bond beams are placed. Whether there are any, at which levels, and with what steel, is the engineer's value: "
            "engineer's value "
            "needed; then set top, levels or spacing of bond_beams in the job"
        )
        yield _finding(rule, "engineer", "note", said)
        return
    runs = sorted(work.runs.values(), key=lambda r: int(r.name[1:]))
    without = sorted({r.unit.thickness for r in runs if beams.wanted(r, asked) and beams.u_unit(r, r.unit.thickness) is None})
    if without:
        listed = ", ".join(text(t, work.catalogue.system) for t in without)
        said = (
            f"Catalogue {work.catalogue.code} has no U unit with a trough wide enough for grout for walls {listed} thick: "
            "no bond beams are placed in them; add a series of kind U to the catalogue, or have the beams cast"
        )
        yield _finding(rule, "no-unit", "warning", said)
    filled = {(i.run, i.course) for i in work.items if isinstance(i, Item) and i.kind == "trough fill" and i.rule == rule}
    placed: list[tuple[Run, Beam]] = []
    for run in runs:
        courses = work.courses.get(run.name)
        if courses is not None and len(courses) and run.unit.thickness not in without:
            yield from _levels(run, courses, asked, rule)
            here = beams.beams(run, courses, asked)
            placed += [(run, beam) for beam in here]
            for beam in here:
                yield from _crossed(work, run, beam, rule)
                yield from _alone(run, courses, beam, asked, filled, rule)
    if placed:
        system = work.catalogue.system
        said = (
            f"Bond beams are placed where the job asks for them, with {asked.bars} bars of {text(asked.bar_size, system)}: "
            "lengths and places "
            "only, not what they carry; steel, laps, cover, straps and anchors are for the engineer to confirm. Bars run on "
            "round corners and "
            "not through movement joints unless the drawings say so; nothing is laid on a beam, and no prop is taken, before "
            "its grout has set"
        )
        yield _finding(rule, "capacity", "note", said)


def _levels(run: Run, courses: Courses, asked: Asked, rule: str) -> Iterator[Finding]:
    """Beams that find no course, or one at another level; and slopes, along which there is none."""
    system, fit = run.catalogue.system, run.catalogue.fit.top
    for one in beams.wanted(run, asked):
        course, level = beams.course_at(run, courses, one), text(one.level, system)
        if course is None:
            near = min((c for c in courses.levels), key=lambda c: (abs(c.top - one.level), c.number))
            said = (
                f"{run.name} gets no bond beam at its top at {level}: no whole course ends there, and none can be made by a rip below it; "
                f"the nearest course ends at {text(near.top, system)}. Move the top by "
                f"{text(abs(near.top - one.level), system)}, or have the "
                "beam designed"
            )
            yield _finding(
                rule, "no-course", "warning", said, run, one.lo, one.hi, one.level, measured=level, wanted=text(near.top, system)
            )
        elif not one.on_top and not fit.holds(drawn=one.level, laid=course.top):
            laid = text(course.top, system)
            said = f"{run.name}: the bond beam asked for at {level} ends at {laid}, where its nearest course ends; have the engineer agree"
            yield _finding(rule, "moved", "note", said, run, one.lo, one.hi, course.top, measured=laid, wanted=level)
    if asked.top and beams.wanted(run, asked) and (slopes := list(beams.raked(run.top))):
        said = f"{run.name}: no bond beam is placed along the slope of its top; have the engineer detail it"
        yield _finding(rule, "slope", "note", said, run, slopes[0][0], slopes[-1][1])


def _crossed(work: Work, run: Run, beam: Beam, rule: str) -> Iterator[Finding]:
    """Openings that interrupt a beam, lintels that lie in its course, and beams that bear over an opening like a lintel."""
    system, course = run.catalogue.system, beam.course
    names = {o.key: o.name or o.key for o in run.openings}
    for bridge in work.bridges:
        if bridge.run != run.name or not bridge.through or bridge.start >= beam.hi or bridge.end <= beam.lo:
            continue
        named, level = names.get(bridge.opening, bridge.opening), text(course.top, system)
        place = (run, bridge.start, bridge.end, course.top)
        if bridge.sill < course.top and bridge.head > course.bottom:
            said = (
                f"Opening {named} interrupts the bond beam of {run.name} at {level}: its trough is closed at both jambs and "
                "its bars end there; "
                "have the engineer say how they are carried past it"
            )
            yield _finding(rule, "opening", "warning", said, *place, opening=bridge.opening)
        elif bridge.lintel and _in_course(work, run, bridge, beam):
            said = (
                f"The lintel over {named}, or what is ripped over it, lies in the course of the bond beam of {run.name} at {level} "
                "and interrupts it: bars and grout end at the lintel; raise the beam or lower the "
                "opening by a course, or have the engineer detail both"
            )
            yield _finding(rule, "lintel", "warning", said, *place, opening=bridge.opening)
        elif bridge.bridged == "units" and abs(bridge.head - course.bottom) <= MM:
            said = (
                f"The bond beam of {run.name} at {level} bears over opening {named} like a lintel: keep its U units propped "
                "until the grout has its "
                "strength, and have the engineer confirm beam and bearings"
            )
            yield _finding(rule, "as-lintel", "warning", said, *place, opening=bridge.opening)


def _in_course(work: Work, run: Run, bridge: Bridge, beam: Beam) -> bool:
    """Whether anything but U units lies in a beam's course over an opening: its lintel, or what is ripped over that."""
    p = work.pieces
    there = (p.run == p.runs.index(run.name)) & (p.start < bridge.end) & (p.end > bridge.start)
    there &= (p.bottom < beam.course.top) & (p.top > beam.course.bottom)
    return any(p.units[at].code != beam.unit.code for at in np.unique(p.unit[there]).tolist())


def _alone(run: Run, courses: Courses, beam: Beam, asked: Asked, filled: set[tuple[str, int]], rule: str) -> Iterator[Finding]:
    """Corners where a flange would be opened although the other run has no beam there."""
    for met in beams.meetings(run, courses, beam, asked):
        if met.flanges and (met.junction.other, beam.course.number) not in filled:
            at, corner = met.junction.station, met.junction.corner
            said = (
                f"{run.name} has a bond beam at {text(beam.course.top, run.catalogue.system)} and {met.junction.other}, which "
                "it meets at corner "
                f"{corner}, has none there: leave the flange whole, and have the engineer say how the beam ends"
            )
            yield _finding(rule, "alone", "warning", said, run, at, at, beam.course.top, corner=corner)


def _finding(
    rule: str,
    what: str,
    severity: Severity,
    said: str,
    run: Run | None = None,
    lo: Nm | None = None,
    hi: Nm | None = None,
    level: Nm | None = None,
    *,
    corner: str = "",
    opening: str = "",
    measured: str = "",
    wanted: str = "",
    rules: Sequence[str] = (),
) -> Finding:
    place = Place(run=run.name, storey=run.storey, start=lo, end=hi, level=level, corner=corner, opening=opening) if run else Place()
    return Finding(
        code=f"bond_beams.{what}", severity=severity, text=said, place=place, measured=measured, wanted=wanted, rules=(rule, *rules)
    )

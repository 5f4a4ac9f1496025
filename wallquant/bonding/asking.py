"""From rules' sentences to problems: every run is asked, and what is said of it loses its names."""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from wallquant.bonding.bridging import bridged, carried, raised, unbridged
from wallquant.bonding.cells import Block, Levels, level
from wallquant.bonding.coursing import Fitted, chosen, courses, fitted
from wallquant.bonding.mitres import askew
from wallquant.bonding.problem import Ask, Group, Meets, Must, Problem, Put
from wallquant.bonding.span import Bonded
from wallquant.building import Profile
from wallquant.catalogue import Catalogue
from wallquant.layout import TIED, Junction, Run
from wallquant.masonry import Unit
from wallquant.rules import Bed, Choice, Fixed, Item, Lead, Phase, Rule, RuleError, Sentence, Use, Window
from wallquant.units import MM, Nm, mm_text


@dataclass(frozen=True, kw_only=True, slots=True)
class Extras:
    """What sentences bring that does not move a joint: other units, items, leads."""

    uses: tuple[Use, ...]
    items: tuple[Item, ...]
    leads: tuple[Lead, ...]


@dataclass(frozen=True, kw_only=True)
class Asked:
    """A run with all that rules said of it."""

    fitted: Fitted
    problem: Problem
    tied: frozenset[str]
    """Corners that a rule ties."""
    uses: tuple[Use, ...]
    items: tuple[Item, ...]
    leads: tuple[Lead, ...]
    choice_names: tuple[tuple[str, str], ...]
    """Rule and name of each choice."""
    choice_extras: tuple[tuple[Extras, ...], ...]
    """For each choice and alternative, what it brings besides windows, fixed pieces and phases."""
    offset_rules: tuple[str, ...]
    """For each course the rule whose offset won ('' for none)."""

    def extras(self, picks: Sequence[int]) -> Extras:
        """Return the uses, items and leads asked in any case and by the picked alternatives."""
        chosen = [c[p] for c, p in zip(self.choice_extras, picks, strict=True)]
        return Extras(
            uses=(*self.uses, *(u for e in chosen for u in e.uses)),
            items=(*self.items, *(i for e in chosen for i in e.items)),
            leads=(*self.leads, *(d for e in chosen for d in e.leads)),
        )


def ask(
    run: Run,
    rules: Sequence[Rule],
    heads: Mapping[str, Nm],
    sills: Mapping[str, Nm],
    bondable: frozenset[str],
    left: frozenset[str] = frozenset(),
    held: Sequence[Nm] = (),
    beds: Mapping[Nm, int] | None = None,
) -> Asked:
    """Ask all rules about a run: first what beds they want with nominal courses, then everything else.

    Parameters
    ----------
    run : Run
    rules : sequence of Rule
        In order of code.
    heads, sills : mapping of opening key to level
        What the job chose instead of the drawn level.
    bondable : frozenset of str
        Corners whose runs can pass in turn.
    left : frozenset of str
        Keys of openings whose fixed pieces cannot be laid: choices that bridge them are not heard.
    held : sequence of int
        Levels of beds that are laid where they are wanted.
    beds : mapping of level to yields, optional
        What beds the rules want, where that is known already.
    """
    run = chosen(run, heads, sills)
    levels = courses(run, held)
    if beds is None:
        beds = {s.level: s.yields for rule in rules for s in rule.demand(run, courses(run)) if isinstance(s, Bed)}
    fit = fitted(run, levels, beds)
    seen = replace(run, openings=fit.openings, top=fit.top)
    spoken = [(rule.code, s) for rule in rules for s in rule.demand(seen, levels) if not (isinstance(s, Choice) and left & bridged(s))]
    _check_units(run, spoken)
    _check_straight(run, spoken)
    offsets, offset_rules = _offsets(rules, fit)
    catalogue = run.catalogue
    base, choices, names = _groups(seen, fit, spoken)
    tied = frozenset(s.corner for _, s in spoken if isinstance(s, Phase) and s.passes == TIED)
    gaps, support = unbridged(fit, spoken, left)
    support += carried(replace(fit, run=seen), tied)
    base = replace(base, asks=tuple(sorted({*base.asks, *support}, key=lambda a: (a.course, a.lo, a.hi, a.of, a.yields, a.rule))))
    problem = Problem(
        how=bonded(catalogue, run.unit),
        levels=Levels(
            bed=levels.bed,
            height=run.unit.height,
            joint=levels.joint,
            count=len(levels),
            least_rip=catalogue.least_rip,
            low=tuple((c.number, c.top - c.bottom) for c in levels.levels if c.top - c.bottom != run.unit.height),
        ),
        top=_extended(run, tuple((s, z - run.bottom) for s, z in fit.top)),
        holes=holes(fit, gaps | raised(fit, spoken)),
        meets=tuple(
            replace(meets(run, j), bonded=j.corner in bondable and j.corner not in tied, askew=askew(run, j, max(offsets)))
            for j in run.junctions
        ),
        base=base,
        choices=choices,
        offsets=offsets,
        slack=(catalogue.fit.free_end.minus, catalogue.fit.free_end.plus),
    )
    always = _extras(spoken)
    return Asked(
        fitted=replace(fit, run=seen),
        problem=problem,
        tied=tied,
        uses=always.uses,
        items=always.items,
        leads=always.leads,
        choice_names=names,
        choice_extras=tuple(
            tuple(_extras([(code, one) for one in a]) for a in s.alternatives)
            for code, s in spoken
            if isinstance(s, Choice) and s.alternatives
        ),
        offset_rules=offset_rules,
    )


def _check_units(run: Run, spoken: Iterable[tuple[str, Sentence]]) -> None:
    """Refuse a unit that the catalogue does not have, over a stretch one of another face (joints are solved for one), and fixed pieces
    or straight joints longer than a unit is.
    """
    for code, s in spoken:
        if isinstance(s, Choice):
            _check_units(run, [(code, one) for a in s.alternatives for one in a])
        elif isinstance(s, Use | Window | Fixed) and s.unit:
            try:
                unit = run.catalogue.unit(s.unit)
            except ValueError as error:
                raise RuleError(f"rule {code} asks for a unit in run {run.name}, but {error}", code) from error
            if not isinstance(s, Fixed) and (unit.length, unit.height) != (run.unit.length, run.unit.height):
                face = " x ".join(mm_text(size) for size in (run.unit.length, run.unit.height))
                said = f"rule {code} asks for {s.unit} in run {run.name}, whose units are {face} mm; ask for one of that face"
                raise RuleError(said, code)
        if isinstance(s, Fixed):
            most = run.catalogue.unit(s.unit).length if s.unit else run.unit.length
            if not 0 < s.hi - s.lo <= most:
                what = f"a piece of unit {s.unit}" if s.unit else "a straight joint"
                said = f"rule {code} places {what} {mm_text(s.hi - s.lo)} mm long in run {run.name}, course {s.course}"
                raise RuleError(f"{said}; it can be longer than 0 and up to {mm_text(most)} mm", code)


def _check_straight(run: Run, spoken: Iterable[tuple[str, Sentence]]) -> None:
    """Refuse straight joints of one rule between which the least piece does not fit."""
    joints = sorted((code, s.course, s.lo, s.hi) for code, s in spoken if isinstance(s, Fixed) and not s.unit)
    least = run.catalogue.least_actual
    for (code, course, _, hi), (other, same, lo, _) in itertools.pairwise(joints):
        if (code, course) == (other, same) and lo - hi < least:
            said = f"rule {code} places straight joints {mm_text(max(0, lo - hi))} mm apart in run {run.name}, course {course}"
            raise RuleError(f"{said}; the least piece between them is {mm_text(least)} mm", code)


def _extras(spoken: Sequence[tuple[str, Sentence]]) -> Extras:
    alone = [s for _, s in spoken]
    return Extras(
        uses=tuple(s for s in alone if isinstance(s, Use))
        + tuple(Use(course=s.course, lo=s.lo, hi=s.hi, unit=s.unit) for s in alone if isinstance(s, Window) and s.unit),
        items=tuple(replace(s, rule=code) for code, s in spoken if isinstance(s, Item)),
        leads=tuple(s for s in alone if isinstance(s, Lead)),
    )


def _extended(run: Run, top: Profile) -> Profile:
    """Carry the slope of a raked top on past both ends: a run that passes at a corner goes on under the same roof."""
    reach = max(j.thickness for j in run.junctions)
    start, end = run.junctions[0], run.junctions[-1]
    mirrored = tuple((-s, z) for s, z in reversed(top))
    first = _beyond(mirrored, reach, start.top - run.bottom if start.other else None)
    last = _beyond(top, reach, end.top - run.bottom if end.other else None)
    return (*((-s, z) for s, z in reversed(first)), *top, *last)


def _beyond(top: Profile, reach: Nm, other: Nm | None) -> Profile:
    """Carry a slope on past the last point, not lower than the other run stands there."""
    (c, r), (d, t) = top[-2], top[-1]
    if r == t or c == d:
        return ()
    low, z = t + round((t - r) * reach / (d - c)), min(t, other) if other is not None else None
    if z is None or low >= z:
        return ((d + reach, low),)
    return ((d + (z - t) * (d - c) // (t - r), z), (d + reach, z)) if z < t else ((d + reach, z),)


def bonded(catalogue: Catalogue, unit: Unit) -> Bonded:
    """Return the lengths that a run of this unit is bonded with."""
    joint = catalogue.head_joint
    return Bonded(unit=unit.length, joint=joint.nominal, least=catalogue.least_actual, joint_least=joint.least, joint_most=joint.most)


def holes(fit: Fitted, heads: Mapping[str, Nm]) -> tuple[Block, ...]:
    """Return the openings of a run as rectangles relative to its underside.

    One that reaches the top goes on above it; one in `heads` goes up to that level, since nothing carries what lies below it.
    """
    run = fit.run
    out: list[Block] = []
    for o in fit.openings:
        if o.through:
            head = heads.get(o.key, o.head)
            highest = max((z for s, z in fit.top if o.start <= s <= o.end), default=head)
            highest = max(highest, level(fit.top, o.start, 1), level(fit.top, o.end, -1))
            out.append(
                Block(
                    lo=o.start,
                    hi=o.end,
                    bottom=max(0, o.sill - run.bottom),
                    top=max(head, highest if head >= highest - MM else head) - run.bottom,
                )
            )
    return tuple(out)


def meets(run: Run, junction: Junction) -> Meets:
    """Return a junction as the solver needs it.

    At a loose corner the run that goes first ends as drawn, and the others stop where their whole thickness is clear of it.
    """
    if junction.kind == "end":
        return Meets(station=junction.station, half=0, role=junction.role)
    if junction.plane is not None:
        return Meets(station=junction.plane.station, half=max(junction.plane.reach, abs(junction.plane.lean)), role=junction.role)
    if not junction.loose:
        return Meets(station=junction.station, half=junction.thickness // 2, role=junction.role)
    # half must not be 0 where it ends, which says that the end is free and has a fit
    if junction.taken is None:
        if junction.role == "through":
            return Meets(station=junction.station, half=0, role=junction.role)
        drawn = run.parts[0].start if junction.role == "start" else run.parts[-1].end
        inwards = 1 if junction.role == "start" else -1  # what goes first begins there, what does not leaves a joint from there
        return Meets(station=drawn + (inwards if junction.goes_first else -inwards), half=1, role=junction.role)
    lo, hi = junction.taken
    if junction.role == "through":
        return Meets(station=(lo + hi) // 2, half=max(1, (hi - lo + 1) // 2), role=junction.role)
    return Meets(station=hi - 1 if junction.role == "start" else lo + 1, half=1, role=junction.role)


def _offsets(rules: Iterable[Rule], fit: Fitted) -> tuple[tuple[Nm, ...], tuple[str, ...]]:
    """Return the greatest offset that any rule asks of each course against the one below, and that rule's code."""
    out: list[Nm] = [0]
    by: list[str] = [""]
    levels = fit.courses.levels
    for lower, upper in itertools.pairwise(levels):
        most, code = 0, ""
        for rule in rules:
            value = rule.offset(upper, lower)
            if value > most:
                most, code = value, rule.code
        out.append(most)
        by.append(code)
    return tuple(out), tuple(by)


def _groups(
    run: Run, fit: Fitted, spoken: Sequence[tuple[str, Sentence]]
) -> tuple[Group, tuple[tuple[Group, ...], ...], tuple[tuple[str, str], ...]]:
    place = {j.corner: n for n, j in enumerate(run.junctions)}
    opening = {o.key: n for n, o in enumerate(o for o in fit.openings if o.through)}
    base = _group([(c, s) for c, s in spoken if not isinstance(s, Choice)], run, fit, place, opening)
    choices: list[tuple[Group, ...]] = []
    names: list[tuple[str, str]] = []
    for code, s in spoken:
        if isinstance(s, Choice) and s.alternatives:
            choices.append(tuple(_group([(code, one) for one in a], run, fit, place, opening) for a in s.alternatives))
            names.append((code, s.name))
    return base, tuple(choices), tuple(names)


def _group(sentences: Iterable[tuple[str, Sentence]], run: Run, fit: Fitted, place: Mapping[str, int], opening: Mapping[str, int]) -> Group:
    asks: list[Ask] = []
    puts: list[Put] = []
    musts: list[Must] = []
    levels = fit.courses.levels
    for code, s in sentences:
        if isinstance(s, Window) and 1 <= s.course <= len(levels) and s.lo < s.hi:
            asks.append(Ask(course=s.course, lo=s.lo, hi=s.hi, of=s.of, yields=s.yields, rule=code))
        elif isinstance(s, Fixed) and 1 <= s.course <= len(levels):
            course = levels[s.course - 1]
            bottom = (course.bottom if s.bottom is None else s.bottom) - run.bottom
            if s.unit:
                top = bottom + run.catalogue.unit(s.unit).height
            else:
                top = levels[min(len(levels), s.course + s.courses - 1) - 1].top - run.bottom
            puts.append(
                Put(
                    lo=s.lo, hi=s.hi, bottom=bottom, top=top, unit=s.unit,
                    opening=tuple(opening[k] for k in s.opening if k in opening), bearing=s.bearing, rule=code,
                )
            )  # fmt: skip
        elif isinstance(s, Phase) and s.passes != TIED and s.corner in place:
            musts.append(Must(junction=place[s.corner], course=s.course, passes=s.passes == run.name))
    return Group(
        asks=tuple(sorted(asks, key=lambda a: (a.course, a.lo, a.hi, a.of, a.yields, a.rule))),
        puts=tuple(sorted(puts, key=lambda p: (p.bottom, p.lo, p.hi, p.unit))),
        musts=tuple(sorted(musts, key=lambda m: (m.junction, m.course, m.passes))),
    )

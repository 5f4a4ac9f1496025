"""Conflicts: fixed pieces of two runs that want the same place at a corner; those of the run that does not pass are left out."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from wallquant.bonding.asking import Asked
from wallquant.bonding.corners import Pattern
from wallquant.bonding.problem import Ask, Group, groups, musts_of
from wallquant.bonding.puts import hits, parted
from wallquant.bonding.solving import Solved
from wallquant.findings import Finding, Place
from wallquant.layout import Corner


@dataclass(frozen=True, kw_only=True, slots=True)
class LeftOut:
    """The fixed pieces over these openings (keys) of a run cannot be laid, since another run passes at the corner."""

    run: str
    other: str
    corner: str
    openings: tuple[str, ...]
    rule: str
    other_rule: str


def left_out(
    asked: Mapping[str, Asked], solved: Mapping[str, Solved], patterns: Mapping[str, Pattern], corners: Mapping[str, Corner]
) -> Iterator[LeftOut]:
    """Yield what cannot be laid: where nothing is laid that could bear it, and where both runs of a corner must pass in a course.

    Of the two runs the one that does not pass gives way.
    """
    for name, one in asked.items():
        through = [o.key for o in one.fitted.openings if o.through]
        every = [p for g in groups(one.problem, solved[name].picks) for p in g.puts]
        for choice, pick, (rule, _) in zip(one.problem.choices, solved[name].picks, one.choice_names, strict=True):
            if any(p.unit and (hits(one.problem, p) or parted(one.problem, p, every)) for p in choice[pick].puts):
                openings = tuple(sorted({through[k] for p in choice[pick].puts for k in p.opening}))
                yield LeftOut(run=name, other="", corner="", openings=openings, rule=rule, other_rule="engine")
        puts = [p for p in every if p.unit]
        for ask, openings in _bridging(one):
            top, bottom = one.problem.levels.top(ask.course), one.problem.levels.bottom(ask.course) - one.problem.levels.joint
            beside = [p for p in puts if p.lo < ask.hi and p.hi > ask.lo and p.bottom < top and p.top > bottom]
            if beside:
                yield LeftOut(run=name, other="", corner="", openings=openings, rule="engine", other_rule=beside[0].rule)
    for name, found in patterns.items():
        runs = corners[name].runs
        for loser, winner in (runs, runs[::-1]) if found.conflicts else ():
            courses = tuple(k for k in found.conflicts if found.passes[k - 1] == winner)
            held = _forcing(asked[winner], solved[winner], name, courses)
            for rule, openings in _forcing(asked[loser], solved[loser], name, courses):
                other = held[0][0] if held else "engine"
                yield LeftOut(run=loser, other=winner, corner=name, openings=openings, rule=rule, other_rule=other)


def _forcing(one: Asked, done: Solved, corner: str, courses: tuple[int, ...]) -> list[tuple[str, tuple[str, ...]]]:
    """Return rule and openings of each picked alternative that forces the run to pass at the corner in one of these courses.

    So does a unit that bridges a small opening by itself; it is the engine's.
    """
    at = next(n for n, j in enumerate(one.fitted.run.junctions) if j.corner == corner)
    through = [o.key for o in one.fitted.openings if o.through]
    out: list[tuple[str, tuple[str, ...]]] = []
    for choice, pick, (rule, _) in zip(one.problem.choices, done.picks, one.choice_names, strict=True):
        forced, said = musts_of(one.problem, choice[pick], holes=False)
        openings = tuple(sorted({through[k] for p in choice[pick].puts for k in p.opening}))
        if openings and any({**said, **forced}.get((at, k)) for k in courses):
            out.append((rule, openings))
    for ask, openings in _bridging(one):
        forced, _ = musts_of(one.problem, Group(asks=(ask,)), holes=False)
        if any(forced.get((at, k)) for k in courses):
            out.append(("engine", openings))
    return out


def _bridging(one: Asked) -> Iterator[tuple[Ask, tuple[str, ...]]]:
    """Yield the windows of units that bridge small openings by themselves, with the openings under each."""
    for ask in one.problem.base.asks:
        if ask.rule == "engine" and ask.of == "joint":
            under = tuple(o.key for o in one.fitted.openings if o.through and ask.lo < o.start and o.end < ask.hi)
            if under:
                yield ask, under


def told(one: LeftOut, asked: Mapping[str, Asked]) -> Finding:
    """Return the sentence for what was left out."""
    run = asked[one.run].fitted.run
    names = " and ".join(o.name or o.key for o in run.openings if o.key in one.openings)
    if not one.corner:
        return Finding(
            code="bond.left-out",
            severity="warning",
            text=f"{one.run}: what bridges {names} finds no masonry to bear on beside it; it is left out, and the masonry above is set "
            "aside. Move the openings apart, or have the support designed.",
            place=Place(run=one.run, storey=run.storey, opening=one.openings[0]),
            rules=tuple(sorted({one.rule, one.other_rule})),
        )
    return Finding(
        code="bond.left-out",
        severity="warning",
        text=f"At corner {one.corner} the bearings over openings of {one.other} and {one.run} want the same place: what bridges {names} "
        f"in {one.run} is left out and the masonry above it set aside. Move one of the openings away from the corner, or turn one lintel "
        "round it as the engineer says.",
        place=Place(run=one.run, corner=one.corner, storey=run.storey, opening=one.openings[0]),
        rules=tuple(sorted({one.rule, one.other_rule})),
    )

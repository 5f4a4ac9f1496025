"""Corners in height: which run passes in which course, for a given parity, and what rules and openings force."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from wallquant.bonding.asking import Asked
from wallquant.bonding.cells import level
from wallquant.bonding.coursing import Fitted
from wallquant.bonding.problem import Passes
from wallquant.layout import Corner
from wallquant.units import MM, Nm

Forced = Mapping[str, Mapping[str, tuple[bool | None, ...]]]
"""Corner to run to, for each course, whether that run must pass."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Pattern:
    """Who passes at a corner in each course from 1; `broken` counts courses whose run passes twice in a row though both stand.

    `conflicts`: courses in which both runs must pass, and the first does.
    """

    passes: tuple[str, ...]
    broken: tuple[int, ...]
    conflicts: tuple[int, ...]
    own: Mapping[str, tuple[bool, ...]] = field(default_factory=dict)
    """Where the corner is not bonded: for each run, course by course of its own, whether it goes on there."""


def pattern(corner: Corner, parity: int | None, asked: Mapping[str, Asked], forced: Forced) -> Pattern:
    """Return the passing run of each course.

    Where the corner cannot bond (parity None) its first run always passes.  Else the runs pass in turn where both stand to the
    same height in a course; where one is lower there, the taller passes.  After a course in which a run was forced to pass they
    go on in turn from there, so that a forced course makes one tie and not two.  At a mitre "passing" is having the longer leg;
    the runs have it in turn, whatever stands beyond.
    """
    names = corner.runs
    if parity is None or len(names) != 2:
        count = max(len(asked[n].fitted.courses) for n in names)
        return Pattern(passes=(names[0],) * count, broken=(), conflicts=(), own=_unbonded(corner, asked))
    one, two = names
    a, b = asked[one], asked[two]
    count = max(len(a.fitted.courses), len(b.fitted.courses))
    if corner.kind == "angled":  # a mitre: the longer leg changes sides in every course, whatever stands beyond
        return Pattern(passes=tuple(names[(k + parity) % 2] for k in range(count)), broken=(), conflicts=())
    stand = [_standing(corner, asked[n], count) for n in names]
    through = [next(j for j in asked[n].fitted.run.junctions if j.corner == corner.name).role == "through" for n in names]
    passes: list[str] = []
    broken: list[int] = []
    conflicts: list[int] = []
    for k in range(count):
        high = stand[0][k], stand[1][k]
        must = [_must(forced, corner.name, n, k) for n in names]
        before = [_must(forced, corner.name, n, k - 1) if k else None for n in names]
        if high[0] is None or high[1] is None:
            # a hole lies where they meet: the through run keeps the place; a lone end turns the corner
            if (must[0] is True) != (must[1] is True):
                passes.append(one if must[0] is True else two)
            else:
                passes.append(one if (high[1] is None and not through[1]) or through[0] else two)
        elif high[0] > high[1] + MM:
            passes.append(one)
        elif high[1] > high[0] + MM:
            passes.append(two)
        elif max(high[0], high[1]) == 0 and through[0] != through[1]:
            passes.append(one if through[0] else two)  # over a low stem, under a slope: what stands beside the corner goes on
        elif (lost := _lost(must, before, names, passes)) is not None:
            # what could not pass in the course below would stand on nothing
            passes.append(names[1 - lost])
            conflicts.append(k + 1)
        elif must[0] is True and must[1] is True:
            # a fixed piece that lies in the corner cannot make way
            passes.append(two if _fixed_there(corner, b, k) and not _fixed_there(corner, a, k) else one)
            conflicts.append(k + 1)
        elif must[0] is True or must[1] is False:
            passes.append(one)
        elif must[1] is True or must[0] is False:
            passes.append(two)
        elif k and stand[0][k - 1] is not None and stand[0][k - 1] == stand[1][k - 1]:
            passes.append(two if passes[k - 1] == one else one)
        else:
            passes.append(names[(k + parity) % 2])
        both = high[0] is not None and high[1] is not None and min(high[0], high[1]) > 0
        if k and both and passes[k] == passes[k - 1] and stand[0][k - 1] == stand[1][k - 1]:
            broken.append(k + 1)
    return Pattern(passes=tuple(passes), broken=tuple(broken), conflicts=tuple(conflicts))


def _unbonded(corner: Corner, asked: Mapping[str, Asked]) -> dict[str, tuple[bool, ...]]:
    """Return who goes on where nothing bonds, course by course: the first run, and what goes over it where it is low.

    A through run goes on in courses in which none before it stands; at a plain corner so does one that ends there, and where both have
    their courses in common also beside a step of the first one's top, if it stands higher there by what can be laid.  At a loose
    corner those that end there stop where they are clear of the first, whatever stands there.
    """
    fits = [asked[name].fitted for name in corner.runs]
    met = [next(j for j in fit.run.junctions if j.corner == corner.name) for fit in fits]
    plain = len(fits) == 2 and not any(j.loose or j.plane for j in met)
    out: dict[str, list[bool]] = {}
    for n, name in enumerate(corner.runs):
        row = []
        for c in fits[n].courses.levels:
            ends = met[n].role != "through"
            held = (ends and not plain) or any(_stands(corner, fit, c.bottom, c.top, wide=ends) for fit in fits[:n])
            row.append(n == 0 or not held)
        out[name] = row
    lines = [[(c.bottom, c.top) for c in fit.courses.levels] for fit in fits]
    if plain and all(one == other for one, other in zip(*lines, strict=False)):
        count = max(map(len, lines))
        first, second = (_standing(corner, asked[name], count) for name in corner.runs)
        least = asked[corner.runs[0]].problem.levels.least_rip
        for k, (low, high) in enumerate(zip(first, second, strict=True)):
            if low is not None and high is not None and high >= low + least:
                for name, on in zip(corner.runs, (False, True), strict=True):
                    out[name][k : k + 1] = [on] * (k < len(out[name]))
    return {name: tuple(row) for name, row in out.items()}


def _stands(corner: Corner, other: Fitted, bottom: Nm, top: Nm, *, wide: bool = False) -> bool:
    """Say whether a run stands between two levels at its station of a corner, or with `wide` anywhere in it, as under a slope."""
    junction = next(j for j in other.run.junctions if j.corner == corner.name)
    half = junction.thickness // 2 if wide else 0
    ends = ((junction.station - half, 1), (junction.station + half, -1), (junction.station, 1), (junction.station, -1))
    inside = (z for s, z in other.top if abs(s - junction.station) < half)
    highest = max(*(level(other.top, s, side) for s, side in ends), *inside)
    return other.run.bottom < top - MM and highest > bottom + MM


def _lost(must: Sequence[bool | None], before: Sequence[bool | None], names: Sequence[str], passes: Sequence[str]) -> int | None:
    """Return which of the two runs must pass and had to in the course below, where it did not."""
    return next((n for n in (0, 1) if must[n] is True and before[n] is True and passes[-1] != names[n]), None)


def _fixed_there(corner: Corner, asked: Asked, k: int) -> bool:
    """Say whether a fixed piece, or an alternative of one, can lie in the corner in a course."""
    meets = next(m for j, m in zip(asked.fitted.run.junctions, asked.problem.meets, strict=True) if j.corner == corner.name)
    bottom, top = asked.problem.levels.bottom(k + 1), asked.problem.levels.top(k + 1)
    return any(
        p.unit and p.lo < meets.station + meets.half and p.hi > meets.station - meets.half and p.bottom < top and p.top > bottom
        for g in (asked.problem.base, *(g for c in asked.problem.choices for g in c))
        for p in g.puts
    )


def _must(forced: Forced, corner: str, run: str, k: int) -> bool | None:
    row = forced.get(corner, {}).get(run, ())
    return row[k] if k < len(row) else None


def _standing(corner: Corner, asked: Asked, count: int) -> list[Nm | None]:
    """Return for each course how high the run stands in it at the corner (0: not at all, None: a hole lies there)."""
    fit = asked.fitted
    junction = next(j for j in fit.run.junctions if j.corner == corner.name)
    side = {"start": 1, "end": -1, "through": 1}[junction.role]
    roof = asked.problem.top  # goes on past the run's drawn ends
    top = fit.run.bottom + level(roof, junction.station, side)
    if junction.role == "through":
        top = fit.run.bottom + min(level(roof, junction.station, at) for at in (-1, 1))
    half = junction.thickness // 2
    lo, hi = junction.station - half, junction.station + half
    top = min([top, *(z for s, z in fit.top[1:-1] if lo < s < hi)])  # where its drawn top dips within the corner it ends
    least = asked.problem.how.least
    near = [o for o in asked.problem.holes if o.lo < hi and o.hi > lo]
    out: list[Nm | None] = []
    for k in range(count):
        if k >= len(fit.courses.levels):
            out.append(0)
            continue
        course = fit.courses.levels[k]
        floor, ceiling = course.bottom - fit.run.bottom, course.top - fit.run.bottom
        holes = [o for o in near if o.bottom < ceiling and o.top > floor]
        if junction.role == "start":
            hole = any(o.lo - lo < least for o in holes)
        elif junction.role == "end":
            hole = any(hi - o.hi < least for o in holes)
        else:
            hole = bool(holes)
        over = top - course.top - asked.problem.levels.joint
        if 0 < over < asked.problem.levels.least_rip:
            # what is left above is lower than the least rip, so that both courses share their height: this one ends half way up
            out.append(None if hole else (top - course.bottom - asked.problem.levels.joint) // 2)
            continue
        out.append(None if hole else max(0, min(top, course.top) - course.bottom))
    return out


def passes_of(name: str, asked: Asked, patterns: Mapping[str, Pattern]) -> Passes:
    """Return, for each junction and course of a run, whether it passes."""
    out: list[tuple[bool, ...]] = []
    for junction, meets in zip(asked.fitted.run.junctions, asked.problem.meets, strict=True):
        count = len(asked.fitted.courses)
        if not meets.half:
            out.append((True,) * count)
        elif name in patterns[junction.corner].own:
            out.append(patterns[junction.corner].own[name])
        else:
            found = patterns[junction.corner].passes
            out.append(tuple((found[k] if k < len(found) else name) == name for k in range(count)))
    return tuple(out)


def tied(corner: Corner, asked: Mapping[str, Asked]) -> bool:
    """Say whether a rule ties the corner."""
    return any(corner.name in asked[n].tied for n in corner.runs)


def free_shift(problem_slack: tuple[Nm, Nm], candidates: Sequence[Nm]) -> list[Nm]:
    """Return the shifts of a free end worth trying: none, and those that close a length without a cut, within the fit."""
    minus, plus = problem_slack
    return sorted({0, *(c for c in candidates if -minus <= c <= plus)}, key=lambda c: (abs(c), c))

"""Levels: the courses of each run, and what of sills, heads and tops is moved to them within the fit.

All runs of one connected part with one underside share their course lines, so that they can bond.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from wallquant.building import Profile
from wallquant.layout import Course, Courses, Run, RunOpening
from wallquant.masonry import Fit
from wallquant.units import Nm


@dataclass(frozen=True, kw_only=True, slots=True)
class Fitted:
    """A run as laid in height: its openings and top profile with sills, heads and flat tops on course where the fit allows."""

    run: Run
    courses: Courses
    openings: tuple[RunOpening, ...]
    top: Profile


def chosen(run: Run, heads: Mapping[str, Nm], sills: Mapping[str, Nm]) -> Run:
    """Return a run with the heads and sills that the job chose instead of the drawn ones."""
    return replace(run, openings=tuple(replace(o, head=heads.get(o.key, o.head), sill=sills.get(o.key, o.sill)) for o in run.openings))


def courses(run: Run, held: Sequence[Nm] = ()) -> Courses:
    """Return the courses of a run with nominal joints: the first on the nominal levelling bed, the last reaching its highest top.

    Parameters
    ----------
    run : Run
    held : sequence of int
        Levels of beds that are laid where they are wanted, as `heights` takes them: what is ripped for them are the courses under them.
    """
    catalogue = run.catalogue
    bed, joint, height = catalogue.levelling_bed.nominal, catalogue.bed.nominal, run.unit.height
    low = heights(bed=bed, joint=joint, height=height, rip=catalogue.least_rip, held=[z - run.bottom for z in held]) or {}
    # the lowest number of courses that ends within the fit of the highest top, or above it
    reach = max(z for _, z in run.top) - catalogue.fit.top.minus
    levels: list[Course] = []
    floor = run.bottom + bed
    while not levels or levels[-1].top < reach:
        tall = low.get(len(levels) + 1, height)
        levels.append(Course(run=run, number=len(levels) + 1, bottom=floor, top=floor + tall))
        floor += tall + joint
    return Courses(levels=tuple(levels), bed=bed, joint=joint)


def heights(*, bed: Nm, joint: Nm, height: Nm, rip: Nm, held: Iterable[Nm]) -> dict[int, Nm] | None:
    """Return the courses that are ripped so that a course begins at each held level, and their heights; None where that cannot be.

    A course that would be lower than the least rip shares its height with the one below.  A course that begins at a held level stays
    whole: the rip lies below it.  Levels are above the run's underside.
    """
    low: dict[int, Nm] = {}
    course, floor, whole = 1, bed, 0
    for level in sorted(held):
        if level < floor:
            return None
        steps = (level - floor) // (height + joint)
        course, floor = course + steps, floor + steps * (height + joint)
        if floor < level:
            if course == whole:
                return None
            rest = level - joint - floor
            if rest >= rip:
                low[course] = rest
                course += 1
            elif course - 1 <= whole:
                return None
            else:
                low[course - 1] = (rest + height) // 2
                low[course] = rest + height - low[course - 1]
                course += 1
        floor, whole = level, course
    return low


def fitted(run: Run, levels: Courses, beds: Mapping[Nm, int]) -> Fitted:
    """Move sills, heads and flat tops to the nearest course within the fit; what is out of reach stays as drawn.

    Parameters
    ----------
    run : Run
        As drawn.
    levels : Courses
        Its course lines.
    beds : mapping of level to yields
        Beds that rules want (heads on a bearing line); a head that no rule wants on a bed is not moved.
    """
    fit = run.catalogue.fit
    bottoms = [c.bottom for c in levels.levels]
    tops = [c.top for c in levels.levels]
    floor = run.bottom + levels.bed
    moved: list[RunOpening] = []
    for one in run.openings:
        sill = run.bottom if one.sill <= floor else _near(one.sill, tops, fit.sill)
        head = _near(one.head, bottoms, fit.head) if one.head in beds else one.head
        moved.append(replace(one, sill=sill, head=head) if sill < head else one)
    return Fitted(run=run, courses=levels, openings=tuple(moved), top=_top(run.top, tops, fit.top))


def _near(level: Nm, lines: Sequence[Nm], fit: Fit) -> Nm:
    """Return the line nearest to a level within the fit, the lower of two, or the level."""
    within = [z for z in lines if -fit.minus <= z - level <= fit.plus]
    return min(within, key=lambda z: (abs(z - level), z), default=level)


def _top(top: Profile, tops: Sequence[Nm], fit: Fit) -> Profile:
    """Move flat stretches of the top; where a raked one went on from a flat one, they meet where its slope is at the new level."""
    parts = [(a, p, b, q) for (a, p), (b, q) in itertools.pairwise(top) if a < b]
    laid = [(a, _near(p, tops, fit), b, _near(q, tops, fit)) if p == q else (a, p, b, q) for a, p, b, q in parts]
    out: list[tuple[Nm, Nm]] = [laid[0][:2]]
    for n in range(len(parts) - 1):
        one, two = laid[n], laid[n + 1]
        met = _meeting(one, two) if parts[n][2:] == parts[n + 1][:2] and one[3] != two[1] else None
        out += [met] if met else [one[2:], two[:2]]
    out.append(laid[-1][2:])
    return tuple(p for k, p in enumerate(out) if k == 0 or p != out[k - 1])


def _meeting(one: tuple[Nm, Nm, Nm, Nm], two: tuple[Nm, Nm, Nm, Nm]) -> tuple[Nm, Nm] | None:
    """Return where a flat stretch and a raked one meet, if that lies within the two."""
    flat, (a, p, b, q) = (one, two) if one[1] == one[3] else (two, one)
    if p == q or flat[1] != flat[3]:
        return None
    at = a + round((flat[1] - p) * (b - a) / (q - p))
    return (at, flat[1]) if one[0] < at < two[2] else None

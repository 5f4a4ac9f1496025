"""Levels: the courses of each run, and what of sills, heads and tops is moved to them within the fit.

All runs of one connected part with one underside share their course lines, so that they can bond.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
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


def courses(run: Run) -> Courses:
    """Return the courses of a run with nominal joints: the first on the nominal levelling bed, the last reaching its highest top."""
    catalogue, unit = run.catalogue, run.unit
    bed, joint = catalogue.levelling_bed.nominal, catalogue.bed.nominal
    pitch = unit.height + joint
    # the lowest number of courses that ends within the fit of the highest top, or above it
    reach = max(z for _, z in run.top) - catalogue.fit.top.minus - run.bottom - bed + joint
    count = max(1, -(-reach // pitch))
    levels = tuple(
        Course(run=run, number=k + 1, bottom=run.bottom + bed + k * pitch, top=run.bottom + bed + k * pitch + unit.height)
        for k in range(count)
    )
    return Courses(levels=levels, bed=bed, joint=joint)


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
    """Move flat stretches of the top; a raked stretch keeps its drawn ends."""
    out: list[tuple[Nm, Nm]] = []
    for (a, p), (b, q) in zip(top, top[1:], strict=False):
        if a == b:
            continue
        level = _near(p, tops, fit) if p == q else None
        out += [(a, p if level is None else level), (b, q if level is None else level)]
    return tuple(p for k, p in enumerate(out) if k == 0 or p != out[k - 1])

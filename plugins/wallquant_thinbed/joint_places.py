"""Where movement joints may stand in a run: few, even, and clear of openings and corners.  Used by rule movement_joints."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Protocol

from wallquant.layout import Courses, Run
from wallquant.units import MM, Nm, text

_MODULES = 6
"""Places lie on sixths of a unit and its joint: both a third and a half of a unit, the usual offsets, are on them."""
_ALTERNATIVES = 4
_LEAST_UNITS = 2
"""Two joints are no nearer to each other than this many units: a shorter panel is no wall."""


class Wanted(Protocol):
    """The parameters of movement_joints that places depend on."""

    spacing: Nm
    per_height: float
    width: Nm
    near_corner: float
    wide: Nm
    off_jambs: Nm
    off_corners: Nm


@dataclass(frozen=True, kw_only=True, slots=True)
class Places:
    """What was found for one run.

    `joints`: for each joint its stations (the left face of the joint), the best first; every combination keeps the distance.
    `far`: the longest panel that is longer than `allowed`, 0 where none is.  `missed`: where a joint is asked and has no place.
    """

    joints: tuple[tuple[Nm, ...], ...] = ()
    far: Nm = 0
    allowed: Nm = 0
    missed: tuple[str, ...] = ()


def limit(run: Run, params: Wanted) -> Nm:
    """Return the greatest distance between joints in a run: the lesser of what is given; 0 where nothing is."""
    high = max((level for _, level in run.top), default=run.bottom) - run.bottom
    given = [length for length in (params.spacing, round(params.per_height * high)) if length > 0]
    return min(given, default=0)


def top_at(run: Run, station: Nm) -> Nm:
    """Return the level of the run's drawn top at a station, the higher one at a step; flat beyond its ends."""
    levels = [p + (q - p) * (station - a) // (b - a) if b > a else max(p, q) for (a, p), (b, q) in pairwise(run.top) if a <= station <= b]
    ends = (run.top[0][1] if station < run.top[0][0] else run.top[-1][1]) if run.top else run.bottom
    return max(levels, default=ends)


def places(run: Run, courses: Courses, params: Wanted) -> Places:
    """Return the places of a run's movement joints: fewest that keep the distance, then the most even.

    Exact over the candidate stations: a shortest path whose cost is panels that are too long, joints, and the squares of panels.
    """
    most = limit(run, params)
    if not most or not len(courses):
        return Places()
    first, last = _ends(run)
    free = list(_allowed(run, params, first, last))
    must, missed = _asked(run, params, free)
    if last - first <= most and not must:
        return Places(allowed=most, missed=missed)
    corners = [j.kind != "end" for j in (run.first, run.last)]
    limits = (_near(most, params, corners[0]), most, _near(most, params, corners[1]))
    stations = sorted({*must, *_grid(run, params, first, last, free), *_farthest(limits, first, last, params.width, free)})
    picked = path(stations, set(must), first, last, params.width, limits, _LEAST_UNITS * run.unit.length)
    panels = _panels(picked, first, last, params.width)
    allowed = [limits[0], *[most] * (len(picked) - 1), limits[2]] if picked else [most]
    over = [(panel, want) for panel, want in zip(panels, allowed, strict=True) if panel > want]
    far, want = max(over, default=(0, most))
    slack = [max(0, want - panel) // 2 for panel, want in zip(panels, allowed, strict=True)]
    joints = []
    for n, at in enumerate(picked):
        room = 0 if at in must else min(slack[n], slack[n + 1])
        near = sorted((s for s in stations if abs(s - at) <= room), key=lambda s: (abs(s - at), s))
        joints.append(tuple(near[:_ALTERNATIVES]))
    return Places(joints=tuple(joints), far=far, allowed=want, missed=missed)


def _near(most: Nm, params: Wanted, corner: bool) -> Nm:
    return round(most * params.near_corner) if corner else most


def _ends(run: Run) -> tuple[Nm, Nm]:
    """Return the outer faces of a run as bonded: half the other run's thickness beyond the node of a corner."""
    return run.first.station - run.first.thickness // 2, run.last.station + run.last.thickness // 2


def _allowed(run: Run, params: Wanted, first: Nm, last: Nm) -> Iterator[tuple[Nm, Nm]]:
    """Return stretches in which the left face of a joint may stand, in order."""
    shut = [(o.start - params.off_jambs, o.end + params.off_jambs) for o in run.openings]
    shut += [
        (j.station - j.thickness // 2 - params.off_corners, j.station + j.thickness // 2 + params.off_corners)
        for j in run.junctions
        if j.kind != "end"
    ]
    ends = (first + run.unit.length, last - run.unit.length)
    at = ends[0]
    for lo, hi in sorted(shut):
        if lo - params.width >= at:
            yield at, min(lo, ends[1]) - params.width
        at = max(at, hi)
    if ends[1] - params.width >= at:
        yield at, ends[1] - params.width


def _asked(run: Run, params: Wanted, free: Sequence[tuple[Nm, Nm]]) -> tuple[tuple[Nm, ...], tuple[str, ...]]:
    """Return stations that must have a joint (steps of the top, wide openings), and those asked that have no place."""
    wanted: list[tuple[Nm, Nm, str]] = []  # station, how far a joint may be off it, what it is
    system, unit = run.catalogue.system, run.unit.length
    for (a, p), (b, q) in pairwise(run.top):
        if a == b and abs(p - q) >= run.unit.height:
            wanted.append((a if q < p else a - params.width, 2 * unit, f"at the step of its top at {text(a, system)}"))
    for o in run.openings:
        if o.width > params.wide:
            for at, side in ((o.start - params.off_jambs - params.width, "start"), (o.end + params.off_jambs, "end")):
                wanted.append((at, 2 * unit, f"beside the {side} of opening {o.name or o.key}"))
    must: list[Nm] = []
    missed: list[str] = []
    for at, reach, what in sorted(wanted):
        near = sorted((abs(s - at), s) for lo, hi in free for s in (min(max(at, lo), hi),))
        if not near or near[0][0] > reach:
            missed.append(what)
        elif not must or near[0][1] - must[-1] >= _LEAST_UNITS * unit:
            must.append(near[0][1])
    return tuple(must), tuple(missed)


def _grid(run: Run, params: Wanted, first: Nm, last: Nm, free: Sequence[tuple[Nm, Nm]]) -> Iterator[Nm]:
    """Return stations that leave whole modules from the start or from the end of the run, and the ends of each stretch."""
    joint = run.catalogue.head_joint.nominal
    step = max(MM, (run.unit.length + joint) // _MODULES)
    for lo, hi in free:
        yield from (lo, hi)
        left = first - joint
        yield from range(left + -(-(lo - left) // step) * step, hi + 1, step)
        right = last + joint - params.width
        yield from range(right - (right - lo) // step * step, hi + 1, step)


def _farthest(limits: tuple[Nm, Nm, Nm], first: Nm, last: Nm, width: Nm, free: Sequence[tuple[Nm, Nm]]) -> Iterator[Nm]:
    """Return the stations as far apart as is allowed, from both ends: with them no joint more is used than must be."""
    step = limits[1] + width
    for at in (*range(first + limits[0], last, step), *range(last - limits[2] - width, first, -step)):
        if any(lo <= at <= hi for lo, hi in free):
            yield at


def _panels(picked: Sequence[Nm], first: Nm, last: Nm, width: Nm) -> list[Nm]:
    return [end - start for start, end in zip((first, *(p + width for p in picked)), (*picked, last), strict=True)]


def path(stations: Sequence[Nm], must: set[Nm], first: Nm, last: Nm, width: Nm, limits: tuple[Nm, Nm, Nm], least: Nm) -> tuple[Nm, ...]:
    """Return the stations with least cost: (length that is too much, joints, unevenness), all that must be included.

    Unevenness is the sum of the squares of the panels, each over its own limit: it is least where all use the same share of it.
    """
    Cost = tuple[int, int, int]
    best: list[tuple[Cost, tuple[Nm, ...]]] = []
    done: tuple[Cost, tuple[Nm, ...]] | None = None

    def uneven(panel: Nm, most: Nm) -> int:
        return panel * panel // most

    last_must = max(must, default=None)
    for n, at in enumerate(stations):
        panel = at - first
        found: tuple[Cost, tuple[Nm, ...]] | None = None
        if not any(m < at for m in must):
            found = ((max(0, panel - limits[0]), 1, uneven(panel, limits[0])), (at,))
        for k in range(n - 1, -1, -1):
            before = stations[k]
            panel = at - before - width
            if panel > limits[1] and found is not None and not found[0][0]:
                break  # all before are too far, and one is not
            if panel >= least or (at in must and before in must):
                (over, count, square), way = best[k]
                cost = (over + max(0, panel - limits[1]), count + 1, square + uneven(panel, limits[1]))
                if way and (found is None or (cost, (*way, at)) < found):
                    found = (cost, (*way, at))
            if before in must:
                break
        best.append(found if found is not None else ((1 << 200, 0, 0), ()))
        if best[-1][1] and (last_must is None or at >= last_must):
            (over, count, square), way = best[-1]
            panel = last - at - width
            end = ((over + max(0, panel - limits[2]), count, square + uneven(panel, limits[2])), way)
            done = end if done is None or end < done else done
    alone = last - first
    none = ((max(0, alone - limits[1]), 0, 0), ())
    return none[1] if done is None or (not must and none <= done) else done[1]

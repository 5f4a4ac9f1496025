"""I4: joints of neighbouring courses keep the offset that was asked; where they do not, a finding names both rules."""

from __future__ import annotations

import re
from collections import defaultdict
from dataclasses import dataclass

import numpy as np
import shapely

from wallquant.audit.broken import broken, mm
from wallquant.audit.cells import Floats, Ints
from wallquant.audit.elevation import Elevation
from wallquant.audit.junctions import Junctions
from wallquant.audit.overlap import movement_joints
from wallquant.audit.read import MM, Plan, Told
from wallquant.findings import Finding


@dataclass(frozen=True, kw_only=True, slots=True)
class Centres:
    """Upright joints that count for bond: run, course, station of the centre (mm), levels, and the two pieces."""

    run: Ints
    course: Ints
    station: Floats
    low: Floats
    high: Floats
    pieces: Ints


def check(plan: Plan, view: Elevation) -> list[Finding]:
    """Return joints that are too near to a joint of the course below, and mitres that no finding names."""
    centres = _centres(plan, view)
    asked = _asked(plan)
    wanted = np.array([asked.get(key, 0.0) for key in zip(centres.run.tolist(), centres.course.tolist(), strict=True)])
    widest = float(wanted.max(initial=0.0))
    shift = centres.run * (float(np.ptp(centres.station)) + 2 * widest + 1e4 if centres.station.size else 0.0)
    bed = plan.header.bed.most
    below = shapely.box(centres.station + shift - widest, centres.high - MM, centres.station + shift + widest, centres.high + bed + MM)
    upper, lower = shapely.STRtree(below).query(shapely.points(centres.station + shift, centres.low))
    offset = np.abs(centres.station[upper] - centres.station[lower])
    mine, its = centres.pieces[upper], centres.pieces[lower]
    along = (mine[:, :, None] == its[:, None, :]).any(axis=(1, 2))  # both at one tall piece: one joint, not two
    order = np.flatnonzero((offset < wanted[upper] - MM) & ~along & (upper != lower))
    broken_at: dict[tuple[int, int], list[tuple[float, int, int]]] = defaultdict(list)
    for at in order.tolist():
        key = (int(centres.run[upper[at]]), int(centres.course[upper[at]]))
        broken_at[key].append((float(offset[at]), int(upper[at]), int(lower[at])))
    found = []
    names, p = plan.runs.name, plan.pieces
    courses: dict[int, list[int]] = defaultdict(list)
    for run, course in sorted(broken_at):
        courses[run].append(course)
    excused = _excused(plan, courses)
    for (run, course), rows in sorted(broken_at.items()):
        if (run, course) in excused:
            continue
        least, up, down = min(rows)
        one, other = (p.name[centres.pieces[at, 0]] for at in (up, down))
        text = (
            f"run {names[run]}, course {course}: the joint after {one} is {mm(least)} off the joint after {other} below it "
            f"({len(rows)} such joints), courses.csv asks {mm(asked[run, course])}, and no finding names the rules that gave way"
        )
        place: dict[str, str | int] = {"run": names[run], "course": course, "piece": one}
        found.append(broken("I4", text, measured=mm(least), wanted=f"at least {mm(asked[run, course])}", **place))
    for corner in plan.corners:
        if corner.kind == "angled" and corner.bonded and p.plan and not any(_names(told, corner.name) for told in plan.told):
            text = f"corner {corner.name} is mitred, its joint runs straight up, and no finding names it"
            found.append(broken("I4", text, corner=corner.name))
    return found


def _centres(plan: Plan, view: Elevation) -> Centres:
    j, p = view.joints, plan.pieces
    junctions = Junctions.of(plan)
    left, right = view.piece[j.left], view.piece[j.right]
    run = view.run[j.left]
    own_left, own_right = view.own[j.left], view.own[j.right]
    station = (view.end[j.left] + view.start[j.right]) / 2
    own_course = np.where(
        own_left & own_right, np.maximum(p.course[left], p.course[right]), np.where(own_left, p.course[left], p.course[right])
    )
    keep = np.ones(run.size, dtype=bool)
    for at in np.flatnonzero(~(own_left & own_right)).tolist():
        mine, other = (int(left[at]), int(right[at])) if own_left[at] else (int(right[at]), int(left[at]))
        keep[at] = not junctions.tied(mine, other, int(p.course[mine]))
    straight = movement_joints(plan)
    for at in np.flatnonzero(np.isin(run, sorted(straight))).tolist():
        rows = straight[int(run[at])]
        keep[at] &= not ((rows[:, 0] <= station[at]) & (station[at] <= rows[:, 1])).any()
    return Centres(
        run=run[keep],
        course=own_course[keep],
        station=station[keep],
        low=j.low[keep],
        high=j.high[keep],
        pieces=np.column_stack([left, right])[keep],
    )


def _asked(plan: Plan) -> dict[tuple[int, int], float]:
    """Least offset asked of each run and course against the one below, mm."""
    c = plan.courses
    index = {name: at for at, name in enumerate(plan.runs.name)}
    rows = zip(c.texts("run"), c.wholes("course").tolist(), c.numbers("offset_mm", blank=0.0).tolist(), strict=True)
    return {(index[run], course): offset for run, course, offset in rows if run in index and offset > 0}


def _excused(plan: Plan, courses: dict[int, list[int]]) -> set[tuple[int, int]]:
    """Runs and courses whose broken offsets a finding names with both rules.

    Equal findings are told once, with the first course and how often; such a one excuses that many courses of its run,
    upwards from the one that it names.
    """
    index = {name: at for at, name in enumerate(plan.runs.name)}
    found: set[tuple[int, int]] = set()
    for told in plan.told:
        run = index.get(told.run, -1)
        if run in courses and _names_both(told) and told.course is not None:
            above = [course for course in courses[run] if course >= told.course]
            found.update((run, course) for course in above[: max(told.times, 1)])
    return found


def _names(told: Told, corner: str) -> bool:
    """Whether a finding names a corner: as its place, or among others in its sentence."""
    return told.corner == corner or (told.code == "bond.mitre" and corner in re.findall(r"\w+", told.text))


def _names_both(told: Told) -> bool:
    return told.code == "bond.least-offset" and len(told.rules) >= 2

"""I4: pieces are counted to the course in which their bottom lies, runs end at their corners, items stand at their station."""

from __future__ import annotations

from math import cos, hypot, radians, sin

import numpy as np

from wallquant.audit.broken import broken, mm
from wallquant.audit.read import MM, Plan
from wallquant.findings import Finding

MEET = ("end", "L")
"""Kinds of corner at which a run's own end stands; where runs meet askew or from layers, their axes may cross elsewhere."""
NEAR = 1e-2
"""Millimetres, for a place worked out from an angle that is rounded."""


def check(plan: Plan) -> list[Finding]:
    """Return what of the numbering of courses, and of the ends of runs, does not hold."""
    return [*_courses(plan), *_ends(plan), *_items(plan)]


def _courses(plan: Plan) -> list[Finding]:
    p, c = plan.pieces, plan.courses
    bottom = dict(zip(zip(c.texts("run"), c.wholes("course").tolist(), strict=True), c.numbers("bottom_mm").tolist(), strict=True))
    found, lowest = [], dict.fromkeys(bottom, np.inf)
    for at, (run, course, level) in enumerate(zip(p.run.tolist(), p.course.tolist(), p.bottom.tolist(), strict=True)):
        key = (plan.runs.name[run], course)
        if key not in bottom:
            found.append(broken("I4", f"pieces.csv, {p.name[at]}: course {course} of run {key[0]} is not in courses.csv", piece=p.name[at]))
            continue
        lowest[key] = min(lowest[key], level)
        above = bottom.get((key[0], course + 1), np.inf)
        if not bottom[key] - MM <= level < above - MM:
            text = f"pieces.csv, {p.name[at]}: its bottom at {mm(level)} does not lie in course {course} of run {key[0]}"
            found.append(broken("I4", text, piece=p.name[at], measured=mm(level), wanted=f"from {mm(bottom[key])}"))
    for (run, course), level in sorted(lowest.items()):
        if np.isfinite(level) and abs(level - bottom[run, course]) > MM:
            text = f"courses.csv: course {course} of run {run} begins at {mm(bottom[run, course])}, its lowest piece at {mm(level)}"
            found.append(broken("I4", text, run=run, measured=mm(bottom[run, course]), wanted=mm(level)))
    return found


def _ends(plan: Plan) -> list[Finding]:
    r, found = plan.runs, []
    corners = {corner.name: corner for corner in plan.corners}
    for at, run in enumerate(r.name):
        turn = radians(r.angle[at])
        for name, station in ((r.start_corner[at], 0.0), (r.end_corner[at], float(r.length[at]))):
            corner = corners.get(name)
            if corner is None or run not in corner.runs:
                found.append(broken("I4", f"runs.csv, {run}: corner {name}, at its end, is not one of that run in corners.csv", run=run))
                continue
            off = hypot(r.x[at] + station * cos(turn) - corner.x, r.y[at] + station * sin(turn) - corner.y)
            if corner.kind in MEET and off > NEAR + 1e-7 * station:
                text = f"runs.csv, {run}: its end is {mm(off)} from corner {name}, which stands there"
                found.append(broken("I4", text, run=run, measured=mm(off), wanted="0 mm"))
    return found


def _items(plan: Plan) -> list[Finding]:
    """Items have names of their own, and stand in plan where their station on the run is."""
    i, r, found = plan.items, plan.runs, []
    row = {name: at for at, name in enumerate(r.name)}
    seen: set[str] = set()
    x, y, start, end = (i.numbers(name, blank=np.nan) for name in ("x_mm", "y_mm", "start_mm", "end_mm"))
    for at, (item, run) in enumerate(zip(i.texts("item"), i.texts("run"), strict=True)):
        if item in seen:
            found.append(broken("I9", f"items.csv, line {at + 2}: item {item} is there twice"))
        seen.add(item)
        if run not in row:
            continue
        k = row[run]
        turn = radians(r.angle[k])
        middle = (start[at] + end[at]) / 2
        off = hypot(r.x[k] + middle * cos(turn) - x[at], r.y[k] + middle * sin(turn) - y[at])
        if off > r.thickness[k] / 2 + NEAR + 1e-7 * abs(middle):  # false where a cell is empty
            text = f"items.csv, line {at + 2}: item {item} is {mm(off)} from the middle of its stations on run {run}"
            found.append(broken("I9", text, run=run, measured=mm(off), wanted=f"at most {mm(r.thickness[k] / 2)}"))
    return found

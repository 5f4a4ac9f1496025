"""I8: steps follow each other as they must, each piece is laid once and after what it rests on, leads do not run ahead."""

from __future__ import annotations

from collections import defaultdict
from itertools import pairwise

import numpy as np

from wallquant.audit.broken import broken
from wallquant.audit.cells import Floats, Ints
from wallquant.audit.elevation import Elevation
from wallquant.audit.read import Plan
from wallquant.findings import Finding

LAYING = ("corner", "lead", "line", "closure", "lintel")
HOUR = 1e-6
LATE = "order.too-late"
"""Findings of waits that are longer than a rule allows; the plan names them, and leaves it to people to mend them."""


def check(plan: Plan, view: Elevation) -> list[Finding]:
    """Return what of the order of work does not hold."""
    s, p = plan.steps, plan.pieces
    names = s.texts("step")
    rows = {name: at for at, name in enumerate(names)}
    found = [broken("I8", f"steps.csv, line {at + 2}: step {name} is there twice") for at, name in enumerate(names) if rows[name] != at]
    start, end = s.numbers("start_h"), s.numbers("end_h")
    for at in np.flatnonzero(end < start - HOUR).tolist():
        found.append(
            broken(
                "I8", f"steps.csv, line {at + 2}: step {names[at]} ends at {end[at]:g} h before it starts at {start[at]:g} h; mend the row"
            )
        )
    for at, day in enumerate(s.wholes("day").tolist()):
        if day != int((start[at] + HOUR) // 24) + 1:
            found.append(broken("I8", f"steps.csv, line {at + 2}: step {names[at]} starts at {start[at]:g} h, which is not on day {day}"))
    found.extend(_precedences(plan, rows, start, end))
    found.extend(_crews(plan, start, end))
    step = np.array([rows.get(name, -1) for name in p.step], dtype=np.int64)
    kinds = s.texts("kind")
    for at in range(p.count):
        if step[at] < 0 or kinds[step[at]] not in LAYING:
            what = f"its step '{p.step[at]}' is " + (
                "not in steps.csv" if step[at] < 0 else f"of kind {kinds[step[at]]}, which lays no pieces"
            )
            found.append(broken("I8", f"pieces.csv, {p.name[at]}: {what}", piece=p.name[at]))
    if (step >= 0).all() and p.count:
        found.extend(_places(plan, step))
        found.extend(_support(plan, view, step, start, end))
        found.extend(_leads(plan, step, start, end))
    return found


def _places(plan: Plan, step: Ints) -> list[Finding]:
    """Each piece is laid in a step of its run, and of its course where the step is of one."""
    p, names, found = plan.pieces, plan.steps.texts("step"), []
    runs, courses = plan.steps.lists("run"), plan.steps.texts("course")
    for at, (run, course, row) in enumerate(zip(p.run.tolist(), p.course.tolist(), step.tolist(), strict=True)):
        if plan.runs.name[run] not in runs[row] or (not _several(courses[row]) and int(courses[row]) != course):
            text = f"pieces.csv, {p.name[at]}: of run {plan.runs.name[run]}, course {course}, but its step {names[row]} in steps.csv is not"
            found.append(broken("I8", text, piece=p.name[at]))
    return found


def _precedences(plan: Plan, rows: dict[str, int], start: Floats, end: Floats) -> list[Finding]:
    q, found = plan.precedences, []
    named = {rule for one in plan.told if one.code == LATE for rule in one.rules}
    lags, mosts = q.numbers("lag_h", blank=0.0).tolist(), q.numbers("most_lag_h", blank=np.inf).tolist()
    rules = q.lists("rule")
    for at, (first, then, lag, most) in enumerate(zip(q.texts("first"), q.texts("then"), lags, mosts, strict=True)):
        where = f"precedences.csv, line {at + 2}"
        if first not in rows or then not in rows:
            found.append(broken("I8", f"{where}: step {first if first not in rows else then} is not in steps.csv"))
            continue
        a, b = rows[first], rows[then]
        wait = float(start[b] - end[a])
        if a >= b:
            found.append(broken("I8", f"{where}: {then} comes before {first} in steps.csv, it must come after"))
        elif wait < lag - HOUR:
            text = f"{where}: {then} starts {wait:g} h after the end of {first}, at least {lag:g} h are asked"
            found.append(broken("I8", text, measured=f"{wait:g} h", wanted=f"at least {lag:g} h"))
        elif wait > most + HOUR and not named & set(rules[at]):
            text = f"{where}: {then} starts {wait:g} h after the end of {first}, at most {most:g} h are allowed"
            found.append(broken("I8", text, measured=f"{wait:g} h", wanted=f"at most {most:g} h"))
    return found


def _crews(plan: Plan, start: Floats, end: Floats) -> list[Finding]:
    names, found = plan.steps.texts("step"), []
    work: dict[str, list[int]] = defaultdict(list)
    for at, crews in enumerate(plan.steps.lists("crew")):
        for crew in crews:
            work[crew].append(at)
    for crew, rows in sorted(work.items()):
        busy = sorted((at for at in rows if end[at] > start[at] + HOUR), key=lambda at: (start[at], at))
        for one, other in pairwise(busy):
            if start[other] < end[one] - HOUR:
                text = f"steps.csv: crew {crew} does {names[one]} and {names[other]} at once, from {start[other]:g} h"
                found.append(broken("I8", text, measured=f"{start[other]:g} h", wanted=f"not before {end[one]:g} h"))
    most, shift = plan.header.masons, plan.header.day_hours
    if most is not None and len(work) > most:
        text = f"steps.csv: {len(work)} masons are at work, summary.json has {most:g} on site"
        found.append(broken("I8", text, measured=f"{len(work)}", wanted=f"at most {most:g}"))
    if shift is not None:
        for at in sorted({row for rows in work.values() for row in rows}):
            if start[at] % 24 > shift + HOUR or (end[at] - HOUR) % 24 > shift + HOUR:
                text = f"steps.csv: step {names[at]} is worked on from {start[at]:g} h to {end[at]:g} h, outside the {shift:g} h of a day"
                found.append(broken("I8", text, measured=f"{start[at] % 24:g} h", wanted=f"within {shift:g} h"))
            for day in {int(start[at] // 24) + 1, int((end[at] - HOUR) // 24) + 1} if end[at] > start[at] + HOUR else ():
                if not plan.header.open(day):
                    text = f"steps.csv: step {names[at]} is worked on on day {day}, which is a day without work"
                    found.append(broken("I8", text, measured=f"day {day}", wanted="a day of work"))
    return found


def _support(plan: Plan, view: Elevation, step: Ints, start: Floats, end: Floats) -> list[Finding]:
    """Each piece is laid after the pieces that it rests on; in one step only if that goes over several courses."""
    p, r, names = plan.pieces, view.rests, plan.steps.texts("step")
    upper, lower = r.upper, view.piece[r.lower]
    a, b = step[upper], step[lower]
    several = np.array([_several(cell) for cell in plan.steps.texts("course")], dtype=bool)
    found = []
    wrong = (a < b) | ((a == b) & ~several[a]) | ((a != b) & (start[a] < end[b] - HOUR))
    for at in np.flatnonzero(wrong).tolist():
        one, other = p.name[upper[at]], p.name[lower[at]]
        if a[at] == b[at]:
            text = f"pieces.csv: {one} and {other}, on which it rests, are laid in step {names[a[at]]} that is of one course"
        else:
            text = f"pieces.csv: {one} is laid in step {names[a[at]]} before {other}, on which it rests, is laid in {names[b[at]]}"
        found.append(broken("I8", text, piece=one, run=plan.runs.name[p.run[upper[at]]]))
    return found


def _several(cell: str) -> bool:
    """Whether the course of a step is not one number: empty, a list, or from one to another."""
    return not cell.strip().isdigit()


def _leads(plan: Plan, step: Ints, start: Floats, end: Floats) -> list[Finding]:
    """No lead stands more courses over the line work beside it than the rule allows.

    A lead of course c may start when the line work of course c - limit that adjoins it, on one of its sides, is done.
    """
    limit = plan.header.lead_courses
    if limit is None:
        return []
    p, kinds, names = plan.pieces, plan.steps.texts("kind"), plan.steps.texts("step")
    kind = np.array([{"lead": 1, "corner": 1, "line": 2, "closure": 2}.get(name, 0) for name in kinds] or [0])[step]
    line: dict[tuple[int, int], list[int]] = defaultdict(list)
    for at in np.flatnonzero(kind == 2).tolist():
        line[int(p.run[at]), int(p.course[at])].append(at)
    leads: dict[tuple[int, int, int], list[int]] = defaultdict(list)
    for at in np.flatnonzero(kind == 1).tolist():
        leads[int(step[at]), int(p.run[at]), int(p.course[at])].append(at)
    ordered = {key: np.array(sorted(rows, key=lambda at: p.start[at]), dtype=np.int64) for key, rows in line.items()}
    found = []
    for (at, run, course), rows in sorted(leads.items()):
        under = ordered.get((run, course - int(limit)))
        if under is None:
            continue
        low, high = float(p.start[rows].min()), float(p.end[rows].max())
        middle = (p.start[under] + p.end[under]) / 2
        before, after = under[middle < low], under[middle > high]
        beside = [int(step[before[-1]])] if before.size else []
        beside += [int(step[after[0]])] if after.size else []
        if beside and min(float(end[row]) for row in beside) > start[at] + HOUR:
            text = (
                f"steps.csv: {names[at]} lays course {course} of a lead in run {plan.runs.name[run]} at {start[at]:g} h, "
                f"before the line work of course {course - int(limit)} beside it is done"
            )
            found.append(broken("I8", text, run=plan.runs.name[run], course=course, wanted=f"at most {limit:g} courses over the line work"))
    return found

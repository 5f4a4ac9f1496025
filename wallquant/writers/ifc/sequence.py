"""The laying sequence: a work schedule, a task a step, what comes before what, and which pieces each task lays."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime, timedelta

from wallquant.writers.ifc.frame import Frame
from wallquant.writers.ifc.spf import NULL, guid, refs, text
from wallquant.writers.plan import Plan

MONDAY = datetime(2001, 1, 1)
"""A Monday; a plan has no calendar dates, so day 1 stands at the first day of its name from here on."""


def _moment(plan: Plan, hours: float) -> str:
    start = MONDAY + timedelta(days=plan.job.first_weekday, seconds=plan.job.day_start_seconds + round(hours * 3600))
    return text(start.isoformat())


def _span(seconds: int) -> str:
    hours, rest = divmod(max(0, seconds), 3600)
    return f"'PT{hours}H{rest // 60}M{rest % 60}S'"


def sequence(plan: Plan, frame: Frame, parts: Sequence[int], items: Mapping[int, int]) -> None:
    """Write the tasks in the order of steps.csv."""
    lines, project, turns = frame.lines, frame.project, plan.schedule.turns
    if not turns:
        return
    last = max(t.end_h for t in turns)
    schedule = lines.add(
        "IFCWORKSCHEDULE", text(guid(project, "schedule")), NULL, text("Laying sequence"),
        text(f"Day 1, a {plan.job.start_weekday}, stands at {_moment(plan, 0)[1:11]}; shift all dates by the same number of weeks."),
        NULL, NULL, _moment(plan, 0), NULL, NULL, NULL, NULL, _moment(plan, 0), _moment(plan, last), ".PLANNED.",
    )  # fmt: skip
    lines.add("IFCRELDECLARES", text(guid(project, "declares")), NULL, NULL, NULL, frame.root, refs([schedule]))
    whole = _task(plan, frame, "laying", "Laying", "", "", 0, last)
    lines.add("IFCRELASSIGNSTOCONTROL", text(guid(project, "control")), NULL, NULL, NULL, refs([whole]), NULL, schedule)
    tasks: dict[str, int] = {}
    for t in turns:
        tasks[t.step.name] = _task(plan, frame, t.step.name, t.step.name, t.step.kind, t.step.text, t.start_h, t.end_h)
    lines.add("IFCRELNESTS", text(guid(project, "nests")), NULL, NULL, NULL, whole, refs(tasks.values()))
    for t in turns:
        held = [parts[row] for row in t.step.pieces] + [items[n] for n in t.step.items if n in items]
        if held:
            key = text(guid(project, "lays", t.step.name))
            lines.add("IFCRELASSIGNSTOPROCESS", key, NULL, NULL, NULL, refs(held), NULL, tasks[t.step.name], NULL)
    for link in plan.schedule.graph.links():
        if link.first in tasks and link.then in tasks:
            lag = lines.shared("IFCLAGTIME", NULL, NULL, NULL, f"IFCDURATION({_span(link.lag)})", ".ELAPSEDTIME.") if link.lag else NULL
            lines.add(
                "IFCRELSEQUENCE", text(guid(project, "sequence", link.first, link.then)), NULL, NULL,
                text(link.reason) if link.reason else NULL, tasks[link.first], tasks[link.then], lag, ".FINISH_START.", NULL,
            )  # fmt: skip


def _task(plan: Plan, frame: Frame, key: str, name: str, kind: str, said: str, start: float, end: float) -> int:
    lines = frame.lines
    lasts = _span(round(end * 3600) - round(start * 3600))
    times = (_moment(plan, start), _moment(plan, end))
    time = lines.add("IFCTASKTIME", NULL, ".PREDICTED.", NULL, ".ELAPSEDTIME.", lasts, *times, *(NULL,) * 13)
    purpose = ".USERDEFINED." if kind == "hold" else ".CONSTRUCTION."
    return lines.add(
        "IFCTASK", text(guid(frame.project, "task", key)), NULL, text(name), text(said) if said else NULL, text(kind or "laying"),
        text(key), NULL, NULL, NULL, ".F.", NULL, time, purpose,
    )  # fmt: skip

"""What comes before what where cores are grouted: bars, a look, the inspection, water, grout, and the wait of what stands on it."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise
from typing import Protocol

import numpy as np

from wallquant.layout import Step, Work
from wallquant.rules import Item, Precedence
from wallquant.units import Nm
from wallquant_thinbed.lintel_notes import LAYING

STUB, BAR, CHECK, WETTING, FILL = "bar stub", "bar", "core check", "core wetting", "core grout"
"""Tasks of items, and so kinds of steps."""


class Asked(Protocol):
    """The parameters of the rule that this module reads."""

    @property
    def inspection_hours(self) -> float: ...
    @property
    def cure_hours(self) -> float: ...


def precedences(work: Work, asked: Asked, rule: str) -> Iterator[Precedence]:
    """Yield them for each run and lift."""
    groups: dict[tuple[str, int], dict[str, list[Step]]] = {}
    laying: dict[tuple[str, int], list[Step]] = {}
    for step in work.steps:
        if step.kind in (BAR, CHECK, WETTING, FILL) and step.runs:
            groups.setdefault((step.runs[0], step.course), {}).setdefault(step.kind, []).append(step)
        elif step.kind in LAYING:
            for run in step.runs:
                laying.setdefault((run, step.course), []).append(step)
    highest = _highest(work)
    for (run, course), kinds in sorted(groups.items()):
        chain = [kinds[k] for k in (BAR, CHECK) if k in kinds]
        for one, two in pairwise(chain):
            yield Precedence(first=_names(one), then=_names(two), reason="bars before a look at their cores", rule=rule)
        wet, grout = kinds.get(WETTING, []), kinds.get(FILL, [])
        if chain and (wet or grout):
            yield Precedence(
                first=_names(chain[-1]), then=_names(wet or grout),
                hold=f"Inspection of the cores of {run} up to course {course} before the grout",
                hold_seconds=round(asked.inspection_hours * 3600), reason="what is in the cores is seen before it is grouted",
                rule=rule,
            )  # fmt: skip
        if wet and grout:
            yield Precedence(first=_names(wet), then=_names(grout), reason="cores are wetted before the grout", rule=rule)
        above = laying.get((run, course + 1), [])
        ended = _ended(work, grout, highest)
        if ended:
            above = [s for s in above if _stands_on(work, s, run, ended)]
        if grout and above and asked.cure_hours > 0:
            yield Precedence(
                first=_names(grout), then=_names(above), lag=round(asked.cure_hours * 3600),
                reason="what stands on the grout waits until it has set" if ended else
                "the next lift begins when the grout of the cores has set", rule=rule,
            )  # fmt: skip


def _highest(work: Work) -> dict[tuple[str, Nm], int]:
    """Return the course of the last lift of each core, by run and station."""
    out: dict[tuple[str, Nm], int] = {}
    for item in work.items:
        if isinstance(item, Item) and item.task == FILL:
            key = (item.run, item.start)
            out[key] = max(item.course, out.get(key, 0))
    return out


def _ended(work: Work, grout: list[Step], highest: dict[tuple[str, Nm], int]) -> list[Item]:
    """Return the cores of a lift where all of them end with it, as under a rake; none where one goes on."""
    fills = [i for step in grout for n in step.items if isinstance(i := work.items[n], Item)]
    return [] if any(highest.get((i.run, i.start), 0) > i.course for i in fills) else fills


def _stands_on(work: Work, step: Step, run: str, cores: list[Item]) -> bool:
    """Whether a step lays a piece of a run over one of its cores."""
    p, rows = work.pieces, np.array(step.pieces, np.int64)
    rows = rows[p.run[rows] == p.runs.index(run)] if run in p.runs else rows[:0]
    return any(((p.start[rows] < i.start + i.size // 2) & (p.end[rows] > i.start - i.size // 2)).any() for i in cores)


def _names(steps: list[Step]) -> tuple[str, ...]:
    return tuple(sorted(s.name for s in steps))

"""What comes before what in a bond beam: openings and stops, bars, straps, the inspection, water, grout, cure."""

from __future__ import annotations

from collections.abc import Iterator

from wallquant.layout import Step, Work
from wallquant.rules import Precedence
from wallquant.units import Nm
from wallquant_thinbed.bar_steps import Asked
from wallquant_thinbed.lintel_notes import LAYING

TROUGH, BARS, STRAPS, WETTING, GROUT = "beam trough", "beam bars", "beam straps", "beam wetting", "beam grout"
"""Tasks of items, and so kinds of steps, in the order of the work."""


def precedences(work: Work, asked: Asked, rule: str) -> Iterator[Precedence]:
    """Yield them for each connected part and level: troughs that join are inspected and grouted together."""
    part_of = {name: part[0] for part in work.parts for name in part}
    groups: dict[tuple[str, Nm, int], dict[str, list[Step]]] = {}
    laying: dict[tuple[str, int], list[Step]] = {}
    for step in work.steps:
        if step.kind in (TROUGH, BARS, STRAPS, WETTING, GROUT) and step.runs:
            levels = work.courses[step.runs[0]].levels
            level = levels[step.course - 1].top if step.course <= len(levels) else 0
            key = (part_of.get(step.runs[0], step.runs[0]), level, step.course)
            groups.setdefault(key, {}).setdefault(step.kind, []).append(step)
        elif step.kind in LAYING:
            for run in step.runs:
                laying.setdefault((run, step.course), []).append(step)
    for (_, _, course), kinds in sorted(groups.items()):
        before: list[Step] = []
        for kind in (TROUGH, BARS, STRAPS):
            after = kinds.get(kind, [])
            for one in after:
                last = [s for s in before if set(s.runs) & set(one.runs)]
                if last:
                    yield Precedence(first=_names(last), then=(one.name,), reason=f"{last[-1].kind} before {kind}", rule=rule)
            before = [*before, *after]
        wet, grout = kinds.get(WETTING, []), kinds.get(GROUT, [])
        then = wet or grout
        if before and then:
            yield Precedence(
                first=_names(before),
                then=_names(then),
                hold=f"Inspection of the bond beams of course {course} before the grout: bars, laps, L-bars, openings in flanges, "
                "end stops, straps and anchors; troughs clean",
                hold_seconds=round(asked.inspection_hours * 3600),
                reason="what is in the trough is seen before it is grouted",
                rule=rule,
            )
        if wet and grout:
            yield Precedence(first=_names(wet), then=_names(grout), reason="the trough is wetted before the grout", rule=rule)
        for run in sorted({r for s in grout for r in s.runs}):
            above = laying.get((run, course + 1), [])
            if above:
                yield Precedence(
                    first=_names([s for s in grout if run in s.runs]),
                    then=_names(above),
                    lag=round(asked.cure_hours * 3600),
                    reason="nothing is laid on a bond beam until its grout has set",
                    rule=rule,
                )


def _names(steps: list[Step]) -> tuple[str, ...]:
    return tuple(sorted(s.name for s in steps))

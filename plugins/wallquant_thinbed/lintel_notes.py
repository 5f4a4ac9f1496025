"""What lintels need besides their place: props, a hoist, and what is told of the masonry over them."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Protocol

import numpy as np

from wallquant.findings import Finding, Place
from wallquant.layout import Courses, Run, Step, Work
from wallquant.rules import Amount, Item, Precedence
from wallquant.units import Nm, text
from wallquant_thinbed.lintels import Bridging, levels

PROPS, STRIKE = "props", "strike props"
"""Tasks of items, and so kinds of steps."""
LAYING = ("corner", "lead", "line", "closure", "lintel")
"""Kinds of steps that lay pieces."""
HOISTED = "lintel lifted by hoist"
_KG_PER_LB = 0.45359237


class Asked(Protocol):
    """The parameters of the rule that this module reads."""

    @property
    def prop_from(self) -> Nm: ...
    @property
    def prop_spacing(self) -> Nm: ...
    @property
    def prop_hours(self) -> float: ...
    @property
    def prop_seconds(self) -> int: ...
    @property
    def bearing_settles(self) -> float: ...
    @property
    def hoist_over(self) -> float: ...
    @property
    def apex_clear(self) -> Nm: ...


def corner_openings(run: Run, one: Bridging, named: str, place: Place, code: str) -> Iterator[Finding]:
    """Tell where a lintel lies higher than a head, and where an opening takes a corner."""
    system = run.catalogue.system
    strip = max(one.head - o.head for o in one.openings)
    if one.past:
        others = " and ".join(f"run {j.other} at corner {j.corner}" for j in one.past)
        said = (
            f"Opening {named} takes the whole corner, and no post is drawn there: {others} is laid as a post and carries its lintel. Have "
            "the corner designed, or draw the post; if it stays open, have its support designed before anything is laid over it"
        )
        if one.lift:
            said += (
                f". Both lintels want the corner, so this one lies on the other, {text(one.lift, system)} over the head; what is between "
                "them is set aside: close it by hand under the lintel, or turn one lintel round the corner as the engineer says"
            )
        yield Finding(code="lintel.corner-opening", severity="warning", text=said, place=place, measured=text(strip, system), rules=(code,))
    elif strip > 0:
        low = " and ".join(o.name or o.key for o in one.openings if o.head < one.head)
        said = (
            f"One lintel spans openings {named} at the head of the higher one; {text(strip, system)} over the head of {low} are set aside: "
            "close them by hand under the lintel, or draw heads of one level"
        )
        yield Finding(code="lintel.two-heads", severity="warning", text=said, place=place, measured=text(strip, system), rules=(code,))


def props(run: Run, courses: Courses, one: Bridging, asked: Asked) -> Iterator[Item]:
    """Yield the props under one lintel, which stand before it is set, and their taking away when all of the run stands."""
    named = " and ".join(o.name or o.key for o in one.openings)
    under = max((c.number for c in courses.levels if c.top < one.head), default=0)
    count = 0
    for o in one.openings:
        if not asked.prop_from or o.width < asked.prop_from:
            continue
        here = max(1, -(-o.width // asked.prop_spacing) - 1)
        count += here
        for k in range(here):
            at = o.start + o.width * (k + 1) // (here + 1)
            said = f"Set {here} props under the lintel over {o.name or o.key}, on something firm, to {text(one.head, run.catalogue.system)}"
            yield Item(
                kind="prop", run=run.name, start=at, end=at, bottom=o.sill, top=one.head, course=under, task=PROPS,
                seconds=asked.prop_seconds, text="" if k else said,
            )  # fmt: skip
    if count:
        middle = (one.start + one.end) // 2
        yield Item(
            kind="prop removal", run=run.name, start=middle, end=middle, bottom=one.head, top=one.head, quantity=float(count),
            course=len(courses), task=STRIKE, seconds=count * asked.prop_seconds // 2,
            text=f"Take away the props under the lintel over {named}, once its supplier or the engineer agrees",
        )  # fmt: skip


def precedences(work: Work, asked: Asked, rule: str) -> Iterator[Precedence]:
    """Yield the wait between a run's last course, its lintels, and the taking away of their props."""
    last: dict[str, list[Step]] = {}
    for step in work.steps:
        if step.kind in LAYING:
            for run in step.runs:
                if step.kind == "lintel" or step.course == len(work.courses[run]):
                    last.setdefault(run, []).append(step)
    for step in work.steps:
        first = sorted({s.name for run in step.runs for s in last.get(run, ())}) if step.kind == STRIKE else []
        if first:
            yield Precedence(
                first=tuple(first),
                then=(step.name,),
                lag=round(asked.prop_hours * 3600),
                hold=f"The supplier of the lintels or the engineer agrees that the props in {' '.join(step.runs)} may go",
                hold_seconds=900,
                reason="lintels stay propped until the masonry over them has set",
                rule=rule,
            )


def settled(work: Work, asked: Asked, rule: str) -> Iterator[Precedence]:
    """Yield the wait between laying what a lintel bears on and setting the lintel."""
    lag = round(asked.bearing_settles * 3600)
    p = work.pieces
    if lag <= 0 or not len(p):
        return
    step_at = np.full(len(p), -1, np.int64)
    for n, step in enumerate(work.steps):
        step_at[list(step.pieces)] = n
    bounds = np.searchsorted(p.run, np.arange(len(p.runs) + 1)).tolist()
    for step in work.steps:
        under: set[int] = set()
        for row in step.pieces if step.kind == "lintel" else ():
            first, last = bounds[int(p.run[row])], bounds[int(p.run[row]) + 1]
            gap = int(p.bottom[row]) - p.top[first:last]
            on = (p.start[first:last] < p.end[row]) & (p.end[first:last] > p.start[row]) & (gap >= 0) & (gap <= work.catalogue.bed.most)
            under.update(step_at[first:last][on].tolist())
        names = sorted(work.steps[n].name for n in under if n >= 0 and work.steps[n].name != step.name)
        if names:
            reason = "the thin-bed mortar under a bearing settles before a lintel lies on it"
            yield Precedence(first=tuple(names), then=(step.name,), lag=lag, reason=reason, rule=rule)


def lifts(work: Work, asked: Asked, rule: str) -> Iterator[Amount]:
    """Yield one lift for each lintel that is heavier than the limit."""
    for row in _heavy(work, asked):
        where = work.pieces.runs[work.pieces.run[row]]
        yield Amount(item=HOISTED, quantity=1.0, unit="lift", where=where, piece=row, rule=rule)


def _heavy(work: Work, asked: Asked) -> list[int]:
    p = work.pieces
    lintel = np.array([u.kind == "lintel" for u in p.units] or [False])
    return np.flatnonzero(lintel[p.unit] & (p.mass > asked.hoist_over)).tolist() if len(p) else []


def told(work: Work, asked: Asked, rule: str) -> Iterator[Finding]:
    """Tell the lintels that want a hoist, of one plan together."""
    rows = _heavy(work, asked)
    if rows:
        p, system = work.pieces, work.catalogue.system
        runs = sorted({p.runs[p.run[row]] for row in rows}, key=lambda name: int(name[1:]))
        most = max(float(p.mass[row]) for row in rows)
        said = (
            f"{len(rows)} {'lintel is' if len(rows) == 1 else 'lintels are'} heavier than {_mass(asked.hoist_over, system)} as "
            "delivered, the "
            f"heaviest {_mass(most, system)} (in {', '.join(runs)}): lift each by a hoist or crane, with nobody under it, and "
            "keep hold of it "
            "until it bears"
        )
        measured, wanted = _mass(most, system), _mass(asked.hoist_over, system)
        yield Finding(code="lintel.hoist", severity="note", text=said, measured=measured, wanted=wanted, rules=(rule,))


def arching(found: Sequence[tuple[Run, Bridging, Place]], asked: Asked, rule: str) -> Iterator[Finding]:
    """Tell the triangle of load over the lintels, and whether there is masonry enough above for arching: information, no design.

    One finding for all of them, at the lintel with the least to spare.
    """
    spare = [_above(run, one) - _needed(one, asked) for run, one, _ in found]
    if not spare:
        return
    least = min(range(len(spare)), key=spare.__getitem__)
    run, one, place = found[least]
    system, width = run.catalogue.system, one.end - one.start
    triangle, need = width // 2, text(_needed(one, asked), system)
    named = " and ".join(o.name or o.key for o in one.openings)
    shown = text(max(0, _above(run, one)), system)
    said = (
        f"For information: the load triangle at 45 degrees over {named}, {text(width, system)} wide, is {text(triangle, system)} high. "
        f"{shown} of masonry stands over the lintel, {'no less' if spare[least] >= 0 else 'less'} than the {need} that is asked before "
        "arching is counted on (with running bond, and no joint or opening beside it); with its bearings the lintel is "
        f"{text(width + one.left + one.right, system)} long at least."
    )
    if len(found) > 1:
        enough = sum(1 for one in spare if one >= 0)
        said += f" Of all {len(found)} lintels this one has the least to spare; over {enough or 'none'} of them enough stands."
    said += " Length only, not capacity: the supplier and the engineer confirm it"
    yield Finding(
        code="lintel.arching", severity="note", text=said, place=place, measured=shown, wanted=need, times=len(found), rules=(rule,)
    )


def _above(run: Run, one: Bridging) -> Nm:
    return levels(run, one.start, one.end)[0] - one.head - one.height


def _needed(one: Bridging, asked: Asked) -> Nm:
    return (one.end - one.start) // 2 + asked.apex_clear


def _mass(mass: float, system: str) -> str:
    return f"{mass / _KG_PER_LB:.1f} lb" if system == "in" else f"{mass:.1f} kg"

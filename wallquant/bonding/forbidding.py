"""Rules that forbid every head joint over more masonry than a unit spans: nothing can be laid so, and the rule is named.

Only what is certain before anything is solved is found here: stretches without openings, fixed pieces, corners or slopes.
`wallquant.bonding.giving` looks after the rest when the spans are known.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from itertools import pairwise

from wallquant.bonding.asking import Asked
from wallquant.bonding.intervals import Interval
from wallquant.bonding.problem import Ask, Group, Problem
from wallquant.findings import Finding, Place
from wallquant.rules import RuleError
from wallquant.units import Nm, text

Forbidden = Mapping[tuple[str, int, str], tuple[Ask, ...]]
"""Run, course and rule, to the windows that cannot be kept there."""


def relieved(one: Asked) -> tuple[Asked, dict[tuple[str, int, str], tuple[Ask, ...]]]:
    """Leave out, in each course, the windows of a rule that together span more than a unit; and return them.

    Those of a choice are left out where each of its alternatives has such, with what the rule says in any case.
    """
    problem = one.problem
    base = _hard(problem.base)
    never = {key: asks for key, asks in base.items() if _forbids(problem, key[0], asks)}
    for choice in problem.choices:
        each = [_hard(group) for group in choice]
        for key in sorted(set.intersection(*map(set, each)) - set(never)):
            if all(_forbids(problem, key[0], (*base.get(key, ()), *asks[key])) for asks in each):
                never[key] = tuple(a for asks in each for a in asks[key])
    if not never:
        return one, {}

    def rest(group: Group) -> Group:
        return replace(group, asks=tuple(a for a in group.asks if (a.course, a.rule) not in never or a.of != "joint" or a.yields))

    choices = tuple(tuple(rest(group) for group in choice) for choice in problem.choices)
    gone = {(one.fitted.run.name, course, rule): asks for (course, rule), asks in sorted(never.items())}
    return replace(one, problem=replace(problem, base=rest(problem.base), choices=choices)), gone


def _hard(group: Group) -> dict[tuple[int, str], tuple[Ask, ...]]:
    """Return, by course and rule, the windows that never give way."""
    out: dict[tuple[int, str], list[Ask]] = {}
    for a in group.asks:
        if a.of == "joint" and a.yields == 0 and a.rule:
            out.setdefault((a.course, a.rule), []).append(a)
    return {key: tuple(asks) for key, asks in out.items()}


def _forbids(problem: Problem, course: int, asks: Sequence[Ask]) -> bool:
    """Say whether windows of a course leave no joint over more than a unit of plain masonry."""
    closed = [z for z in _closed(asks, problem.how.joint_least) if z[1] - z[0] > problem.how.unit]
    return bool(closed) and any(min(hi, b) - max(lo, a) > problem.how.unit for lo, hi in closed for a, b in _plain(problem, course))


def vet(asked: Iterable[Asked], forbidden: Forbidden) -> None:
    """Refuse a rule that forbids every joint wherever a stretch of masonry is longer than a unit.

    Raises
    ------
    RuleError
        With the rule's code.
    """
    rules = sorted({rule for _, _, rule in forbidden})
    if not rules:
        return
    open_ = {(o.fitted.run.name, k) for o in asked for k in range(1, o.problem.levels.count + 1) if _has_room(o.problem, k)}
    for code in rules:
        if all((run, course, code) in forbidden for run, course in open_):
            said = f"rule {code} forbids every head joint in every course of every run, so that nothing longer than a unit can be laid"
            raise RuleError(f"{said}; change what it asks, or leave it out with rules_off or on_rule_error in the job", code)


def told(asked: Mapping[str, Asked], forbidden: Forbidden, system: str) -> Iterator[Finding]:
    """Tell once a rule where its windows are left out."""
    for code in sorted({rule for _, _, rule in forbidden}):
        places = [(run, course) for run in asked for _, course in sorted((r, k) for r, k, c in forbidden if (r, c) == (run, code))]
        (run, course), runs = places[0], {r for r, _ in places}
        unit = text(asked[run].problem.how.unit, system)
        where = f"run {run}, course {course}"
        if len(places) > 1:
            where += f", and in {len(places) - 1} more courses of {len(runs)} run{'s' * (len(runs) > 1)}"
        yield Finding(
            code="bond.forbids-all",
            severity="error",
            text=f"{code} forbids every head joint over more than a unit ({unit}) in {where}: nothing can be laid so, and its windows in "
            f"these courses are left out. Change what {code} asks.",
            place=Place(run=run, storey=asked[run].fitted.run.storey, course=course),
            times=len(places),
            rules=(code,),
        )


def _closed(asks: Sequence[Ask], joint: Nm) -> list[Interval]:
    """Unite windows between which no joint fits."""
    out: list[Interval] = []
    for lo, hi in sorted((a.lo, a.hi) for a in asks):
        if out and lo - out[-1][1] < joint:
            out[-1] = out[-1][0], max(hi, out[-1][1])
        else:
            out.append((lo, hi))
    return out


def _plain(problem: Problem, course: int) -> list[Interval]:
    """Return the stretches of a course that are masonry whatever is chosen: no opening, fixed piece, corner or slope."""
    bottom, top, joint = problem.levels.bottom(course), problem.levels.top(course), problem.how.joint
    groups = (problem.base, *(g for choice in problem.choices for g in choice))
    taken = [(b.lo, b.hi) for b in problem.holes if b.bottom < top and b.top > bottom]
    taken += [(p.lo - joint, p.hi + joint) for g in groups for p in g.puts if p.bottom < top and p.top > bottom]
    taken += [(m.station - m.half - joint, m.station + m.half + joint) for m in problem.meets]
    taken += [(a, b) for (a, p), (b, q) in pairwise(problem.top) if min(p, q) < top]
    first, last = problem.meets[0], problem.meets[-1]
    lo, end, out = first.station + max(problem.slack), last.station - max(problem.slack), []
    for a, b in sorted(taken):
        if a > lo:
            out.append((lo, min(a, end)))
        lo = max(lo, b)
    return [(a, b) for a, b in (*out, (lo, end)) if b > a]


def _has_room(problem: Problem, course: int) -> bool:
    return any(b - a > problem.how.unit for a, b in _plain(problem, course))

"""What comes before what, as arrays: what the engine sees in the pieces, and what rules ask.

The graph's nodes are the steps of a plan and, after them, the holds that rules ask for.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from wallquant.findings import Finding
from wallquant.layout import Step, Work
from wallquant.ordering.days import EVERY, Asked, weekdays
from wallquant.ordering.steps import step_of
from wallquant.ordering.support import resting
from wallquant.ordering.tasks import between
from wallquant.rules import Precedence

SUPPORT = "support"
"""What stands as the rule where a step rests on another."""
BUILT_IN = ("items", "it is built in between the courses there")
"""Rule and reason of what comes before and after the steps of items."""
PAIR = "two people"
"""The resource of a step that takes two masons, where there are two."""
GOES_ON = ("line", "the line work goes on where that step ends")
"""Rule and reason of what comes before a part of the line work of a course."""
NEVER = -1
"""`most_lag` where there is no limit."""

_Ints = NDArray[np.int64]


class OrderError(ValueError):
    """What is asked for has no order; the sentence names the rules and steps, `rules` the rules that would have to yield."""

    def __init__(self, text: str, rules: tuple[str, ...] = ()) -> None:
        super().__init__(text)
        self.rules = rules


@dataclass(frozen=True, kw_only=True, slots=True)
class Link:
    """One precedence between two steps, for files: lags in clock seconds, `most_lag` None where there is no limit."""

    first: str
    then: str
    lag: int
    most_lag: int | None
    rule: str
    reason: str


@dataclass(frozen=True, kw_only=True)
class Graph:
    """Steps and what comes before what; arcs by first, then `then`, no two alike.

    Attributes
    ----------
    steps : tuple of Step
        The plan's steps, then the holds.
    first, then : ndarray of int64, shape (arcs,)
        Numbers of steps.
    lag, most_lag : ndarray of int64, shape (arcs,)
        Clock seconds between the end of one and the start of the other; `most_lag` is `NEVER` where there is no limit.
    why : ndarray of int64, shape (arcs,)
        Index into `reasons`: (rule, reason).
    release : ndarray of int64, shape (steps,)
        Clock second before which a step does not start.
    order : ndarray of int64, shape (steps,)
        A topological order of the steps' numbers.
    findings : tuple of Finding
        What of the precedences could not be heeded.
    """

    steps: tuple[Step, ...]
    first: _Ints
    then: _Ints
    lag: _Ints
    most_lag: _Ints
    why: _Ints
    reasons: tuple[tuple[str, str], ...]
    release: _Ints
    order: _Ints
    findings: tuple[Finding, ...] = ()

    @cached_property
    def pointer(self) -> _Ints:
        """Compressed rows: the arcs of step i are `pointer[i]` to `pointer[i + 1]`."""
        return np.searchsorted(self.first, np.arange(len(self.steps) + 1)).astype(np.int64)

    def links(self) -> Iterator[Link]:
        """Yield the arcs with the names of their steps."""
        names = [s.name for s in self.steps]
        columns = (self.first.tolist(), self.then.tolist(), self.lag.tolist(), self.most_lag.tolist(), self.why.tolist())
        for first, then, lag, most, why in zip(*columns, strict=True):
            rule, reason = self.reasons[why]
            limit = None if most == NEVER else most
            yield Link(first=names[first], then=names[then], lag=lag, most_lag=limit, rule=rule, reason=reason)


def precedences(work: Work, asked: Iterable[Precedence] = (), *, worked: Collection[int] = EVERY) -> Graph:
    """Return the graph of a plan's steps: support, where items are built in, what goes on from what, and what rules ask.

    Parameters
    ----------
    work : Work
        The plan with its `steps`.
    asked : iterable of Precedence
        In any order.  One with a `hold` becomes a step between all of its first and all of its then; its lag runs before
        the hold.
    worked : collection of int
        Days of the week with work, Monday 0.

    Returns
    -------
    Graph

    Raises
    ------
    OrderError
        If a precedence names a step that the plan does not have, or the steps go round in a circle.
    """
    below, above = resting(work)
    owner = step_of(work.steps, len(work.pieces)).astype(np.int64)
    first, then = owner[below], owner[above]
    keep = (first != then) & (first >= 0) & (then >= 0)
    return build(work.steps, asked, support=(first[keep], then[keep]), built=between(work, work.steps, owner), worked=worked)


def build(
    steps: Sequence[Step],
    asked: Iterable[Precedence],
    *,
    support: tuple[_Ints, _Ints] | None = None,
    built: tuple[_Ints, _Ints] | None = None,
    worked: Collection[int] = EVERY,
) -> Graph:
    """Return the graph of steps, of arcs `support` and `built` (numbers of steps) and of precedences asked; see `precedences`."""
    nodes = list(steps)
    number = {s.name: i for i, s in enumerate(nodes)}
    reasons: list[tuple[str, str]] = [(SUPPORT, "it carries pieces of the step")]
    known = {reasons[0]: 0}
    arcs = _Arcs()
    if support is not None:
        arcs.pairs(*support, lag=0, most=NEVER, why=0)
    if built is not None and len(built[0]):
        known[BUILT_IN] = len(reasons)
        reasons.append(BUILT_IN)
        arcs.pairs(*built, lag=0, most=NEVER, why=known[BUILT_IN])
    if going := [i for i, s in enumerate(nodes) if s.follows in number]:
        known[GOES_ON] = len(reasons)
        reasons.append(GOES_ON)
        behind = np.array([number[nodes[i].follows] for i in going], np.int64)
        arcs.pairs(behind, np.array(going, np.int64), lag=0, most=NEVER, why=known[GOES_ON])
    release: dict[int, int] = {}
    asked_days = Asked()
    for one in sorted(asked, key=_sort_key):
        firsts, thens = _numbers(one, one.first, number), _numbers(one, one.then, number)
        why = known.setdefault((one.rule, one.reason or one.hold), len(reasons))
        if why == len(reasons):
            reasons.append((one.rule, one.reason or one.hold))
        for node in thens:
            release[node] = max(release.get(node, 0), one.not_before)
        if one.resource:
            for node in thens:
                own = dict(nodes[node].needs)
                own[one.resource] = max(own.get(one.resource, 0), one.amount)
                amounts = tuple(own[name] for name in sorted(own))
                nodes[node] = replace(nodes[node], resources=tuple(sorted(own)), amounts=amounts if max(amounts) > 1 else ())
        named = weekdays(one.calendar)
        if days := tuple(d for d in named if d in worked):
            for node in thens:
                both = tuple(d for d in days if d in nodes[node].days) if nodes[node].days else days
                nodes[node] = replace(nodes[node], days=both or days)
        elif one.calendar:
            asked_days.miss(one, known=bool(named))
        if one.hold:
            hold = _hold(one, nodes, len(nodes) - len(steps) + 1, number)
            number[hold.name] = len(nodes)
            arcs.add(firsts, [len(nodes)], one.lag, NEVER, why)
            arcs.add([len(nodes)], thens, 0, NEVER, why)
            nodes.append(hold)
        if not one.hold or one.most_lag is not None:
            arcs.add(firsts, thens, one.lag, NEVER if one.most_lag is None else one.most_lag, why)
    table = _merged(arcs.table, reasons)
    released = np.zeros(len(nodes), np.int64)
    for node, at in release.items():
        released[node] = at
    findings = tuple(asked_days.findings())
    order = _topological(nodes, table, reasons)
    first, then, lag, most_lag, why_of = table
    return Graph(
        steps=tuple(nodes),
        first=first,
        then=then,
        lag=lag,
        most_lag=most_lag,
        why=why_of,
        reasons=tuple(reasons),
        release=released,
        order=order,
        findings=findings,
    )


def _sort_key(one: Precedence) -> tuple[object, ...]:
    most = (one.most_lag is None, one.most_lag or 0)
    return (
        one.rule, one.first, one.then, one.lag, most, one.not_before, one.hold, one.hold_seconds, one.resource, one.amount,
        one.calendar, one.reason,
    )  # fmt: skip


def _numbers(one: Precedence, names: Sequence[str], number: dict[str, int]) -> list[int]:
    for name in names:
        if name not in number:
            who = one.rule or "(unnamed)"
            raise OrderError(f"rule {who} speaks of step '{name}', which this plan does not have; correct the rule", (one.rule,))
    return sorted({number[name] for name in names})


def _hold(one: Precedence, nodes: Sequence[Step], count: int, number: dict[str, int]) -> Step:
    """Make the step of a hold; it belongs to the panel of what it holds up."""
    held = nodes[number[one.then[0]]] if one.then else nodes[number[one.first[0]]] if one.first else None
    name = f"{held.part if held else 'plan'}-hold{count}"
    while name in number:
        name += "a"
    step = Step(name=name, kind="hold", seconds=one.hold_seconds, text=one.hold)
    return replace(step, part=held.part, panel=held.panel, course=held.course) if held else step


class _Arcs:
    """Collects arcs: few at a time as numbers, many at a time as arrays."""

    def __init__(self) -> None:
        self.few: list[tuple[int, int, int, int, int]] = []
        self.many: list[_Ints] = []

    def add(self, firsts: Sequence[int], thens: Sequence[int], lag: int, most: int, why: int) -> None:
        """Add an arc from each of `firsts` to each of `thens`."""
        if len(firsts) * len(thens) < 256:
            self.few += [(first, then, lag, most, why) for first in firsts for then in thens]
        else:
            self.pairs(np.repeat(firsts, len(thens)), np.tile(thens, len(firsts)), lag, most, why)

    def pairs(self, first: _Ints, then: _Ints, lag: int, most: int, why: int) -> None:
        """Add an arc for each pair."""
        rest = [np.full(len(first), number, np.int64) for number in (lag, most, why)]
        self.many.append(np.stack([first.astype(np.int64), then.astype(np.int64), *rest]))

    @property
    def table(self) -> _Ints:
        """All arcs: first, then, lag, most_lag and why, a row each."""
        few = np.array(self.few, np.int64).reshape(-1, 5).T
        return np.concatenate([few, *self.many], axis=1)


def _merged(table: _Ints, reasons: list[tuple[str, str]]) -> _Ints:
    """Make one arc of those between the same two steps: the greatest lag, the least limit, all reasons."""
    if not table.shape[1]:
        return table
    table = table[:, np.lexsort(table[::-1])]
    new = np.flatnonzero(np.r_[True, (np.diff(table[0]) != 0) | (np.diff(table[1]) != 0)])
    never = np.iinfo(np.int64).max
    limit = np.minimum.reduceat(np.where(table[3] == NEVER, never, table[3]), new)
    out = table[:, new].copy()
    out[2] = np.maximum.reduceat(table[2], new)
    out[3] = np.where(limit == never, NEVER, limit)
    mixed = np.minimum.reduceat(table[4], new) != np.maximum.reduceat(table[4], new)
    ends = np.r_[new[1:], table.shape[1]]
    known: dict[tuple[int, ...], int] = {}
    for at in np.flatnonzero(mixed).tolist():
        key = tuple(sorted(set(table[4, new[at] : ends[at]].tolist())))
        if key not in known:
            known[key] = len(reasons)
            rules = dict.fromkeys(reasons[k][0] for k in key)
            reasons.append((" ".join(filter(None, rules)), "; ".join(dict.fromkeys(filter(None, (reasons[k][1] for k in key))))))
        out[4, at] = known[key]
    return out


def _topological(nodes: Sequence[Step], table: _Ints, reasons: Sequence[tuple[str, str]]) -> _Ints:
    """Return a topological order by Kahn's method.

    Raises
    ------
    OrderError
        If there is none; the sentence names the steps and rules of one circle.
    """
    pointer = np.searchsorted(table[0], np.arange(len(nodes) + 1)).tolist()
    then = table[1].tolist()
    left = np.bincount(table[1], minlength=len(nodes)).tolist()
    order = [i for i in range(len(nodes)) if not left[i]]
    for step in order:
        for after in then[pointer[step] : pointer[step + 1]]:
            left[after] -= 1
            if not left[after]:
                order.append(after)
    if len(order) < len(nodes):
        raise _circle(nodes, table, reasons, {i for i in range(len(nodes)) if left[i]})
    return np.array(order, np.int64)


def _circle(nodes: Sequence[Step], table: _Ints, reasons: Sequence[tuple[str, str]], stuck: set[int]) -> OrderError:
    """Word one circle: each step that is stuck waits for another that is, so going back must come round."""
    before: dict[int, tuple[int, int]] = {}
    for first, then, why in zip(table[0].tolist(), table[1].tolist(), table[4].tolist(), strict=True):
        if first in stuck and then in stuck:
            before.setdefault(then, (first, why))
    path, at = [], min(stuck)
    while at not in path:
        path.append(at)
        at = before[at][0]
    circle = path[path.index(at) :][::-1]
    said = [
        f"{nodes[first].name} before {nodes[then].name} ({reasons[before[then][1]][0] or 'no rule'})"
        for first, then in zip(circle, circle[1:] + circle[:1], strict=True)
    ]
    shown = said if len(said) <= 6 else [*said[:5], f"and {len(said) - 5} more"]
    rules = sorted({rule for step in circle for rule in reasons[before[step][1]][0].split()} - {SUPPORT})
    advice = f"change or switch off one of {', '.join(rules)}" if rules else "the pieces rest on each other; this is a fault of the layout"
    return OrderError(f"no order of work is possible: {'; '.join(shown)}; {advice}", tuple(rules))

"""From a linear program to whole units: a small integer program, or whole parts first and then the rest, again and again."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np

from wallquant.cutting.master import Master
from wallquant.cutting.pricing import Ints, Pattern
from wallquant.cutting.sizes import Sizes

_NODES = 100
_TABLE = 2_500_000
"""Most entries of an integer program."""
_SMALL = 60
"""Sizes of what is left, from which on a small integer program is tried."""
_SEEDS = 20
"""Patterns that are tried to begin a unit with, where none is wanted half."""
_DEEP = 60
_NEAR = 0.9
"""Patterns of at least this price are kept for what is left."""
ENOUGH = (0.5, 0.7, 0.9)
"""Where no pattern is wanted once, those wanted so much of once are taken, while all of their pieces are still wanted: the shares
that are tried one after another until a plan is near enough."""

Plan = list[tuple[Pattern, int]]


def units_of(plan: Plan) -> int:
    """Return the number of units of a plan."""
    return sum(n for _, n in plan)


def choose(given: Sizes, master: Master, patterns: Sequence[Pattern]) -> Plan:
    """Choose whole numbers of patterns by a small integer program; none where it finds no choice."""
    from scipy.optimize import Bounds, LinearConstraint, milp
    from scipy.sparse import csc_array

    table = np.stack([given.holds(p) for p in patterns])
    # One whose reduced cost is beyond one unit above the bound is in no plan that is sought; of many, the cheapest are tried.
    cost = 1 - table @ master.prices
    near = np.argsort(cost, kind="stable")[: max(1, _TABLE // table.shape[1])]
    near = np.sort(near[cost[near] <= max(1.0, master.bound + 1 - master.value) + 1e-6])
    cover = LinearConstraint(csc_array(table[near].T.astype(np.float64)), lb=given.demand)
    options = {"node_limit": _NODES, "mip_rel_gap": 0.0}
    answer = milp(np.ones(len(near)), constraints=cover, integrality=np.ones(len(near)), bounds=Bounds(0, np.inf), options=options)
    if answer.x is None:
        return []
    times = np.round(answer.x).astype(np.int64)
    if np.any(table[near].T @ times < given.demand):
        return []
    return [(patterns[at], int(n)) for at, n in zip(near.tolist(), times.tolist(), strict=True) if n]


def dive(given: Sizes, master: Master, least: int, enough: float) -> Plan:
    """Take the whole parts of a linear program, find patterns for what is left, and so on.

    Parameters
    ----------
    given : Sizes
    master : Master
        Its patterns were generated; those that do not fit a unit to the nanometre are left out.
    least : int
        Proven: a plan of so many units is looked for, and the best that was met is returned otherwise.
    enough : float
        One of `ENOUGH`.
    """
    grid, small = master.grid, given
    parts = np.arange(len(given.width))
    done: Plan = []
    best: Plan = []
    for _ in range(_DEEP):
        left = small.demand.copy()
        for pattern, many in _taken(small, master, left, enough):
            done.append((_mapped(pattern, parts), many))
        if not left.any():
            return done if not best or units_of(done) < units_of(best) else best
        worth = np.stack(master.columns) @ master.prices
        kept = [p for p, w in zip(master.patterns, worth.tolist(), strict=True) if w > _NEAR]
        wanted = left > 0
        some = np.flatnonzero(wanted[small.first] & ((small.second < 0) | wanted[small.second]))
        now = np.full(len(small.width), -1)
        now[some] = np.arange(len(some))
        patterns = [one for p in kept if (one := _trimmed(p, small, now))]
        prices, parts = master.prices[wanted], parts[some]
        small = _rest(small, left, some)
        master = Master(small, grid.of(parts), patterns, prices)
        master.generate(int(left.sum()))
        fitting = [p for p in master.patterns if small.fits(p)]
        chosen = choose(small, master, fitting) if len(small.demand) <= _SMALL else []
        if chosen and (not best or units_of(done) + units_of(chosen) < units_of(best)):
            best = [*done, *((_mapped(p, parts), n) for p, n in chosen)]
            if units_of(best) <= least:
                break
    return best


def _taken(small: Sizes, master: Master, left: Ints, enough: float) -> Plan:
    """Take what is wanted once at least, else `enough` at least, else the most of all; `left` becomes what is wanted after that."""
    out: Plan = []
    times = master.times
    order = [at for at in np.argsort(-times, kind="stable").tolist() if times[at] > 1e-7 and small.fits(master.patterns[at])]
    for least in (1.0, enough):
        for at in order:
            if times[at] < least - 1e-7:
                break
            column = master.columns[at]
            used = column > 0
            many = min(max(1, int(times[at] + 1e-7)), int((left[used] // column[used]).min()))
            if many > 0:
                left -= many * column
                out.append((master.patterns[at], many))
        if out:
            return out
    tried = [_wanted(small, master.patterns[at], left) for at in [*order[:_SEEDS], *range(len(small.demand))]]
    area = small.width[: len(left)].astype(np.float64) * small.height[: len(left)]
    tried = [_filled(small, p, left, np.argsort(-area, kind="stable").tolist()) for p in tried if p][:_SEEDS]
    best = max(tried, key=lambda p: float(small.holds(p) @ area))
    left -= small.holds(best)
    return [(best, 1)]


def _wanted(small: Sizes, pattern: Pattern, left: Ints) -> Pattern:
    """Leave out of a pattern what is more than wanted."""
    left, blocks = left.copy(), []
    for block in pattern:
        strips = []
        for strip in block:
            kept = []
            for part in strip:
                kinds = [int(k) for k in (small.first[part], small.second[part]) if k >= 0]
                if all(left[k] >= kinds.count(k) for k in kinds):
                    np.subtract.at(left, kinds, 1)
                    kept.append(part)
            if kept:
                strips.append(tuple(kept))
        if strips:
            blocks.append(tuple(strips))
    return tuple(blocks)


def _filled(small: Sizes, pattern: Pattern, left: Ints, order: Sequence[int]) -> Pattern:
    """Add wanted pieces to a pattern wherever they fit: in a strip, as a strip, as a block."""
    left = left - small.holds(pattern)
    for kind in order[:_SMALL]:
        while left[kind] > 0:
            more = next((p for p in _with(pattern, kind) if small.fits(p)), None)
            if more is None:
                break
            pattern = more
            left[kind] -= 1
    return pattern


def _with(pattern: Pattern, part: int) -> Iterator[Pattern]:
    """Yield the patterns with one part more."""
    for b, block in enumerate(pattern):
        for s, strip in enumerate(block):
            yield (*pattern[:b], (*block[:s], (*strip, part), *block[s + 1 :]), *pattern[b + 1 :])
        yield (*pattern[:b], (*block, (part,)), *pattern[b + 1 :])
    yield (*pattern, ((part,),))


def _mapped(pattern: Pattern, parts: Ints) -> Pattern:
    """Name the parts of a pattern as they are named in the whole problem."""
    return tuple(tuple(tuple(int(parts[part]) for part in strip) for strip in block) for block in pattern)


def _trimmed(pattern: Pattern, small: Sizes, now: Ints) -> Pattern:
    """Leave out of a pattern the parts that are wanted no more (-1 in `now`); of a pair, what is wanted stays alone."""

    def kept(part: int) -> int:
        alone = (int(now[int(k)]) for k in (small.first[part], small.second[part]) if k >= 0)
        return int(now[part]) if now[part] >= 0 else next((k for k in alone if k >= 0), -1)

    blocks = (tuple(s for strip in block if (s := tuple(k for part in strip if (k := kept(part)) >= 0))) for block in pattern)
    return tuple(block for block in blocks if block)


def _rest(small: Sizes, left: Ints, parts: Ints) -> Sizes:
    """Return the problem of what is left, with some of its parts."""
    kind = np.cumsum(left > 0) - 1
    second = small.second[parts]
    return replace(
        small,
        width=small.width[parts],
        height=small.height[parts],
        first=kind[small.first[parts]],
        second=np.where(second >= 0, kind[second], -1),
        demand=left[left > 0],
    )

"""Units sawn across into blocks, blocks ripped into strips, strips cut across: least units, with the bound of all such ways.

Column generation as in `columns`, over the patterns of `pricing`.  The bound is proven in whole numbers for every way of sawing
that the practice allows: three stages, a kerf between any two parts, a lower part ripped from its strip last, and at most two
raked or mitred pieces nested by one straight cut.  The plan is a choice among the patterns found, by a small integer program that
is stopped by a number of nodes, never by the clock.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from wallquant.cutting.nesting import Nested, Shape
from wallquant.cutting.pricing import Ints, Parts, Pattern, Pricing, stackings
from wallquant.units import Nm

_TYPES = 2000
_WAYS = 4000
_ROUNDS = 200
_WORK = 150_000_000
"""Most entries of all linear programs together; beyond it the bound is that of the last prices."""
_NODES = 100
_PRICE = 10**9
_STEADY = 0.5
"""How far prices are drawn to the best ones so far: prices of a linear program with few patterns leap about (P. Wentges, Weighted
Dantzig-Wolfe decomposition for linear mixed-integer programming, International Transactions in Operational Research 4 (1997))."""
_NEAR = 0.95
"""Patterns are taken from this share of the dearest on, at prices drawn so; only those that the linear program wants are kept."""
_GRID = range(1500, 3100)
"""How many steps of the grid a unit may be long."""
_USUAL = 2400


@dataclass(frozen=True, kw_only=True)
class Sizes:
    """Parts with their true sizes, nanometres: pieces first, then nested pairs."""

    width: Ints
    height: Ints
    first: Ints
    second: Ints
    demand: Ints
    length: Nm
    deep: Nm
    kerf: Nm

    def holds(self, pattern: Pattern) -> Ints:
        """Return how many pieces of each type a pattern holds."""
        out = np.zeros(len(self.demand), dtype=np.int64)
        parts = [part for block in pattern for strip in block for part in strip]
        np.add.at(out, self.first[parts], 1)
        np.add.at(out, [j for j in self.second[parts].tolist() if j >= 0], 1)
        return out

    def block(self, block: Sequence[Sequence[int]]) -> Nm:
        """Return the length of a block."""
        return max(sum(int(self.width[part]) + self.kerf for part in strip) for strip in block) - self.kerf

    def strip(self, strip: Sequence[int]) -> Nm:
        """Return the height of a strip."""
        return max(int(self.height[part]) for part in strip)

    def fits(self, pattern: Pattern) -> bool:
        """Return whether a unit is large enough for a pattern, to the nanometre."""
        return sum(self.block(b) + self.kerf for b in pattern) <= self.length + self.kerf and all(
            sum(self.strip(s) + self.kerf for s in b) <= self.deep + self.kerf for b in pattern
        )


def sizes(shapes: Sequence[Shape], demand: Sequence[int], pairs: Nested, *, length: Nm, height: Nm, kerf: Nm) -> Sizes:
    """Return the parts of some shapes and of pairs of them."""
    alone = np.arange(len(shapes))
    return Sizes(
        width=np.concatenate([np.array([s.width for s in shapes], dtype=np.int64), pairs.width]),
        height=np.concatenate([np.array([s.height for s in shapes], dtype=np.int64), pairs.height]),
        first=np.concatenate([alone, pairs.first]),
        second=np.concatenate([np.full(len(shapes), -1, dtype=np.int64), pairs.second]),
        demand=np.array(demand, dtype=np.int64),
        length=length,
        deep=height,
        kerf=kerf,
    )


def improve(given: Sizes, first: Sequence[tuple[Pattern, int]], bound: int) -> tuple[list[tuple[Pattern, int]], int]:
    """Return a plan with fewer units than `first` if one is found, and the better of two bounds.

    Parameters
    ----------
    given : Sizes
    first : sequence of (Pattern, int)
        A plan: patterns and how many units have each.
    bound : int
        Proven otherwise.
    """
    plan, units = list(first), sum(n for _, n in first)
    if units <= bound or len(given.demand) > _TYPES:
        return plan, bound
    # What leaves no room for another strip is as good as of the unit's height.
    full = np.where(given.height + given.kerf + int(given.height.min()) > given.deep, given.deep, given.height)
    heights, level = np.unique(full, return_inverse=True)
    ways = stackings(heights.tolist(), given.deep, given.kerf, _WAYS)
    if ways is None:
        return plan, bound
    step = _step(given)
    low = _Master(given, (given.width + given.kerf) // step, level, ways, (given.length + given.kerf) // step, plan)
    low.generate(units)
    bound = max(bound, low.bound)
    true = [p for p in low.patterns if given.fits(p)]
    chosen = _choose(given, low, true)
    found = min(plan, chosen, key=lambda p: sum(n for _, n in p)) if chosen else plan
    units = sum(n for _, n in found)
    if units > bound and len(true) < len(low.patterns):
        # Rounded sizes let in patterns that are a little too long: once more, with sizes rounded up.
        high = _Master(given, -(-(given.width + given.kerf) // step), level, ways, (given.length + given.kerf) // step, found)
        for pattern in true:
            high.add(pattern)
        high.generate(units)
        again = _choose(given, high, [p for p in high.patterns if given.fits(p)])
        found = min(found, again, key=lambda p: sum(n for _, n in p)) if again else found
    return found, bound


def _step(given: Sizes) -> Nm:
    """The grid that most widths are on."""
    capacity, widths = given.length + given.kerf, given.width[: len(given.demand)] + given.kerf
    exact = [capacity // n for n in _GRID if capacity % n == 0]
    if not exact:
        return -(-capacity // _USUAL)
    return max(exact, key=lambda step: (int(given.demand[widths % step == 0].sum()), step))


class _Master:
    """The linear program over the patterns known so far."""

    def __init__(self, given: Sizes, width: Ints, level: Ints, ways: Ints, capacity: int, plan: Sequence[tuple[Pattern, int]]) -> None:
        self.given = given
        self.pricing = Pricing(Parts(width=width, level=level, first=given.first, second=given.second), ways, capacity)
        self.patterns: list[Pattern] = []
        self.columns: list[Ints] = []
        self.known: set[bytes] = set()
        self.bound, self.value, self.worth = 0, 0.0, 0.0
        self.prices = np.zeros(len(given.demand))
        for part in range(len(given.demand)):
            self.add((((part,),),))
        for pattern, _ in plan:
            self.add(pattern)

    def add(self, pattern: Pattern) -> bool:
        column = self.given.holds(pattern)
        key = column.tobytes()
        if key in self.known:
            return False
        self.known.add(key)
        self.columns.append(column)
        self.patterns.append(pattern)
        return True

    def generate(self, units: int) -> None:
        """Add patterns until the bound cannot become better, or is `units`."""
        # Here, because most plans need no linear program and the import takes longer than all of them.
        from scipy.optimize import linprog
        from scipy.sparse import csc_array

        work, steady = 0, self._steady()
        for _ in range(_ROUNDS):
            table = np.stack(self.columns)
            answer = linprog(np.ones(len(table)), A_ub=csc_array(-table.T.astype(np.float64)), b_ub=-self.given.demand, method="highs-ds")
            if answer.status != 0:
                break
            self.value, self.prices = float(answer.fun), np.maximum(0, -answer.ineqlin.marginals)
            work += table.size
            for drawn in (_STEADY, 0.0):
                prices = drawn * steady + (1 - drawn) * self.prices
                best, value = self._priced(prices)
                if value > self.worth:
                    self.worth, steady = value, prices * (_PRICE / best)
                if self._done(units, work) or self._grow(int(_NEAR * best) if drawn else _PRICE + 1000):
                    break
            else:
                break
            if self._done(units, work):
                break

    def _done(self, units: int, work: int) -> bool:
        return self.bound >= min(units, self.value - 1e-6) or work > _WORK

    def _steady(self) -> NDArray[np.float64]:
        """Prices to begin with: a part's share of the units that hold nothing but its like."""
        given, n = self.given, len(self.given.demand)
        across = (given.length + given.kerf) // (given.width[:n] + given.kerf)
        prices = 1 / (across * ((given.deep + given.kerf) // (given.height[:n] + given.kerf)))
        best, self.worth = self._priced(prices)
        return prices * (_PRICE / best)

    def _priced(self, prices: NDArray[np.float64]) -> tuple[int, float]:
        """Find the dearest pattern at some prices, which proves a bound; return its price, and the bound with its fraction."""
        whole = np.floor(prices * _PRICE).astype(np.int64)
        best = self.pricing.solve(whole)
        total = sum(int(d) * int(p) for d, p in zip(self.given.demand, whole, strict=True))
        if best > 0:
            self.bound = max(self.bound, -(-total // best))
        return best, total / max(1, best)

    def _grow(self, least: int) -> int:
        """Add the dearest patterns that are not all alike; drop those far from use when there are many."""
        fresh = [(float(self.given.holds(p) @ self.prices), p) for p in self.pricing.dearest(least)]
        types = len(self.given.demand)
        if len(self.columns) > 5 * types:
            worth = np.stack(self.columns) @ self.prices
            keep = [i for i in range(len(worth)) if i < types or worth[i] > 0.9]
            if len(keep) < 0.8 * len(worth):
                self.columns, self.patterns = [self.columns[i] for i in keep], [self.patterns[i] for i in keep]
                self.known = {c.tobytes() for c in self.columns}
        seen, count = np.zeros(types, dtype=bool), 0
        for worth_of, pattern in sorted(fresh, key=lambda f: (-f[0], f[1])):
            inside = self.given.holds(pattern) > 0
            if worth_of > 1 + 1e-6 and not seen[inside].all() and self.add(pattern):
                seen |= inside
                count += 1
        return count


def _choose(given: Sizes, master: _Master, patterns: Sequence[Pattern]) -> list[tuple[Pattern, int]]:
    """Choose whole numbers of patterns by a small integer program; none where it finds no choice."""
    from scipy.optimize import Bounds, LinearConstraint, milp
    from scipy.sparse import csc_array

    table = np.stack([given.holds(p) for p in patterns])
    # One whose reduced cost is beyond one unit above the bound is in no plan that is sought.
    near = np.flatnonzero(1 - table @ master.prices <= max(1.0, master.bound + 1 - master.value) + 1e-6)
    cover = LinearConstraint(csc_array(table[near].T.astype(np.float64)), lb=given.demand)
    options = {"node_limit": _NODES, "mip_rel_gap": 0.0}
    answer = milp(np.ones(len(near)), constraints=cover, integrality=np.ones(len(near)), bounds=Bounds(0, np.inf), options=options)
    if answer.x is None:
        return []
    times = np.round(answer.x).astype(np.int64)
    if np.any(table[near].T @ times < given.demand):
        return []
    return [(patterns[at], int(n)) for at, n in zip(near.tolist(), times.tolist(), strict=True) if n]

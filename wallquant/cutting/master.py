"""The linear program over patterns of sawing, and its bound: which patterns there should be, and what each size is worth.

Patterns are found at prices drawn towards the best ones so far; the first of these come from the same problem with few sizes.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from wallquant.cutting.pricing import Ints, Parts, Pattern, Pricing
from wallquant.cutting.sizes import Sizes

_ROUNDS = 200
_WORK = 150_000_000
"""Most entries of all linear programs together; beyond it the bound is that of the last prices."""
PRICE = 10**9
_STEADY = 0.5
"""How far prices are drawn to the best ones so far: prices of a linear program with few patterns leap about (P. Wentges, Weighted
Dantzig-Wolfe decomposition for linear mixed-integer programming, International Transactions in Operational Research 4 (1997))."""
_NEAR = 0.95
"""Patterns are taken from this share of the dearest on, at prices drawn so; only those that the linear program wants are kept."""
_FEW = 100
"""Sizes of one height that stand for all of that height, in the problem with few sizes."""

Floats = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True)
class Grid:
    """Where patterns are searched: widths of the parts on a grid, levels of their heights, ways of stacking, the unit's length."""

    width: Ints
    level: Ints
    ways: Ints
    capacity: int

    def of(self, parts: Ints) -> Grid:
        """Return the grid of some of the parts."""
        return Grid(width=self.width[parts], level=self.level[parts], ways=self.ways, capacity=self.capacity)


class Master:
    """The linear program over the patterns known so far.

    Parameters
    ----------
    given : Sizes
    grid : Grid
    plan : iterable of Pattern
        Patterns to begin with, besides one piece alone of each size.
    prices : (sizes,) float64, optional
        Prices to begin with.
    """

    def __init__(self, given: Sizes, grid: Grid, plan: Iterable[Pattern], prices: Floats | None = None) -> None:
        self.given, self.grid = given, grid
        parts = Parts(width=grid.width, level=grid.level, first=given.first, second=given.second)
        self.pricing = Pricing(parts, grid.ways, grid.capacity)
        self.patterns: list[Pattern] = []
        self.columns: list[Ints] = []
        self.known: set[bytes] = set()
        self.bound, self.value, self.worth = 0, 0.0, 0.0
        self.prices = np.zeros(len(given.demand))
        self.times = np.zeros(0)
        self._first = prices
        for part in range(len(given.demand)):
            self.add((((part,),),))
        for pattern in plan:
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
            self.value, self.times, self.prices = float(answer.fun), answer.x, np.maximum(0, -answer.ineqlin.marginals)
            work += table.size
            for drawn in (_STEADY, 0.0):
                prices = drawn * steady + (1 - drawn) * self.prices
                best, value = self._priced(prices)
                if value > self.worth:
                    self.worth, steady = value, prices * (PRICE / best)
                if self._done(units, work) or self._grow(int(_NEAR * best) if drawn else PRICE + 1000):
                    break
            else:
                break
            if self._done(units, work):
                break

    def _done(self, units: int, work: int) -> bool:
        return self.bound >= min(units, self.value - 1e-6) or work > _WORK

    def _steady(self) -> Floats:
        """Return the best of several prices to begin with."""
        tried = [_shares(self.given)]
        if self._first is not None:
            tried.append(self._first)
        elif len(self.given.demand) > 3 * _FEW:
            tried.append(_coarse(self.given, self.grid))
        out = tried[0]
        for prices in tried:
            best, value = self._priced(prices)
            if value > self.worth:
                self.worth, out = value, prices * (PRICE / best)
        return out

    def _priced(self, prices: Floats) -> tuple[int, float]:
        """Find the dearest pattern at some prices, which proves a bound; return its price, and the bound with its fraction."""
        whole = np.floor(prices * PRICE).astype(np.int64)
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
                self.times = self.times[keep]
                self.known = {c.tobytes() for c in self.columns}
        seen, count = np.zeros(types, dtype=bool), 0
        for worth_of, pattern in sorted(fresh, key=lambda f: (-f[0], f[1])):
            inside = self.given.holds(pattern) > 0
            if worth_of > 1 + 1e-6 and not seen[inside].all() and self.add(pattern):
                seen |= inside
                count += 1
        return count


def _shares(given: Sizes) -> Floats:
    """Return as price of each size its share of a unit that holds nothing but its like."""
    n = len(given.demand)
    across = (given.length + given.kerf) // (given.width[:n] + given.kerf)
    out: Floats = 1 / (across * ((given.deep + given.kerf) // (given.height[:n] + given.kerf)))
    return out


def _coarse(given: Sizes, grid: Grid) -> Floats:
    """Return prices from the same problem with few sizes: those of a height are put in groups, each as long as its longest."""
    n = len(given.demand)
    level, width = grid.level[:n], grid.width[:n]
    groups: list[Ints] = []
    for one in np.unique(level).tolist():
        rows = np.flatnonzero(level == one)
        rows = rows[np.argsort(width[rows], kind="stable")]
        sums = np.cumsum(given.demand[rows])
        groups += [rows[some] for some in _parted((sums - 1) * _FEW // sums[-1])]
    longest = np.array([int(rows[-1]) for rows in groups])
    alone = np.arange(len(groups))
    few = Sizes(
        width=given.width[longest],
        height=given.height[longest],
        first=alone,
        second=np.full(len(groups), -1, dtype=np.int64),
        demand=np.array([int(given.demand[rows].sum()) for rows in groups], dtype=np.int64),
        length=given.length,
        deep=given.deep,
        kerf=given.kerf,
    )
    master = Master(few, grid.of(longest), (), _shares(few))
    master.generate(int(few.demand.sum()))
    prices = np.zeros(n)
    for one in np.unique(level).tolist():
        rows, known = np.flatnonzero(level == one), np.flatnonzero(level[longest] == one)
        prices[rows] = np.interp(width[rows], [0, *width[longest[known]]], [0, *master.prices[known]])
    return prices


def _parted(groups: Ints) -> list[Ints]:
    """Return the positions of each number of a rising list."""
    return [part for part in np.split(np.arange(len(groups)), np.flatnonzero(np.diff(groups)) + 1) if len(part)]

"""Column generation for one-dimensional cutting: better patterns, and the bound of the linear relaxation.

P. C. Gilmore, R. E. Gomory, A linear programming approach to the cutting-stock problem, Operations Research 9 (1961).  The
linear programs are solved in floating point, but the bound is proven in whole numbers: prices y are rounded to whole numbers,
the dearest pattern Z at these prices is found exactly, and sum(demand y) / Z is a bound whatever the prices are.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import gcd

import numpy as np
from numpy.typing import NDArray

from wallquant.cutting.bounds import least_bins
from wallquant.cutting.packing import Pattern, best_fit

_GRID = 2048
"""Finest grid of the knapsack; a capacity that has no such exact grid gets one rounded to the safe side."""
_TYPES = 600
_ROUNDS = 60
_PRICE = 10**9

Ints = NDArray[np.int64]


@dataclass(frozen=True, kw_only=True, slots=True)
class Solution:
    """Patterns that hold all pieces, how many bins have each, and the proven least number of bins."""

    patterns: tuple[tuple[Pattern, int], ...]
    bound: int

    @property
    def bins(self) -> int:
        return sum(count for _, count in self.patterns)


def solve(widths: Sequence[int], demands: Sequence[int], capacity: int) -> Solution:
    """Pack pieces by best fit and, where that is not proven to be least, by column generation.

    Parameters
    ----------
    widths : sequence of int
        Distinct, falling, at most `capacity`.
    demands : sequence of int
    capacity : int

    Notes
    -----
    With more than 600 widths column generation is left out.
    """
    first = Solution(patterns=tuple(best_fit(widths, demands, capacity)), bound=least_bins(widths, demands, capacity))
    if first.bins == first.bound or len(widths) > _TYPES:
        return first
    step = gcd(capacity, *widths)
    exact = capacity // step <= _GRID
    grid = step if exact else -(-capacity // _GRID)
    if min(widths) < grid:
        return first
    low = _generate([w // grid for w in widths], demands, capacity // grid, first if exact else None)
    bound = max(first.bound, low.bound)
    if first.bins == bound:
        return Solution(patterns=first.patterns, bound=bound)
    high = low if exact else _generate([-(-w // grid) for w in widths], demands, capacity // grid, None)
    found = [first.patterns, *_rounded(high, widths, demands, capacity)]
    return Solution(patterns=min(found, key=lambda ps: sum(count for _, count in ps)), bound=bound)


@dataclass(frozen=True, kw_only=True)
class _Relaxed:
    columns: Ints
    """(patterns, types): how many of each type."""
    times: NDArray[np.float64]
    bound: int


def _generate(widths: Sequence[int], demands: Sequence[int], capacity: int, start: Solution | None) -> _Relaxed:
    """Solve the linear relaxation on a grid of whole numbers."""
    # Here, because best fit is proven least for most plans and the import takes longer than all of it.
    from scipy.optimize import linprog
    from scipy.sparse import csc_array

    sizes, wanted = np.array(widths, dtype=np.int64), np.array(demands, dtype=np.int64)
    columns = [np.bincount([i], minlength=len(sizes)) * max(1, capacity // w) for i, w in enumerate(widths)]
    for pattern, _ in start.patterns if start else ():
        column = np.zeros(len(sizes), dtype=np.int64)
        for index, many in pattern:
            column[index] += many
        columns.append(column)
    known = {c.tobytes() for c in columns}
    bound, times = 0, np.zeros(len(columns))
    for _ in range(_ROUNDS):
        table = np.stack(columns)
        answer = linprog(np.ones(len(columns)), A_ub=csc_array(-table.T.astype(np.float64)), b_ub=-wanted, method="highs")
        if answer.status != 0:
            break
        times = answer.x
        prices = np.maximum(0, np.floor(-answer.ineqlin.marginals * _PRICE)).astype(np.int64)
        best = _knapsack(sizes, prices, capacity)
        total = sum(int(d) * int(p) for d, p in zip(wanted, prices, strict=True))
        bound = max(bound, -(-total // int(best[-1])) if best[-1] > 0 else 0)
        fresh = [c for c in _priced(sizes, prices, best) if c.tobytes() not in known]
        if not fresh or best[-1] <= _PRICE + 1000 or answer.fun <= bound:
            break
        known.update(c.tobytes() for c in fresh)
        columns += fresh
    return _Relaxed(columns=np.stack(columns[: len(times)]), times=times, bound=bound)


def _knapsack(sizes: Ints, prices: Ints, capacity: int) -> Ints:
    """Greatest price of pieces that go into each capacity from 0 to `capacity`, each as often as wanted."""
    best = np.zeros(capacity + 1, dtype=np.int64)
    order = np.argsort(sizes, kind="stable")
    small, dear = sizes[order], prices[order]
    fits = np.searchsorted(small, np.arange(capacity + 1), side="right")
    for room in range(1, capacity + 1):
        many = fits[room]
        best[room] = max(best[room - 1], (best[room - small[:many]] + dear[:many]).max()) if many else 0
    return best


def _priced(sizes: Ints, prices: Ints, best: Ints) -> list[Ints]:
    """The dearest pattern with each type, of those dearer than a bin; the dearest first, each once."""
    capacity = len(best) - 1
    worth = np.where(sizes <= capacity, prices + best[np.maximum(0, capacity - sizes)], 0)
    out: dict[bytes, Ints] = {}
    for first in np.argsort(-worth, kind="stable").tolist():
        if worth[first] <= _PRICE + 1000:
            break
        column = np.zeros(len(sizes), dtype=np.int64)
        column[first] += 1
        room = capacity - int(sizes[first])
        while best[room] > 0:
            fit = np.flatnonzero(sizes <= room)
            pick = int(fit[np.argmax(best[room - sizes[fit]] + prices[fit])])
            if best[room - sizes[pick]] + prices[pick] < best[room]:
                room -= 1
                continue
            column[pick] += 1
            room -= int(sizes[pick])
        out.setdefault(column.tobytes(), column)
    return list(out.values())


def _rounded(relaxed: _Relaxed, widths: Sequence[int], demands: Sequence[int], capacity: int) -> list[tuple[tuple[Pattern, int], ...]]:
    """Round a relaxed solution: whole parts, then whole patterns while all of their pieces are wanted, then best fit."""
    out = []
    for greedy in (False, True):
        left = np.array(demands, dtype=np.int64)
        chosen: dict[int, int] = {}
        whole = np.floor(relaxed.times + 1e-7).astype(np.int64)
        part = relaxed.times - whole
        queue = np.argsort(-part, kind="stable").tolist()
        for times, index in [(int(whole[i]), i) for i in range(len(whole))] + [(1, i) for i in queue if greedy and part[i] > 1e-7]:
            column = relaxed.columns[index]
            used = column > 0
            taken = min(times, int((left[used] // column[used]).min())) if used.any() else 0
            if taken:
                left -= taken * column
                chosen[index] = chosen.get(index, 0) + taken
        rest = [i for i in range(len(widths)) if left[i]]
        packed = best_fit([widths[i] for i in rest], [int(left[i]) for i in rest], capacity)
        patterns = [(tuple((int(i), int(relaxed.columns[c][i])) for i in np.flatnonzero(relaxed.columns[c])), n) for c, n in chosen.items()]
        out.append((*patterns, *((tuple((rest[i], m) for i, m in pattern), n) for pattern, n in packed)))
    return out

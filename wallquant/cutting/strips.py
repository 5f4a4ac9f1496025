"""A first plan of sawing: pairs that save most, then strips by best fit for each height, then strips into units."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence

import numpy as np

from wallquant.cutting.columns import Solution, solve
from wallquant.cutting.packing import best_fit
from wallquant.cutting.pricing import Pattern, Strip
from wallquant.cutting.sizes import Sizes


def first_plan(given: Sizes, *, quick: bool) -> tuple[list[tuple[Pattern, int]], int]:
    """Return patterns with how many units have each, and the proven least number of units for parts of full height.

    Parameters
    ----------
    given : Sizes
    quick : bool
        Strips by best fit alone; else by column generation, which also gives the bound (0 where pairs were nested).
    """
    parts = _paired(given)
    height = {part: int(given.height[part]) for part in parts}
    out: Counter[Pattern] = Counter()
    full, bound = _strips(given, {p: n for p, n in parts.items() if height[p] == given.deep}, quick=quick)
    for strip, count in full:
        out[tuple((((part,),)) for part in strip)] += count
    low: list[tuple[Strip, int]] = []
    for deep in sorted({h for h in height.values() if h < given.deep}, reverse=True):
        low += _strips(given, {p: n for p, n in parts.items() if height[p] == deep}, quick=quick)[0]
    if low:
        strips = [strip for strip, count in low for _ in range(count)]
        deeps = [given.strip(s) + given.kerf for s in strips]
        for rows in _packed(deeps, given.deep + given.kerf, quick=quick)[0]:
            out[(tuple(strips[row] for row in rows),)] += 1
    return list(out.items()), bound if len(given.width) == len(given.demand) else 0


def _paired(given: Sizes) -> dict[int, int]:
    """How many of each part: pairs as long as they save length, the rest of the pieces alone."""
    left = given.demand.copy()
    many = len(left)
    one, two = given.first[many:], given.second[many:]
    saved = given.width[one] + given.width[two] + given.kerf - given.width[many:]
    out: dict[int, int] = {}
    for at in np.argsort(-saved, kind="stable").tolist():
        i, k = int(one[at]), int(two[at])
        count = int(left[i]) // 2 if i == k else int(min(left[i], left[k]))
        if count and given.height[many + at] == max(given.height[i], given.height[k]):
            left[i] -= count
            left[k] -= count
            out[many + at] = count
    return {**{i: int(n) for i, n in enumerate(left) if n}, **out}


def _strips(given: Sizes, parts: dict[int, int], *, quick: bool) -> tuple[list[tuple[Strip, int]], int]:
    """Parts of one height as strips of a unit's length."""
    listed = [part for part, count in parts.items() for _ in range(count)]
    widths = [int(given.width[part]) + given.kerf for part in listed]
    rows, bound = _packed(widths, given.length + given.kerf, quick=quick)
    return list(Counter(tuple(listed[row] for row in one) for one in rows).items()), bound


def _packed(widths: Sequence[int], capacity: int, *, quick: bool) -> tuple[Iterator[list[int]], int]:
    """Bins as lists of positions in `widths`, the widest first, and the proven least number of them."""
    kinds = sorted(set(widths), reverse=True)
    count = Counter(widths)
    demands = [count[w] for w in kinds]
    found = Solution(patterns=tuple(best_fit(kinds, demands, capacity)), bound=0) if quick else solve(kinds, demands, capacity)
    at = {w: i for i, w in enumerate(kinds)}
    queues: list[list[int]] = [[] for _ in kinds]
    for row in reversed(range(len(widths))):
        queues[at[widths[row]]].append(row)

    def bins() -> Iterator[list[int]]:
        for pattern, times in found.patterns:
            for _ in range(times):
                rows = [queues[kind].pop() for kind, many in pattern for _ in range(min(many, len(queues[kind])))]
                if rows:
                    yield rows

    return bins(), found.bound

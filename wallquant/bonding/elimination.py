"""Choose one value of each variable so that a sum of small tables is least, by eliminating one variable after the other.

Exact where the tables stay small.  Where eliminating would make a table larger than `CELLS`, a variable is held at its present
value instead; the result is then never worse than the present choice, and no longer proven.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

Table = NDArray[np.int64]

CELLS = 60_000
"""Most cells of a table."""


def eliminated(costs: Mapping[int, Table], tables: Mapping[tuple[int, int], Table], now: Mapping[int, int]) -> dict[int, int]:
    """Return a value of each variable.

    Parameters
    ----------
    costs : mapping of variable to array, shape (values,)
    tables : mapping of two variables to array, shape (values of the first, values of the second)
    now : mapping of variable to value
        The present choice.
    """
    factors: dict[int, tuple[tuple[int, ...], Table]] = {}
    of: dict[int, set[int]] = {v: set() for v in costs}
    serial = 0

    def put(names: tuple[int, ...], table: Table) -> None:
        nonlocal serial
        factors[serial] = (names, table)
        for v in names:
            of[v].add(serial)
        serial += 1

    def take(v: int) -> list[tuple[tuple[int, ...], Table]]:
        out = []
        for k in sorted(of[v]):
            names, table = factors.pop(k)
            for w in names:
                of[w].discard(k)
            out.append((names, table))
        return out

    for v in sorted(costs):
        put((v,), costs[v])
    for pair in sorted(tables):
        put(pair, tables[pair])
    size = {v: len(costs[v]) for v in costs}
    left = set(costs)
    sizes = {v: _cells(v, of, factors, size) for v in left}
    steps: list[tuple[int, tuple[int, ...], Table]] = []
    chosen: dict[int, int] = {}
    while left:
        cells, v, others = min(sizes.values())
        if cells > CELLS:
            v = max(left, key=lambda w: (len(of[w]), size[w], -w))
            others = sizes[v][2]
            for names, table in take(v):
                at = names.index(v)
                rest = names[:at] + names[at + 1 :]
                if rest:
                    put(rest, np.take(table, now[v], axis=at))
            chosen[v] = now[v]
        else:
            axes = (*others, v)
            total = np.zeros([size[w] for w in axes], np.int64)
            for names, table in take(v):
                order = sorted(range(len(names)), key=lambda k: axes.index(names[k]))
                shape = [size[w] if w in names else 1 for w in axes]
                total += table.transpose(order).reshape(shape)
            steps.append((v, others, total.argmin(axis=-1)))
            if others:
                put(others, total.min(axis=-1))
        left.discard(v)
        del of[v], sizes[v]
        sizes |= {w: _cells(w, of, factors, size) for w in others}  # what else there is has the tables that it had
    for v, others, best in reversed(steps):
        chosen[v] = int(best[tuple(chosen[w] for w in others)])
    return chosen


def _cells(
    v: int, of: Mapping[int, set[int]], factors: Mapping[int, tuple[tuple[int, ...], Table]], size: Mapping[int, int]
) -> tuple[int, int, tuple[int, ...]]:
    """Return how many cells eliminating a variable takes, the variable, and the others in its table."""
    others = tuple(sorted({w for k in of[v] for w in factors[k][0] if w != v}))
    cells = size[v]
    for w in others:
        cells *= size[w]
    return cells, v, others

"""How long all that comes before a step takes, and all that comes after it, when it is shared by as many as there are."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from wallquant.ordering.precedence import Graph

MOST = 4000
"""Plans of more steps are not asked: the table of who comes before whom has the square of their number."""

_Ints = NDArray[np.int64]


def shares(graph: Graph, loads: Sequence[tuple[_Ints, int]]) -> tuple[_Ints, _Ints]:
    """Return for each step the working seconds that all before it take at least, and all after it.

    Parameters
    ----------
    graph : Graph
    loads : sequence of (ndarray of int64, shape (steps,), int)
        Work of each step, in seconds times what it takes, and how much of that there is.

    Returns
    -------
    before, after : ndarray of int64, shape (steps,)
        Zero where the plan has more than `MOST` steps.
    """
    count = len(graph.steps)
    before, after = np.zeros(count, np.int64), np.zeros(count, np.int64)
    if count > MOST or not loads:
        return before, after
    table = np.zeros((count, count), bool)  # row: step; column: what comes before it
    pointer = graph.pointer.tolist()
    for step in graph.order.tolist():
        thens = graph.then[pointer[step] : pointer[step + 1]]
        if len(thens):
            table[step, step] = True
            table[thens] |= table[step]
            table[step, step] = False
    work = np.stack([load for load, _ in loads], axis=1)
    whole = np.array([number for _, number in loads], np.int64)
    before = (-(-(table @ work) // whole)).max(axis=1)
    after = (-(-(table.T @ work) // whole)).max(axis=1)
    return before.astype(np.int64), after.astype(np.int64)

"""Which run passes at each corner in each course: a small exact optimisation over the whole graph.

At a corner that can bond two runs pass in turn; the only choice is which one begins, its *parity*.  Cuts of a run depend on the
parities at all its corners, so they are chosen together: exactly (all combinations) up to `EXACT` corners of a connected part,
beyond that by improving one corner after the other from two starts.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from itertools import product

import networkx as nx

EXACT = 12
"""Up to so many corners of one connected part all combinations are tried."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Factor:
    """Cost of one run for the parities of its corners (in the order of `corners`)."""

    corners: tuple[str, ...]
    cost: Callable[[tuple[int, ...]], int]


def parities(corners: Sequence[str], factors: Sequence[Factor]) -> dict[str, int]:
    """Return the parity of each corner with the least total cost; of equal ones the first in order.

    Parameters
    ----------
    corners : sequence of str
        Corners that can bond.
    factors : sequence of Factor
        One a run; corners that are not in `corners` must not occur.
    """
    shared: nx.Graph[str] = nx.Graph()
    shared.add_nodes_from(corners)
    for f in factors:
        for a, b in zip(f.corners, f.corners[1:], strict=False):
            shared.add_edge(a, b)
    order = {c: n for n, c in enumerate(corners)}
    out: dict[str, int] = {}
    for part in sorted(nx.connected_components(shared), key=lambda p: min(order[c] for c in p)):
        names = sorted(part, key=order.__getitem__)
        own = [f for f in factors if f.corners and f.corners[0] in part]
        out.update(_exact(names, own) if len(names) <= EXACT else _improved(names, own))
    return out


def _exact(names: Sequence[str], factors: Sequence[Factor]) -> dict[str, int]:
    if not factors:
        return dict.fromkeys(names, 0)
    at = {c: n for n, c in enumerate(names)}
    tables = [({p: f.cost(p) for p in product((0, 1), repeat=len(f.corners))}, [at[c] for c in f.corners]) for f in factors]
    best = min(
        product((0, 1), repeat=len(names)),
        key=lambda p: (sum(table[tuple(p[k] for k in places)] for table, places in tables), p),
    )
    return dict(zip(names, best, strict=True))


def _improved(names: Sequence[str], factors: Sequence[Factor]) -> dict[str, int]:
    of: dict[str, list[Factor]] = {c: [f for f in factors if c in f.corners] for c in names}
    held: dict[tuple[int, tuple[int, ...]], int] = {}

    def cost(f: Factor, now: Mapping[str, int]) -> int:
        key = (id(f), tuple(now[c] for c in f.corners))
        if key not in held:
            held[key] = f.cost(key[1])
        return held[key]

    results: list[tuple[int, dict[str, int]]] = []
    for start in (0, 1):
        now = {c: (n % 2 if start else 0) for n, c in enumerate(names)}
        changed = True
        while changed:
            changed = False
            for c in names:
                before = sum(cost(f, now) for f in of[c])
                now[c] ^= 1
                if sum(cost(f, now) for f in of[c]) < before:
                    changed = True
                else:
                    now[c] ^= 1
        results.append((sum(cost(f, now) for f in factors), now))
    return min(results, key=lambda r: r[0])[1]

"""Share the connected parts of a building among worker processes; the result is the same for any number of them."""

from __future__ import annotations

import itertools
from collections.abc import Mapping, Sequence

from wallquant.bonding.asking import Asked
from wallquant.bonding.corners import Pattern
from wallquant.bonding.solving import Engine, Solved, solve
from wallquant.layout import Corner
from wallquant.workers import WORTH, at_most, spread

Part = tuple[dict[str, Asked], dict[str, Corner]]


def solve_all(
    asked: Mapping[str, Asked], corners: Mapping[str, Corner], engine: Engine, *, workers: int
) -> tuple[dict[str, Solved], dict[str, Pattern]]:
    """Solve all runs, connected part by connected part; see `wallquant.bonding.solving.solve`.

    Parameters
    ----------
    asked, corners
        As there.
    engine : Engine
        Used where this process solves.
    workers : int
        Most processes; 0: one a processor where processes can be forked, else none but this one.
    """
    count = shares(asked, workers)
    sizes = {name: _size(one) for name, one in asked.items()}
    batches = _batches(asked, corners, sizes, 4 * count) if count > 1 else []
    if len(batches) < 2 or 2 * sum(sizes[name] for name in batches[0][0]) > sum(sizes.values()):
        return solve(asked, corners, engine, workers=count)  # one part is most of the building
    runs: dict[str, Solved] = {}
    patterns: dict[str, Pattern] = {}
    # layouts are kept from batch to batch; runs and corners of different batches have nothing in common
    for done, found in spread(lambda part: solve(part[0], part[1], Engine(solvers=engine.solvers)), batches, workers=count):
        runs |= done
        patterns |= found
    for name, one in runs.items():
        engine.solver(asked[name].problem).solved[tuple(one.face.rows)] = one.stack
    return {name: runs[name] for name in asked}, {name: patterns[name] for name in corners if name in patterns}


def shares(asked: Mapping[str, Asked], workers: int) -> int:
    """Return among how many processes work on these runs is shared; `workers` as in `solve_all`."""
    return at_most(workers) if sum(_size(one) for one in asked.values()) >= WORTH else 1


def _size(one: Asked) -> int:
    """Return about how many pieces a run has."""
    run = one.fitted.run
    return len(one.fitted.courses) * (1 + run.length // one.problem.how.pitch)


def _batches(asked: Mapping[str, Asked], corners: Mapping[str, Corner], sizes: Mapping[str, int], most: int) -> list[Part]:
    """Return connected parts in up to so many batches of about one size, the largest first."""
    parts = _parts(asked, corners)
    parts.sort(key=lambda names: -sum(sizes[n] for n in names))
    held: list[list[str]] = [[] for _ in range(min(most, len(parts)))]
    load = [0] * len(held)
    for names in parts:
        k = load.index(min(load))
        held[k] += names
        load[k] += sum(sizes[n] for n in names)
    out: list[Part] = []
    for names in held:
        own = set(names)
        out.append(({n: one for n, one in asked.items() if n in own}, {c: k for c, k in corners.items() if own.intersection(k.runs)}))
    return out


def _parts(asked: Mapping[str, Asked], corners: Mapping[str, Corner]) -> list[list[str]]:
    """Return the runs that hang together by corners, in the order of the first of each."""
    root = {n: n for n in asked}

    def top(n: str) -> str:
        while root[n] != n:
            root[n] = root[root[n]]
            n = root[n]
        return n

    order = {n: k for k, n in enumerate(asked)}
    for c in corners.values():
        names: Sequence[str] = [n for n in c.runs if n in root]
        for a, b in itertools.pairwise(names):
            first, then = sorted((top(a), top(b)), key=order.__getitem__)
            root[then] = first
    out: dict[str, list[str]] = {}
    for n in asked:
        out.setdefault(top(n), []).append(n)
    return list(out.values())

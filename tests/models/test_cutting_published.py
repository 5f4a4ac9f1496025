"""Cutting against published instances with certified optima, read from a folder beside the project.

Sources: OR-Library, one-dimensional bin packing (J. E. Beasley, MIT), and a set of random instances under the MIT licence;
instances of our own generator are beside them.  Looked for in `shared/benchmarks/cutting` in every folder above this one.
"""

from __future__ import annotations

import csv
from collections import Counter
from functools import cache
from pathlib import Path

import pytest

from wallquant.cutting.bounds import least_bins
from wallquant.cutting.columns import solve
from wallquant.cutting.packing import Pattern, best_fit

FOLDER = next((f for up in Path(__file__).resolve().parents if (f := up / "shared" / "benchmarks" / "cutting").is_dir()), None)


@cache
def lines(name: str) -> list[str]:
    assert FOLDER is not None
    return (FOLDER / name).read_text(encoding="utf-8").splitlines()


def read(key: str) -> tuple[list[int], list[int], int]:
    """Widths from the largest, demands, capacity of an instance."""
    name, _, part = key.partition(":")
    rows = lines(name)
    sizes: Counter[int] = Counter()
    if part:  # OR-Library: name, then capacity, items and best known, then a size a line
        at = next(i for i, row in enumerate(rows) if row.strip() == part)
        capacity, count, _ = (int(x) for x in rows[at + 1].split())
        sizes.update(int(row) for row in rows[at + 2 : at + 2 + count])
    else:
        count, capacity = int(rows[0]), int(rows[1])
        for row in rows[2 : 2 + count]:
            size, *demand = row.split()
            sizes[int(size)] += int(demand[0]) if demand else 1
    widths = sorted(sizes, reverse=True)
    return widths, [sizes[w] for w in widths], capacity


def instances() -> list[tuple[str, int]]:
    if FOLDER is None:
        return []
    with (FOLDER / "optima.csv").open(encoding="utf-8", newline="") as file:
        return [(row["file"], int(row["certified_optimum"])) for row in csv.DictReader(file)]


def valid(patterns: list[tuple[Pattern, int]], widths: list[int], demands: list[int], capacity: int) -> int:
    """Number of bins of patterns that hold exactly all pieces and go into the capacity."""
    held = [0] * len(widths)
    for pattern, count in patterns:
        assert sum(widths[i] * many for i, many in pattern) <= capacity
        for i, many in pattern:
            held[i] += many * count
    assert held == demands
    return sum(count for _, count in patterns)


pytestmark = pytest.mark.skipif(FOLDER is None, reason="no folder shared/benchmarks/cutting beside the project")


@pytest.mark.parametrize(("key", "optimum"), instances())
def test_best_fit_and_its_bound(key: str, optimum: int) -> None:
    widths, demands, capacity = read(key)
    bins = valid(best_fit(widths, demands, capacity), widths, demands, capacity)
    assert least_bins(widths, demands, capacity) <= optimum <= bins <= max(optimum + 1, optimum * 1.07)


@pytest.mark.parametrize(("key", "optimum"), instances())
def test_columns_and_their_bound(key: str, optimum: int) -> None:
    widths, demands, capacity = read(key)
    found = solve(widths, demands, capacity)
    assert found.bound <= optimum <= valid(list(found.patterns), widths, demands, capacity) <= optimum + 1
    assert found.bound >= optimum - 1


@pytest.mark.parametrize("key", ["own_mid_300.txt", "own_bond_300.txt", "own_small_300.txt", "PM_u120_08.txt"])
def test_bound_on_a_rounded_grid(key: str) -> None:
    """Pieces a little smaller than published never need more bins, and have no common grid with the capacity."""
    optimum = dict(instances())[key]
    widths, demands, capacity = read(key)
    smaller = [w * 10_007 - i % 89 for i, w in enumerate(widths)]
    found = solve(smaller, demands, capacity * 10_007)
    assert found.bound <= optimum
    assert found.bound <= valid(list(found.patterns), smaller, demands, capacity * 10_007)
    assert found.bound >= optimum * 0.98


def test_most_are_equal_to_the_optimum() -> None:
    """At least 95 in 100 instances are cut from exactly the certified optimum."""
    found = [solve(*read(key)).bins == optimum for key, optimum in instances()]
    assert sum(found) >= 0.95 * len(found)

"""The cutting list of the bars as people read it: bars cut alike in one line, and which lengths are needed when."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass
from itertools import groupby, pairwise
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import pandas as pd

STUB = "bar stub"
"""Task of bars that are in the slab before day 1."""
FOR = {"bar": "upright", "beam bars": "bond beam", STUB: "stub in the slab"}
"""What the tasks of the first pack's rules are called; others by their own name."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Alike:
    """Bought bars that are cut alike; lengths in millimetres."""

    names: tuple[str, ...]
    lengths: tuple[float, ...]
    left: float


def alike(frame: pd.DataFrame) -> dict[tuple[str, float, float], list[Alike]]:
    """Return what is cut alike, by sort, diameter and bought length.

    Parameters
    ----------
    frame : DataFrame
        The content of bars.csv.
    """
    out: dict[tuple[str, float, float], list[Alike]] = {}
    columns = (frame[c].tolist() for c in ("bar", "sort", "size_mm", "stock_mm", "length_mm", "offcut_mm"))
    bars = [(name, tuple(rows)) for name, rows in groupby(zip(*columns, strict=True), key=lambda row: str(row[0]))]
    for (kind, lengths), some in groupby(bars, key=lambda one: (one[1][0][1:4], tuple(row[4] for row in one[1]))):
        group = list(some)
        one = Alike(names=tuple(name for name, _ in group), lengths=lengths, left=float(group[0][1][-1][5]))
        out.setdefault((str(kind[0]), float(kind[1]), float(kind[2])), []).append(one)
    return out


def wanted(frame: pd.DataFrame) -> list[tuple[int, str, float, float, int]]:
    """Return the day from which lengths are needed (0: before the pour), what for, diameter, length (mm), and how many."""
    columns = (frame[c].tolist() for c in ("task", "day", "size_mm", "length_mm"))
    rows = zip(*columns, strict=True)
    found = Counter((0 if task == STUB else int(day), str(task), float(size), float(length)) for task, day, size, length in rows)
    return [(day, FOR.get(task, task), size, length, count) for (day, task, size, length), count in sorted(found.items())]


def ranges(names: Iterable[str]) -> str:
    """Return names of bars in short: B001 to B004, B009."""
    some = sorted(names)
    numbers = [int(name[1:]) for name in some]
    starts = [0, *(n for n, (a, b) in enumerate(pairwise(numbers), 1) if b != a + 1), len(some)]
    parts = [some[a:b] for a, b in pairwise(starts) if b > a]
    return ", ".join(" ".join(part) if len(part) < 3 else f"{part[0]} to {part[-1]}" for part in parts)


def times(said: str, count: int) -> str:
    """Return something with how often it comes, where that is more than once."""
    return said if count == 1 else f"{count} × {said}"

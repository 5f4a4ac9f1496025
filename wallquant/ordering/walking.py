"""Where the work of each step is, so that masons walk there."""

from __future__ import annotations

import numpy as np

from wallquant.layout import Work
from wallquant.rules import Item
from wallquant.units import MM


def places(work: Work) -> list[tuple[int, int]]:
    """Return for each step of a plan the middle of its pieces or items in plan, in whole millimetres.

    Parameters
    ----------
    work : Work
        The plan with its steps.
    """
    pieces, count = work.pieces, len(work.steps)
    runs = [work.runs[name] for name in pieces.runs]
    start = np.array([r.start for r in runs], np.float64).reshape(-1, 2)
    along = np.array([r.direction for r in runs], np.float64).reshape(-1, 2)
    middle = (pieces.start + pieces.end) / 2
    at = (start[pieces.run] + along[pieces.run] * middle[:, None]) / MM
    size = np.array([len(s.pieces) for s in work.steps], np.int64)
    rows = np.fromiter((r for s in work.steps for r in s.pieces), np.int64, int(size.sum()))
    owner = np.repeat(np.arange(count), size)
    sums = [np.bincount(owner, weights=at[rows, k], minlength=count) for k in (0, 1)]
    found = np.rint(np.stack(sums, axis=1) / np.maximum(size, 1)[:, None]).astype(np.int64)
    out: list[tuple[int, int]] = [(x, y) for x, y in found.tolist()]
    for n in np.flatnonzero(size == 0).tolist():
        out[n] = _of_items(work, work.steps[n].items)
    return out


def _of_items(work: Work, rows: tuple[int, ...]) -> tuple[int, int]:
    items = [i for i in (work.items[n] for n in rows) if isinstance(i, Item)]
    spots = [work.runs[i.run].at((i.start + i.end) // 2) for i in items if i.run in work.runs]
    if not spots:
        return 0, 0
    x, y = (round(sum(spot[k] for spot in spots) / len(spots) / MM) for k in (0, 1))
    return x, y

"""One-dimensional cutting by best fit, longest first, with demands counted per length.

A kerf k is exact with widths l + k in a capacity L + k: the last piece needs no kerf where it ends at the unit's own end.
"""

from __future__ import annotations

from bisect import bisect_left, insort
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

Pattern = tuple[tuple[int, int], ...]
"""(class, how many) in the order of cutting."""


def best_fit(widths: Sequence[int], demands: Sequence[int], capacity: int) -> list[tuple[Pattern, int]]:
    """Put every piece into the fullest bin that still takes it, widest pieces first.

    Parameters
    ----------
    widths : sequence of int
        Distinct, falling, each positive and at most `capacity`.
    demands : sequence of int
        How many of each.
    capacity : int

    Returns
    -------
    list of (pattern, int)
        Patterns and how many bins have each, the fullest first.

    Notes
    -----
    Equal bins are kept together, so the time depends on the number of widths, not of pieces.
    """
    rooms: list[int] = []
    bins: dict[int, list[tuple[Pattern, int]]] = {}

    def put(room: int, pattern: Pattern, count: int) -> None:
        if room not in bins:
            insort(rooms, room)
            bins[room] = []
        bins[room].append((pattern, count))

    for index, (width, demand) in enumerate(zip(widths, demands, strict=True)):
        if not 0 < width <= capacity:
            raise ValueError(f"a width of {width} does not go into {capacity}")
        left = demand
        while left:
            at = bisect_left(rooms, width)
            if at == len(rooms):
                room, count = capacity, left
                pattern: Pattern = ()
            else:
                room = rooms[at]
                pattern, count = bins[room].pop()
                if not bins[room]:
                    del bins[room], rooms[at]
            each = min(room // width, left)
            taken = min(count, left // each)
            put(room - each * width, (*pattern, (index, each)), taken)
            left -= each * taken
            if pattern and count > taken:
                put(room, pattern, count - taken)
    return [one for room in rooms for one in bins[room]]


def spread(classes: NDArray[np.int64], patterns: Sequence[tuple[Pattern, int]]) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Give each piece its bin and its place in it.

    Parameters
    ----------
    classes : (n,) int64
        Class of each piece; pieces of a class go to the bins in their order.
    patterns : sequence of (pattern, int)
        Together they hold each class at least as often as there are pieces of it; slots too many stay empty.

    Returns
    -------
    bin, place : (n,) int64
        From 0; places of a bin rise, with gaps where a slot stayed empty.
    """
    order = np.argsort(classes, kind="stable")
    counts = np.bincount(classes) if len(classes) else np.zeros(0, dtype=np.int64)
    ends = np.cumsum(counts)
    nexts = ends - counts
    bins = np.empty(len(classes), dtype=np.int64)
    places = np.empty(len(classes), dtype=np.int64)
    base = 0
    for pattern, count in patterns:
        done = 0
        for index, each in pattern:
            if index < len(ends) and (wanted := int(min(each * count, ends[index] - nexts[index]))) > 0:
                rows = order[nexts[index] : nexts[index] + wanted]
                slot = np.arange(wanted)
                bins[rows] = base + slot // each
                places[rows] = done + slot % each
                nexts[index] += wanted
            done += each
        base += count
    if np.any(nexts != ends):
        raise ValueError("the patterns hold fewer pieces than there are")
    return np.unique(bins, return_inverse=True)[1].astype(np.int64), places

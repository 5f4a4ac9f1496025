"""Unions of closed intervals of whole nanometres: where a piece may start, and what holds or covers a stretch."""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from wallquant.units import Nm

Interval = tuple[Nm, Nm]
FAR: Nm = 10**15


def union(intervals: Sequence[Interval]) -> list[Interval]:
    """Return closed integer intervals as a sorted disjoint union."""
    out: list[Interval] = []
    for a, b in sorted(intervals):
        if out and a <= out[-1][1] + 1:
            if b > out[-1][1]:
                out[-1] = (out[-1][0], b)
        else:
            out.append((a, b))
    return out


def joined(spans: Iterable[Interval], most: Nm) -> list[Interval]:
    """Return the union of some intervals, gaps up to `most` (a joint) filled."""
    out: list[Interval] = []
    for a, b in sorted(spans):
        if out and a - out[-1][1] <= most:
            out[-1] = (out[-1][0], max(b, out[-1][1]))
        elif b > a:
            out.append((a, b))
    return out


def holds(intervals: Sequence[Interval], y: Nm) -> bool:
    """Say whether y lies in a sorted disjoint union."""
    k = bisect_left(intervals, (y + 1,))
    return k > 0 and intervals[k - 1][1] >= y


@dataclass(frozen=True, slots=True)
class Free:
    """Where pieces may start: closed intervals, their least and greatest members, sorted and disjoint."""

    first: list[Nm]
    last: list[Nm]

    def within(self, intervals: Iterable[Interval]) -> list[Interval]:
        """Return what of some closed intervals is free."""
        out: list[Interval] = []
        first, last = self.first, self.last
        count = len(first)
        for a, b in intervals:
            k = bisect_left(last, a) if a <= b else count
            while k < count and first[k] <= b:
                p, q = first[k], last[k]
                out.append((p if p > a else a, q if q < b else b))
                k += 1
        return out


def free(windows: Sequence[Interval], lo: Nm, hi: Nm) -> Free:
    """Return the whole numbers from lo to hi less open windows (sorted by start; they may overlap)."""
    first: list[Nm] = []
    last: list[Nm] = []
    at = lo
    for a, b in windows:
        if b <= at:
            continue
        if a >= hi:
            break
        if a >= at:
            first.append(at)
            last.append(a)
        at = b
    if at <= hi:
        first.append(at)
        last.append(hi)
    return Free(first, last)

"""The dearest way of sawing one unit, exactly: across into blocks, each block ripped into strips, each strip cut across.

`Parts` are rectangles: a piece's box, or the block of two that are nested.  A strip holds parts that are no higher than it; what is
lower is ripped to its own height last.  Strips lie on one another in a block, blocks side by side in the unit, a kerf between any
two.  Lengths are on a grid of whole numbers with their kerf in them, heights are exact.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Ints = NDArray[np.int64]
Strip = tuple[int, ...]
"""Parts from left to right."""
Pattern = tuple[tuple[Strip, ...], ...]
"""Blocks of strips; the strips of a block from below."""

NONE = np.int64(-(1 << 60))


@dataclass(frozen=True, kw_only=True)
class Parts:
    """Rectangles with what they hold: parallel arrays.

    Attributes
    ----------
    width : (n,) int64
        With a kerf, on a grid.
    level : (n,) int64
        Index into the distinct heights, from the lowest.
    first, second : (n,) int64
        Types of the pieces; `second` is -1 where there is but one.
    """

    width: Ints
    level: Ints
    first: Ints
    second: Ints


def stackings(heights: Sequence[int], height: int, kerf: int, most: int) -> Ints | None:
    """Return all ways of filling a unit's height with strips that cannot be improved by a higher or another strip.

    Parameters
    ----------
    heights : sequence of int
        Distinct, rising.
    height, kerf : int
    most : int
        None is returned where there are more ways than this.

    Returns
    -------
    (ways, heights) int64
        How many strips of each height.
    """
    out: list[list[int]] = []

    def fill(top: int, room: int, way: list[int]) -> bool:
        for k in range(top, -1, -1):
            if heights[k] + kerf <= room and not fill(k, room - heights[k] - kerf, [*way, k]):
                return False
        rest = room - kerf  # what one strip may grow by, or another one be, a kerf left
        if heights[0] <= rest or any(k + 1 < len(heights) and heights[k + 1] - heights[k] <= room for k in set(way)):
            return True
        out.append(way)
        return len(out) <= most

    if not fill(len(heights) - 1, height + kerf, []):
        return None
    table = np.zeros((len(out), len(heights)), dtype=np.int64)
    for row, way in enumerate(out):
        np.add.at(table[row], way, 1)
    return table


class Pricing:
    """Finds the dearest patterns at given prices of the types.

    Parameters
    ----------
    parts : Parts
    ways : (ways, heights) int64
        From `stackings`.
    capacity : int
        The unit's length with a kerf, on the grid.
    """

    def __init__(self, parts: Parts, ways: Ints, capacity: int) -> None:
        self.parts, self.ways, self.capacity = parts, ways, capacity

    def solve(self, prices: Ints) -> int:
        """Set the prices (whole numbers) and return the greatest price of a pattern."""
        p, size = self.parts, self.capacity + 1
        self.worth = prices[p.first] + np.where(p.second >= 0, prices[p.second], 0)
        table = np.full((self.ways.shape[1], size), NONE)
        np.maximum.at(table, (p.level, p.width), self.worth)
        self.table = np.maximum.accumulate(table, axis=0)
        self.strip = _filled(self.table)
        self.block = (self.ways @ self.strip).max(axis=0)
        self.unit = _filled(np.where(np.diff(self.block, prepend=-1) > 0, self.block, NONE)[None, :])[0]
        return int(self.unit[-1])

    def dearest(self, least: int) -> list[Pattern]:
        """Return for each type of piece the dearest pattern found with it, if it is dearer than `least`; each pattern once."""
        p, whole = self.parts, np.full(len(self.parts.width), self.capacity)
        out: dict[Pattern, None] = {}
        best: dict[int, tuple[int, int, int]] = {}
        for kind, room in ((0, p.width), (1, whole)):
            rest = self.strip[p.level, room - p.width]
            stack = self.ways @ self.strip[:, room] - self.strip[p.level, room][None, :]
            stack[self.ways[:, p.level] == 0] = NONE
            total = self.worth + rest + stack.max(axis=0) + self.unit[self.capacity - room]
            for at in np.flatnonzero(total > least).tolist():
                for one in (int(p.first[at]), int(p.second[at])):
                    if one >= 0 and total[at] > best.get(one, (0, 0, 0))[0]:
                        best[one] = (int(total[at]), at, kind)
        out[self._units(self.capacity)] = None
        for _, (_, at, kind) in sorted(best.items()):
            long = self.capacity if kind else int(p.width[at])
            level = int(p.level[at])
            stack = self.ways @ self.strip[:, long] - self.strip[level, long]
            stack[self.ways[:, level] == 0] = NONE
            way = self.ways[int(np.argmax(stack))].copy()
            way[level] -= 1
            first = (at, *self._parts(level, long - int(p.width[at])))
            block = (first, *self._strips(way, long))
            out[(block, *self._units(self.capacity - long))] = None
        return list(out)

    def _units(self, room: int) -> Pattern:
        blocks: list[tuple[Strip, ...]] = []
        while self.unit[room] > 0:
            room = int(np.searchsorted(self.unit[: room + 1], self.unit[room]))
            # The shortest block that leaves the rest at its best price.
            sums = self.block[1 : room + 1] + self.unit[room - 1 :: -1][:room]
            long = int(np.argmax(sums == self.unit[room])) + 1
            way = self.ways[int(np.argmax(self.ways @ self.strip[:, long]))]
            blocks.append(self._strips(way, long))
            room -= long
        return tuple(blocks)

    def _strips(self, way: Ints, room: int) -> tuple[Strip, ...]:
        strips = [self._parts(level, room) for level in range(len(way) - 1, -1, -1) for _ in range(int(way[level]))]
        return tuple(s for s in strips if s)

    def _parts(self, level: int, room: int) -> Strip:
        out: list[int] = []
        strip, p = self.strip[level], self.parts
        while strip[room] > 0:
            room = int(np.searchsorted(strip[: room + 1], strip[room]))
            sums = self.table[level, 1 : room + 1] + strip[room - 1 :: -1][:room]
            long = int(np.argmax(sums == strip[room])) + 1
            fits = (p.width == long) & (p.level <= level) & (self.worth == self.table[level, long])
            out.append(int(np.argmax(fits)))
            room -= long
        return tuple(out)


def _filled(table: Ints) -> Ints:
    """Greatest sum of entries of each row whose positions, together, are at most each position; each may be used many times."""
    size = table.shape[1]
    best = np.maximum.accumulate(np.maximum(table, 0), axis=1)
    best[:, 0] = 0
    better = np.zeros(size, dtype=bool)
    better[1:] = (table[:, 1:] > best[:, :-1]).any(axis=0)
    for at in np.flatnonzero(better).tolist():
        for _ in range(size // at):
            more = best[:, :-at] + table[:, at : at + 1]
            now = best[:, at:]
            if not (more > now).any():
                break
            np.maximum(now, more, out=now)
    return best

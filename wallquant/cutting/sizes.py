"""The parts that units are sawn into, with their true sizes: pieces, and pairs of raked or mitred pieces that are nested."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from wallquant.cutting.nesting import Nested, Shape
from wallquant.cutting.pricing import Ints, Pattern
from wallquant.units import Nm


@dataclass(frozen=True, kw_only=True)
class Sizes:
    """Parts with their true sizes, nanometres: pieces first, then nested pairs."""

    width: Ints
    height: Ints
    first: Ints
    second: Ints
    demand: Ints
    length: Nm
    deep: Nm
    kerf: Nm

    def holds(self, pattern: Pattern) -> Ints:
        """Return how many pieces of each type a pattern holds."""
        out = np.zeros(len(self.demand), dtype=np.int64)
        parts = [part for block in pattern for strip in block for part in strip]
        np.add.at(out, self.first[parts], 1)
        np.add.at(out, [j for j in self.second[parts].tolist() if j >= 0], 1)
        return out

    def block(self, block: Sequence[Sequence[int]]) -> Nm:
        """Return the length of a block."""
        return max(sum(int(self.width[part]) + self.kerf for part in strip) for strip in block) - self.kerf

    def strip(self, strip: Sequence[int]) -> Nm:
        """Return the height of a strip."""
        return max(int(self.height[part]) for part in strip)

    def fits(self, pattern: Pattern) -> bool:
        """Return whether a unit is large enough for a pattern, to the nanometre."""
        return sum(self.block(b) + self.kerf for b in pattern) <= self.length + self.kerf and all(
            sum(self.strip(s) + self.kerf for s in b) <= self.deep + self.kerf for b in pattern
        )


def sizes(shapes: Sequence[Shape], demand: Sequence[int], pairs: Nested, *, length: Nm, height: Nm, kerf: Nm) -> Sizes:
    """Return the parts of some shapes and of pairs of them."""
    alone = np.arange(len(shapes))
    return Sizes(
        width=np.concatenate([np.array([s.width for s in shapes], dtype=np.int64), pairs.width]),
        height=np.concatenate([np.array([s.height for s in shapes], dtype=np.int64), pairs.height]),
        first=np.concatenate([alone, pairs.first]),
        second=np.concatenate([np.full(len(shapes), -1, dtype=np.int64), pairs.second]),
        demand=np.array(demand, dtype=np.int64),
        length=length,
        deep=height,
        kerf=kerf,
    )

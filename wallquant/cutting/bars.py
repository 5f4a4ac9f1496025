"""Cut bars to length from bought bars: by sort, size and bought length, with a proven least number of bars."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from wallquant.bonding.bars import lengths
from wallquant.cutting.columns import solve
from wallquant.cutting.packing import spread
from wallquant.rules import Item
from wallquant.units import MM, Nm

PLAIN = "bar"
"""What is bought where an item says no other sort."""
KERF: Nm = 3 * MM
"""What a cut takes: about 3 mm with a cut-off disc, and nothing with shears (common practice, no source)."""


Kind = tuple[str, Nm, Nm]
"""What a bar is (bar, rod), its diameter, and its length as bought."""


@dataclass(frozen=True, kw_only=True, slots=True)
class _Wanted:
    length: Nm
    when: int
    item: int
    part: int
    parts: int


@dataclass(frozen=True, kw_only=True, slots=True)
class Length:
    """A length that is cut: of which item (its place among the items), the how-manieth of its lengths, and from which bar.

    `bar` is an index into `Bars.names`, `order` its place in the bar from 1, `offcut` what is left of the bar behind it, 0 where
    another length follows.
    """

    item: int
    part: int
    parts: int
    length: Nm
    bar: int
    order: int
    offcut: Nm


@dataclass(frozen=True, kw_only=True, slots=True)
class Bought:
    """Bars of one sort, diameter and length: how many, for how many lengths, and the proven least number."""

    sort: str
    size: Nm
    stock: Nm
    bars: int
    lengths: int
    bound: int
    used: Nm

    @property
    def offcuts(self) -> Nm:
        """What is left over or lost in cuts, nanometres."""
        return self.bars * self.stock - self.used


@dataclass(frozen=True, kw_only=True)
class Bars:
    """The cutting list of a plan's bars: `lengths` by bar and order, bars cut alike one after another."""

    names: tuple[str, ...] = ()
    kinds: tuple[Kind, ...] = ()
    """What each bar is."""
    lengths: tuple[Length, ...] = ()
    bought: tuple[Bought, ...] = ()


def cut_bars(items: Sequence[object], when: Sequence[int] | None = None) -> Bars:
    """Plan the cutting of all bars that are cut from bought ones.

    Parameters
    ----------
    items : sequence
        Of a plan: those of kind ``bar`` with a `stock`; others are passed over.
    when : sequence of int, optional
        For each item when it is needed; of equal lengths the earlier come from bars with lower numbers.

    Returns
    -------
    Bars
        Fewest bars as column generation finds them, with the bound of its linear relaxation: no plan takes fewer.
    """
    wanted: dict[Kind, list[_Wanted]] = {}
    for n, item in enumerate(items):
        if isinstance(item, Item) and item.kind == "bar":
            some = lengths(item)
            for part, length in enumerate(some, 1):
                one = _Wanted(length=length, when=when[n] if when is not None else 0, item=n, part=part, parts=len(some))
                wanted.setdefault((item.sort or PLAIN, item.size, item.stock), []).append(one)
    names: list[str] = []
    kinds: list[Kind] = []
    rows: list[Length] = []
    bought: list[Bought] = []
    for (sort, size, stock), asked in sorted(wanted.items()):
        asked.sort(key=lambda one: (-one.length, one.when, one.item, one.part))
        bars, bound = _packed([one.length for one in asked], stock)
        for k, bar in enumerate(bars, len(names)):
            left = stock - sum(asked[n].length + KERF for n in bar)
            for order, n in enumerate(bar, 1):
                one, rest = asked[n], max(0, left) if order == len(bar) else 0
                rows.append(Length(item=one.item, part=one.part, parts=one.parts, length=one.length, bar=k, order=order, offcut=rest))
        names += [f"B{k:03d}" for k in range(len(names) + 1, len(names) + len(bars) + 1)]
        kinds += [(sort, size, stock)] * len(bars)
        used = sum(one.length for one in asked)
        bought.append(Bought(sort=sort, size=size, stock=stock, bars=len(bars), lengths=len(asked), bound=bound, used=used))
    return Bars(names=tuple(names), kinds=tuple(kinds), lengths=tuple(rows), bought=tuple(bought))


def _packed(falling: Sequence[Nm], stock: Nm) -> tuple[list[list[int]], int]:
    """Return the places of the lengths in each bar, bars cut alike one after another, and the proven least number of bars."""
    sizes, classes = np.unique(-np.array(falling, dtype=np.int64), return_inverse=True)
    found = solve([int(-w) + KERF for w in sizes], np.bincount(classes).tolist(), stock + KERF)
    patterns = sorted(found.patterns, key=lambda one: tuple((i, -n) for i, n in one[0]))
    bar, place = spread(classes.astype(np.int64), patterns)
    out: list[list[int]] = [[] for _ in range(int(bar.max()) + 1)]
    for n in np.lexsort((place, bar)).tolist():
        out[int(bar[n])].append(n)
    return out, found.bound

"""Bars among what is laid: lying ones that touch are one bar, upright ones end at lintels and openings, and what is left of them that is
too short to hold anything is left out.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace

import numpy as np

from wallquant.findings import Finding, Place
from wallquant.layout import Pieces, Run
from wallquant.rules import Item
from wallquant.units import Nm, text

Rows = Mapping[str, tuple[int, int]]
"""First row and the one after the last, of the pieces of each run."""
_METRE = 1e9
_Block = tuple[Nm, Nm, str]
"""From and to which level something lies in the way, and what it is."""


def lengths(item: Item) -> tuple[Nm, ...]:
    """Return the lengths that a bar is put together of, whole bought bars first; none where it is not cut from bought bars.

    Examples
    --------
    >>> m = 1_000_000_000
    >>> bar = Item(kind="bar", run="R1", start=0, end=14 * m, bottom=0, top=0, stock=6 * m, lap=m // 2)
    >>> [length / m for length in lengths(bar)]
    [6.0, 6.0, 3.0]
    """
    long = item.end - item.start or item.top - item.bottom
    if item.stock <= item.lap or long <= 0:
        return ()
    whole = max(0, -(-(long - item.lap) // (item.stock - item.lap)) - 1)
    return (*[item.stock] * whole, long - whole * (item.stock - item.lap))


def _measured(item: Item) -> Item:
    """Return a bar with the length of steel that it takes, laps included."""
    some = lengths(item)
    return replace(item, quantity=round(sum(some) / _METRE, 9), unit="m") if some else item


def joined(items: Sequence[Item]) -> list[Item]:
    """Make one bar of lying ones that touch: a corner that its run passes, and the trough on both sides of it, are one trough.

    Parameters
    ----------
    items : sequence of Item
        As placed.

    Returns
    -------
    list of Item
        Other items as they are; seconds of what is joined add up, and its quantity counts the laps of the whole.
    """
    out = [i for i in items if not (i.kind == "bar" and i.stock and i.end > i.start)]
    groups: dict[tuple[object, ...], list[Item]] = {}
    for i in items:
        if i.kind == "bar" and i.stock and i.end > i.start:
            groups.setdefault((i.run, i.course, i.bottom, i.top, i.offset, i.size, i.stock, i.lap, i.sort, i.task, i.rule), []).append(i)
    for group in groups.values():
        group.sort(key=lambda i: (i.start, i.end))
        whole: list[Item] = []
        for i in group:
            if whole and whole[-1].end == i.start:
                last = whole[-1]
                corner = last.corner if last.corner == i.corner else ""
                whole[-1] = replace(last, end=i.end, seconds=last.seconds + i.seconds, corner=corner, text=last.text or i.text)
            else:
                whole.append(i)
        out += [_measured(i) for i in whole]
    return out


def upright(item: Item) -> bool:
    """Whether an item is a bar that stands upright."""
    return item.kind == "bar" and item.start == item.end and item.size > 0


def rows_of(pieces: Pieces) -> Rows:
    """Return the rows of the pieces of each run."""
    bounds = np.searchsorted(pieces.run, np.arange(len(pieces.runs) + 1)).tolist()
    return {name: (bounds[n], bounds[n + 1]) for n, name in enumerate(pieces.runs)}


def places(item: Item, runs: Mapping[str, Run]) -> Iterator[tuple[str, Nm, Nm]]:
    """Yield the run, station and offset of a bar in its own run and in those that cross it there."""
    own = runs[item.run]
    yield item.run, item.start, item.offset
    x, y = own.at(item.start, item.offset)
    for name in sorted({j.other for j in own.junctions} & set(runs)):
        other = runs[name]
        (u, v), (dx, dy) = other.direction, (x - other.start[0], y - other.start[1])
        offset = round(dy * u - dx * v)
        if 2 * abs(offset) - item.size < other.thickness:
            yield name, round(dx * u + dy * v), offset


def parted(
    items: Sequence[Item], pieces: Pieces, rows: Rows, runs: Mapping[str, Run], system: str
) -> tuple[tuple[Item, ...], tuple[Finding, ...]]:
    """Cut upright bars, and the grout around them, where fixed pieces (lintels) or openings lie in their way.

    Returns
    -------
    items, findings
        A part over a lintel that is shorter than its lap is left out: nothing holds it.  So is one that stands beside another over
        all its length, since it carries nothing on.  Grout stays where a bar is left in it.
    """
    groups: dict[tuple[str, Nm, Nm], list[tuple[Item, list[Item]]]] = {}
    met: dict[tuple[str, Nm, Nm], tuple[Item, list[_Block], list[Nm]]] = {}
    for item in items:
        if upright(item):
            key, blocks = (item.run, item.start, item.offset), _blocks(item, pieces, rows, runs)
            parts = _free(item, [(low, high) for low, high, _ in blocks])
            kept = [p for p in parts if not (item.lap and p.bottom > item.bottom and p.top - p.bottom < item.lap)]
            groups.setdefault(key, []).append((item, kept))
            if blocks:
                _, told, lost = met.setdefault(key, (item, [], []))
                told += blocks
                lost += [p.top - p.bottom for p in parts if p not in kept]
    left: dict[int, list[Item]] = {}
    for group in groups.values():
        every = [p for _, kept in group for p in kept]
        for item, kept in group:
            cut = bool(item.lap) and kept != [item]
            left[id(item)] = [_measured(p) for p in kept if not (cut and any(_beside(p, other) for other in every))]
    out: list[Item] = []
    for item in items:
        if upright(item):
            out += left[id(item)]
        elif item.kind == "core fill" and (here := groups.get((item.run, item.start, item.offset))):
            bars = [b for whole, _ in here for b in left[id(whole)]]
            blocks = _blocks(replace(item, size=here[0][0].size), pieces, rows, runs)
            out += [p for p in _free(item, [(a, b) for a, b, _ in blocks]) if not blocks or any(_meet(p, b) for b in bars)]
        else:
            out.append(item)
    return tuple(out), tuple(_told(item, sorted(blocks), runs[item.run], system, lost) for item, blocks, lost in met.values())


def _beside(part: Item, other: Item) -> bool:
    """Whether a part stands beside another, longer bar over all its length."""
    inside = other.bottom <= part.bottom and part.top <= other.top
    return inside and part is not other and other.top - other.bottom > part.top - part.bottom


def _meet(one: Item, other: Item) -> bool:
    return one.bottom < other.top and other.bottom < one.top


def _blocks(item: Item, pieces: Pieces, rows: Rows, runs: Mapping[str, Run]) -> list[_Block]:
    """Levels between which something lies in the way of a bar, and what it is, from the lowest up."""
    blocks: list[_Block] = []
    for name, station, _ in places(item, runs):
        first, last = rows.get(name, (0, 0))
        hit = (pieces.start[first:last] < station + item.size) & (pieces.end[first:last] > station - item.size)
        hit &= (pieces.bottom[first:last] < item.top) & (pieces.top[first:last] > item.bottom) & (pieces.fixed[first:last] >= 0)
        blocks += [(int(pieces.bottom[r]), int(pieces.top[r]), pieces.names[r]) for r in (np.flatnonzero(hit) + first).tolist()]
        for o in runs[name].openings:
            if o.through and o.start < station + item.size and o.end > station - item.size and o.sill < item.top and o.head > item.bottom:
                blocks.append((o.sill, o.head, f"opening {o.name or o.key}"))
    return sorted(blocks)


def _free(item: Item, blocks: Sequence[tuple[Nm, Nm]]) -> list[Item]:
    """Return the parts of an upright item between what lies in its way; the item itself where nothing does."""
    if not blocks:
        return [item]
    out: list[Item] = []
    at = item.bottom
    for low, high in blocks:
        if low > at:
            out.append(_shared(item, at, low))
        at = max(at, high)
    if at < item.top:
        out.append(_shared(item, at, item.top))
    return out


def _shared(item: Item, bottom: Nm, top: Nm) -> Item:
    share = (top - bottom) / (item.top - item.bottom)
    quantity = item.quantity if item.unit == "pcs" else item.quantity * share
    return replace(item, bottom=bottom, top=top, quantity=quantity, seconds=round(item.seconds * share))


def _told(item: Item, blocks: Sequence[_Block], run: Run, system: str, lost: Sequence[Nm]) -> Finding:
    what = ", ".join(sorted({name for _, _, name in blocks}))
    said = f"The bar at {text(item.start, system)} in {item.run} meets {what} and ends there; hook or anchor it, or move it, as the "
    said += "engineer says"
    if lost:
        said += f". Over it no bar is placed: {text(max(lost), system)} is less than a lap"
    return Finding(
        code="bars.interrupted",
        severity="warning",
        text=said,
        place=Place(run=item.run, storey=run.storey, start=item.start, end=item.end, level=blocks[0][0]),
        rules=tuple(sorted({item.rule, "lintel_bearing"} - {""})),
        cause="a bar meets a lintel or an opening",
    )

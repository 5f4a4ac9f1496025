"""Items as rules said them, placed among what is laid: only where their run passes, and only where nothing lies in their way."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from wallquant.bonding.asking import Asked
from wallquant.bonding.solving import Solved
from wallquant.rules import Item
from wallquant.units import Nm


def placed(item: Item, asked: Asked, solved: Solved) -> Iterator[Item]:
    """Yield an item where it can be: not at all, whole, or in the stretches between what interrupts it."""
    if item.passing is not None and item.corner:
        met = next((n for n, j in enumerate(asked.fitted.run.junctions) if j.corner == item.corner), None)
        row = solved.passes[met] if met is not None else ()
        if not 1 <= item.course <= len(row) or row[item.course - 1] is not item.passing:
            return
    if not item.interrupted:
        yield item
        return
    for lo, hi in _free(item, asked, solved):
        share = (hi - lo) / (item.end - item.start) if item.end > item.start else 1.0
        yield replace(item, start=lo, end=hi, quantity=item.quantity * share, seconds=round(item.seconds * share))


def _free(item: Item, asked: Asked, solved: Solved) -> Iterator[tuple[Nm, Nm]]:
    bottom, top = (z - asked.fitted.run.bottom for z in (item.bottom, item.top))
    blocks = [(h.lo, h.hi) for h in asked.problem.holes if h.bottom < top and h.top > bottom]
    blocks += [(p.lo, p.hi) for p in solved.face.puts if p.bottom < top and p.top > bottom]
    side = asked.problem.how.joint_most
    ripped = (s for row in solved.face.rows for s in row.spans if s.ripped or s.raked)
    blocks += [(s.lo - side, s.hi + side) for s in ripped if s.bottom < top and s.top > bottom]
    at = item.start
    for lo, hi in sorted(blocks):
        if item.start == item.end and lo < at < hi:
            return
        if lo >= item.end or hi <= at:
            continue
        if lo > at:
            yield at, lo
        at = max(at, hi)
    if at < item.end or item.start == item.end:
        yield at, item.end

"""Spans that whole units fill, or whole units and one cut piece: told without a search.  Lengths are nanometres."""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Sequence

from wallquant.bonding.intervals import Interval
from wallquant.bonding.span import Bonded, Span
from wallquant.units import Nm


def one_at_most(length: Nm, how: Bonded, windows: Sequence[Interval]) -> int | None:
    """Return 0 or 1 where so few cuts fill an upright span from 0 to `length`, or None where it takes `reach` to tell.

    All whole units before the one cut piece start at multiples of the pitch, all after it stand as far from the end.  `windows` are
    sorted and do not overlap.
    """
    count, rest = divmod(length + how.joint, how.pitch)

    def open_at(y: Nm) -> bool:
        k = bisect_left(windows, (y,))
        return not k or windows[k - 1][1] <= y

    before = 0
    while before < count and open_at((before + 1) * how.pitch):
        before += 1
    if not rest:
        return 0 if 0 < count <= before + 1 else None
    if rest < how.least + how.joint:
        return None
    after = count
    while after > before and open_at((after - 1) * how.pitch + rest):
        after -= 1
    return 1 if after <= before else None


def whole(length: Nm, how: Bonded) -> bool:
    """Say whether whole units with joints of their range can be as long as that."""
    count = (length + how.joint_least) // (how.unit + how.joint_least)
    return count > 0 and length <= count * how.unit + (count - 1) * how.joint_most


def even(span: Span, how: Bonded, windows: Sequence[Interval]) -> tuple[tuple[Nm, ...], tuple[Nm, ...]] | None:
    """Return piece starts and ends of whole units with even joints off nominal but within range, or None where they do not fit."""
    clear, unit = span.hi - span.lo, how.unit
    if span.raked or span.askew:
        return None
    count = round((clear + how.joint) / how.pitch)
    if count < 1 or (count == 1 and clear != unit):
        return None
    rest = clear - count * unit
    gaps = max(1, count - 1)
    if not how.joint_least * (count - 1) <= rest <= how.joint_most * (count - 1):
        return None
    starts = [span.lo + k * unit + (rest * k) // gaps for k in range(count)]
    ends = tuple(s + unit for s in starts)
    for end, start in zip(ends, starts[1:], strict=False):
        if any(start > lo and end < hi - how.joint for lo, hi in windows):
            return None
    return tuple(starts), ends

"""Top profiles: what both importers ask of them."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise


def highest(top: Sequence[tuple[float, float]], start: float, end: float) -> float:
    """Return the highest level of a profile over a stretch, its two ends included.

    Parameters
    ----------
    top : sequence of (station, level)
        By rising station, in any unit of length.
    start, end : float
        The stretch, in the same unit; at least a part of it lies within the profile.
    """
    found = [z for s, z in top if start <= s <= end]
    for (s1, z1), (s2, z2) in pairwise(top):
        found += [z1 + (z2 - z1) * ((at - s1) / (s2 - s1)) for at in (start, end) if s1 < at < s2]
    return max(found, default=top[0][1] if end < top[0][0] else top[-1][1])

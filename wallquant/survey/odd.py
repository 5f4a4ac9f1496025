"""Shots that stand out: which one is wrong where some of them do not agree.

A shot read wrong bends the plane through the neighbours of each shot beside it, so it is not the worst misfit that is wrong but the
one that can be left out and all others agree.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from wallquant.survey.shots import SurveyError
from wallquant.survey.surface import Surface

LEAST = 10.0
"""A shot that is nearer to what its neighbours say is not told, millimetres (project input: more than a slab waves between shots)."""
TIMES = 6
"""Nor is one nearer than so many times the median of all: a rough slab makes many shots stand out."""
WITNESSES = 4
"""So many neighbours say where a shot ought to be: three make a plane through which all goes."""

FLAT = 0.05
"""Shots whose spread across is less than this part of that along are in one line (derived: their plane could tip any way)."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Odd:
    """Shots that do not agree with the others, as positions: one that is wrong, or all that disagree where none explains the rest.

    `off` is how far each lies above (below: less than 0) the plane through its neighbours, millimetres.
    """

    shots: tuple[int, ...]
    off: tuple[float, ...]

    @property
    def most(self) -> float:
        """How far the worst of them is off."""
        return max(self.off, key=abs)


def odd(surface: Surface, least: float = LEAST) -> list[Odd]:
    """Return the shots that stand out, the furthest off first.

    Shots are at odds where one is further from the plane through its neighbours than `least` and than `TIMES` the median of all.  Of
    each group of such shots and those beside them the one is named without which nothing is at odds there, and the rest fits best;
    where there is no such shot, all that are at odds.

    Parameters
    ----------
    surface : Surface
    least : float
        Millimetres.

    Returns
    -------
    list of Odd
    """
    beside = _beside(surface)
    off = _off(surface, beside)
    limit = max(least, TIMES * float(np.median([abs(v) for k, v in enumerate(off) if len(beside[k]) >= WITNESSES] or [0.0])))
    found = []
    for group in _groups({k for k, v in enumerate(off) if abs(v) > limit and len(beside[k]) >= WITNESSES}, beside):
        near = group.union(*(beside[k] for k in group))
        tried = [(rank, k, own) for k in sorted(near) if (made := _without(surface, k, near | beside[k], limit)) for rank, own in [made]]
        if tried:
            _, k, own = min(tried)
            found.append(Odd(shots=(k,), off=(own,)))
        else:
            found.append(Odd(shots=tuple(sorted(group)), off=tuple(off[k] for k in sorted(group))))
    return sorted(found, key=lambda one: (-abs(one.most), one.shots))


def _without(surface: Surface, k: int, near: set[int], limit: float) -> tuple[float, float] | None:
    """Leave a shot out: how badly those near it fit then, in all, and how far off it is itself; None where some are still at odds."""
    try:
        rest = Surface.of(np.delete(surface.points, k, axis=0))
    except SurveyError:
        return None
    beside = _beside(rest)
    off = _off(rest, beside)
    here = [n - (n > k) for n in sorted(near - {k})]
    own = _misfit(surface, k, _beside(surface))
    if abs(own) <= limit or any(abs(off[n]) > limit for n in here):
        return None
    return sum(abs(off[n]) for n in here), own


def _beside(surface: Surface) -> list[set[int]]:
    out: list[set[int]] = [set() for _ in surface.points]
    for a, b, c in surface.triangles.tolist():
        out[a] |= {b, c}
        out[b] |= {a, c}
        out[c] |= {a, b}
    return out


def _off(surface: Surface, beside: list[set[int]]) -> list[float]:
    """Return how far each shot is from the plane through its neighbours; see `_misfit`."""
    return [_misfit(surface, k, beside) for k in range(len(surface.points))]


def _misfit(surface: Surface, k: int, beside: list[set[int]]) -> float:
    """Return how far a shot is above the plane through its neighbours; at the edge of the slab, where these are few or in one line,
    through theirs too; 0 where that makes no plane either."""
    for around in (beside[k], beside[k].union(*(beside[n] for n in beside[k])) - {k}):
        near = surface.points[sorted(around)]
        if len(near) >= WITNESSES:
            wide, narrow = np.linalg.svd(near[:, :2] - near[:, :2].mean(axis=0), compute_uv=False)
            if narrow > FLAT * wide:
                ones = np.c_[near[:, :2] - surface.points[k, :2], np.ones(len(near))]
                return float(surface.points[k, 2] - np.linalg.lstsq(ones, near[:, 2], rcond=None)[0][2])
    return 0.0


def _groups(shots: set[int], beside: list[set[int]]) -> list[set[int]]:
    """Return the shots in groups: those that are neighbours, or have one in common."""
    out: list[set[int]] = []
    left = set(shots)
    while left:
        group: set[int] = set()
        todo = [min(left)]
        while todo:
            k = todo.pop()
            if k in left:
                left.discard(k)
                group.add(k)
                todo += [n for n in left if n in beside[k] or beside[n] & beside[k]]
        out.append(group)
    return out

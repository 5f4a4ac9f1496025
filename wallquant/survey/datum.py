"""The level of course 1 over one slab, and what to do where no level keeps every bed within its limits.

Let a piece's slab lie between `low` and `high`.  With the underside of course 1 at `datum` its bed is datum - high to datum - low.
Every bed keeps within [least, most] where max(high) + least <= datum <= min(low) + most.  Where there is no such level a piece is
*ripped* at its foot, so that its underside lies higher, or stands on a *strip* of block; a strip is not thinner than its least.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
EPS = 1e-9


@dataclass(frozen=True, kw_only=True, slots=True)
class Limits:
    """Of beds, pieces and strips; millimetres.  `usual` is the bed aimed at over the highest point, `joint` that under a strip."""

    least: float
    usual: float
    most: float
    joint: float
    rip: float
    strip: float


@dataclass(frozen=True, kw_only=True)
class Decision:
    """What is done.

    Attributes
    ----------
    datum : float
        Level of the underside of course 1, ripped pieces aside.
    rips, strips, ground : ndarray of float, shape (pieces,)
        What is cut off a piece's foot, the strip under it, and what is taken off the slab under it; millimetres.
    """

    datum: float
    rips: Floats
    strips: Floats
    ground: Floats

    @property
    def kind(self) -> str:
        """Return level, rip, strip or grind, the one that asks most."""
        if self.ground.any():
            return "grind"
        return "strip" if self.strips.any() else "rip" if self.rips.any() else "level"

    @property
    def touched(self) -> int:
        """Number of pieces that are ripped, stripped, or stand on a ground slab."""
        return int(np.count_nonzero(self.rips + self.strips + self.ground))


def decide(low: Floats, high: Floats, height: Floats, limits: Limits) -> Decision:
    """Return the level of course 1 and what is done to its pieces.

    Where beds can keep within their limits: the usual bed over the highest point, or as near to it as the lowest point allows.  Else
    the level at which the fewest pieces are touched, then the least is ripped; where none is buildable, the slab is ground.

    Parameters
    ----------
    low, high, height : ndarray of float, shape (pieces,)
        Extremes of the slab under each piece, and the heights of the pieces.
    limits : Limits
    """
    none = np.zeros(len(low))
    top, floor = float(high.max()), float(low.min())
    if top + limits.least <= floor + limits.most + EPS:
        return Decision(datum=min(top + limits.usual, floor + limits.most), rips=none, strips=none, ground=none)
    best: tuple[int, float, float] | None = None
    found = None
    for datum in np.unique(np.concatenate([high + limits.least, low + limits.most])).tolist():
        made = at_level(datum, low, high, height, limits)
        if made is None:
            continue
        rank = (made.touched, float((made.rips + made.strips).sum()), datum)
        if best is None or rank < best:
            best, found = rank, made
    if found is not None:
        return found
    datum = floor + limits.most
    ground = np.maximum(0.0, high - (datum - limits.least))
    return Decision(datum=datum, rips=none, strips=none, ground=np.where(ground > EPS, ground, 0.0))


def at_level(datum: float, low: Floats, high: Floats, height: Floats, limits: Limits) -> Decision | None:
    """Return what is done to the pieces with course 1 at a level; None where that cannot be built."""
    rips = np.maximum(0.0, limits.least - (datum - high))
    rips = np.where(rips > EPS, rips, 0.0)
    if (height - rips < limits.rip - EPS)[rips > 0].any() or (datum + rips - low > limits.most + EPS)[rips > 0].any():
        return None
    deep = (rips == 0) & (datum - low > limits.most + EPS)
    least = np.maximum(limits.strip, datum - low - limits.joint - limits.most)
    if (least > datum - high - limits.joint - limits.least + EPS)[deep].any():
        return None
    return Decision(datum=datum, rips=rips, strips=np.where(deep, least, 0.0), ground=np.zeros(len(low)))


def strippable(datum: float, low: Floats, high: Floats, limits: Limits) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    """Return which pieces are too high over the slab at a level, and which pieces could stand on a strip."""
    deep = datum - low > limits.most + EPS
    room = datum - high - limits.joint - limits.least
    return deep, (room >= limits.strip - EPS) & (room >= datum - low - limits.joint - limits.most - EPS)

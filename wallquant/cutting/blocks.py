"""Units sawn across into blocks, blocks ripped into strips, strips cut across: least units, with the bound of all such ways.

Column generation as in `columns`, over the patterns of `pricing`.  The bound is proven in whole numbers for every way of sawing
that the practice allows: three stages, a kerf between any two parts, a lower part ripped from its strip last, and at most two
raked or mitred pieces nested by one straight cut.  The plan is a choice among the patterns found, by a small integer program that
is stopped by a number of nodes, never by the clock; where that is not near the bound, whole parts are taken and the rest is solved anew.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from wallquant.cutting.master import Grid, Master
from wallquant.cutting.pricing import Pattern, stackings
from wallquant.cutting.rounding import ENOUGH, choose, dive, units_of
from wallquant.cutting.sizes import Sizes
from wallquant.units import Nm

_TYPES = 2000
_WAYS = 4000
_GRID = range(1500, 3100)
"""How many steps of the grid a unit may be long."""
_USUAL = 2400


def improve(given: Sizes, first: Sequence[tuple[Pattern, int]], bound: int) -> tuple[list[tuple[Pattern, int]], int]:
    """Return a plan with fewer units than `first` if one is found, and the better of two bounds.

    Parameters
    ----------
    given : Sizes
    first : sequence of (Pattern, int)
        A plan: patterns and how many units have each.
    bound : int
        Proven otherwise.
    """
    plan = list(first)
    if units_of(plan) <= bound or len(given.demand) > _TYPES:
        return plan, bound
    # What leaves no room for another strip is as good as of the unit's height.
    full = np.where(given.height + given.kerf + int(given.height.min()) > given.deep, given.deep, given.height)
    heights, level = np.unique(full, return_inverse=True)
    ways = stackings(heights.tolist(), given.deep, given.kerf, _WAYS)
    if ways is None:
        return plan, bound
    step = _step(given)
    size, capacity = given.width + given.kerf, (given.length + given.kerf) // step
    low = Grid(width=size // step, level=level, ways=ways, capacity=capacity)
    master = Master(given, low, (p for p, _ in plan))
    master.generate(units_of(plan))
    bound = max(bound, master.bound)
    true = [p for p in master.patterns if given.fits(p)]
    found = _better(plan, choose(given, master, true))
    if units_of(found) > bound and len(true) < len(master.patterns):
        # Rounded sizes let in patterns that are a little too long: once more, with sizes rounded up.
        high = Grid(width=-(-size // step), level=level, ways=ways, capacity=capacity)
        master = Master(given, high, (*(p for p, _ in found), *true), master.prices)
        master.generate(units_of(found))
        found = _better(found, choose(given, master, [p for p in master.patterns if given.fits(p)]))
    for enough in ENOUGH if master.bound > master.value - 1 else ():
        if units_of(found) <= bound + 1:
            break
        found = _better(found, dive(given, master, bound, enough))
    return found, bound


def _better(one: list[tuple[Pattern, int]], two: list[tuple[Pattern, int]]) -> list[tuple[Pattern, int]]:
    return two if two and units_of(two) < units_of(one) else one


def _step(given: Sizes) -> Nm:
    """The grid that most widths are on."""
    capacity, widths = given.length + given.kerf, given.width[: len(given.demand)] + given.kerf
    exact = [capacity // n for n in _GRID if capacity % n == 0]
    if not exact:
        return -(-capacity // _USUAL)
    return max(exact, key=lambda step: (int(given.demand[widths % step == 0].sum()), step))

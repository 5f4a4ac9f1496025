"""Lower bounds on the number of units, proven with whole numbers.

A dual feasible function f maps sizes in [0, 1] to [0, 1] so that sizes that go into one bin together never sum to more than
1 after f.  Then the sum of f over all pieces is a lower bound; in two directions f(length) g(height) is one.  Among the
functions tried here are the identity (area bound) and those whose best is the bound L2 of Martello and Toth (1990).
Source of the functions: S. P. Fekete, J. Schepers, New classes of fast lower bounds for bin packing problems, Mathematical
Programming 91 (2001), from memory.
"""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction

import numpy as np
from numpy.typing import NDArray

_MOST = 160
"""Most thresholds tried a direction; any choice of them is valid."""
_STEPS = range(1, 9)

Function = tuple[str, int]


def least_bins(widths: Sequence[int], demands: Sequence[int], capacity: int) -> int:
    """Return a proven lower bound on the number of bins of a one-dimensional problem."""
    return least_boxes(widths, [1] * len(widths), demands, capacity, 1)


def least_boxes(lengths: Sequence[int], heights: Sequence[int], demands: Sequence[int], length: int, height: int) -> int:
    """Return a proven lower bound on the number of boxes of `length` x `height` that hold all pieces, none turned.

    Parameters
    ----------
    lengths, heights, demands : sequence of int
        Sizes of each class of pieces, kerf included, and how many of them.
    length, height : int
        Size of the unit, one kerf included in each.

    Returns
    -------
    int
    """
    if not demands:
        return 0
    along, up = _functions(lengths, length), _functions(heights, height)
    first = np.array([_values(f, lengths, length) for f in along])
    second = np.array([_values(f, heights, height) for f in up])
    sums: NDArray[np.float64] = (first * np.array(demands, dtype=np.float64)) @ second.T
    at, to = divmod(int(np.argmax(sums)), len(up))
    total = sum(
        (d * exact(along[at], w, length) * exact(up[to], v, height) for w, v, d in zip(lengths, heights, demands, strict=True)),
        Fraction(0),
    )
    return -(-total.numerator // total.denominator)


def exact(function: Function, size: int, capacity: int) -> Fraction:
    """Return the value of a function for a size as an exact fraction."""
    kind, k = function
    if kind == "threshold":
        return Fraction(0) if size < k else Fraction(1) if size > capacity - k else Fraction(size, capacity)
    if (k + 1) * size % capacity == 0:
        return Fraction(size, capacity)
    return Fraction((k + 1) * size // capacity, k)


def _functions(sizes: Sequence[int], capacity: int) -> list[Function]:
    small = sorted({s for s in sizes if 2 * s <= capacity} | {capacity - s + 1 for s in sizes if capacity // 2 < s <= capacity})
    small = [s for s in small if 0 < 2 * s <= capacity]
    picked = small if len(small) <= _MOST else [small[i * len(small) // _MOST] for i in range(_MOST)]
    return [("threshold", 0), *(("threshold", s) for s in picked), *(("step", k) for k in _STEPS)]


def _values(function: Function, sizes: Sequence[int], capacity: int) -> list[float]:
    return [float(exact(function, s, capacity)) for s in sizes]

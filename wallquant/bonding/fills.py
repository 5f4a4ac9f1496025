"""Layouts of one span, wherever it lies: equal spans with equal windows around them are one problem.

Stations here are relative to the span's start; a window is an open interval of piece starts as in `wallquant.bonding.span.reach`.
"""

from __future__ import annotations

import itertools
from bisect import bisect_left, bisect_right
from collections.abc import Sequence
from dataclasses import dataclass, field

from wallquant.bonding.intervals import Interval
from wallquant.bonding.pair import Half, Pair
from wallquant.bonding.span import Bonded, Reach, Span, layouts, reach, relaxed
from wallquant.bonding.wholes import even, one_at_most, whole
from wallquant.units import Nm

Shape = tuple[Nm, Nm, Nm, Nm, Nm, Nm, Nm]
"""Length of a span, between which stations its units are not cut, how far its ends lean, least pieces where its rakes bend inwards."""

Pieces = tuple[tuple[Nm, Nm], ...]

VIOLATION, BEFORE, CUT, AFTER, PIECE, NEAR, SETTING = 10**10, 10**8, 10**6, 10**3, 40, 20, 2
"""Weights of the goals, each more than all that is below it: a hard window or offset broken, windows that yield 1 to 4, a cut,
windows that yield 5 to 9; then few pieces, joints far apart, few settings of the saw."""
RANKED = 4
"""Windows that yield up to this rank before cuts."""


LAYOUTS = 8
"""Most layouts of one problem."""


@dataclass(frozen=True, slots=True, eq=False)
class Fill:
    """A layout of one span: pieces from left to right, twice the centres of its head joints, its cuts, and what it costs by itself."""

    pieces: Pieces
    joints: tuple[int, ...]
    cuts: int
    cost: int


def shape_of(span: Span) -> Shape:
    """Return a span without its place."""
    lo, (first, last) = span.lo, span.whole
    return span.hi - lo, first - lo, last - lo, span.lean_lo, span.lean_hi, span.bent_lo, span.bent_hi


def moved(windows: Sequence[Interval], lo: Nm, end: Nm) -> tuple[Interval, ...]:
    """Return the windows that touch the stations from `lo` to `end`, relative to `lo`, joined where they overlap, sorted."""
    last = end - lo + 1
    inside = [(a - lo if a >= lo else -1, b - lo if b <= end else last) for a, b in windows if b > lo and a < end]
    if len(inside) < 2:
        return tuple(inside)
    inside.sort()
    out = [inside[0]]
    for a, b in inside[1:]:
        if a < out[-1][1]:
            if b > out[-1][1]:
                out[-1] = (out[-1][0], b)
        else:
            out.append((a, b))
    return tuple(out)


def offset_windows(centres: Sequence[int], offset: Nm, joint: Nm) -> list[Interval]:
    """Return the open windows of piece starts that double joint centres of a neighbouring course forbid."""
    return [((c + joint - 2 * offset) // 2, -(-(c + joint + 2 * offset) // 2)) for c in centres] if offset > 0 else []


def near_windows(joints: Sequence[int], shift: Nm, length: Nm, offset: Nm, joint: Nm) -> list[Interval]:
    """Return the windows that the joints of a neighbour put on a span of this length; `shift`: the neighbour's start less its own."""
    if offset <= 0:
        return []
    reach_of, more, less = 2 * (offset + joint), 2 * shift + joint + 2 * offset, 2 * shift + joint - 2 * offset
    lo, hi = bisect_left(joints, -2 * shift - reach_of), bisect_right(joints, 2 * (length - shift) + reach_of)
    return [((c + less) // 2, -(-(c + more) // 2)) for c in joints[lo:hi]]


@dataclass
class Fills:
    """Layouts of spans of one set of lengths, each distinct problem found once."""

    how: Bonded
    found: dict[tuple[object, ...], tuple[Fill, ...]] = field(default_factory=dict)
    made: dict[tuple[Shape, Pieces], Fill] = field(default_factory=dict)
    counts: dict[tuple[object, ...], int | None] = field(default_factory=dict)
    reached: dict[tuple[Shape, tuple[Interval, ...]], Reach | None] = field(default_factory=dict)
    pairs: dict[tuple[Half, Half, Nm], Pair | None] = field(default_factory=dict)
    bounds: dict[tuple[Half, Half, Nm], int] = field(default_factory=dict)
    """What `proving` found of two courses."""

    def fill(self, shape: Shape, windows: tuple[Interval, ...], limit: int, extra: int = 0) -> tuple[Fill, ...]:
        """Return layouts with the fewest cuts (or `extra` more) that keep the windows (as `moved` returns them), if there are any."""
        key = (shape, windows, extra)
        got = self.found.get(key)
        if got is None:
            got = self.found[key] = self._fill(shape, windows, extra)
        return got[:limit]

    def _fill(self, shape: Shape, windows: tuple[Interval, ...], extra: int) -> tuple[Fill, ...]:
        span, how = _placed(shape), self.how
        out: list[Fill] = []
        exact = even(span, how, windows) if not extra else None
        if exact:
            out.append(self.one(shape, tuple(zip(*exact, strict=True))))
        found = reach(span, how, windows, extra=extra) if extra else self._reach(shape, windows)
        if found and not (exact and found.cuts):
            for starts in layouts(span, how, found, LAYOUTS):
                one = self.of_starts(shape, starts)
                if one not in out:
                    out.append(one)
        return tuple(out)

    def _reach(self, shape: Shape, windows: tuple[Interval, ...]) -> Reach | None:
        """Return what is reachable with the fewest cuts; asked for the number of cuts first, and for layouts later."""
        key = (shape, windows)
        if key not in self.reached:
            self.reached[key] = reach(_placed(shape), self.how, windows)
        return self.reached[key]

    def of_starts(self, shape: Shape, starts: Sequence[Nm]) -> Fill:
        """Return the layout with these interior piece starts and nominal joints."""
        ends = (*(s - self.how.joint for s in starts), shape[0])
        return self.one(shape, tuple(zip((0, *starts), ends, strict=True)))

    def one(self, shape: Shape, pieces: Pieces) -> Fill:
        key = (shape, pieces)
        made = self.made.get(key)
        if made is None:
            made = self.made[key] = self._one(shape, pieces)
        return made

    def _one(self, shape: Shape, pieces: Pieces) -> Fill:
        _, full_lo, full_hi, *_ = shape
        unit, joint = self.how.unit, self.how.joint
        lengths = [b - a for a, b in pieces if b - a != unit or a < full_lo or b > full_hi]
        raked = 0 if _upright(shape) else sum(a < full_lo or b > full_hi for a, b in pieces)
        gaps = [(e, s) for (_, e), (s, _) in itertools.pairwise(pieces)]
        uneven = len([1 for e, s in gaps if s - e != joint])
        cost = CUT * len(lengths) + PIECE * len(pieces) + SETTING * (len(set(lengths)) + raked) + uneven
        return Fill(pieces, tuple([e + s for e, s in gaps]), len(lengths), cost)

    def fewest(self, shape: Shape, windows: tuple[Interval, ...]) -> int | None:
        """Return the fewest cuts of a span by itself, or None where it cannot be filled with the windows kept."""
        key = (shape, windows)
        if key not in self.counts:
            self.counts[key] = self._fewest(shape, windows)
        return self.counts[key]

    def _fewest(self, shape: Shape, windows: tuple[Interval, ...]) -> int | None:
        if even(_placed(shape), self.how, windows):
            return 0
        few = one_at_most(shape[0], self.how, windows) if _upright(shape) else None
        if few is not None:
            return few
        found = self._reach(shape, windows)
        return found.cuts if found else None

    def least(self, shape: Shape, windows: tuple[Interval, ...]) -> int:
        """Return a lower bound for the cuts of a span, joints anywhere in their range (0 where it cannot be filled)."""
        nominal = self.fewest(shape, windows)
        if nominal == 0 or self.how.joint_least == self.how.joint_most:
            return nominal or 0
        if nominal == 1 and _upright(shape) and not whole(shape[0], self.how):
            return 1
        key = ("least", shape, windows)
        if key not in self.counts:
            found = reach(_placed(shape), self.how, relaxed(windows, self.how), ranged=True)
            self.counts[key] = found.cuts if found else 0
        return self.counts[key] or 0


def _upright(shape: Shape) -> bool:
    """Say whether units are whole all over a span of this shape."""
    return shape[1:] == (0, shape[0], 0, 0, 0, 0)


def _placed(shape: Shape) -> Span:
    length, full_lo, full_hi, lean_lo, lean_hi, bent_lo, bent_hi = shape
    low, high = (0 if lean_lo and full_lo == 1 else full_lo), (length if lean_hi and full_hi == length - 1 else full_hi)
    return Span(
        lo=0, hi=length, bottom=0, top=0, full_lo=low, full_hi=high,
        lean_lo=lean_lo, lean_hi=lean_hi, bent_lo=bent_lo, bent_hi=bent_hi,
    )  # fmt: skip

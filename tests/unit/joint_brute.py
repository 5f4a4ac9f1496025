"""Every layout of small spans, by trying them all: what the joint solver is held against in its unit tests."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import pairwise, product
from random import Random

from wallquant.bonding.intervals import Interval
from wallquant.bonding.span import Bonded, Span

HOW = Bonded(unit=6, joint=1, least=2, joint_least=1, joint_most=1)

Pieces = tuple[tuple[int, int], ...]


def span(lo: int, hi: int, *, lapped: tuple[bool, bool] = (False, False), full: tuple[int, int] | None = None) -> Span:
    """Make a span of whole numbers; `full`: between which stations it has its full height."""
    full_lo, full_hi = full or (lo, hi)
    return Span(lo=lo, hi=hi, bottom=0, top=3, lapped_lo=lapped[0], lapped_hi=lapped[1], full_lo=full_lo, full_hi=full_hi)


def cut(one: Span, how: Bonded, piece: tuple[int, int]) -> bool:
    """Say whether a piece is cut: by its length, or by the rake."""
    a, b = piece
    return b - a != how.unit or a < one.full_lo or b > one.full_hi


def fills(one: Span, how: Bonded, windows: Sequence[Interval] = ()) -> Iterator[Pieces]:
    """Yield every layout of a span with nominal joints: no start in an open window, no piece too short or long."""

    def onward(at: int, laid: Pieces) -> Iterator[Pieces]:
        for length in range(1, how.unit + 1):
            piece = (at, at + length)
            last = piece[1] == one.hi
            if not last and piece[1] + how.joint >= one.hi:
                continue
            if length < _least(one, how, piece):
                continue
            if last:
                yield (*laid, piece)
            elif not any(a < piece[1] + how.joint < b for a, b in windows):
                yield from onward(piece[1] + how.joint, (*laid, piece))

    yield from onward(one.lo, ())


def _least(one: Span, how: Bonded, piece: tuple[int, int]) -> int:
    """Return how long a piece must be so that its mean length is the least piece, under the rake of the end where it lies."""
    a, b = piece
    least = how.least
    for outermost, raked, run_out in (
        (a == one.lo, a < one.full_lo, one.full_lo - one.lo),
        (b == one.hi, b > one.full_hi, one.hi - one.full_hi),
    ):
        if raked:
            whole = 2 * how.least if not outermost or 2 * how.least <= run_out else how.least + -(-run_out // 2)
            least = max(least, whole)
    return least


def cuts(one: Span, how: Bonded, pieces: Pieces) -> int:
    return sum(cut(one, how, p) for p in pieces)


def courses(spans: Sequence[Span], how: Bonded, windows: Sequence[Interval] = ()) -> Iterator[tuple[Pieces, ...]]:
    """Yield every layout of a course of several spans."""
    yield from product(*(list(fills(s, how, windows)) for s in spans))


def marks(spans: Sequence[Span], laid: Sequence[Pieces]) -> tuple[list[int], list[int]]:
    """Return twice the centres of a course's joints: within spans, and at lapped ends."""
    inner = [b[0] + a[1] for pieces in laid for a, b in pairwise(pieces)]
    ends = [c for s in spans for c, on in ((2 * s.lo - HOW.joint, s.lapped_lo), (2 * s.hi + HOW.joint, s.lapped_hi)) if on]
    return inner, ends


def apart(lower: tuple[list[int], list[int]], upper: tuple[list[int], list[int]], offset: int) -> bool:
    """Say whether all joints of two courses stand apart; an end on an end cannot be helped by the joints."""
    (one, its), (two, mine) = lower, upper
    return all(abs(x - y) >= 2 * offset for x, y in [*product(one, two), *product(one, mine), *product(its, two)])


def random_spans(dice: Random, most: int, *, longest: int = 21) -> tuple[Span, ...]:
    """Make one span or more, with lapped ends at random."""
    out: list[Span] = []
    at = dice.randint(0, 3)
    for _ in range(dice.randint(1, most)):
        length = dice.randint(HOW.least, longest // most)
        out.append(span(at, at + length, lapped=(dice.random() < 0.4, dice.random() < 0.4)))
        at += length + dice.randint(2, 6)
    return tuple(out)


def random_windows(dice: Random, hi: int, most: int = 2) -> tuple[Interval, ...]:
    found = ((a, a + dice.randint(2, 6)) for a in (dice.randint(-2, hi) for _ in range(dice.randint(0, most))))
    return tuple(sorted(found))

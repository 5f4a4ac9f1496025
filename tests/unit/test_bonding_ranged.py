"""Least cuts with joints of any width in their range, against all layouts of small spans; and what such a bound is worth on a wall."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import product
from random import Random

import pytest

from tests.unit.joint_brute import span
from tests.unit.laid_house import lay, wall
from wallquant.bonding.intervals import Interval
from wallquant.bonding.nodes import Row, Soft
from wallquant.bonding.pair import Half, least_two
from wallquant.bonding.span import Bonded, Span, reach, relaxed
from wallquant.bonding.stack import Solver

HOW = Bonded(unit=6, joint=2, least=2, joint_least=1, joint_most=4)
MM = 1_000_000

Course = tuple[tuple[int, ...], int]
"""Double centres of the joints of one layout, and its cuts."""


def laid(lo: int, hi: int, windows: tuple[Interval, ...]) -> Iterator[Course]:
    """Yield every layout of a span with joints of 1 to 4; windows are open intervals in which no nominal joint may reach."""

    def onward(at: int, marks: tuple[int, ...], cuts: int) -> Iterator[Course]:
        for piece in range(HOW.least, HOW.unit + 1):
            end, cut = at + piece, cuts + (piece < HOW.unit)
            if end == hi:
                yield marks, cut
            for joint in range(HOW.joint_least, HOW.joint_most + 1):
                if end + joint + HOW.least <= hi and not any(end + joint > a and end < b - HOW.joint for a, b in windows):
                    yield from onward(end + joint, (*marks, 2 * end + joint), cut)

    return onward(lo, (), 0)


def windows_of(dice: Random, hi: int) -> tuple[Interval, ...]:
    at = dice.randint(0, hi)
    return ((at, at + HOW.joint + dice.randint(1, 3)),) if dice.random() < 0.6 else ()


@pytest.mark.parametrize("seed", range(60))
def test_one_span(seed: int) -> None:
    """The bound of a span is never above the fewest cuts of all its layouts; without windows it is them."""
    dice = Random(seed)
    hi = dice.randint(HOW.least, 26)
    windows = windows_of(dice, hi)
    tried = min((cuts for _, cuts in laid(0, hi, windows)), default=None)
    found = reach(span(0, hi), HOW, relaxed(windows, HOW), ranged=True)
    if tried is not None:
        assert found is not None
        assert found.cuts == tried if not windows else found.cuts <= tried


def test_two_courses() -> None:
    """Two courses, lapped ends or not: never above the fewest cuts of all layouts whose joints stand apart, and seldom below."""
    least, wanted = 0, 0
    for seed in range(150):
        dice = Random(f"two {seed}")
        his = [dice.randint(HOW.unit, 21) for _ in range(2)]
        windows = [windows_of(dice, hi) for hi in his]
        offset = dice.randint(1, 4)
        spans: list[Span] = [span(0, hi) for hi in his]
        best: list[dict[tuple[int, ...], int]] = [{}, {}]
        for k in (0, 1):
            for marks, cuts in laid(0, his[k], windows[k]):
                best[k][marks] = min(cuts, best[k].get(marks, cuts))
        apart = [
            a + b
            for (one, a), (other, b) in product(best[0].items(), best[1].items())
            if all(abs(x - y) >= 2 * offset for x in one for y in other)
        ]
        if not apart:
            continue
        halves = [Half(spans=(s,), windows=w) for s, w in zip(spans, windows, strict=True)]
        bound = least_two(halves[0], halves[1], HOW, offset)
        assert bound <= min(apart), (seed, his, windows, offset)
        least, wanted = least + bound, wanted + min(apart)
    assert least >= 0.75 * wanted > 0  # joints here range over half a unit; on walls the bound is nearer


def test_the_least_joint_ends_a_course() -> None:
    """A wall of 2329 with joints of 0.5 to 3: one cut in each course would set its joints 76 apart at most, and 80.6 are asked."""
    done = lay([wall("A", (0, 0), (2329, 0), height=1810)]).bond
    assert len(done.work.courses["R1"]) == 9
    assert (done.cuts, done.bound) == (13, 13)


def test_windows_before_cuts_count_in_the_bound() -> None:
    """Ten units; no joint about 1250 in the second course, which may give way but need not: it takes two cuts more, proven."""
    how = Bonded(unit=599 * MM, joint=MM, least=99 * MM, joint_least=MM, joint_most=MM)
    one = span(0, 5999 * MM)
    free = Solver(how).stack((Row(spans=(one,)),))
    soft = Soft(lo=1150 * MM, hi=1250 * MM, of="joint", yields=3)
    held = Solver(how).stack((Row(spans=(one,), soft=(soft,)),))
    late = Solver(how).stack((Row(spans=(one,), soft=(Soft(lo=1150 * MM, hi=1250 * MM, of="joint", yields=7),)),))
    assert (free.cuts, free.bound) == (0, 0)
    assert (held.cuts, held.bound) == (2, 2)
    assert (late.cuts, late.bound) == (0, 0)

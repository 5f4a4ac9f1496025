"""One span: reachable joints and layouts against trying all of them."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise
from random import Random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.unit.joint_brute import HOW, cut, cuts, fills, random_windows, span
from wallquant.bonding.cells import bent, mean_length
from wallquant.bonding.fills import Fills, moved, shape_of
from wallquant.bonding.intervals import Free, Interval, free, holds, union
from wallquant.bonding.span import Bonded, Span, layouts, reach, relaxed
from wallquant.bonding.wholes import even, one_at_most


def pieces_of(one: Span, starts: tuple[int, ...], how: Bonded = HOW) -> tuple[tuple[int, int], ...]:
    return tuple(zip((one.lo, *starts), (*(y - how.joint for y in starts), one.hi), strict=True))


def brute(one: Span, windows: tuple[Interval, ...]) -> dict[int, set[tuple[tuple[int, int], ...]]]:
    """Return all layouts by their cuts."""
    out: dict[int, set[tuple[tuple[int, int], ...]]] = {}
    for laid in fills(one, HOW, windows):
        out.setdefault(cuts(one, HOW, laid), set()).add(laid)
    return out


@pytest.mark.parametrize("seed", range(120))
def test_fewest_cuts_as_by_trying_all(seed: int) -> None:
    dice = Random(seed)
    one = span(0, dice.randint(1, 26))
    windows = random_windows(dice, one.hi)
    every = brute(one, windows)
    found = reach(one, HOW, windows)
    assert (found.cuts if found else None) == min(every, default=None)
    if found:
        ends = {y for pieces in every[found.cuts] for y, _ in pieces[1:]}
        inside = {y for layer in found.layers for a, b in layer for y in range(a, b + 1)}
        assert ends <= inside, "every start of a best layout is reachable"
        laid = [pieces_of(one, starts) for starts in layouts(one, HOW, found, 200)]
        assert len(set(laid)) == len(laid) > 0
        assert set(laid) <= every[found.cuts]


@pytest.mark.parametrize("seed", range(80))
def test_more_cuts_than_the_fewest(seed: int) -> None:
    """Layouts with more cuts are only tried, so that some may be missed; what comes out has as many cuts as asked."""
    dice = Random(1000 + seed)
    one = span(0, dice.randint(4, 22))
    windows = random_windows(dice, one.hi, 1)
    every = brute(one, windows)
    for extra in (1, 2):
        found = reach(one, HOW, windows, extra=extra)
        wanted = min(every, default=0) + extra
        laid = {pieces_of(one, starts) for starts in layouts(one, HOW, found, 60)} if found else set()
        assert laid <= every.get(wanted, set())
        assert found or wanted not in every


@pytest.mark.parametrize("seed", range(120))
def test_raked_spans_as_by_trying_all(seed: int) -> None:
    dice = Random(2000 + seed)
    hi = dice.randint(4, 22)
    full = sorted((dice.randint(0, hi), dice.randint(0, hi)))
    one = span(0, hi, full=(full[0], full[1]))
    every = brute(one, ())
    found = reach(one, HOW, ())
    if found:
        laid = {pieces_of(one, starts) for starts in layouts(one, HOW, found, 60)}
        assert laid, "what is reachable is laid"
        assert laid <= every.get(found.cuts, set())
        assert found.cuts == min(every)


@pytest.mark.parametrize("seed", range(40))
def test_pieces_under_a_rake_that_bends_inwards_are_long_enough_in_the_mean(seed: int) -> None:
    """Rakes of 1 in 4 or more that get steeper twice, at the start or the end; the mean is measured on the profile itself."""
    dice, mm = Random(seed), 10**6
    how = Bonded(unit=599 * mm, joint=mm, least=99 * mm, joint_least=mm, joint_most=mm)
    high, length = 199 * mm, dice.randint(1100, 2400) * mm
    turns = [0, *sorted(z * mm for z in dice.sample(range(1, 199), 2)), high]
    top = [(0, 0)]
    for slope, (p, q) in zip(sorted(dice.uniform(0.25, 2) for _ in range(3)), pairwise(turns), strict=True):
        top.append((top[-1][0] + round((q - p) / slope), q))
    rake = top[-1][0]
    top.append((length, high))
    least = bent(top, 0, rake, 0, high, how.least, 50 * mm)
    span = Span(lo=0, hi=length, bottom=0, top=high, full_lo=rake, full_hi=length, bent_lo=least)
    if seed % 2:
        top = [(length - s, z) for s, z in reversed(top)]
        span = replace(span, full_lo=0, full_hi=length - rake, bent_lo=0, bent_hi=least)
    found = reach(span, how, ())
    laid = [pieces_of(span, starts, how) for starts in layouts(span, how, found, 8)] if found else []
    assert laid
    assert all(mean_length(top, a, b, 0, high)[0] >= how.least for pieces in laid for a, b in pieces)


@pytest.mark.parametrize("seed", range(60))
def test_joints_of_any_width_bound_from_below(seed: int) -> None:
    """With joints of 1 to 3 the fewest cuts are no more than those of any layout with such joints, tried one by one."""
    dice = Random(seed)
    how = Bonded(unit=6, joint=2, least=2, joint_least=1, joint_most=3)
    length = dice.randint(2, 24)
    known: dict[int, int] = {length: 0}

    def fewest(at: int) -> int:
        if at not in known:
            known[at] = 10**6
            for piece in range(how.least, how.unit + 1):
                rest = [0] if at + piece == length else []
                rest += [fewest(at + piece + j) for j in (1, 2, 3) if at + piece + j < length]
                known[at] = min([known[at], *(r + (piece != how.unit) for r in rest)])
        return known[at]

    wanted = fewest(0)
    found = reach(span(0, length), how, (), ranged=True)
    if wanted < 10**6:
        assert found is not None
        assert found.cuts <= wanted


def test_windows_of_the_nominal_joint_are_relaxed_for_a_range() -> None:
    wide = Bonded(unit=60, joint=4, least=10, joint_least=2, joint_most=8)
    assert relaxed([(10, 30), (40, 43)], wide) == ((12, 28),)
    assert relaxed([(10, 30)], HOW) == ((10, 30),)


@pytest.mark.parametrize("seed", range(40))
def test_no_cut_or_one_is_told_without_a_search(seed: int) -> None:
    """What is told of short cuts is what the search finds, joints as they are and of any width."""
    dice = Random(2000 + seed)
    told = set()
    for _ in range(40):
        unit, joint = dice.randint(3, 12) * 10, dice.choice((1, 2, 3))
        how = Bonded(unit=unit, joint=joint, least=dice.randint(1, unit // 2), joint_least=joint - dice.randint(0, 1), joint_most=joint + 2)
        length = dice.choice((dice.randint(1, 6 * unit), dice.randint(1, 6) * how.pitch - joint))
        ends = [(a, a + dice.randint(1, unit)) for a in (dice.randint(-5, length) for _ in range(dice.randint(0, 5)))]
        windows, one = moved(ends, 0, length + joint), span(0, length)
        found, few = reach(one, how, windows), one_at_most(length, how, windows)
        assert few == (found.cuts if found and found.cuts < 2 else None)
        wide = reach(one, how, relaxed(windows, how), ranged=True)
        assert Fills(how).least(shape_of(one), windows) == (wide.cuts if wide else 0)
        told.add(few)
    assert told == {0, 1, None}


def test_even_joints_save_a_cut_within_their_range() -> None:
    """Clear 5,402 with joints of 0.5 to 3: nine units and eight joints of 1.375; 5,425 would need 4.25 (worked arithmetic)."""
    mm = 10**6
    how = Bonded(unit=599 * mm, joint=mm, least=99 * mm, joint_least=mm // 2, joint_most=3 * mm)
    found = even(span(0, 5402 * mm), how, ())
    assert found is not None
    starts, ends = found
    assert {e - s for s, e in zip(starts, ends, strict=True)} == {599 * mm}
    assert {s - e for e, s in zip(ends, starts[1:], strict=False)} == {1_375_000}
    assert even(span(0, 5425 * mm), how, ()) is None
    assert even(span(0, 5402 * mm), how, ((550 * mm, 650 * mm),)) is None
    assert even(span(0, 300 * mm), how, ()) is None
    assert even(span(0, 5402 * mm, full=(mm, 5402 * mm)), how, ()) is None


def test_never_a_sliver() -> None:
    """Clear 1,819: two units and two cuts that share 618, never three units and a sliver of 19 (worked arithmetic)."""
    how = Bonded(unit=599, joint=1, least=99, joint_least=1, joint_most=1)
    one = span(0, 1819)
    found = reach(one, how, ())
    assert found is not None
    assert found.cuts == 2
    for starts in layouts(one, how, found, 8):
        pieces = pieces_of(one, starts, how)
        short = [b - a for a, b in pieces if cut(one, how, (a, b))]
        assert len(pieces) == 4
        assert sum(short) == 618
        assert min(short) >= 99


def test_too_many_cuts_are_no_bond() -> None:
    windows = ((3, 9), (10, 16), (17, 23))
    assert reach(span(0, 23), HOW, windows, most=0) is None
    assert reach(span(0, 1), HOW, ()) is None


def test_unions_and_what_is_free() -> None:
    assert union([(5, 7), (0, 2), (3, 4), (9, 9)]) == [(0, 7), (9, 9)]
    assert holds([(0, 2), (5, 5)], 5) and not holds([(0, 2), (5, 5)], 3)
    assert free([(2, 5), (4, 8)], 0, 10) == Free([0, 8], [2, 10])
    assert free([(-3, 2), (9, 20)], 0, 10) == Free([2], [9])
    assert free([], 3, 2) == Free([], [])
    assert Free([0, 8], [2, 10]).within([(1, 9), (11, 12)]) == [(1, 2), (8, 9)]


LENGTHS = st.integers(2, 60)
WINDOWS = st.lists(st.tuples(st.integers(-5, 60), st.integers(2, 9)), max_size=4)


@settings(max_examples=150, deadline=None)
@given(LENGTHS, WINDOWS, st.integers(-(10**9), 10**9))
def test_cuts_do_not_depend_on_the_place(length: int, near: list[tuple[int, int]], by: int) -> None:
    windows = tuple(sorted((a, a + w) for a, w in near))
    here, there = reach(span(0, length), HOW, windows), reach(span(by, by + length), HOW, tuple((a + by, b + by) for a, b in windows))
    assert (here.cuts if here else None) == (there.cuts if there else None)


@settings(max_examples=150, deadline=None)
@given(LENGTHS, WINDOWS)
def test_cuts_are_the_same_in_a_mirror(length: int, near: list[tuple[int, int]]) -> None:
    windows = tuple(sorted((a, a + w) for a, w in near))
    # a piece starts at y where a joint begins at y - 1; seen from the other end a piece starts at length + 1 - y
    mirrored = tuple(sorted((length + 1 - b, length + 1 - a) for a, b in windows))
    here, there = reach(span(0, length), HOW, windows), reach(span(0, length), HOW, mirrored)
    assert (here.cuts if here else None) == (there.cuts if there else None)

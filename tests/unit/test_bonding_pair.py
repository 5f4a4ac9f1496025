"""Two courses together: the exact search against trying all layouts of both."""

from __future__ import annotations

from random import Random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.unit.joint_brute import HOW, apart, courses, cuts, marks, random_spans, random_windows, span
from wallquant.bonding.pair import Half, least_two, suffixes, tight, two
from wallquant.bonding.span import Bonded, Span, reach


def fewest(lower: Half, upper: Half, offset: int) -> int | None:
    """Return the fewest cuts of both by trying all."""
    below, above = (
        [
            (sum(cuts(s, HOW, p) for s, p in zip(h.spans, laid, strict=True)), marks(h.spans, laid))
            for laid in courses(h.spans, HOW, h.windows)
        ]
        for h in (lower, upper)
    )
    best: int | None = None
    for n, x in sorted(below, key=lambda b: b[0]):
        for m, y in above:
            if (best is None or n + m < best) and apart(x, y, offset):
                best = n + m
    return best


def laid_of(spans: tuple[Span, ...], starts: tuple[int, ...]) -> list[tuple[tuple[int, int], ...]]:
    out = []
    for s in spans:
        inner = [y for y in starts if s.lo < y <= s.hi]
        out.append(tuple(zip((s.lo, *inner), (*(y - HOW.joint for y in inner), s.hi), strict=True)))
    return out


def halves(seed: int) -> tuple[Half, Half, int]:
    dice = Random(seed)
    most = dice.choice((1, 1, 2))
    made = []
    for _ in range(2):
        spans = random_spans(dice, most, longest=17 if most == 1 else 20)
        made.append(Half(spans=spans, windows=random_windows(dice, spans[-1].hi, 1)))
    return made[0], made[1], dice.randint(0, 3)


@pytest.mark.parametrize("seed", range(150))
def test_fewest_cuts_of_two_courses_as_by_trying_all(seed: int) -> None:
    lower, upper, offset = halves(seed)
    wanted = fewest(lower, upper, offset)
    found = two(lower, upper, HOW, offset)
    assert (found.cuts if found else None) == wanted
    if found is None:
        return
    below, above = laid_of(lower.spans, found.lower), laid_of(upper.spans, found.upper)
    assert apart(marks(lower.spans, below), marks(upper.spans, above), offset)
    for half, laid in ((lower, below), (upper, above)):
        for one in laid:
            assert all(HOW.least <= b - a <= HOW.unit for a, b in one)
            assert not any(lo < a < hi for a, _ in one[1:] for lo, hi in half.windows)
    assert sum(cuts(s, HOW, p) for h, laid in ((lower, below), (upper, above)) for s, p in zip(h.spans, laid, strict=True)) == wanted
    assert least_two(lower, upper, HOW, offset) == wanted


@pytest.mark.parametrize("seed", range(60))
def test_a_search_given_up_still_bounds(seed: int) -> None:
    lower, upper, offset = halves(seed)
    wanted = fewest(lower, upper, offset)
    if wanted is not None:
        for limit in (0, 3, 10):
            assert least_two(lower, upper, HOW, offset, limit) <= wanted


@pytest.mark.parametrize("seed", range(60))
def test_joints_of_any_width_need_no_more_cuts(seed: int) -> None:
    lower, upper, offset = halves(seed)
    wide = Bonded(unit=6, joint=1, least=2, joint_least=0, joint_most=2)
    exact = two(lower, upper, HOW, offset)
    if exact is not None:
        assert least_two(lower, upper, wide, offset) <= exact.cuts


def test_what_is_not_searched() -> None:
    plain, empty = Half(spans=(span(0, 13),), windows=()), Half(spans=(), windows=())
    raked = Half(spans=(span(0, 13, full=(3, 13)),), windows=())
    short = Half(spans=(span(0, 1),), windows=())
    for other in (empty, raked, short):
        assert two(plain, other, HOW, 1) is None
        assert least_two(other, plain, HOW, 1) == 0
    assert two(plain, plain, HOW, 1, 1) is None


def test_an_offset_that_cannot_be() -> None:
    """Two spans of one joint each, which a window holds in one place: no two joints stand two apart."""
    held = Half(spans=(span(0, 9),), windows=((0, 4), (4, 9)))
    assert two(held, held, HOW, 2) is None
    assert two(held, held, HOW, 0) is not None


def test_zones_are_as_narrow_as_their_bounds_imply() -> None:
    assert tight(0, 10, 0, 10, 4, 20) == (0, 6, 4, 10, 4, 10)
    assert tight(0, 3, 10, 12, -5, 5) is None


@pytest.mark.parametrize("length", range(2, 30))
def test_suffixes_end_at_the_fewest_cuts(length: int) -> None:
    layers = suffixes(span(0, length), 1, ((3, 5), (11, 14)), (7, 7), (3, 6))
    found = reach(span(0, length), HOW, ((3, 5), (11, 14)))
    assert (len(layers) - 2 if layers else None) == (found.cuts if found else None)


SPANS = st.lists(st.tuples(st.integers(2, 14), st.integers(2, 6), st.booleans(), st.booleans()), min_size=1, max_size=2)


def _course(parts: list[tuple[int, int, bool, bool]]) -> tuple[Span, ...]:
    at, out = 0, []
    for length, gap, left, right in parts:
        out.append(span(at, at + length, lapped=(left, right)))
        at += length + gap
    return tuple(out)


def _moved(spans: tuple[Span, ...], by: int) -> Half:
    return Half(spans=tuple(span(s.lo + by, s.hi + by, lapped=(s.lapped_lo, s.lapped_hi)) for s in spans), windows=())


def _mirrored(spans: tuple[Span, ...]) -> Half:
    return Half(spans=tuple(span(-s.hi, -s.lo, lapped=(s.lapped_hi, s.lapped_lo)) for s in reversed(spans)), windows=())


@settings(max_examples=120, deadline=None)
@given(SPANS, SPANS, st.integers(0, 3), st.integers(-(10**6), 10**6))
def test_cuts_depend_neither_on_the_place_nor_on_the_side(
    one: list[tuple[int, int, bool, bool]], other: list[tuple[int, int, bool, bool]], offset: int, by: int
) -> None:
    lower, upper = _course(one), _course(other)
    found = [
        two(Half(spans=lower, windows=()), Half(spans=upper, windows=()), HOW, offset, 4000),
        two(_moved(lower, by), _moved(upper, by), HOW, offset, 4000),
        two(_mirrored(lower), _mirrored(upper), HOW, offset, 4000),
        two(Half(spans=upper, windows=()), Half(spans=lower, windows=()), HOW, offset, 4000),
    ]
    assert len({f.cuts if f else None for f in found}) == 1

"""Spans at corners that are cut askew, by hand: what reaches the outermost point leans there, what ends before it keeps clear."""

from __future__ import annotations

import pytest

from wallquant.bonding.mitres import Askew, parted
from wallquant.bonding.span import Span
from wallquant.units import MM

CUT = Askew(lean=40 * MM, joint=MM)
LOW, HIGH = 1000 * MM, 5000 * MM


def span(lo: int, hi: int, full_lo: int | None = None, full_hi: int | None = None) -> Span:
    full = lo if full_lo is None else full_lo, hi if full_hi is None else full_hi
    return Span(lo=lo * MM, hi=hi * MM, bottom=0, top=199 * MM, full_lo=full[0] * MM, full_hi=full[1] * MM)


def laid(one: Span, first: Askew | None, last: Askew | None) -> tuple[float, ...] | None:
    """Start, end, where it is full, and leans of the only span that is left, in millimetres."""
    found = parted([one], ((LOW, first, True), (HIGH, last, True)), (), MM, 100 * MM)
    assert len(found) <= 1
    sizes = [(s.lo, s.hi, s.full_lo, s.full_hi, s.lean_lo, s.lean_hi) for s in found]
    return tuple(v / MM for v in sizes[0]) if sizes else None


def test_what_reaches_the_outermost_point_leans() -> None:
    assert laid(span(1000, 5000), CUT, CUT) == (1000, 5000, 1000, 5000, 40, 40)
    assert laid(span(1000, 5000), CUT, None) == (1000, 5000, 1000, 5000, 40, 0)
    assert laid(span(1000, 5000), None, CUT) == (1000, 5000, 1000, 5000, 0, 40)


@pytest.mark.parametrize(
    ("given", "left"),
    [
        (span(1010, 3000), (1080, 3000, 1080, 3000)),  # drawn in to twice the lean
        (span(1080, 3000), (1080, 3000, 1080, 3000)),  # clear already, by nothing
        (span(1010, 3000, full_lo=1500), (1080, 3000, 1500, 3000)),  # raked at its start, full further in
        (span(1010, 3000, full_lo=1010, full_hi=1050), (1080, 3000, 1080, 1080)),  # full only where it is drawn in
        (span(1010, 3000, full_lo=1010, full_hi=2000), (1080, 3000, 1080, 2000)),
    ],
)
def test_what_ends_within_the_lean_of_the_start_keeps_clear(given: Span, left: tuple[float, ...]) -> None:
    assert laid(given, CUT, None) == (*left, 0, 0)
    assert laid(given, None, CUT) == (given.lo / MM, given.hi / MM, given.full_lo / MM, given.full_hi / MM, 0, 0), "the other end is far"


@pytest.mark.parametrize(
    ("given", "left"),
    [
        (span(3000, 4990), (3000, 4920, 3000, 4920)),
        (span(3000, 4920), (3000, 4920, 3000, 4920)),
        (span(3000, 4990, full_hi=4500), (3000, 4920, 3000, 4500)),
        (span(3000, 4990, full_lo=4950), (3000, 4920, 4920, 4920)),
        (span(3000, 4990, full_lo=4000), (3000, 4920, 4000, 4920)),
    ],
)
def test_what_ends_within_the_lean_of_the_end_keeps_clear(given: Span, left: tuple[float, ...]) -> None:
    assert laid(given, None, CUT) == (*left, 0, 0)


def test_what_lies_within_the_lean_alone_is_not_laid() -> None:
    assert laid(span(1010, 1080), CUT, None) is None
    assert laid(span(1010, 1081), CUT, None) == (1080, 1081, 1080, 1081, 0, 0)
    assert laid(span(4920, 4990), None, CUT) is None

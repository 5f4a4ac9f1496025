"""Openings that no fixed piece bridges, by hand: up to where what lies over them is set aside, and which a unit spans."""

from __future__ import annotations

import pytest

from tests.unit.laid_house import Hole, wall
from wallquant import catalogue as catalogues
from wallquant import graph
from wallquant.bonding.bridging import unbridged
from wallquant.bonding.coursing import Fitted, courses, fitted
from wallquant.bonding.problem import Ask
from wallquant.building import Building
from wallquant.rules import Fixed, Sentence
from wallquant.units import MM, mm

BOOK = catalogues.load("aac-metric")
"""Units of 599 x 199, joints of 1, a bed of 10: courses begin at 10 + 200 k."""


def fit(*openings: Hole, height: float = 3409) -> Fitted:
    network, _ = graph.build(Building(walls=(wall("A", (0, 0), (5999, 0), height=height, openings=openings),), unit="mm"), BOOK)
    run = network.runs[0]
    return fitted(run, courses(run), {})


def over(upper: Hole, *, left: bool = True) -> float:
    """Up to where nothing carries what is over a hole of 900 up to 1010, with another hole that a lintel bridges; millimetres."""
    both = sorted([(2000, 2900, 0, 1010), upper])
    low, high = (f"A#{n + 1}" for n in (both.index((2000, 2900, 0, 1010)), both.index(upper)))
    spoken: list[tuple[str, Sentence]] = [("r", Fixed(course=1, lo=0, hi=mm(1500), unit="lintel", opening=(high,)))]
    gaps, asks = unbridged(fit(*both), spoken, frozenset({low}) if left else frozenset())
    assert not asks and set(gaps) == {low}
    return gaps[low] / MM


@pytest.mark.parametrize("left", [True, False])
@pytest.mark.parametrize(
    ("upper", "level"),
    [
        ((1800, 3100, 1610, 2210), 1610),  # as wide and bridged: what is over it is carried
        ((2000, 2900, 1610, 2210), 1610),  # just as wide
        ((2000, 2900, 1010, 1610), 1010),  # right over it
        ((2001, 2900, 1610, 2210), 3409),  # narrower at its start: masonry beside it hangs
        ((2000, 2899, 1610, 2210), 3409),  # narrower at its end
        ((3900, 4800, 1610, 2210), 3409),  # elsewhere
    ],
)
def test_up_to_the_next_opening_as_wide_that_is_bridged_nothing_is_carried(upper: Hole, level: float, left: bool) -> None:
    assert over(upper, left=left) == pytest.approx(level, abs=13), "a top is laid within its fit"
    assert over(upper, left=left) == level or level == 3409


def spanned(width: float, head: float, height: float) -> tuple[float | None, list[Ask]]:
    """Up to where nothing is laid over one hole in the middle of a wall, and the windows of units that bridge it."""
    gaps, asks = unbridged(fit((2400, 2400 + width, 0, head), height=height), [], frozenset())
    return (gaps["A#1"] / MM if gaps else None), asks


def test_a_unit_bridges_what_it_bears_beside() -> None:
    """300 with 150 on both sides is 600, a millimetre more than a unit; 299 with 149.5 is 598; 100 bears 100 on either side."""
    gap, asks = spanned(300, 1010, 2409)
    assert gap == pytest.approx(2409, abs=13) and not asks
    gap, [ask] = spanned(299, 1010, 2409)
    assert gap is None and (ask.course, ask.lo, ask.hi) == (6, mm(2400 - 149.5), mm(2699 + 149.5))
    gap, [ask] = spanned(100, 1010, 2409)
    assert gap is None and (ask.lo, ask.hi) == (mm(2300), mm(2600))


def test_no_unit_bridges_what_no_whole_course_is_over() -> None:
    """Over a head at 1010 stands 100 of a course; over one at 1100 none begins."""
    gap, asks = spanned(200, 1010, 1110)
    assert gap == pytest.approx(1110, abs=13) and not asks
    gap, asks = spanned(200, 1100, 1209)
    assert gap == pytest.approx(1209, abs=13) and not asks


def test_under_the_course_of_a_unit_that_bridges_nothing_is_laid() -> None:
    gap, [ask] = spanned(200, 1050, 2409)
    assert gap == 1210 and ask.course == 7

"""Levels: how many courses, and what sills, heads and tops are moved by within the fit (top 12.7 mm either way)."""

from __future__ import annotations

import pytest

from tests.unit.laid_house import lay, wall
from wallquant import catalogue as catalogues
from wallquant import graph
from wallquant.bonding.cells import Levels
from wallquant.bonding.coursing import courses, fitted, heights
from wallquant.building import Building, Wall
from wallquant.layout import Run
from wallquant.units import MM

BOOK = catalogues.load("aac-metric")


def run_of(one: Wall) -> Run:
    net, _ = graph.build(Building(walls=(one,)), BOOK)
    return net.runs[0]


def laid_top(one: Wall) -> list[tuple[float, float]]:
    run = run_of(one)
    return [(s / MM, z / MM) for s, z in fitted(run, courses(run), {}).top]


@pytest.mark.parametrize(("height", "count"), [(209, 1), (221, 1), (222, 2), (2410, 12), (2397, 12), (2421, 12), (2423, 13)])
def test_courses_end_within_the_fit_or_above(height: float, count: int) -> None:
    assert len(courses(run_of(wall("A", (0, 0), (3000, 0), height=height)))) == count


@pytest.mark.parametrize(("height", "laid"), [(2400, 2409), (2409, 2409), (2420, 2409), (2422, 2422), (2390, 2390), (2397, 2409)])
def test_flat_top_is_moved_to_its_course(height: float, laid: float) -> None:
    assert laid_top(wall("A", (0, 0), (3000, 0), height=height)) == [(0, laid), (3000, laid)]


def test_flat_and_raked_stretch_meet_again() -> None:
    """The flat top at 2400 goes up to 2409; the slope of 1 in 2 that rises from it is at that level 18 further on."""
    top = [(0, 2400), (1000, 2400), (3000, 3400)]
    assert laid_top(wall("A", (0, 0), (3000, 0), top=top)) == [(0, 2409), (1018, 2409), (3000, 3400)]
    falling = [(0, 2400), (1000, 2400), (3000, 1400)]
    assert laid_top(wall("A", (0, 0), (3000, 0), top=falling)) == [(0, 2409), (982, 2409), (3000, 1400)]


def test_a_step_stays_a_step() -> None:
    top = [(0, 2400), (1000, 2400), (1000, 1200), (3000, 1200)]
    assert laid_top(wall("A", (0, 0), (3000, 0), top=top)) == [(0, 2409), (1000, 2409), (1000, 1209), (3000, 1209)]


def test_sills_and_heads() -> None:
    """A sill may go up by 12.7 to a course's top; a head that no rule wants on a bed stays."""
    one = run_of(wall("A", (0, 0), (3000, 0), openings=[(500, 1500, 803, 2005)]))
    levels = courses(one)
    assert [(o.sill / MM, o.head / MM) for o in fitted(one, levels, {}).openings] == [(809, 2005)]
    assert [(o.sill / MM, o.head / MM) for o in fitted(one, levels, {2005 * MM: 5}).openings] == [(809, 2010)]


def test_fit_of_the_top_is_told() -> None:
    account = lay([wall("A", (0, 0), (3000, 0), height=2400)]).bond.accounts[0]
    assert account.fit["top"] == 9 * MM
    assert account.ledger["fit_height"] == pytest.approx(2.999 * 0.009 * 0.2)  # five units are 2999 long


def test_courses_under_a_held_bed_are_ripped() -> None:
    """Bed 10, unit 199, joint 1, least rip 50: 2551 leaves 140; 2451 leaves 40, shared by two; a held course is never ripped itself."""
    sizes = {"bed": 10 * MM, "joint": MM, "height": 199 * MM, "rip": 50 * MM}
    assert heights(**sizes, held=[2551 * MM]) == {13: 140 * MM}
    assert heights(**sizes, held=[2451 * MM]) == {12: 119 * MM + MM // 2, 13: 119 * MM + MM // 2}
    assert heights(**sizes, held=[2410 * MM]) == {}
    assert heights(**sizes, held=[1210 * MM, 2551 * MM]) == {13: 140 * MM}
    assert heights(**sizes, held=[1351 * MM, 2551 * MM]) == {7: 140 * MM}
    assert heights(**sizes, held=[2551 * MM, 2651 * MM]) is None
    assert heights(**sizes, held=[40 * MM]) is None
    assert heights(**sizes, held=[5 * MM]) is None


def test_held_courses_reach_the_top_and_levels_are_found_again() -> None:
    levels = courses(run_of(wall("A", (0, 0), (3000, 0), height=2750)), [2551 * MM])
    assert [(c.bottom / MM, c.top / MM) for c in levels.levels[-2:]] == [(2410, 2550), (2551, 2750)]
    lines = Levels(bed=10 * MM, height=199 * MM, joint=MM, count=14, least_rip=50 * MM, low=((13, 140 * MM),))
    for c in levels.levels:
        assert (lines.bottom(c.number), lines.top(c.number)) == (c.bottom, c.top)
        assert {lines.course(z) for z in (c.bottom, c.top)} == {levels.at(c.bottom), levels.at(c.top)} == {c.number}

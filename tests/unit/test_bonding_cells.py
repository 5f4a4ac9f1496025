"""The face of a run cut into cells: courses, rips, rakes, and what is too small to lay.  Arithmetic from units of 199 on 1 mm beds."""

from __future__ import annotations

from math import isqrt

import pytest

from wallquant.bonding.cells import FAR, Block, Cell, Levels, bent, face, level, mean_length
from wallquant.building import Profile
from wallquant.units import MM

LEVELS = Levels(bed=10 * MM, height=199 * MM, joint=MM, count=6, least_rip=50 * MM)


def flat(top: float, length: float = 3000) -> Profile:
    return ((0, round(top * MM)), (round(length * MM), round(top * MM)))


def column(cells: tuple[Cell, ...], station: float) -> list[tuple[float, float]]:
    """Return the levels of the cells at a station, from the bottom up."""
    at = station * MM
    return sorted((c.bottom / MM, c.top / MM) for c in cells if c.lo <= at < c.hi)


def test_whole_courses_and_a_rip() -> None:
    cells, scraps = face(LEVELS, flat(470), (), MM)
    assert column(cells, 100) == [(10, 209), (210, 409), (410, 470)]
    assert not scraps


def test_a_rip_under_the_least_is_shared_with_the_course_below() -> None:
    """From 210 to 440 are 230: two rips of (230 - 1) / 2 = 114.5; the 30 over the second course alone are less than 50."""
    cells, scraps = face(LEVELS, flat(440), (), MM)
    assert column(cells, 100) == [(10, 209), (210, 324.5), (325.5, 440)]
    assert not scraps


def test_rips_under_the_least_at_both_ends_are_each_shared() -> None:
    """Over a hole up to 380 and under a top of 1040: 29 and 30 are too low, so each shares 229 or 230 with its neighbour."""
    hole = Block(lo=0, hi=3000 * MM, bottom=0, top=380 * MM)
    cells, scraps = face(LEVELS, flat(1040), (hole,), MM)
    assert column(cells, 100) == [(380, 494), (495, 609), (610, 809), (810, 924.5), (925.5, 1040)]
    assert not scraps


def test_less_than_a_rip_alone_is_a_scrap() -> None:
    cells, scraps = face(LEVELS, flat(40), (), MM)
    assert not cells
    assert [(s.bottom, s.top) for s in scraps] == [(0, 40 * MM)]
    assert "least rip" in scraps[0].reason


def test_hole_parts_the_courses() -> None:
    hole = Block(lo=1000 * MM, hi=1800 * MM, bottom=0, top=510 * MM)
    cells, _ = face(LEVELS, flat(609), (hole,), MM)
    assert column(cells, 1400) == [(510, 609)]
    assert column(cells, 500) == [(10, 209), (210, 409), (410, 609)]
    beside = [c for c in cells if c.hi == 1000 * MM]
    assert len(beside) == 3 and not any(c.lapped_hi for c in beside if c.top <= hole.top)  # a jamb is no joint


def test_fixed_piece_keeps_a_bed_above_and_below() -> None:
    """A lintel at 460 to 659: a rip of 410 to 459 is 49 and too low, so the two courses under it share 210 to 459."""
    lintel = Block(lo=1000 * MM, hi=1800 * MM, bottom=460 * MM, top=659 * MM, solid=True)
    cells, _ = face(LEVELS, flat(1009), (lintel,), MM)
    assert column(cells, 1400) == [(10, 209), (210, 334), (335, 459), (660, 809), (810, 1009)]


def test_rake_gives_cells_with_their_full_stretch() -> None:
    """A slope of 45 degrees from 0 to 500: the first course is whole from where the top is at 209."""
    cells, _ = face(LEVELS, ((0, 0), (500 * MM, 500 * MM), (3000 * MM, 500 * MM)), (), MM)
    first = next(c for c in cells if c.row == 1)
    assert first.raked
    assert (first.lo, first.full_lo) == (10 * MM, 209 * MM)


def test_toe_of_a_rake_in_the_bed_is_no_cell() -> None:
    """The slope falls to the bottom: where it is lower than the bed of 10 nothing can be laid."""
    cells, scraps = face(LEVELS, ((0, 300 * MM), (900 * MM, 0)), (), MM)
    assert max(c.hi for c in cells) == 870 * MM  # falling 1 in 3 the top is at 10 there
    assert any(s.bottom == 0 and s.top == 10 * MM for s in scraps)


def test_a_valley_within_a_course_parts_its_cells() -> None:
    """Course 1 from 10 to 209: down to 109 at 600, and up again; a joint stands in the valley."""
    top: Profile = ((0, 409 * MM), (600 * MM, 109 * MM), (1800 * MM, 709 * MM))
    cells, _ = face(LEVELS, top, (), MM)
    left, right = (c for c in cells if c.row == 1)
    assert (left.hi, right.lo) == (600 * MM, 601 * MM)
    assert left.lapped_hi and right.lapped_lo
    assert (left.full_hi, right.full_lo) == (400 * MM, 800 * MM)


def test_a_step_at_the_foot_of_a_slope_is_a_valley_too() -> None:
    top: Profile = ((0, 409 * MM), (600 * MM, 409 * MM), (600 * MM, 109 * MM), (1800 * MM, 709 * MM))
    left, right = (c for c in face(LEVELS, top, (), MM)[0] if c.row == 1)
    assert (left.hi, right.full_lo) == (600 * MM, 800 * MM)


def test_a_rake_that_bends_inwards_takes_longer_pieces() -> None:
    """Up 100 over 300, then 100 over 200: the steeper line comes down to nothing 400 before the full height, 100 from the end.

    A piece of 100 and twice 99 has a mean of 99 then.  With a bend at 600 of 1000 it would be 200 and twice 99; but 398 are enough
    under any slope of 1 in 4 or more up to 200: 398 x 398 / 8 / 200 is 99.
    """
    sizes = (0, 200 * MM, 99 * MM, 50 * MM)
    top: Profile = ((0, 0), (300 * MM, 100 * MM), (500 * MM, 200 * MM), (3000 * MM, 200 * MM))
    mirrored = tuple((3000 * MM - s, z) for s, z in reversed(top))
    assert bent(top, 0, 500 * MM, *sizes) == bent(mirrored, 3000 * MM, 2500 * MM, *sizes) == 298 * MM
    long: Profile = ((0, 0), (600 * MM, 100 * MM), (1000 * MM, 200 * MM), (3000 * MM, 200 * MM))
    assert bent(long, 0, 1000 * MM, *sizes) == 1 + isqrt(8 * 200 * MM * 99 * MM)
    assert bent(top, 0, 300 * MM, *sizes) == 0  # straight to there
    outwards: Profile = ((0, 0), (200 * MM, 100 * MM), (500 * MM, 200 * MM), (3000 * MM, 200 * MM))
    assert bent(outwards, 0, 500 * MM, *sizes) == 0


def test_level_at_steps() -> None:
    top = ((0, 100), (10, 100), (10, 50), (20, 70))
    assert [level(top, s, side) for s, side in ((-5, 1), (10, -1), (10, 1), (15, 1), (25, 1))] == [100, 100, 50, 60, 70]


def test_mean_length() -> None:
    """A right triangle has half its length; a rectangle all of it."""
    triangle = ((0, 0), (400, 200))
    assert mean_length(triangle, 0, 400, 0, 200) == (pytest.approx(200), 200)
    assert mean_length(((0, 200), (400, 200)), 0, 400, 0, 200) == (pytest.approx(400), 200)
    assert mean_length(triangle, 0, 400, 300, 400) == (0.0, 0)


def test_cells_reach_beyond_both_ends() -> None:
    cells, _ = face(LEVELS, flat(209), (), MM)
    assert (cells[0].lo, cells[0].hi) == (-FAR, FAR)


def test_a_joint_beside_two_openings_belongs_to_the_one_in_its_course() -> None:
    """A door of 2300 to 3200 and a window from 3200 on, higher up: at the door's jamb the right-hand pieces keep their end."""
    holes = (
        Block(lo=2300 * MM, hi=3200 * MM, bottom=550 * MM, top=2000 * MM),
        Block(lo=3200 * MM, hi=3800 * MM, bottom=900 * MM, top=2000 * MM),
    )
    for order in (holes, holes[::-1]):
        cells, _ = face(LEVELS, flat(1209), order, MM)
        ends = {c.row: c.lo for c in cells if c.row == 3 and 3100 * MM < c.lo < 3300 * MM}
        assert ends == {3: 3200 * MM}
        under = next(c for c in cells if c.row == 3 and c.top == 550 * MM)
        assert under.hi == 3199 * MM

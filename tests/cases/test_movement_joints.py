"""Movement joints as laid: straight, of their width in every course, and as far apart as published rules ask."""

from __future__ import annotations

from collections.abc import Iterable
from itertools import combinations, pairwise
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from wallquant_thinbed import joint_places
from wallquant_thinbed.movement_joints import MovementJoints

from tests.unit import laid_house as house
from wallquant.layout import Courses, Run
from wallquant.rules import Fixed, Item, Rule, Sentence, configured
from wallquant.testing.walls import work_of
from wallquant.units import FOOT, MM

WALLS = [
    house.wall("A", (0, 0), (16200, 0), openings=[(4300, 5300, 0, 2010)]),
    house.wall("B", (16100, 100), (16100, 3000)),
    house.wall("C", (8000, 100), (8000, 3000)),
]


def laid(**values: Any) -> house.House:
    return house.checked(house.lay(WALLS, settings={"movement_joints": values}))


@pytest.mark.parametrize(("high", "apart"), [(8, 12), (10, 15), (12, 18), (20, 25)])
def test_distances_of_ncma_tek_10_2b(high: int, apart: int) -> None:
    """The lesser of 1.5 times the height and 25 ft."""
    case = {"catalogue": "aac-us", "run": {"length": "30 ft", "unit": "std-24x8x8", "courses": 12, "top": f"{high} ft"}}
    params = configured(MovementJoints, {"preset": "ncma"}).params
    assert joint_places.limit(work_of(case).runs["R1"], params) == apart * FOOT


@pytest.mark.parametrize(("preset", "apart"), [("nhbc", 6000), ("en", 6000), ("us_army", 6096)])
def test_a_joint_is_straight_and_of_its_width_in_every_course(preset: str, apart: float) -> None:
    made = laid(preset=preset)
    joints = made.items("movement joint")
    assert len(joints) >= 3
    width = configured(MovementJoints, {"preset": preset}).params.width / MM
    p = made.work.pieces
    for joint in joints:
        at = joint.start / MM
        assert joint.end - joint.start == width * MM
        high = 0
        for course in range(1, 13):
            beside = [(end, start) for (_, end), (start, _) in pairwise(made.row(joint.run, course)) if end <= at + 1 and start >= at - 1]
            assert beside == [(at, at + width)], course
            high += 1
        assert high == int(p.course[p.run == p.runs.index(joint.run)].max())
    long = sorted(j.start / MM for j in joints if j.run == joints[0].run)
    first, last = (made.work.runs[joints[0].run].first, made.work.runs[joints[0].run].last)
    ends = [first.station / MM, *long, last.station / MM]
    assert all(b - a <= apart + width for a, b in pairwise(ends))


@settings(max_examples=200, deadline=None)
@given(
    st.lists(st.integers(700, 9300), min_size=1, max_size=7, unique=True),
    st.integers(1500, 9000),
    st.integers(750, 9000),
    st.data(),
)
def test_the_way_through_the_places_is_the_best_of_all(stations: list[int], most: int, near: int, data: st.DataObject) -> None:
    """Against all subsets: no length beyond the limits is longer than it must be, then fewest joints, then evenness."""
    stations.sort()
    must = set(data.draw(st.lists(st.sampled_from(stations), max_size=2, unique=True)))
    first, last, width, least, limits = 0, 10000, 10, 1200, (near, most, near)

    def cost(way: tuple[int, ...]) -> tuple[int, int, int] | None:
        panels = [b - a for a, b in zip((first, *(w + width for w in way)), (*way, last), strict=True)]
        inner = zip(panels[1:-1], pairwise(way), strict=True)
        if not must <= set(way) or any(p < least and not {a, b} <= must for p, (a, b) in inner):
            return None
        if not way:
            return max(0, last - first - most), 0, 0
        wanted = [near, *[most] * (len(way) - 1), near]
        over = sum(max(0, p - w) for p, w in zip(panels, wanted, strict=True))
        return over, len(way), sum(p * p // w for p, w in zip(panels, wanted, strict=True))

    every = [cost(way) for n in range(len(stations) + 1) for way in combinations(stations, n)]
    possible = [c for c in every if c is not None]
    made = cost(joint_places.path(stations, must, first, last, width, limits, least))
    assert bool(possible) == (made is not None)
    assert not possible or made == min(possible)


def test_nothing_is_placed_and_no_piece_moves_without_a_value() -> None:
    one, other = house.lay(WALLS), house.lay(WALLS, rules_off=("movement_joints",))
    assert house.columns(one) == house.columns(other)
    assert not one.items("movement joint")
    assert "movement_joints.value-needed" in one.codes()


def test_the_place_with_fewest_cuts_is_taken() -> None:
    """Of the places within reach the engine takes one that leaves whole modules; a joint fixed elsewhere costs more cuts."""
    walls = [house.wall("A", (0, 0), (9009, 0))]
    made = house.checked(house.lay(walls, settings={"movement_joints": {"spacing": "6 m"}}))
    (joint,) = made.items("movement joint")
    # 9009 = 15 units of 600, less one joint of 1, with 10 for the movement joint: both panels close on half units, which costs
    # a half unit a course, or two in every second one: 12 a panel
    assert (joint.start + MM) % (300 * MM) == 0
    assert made.bond.cuts == 24
    off = house.checked(house.lay(walls, more_rules=(Elsewhere(),)))
    assert off.bond.cuts > 24


class Elsewhere(Rule):
    """A joint that leaves seven units and 60 mm: less than the least piece."""

    code = "test_elsewhere"

    def demand(self, run: Run, courses: Courses) -> Iterable[Sentence]:
        at = 4260 * MM
        yield Fixed(course=1, courses=len(courses), lo=at, hi=at + 10 * MM, offset=False)
        yield Item(kind="movement joint", run=run.name, start=at, end=at + 10 * MM, bottom=run.bottom, top=run.top[0][1])


def test_what_crosses_a_joint_is_told() -> None:
    """A joint forced into a lintel's bearing is told, and a bar along the wall through a joint too."""
    made = house.lay(WALLS, settings={"movement_joints": {"spacing": "3 m", "off_jambs": "0 mm"}})
    p = made.work.pieces
    crossed = [
        j
        for j in made.items("movement joint")
        for row in range(len(p))
        if p.runs[p.run[row]] == j.run and p.start[row] < j.end and p.end[row] > j.start
    ]
    assert crossed
    assert "movement_joints.crossed" in made.codes()

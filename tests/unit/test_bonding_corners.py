"""Corners and openings beside them, laid by the real stages: who passes, what is left out, and that everything stays sound."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import pytest

from tests.unit.laid_house import Hole, House, checked, lay, ring, wall
from wallquant.bonding.asking import meets
from wallquant.units import MM


def ell(**other: object) -> House:
    return checked(lay([wall("A", (0, 100), (3000, 100), height=2410), wall("B", (100, 200), (100, 2600), **other)]))  # type: ignore[arg-type]


def phase(house: House, kind: str = "L") -> tuple[str, ...]:
    corner = next(c for c in house.work.corners.values() if c.kind == kind)
    return house.work.phases[corner.name]


@pytest.mark.parametrize("height", [1200, 1210, 1290, 1350, 2410, 2600, 3000])
def test_neighbours_of_other_heights(height: float) -> None:
    house = ell(height=height)
    passing = phase(house)
    low = min(2410, height)
    count = int((low - 10 + 1) // 200)
    assert all(a != b for a, b in pairwise(passing[:count]))  # in turn where both stand
    taller = house.network.corners[0].runs[0] if height <= 2410 else None
    if taller and height < 2400:
        assert set(passing[count + 1 :]) == {taller}


def test_raked_top_at_a_corner() -> None:
    checked(lay([wall("A", (0, 100), (4000, 100), top=[(0, 1200), (4000, 3000)]), wall("B", (100, 200), (100, 2600), height=1200)]))
    checked(lay([wall("A", (0, 100), (4000, 100), top=[(0, 3000), (4000, 1200)]), wall("B", (100, 200), (100, 2600), height=2610)]))


@pytest.mark.parametrize("mirrored", [False, True])
def test_a_slope_that_falls_steeply_to_a_corner_goes_on_level_there(mirrored: bool) -> None:
    """B falls 2800 in its last 133 to 1594 at A's face; under a slope that went on it would be gone within A, and A's corner hollow."""
    top = [(0, 1594), (133, 4394), (2400, 3500)]
    end, turned = (100, 2600), [(2400 - s, z) for s, z in reversed(top)]
    b = wall("B", end, (100, 200), top=turned) if mirrored else wall("B", (100, 200), end, top=top)
    house = checked(lay([wall("A", (0, 100), (3000, 100), height=1610), b]))
    passing = phase(house)
    assert all(a != b for a, b in pairwise(passing[:7]))  # seven courses of both end at 1409
    names = {part.wall: run.name for run in house.work.runs.values() for part in run.parts}
    assert passing[7] == names["A"]  # the eighth is whole in A, to 1609, and B ends in it


def test_a_wall_whose_top_dips_within_a_corner_stands_as_high_as_the_dip() -> None:
    """B's top is at 1387 on A's axis, 487 behind it by 37, and rises from there: what stands over 487 is a sliver and passes nowhere."""
    b = wall("B", (1879, 0), (1879, 2878), thickness=150, top=[(0, 1387), (37, 487), (2878, 1987)])
    house = checked(lay([wall("A", (0, 0), (3000, 0), thickness=150, height=2410), b]))
    names = {part.wall: run.name for run in house.work.runs.values() for part in run.parts}
    assert set(phase(house, "T")[2:]) == {names["A"]}  # the third course is from 410 to 609


HOLES: dict[str, list[Hole]] = {
    "beside the corner": [(250, 900, 0, 2010)],
    "a stub under the least piece": [(290, 900, 0, 2010)],
    "two, pier too short": [(600, 1200, 0, 2010), (1290, 2000, 0, 1000)],
    "to the top": [(700, 1700, 1010, 2410)],
    "from bottom to top": [(700, 1700, 0, 2410)],
    "window over a door": [(700, 1700, 0, 1000), (700, 1700, 1410, 2010)],
    "sill within the least rip": [(700, 1700, 440, 2010)],
    "head within the least rip of the top": [(700, 1700, 810, 2380)],
    "small over nothing": [(700, 1000, 0, 390), (1000, 1250, 0, 1210)],
    "small at the free end": [(2800, 3000, 0, 1210)],
    "nearly all of the wall": [(200, 3000, 0, 2410)],
}


@pytest.mark.parametrize("holes", HOLES.values(), ids=HOLES.keys())
def test_openings_near_corners(holes: list[Hole]) -> None:
    checked(lay([wall("A", (0, 100), (3000, 100), height=2410, openings=holes), wall("B", (100, 200), (100, 2600), height=2410)]))


@pytest.mark.parametrize("clear", [99, 150, 400, 598, 600, 700])
def test_short_walls_between_two_corners(clear: float) -> None:
    far = 200 + clear + 100
    checked(lay([wall("A", (100, 0), (100, 3000)), wall("S", (200, 1000), (200 + clear, 1000)), wall("B", (far, 0), (far, 3000))]))


def test_split_levels() -> None:
    house = checked(lay([wall("A", (0, 100), (3000, 100), height=2410), wall("B", (100, 200), (100, 2600), height=2410, bottom=400)]))
    assert set(phase(house)) == {"tied"}


def test_lintel_at_a_corner_that_cannot_bond() -> None:
    """The run that does not go first never passes: its lintel ends at the joint there and not at the outer face."""
    walls = [
        wall("A", (0, 100), (4000, 100), height=3000),
        wall("B", (100, 200), (100, 3000), bottom=400, height=2410, openings=[(400, 1300, 0, 1410)]),
    ]
    house = checked(lay(walls))
    p = house.work.pieces
    lintels = [k for k in range(len(p)) if p.units[int(p.unit[k])].kind == "lintel"]
    assert len(lintels) == 1
    assert int(p.start[lintels[0]]) >= 101 * MM


def test_crossing_of_a_lower_wall() -> None:
    """The wall that goes over a lower one at a tied crossing spans what is left open above it."""
    low = wall("A", (0, 0), (6000, 0), height=1350)
    high = wall("B", (3000, -2000), (3000, 2000), height=2410, bottom=400)
    checked(lay([low, high]))


def test_a_lintel_over_a_place_that_is_set_aside_is_left_out() -> None:
    """A bearing beside an opening that nothing bridges would lie on nothing."""
    holes = [(284.0, 908.0, 0.0, 1210.0), (908.0, 1453.0, 0.0, 390.0)]
    house = checked(lay([wall("A", (1972, 75), (0, 75), thickness=150, height=2410, openings=holes),
                         wall("B", (75, 150), (75, 1350), thickness=150, height=2410)]))  # fmt: skip
    assert "bond.left-out" in house.codes()
    told = next(f for f in house.findings if f.code == "bond.left-out")
    assert told.place.opening == "A#1"
    assert {b.bridged for b in house.work.bridges} == {"none"}
    assert house.account("A").reasons


def test_three_walls_in_one_corner_and_end_to_end() -> None:
    checked(lay([wall("A", (0, 0), (3000, 0)), wall("B", (0, 0), (0, 3000)), wall("D", (0, 0), (-3000, 0), thickness=150)]))
    checked(lay([wall("A", (0, 0), (3000, 0)), wall("B", (3000, 0), (5000, 0), thickness=150)]))


def test_angled_corners_are_told() -> None:
    house = checked(lay([wall("A", (0, 0), (3000, 0)), wall("B", (3000, 0), (5000, 2000))]))
    assert "bond.mitre" in house.codes() and "bond.angled-corner" not in house.codes()
    house = checked(lay([wall("A", (0, 0), (3000, 0)), wall("B", (3000, 0), (0, 300))]))  # 5.7 degrees between them
    assert "bond.angled-corner" in house.codes() and "bond.mitre" not in house.codes()


def test_ring_passes_in_turn() -> None:
    house = checked(lay(ring(6200, 4400)))
    assert all(a != b for p in house.work.phases.values() for a, b in pairwise(p) if len(set(p)) > 1)


def doors(one: float, two: float, height: float = 2410) -> House:
    walls = [
        wall("A", (0, 100), (4000, 100), height=height, openings=[(one, one + 900, 0, 2010)]),
        wall("B", (100, 200), (100, 4000), height=height, openings=[(two - 200, two + 700, 0, 2010)]),
    ]
    return checked(lay(walls))


def test_two_lintels_that_want_one_corner() -> None:
    """Both doors stand 300 from the corner's outside faces: one lintel turns the corner, the other is left out and told."""
    house = doors(300, 300, height=2610)
    assert sorted(b.bridged for b in house.work.bridges) == ["lintel", "none"]
    told = next(f for f in house.findings if f.code == "bond.left-out")
    assert told.place.corner
    left = next(b for b in house.work.bridges if b.bridged == "none")
    assert told.place.opening == left.opening


def test_two_lintels_one_of_which_can_butt() -> None:
    house = doors(300, 700, height=2610)
    assert sorted(b.bridged for b in house.work.bridges) == ["lintel", "lintel"]


def test_one_lintel_over_two_openings_bears_outside_them() -> None:
    """A door and a window touch: 600 + 900 under one lintel of 2000, whose bearings of 250 lie outside both."""
    house = checked(lay([wall("A", (0, 0), (5999, 0), height=2610, openings=[(2000, 2600, 810, 2010), (2600, 3500, 0, 2010)])]))
    one, two = house.work.bridges
    assert one.lintel == two.lintel and len(one.lintel) == 1
    assert (one.bearing_start, one.bearing_end) == (two.bearing_start, two.bearing_end)
    assert one.bearing_start + one.bearing_end == 500 * MM


def test_ends_as_drawn_at_a_loose_corner() -> None:
    """What goes first begins at its drawn end; what does not leaves just a joint from there, or units that fit would be cut."""
    run = next(iter(lay([wall("A", (0, 0), (3000, 0)), wall("B", (100, 100), (100, 3000))]).work.runs.values()))
    first = replace(run.junctions[0], role="start", loose=True, taken=None, plane=None, goes_first=True)
    drawn = run.parts[0].start
    one, two = meets(run, first), meets(run, replace(first, goes_first=False))
    assert one.station - one.half == drawn
    assert two.station + two.half == drawn


@pytest.mark.parametrize("left", [609, 1209])
@pytest.mark.parametrize("right", [609, 2409])
def test_what_butts_against_a_low_wall_goes_on_over_it(left: int, right: int) -> None:
    """Three walls meet; what goes through is 300 thick and stands low on one side or both, the stem 200 thick and so tied, not bonded.

    Where the through run does not stand on both sides the stem lies over the corner, 300 long: its pieces begin at the far face, and
    those of a side that goes up stand off it by one joint.  Elsewhere the stem butts against it, at 151.
    """
    walls = [
        wall("A", (-2400, 0), (0, 0), thickness=300, height=left), wall("B", (0, 0), (2400, 0), thickness=300, height=right),
        wall("C", (0, 0), (0, 2400), thickness=200, height=2409),
    ]  # fmt: skip
    house = checked(lay(walls))
    through, stem = house.bond.work.corners["K2"].runs
    for course in range(1, 13):
        over = course * 200 > min(left, right) + 9
        assert house.row(stem, course)[0][0] == (-150 if over else 151), course
        beyond = [lo for lo, _ in house.row(through, course) if lo > 2290]
        if over and course * 200 <= right + 9:
            assert beyond[0] == 2400 + 101, course
    assert "bond.set-aside" not in house.codes()


def test_over_a_low_first_run_what_stays_open_is_told_with_its_size() -> None:
    """Two walls of other thickness stop square before a low one, on both its sides: over it 300 mm of them are missing, and named."""
    walls = [
        wall("A", (-1500, 0), (3000, 0), thickness=300, height=1209), wall("B", (0, 0), (0, 1500), thickness=200, height=2409),
        wall("C", (0, -3000), (0, 0), thickness=300, height=1809),
    ]  # fmt: skip
    house = checked(lay(walls))
    [told] = [f for f in house.findings if f.code == "bond.angled-corner"]
    assert told.measured == f"{0.15 * (0.2 * 1.2 + 0.3 * 0.6):.3f} m3" and "about 0.063 m3 beside them is left open" in told.text


@pytest.mark.parametrize(("at", "told"), [(3000, True), (3200, False)])
def test_a_joint_in_a_tied_crossing_is_told(at: int, told: bool) -> None:
    """Ten units of 600 have a joint at 3000 in every second course, in the middle of a partition that crosses there."""
    through = wall("A", (0, 0), (6000, 0))
    house = lay([through, wall("B", (at, -3000), (at, 3000), thickness=100, bearing=False)])
    corner = next(c for c in house.work.corners.values() if c.kind == "X")
    lo, hi = at - 50, at + 50
    inside = [n for n in range(1, 13) if any(end > lo and start < hi for (_, end), (start, _) in pairwise(house.row(corner.runs[0], n)))]
    found = [f for f in house.findings if f.code == "junctions.split"]
    assert bool(inside) == told and len(found) == told
    for one in found:
        assert one.place.corner == corner.name and f"in {len(inside)} courses, first in course {inside[0]}" in one.text

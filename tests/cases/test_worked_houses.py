"""More worked cases, laid from walls by the real stages: the ring in inches, fits, a door's clean place, heads that the job moves.

Arithmetic from stated inputs: units nominal less 1/8 in on 1/8 in joints, or 599 x 199 mm on 1 mm.  Stations count from the node.
"""

from __future__ import annotations

from itertools import pairwise

import pytest

from tests.unit.laid_house import checked, lay, ring, wall
from wallquant.building import Wall
from wallquant.units import INCH, MM, inches, parse_length

T_US = 7.875 * 25.4


def test_b_ring_in_inches() -> None:
    """Axis 288 x 192 in, 6 in wall drawn 152.4, 120 in high: 600 units and no cut, by fit in thickness and height."""
    points = [((0, 0), (288, 0)), ((288, 0), (288, 192)), ((288, 192), (0, 192)), ((0, 192), (0, 0))]
    scaled = [((a * 25.4, b * 25.4), (c * 25.4, d * 25.4)) for (a, b), (c, d) in points]
    walls = [wall(f"W{k}", *ends, thickness=152.4, height=120 * 25.4) for k, ends in enumerate(scaled)]
    house = checked(lay(walls, catalogue="aac-us"))
    assert len(house.work.pieces) == 600
    assert house.bond.cuts == house.bond.bound == 0
    for account in house.bond.accounts:
        assert account.fit["thickness"] == parse_length("5-7/8 in") - 152_400_000
        assert account.fit["top"] == parse_length("120-1/4 in") - 120 * INCH


@pytest.mark.parametrize(("thickness", "lap"), [(100, 100), (150, 150), (200, 200), (240, 240), (300, 298), (365, 233)])
def test_a_laps_by_thickness(thickness: float, lap: float) -> None:
    """The lap at a corner is the least of the thickness t and of 599 - t - 1, the rest of the unit under the butting one."""
    house = checked(lay(ring(6000 + thickness, 4200 + thickness, thickness=thickness, height=810)))
    assert house.bond.cuts == 0
    half = thickness / 2
    one, two = sorted((house.row("R1", 1), house.row("R1", 2)))
    assert one[0][0] == -half and two[0][0] == half + 1  # it passes in one course and butts in the other
    passing, butting = one[0][1], two[0][0] - 1
    assert min(butting + half, passing - two[0][0], two[0][1] - one[0][1] - 1) == lap


def test_c_20_ft_0_in_takes_ten_units() -> None:
    """20 ft 0 in is ten units of 24 in nominal and a joint of 1/8 in: the fit of the free ends closes it without a cut."""
    house = checked(lay([wall("A", (0, 0), (240 * 25.4, 0), thickness=203.2, height=8.25 * 25.4)], catalogue="aac-us"))
    p = house.work.pieces
    assert len(p) == 10
    assert house.bond.cuts == 0
    assert int(p.end.max() - p.start.min()) == parse_length("239-7/8 in")
    fit = house.bond.accounts[0].fit
    assert fit["start"] + fit["end"] == -parse_length("1/8 in")


def test_d_in_inches() -> None:
    """8 in wall: c = 24 k + 11-15/16 in meets an L corner that passes in the same course without a cut."""
    c = (24 * 3 + 11 + 15 / 16) * 25.4
    walls = [
        wall("A", (0, T_US / 2), (9 * 609.6 - 3.175, T_US / 2), thickness=T_US, height=96.25 * 25.4),
        wall("B", (T_US / 2, T_US), (T_US / 2, 3000), thickness=T_US, height=96.25 * 25.4),
        wall("S", (c, T_US), (c, T_US + 5 * 609.6), thickness=T_US, height=96.25 * 25.4),
    ]
    house = checked(lay(walls, catalogue="aac-us"))
    through = next(k for k in house.work.corners.values() if k.kind == "T").runs[0]
    for course in range(1, 13):
        near = [round(b - a, 3) for a, b in house.row(through, course) if a + T_US / 2 < c + 700]
        assert near[:4] == [606.425] * 4, course


def door_house(jamb: float) -> list[Wall]:
    """A door 900 wide whose nearer jamb is so far from the outside face of an L corner."""
    return [
        wall("A", (0, 100), (6200, 100), height=2610, openings=[(jamb, jamb + 900, 0, 2010)]),
        wall("B", (100, 200), (100, 4200), height=2610),
        wall("C", (6100, 200), (6100, 4200), height=2610),
        wall("D", (0, 4300), (6200, 4300), height=2610),
    ]


def test_e_clean_from_404_2() -> None:
    """From t + j + bearing on no bearing reaches into the corner."""
    assert "lintel.beside-corner" in checked(lay(door_house(404.1))).codes()
    assert "lintel.beside-corner" not in checked(lay(door_house(404.2))).codes()


@pytest.mark.parametrize("head", [2010, 2210])
def test_k_head_moved_by_the_job(head: int) -> None:
    walls = [wall("A", (0, 0), (5999, 0), height=2610, openings=[(2000, 2900, 0, 2100)])]
    house = checked(lay(walls, heads={"A#1": head * MM}))
    p = house.work.pieces
    assert not [k for k in range(len(p)) if int(p.top[k] - p.bottom[k]) < 199 * MM]
    assert house.bond.accounts[0].ledger["openings"] == pytest.approx(0.9 * 2.1 * 0.2)  # as drawn; the move is fit in height
    assert "lintel.head-off-course" not in house.codes()


def test_k_heads_and_tops_in_inches() -> None:
    """Bearing lines lie at 3/8 + 8 k in: a head of 6 ft 8 in and a top of 8 ft 0 in are laid on them by the fit."""
    one = wall("A", (0, 0), (6000, 0), thickness=T_US, height=96 * 25.4, openings=[(2000, 2914.4, 0, 80 * 25.4)])
    p = checked(lay([one], catalogue="aac-us")).work.pieces
    assert {int(p.top[k] - p.bottom[k]) for k in range(len(p))} == {inches("7-7/8")}
    lintels = [k for k in range(len(p)) if p.units[int(p.unit[k])].kind == "lintel"]
    assert [int(p.bottom[k]) for k in lintels] == [inches("80-3/8")]
    assert int(p.top.max()) == inches("96-1/4") > 8 * 12 * INCH  # twelve courses stand over 8 ft


@pytest.mark.parametrize(("lap", "off"), [(150, 251.5), (80, 181.5)])
@pytest.mark.parametrize("tight", [True, False])
def test_d_window_over_a_passing_stem(lap: int, off: float, *, tight: bool) -> None:
    """Where the stem butts no joint centre of the run through it lies within 100.5 + lap + 1 of the axis; just there it may."""
    c = (599.5 + 3 * 600 + off) if tight else 3000.0
    walls = [
        wall("A", (0, 100), (5999, 100), height=2409),
        wall("S", (c, 200), (c, 3200), height=2409),
    ]
    house = checked(lay(walls, settings={"running_bond": {"measure": "lap", "least": f"{lap} mm"}}))
    corner = next(k for k in house.work.corners.values() if k.kind == "T")
    run = house.work.runs["R1"]
    at = next(j.station for j in run.junctions if j.corner == corner.name) / MM
    butting = [n for n, passing in enumerate(house.work.phases[corner.name], start=1) if passing == "R1"]
    assert len(butting) == 6
    found = []
    for course in butting:
        row = house.row("R1", course)
        joints = [(a[1] + b[0]) / 2 for a, b in pairwise(row)]
        found.append(min(abs(x - at) for x in joints))
        over = next(a for a, b in row if a < at < b)
        assert at + off - 599.5 <= over + 0.001 and over <= at - off + 0.5001  # for lap 150: from c - 348 to c - 251
    assert min(found) >= off - 1e-6
    if tight:
        assert min(found) == pytest.approx(off, abs=1e-6)
        assert all(round(b - a, 3) == 599 for course in butting for a, b in house.row("R1", course))

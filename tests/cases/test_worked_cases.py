"""Worked cases with their answers, laid by the real stages, to the millimetre.

Arithmetic from stated inputs: units of 599 x 199 mm on 1 mm joints (pitch 600 x 200), or nominal less 1/8 in on 1/8 in joints.
The figures are written from the *outside face* of the corner; stations of a run count from the node, half a thickness further in.
"""

from __future__ import annotations

import itertools

import pytest

from tests.unit.laid_house import House, checked, lay, ring, side, wall
from wallquant.building import Wall
from wallquant.layout import Courses, Run
from wallquant.rules import Phase, Rule
from wallquant.units import INCH, MM, inches, parse_length

LAP = {"running_bond": {"measure": "lap", "share_of_height": 0, "least": "150 mm"}}
"""The least lap of 150 mm that the cases are worked with."""


def outside(house: House, run: str, course: int, thickness: float = 200) -> list[tuple[float, float]]:
    """Return the pieces of a course, measured from the outside face of the corner at station 0."""
    return [(a + thickness / 2, b + thickness / 2) for a, b in house.row(run, course)]


def joints(row: list[tuple[float, float]]) -> list[tuple[float, float]]:
    return [(b, c) for (_, b), (c, _) in itertools.pairwise(row) if c - b < 4]


def l_corner(thickness: float = 200, height: float = 810) -> list[Wall]:
    """Two walls of 1.800 - joint from the outside of their corner: three pitches less one joint."""
    half = thickness / 2
    return [
        wall("A", (0, half), (1799, half), thickness=thickness, height=height),
        wall("B", (half, thickness), (half, 1400 + thickness), thickness=thickness, height=height),
    ]


# A. L corner


def test_a_joints_of_an_l_corner_by_course() -> None:
    house = checked(lay(l_corner()))
    assert house.bond.cuts == house.bond.bound == 2 * (1 + 2)  # B's free end closes with a piece, A's where it butts
    for course in (1, 3):
        assert outside(house, "R1", course) == [(0, 599), (600, 1199), (1200, 1799)]
        assert outside(house, "R2", course)[:2] == [(201, 800), (801, 1400)]
    for course in (2, 4):
        assert outside(house, "R1", course)[:2] == [(201, 800), (801, 1400)]
        assert outside(house, "R2", course)[:2] == [(0, 599), (600, 1199)]


@pytest.mark.parametrize(("thickness", "lap"), [(100, 100), (150, 150), (200, 200), (240, 240), (300, 298), (365, 233)])
def test_a_laps_by_thickness(thickness: float, lap: float) -> None:
    """The lap at a corner is min(t, L - t - j)."""
    house = checked(lay(ring(6000 + thickness, 4200 + thickness, thickness=thickness, height=810)))
    assert house.bond.cuts == 0
    edges = [set(), set()]  # type: list[set[float]]
    for course in (1, 2):
        row = outside(house, "R1", course, thickness)
        edges[course - 1] = {x for joint in joints(row) for x in joint}
        if row[0][0] > 0:
            edges[course - 1] |= {thickness, thickness + 1}
    first = [x for x in sorted(edges[0]) if x < 1300], [x for x in sorted(edges[1]) if x < 1300]
    gaps = [max(a, c) - min(b, d) for a, b in _pairs(first[0]) for c, d in _pairs(first[1])]
    assert min(gaps) == lap


def _pairs(edges: list[float]) -> list[tuple[float, float]]:
    return list(zip(edges[::2], edges[1::2], strict=True))


# B. Rings


def test_b_pinwheel_of_6200_by_4400() -> None:
    house = checked(lay(ring(6200, 4400)))
    assert len(house.work.pieces) == 408
    assert house.bond.cuts == house.bond.bound == 0
    for course in range(1, 13):
        assert sorted(len(house.row(run, course)) for run in house.work.runs) == [7, 7, 10, 10]
        passing = [house.work.phases[c][course - 1] for c in house.work.corners]
        assert sorted(passing) == sorted(house.work.runs)  # each run passes at exactly one end
    for phase in house.work.phases.values():
        assert all(a != b for a, b in itertools.pairwise(phase))


def test_b_symmetric_ring_of_5999_by_4199() -> None:
    house = checked(lay(ring(5999, 4199)))
    p = house.work.pieces
    assert len(p) - house.bond.cuts == 384
    assert house.bond.cuts == house.bond.bound == 24
    assert {int(p.end[k] - p.start[k]) // MM for k in range(len(p)) if p.cut[k]} == {197}


def test_b_ring_in_inches() -> None:
    """Axis 288 x 192 in, 6 in wall drawn 152.4, 120 in high: 600 units and no cut, by fit in thickness and height."""
    walls = [
        wall(w.guid, *[(x * 25.4, y * 25.4) for x, y in ends], thickness=152.4, height=120 * 25.4)
        for w, ends in zip(
            ring(1, 1),
            ([(0, 0), (288, 0)], [(288, 0), (288, 192)], [(288, 192), (0, 192)], [(0, 192), (0, 0)]),
            strict=True,
        )
    ]
    house = checked(lay(walls, catalogue="aac-us"))
    assert len(house.work.pieces) == 600
    assert house.bond.cuts == house.bond.bound == 0
    for account in house.bond.accounts:
        assert account.fit["thickness"] == parse_length("5-7/8 in") - 152_400_000
        assert account.fit["top"] == parse_length("120-1/4 in") - 120 * INCH


# C. Least piece and fit


def between_jambs(clear: float) -> list[Wall]:
    """A wall whose part between two openings that reach from bottom to top is clear: both are jambs, which have no fit."""
    return [wall("A", (0, 0), (clear + 3000, 0), height=210, openings=[(600, 1500, 0, 210), (1500 + clear, 2400 + clear, 0, 210)])]


def pier(house: House, clear: float) -> list[tuple[float, float]]:
    return [(a, b) for a, b in house.row("R1", 1) if a >= 1500 and b <= 1500 + clear]


def test_c_clear_length_of_1819() -> None:
    """2 full and 2 cuts that sum to 618 with three joints; never 3 full and a sliver of 19."""
    row = pier(checked(lay(between_jambs(1819))), 1819)
    lengths = sorted(b - a for a, b in row)
    assert row[0][0] == 1500
    assert row[-1][1] == 1500 + 1819
    assert lengths[2:] == [599, 599]
    assert sum(lengths[:2]) == 618
    assert lengths[0] >= 99


def test_c_clear_length_of_5402_closes_by_its_joints() -> None:
    house = checked(lay(between_jambs(5402)))
    row = pier(house, 5402)
    assert [round(b - a, 6) for a, b in row] == [599] * 9
    assert sum(c - b for b, c in joints(row)) == pytest.approx(8 * 1.375)
    assert all(0.5 <= c - b <= 3 for b, c in joints(row))


def test_c_clear_length_of_5425_needs_cuts() -> None:
    """Joints would be 4.25; a jamb has no fit, so it is cut."""
    row = pier(checked(lay(between_jambs(5425))), 5425)
    assert sum(b - a < 599 for a, b in row) == 2
    assert row[0][0] == 1500
    assert row[-1][1] == 1500 + 5425


def test_c_20_ft_0_in_takes_ten_units() -> None:
    """20 ft 0 in is ten units of 24 in nominal and a joint of 1/8 in: the fit of the free ends closes it without a cut."""
    house = checked(lay([wall("A", (0, 0), (240 * 25.4, 0), thickness=203.2, height=8.25 * 25.4)], catalogue="aac-us"))
    p = house.work.pieces
    assert len(p) == 10
    assert house.bond.cuts == 0
    assert int(p.end.max() - p.start.min()) == parse_length("239-7/8 in")
    fit = house.bond.accounts[0].fit
    assert fit["start"] + fit["end"] == -parse_length("1/8 in")


# D. T junction


def t_junction(c: float, *, stem: float = 2999, height: float = 2410, bearing: bool = True, thickness: float = 200) -> list[Wall]:
    """A through wall from an L corner on (outside face at 0), and a stem whose axis is c from that face."""
    return [
        wall("A", (0, 100), (5999, 100), height=height),
        wall("B", (100, 200), (100, 3200), height=height),
        wall("S", (c, 200), (c, 200 + stem), height=height, thickness=thickness, bearing=bearing),
    ]


def stem_at(house: House) -> tuple[str, str, str]:
    """Return the corner of the T, its through run and its stem."""
    corner = next(c for c in house.work.corners.values() if c.kind == "T")
    return corner.name, corner.runs[0], corner.runs[1]


def test_d_joints_of_the_through_run() -> None:
    c = 2101
    house = checked(lay(t_junction(c), settings=LAP))
    corner, through, stem = stem_at(house)
    lone = {"A": 0, "S": 0}
    for course, passes in enumerate(house.work.phases[corner], start=1):
        row = outside(house, through, course)
        if passes == stem:
            assert {(c - 101, c - 100), (c + 100, c + 101)} <= {(b, d) for (_, b), (d, _) in [*itertools.pairwise(row)]} | {
                (b, b + 1) for _, b in row
            } | {(a - 1, a) for a, _ in row}
            assert house.row(stem, course)[0][0] == -100
            lone["S"] += 1
        else:
            assert all(not c - 251.5 < (p + q) / 2 < c + 251.5 for p, q in joints(row))
            over = next(a for a, b in row if a < c < b)
            assert c - 348 <= over <= c - 251
            assert house.row(stem, course)[0][0] == 101
            lone["A"] += 1
    assert lone == {"A": 6, "S": 6}


def test_d_c_of_2101_needs_no_cut_beside_the_stem() -> None:
    """Course 1 has 1800-2399 over the stem; course 2 three full units to 2000, stem 0-599, on again from 2202."""
    house = checked(lay(t_junction(2101), settings=LAP))
    corner, through, stem = stem_at(house)
    phase = house.work.phases[corner]
    ell = next(k for k in house.work.corners.values() if k.kind == "L")
    butts = [k for k, p in enumerate(phase, start=1) if p == through]
    for course in butts:
        assert house.work.phases[ell.name][course - 1] == through
        assert (1800, 2399) in outside(house, through, course)
        assert outside(house, through, course)[:3] == [(0, 599), (600, 1199), (1200, 1799)]
    for course in set(range(1, 13)) - set(butts):
        assert outside(house, through, course)[:4] == [(201, 800), (801, 1400), (1401, 2000), (2202, 2801)]
        assert house.row(stem, course)[0] == (-100, 499)


def test_d_tied_where_the_stem_is_a_partition() -> None:
    house = checked(lay(t_junction(2101, bearing=False), settings=LAP))
    corner, _, _ = stem_at(house)
    assert set(house.work.phases[corner]) == {"tied"}
    ties = [i for i in house.items("tie") if i.corner == corner]
    assert sorted(i.course for i in ties) == [2, 4, 6, 8, 10]
    assert not house.codes() & {"bond.least-offset", "bond.corner-not-bonded"}


def test_d_in_inches() -> None:
    """8 in wall: c = 24 k + 11-15/16 in meets an L corner that passes in the same course without a cut."""
    c = (24 * 3 + 11 + 15 / 16) * 25.4
    t = 7.875 * 25.4
    walls = [
        wall("A", (0, t / 2), (9 * 609.6 - 3.175, t / 2), thickness=t, height=96.25 * 25.4),
        wall("B", (t / 2, t), (t / 2, 3000), thickness=t, height=96.25 * 25.4),
        wall("S", (c, t), (c, t + 5 * 609.6), thickness=t, height=96.25 * 25.4),
    ]
    house = checked(lay(walls, catalogue="aac-us"))
    corner, through, _stem = stem_at(house)
    for course, passes in enumerate(house.work.phases[corner], start=1):
        row = [(a + t / 2, b + t / 2) for a, b in house.row(through, course)]
        near = [round(b - a, 3) for a, b in row if a < c + 700]
        assert near[:4] == [606.425] * 4, (course, passes)


# E. Door beside a corner


def door_house(jamb: float) -> list[Wall]:
    """A door 900 wide whose nearer jamb is so far from the outside face of an L corner."""
    return [
        wall("A", (0, 100), (6200, 100), height=2610, openings=[(jamb, jamb + 900, 0, 2010)]),
        wall("B", (100, 200), (100, 4200), height=2610),
        wall("C", (6100, 200), (6100, 4200), height=2610),
        wall("D", (0, 4300), (6200, 4300), height=2610),
    ]


def lintel(house: House) -> tuple[float, float]:
    p = house.work.pieces
    rows = [k for k in range(len(p)) if p.units[int(p.unit[k])].kind == "lintel"]
    assert len(rows) == 1
    run = house.work.runs[p.runs[int(p.run[rows[0]])]]
    assert int(p.bottom[rows[0]]) == 2010 * MM
    assert run.parts[0].wall == "A"
    return p.start[rows[0]] / MM + 100, p.end[rows[0]] / MM + 100


def test_e_door_300_from_the_corner() -> None:
    house = checked(lay(door_house(300)))
    assert lintel(house) == (0, 1500)
    bridge = next(b for b in house.work.bridges if b.bridged == "lintel")
    assert (bridge.bearing_start, bridge.bearing_end) == (300 * MM, 300 * MM)
    corner = next(c for c in house.work.corners.values() if c.at == (100 * MM, 100 * MM))
    phase = house.work.phases[corner.name]
    assert phase[9] == phase[10] == bridge.run  # the lintel's course is 11; the one below bears it
    ties = [i for i in house.items("tie") if i.corner == corner.name]
    assert [(i.rule, i.course, i.bottom, i.top) for i in ties] == [("lintel_bearing", 10, 2009 * MM, 2010 * MM)]
    told = next(f for f in house.findings if f.code == "lintel.beside-corner")
    assert "105 mm" in told.text
    assert "Move" in told.text


class OtherPasses(Rule):
    """In the lintel's course the other run passes at the corner beside the door."""

    code = "other_passes"

    def demand(self, run: Run, courses: Courses) -> list[Phase]:
        first = run.first
        return [Phase(corner=first.corner, course=11, passes=first.other)] if run.openings else []


def test_e_door_500_from_the_corner_is_clean() -> None:
    """With the other run passing in the lintel's course; both phases cost the same number of cuts in this house."""
    house = checked(lay(door_house(500), more_rules=[OtherPasses()]))
    assert lintel(house) == (201, 1701)
    bridge = next(b for b in house.work.bridges if b.bridged == "lintel")
    assert (bridge.bearing_start, bridge.bearing_end) == (299 * MM, 301 * MM)
    assert not house.items("tie")
    assert not house.codes() & {"lintel.beside-corner", "bond.corner-not-bonded", "bond.corner-conflict"}


def test_e_clean_from_404_2() -> None:
    """t + j + bearing: from there on no bearing reaches into the corner."""
    assert "lintel.beside-corner" in lay(door_house(404.1)).codes()
    assert "lintel.beside-corner" not in lay(door_house(404.2)).codes()


# J. Raked gable


def gable() -> House:
    half = 3000 * 3**-0.5
    return checked(lay([wall("A", (0, 0), (6000, 0), top=[(0, 0), (3000, half), (6000, 0)])]))


def test_j_gable_of_30_degrees() -> None:
    house = gable()
    account = house.bond.accounts[0]
    assert account.area["wall"] == pytest.approx(5.196, abs=5e-4)
    p = house.work.pieces
    raked = sorted(p.elevation)
    assert len(raked) == 17
    assert account.area["set_aside"] == 0
    for k in raked:
        stations, levels = zip(*p.elevation[k], strict=True)
        assert (p.start[k], p.end[k], p.bottom[k], p.top[k]) == (min(stations), max(stations), min(levels), max(levels))
        mean = side(house, k).area / ((p.top[k] - p.bottom[k]) / MM)
        assert mean >= 99 - 1e-6


# K. Head off course


def off_course(head: float = 2100) -> list[Wall]:
    return [wall("A", (0, 0), (5999, 0), height=2610, openings=[(2000, 2900, 0, head)])]


def test_k_head_at_2100() -> None:
    house = checked(lay(off_course()))
    p = house.work.pieces
    lintels = [k for k in range(len(p)) if p.units[int(p.unit[k])].kind == "lintel"]
    assert [(int(p.bottom[k]), int(p.top[k])) for k in lintels] == [(2100 * MM, 2299 * MM)]
    heights = {(int(p.bottom[k]) // MM, int(p.top[k]) // MM) for k in range(len(p)) if int(p.top[k] - p.bottom[k]) < 199 * MM}
    assert heights == {(2010, 2099), (2300, 2409)}  # rips of 89 under its bearings, of 109 over it
    told = next(f for f in house.findings if f.code == "lintel.head-off-course")
    for said in ("2010 mm (-90 mm)", "2210 mm (+110 mm)"):
        assert said in told.text


@pytest.mark.parametrize("head", [2010, 2210])
def test_k_head_moved_by_the_job(head: int) -> None:
    house = checked(lay(off_course(), heads={"A#1": head * MM}))
    p = house.work.pieces
    assert not [k for k in range(len(p)) if int(p.top[k] - p.bottom[k]) < 199 * MM]
    account = house.bond.accounts[0]
    assert account.ledger["openings"] == pytest.approx(0.9 * 2.1 * 0.2)  # as drawn; the head's move is fit in height
    assert "lintel.head-off-course" not in house.codes()


def test_k_heads_and_tops_in_inches() -> None:
    """Bearing lines lie at 3/8 + 8 k in: a head of 6 ft 8 in and a top of 8 ft 0 in are laid on them by the fit."""
    t = 7.875 * 25.4
    house = checked(
        lay(
            [wall("A", (0, 0), (6000, 0), thickness=t, height=96 * 25.4, openings=[(2000, 2914.4, 0, 80 * 25.4)])],
            catalogue="aac-us",
        )
    )
    p = house.work.pieces
    assert {int(p.top[k] - p.bottom[k]) for k in range(len(p))} == {inches("7-7/8")}
    lintels = [k for k in range(len(p)) if p.units[int(p.unit[k])].kind == "lintel"]
    assert [int(p.bottom[k]) for k in lintels] == [inches("80-3/8")]


# L. Levels that crews check


def test_l_twelve_courses_in_inches_stand_over_8_ft() -> None:
    t = 7.875 * 25.4
    house = checked(lay([wall("A", (0, 0), (6000, 0), thickness=t, height=96 * 25.4)], catalogue="aac-us"))
    courses = house.work.courses["R1"]
    assert len(courses) == 12
    assert courses.levels[-1].top == inches("96-1/4")
    assert int(house.work.pieces.top.max()) == inches("96-1/4") > 8 * 12 * INCH


def test_l_scaffold_at_course_7() -> None:
    """A lift of about 1.5 m ends with course 7: its top at 10 + 7 x 200 - 1."""
    house = lay([wall("A", (0, 0), (5999, 0), height=2410)])
    assert house.work.courses["R1"].levels[6].top == 1409 * MM
    assert house.work.courses["R1"].levels[7].top > 1500 * MM

"""Handbook values that cutting, quantities and catalogues reach on courses laid by hand.

Sources: NAVEDTRA 14045, Builder Advanced (1997), chapter 4, and NAVEDTRA 14043, Builder Basic, chapter 8 (counts of concrete
block, corner correction); a worked pattern of 52 block a course from a public question page on mathematics (2014); IMI
Technology Brief 1.1 (2010) (AAC sizes and thin joints); N. Taly, Design of Reinforced Masonry Structures (running bond: at least
a quarter of the unit length); a German vocational page on taking off masonry walls (139.50 m2).  'Derived' is arithmetic of
ours from inputs read there.
"""

from __future__ import annotations

from dataclasses import replace
from math import fsum
from pathlib import Path

import pytest

from tests.unit.piece_maker import P, box, made, wall
from wallquant.catalogue import Catalogue, Range, Unit, load
from wallquant.cutting import Cutting, cut
from wallquant.layout import Pieces, Work
from wallquant.quantities import joint_volumes, materials
from wallquant.units import FOOT, INCH, MM, inches, mm

CMU = load(Path(__file__).parent / "catalogue_cmu_8x8x16.yaml")
BLOCK = CMU.units[0]
US = load("aac-us")
METRIC = load("aac-metric")
FT3 = 0.3048**3


def bought(listed: list[P], catalogue: Catalogue) -> tuple[float, Pieces, Cutting]:
    """Units without waste as the schedule has them, over all unit types."""
    pieces = made(listed)
    cutting = cut(pieces, catalogue)
    work = Work(catalogue=catalogue, runs={}, corners={}, parts=(), courses={}, pieces=pieces)
    table = materials(work, cutting, (), {}, catalogue)
    net = float(table.loc[table["item"].isin([u.code for u in pieces.units]), "net"].sum())
    return net, pieces, cutting


def counts(listed: list[P], run: str, course: int) -> int:
    return sum(1 for p in listed if p.run == run and p.course == course)


def test_1_straight_wall() -> None:
    """100 x 10 ft of 8 x 8 x 16: 75 a course, 15 courses, 1,125 units (NAVEDTRA 14045); half bond, two halves from a unit."""
    _, _, listed = wall(BLOCK, 100 * FOOT - CMU.head_joint.nominal, 15, CMU, lead=inches("7-5/8"))
    net, _, cutting = bought(listed, CMU)
    assert (net, cutting.units, cutting.bound) == (75 * 15, 7, 7)
    assert [counts(listed, "R1", c) for c in (1, 2)] == [75, 76]


def laid_box(a: int, b: int, count: int, unit: Unit = BLOCK, of: Catalogue = CMU) -> list[P]:
    """A closed rectangle of nominal outside size, laid a joint less."""
    joint = of.head_joint.nominal
    return box(unit, a - joint, b - joint, count, of)[2]


def test_2_corner_correction() -> None:
    """20 x 8 x 8 ft: 504 by the outside girth, 480 net, 24 less (NAVEDTRA 14045)."""
    net, _, cutting = bought(laid_box(20 * FOOT, 8 * FOOT, 12), CMU)
    assert (net, cutting.units) == (480, 0)
    assert 12 * 2 * (20 + 8) * 12 / 16 - net == 24


def test_3_basement() -> None:
    """22 x 32 ft: 79 a course net, 81 by the girth, 790 in ten courses (NAVEDTRA 14043)."""
    net, _, cutting = bought(laid_box(32 * FOOT, 22 * FOOT, 10), CMU)
    assert net == 790
    assert (len(cutting), cutting.units) == (20, 10)  # two halves a course, from one block
    assert 2 * (22 + 32) * 12 / 16 == 81


def test_4_course_pattern() -> None:
    """20 x 16 x 8 ft: 15, 15, 11, 11 and 12, 12, 14, 14; 52 a course, 624 (worked pattern, public question page)."""
    listed = laid_box(20 * FOOT, 16 * FOOT, 12)
    assert sorted(counts(listed, f"R{r}", 1) for r in (1, 2, 3, 4)) == [11, 11, 15, 15]
    assert sorted(counts(listed, f"R{r}", 2) for r in (1, 2, 3, 4)) == [12, 12, 14, 14]
    assert bought(listed, CMU)[0] == 624


def test_6_net_area_by_the_centre_line() -> None:
    """13.99 x 9.99 m outside, 365 thick, 3.00 high: 46.50 m of centre line, 139.50 m2 (vocational page); read off the bed."""
    unit = METRIC.unit("std-600x200x365")
    runs, courses, listed = box(unit, mm("13990"), mm("9990"), 2, METRIC)
    levelling = fsum(v.levelling_m3 for v in joint_volumes(made(listed), runs, courses).values())
    centre = levelling / 0.365 / (METRIC.levelling_bed.nominal / 1e9)
    assert centre == pytest.approx(46.50)
    assert centre * 3.00 == pytest.approx(139.50)


@pytest.mark.parametrize(("joint", "inches_high"), [("1/8", "96"), ("1/16", "95-1/4")])
def test_9_coursing(joint: str, inches_high: str) -> None:
    """Twelve courses of 8 x 8 x 24 are 96 in at 1/8 in joints and 95-1/4 in at 1/16 (derived from IMI Technology Brief 1.1)."""
    assert 12 * (US.face.height + inches(joint)) == inches(inches_high)
    assert inches("1/16") == US.bed.least and inches("1/8") == US.bed.nominal


@pytest.mark.parametrize(("nominal", "offset"), [("4", 4), ("6", 6), ("8", 8), ("10", 10), ("12", 12)])
def test_9_offset_at_an_uncut_corner(nominal: str, offset: int) -> None:
    """Offsets min(t, 24 - t); a quarter of the actual length is passed by all but the 4 in wall (derived, after Taly)."""
    unit = US.unit(f"std-24x8x{nominal}")
    joint = US.head_joint.nominal
    listed = [p for p in box(unit, 40 * FOOT - joint, 24 * FOOT - joint, 2, US)[2] if p.run == "R1" and p.end < 10 * FOOT]
    one, two = ([p.end + joint // 2 for p in listed if p.course == c] for c in (1, 2))
    least = min(abs(x - y) for x in one for y in two)
    assert abs(least - offset * INCH) <= 1
    assert (4 * least >= unit.length) == (nominal != "4")


@pytest.mark.parametrize(("kerf", "units", "total"), [("0", 8, 320), ("1/8", 8, 320), ("3/16", 12, 324)])
def test_10_box_with_closers(kerf: str, units: int, total: int) -> None:
    """20 x 8 x 8 ft, 8 in wall: 312 whole and 24 closers of 8 in, from 8 units or, with 3/16 in of kerf, from 12 (derived)."""
    catalogue = US.model_copy(update={"kerf": inches(kerf)})
    listed = laid_box(20 * FOOT, 8 * FOOT, 12, US.unit("std-24x8x8"), catalogue)
    net, pieces, cutting = bought(listed, catalogue)
    assert (len(pieces), len(cutting)) == (336, 24)
    assert set(cutting.length.tolist()) == {inches("7-7/8")}
    assert (cutting.units, cutting.bound, net) == (units, units, total)


def a_cell(unit: Unit, catalogue: Catalogue) -> float:
    """Thin-bed mortar of one more unit and one more course inside a wall, m3: a second difference of four walls."""

    def mortar(count: int, high: int) -> float:
        length = count * (unit.length + catalogue.head_joint.nominal) - catalogue.head_joint.nominal
        run, courses, listed = wall(unit, length, high, catalogue)
        return joint_volumes(made(listed), {"R1": run}, {"R1": courses})["R1"].thin_bed_m3

    return mortar(6, 5) - mortar(5, 5) - mortar(6, 4) + mortar(5, 4)


def jointed(catalogue: Catalogue, joint: int) -> Catalogue:
    thin = Range(least=joint, nominal=joint, most=joint)
    return catalogue.model_copy(update={"bed": thin, "head_joint": thin})


@pytest.mark.parametrize(("joint", "cubic_feet"), [("1/8", 1.362), ("1/16", 0.687)])
def test_10_thin_bed_mortar(joint: str, cubic_feet: float) -> None:
    """8 in wall, bed and head, per 100 ft2 of face (derived): 1.362 ft3 at 1/8 in, 0.687 at 1/16."""
    unit, thick = US.unit("std-24x8x8"), inches(joint)
    square_inches = (unit.length + thick) * (unit.height + thick) / INCH**2
    assert a_cell(unit, jointed(US, thick)) / FT3 / square_inches * 144 * 100 == pytest.approx(cubic_feet, abs=0.001)


@pytest.mark.parametrize(("joint", "litres"), [(1, 6.63), (2, 13.19), (3, 19.68), (4, 26.10)])
def test_10_thin_bed_mortar_metric(joint: int, litres: float) -> None:
    """600 x 200 x 200 with all joints filled, litres per m3 of masonry (derived)."""
    unit = METRIC.unit("std-600x200x200").model_copy(update={"length": 600 * MM, "height": 200 * MM})
    masonry = (600 + joint) * (200 + joint) * 200 / 1e9
    assert a_cell(unit, jointed(METRIC, joint * MM)) * 1000 / masonry == pytest.approx(litres, abs=0.005)


@pytest.mark.parametrize(("bed", "cubic_feet"), [("1/4", 1.367), ("1/2", 2.734), ("3/4", 4.102)])
def test_levelling_bed(bed: str, cubic_feet: float) -> None:
    """Levelling bed 7-7/8 in wide, per 100 ft (derived)."""
    run, courses, listed = wall(US.unit("std-24x8x8"), 100 * FOOT - US.head_joint.nominal, 1, US)
    thick = replace(courses, bed=inches(bed))
    got = joint_volumes(made(listed), {"R1": run}, {"R1": thick})["R1"].levelling_m3
    assert got / FT3 == pytest.approx(cubic_feet, abs=0.001)


def test_weight_of_units() -> None:
    """An 8 x 8 x 24 in unit at 37 lb/ft3 dry weighs 31.7 lb, 41.2 at x1.3; a 12 in one as delivered 62.1 lb (derived)."""
    eight, twelve = US.unit("std-24x8x8"), US.unit("std-24x8x12")
    assert eight.mass_dry_kg / 0.45359237 == pytest.approx(31.7, abs=0.05)
    assert US.delivered_kg(eight) / 0.45359237 == pytest.approx(41.2, abs=0.05)
    assert US.delivered_kg(twelve) / 0.45359237 == pytest.approx(62.1, abs=0.1)

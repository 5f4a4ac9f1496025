"""Published figures of labour, mixes and measurement that the schedules go by.

Sources: NAVEDTRA 14045, Builder Advanced (1997), Table 4-4 (NAVFAC P-405: 160 man-hours for 1,000 ft2 of 8 x 8 x 16 block) and
chapter 4 (448 ft2, 504 block); NAVEDTRA 14043, Builder Basic, chapter 8 (rule 38); Schierhorn 1995, Table 1 (units a mason-day by
mass); NCMA TEK 59 (1974), Table II (ASTM C476); VOB/C DIN 18330, 5.3; IS 1200-3; NCMA TEK 14 (1969); Estimating in Building
Construction, p. 123; Estimating Building Costs, p. 128 (openings that are deducted).
"""

from __future__ import annotations

from math import ceil
from pathlib import Path

import pandas as pd
import pytest

from wallquant import pipeline, plugins
from wallquant.job import Job
from wallquant.quantities.bill import DEDUCTIONS, left_in
from wallquant.quantities.informing import GROUT, SACK_M3, dry_parts
from wallquant.quantities.labour import hours_by_area, hours_by_mass

FT, POUND = 0.3048, 0.45359237


def test_8_labour_of_a_published_wall() -> None:
    """448 ft2: 504 block at 1.125, 71.68 man-hours, 9 days of 8 h rounded up."""
    hours = hours_by_area(448 * FT**2)
    assert 448 * 1.125 == 504
    assert hours == pytest.approx(71.68, abs=1e-9) and ceil(hours / 8) == 9
    assert hours_by_area(1000 * FT**2) == pytest.approx(160)


def test_8_mortar_by_rule_38() -> None:
    """A cubic yard of 1 : 3 takes nine and a half sacks and 28-1/2 ft3 of sand, 38 ft3 in all."""
    cement, sand = dry_parts(27 * FT**3, (1, 3))
    assert (cement / SACK_M3, sand / FT**3) == (pytest.approx(9.5), pytest.approx(28.5))
    assert (cement + sand) / FT**3 == pytest.approx(38)


def test_grout_is_within_c476() -> None:
    """Fine sand 2-1/4 to 3 times the cement."""
    cement, sand = dry_parts(1.0, GROUT)
    assert 2.25 <= sand / cement <= 3


@pytest.mark.parametrize(("pounds", "a_day"), [(26, 163), (32, 150), (39, 131), (47, 105), (54, 90), (20, 163), (33, 131)])
def test_units_a_mason_day_by_mass(pounds: float, a_day: float) -> None:
    assert hours_by_mass(pd.Series([pounds * POUND])).iloc[0] == pytest.approx(8 / a_day)


def test_the_two_rates_are_2_3_apart() -> None:
    """An 8 x 8 x 16 block of 39 lb: 56.25 a day by area (8 in x 16 in of face each), 131 by mass."""
    by_area = 8 / hours_by_area(8 * 16 / 144 * FT**2)
    by_mass = 8 / hours_by_mass(pd.Series([39 * POUND])).iloc[0]
    assert by_area == pytest.approx(56.25) and by_mass == pytest.approx(131)
    assert by_mass / by_area == pytest.approx(2.3, abs=0.05)


WINDOW, DOOR, SLIT, GATE = 0.9 * 1.2, 1.01 * 2.01, 0.3 * 0.3, 3.0 * 2.5  # m2: 1.08, 2.03, 0.09, 7.5


@pytest.mark.parametrize(
    ("rule", "kept"),
    [
        ("all", []),
        ("over 0.1 m2", [SLIT]),
        ("over 2 ft2", [SLIT]),
        ("over 0.5 m2", [SLIT]),
        ("over 10 ft2", [SLIT]),
        ("over 2.5 m2", [WINDOW, DOOR, SLIT]),
    ],
)
def test_openings_left_in(rule: str, kept: list[float]) -> None:
    """10 ft2 are 0.929 m2, so the window of 1.08 m2 is deducted; DIN 18330 leaves all but the gate in."""
    count, area = left_in([WINDOW, DOOR, SLIT, GATE], rule)  # type: ignore[arg-type]
    assert (count, area) == (len(kept), pytest.approx(sum(kept)))


def test_a_size_that_is_just_the_limit_is_left_in() -> None:
    """'Up to' means: 2.50 m2 is left in (DIN 18330), 10 ft2 is (deduct over 10 ft2)."""
    assert left_in([2.0 * 1.25], "over 2.5 m2") == (1, 2.5)
    assert left_in([10 * FT**2], "over 10 ft2")[0] == 1
    assert left_in([10 * FT**2 + 1e-3], "over 10 ft2")[0] == 0


SHED = {"D1": 1.0 * 2.0, "D2": 0.8 * 2.0, "N1": 0.8 * 1.0, "N2": 1.2 * 0.8, "N3": 0.4 * 0.4, "V1": 0.15 * 0.15}  # m2
FACES = 2 * 3.75 * 2.2 + 3 * 2.25 * 2.2 + (1.275 + 1.8 + 1.125) * 1.0
"""Walls of the sample seedling shed as drawn: S1 and S3, S2, S4 and S5, the bay's three; and its openings."""


@pytest.fixture(scope="module")
def shed() -> pd.DataFrame:
    sample = Path(__file__).resolve().parents[2] / "sample_models" / "seedling_shed.yaml"
    return pipeline.plan(sample, Job(bill="over 2 ft2"), plugins.load()).schedules["bill.csv"]


@pytest.mark.parametrize(
    ("rule", "kept"),
    [
        ("all", ""),
        ("over 0.1 m2", "V1"),
        ("over 0.5 m2", "V1 N3"),
        ("over 2 ft2", "V1 N3"),  # 2 ft2 are 0.186 m2, N3 is 0.160
        ("over 10 ft2", "V1 N3 N1"),  # 0.929 m2, N1 is 0.80, N2 0.96
        ("over 2.5 m2", "V1 N3 N1 N2 D2 D1"),
    ],
)
def test_the_bill_of_the_shed_by_hand(shed: pd.DataFrame, rule: str, kept: str) -> None:
    rows = shed[shed["deducted"] == rule]
    left = sum(SHED[name] for name in kept.split())
    assert pytest.approx(35.55) == FACES and rows["wall_m2"].sum() == pytest.approx(FACES, abs=1e-6)
    assert rows["openings_m2"].sum() == pytest.approx(sum(SHED.values()), abs=1e-6)
    assert (rows["left_in"].sum(), rows["left_in_m2"].sum()) == (len(kept.split()), pytest.approx(left, abs=1e-6))
    assert rows["measured_m2"].sum() == pytest.approx(FACES - sum(SHED.values()) + left, abs=1e-6)
    thin = rows[rows["name"] == "S5 potting corner"]["measured_m2"].sum()
    volume = 0.15 * (rows["measured_m2"].sum() - thin) + 0.10 * thin
    assert rows["measured_m3"].sum() == pytest.approx(volume, abs=1e-6)
    assert (rows["chosen"] == ("yes" if rule == "over 2 ft2" else "")).all()


def test_each_rule_names_its_source() -> None:
    assert all(one.source.text and one.source.basis in ("read", "memory") for one in DEDUCTIONS.values())
    assert DEDUCTIONS["over 0.5 m2"].source.basis == "memory"

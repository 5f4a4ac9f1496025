"""Quantities: mortar from the joints as laid, and a schedule that is the sum of pieces, joints, items and amounts."""

from __future__ import annotations

from dataclasses import replace
from math import cos, fsum, radians, tan

import numpy as np
import pandas as pd
import pytest

from tests.unit.piece_maker import P, box, course_of, courses_of, made, piece, run_of, wall
from wallquant.catalogue import load
from wallquant.cutting import cut
from wallquant.files import COLUMNS
from wallquant.layout import Courses, Junction, Pieces, Run, Work
from wallquant.quantities import JointVolumes, joint_volumes, materials
from wallquant.quantities.rows import with_waste
from wallquant.rules import Amount, Item
from wallquant.units import MM

METRIC = load("aac-metric")
UNIT = METRIC.unit("std-600x200x200")
T, H, L, J = UNIT.thickness, UNIT.height, UNIT.length, MM


def m3(volume: float) -> float:
    return volume / 1e27


def one_run(run: Run, courses: Courses, listed: list[P]) -> JointVolumes:
    return joint_volumes(made(listed), {run.name: run}, {run.name: courses})[run.name]


def test_straight_wall_by_hand() -> None:
    """Four units long, three courses, the middle one begun with 299: joints 3 + 4 + 3, two beds, a levelling bed of 10."""
    run, courses, listed = wall(UNIT, 4 * 600 * MM - J, 3, METRIC, lead=299 * MM)
    got = one_run(run, courses, listed)
    assert got.head_m3 == pytest.approx(m3(10 * J * T * H))
    assert got.bed_m3 == pytest.approx(m3(2 * 2399 * MM * T * J))
    assert got.levelling_m3 == pytest.approx(m3(2399 * MM * T * 10 * MM))
    assert got.thin_bed_m3 == got.bed_m3 + got.head_m3


def test_closed_ring_has_a_joint_a_piece_and_full_beds() -> None:
    """In a closed ring each piece has one head joint after it, and each bed is the whole ring in plan, corners included."""
    a, b, count = 6199 * MM, 4399 * MM, 5
    runs, courses, listed = box(UNIT, a, b, count, METRIC)
    got = joint_volumes(made(listed), runs, courses)
    ring = a * b - (a - 2 * T) * (b - 2 * T)
    assert fsum(v.bed_m3 for v in got.values()) == pytest.approx(m3((count - 1) * ring * J))
    assert fsum(v.head_m3 for v in got.values()) == pytest.approx(m3(len(listed) * J * T * H))
    assert fsum(v.levelling_m3 for v in got.values()) == pytest.approx(m3(ring * 10 * MM))


@pytest.mark.parametrize(("room", "turn"), [(1, 0.0), (3, 0.0), (1, 90.0), (10, 0.0)])
def test_a_storey_on_one_that_is_laid_higher_than_drawn(room: int, turn: float) -> None:
    """R2, 2399 long, stands with its last 1199 (crossing: with 200) on R1, whose top is 1 or 3 below it: a thin bed, no levelling bed.

    Where the whole levelling bed has room, it is laid all along.
    """
    lower, below, listed = wall(UNIT, 4 * 600 * MM - J, 2, METRIC)
    top = below.levels[-1].top
    bottom = top + room * MM - 10 * MM
    upper = run_of(UNIT, 2399 * MM, 1, METRIC, name="R2", bottom=bottom, angle=turn)
    upper = replace(upper, start=(lower.start[0] + 1200 * MM, lower.start[1] - (500 * MM if turn else 0)))
    over = courses_of(upper, 1)
    listed += course_of(UNIT, 0, 2399 * MM, over.levels[0].bottom, J, 1, run="R2")
    got = joint_volumes(made(listed), {"R1": lower, "R2": upper}, {"R1": below, "R2": over})["R2"]
    on = 0 if room > 3 else 200 if turn else 1199
    assert got.bed_m3 == pytest.approx(m3(on * MM * T * room * MM))
    assert got.levelling_m3 == pytest.approx(m3((2399 - on) * MM * T * 10 * MM))


def test_opening_and_lintel_off_course() -> None:
    """An opening of 601 in courses 1 and 2 under a lintel whose underside lies 50 above the bearing line: rips beside it."""
    run = run_of(UNIT, 3001 * MM, 4, METRIC)
    courses = courses_of(run, 4)
    lintel = METRIC.unit("lintel-1000x200x200")
    listed: list[P] = []
    for c in courses.levels[:2]:
        listed += course_of(UNIT, 0, 1199 * MM, c.bottom, J, c.number) + course_of(UNIT, 1800 * MM, 2999 * MM, c.bottom, J, c.number)
    level = courses.levels[2].bottom
    rips = [(800 * MM, 1199 * MM), (1800 * MM, 2199 * MM)]
    assert level == 410 * MM
    low = [P(unit=UNIT, start=s, end=e, bottom=level, top=level + 49 * MM, cut="length+height", course=3) for s, e in rips]
    over = P(unit=lintel, start=1000 * MM, end=2000 * MM, bottom=level + 50 * MM, top=level + 249 * MM, course=3, fixed=0)
    got = one_run(run, courses, [*listed, *low, over])
    beds = 2 * 1199 + 2 * 399 + 2 * 200 - 1  # course 2 on 1, rips on 2, lintel on rips: 1000-1199 and 1800-2000
    assert got.bed_m3 == pytest.approx(m3(beds * MM * T * J))
    assert got.head_m3 == pytest.approx(m3(4 * J * T * H))
    assert got.levelling_m3 == pytest.approx(m3(2398 * MM * T * 10 * MM))


def test_pieces_of_different_levels_share_a_head_joint_where_both_are() -> None:
    run = run_of(UNIT, 1199 * MM, 2, METRIC)
    courses = courses_of(run, 2)
    low = courses.levels[0].bottom
    first = P(unit=UNIT, start=0, end=599 * MM, bottom=low, top=low + H)
    second = P(unit=UNIT, start=600 * MM, end=1199 * MM, bottom=low + 50 * MM, top=low + 50 * MM + H)
    assert one_run(run, courses, [first, second]).head_m3 == pytest.approx(m3(J * T * (H - 50 * MM)))


def test_stem_that_butts_and_stem_that_passes() -> None:
    """A run of 3.0 with a stem of 200 at 1500: where the stem passes, two butt joints; where not, its unit lies over it."""
    through = Junction(corner="K3", kind="T", role="through", station=1500 * MM, other="R2", thickness=T, bottom=0, top=9999 * MM)
    ends = run_of(UNIT, 3000 * MM, 2, METRIC).junctions
    run = run_of(UNIT, 3000 * MM, 2, METRIC, junctions=(ends[0], through, ends[1]))
    courses = courses_of(run, 2)
    one, two = courses.levels
    passed = course_of(UNIT, 0, 1399 * MM, one.bottom, J, 1) + course_of(UNIT, 1601 * MM, 3000 * MM, one.bottom, J, 1)
    whole = course_of(UNIT, 0, 3000 * MM, two.bottom, J, 2)
    got = one_run(run, courses, [*passed, *whole])
    heads = (len(passed) - 2) + 2 + (len(whole) - 1)
    assert got.head_m3 == pytest.approx(m3(heads * J * T * H))
    assert got.bed_m3 == pytest.approx(m3(2999 * MM * T * J))
    low = replace(through, top=one.bottom - MM)
    assert one_run(replace(run, junctions=(ends[0], low, ends[1])), courses, [*passed, *whole]).head_m3 < got.head_m3


def test_raked_ends_have_no_head_joint_beyond_their_faces() -> None:
    run = run_of(UNIT, 1200 * MM, 1, METRIC)
    courses = courses_of(run, 1)
    low = courses.levels[0].bottom
    ring = ((0, low), (599 * MM, low), (599 * MM, low + 100 * MM), (300 * MM, low + H), (0, low + H))
    first = P(unit=UNIT, start=0, end=599 * MM, bottom=low, top=low + H, cut="rake", elevation=ring)
    second = P(unit=UNIT, start=600 * MM, end=1199 * MM, bottom=low, top=low + H)
    assert one_run(run, courses, [first, second]).head_m3 == pytest.approx(m3(J * T * 100 * MM))


def test_mitre_plane_is_shared_by_both_runs() -> None:
    """45 degrees of turn: the plane is 200 / cos 22.5 long; each run carries half of its joint."""
    run = run_of(UNIT, 600 * MM, 1, METRIC)
    courses = courses_of(run, 1)
    low = courses.levels[0].bottom
    half = round(100 * MM * tan(radians(22.5)))
    ring = ((0, -100 * MM), (400 * MM + half, -100 * MM), (400 * MM - half, 100 * MM), (0, 100 * MM))
    mitred = P(unit=UNIT, start=0, end=400 * MM + half, bottom=low, top=low + H, cut="mitre", plan=ring)
    assert one_run(run, courses, [mitred]).head_m3 == pytest.approx(m3(200 * MM / cos(radians(22.5)) * H * J / 2), rel=1e-6)


def test_run_without_pieces_takes_none() -> None:
    run = run_of(UNIT, 600 * MM, 1, METRIC)
    assert joint_volumes(made([]), {"R1": run}, {"R1": courses_of(run, 1)}) == {"R1": JointVolumes()}


def work_of(pieces: Pieces, items: tuple[Item, ...] = ()) -> Work:
    return Work(catalogue=METRIC, runs={}, corners={}, parts=(), courses={}, pieces=pieces, items=items)


def schedule(
    pieces: Pieces, items: tuple[Item, ...] = (), amounts: tuple[Amount, ...] = (), mortar: JointVolumes | None = None
) -> pd.DataFrame:
    return materials(work_of(pieces, items), cut(pieces, METRIC), amounts, {"R1": mortar or JointVolumes()}, METRIC)


def row(table: pd.DataFrame, item: str, unit: str) -> dict[str, object]:
    found = table[(table["item"] == item) & (table["unit"] == unit)]
    assert len(found) == 1
    return {str(k): v for k, v in found.iloc[0].items()}


def test_units_waste_and_pallets() -> None:
    """384 whole and 24 cuts of 197 are 392 net; 5 % waste is 19.6; 412 are bought: 6 pallets of 60 and a part one of 52."""
    pieces = made([piece(UNIT, L, cut="") for _ in range(384)] + [piece(UNIT, 197 * MM) for _ in range(24)])
    table = schedule(pieces)
    assert tuple(table.columns) == COLUMNS["materials.csv"]
    got = row(table, UNIT.code, "pcs")
    assert (got["net"], got["waste"], got["buy"]) == (392, pytest.approx(19.6), 412)
    assert got["where"] == "384 whole, 8 for 24 cut pieces (proven least 8)"
    got = row(table, f"pallets {UNIT.code}", "pallet")
    assert (got["buy"], got["where"]) == (7, "6 of 60, one part pallet of 52")
    assert got["net"] == pytest.approx(412 / 60)
    waste = row(table, f"offcuts and kerfs {UNIT.code}", "m3")
    assert waste["net"] == pytest.approx(8 * 8e-3 * 0.199 * 0.2)  # 599 - 3 x 197 = 8 mm of each unit


def test_lintels_by_type_without_waste() -> None:
    short, long = METRIC.unit("lintel-1250x200x200"), METRIC.unit("lintel-1500x200x200")
    pieces = made([piece(short, short.length, cut="", fixed=0), piece(long, 1400 * MM, fixed=1), piece(long, long.length, cut="", fixed=2)])
    table = schedule(pieces)
    assert [(row(table, u.code, "pcs")["net"], row(table, u.code, "pcs")["buy"]) for u in (short, long)] == [(1, 1), (2, 2)]
    assert list(table["item"])[:2] == [short.code, long.code]


def test_mortar_in_volume_mass_and_whole_bags() -> None:
    table = schedule(made([piece(UNIT, L, cut="")]), mortar=JointVolumes(bed_m3=0.08, head_m3=0.01, levelling_m3=0.028))
    thin = {unit: row(table, "thin-bed mortar", unit) for unit in ("m3", "kg", "bag")}
    assert [thin[u]["net"] for u in ("m3", "kg", "bag")] == [pytest.approx(0.09), pytest.approx(125), pytest.approx(5)]
    assert thin["bag"]["waste"] == pytest.approx(0.75)
    assert [thin[u]["buy"] for u in ("bag", "kg", "m3")] == [6, 150, pytest.approx(0.108)]
    level = row(table, "levelling mortar", "bag")
    assert (level["net"], level["buy"]) == (pytest.approx(2), 3)


def test_items_and_amounts_of_one_name_are_one_row() -> None:
    ties = tuple(Item(kind="tie", run=f"R{i}", start=0, end=0, bottom=0, top=0, rule="ties") for i in (2, 1, 2))
    gap = Item(kind="gap", run="R1", start=0, end=0, bottom=0, top=0)
    amounts = (
        Amount(item="tie", quantity=2, unit="pcs", where="K1", rule="corner-ties"),
        Amount(item="grout", quantity=0.1, unit="m3", rule="cores"),
        Amount(item="grout", quantity=0.2, unit="m3", rule="cores"),
        Amount(item="bar", quantity=12.0, unit="m", rule="bars"),
        Amount(item="laying", quantity=3.5, unit="h", rule="labour"),
    )
    pieces = made([piece(UNIT, L, cut="")])
    table = schedule(pieces, (*ties, gap), amounts)
    got = row(table, "tie", "pcs")
    assert (got["net"], got["waste"], got["buy"], got["where"], got["rule"]) == (5, pytest.approx(0.25), 6, "K1 R1 R2", "corner-ties ties")
    grout = row(table, "grout", "m3")
    assert (grout["net"], grout["buy"]) == (pytest.approx(0.3), pytest.approx(0.33))
    assert row(table, "bar", "m")["buy"] == pytest.approx(12.6)
    hours = row(table, "laying", "h")
    assert hours["net"] == 3.5 and np.isnan([hours["waste"], hours["buy"]]).all()  # type: ignore[list-item]
    assert "gap" not in set(table["item"])
    again = schedule(pieces, (gap, *reversed(ties)), tuple(reversed(amounts)))
    pd.testing.assert_frame_equal(table, again)


def test_masses() -> None:
    core = METRIC.unit("core-600x200x200")
    pieces = made([piece(UNIT, L, cut=""), piece(core, L, cut="")])
    table = schedule(pieces)
    dry = float(np.float64(row(table, "mass dry", "kg")["net"]))  # type: ignore[arg-type]
    assert dry == pytest.approx(UNIT.mass_dry_kg + core.mass_dry_kg)
    assert row(table, "mass as delivered", "kg")["net"] == pytest.approx(METRIC.delivered_kg(UNIT) + METRIC.delivered_kg(core))


def test_empty_plan() -> None:
    table = schedule(made([]))
    assert list(table["item"]) == ["mass dry", "mass as delivered"]
    assert list(table["net"]) == [0, 0]


@pytest.mark.parametrize(
    ("net", "factor", "unit", "buy"), [(400, 0.05, "pcs", 420), (401, 0.05, "pcs", 422), (0.1 + 0.2, 0, "m3", 0.3), (7, 0, "bag", 7)]
)
def test_exact_waste(net: float, factor: float, unit: str, buy: float) -> None:
    assert with_waste(net, factor, unit)[1] == buy


def upright(bottom: int, top: int, size: int = 12 * MM, start: int = 0) -> Item:
    length = (top - bottom) / 1000
    return Item(
        kind="bar", run="R1", start=start, end=start, bottom=bottom * MM, top=top * MM, size=size, quantity=length, unit="m", rule="bars"
    )  # fmt: skip


def test_bars_by_size_with_their_laps_and_mass() -> None:
    """Two bars of 12 mm that lap over 600, one of 16 mm beside, and a lying one 400 longer than its place: a lap of its own."""
    lying = Item(kind="bar", run="R1", start=0, end=3000 * MM, bottom=0, top=12 * MM, size=12 * MM, quantity=3.4, unit="m")
    bars = (upright(0, 800), upright(200, 2400), upright(0, 2000, size=16 * MM, start=600 * MM), lying)
    table = schedule(made([piece(UNIT, L, cut="")]), bars)
    assert row(table, "bars of 12 mm", "m")["net"] == pytest.approx(0.8 + 2.2 + 3.4)
    assert row(table, "bars of 16 mm", "m")["net"] == pytest.approx(2.0)
    laps = row(table, "laps of bars", "m")
    assert (laps["net"], str(laps["where"]).split()[0]) == (pytest.approx(0.6 + 0.4), "2")
    # handbook masses of round bars, kg/m: 12 mm 0.888, 16 mm 1.578 (EN 10080 and ISO 6935-2 nominal sizes, from memory)
    assert row(table, "steel in bars", "kg")["net"] == pytest.approx(6.4 * 0.888 + 2.0 * 1.578, rel=1e-3)
    assert row(table, "bar", "m")["net"] == pytest.approx(8.4)


def test_what_only_informs_has_no_buy() -> None:
    """Half-pallet rule: 120 units of 60 a pallet are 2 pallets, 4 bags; 0.9 m3 of grout and 10 % are 0.99, dry parts 38/27 of it."""
    fill = Item(kind="core fill", run="R1", start=0, end=0, bottom=0, top=MM, quantity=0.9, unit="m3")
    table = schedule(made([piece(UNIT, L, cut="") for _ in range(120)]), (fill,))
    assert row(table, "thin-bed mortar by rule of thumb", "bag")["net"] == pytest.approx(4)
    cement, sand = (float(str(row(table, f"grout: {part}", "m3")["net"])) for part in ("cement", "fine sand"))
    assert cement + sand == pytest.approx(0.99 * 38 / 27) and sand == pytest.approx(3 * cement)
    empty = table[table["buy"].isna()]
    assert empty["waste"].isna().all() and not table["item"].str.startswith(("mass", "grout:", "offcuts"))[table["buy"].notna()].any()

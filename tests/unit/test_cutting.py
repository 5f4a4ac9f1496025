"""Cutting: valid for any pieces, exact with the kerf, never below its bound."""

from __future__ import annotations

import random
from collections import defaultdict
from itertools import groupby
from math import cos, radians, tan
from time import perf_counter

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.unit.piece_maker import P, Ring, made, piece
from wallquant.audit.sawn import Sawn, fits
from wallquant.catalogue import Catalogue, load
from wallquant.cutting import Cutting, cut
from wallquant.cutting.bounds import least_bins, least_boxes
from wallquant.cutting.columns import solve
from wallquant.cutting.packing import best_fit
from wallquant.files import COLUMNS
from wallquant.layout import Pieces
from wallquant.units import MM, mm

METRIC = load("aac-metric")
UNIT = METRIC.unit("std-600x200x200")


def with_kerf(kerf: int) -> Catalogue:
    return METRIC.model_copy(update={"kerf": kerf})


def drawn(pieces: Pieces, row: int, length: int, height: int) -> Sawn:
    """A piece as the audit sees it, which shares no code with cutting."""
    ring = pieces.elevation.get(row) or pieces.plan.get(row)
    outline = np.array(ring, dtype=np.float64) / MM if ring else None
    return Sawn(length=length / MM, height=height / MM, outline=outline, flat=row in pieces.plan)


def check(pieces: Pieces, got: Cutting, kerf: int) -> None:
    """Every cut piece is once in one unit of its own type, and a saw can cut each unit as listed."""
    wanted = [i for i in range(len(pieces)) if pieces.cut[i] & 15]
    assert sorted(got.piece.tolist()) == wanted
    assert got.units == len(set(got.stock.tolist())) == sum(u.units for u in got.by_unit)
    assert got.bound <= got.units
    stocks: dict[int, list[int]] = defaultdict(list)
    for at, stock in enumerate(got.stock.tolist()):
        stocks[stock].append(at)
    for stock, ats in stocks.items():
        unit = pieces.units[got.stock_unit[stock]]
        assert [int(got.order[a]) for a in ats] == list(range(1, len(ats) + 1))
        assert all(pieces.units[pieces.unit[got.piece[a]]] == unit for a in ats)
        shapes = [drawn(pieces, int(got.piece[a]), int(got.length[a]), int(got.height[a])) for a in ats]
        assert fits(shapes, (unit.length / MM, unit.height / MM), kerf / MM, 1e-3)
        if any(got.angle_deg[a] != 90 for a in ats):
            continue
        assert all(got.kerf[a] >= 0 and got.offcut[a] >= 0 for a in ats)
        if all(got.height[a] == unit.height for a in ats):
            assert int(sum(got.length[a] + got.kerf[a] + got.offcut[a] for a in ats)) == unit.length
        if all(got.length[a] == unit.length for a in ats):
            assert int(sum(got.height[a] + got.kerf[a] + got.offcut[a] for a in ats)) == unit.height


@pytest.mark.parametrize(("kerf", "units"), [(0, 8), (3 * MM, 8), (4 * MM, 8), (4 * MM + 1, 12), (5 * MM, 12)])
def test_ring_with_two_cuts_a_course(kerf: int, units: int) -> None:
    """Outside 5.999 x 4.199, 12 courses: 24 cuts of 197 from 8 units up to a kerf of 4 (derived: 3 x 197 + 2 x 4 = 599)."""
    pieces = made([piece(UNIT, 197 * MM) for _ in range(24)])
    got = cut(pieces, with_kerf(kerf))
    check(pieces, got, kerf)
    assert (got.units, got.bound) == (units, units)
    assert 384 + got.units == (392 if units == 8 else 396)


def test_last_piece_at_the_units_end_needs_no_kerf() -> None:
    pieces = made([piece(UNIT, 298 * MM), piece(UNIT, 298 * MM)])
    got = cut(pieces, METRIC)
    assert got.table(pieces) == {
        "stock": ["S00001", "S00001"], "unit": [UNIT.code] * 2, "order": [1, 2], "piece": list(pieces.names), "length_mm": [298.0, 298.0],
        "height_mm": [199.0, 199.0], "angle_deg": [90.0, 90.0], "kerf_mm": [3.0, 0.0], "offcut_mm": [0.0, 0.0],
    }  # fmt: skip
    assert tuple(got.table(pieces)) == COLUMNS["cuts.csv"]
    assert got.waste_m3 == pytest.approx(3e-3 * 0.199 * 0.2)


def test_offcut_smaller_than_a_kerf_is_sawn_away() -> None:
    got = cut(made([piece(UNIT, 597 * MM)]), METRIC)
    assert (got.kerf.tolist(), got.offcut.tolist()) == ([2 * MM], [0])


def test_rips_share_a_units_height() -> None:
    pieces = made([piece(UNIT, UNIT.length, 98 * MM, "height") for _ in range(5)])
    got = cut(pieces, METRIC)
    check(pieces, got, METRIC.kerf)
    assert (got.units, got.bound) == (3, 3)
    assert got.kerf.tolist() == [3 * MM, 0, 3 * MM, 0, 3 * MM]
    assert got.offcut.tolist() == [0, 0, 0, 0, 98 * MM]


def test_lower_and_shorter_pieces_come_from_strips() -> None:
    """Two strips of 89 a unit, three pieces of 197 a strip: 13 pieces need 5 strips and 3 units."""
    pieces = made([piece(UNIT, 197 * MM, 89 * MM, "length+height") for _ in range(13)])
    got = cut(pieces, METRIC)
    check(pieces, got, METRIC.kerf)
    assert (got.units, got.bound) == (3, 3)


def test_a_notch_alone_is_a_whole_unit() -> None:
    pieces = made([piece(UNIT, UNIT.length, cut="notch"), piece(UNIT, 300 * MM, cut="length+notch")])
    got = cut(pieces, METRIC)
    assert got.piece.tolist() == [1]
    assert got.stock_of(pieces).tolist() == [-1, 0]


def test_nothing_to_cut() -> None:
    pieces = made([piece(UNIT, UNIT.length, cut="")])
    got = cut(pieces, METRIC)
    assert (got.units, got.bound, len(got), got.by_unit) == (0, 0, 0, ())
    assert got.table(pieces)["stock"] == []


def test_unit_types_are_not_mixed_and_stocks_follow_the_pieces() -> None:
    thin = METRIC.unit("std-600x200x100")
    pieces = made([piece(UNIT, 200 * MM), piece(thin, 200 * MM), piece(UNIT, 200 * MM), piece(thin, 200 * MM)])
    got = cut(pieces, METRIC)
    check(pieces, got, METRIC.kerf)
    assert got.stock_of(pieces).tolist() == [0, 1, 0, 1]
    assert [u.unit for u in got.by_unit] == [thin.code, UNIT.code]


def test_a_cut_lintel_and_a_cut_core_unit_are_a_unit_each() -> None:
    lintel, core = METRIC.unit("lintel-1500x200x200"), METRIC.unit("core-600x200x200")
    pieces = made([piece(lintel, 700 * MM, fixed=0), piece(lintel, 700 * MM, fixed=1), piece(core, 250 * MM), piece(core, 250 * MM)])
    got = cut(pieces, METRIC)
    check(pieces, got, METRIC.kerf)
    assert [(u.unit, u.units, u.bound) for u in got.by_unit] == [(core.code, 2, 2), (lintel.code, 2, 2)]


def test_a_piece_larger_than_its_unit_is_refused_by_name() -> None:
    with pytest.raises(ValueError, match="piece R1-C01-01 cannot be cut"):
        cut(made([piece(UNIT, 700 * MM)]), METRIC)


def raked(mean: int, *, turned: bool = False, degrees: float = 30.0) -> P:
    """A piece of one course whose one end is raked."""
    half = round(UNIT.height / tan(radians(degrees)) / 2)
    low, high = mean + half, mean - half
    ring: Ring = ((0, 0), (low, 0), (high, UNIT.height), (0, UNIT.height))
    if turned:
        ring = tuple((low - x, y) for x, y in reversed(ring))
    return piece(UNIT, low, cut="rake", elevation=ring)


@pytest.mark.parametrize(("first", "second", "units"), [(296, 297, 1), (297, 297, 2), (200, 393, 1), (400, 300, 2)])
def test_two_raked_pieces_share_a_unit_by_their_mean_lengths(first: int, second: int, units: int) -> None:
    """Kerf 3 at 30 degrees takes 6 of the length: means of up to 593 together (derived)."""
    pieces = made([raked(first * MM), raked(second * MM, turned=True)])
    got = cut(pieces, METRIC)
    assert got.units == units
    assert got.bound <= units
    assert set(got.angle_deg.tolist()) == {30.0}
    if units == 1:
        assert got.kerf.tolist() == [6 * MM, min(3, 593 - first - second) * MM]
        assert got.order.tolist() == [1, 2]


def test_gable_with_pairs() -> None:
    """A 30 degree gable of 8 courses over a base of 6.000: 16 raked ends and a triangle of 457.4 x 132.05 (derived)."""
    high = mm("132.05")
    long = round(2 * high / tan(radians(30)))
    assert long == pytest.approx(457.4 * MM, abs=0.05 * MM)
    means = (200, 250, 290, 300, 310, 350, 380, 420)
    ends = [raked(mean * MM, turned=side == 1) for mean in means for side in (0, 1)]
    pieces = made([*ends, piece(UNIT, long, high, "rake", elevation=((0, 0), (long, 0), (long // 2, high)))])
    got = cut(pieces, METRIC)
    assert len(got) == 17
    check(pieces, got, METRIC.kerf)
    # Means of at most 593 together make a pair: six, and 420, 420, 350, 350 and the triangle are alone; or the triangle takes a
    # place beside one whose mean is at most 308, which then is missing in another pair.
    assert got.units == got.bound == 11
    assert sum(int(sum(got.stock == s) == 2) for s in range(got.units)) == 6


def test_mitred_pieces_share_a_unit_as_one_cut_makes_two() -> None:
    """45 degrees of turn, 3 mm kerf: legs of 397.75 and 198 of centre line come from one unit (derived)."""
    half = round(100 * MM * tan(radians(22.5)))

    def leg(centre: int) -> P:
        ring = ((0, -100 * MM), (centre + half, -100 * MM), (centre - half, 100 * MM), (0, 100 * MM))
        return piece(UNIT, centre + half, cut="mitre", plan=ring)

    rest = 599 * MM - mm("198") - round(3 * MM / cos(radians(22.5)))
    assert rest == pytest.approx(397.75 * MM, abs=0.01 * MM)
    got = cut(made([leg(rest), leg(mm("198"))]), METRIC)
    assert got.units == 1
    assert set(got.angle_deg.tolist()) == {67.5}
    assert cut(made([leg(rest + 5000), leg(mm("198"))]), METRIC).units == 2


def test_raked_and_mitred_pieces_are_no_pair() -> None:
    half = round(UNIT.height / 2)
    ring = ((0, -100 * MM), (200 * MM + half, -100 * MM), (200 * MM - half, 100 * MM), (0, 100 * MM))
    mitre = piece(UNIT, 200 * MM + half, cut="mitre", plan=ring)
    rake = raked(280 * MM, degrees=45.0)
    assert cut(made([mitre, rake]), METRIC).units == 2


SIZES = st.tuples(st.integers(99, 599), st.integers(50, 199), st.sampled_from([0, 0, 0, 1, 2]))


@settings(max_examples=120, deadline=None)
@given(st.lists(SIZES, max_size=30), st.sampled_from([0, 2, 3, 7]))
def test_any_pieces(sizes: list[tuple[int, int, int]], kerf: int) -> None:
    listed = []
    for long, high, kind in sizes:
        size = (long, 199) if kind == 0 else (599, high) if kind == 1 else (long, high)
        name = "+".join(n for n, s, u in (("length", size[0], 599), ("height", size[1], 199)) if s < u)
        listed.append(piece(UNIT, size[0] * MM, size[1] * MM, name))
    pieces = made(listed)
    check(pieces, cut(pieces, with_kerf(kerf * MM)), kerf * MM)


SLANTED = st.tuples(st.integers(150, 400), st.sampled_from([30.0, 45.0, 60.0, 80.0]), st.booleans())


@settings(max_examples=80, deadline=None)
@given(st.lists(SLANTED, max_size=12), st.lists(st.integers(99, 598), max_size=8), st.sampled_from([0, 3]))
def test_any_raked_pieces(slants: list[tuple[int, float, bool]], lengths: list[int], kerf: int) -> None:
    """Each piece is cut once, no unit holds more than its volume, and raked pieces in one unit are pairs of equal rake."""
    listed = [raked(m * MM, turned=t, degrees=d) for m, d, t in slants]
    listed = [p for p in listed if p.end <= UNIT.length] + [piece(UNIT, w * MM) for w in lengths]
    pieces = made(listed)
    got = cut(pieces, with_kerf(kerf * MM))
    check(pieces, got, kerf * MM)
    for stock in range(got.units):
        rows = got.piece[got.stock == stock]
        assert float(np.sum(pieces.volume[rows])) <= UNIT.volume_m3 + 1e-9
        boxes = int(np.sum(got.length[got.stock == stock])) + kerf * MM * (len(rows) - 1)
        assert boxes <= UNIT.length or len(set(got.angle_deg[got.stock == stock].tolist()) - {90.0}) >= 1
    assert got.waste_m3 >= -1e-9


def fewest(widths: list[int], capacity: int) -> int:
    """Fewest bins, by trying all."""
    best = len(widths)

    def place(at: int, rooms: list[int]) -> None:
        nonlocal best
        if len(rooms) >= best:
            return
        if at == len(widths):
            best = len(rooms)
            return
        for i in sorted(set(range(len(rooms)))):
            if rooms[i] >= widths[at]:
                rooms[i] -= widths[at]
                place(at + 1, rooms)
                rooms[i] += widths[at]
        rooms.append(capacity - widths[at])
        place(at + 1, rooms)
        rooms.pop()

    place(0, [])
    return best


@settings(max_examples=150, deadline=None)
@given(st.lists(st.integers(1, 40), min_size=1, max_size=9), st.integers(40, 60))
def test_bounds_against_all_ways_of_cutting(widths: list[int], capacity: int) -> None:
    falling = sorted(set(widths), reverse=True)
    demands = [widths.count(w) for w in falling]
    least = fewest(sorted(widths, reverse=True), capacity)
    assert least_bins(falling, demands, capacity) <= least
    found = solve(falling, demands, capacity)
    assert found.bound <= least <= found.bins


@settings(max_examples=60, deadline=None)
@given(st.lists(st.integers(100_001, 599_999), min_size=1, max_size=8))
def test_bound_without_a_common_grid(widths: list[int]) -> None:
    falling = sorted(set(widths), reverse=True)
    demands = [widths.count(w) for w in falling]
    found = solve(falling, demands, 602_003)
    assert found.bound <= fewest(sorted(widths, reverse=True), 602_003) <= found.bins


def test_bound_in_two_directions_beats_the_area() -> None:
    """Five pieces larger than half in both directions need five boxes; their area would say two."""
    assert least_boxes([51], [51], [5], 100, 100) == 5


def test_best_fit_is_that_of_single_pieces() -> None:
    """Counting demands gives the bins that best fit gives piece by piece."""
    draw = random.Random(7)
    for _ in range(100):
        widths = [draw.randint(5, 60) for _ in range(draw.randint(1, 40))]
        rooms: list[int] = []
        for w in sorted(widths, reverse=True):
            fitting = [r for r in rooms if r >= w]
            room = min(fitting) if fitting else 100
            if fitting:
                rooms.remove(room)
            rooms.append(room - w)
        falling = sorted(set(widths), reverse=True)
        got = best_fit(falling, [widths.count(w) for w in falling], 100)
        assert sorted(100 - sum(falling[i] * m for i, m in p) for p, n in got for _ in range(n)) == sorted(rooms)


def test_the_same_pieces_give_the_same_rows_in_no_time() -> None:
    draw = np.random.default_rng(5)
    lengths = draw.choice(np.arange(99, 560) * MM, 20_000)
    one = made([piece(UNIT, int(w)) for w in lengths])
    begun = perf_counter()
    got = cut(one, METRIC)
    assert perf_counter() - begun < 20
    again = cut(one, METRIC)
    assert all(np.array_equal(getattr(got, n), getattr(again, n)) for n in ("piece", "stock", "order", "kerf", "offcut"))
    check(one, got, METRIC.kerf)
    assert got.units <= 1.06 * got.bound
    firsts = [min(rows) for _, rows in groupby(sorted(zip(got.stock.tolist(), got.piece.tolist(), strict=True)), key=lambda r: r[0])]
    assert firsts == sorted(firsts)

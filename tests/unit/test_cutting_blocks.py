"""Sawing units into blocks and strips, and nesting raked pieces, against all ways tried one by one and an integer model of its own."""

from __future__ import annotations

import random
from collections.abc import Iterator
from dataclasses import replace
from functools import cache
from itertools import combinations, pairwise
from math import radians, sin, tan

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from ortools.sat.python import cp_model

from tests.unit.piece_maker import P, Ring, made, piece
from tests.unit.test_cutting import check, with_kerf
from wallquant.audit.sawn import Sawn, fits
from wallquant.catalogue import load
from wallquant.cutting import cut
from wallquant.cutting.blocks import improve
from wallquant.cutting.columns import solve
from wallquant.cutting.master import Grid, Master
from wallquant.cutting.nesting import nested, shape, slant_kerf, slants
from wallquant.cutting.pricing import stackings
from wallquant.cutting.rounding import ENOUGH, dive
from wallquant.cutting.sawing import Block, Part, saw
from wallquant.cutting.sawing import Sawn as Rows
from wallquant.cutting.sizes import Sizes
from wallquant.cutting.strips import first_plan
from wallquant.units import MM

UNIT = load("aac-metric").unit("std-600x200x200")
LONG, HIGH = UNIT.length // MM, UNIT.height // MM
Size = tuple[int, int]


def splits(items: tuple[int, ...]) -> Iterator[list[tuple[int, ...]]]:
    """All ways of dividing items into groups."""
    if not items:
        yield []
        return
    for many in range(len(items)):
        for mates in combinations(items[1:], many):
            rest = tuple(i for i in items[1:] if i not in mates)
            for others in splits(rest):
                yield [(items[0], *mates), *others]


def fewest(sizes: list[Size], kerf: int) -> int:
    """Fewest units of 599 x 199 by trying all: across into blocks, those into strips, those across; mm."""

    @cache
    def block(items: tuple[int, ...]) -> int:
        lengths = [LONG + 1]
        for strips in splits(items):
            if sum(max(sizes[i][1] for i in s) + kerf for s in strips) <= HIGH + kerf:
                lengths.append(max(sum(sizes[i][0] + kerf for i in s) - kerf for s in strips))
        return min(lengths)

    @cache
    def unit(items: tuple[int, ...]) -> bool:
        return any(sum(block(b) + kerf for b in blocks) <= LONG + kerf for blocks in splits(items))

    return min(len(units) for units in splits(tuple(range(len(sizes)))) if all(unit(u) for u in units))


def pieces_of(sizes: list[Size]) -> list[P]:
    def name(size: Size) -> str:
        return "+".join(n for n, s, most in (("length", size[0], LONG), ("height", size[1], HIGH)) if s < most)

    return [piece(UNIT, w * MM, h * MM, name((w, h))) for w, h in sizes]


SIZE = st.one_of(
    st.tuples(st.sampled_from([99, 150, 197, 248, 298, 350, 400, 598]), st.sampled_from([50, 63, 90, 98, 119, 199])),
    st.tuples(st.integers(99, 598), st.integers(50, 199)),
)


@settings(max_examples=60, deadline=None)
@given(st.lists(SIZE, min_size=1, max_size=6), st.sampled_from([0, 3, 7]))
def test_against_all_ways(sizes: list[Size], kerf: int) -> None:
    pieces = made(pieces_of(sizes))
    got = cut(pieces, with_kerf(kerf * MM))
    check(pieces, got, kerf * MM)
    least = fewest(sizes, kerf)
    assert got.bound <= least <= got.units <= least + 1


def by_integers(sizes: list[Size], kerf: int, most: int) -> int:
    """Fewest units by an integer model that knows no patterns: each piece is in a strip of a block of a unit."""
    model = cp_model.CpModel()
    blocks, strips = 3, 3
    used = [model.new_bool_var("") for _ in range(most)]
    place: dict[tuple[int, int, int, int], cp_model.IntVar] = {}
    for u in range(most):
        lengths = [model.new_int_var(0, LONG + kerf, "") for _ in range(blocks)]
        model.add(sum(lengths) <= (LONG + kerf) * used[u])
        for b in range(blocks):
            heights = [model.new_int_var(0, HIGH + kerf, "") for _ in range(strips)]
            model.add(sum(heights) <= HIGH + kerf)
            for s in range(strips):
                for i, (_, h) in enumerate(sizes):
                    place[i, u, b, s] = model.new_bool_var("")
                    model.add(heights[s] >= (h + kerf) * place[i, u, b, s])
                model.add(sum((w + kerf) * place[i, u, b, s] for i, (w, _) in enumerate(sizes)) <= lengths[b])
    for i in range(len(sizes)):
        model.add_exactly_one(v for key, v in place.items() if key[0] == i)
    for one, other in pairwise(used):
        model.add_implication(other, one)
    model.minimize(sum(used))
    solver = cp_model.CpSolver()
    solver.parameters.num_workers = 1
    solver.parameters.max_deterministic_time = 30
    assert solver.solve(model) == cp_model.OPTIMAL
    return round(solver.objective_value)


@pytest.mark.parametrize("seed", [0, 1, 3])
def test_against_an_integer_model(seed: int) -> None:
    draw = random.Random(seed)
    sizes = [(draw.choice([120, 197, 250, 298, 340, 401]), draw.choice([63, 90, 98, 119, 199])) for _ in range(8)]
    pieces = made(pieces_of(sizes))
    got = cut(pieces, with_kerf(3 * MM))
    check(pieces, got, 3 * MM)
    least = by_integers(sizes, 3, got.units)
    assert got.bound <= least <= got.units <= least + 1


def test_low_pieces_lie_beside_a_piece_of_full_height() -> None:
    """250 of full height and two of 346 x 98 fill 599 x 199 with kerfs of 3: a unit each, where strips and blocks of their own take two."""
    listed = pieces_of([(250, 199), (346, 98), (346, 98)] * 5)
    got = cut(made(listed), with_kerf(3 * MM))
    assert (got.units, got.bound) == (5, 5)


def trapezoid(low: int, high: int, tall: int = HIGH) -> Ring:
    return ((0, 0), (low * MM, 0), (high * MM, tall * MM), (0, tall * MM))


def placed(ring: Ring, attitude: int, x: float, y: float) -> shapely.Polygon:
    wide, high = max(p for p, _ in ring), max(q for _, q in ring)
    return shapely.Polygon([(x + (wide - p if attitude & 1 else p), y + (high - q if attitude & 2 else q)) for p, q in ring])


def shortest(one: Ring, other: Ring, kerf: int, room: int) -> float:
    """Shortest block that holds two outlines a kerf apart, by moving one against the other in every attitude and at many levels."""
    best = float("inf")
    tall, over = max(y for _, y in one), max(y for _, y in other)
    wide, long = max(x for x, _ in one), max(x for x, _ in other)
    for a in range(4):
        for b in range(4):
            for y, z in {(0, 0), (room - tall, 0), (0, room - over), (room - tall, room - over)}:
                first = placed(one, a, 0, y)
                low, high = 0.0, float(wide + kerf)
                for _ in range(40):
                    middle = (low + high) / 2
                    apart = first.distance(placed(other, b, middle, z)) >= kerf - 1
                    low, high = (low, middle) if apart else (middle, high)
                best = min(best, max(wide, high + long))
    return best


OUTLINE = st.tuples(st.integers(120, 400), st.integers(0, 380), st.sampled_from([90, 140, HIGH])).filter(lambda t: abs(t[0] - t[1]) > 5)


@settings(max_examples=60, deadline=None)
@given(OUTLINE, OUTLINE, st.sampled_from([0, 3]))
def test_nested_pairs_against_moving_one_against_the_other(a: tuple[int, int, int], b: tuple[int, int, int], kerf: int) -> None:
    """A straight cut takes at least what two outlines a kerf apart take, and where both rakes are alike not more."""
    rings = [trapezoid(*a), trapezoid(*b)]
    shapes = [shape(r, max(y for _, y in r), flat=False) for r in rings]
    got = nested(shapes, [1, 1], slants(rings), kerf * MM, UNIT.length, UNIT.height)
    for width, height in zip(got.width.tolist(), got.height.tolist(), strict=True):
        assert width >= shortest(rings[0], rings[1], kerf * MM, height) - 1000
        drawn = [Sawn(length=s.width / MM, height=s.height / MM, outline=as_mm(r)) for s, r in zip(shapes, rings, strict=True)]
        assert fits(drawn, (width / MM, height / MM), kerf, 1e-3)
        assert not fits(drawn, (width / MM - 0.01, min(s.height for s in shapes) / MM), kerf, 1e-3)


def as_mm(ring: Ring) -> NDArray[np.float64]:
    return np.array(ring, dtype=np.float64) / MM


def test_pairs_of_equal_rake_take_their_mean_lengths() -> None:
    """At 45 degrees, 298 high less 99, and 350 less 151: means of 198.5 and 250.5, and 3 / sin 45 between (derived)."""
    rings = [trapezoid(298, 99), trapezoid(350, 151)]
    shapes = [shape(r, UNIT.height, flat=False) for r in rings]
    got = nested(shapes, [1, 1], slants(rings), 3 * MM, UNIT.length, UNIT.height)
    assert got.width.tolist() == [pytest.approx(449 * MM + slant_kerf(3 * MM, 45.0), abs=2)]
    assert slant_kerf(3 * MM, 45.0) == pytest.approx(3 * MM / sin(radians(45)), abs=1)


def test_a_lone_piece_has_no_pair_of_its_own_kind() -> None:
    ring = trapezoid(298, 99)
    one = shape(ring, UNIT.height, flat=False)
    assert len(nested([one], [1], slants([ring]), 0, UNIT.length, UNIT.height).width) == 0
    assert len(nested([one], [2], slants([ring]), 0, UNIT.length, UNIT.height).width) == 1


def test_a_mirrored_piece_is_of_the_same_shape() -> None:
    ring = trapezoid(298, 99)
    other = tuple((298 * MM - x, y) for x, y in reversed(ring))
    low = tuple((x, UNIT.height - y) for x, y in ring)
    assert shape(ring, UNIT.height, flat=False) == shape(other, UNIT.height, flat=False) == shape(low, UNIT.height, flat=False)


def test_raked_pieces_of_a_low_slope_lie_over_one_another() -> None:
    """Slopes of 1 in 10 over 400: 60 and 100 at the ends; two turned are 160 + 3.02 high (derived)."""
    ring: Ring = ((0, 0), (400 * MM, 0), (400 * MM, 100 * MM), (0, 60 * MM))
    two = [piece(UNIT, 400 * MM, 100 * MM, "length+rake", elevation=ring) for _ in range(2)]
    three = [*two, piece(UNIT, 190 * MM)]
    got = cut(made(three), with_kerf(3 * MM))
    check(made(three), got, 3 * MM)
    assert (got.units, got.bound) == (1, 1)
    assert tan(radians(got.angle_deg.min())) == pytest.approx(0.1, abs=1e-3)


@settings(max_examples=60, deadline=None)
@given(st.lists(st.integers(40, 199), min_size=1, max_size=5, unique=True), st.sampled_from([0, 3]))
def test_all_stackings(heights: list[int], kerf: int) -> None:
    """Each way of stacking strips is within one of those listed, and none listed is too high."""
    rising = sorted(heights)
    ways = stackings(rising, HIGH, kerf, 10_000)
    assert ways is not None
    for way in ways.tolist():
        assert sum(n * (h + kerf) for n, h in zip(way, rising, strict=True)) <= HIGH + kerf
    every: list[tuple[int, ...]] = [()]
    for _ in range(5):
        every += [
            (*e, i) for e in every for i in range(e[-1] if e else 0, len(rising)) if sum(rising[j] + kerf for j in (*e, i)) <= HIGH + kerf
        ]
        every = sorted(set(every))
    listed = [sorted((i for i, n in enumerate(way) for _ in range(n)), reverse=True) for way in ways.tolist()]
    for one in every:
        strips = sorted(one, reverse=True)
        assert any(len(w) >= len(strips) and all(a >= b for a, b in zip(w, strips, strict=False)) for w in listed)


def test_the_audit_refuses_what_a_saw_cannot_do() -> None:
    """Four pieces around a hole have the area of a unit, and no cut goes straight through (a pinwheel)."""
    wheel = [Sawn(length=400, height=99), Sawn(length=199, height=120), Sawn(length=400, height=79), Sawn(length=199, height=100)]
    assert not fits(wheel, (599, 199), 0, 1e-3)
    assert fits([Sawn(length=250, height=199), Sawn(length=346, height=98), Sawn(length=346, height=98)], (599, 199), 3, 1e-3)
    assert not fits([Sawn(length=346, height=98), Sawn(length=250, height=199), Sawn(length=346, height=98)], (599, 199), 3, 1e-3)
    assert not fits([Sawn(length=250, height=199), Sawn(length=346, height=98), Sawn(length=346, height=98.1)], (599, 199), 3, 1e-3)


def test_offcuts_are_not_carried_between_groups() -> None:
    """Three of 197 a unit: six pieces take two units, but three if no unit serves both of the groups of one and five."""
    pieces = made(pieces_of([(197, 199)] * 6))
    got = cut(pieces, with_kerf(3 * MM), np.array([0, 1, 1, 1, 1, 1]))
    assert (got.units, got.bound) == (3, 3)
    assert len({s for s, row in zip(got.stock.tolist(), got.piece.tolist(), strict=True) if row == 0}) == 1
    assert sum(1 for s in got.stock.tolist() if s == got.stock[got.piece.tolist().index(0)]) == 1
    assert [(u.units, u.bound, u.pieces) for u in got.by_unit] == [(3, 3, 6)]
    assert cut(pieces, with_kerf(3 * MM)).units == 2


def test_what_is_left_behind_a_ripped_block() -> None:
    """Of 599: two rips of 90 over a length of 200, a kerf of 3, a piece of 300 and its kerf leave 599 - 203 - 303 = 93."""
    rows = Rows()
    rips = [(90, [Part(rows=(k,), width=200)]) for k in (0, 1)]
    saw(rows, [Block(length=200, strips=rips), Block(length=300, strips=[(199, [Part(rows=(2,), width=300)])])], 7, 599, 199, 3)
    assert (rows.row, rows.unit, rows.order) == ([0, 1, 2], [7, 7, 7], [1, 2, 3])
    assert (rows.kerf[-1], rows.offcut) == (3, [0, 0, 93])


def many(seed: int, count: int, longest: int, total: int) -> Sizes:
    """So many lengths of full height on a grid of 0.2 mm, from 99 mm to `longest`, each wanted a random number of times."""
    dice = random.Random(seed)
    wide = sorted(dice.sample(range(99 * MM, longest * MM, MM // 5), count))
    return Sizes(
        width=np.array(wide),
        height=np.full(count, UNIT.height),
        first=np.arange(count),
        second=np.full(count, -1),
        demand=np.array([1 + dice.randrange(2 * total // count) for _ in wide]),
        length=UNIT.length,
        deep=UNIT.height,
        kerf=3 * MM,
    )


@pytest.mark.parametrize(("seed", "count", "longest", "over"), [(1, 736, 599, 1), (2, 350, 599, 1), (3, 120, 300, 1), (4, 350, 300, 5)])
def test_many_sizes_are_sawn_near_the_bound(seed: int, count: int, longest: int, over: int) -> None:
    """A large house has hundreds of sizes: one unit above the proven least; a few more of thousands where six go into a unit.

    Strips of full height are a problem of one dimension: the bound is held against that which `columns` finds on a wider grid.
    """
    given = many(seed, count, longest, 6000)
    first, _ = first_plan(given, quick=True)
    plan, bound = improve(given, first, 0)
    units = sum(n for _, n in plan)
    assert bound <= units <= bound + over
    assert all(given.fits(p) for p, _ in plan)
    assert (sum(n * given.holds(p) for p, n in plan) >= given.demand).all()
    area = sum(int(d) * (int(w) + given.kerf) for w, d in zip(given.width, given.demand, strict=True)) / (given.length + given.kerf)
    assert bound >= area - 1e-9
    if count <= 200:
        wide = (given.width[::-1] + given.kerf).tolist()
        other = solve(wide, given.demand[::-1].tolist(), given.length + given.kerf)
        assert other.bound <= bound <= other.bins and units <= other.bins


@pytest.mark.parametrize("enough", ENOUGH)
def test_the_rest_after_whole_parts_is_a_whole_problem(enough: float) -> None:
    """Pairs of raked pieces of which one is wanted no more stay as the piece alone, and the dive ends with all that is wanted."""
    given = many(5, 40, 300, 100)
    pair = replace(
        given,
        width=np.append(given.width, given.width[0] + given.width[1] - 20 * MM),
        height=np.append(given.height, UNIT.height),
        first=np.append(given.first, 0),
        second=np.append(given.second, 1),
    )
    ways = stackings([UNIT.height], UNIT.height, pair.kerf, 10)
    assert ways is not None
    grid = Grid(width=(pair.width + pair.kerf) // (MM // 5), level=np.zeros(41, dtype=np.int64), ways=ways, capacity=3010)
    master = Master(pair, grid, ())
    master.generate(10**6)
    plan = dive(pair, master, 0, enough)
    assert plan and all(pair.fits(p) for p, _ in plan)
    assert (sum(n * pair.holds(p) for p, n in plan) >= pair.demand).all()
    assert sum(n for _, n in plan) <= master.bound + 3

"""Random small houses: whatever is drawn, what is laid keeps the invariants, and the order of the walls does not matter."""

from __future__ import annotations

import random
from dataclasses import replace

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tests.unit.laid_house import Hole, checked, columns, lay, turned, wall
from wallquant.building import Wall

THICK = (100, 150, 200, 300)
FEW = settings(derandomize=True, deadline=None, max_examples=40, suppress_health_check=[HealthCheck.too_slow])


@st.composite
def holes(draw: st.DrawFn, length: int, height: int) -> list[Hole]:
    """Up to two openings anywhere in a wall, apart or touching, from the bottom, to the top, or in the middle, corners among them."""
    out: list[Hole] = []
    at = draw(st.integers(0, length // 2))
    for _ in range(draw(st.integers(0, 2))):
        width = draw(st.integers(150, 1600))
        if at + width > length:
            break
        sill = draw(st.sampled_from([0, 0, 410, 790, 1010]))
        head = min(height, sill + draw(st.sampled_from([390, 1000, 1210, 2010, 5000])))
        if head > sill:
            out.append((at, at + width, sill, head))
        at += width + draw(st.sampled_from([0, 90, 240, 700]))
    return out


@st.composite
def houses(draw: st.DrawFn) -> list[Wall]:
    """A room with a cross wall, wings that go on or hang free, storeys of different heights and bottoms."""
    length, width = draw(st.integers(1500, 6500)), draw(st.integers(1500, 5000))
    t = draw(st.sampled_from(THICK))
    out: list[Wall] = []

    def add(start: tuple[float, float], end: tuple[float, float], thickness: int) -> None:
        height = draw(st.sampled_from([2410, 2410, 1290, 2570]))
        bottom = draw(st.sampled_from([0, 0, 0, 400]))
        long = int(abs(end[0] - start[0]) + abs(end[1] - start[1]))
        one = wall(
            f"W{len(out)}", start, end, thickness=thickness, height=height, bottom=bottom,
            openings=draw(holes(long, height)), bearing=draw(st.sampled_from([True, True, False])),
        )  # fmt: skip
        out.append(turned(one) if draw(st.booleans()) else one)

    add((0, t / 2), (length, t / 2), t)
    add((t / 2, t), (t / 2, width - t), t)
    if draw(st.booleans()):
        add((length - t / 2, t), (length - t / 2, width - t), t)
        add((0, width - t / 2), (length, width - t / 2), t)
        if draw(st.booleans()):
            x, other = draw(st.integers(t, length - t)), draw(st.sampled_from(THICK))
            add((x, t), (x, width - t), other)
    if draw(st.booleans()):
        y = draw(st.integers(t, width - t))
        reach = draw(st.sampled_from([-1200, t]))
        add((reach, y), (draw(st.integers(t + 400, t + 2600)), y), draw(st.sampled_from(THICK)))
    return out


@FEW
@given(houses())
def test_what_is_laid_keeps_the_invariants(walls: list[Wall]) -> None:
    checked(lay(walls))


def test_openings_of_both_walls_that_meet_in_a_corner() -> None:
    """Both openings are drawn in the corner itself: what a wall that passes over them leaves hanging is set aside."""
    walls = [
        wall("A", (0, 100), (4291, 100), height=1290, openings=[(0, 150, 790, 1180), (240, 1496, 0, 390)]),
        wall("B", (100, 200), (100, 1300), height=1290, openings=[(0, 150, 790, 1180)]),
    ]
    checked(lay(walls))


@FEW
@given(houses(), st.integers(0, 1000))
def test_order_of_the_walls_does_not_matter(walls: list[Wall], seed: int) -> None:
    mixed = list(walls)
    random.Random(seed).shuffle(mixed)
    assert columns(lay(walls)) == columns(lay(mixed))


@settings(FEW, max_examples=15)
@given(st.integers(600, 4000), st.integers(0, 3000), st.integers(0, 3000), st.integers(2000, 6000))
def test_raked_tops(low: int, rise: int, fall: int, length: int) -> None:
    """A wall of any gable or pent shape keeps the invariants, and its drawn area is laid or set aside."""
    ridge = low + rise
    top = [(0, low), (length / 2, ridge), (length, max(0, ridge - fall))]
    house = checked(lay([wall("A", (0, 0), (length, 0), top=top)]))
    area = house.bond.accounts[0].area
    assert area["set_aside"] <= 0.1 * area["wall"] + 0.05


@settings(FEW, max_examples=15)
@given(houses(), st.integers(-5000, 5000), st.integers(-5000, 5000))
def test_place_in_plan_does_not_matter(walls: list[Wall], dx: int, dy: int) -> None:
    """A house moved by whole millimetres is laid with the same pieces."""

    def moved(one: Wall) -> Wall:
        shift = dx * 1_000_000, dy * 1_000_000
        ends = [(x + shift[0], y + shift[1]) for x, y in (one.start, one.end)]
        return replace(one, start=ends[0], end=ends[1])

    assert columns(lay(walls)) == columns(lay([moved(w) for w in walls]))

"""What nothing carries is set aside: one small house for each way in which a piece comes to hang, checked by plan geometry."""

from __future__ import annotations

import pytest

from tests.unit.laid_house import House, checked, lay, ring, wall
from wallquant.bonding.standing import HANGS
from wallquant.building import Wall

TOUCHING = [
    wall("A", (150, 300), (150, 4679), thickness=300, height=2810),
    wall("B", (878, 2163), (-1200, 2163), thickness=300, height=2410, openings=[(21, 913, 410, 2410), (913, 1992, 0, 390)]),
]
"""Two openings of one wall touch, with different sills and heads: no pier is left between them."""
STEM_OVER_OPENING = [
    wall("A", (150, 3197), (150, 300), thickness=300, height=2570, openings=[(906, 2123, 790, 2000)]),
    wall("B", (2815, 1826), (300, 1826), thickness=300, height=2570, openings=[(2194, 2491, 1010, 1400)]),
]
"""An opening of the wall that goes through lies at a T, and one of the stem beside it leaves a stub of 24 mm."""
CORNER_SQUARE = [
    wall("A", (0, 150), (6499, 150), thickness=300, height=1690),
    wall("B", (150, 300), (150, 3295), thickness=300, height=2410, openings=[(7, 343, 1010, 2010), (583, 2061, 790, 1790)]),
]
"""An opening lies 7 mm from an L corner, and its head above the other wall."""
STEM_OVER_NOTHING = [
    wall("A", (50, 100), (50, 1737), thickness=100, height=2410, openings=[(129, 691, 410, 1410)]),
    wall("B", (100, 687), (1200, 687), thickness=100, height=2570),
]
"""What the wall lays over its opening is set aside, and a taller stem passes over it at the T."""
BOTH_IN_THE_CORNER = [
    wall("A", (0, 100), (4291, 100), height=1290, openings=[(0, 150, 790, 1180), (240, 1496, 0, 390)]),
    wall("B", (100, 200), (100, 1300), height=1290, openings=[(0, 150, 790, 1180)]),
]
"""Openings of both walls meet in an L corner."""
CAUSES = {
    "touching": TOUCHING,
    "stem over an opening": STEM_OVER_OPENING,
    "corner square": CORNER_SQUARE,
    "stem over nothing": STEM_OVER_NOTHING,
    "both in the corner": BOTH_IN_THE_CORNER,
}


def told(house: House) -> list[str]:
    return [f.text for f in house.findings if f.code in ("bond.left-out", "bond.set-aside")]


@pytest.mark.parametrize("name", CAUSES)
def test_what_hangs_is_set_aside_and_told(name: str) -> None:
    walls: list[Wall] = CAUSES[name]
    house = checked(lay(walls))
    lost = {a.wall: a.area["set_aside"] for a in house.bond.accounts}
    assert 0 < sum(lost.values()) < sum(a.area["wall"] for a in house.bond.accounts) / 2
    assert any("Move " in text or "move " in text for text in told(house))


def test_no_more_than_what_hangs_is_set_aside() -> None:
    """The 24 mm of the stem between the opening and the through wall, from its sill up to its head, and nothing else by that cause."""
    house = checked(lay(STEM_OVER_OPENING))
    hung = house.account("B").causes[HANGS]
    assert 0 < hung <= 0.024 * (1.400 - 1.010)
    assert HANGS not in house.account("A").causes
    one = next(f for f in house.findings if f.cause == HANGS)
    assert "Move the openings away from each other" in one.text


def test_what_stands_is_left_alone() -> None:
    house = checked(lay(ring(5000, 4000)))
    assert all(a.area["set_aside"] == 0 for a in house.bond.accounts)
    assert not told(house)


def test_a_part_that_stands_by_itself_keeps_its_pieces() -> None:
    """Only what hangs together with it is solved again; another house is laid as if it were alone."""
    alone = lay(ring(5000, 4000))
    far = [wall(w.name, (20_000 + x / 1e6, y / 1e6), (20_000 + p / 1e6, q / 1e6), thickness=w.thickness / 1e6, height=2410)
           for w in ring(5000, 4000, prefix="Z") for (x, y), (p, q) in [(w.start, w.end)]]  # fmt: skip
    both = checked(lay([*STEM_OVER_OPENING, *far]))
    runs = [r.name for r in both.work.runs.values() if r.parts[0].wall.startswith("Z")]
    assert [both.row(n, 4) for n in runs] == [alone.row(n, 4) for n in alone.work.runs]

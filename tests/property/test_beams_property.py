"""Random small houses with bond beams: what is laid keeps the invariants, and bars lie in troughs of whole U units alone."""

from __future__ import annotations

import random

from hypothesis import given, settings
from hypothesis import strategies as st

from tests.property.test_plans_property import FEW, houses
from tests.unit.laid_house import checked, columns, lay
from wallquant.building import Wall
from wallquant.rules import Item
from wallquant.units import MM

BEAMS = {"bond_beams": {"top": True, "levels": "1.2 m", "strap_spacing": "1 m", "bearing_only": False}}


@settings(FEW, max_examples=25)
@given(houses())
def test_bars_lie_in_troughs(walls: list[Wall]) -> None:
    house = checked(lay(walls, settings=BEAMS))
    p = house.work.pieces
    for item in house.work.items:
        if isinstance(item, Item) and item.kind in ("bar", "trough fill"):
            hit = (p.run == p.runs.index(item.run)) & (p.start < item.end) & (p.end > item.start)
            hit &= (p.bottom < item.top) & (p.top > item.bottom)
            for row in hit.nonzero()[0].tolist():
                unit = p.units[int(p.unit[row])]
                assert unit.trough is not None, (item, p.names[row])
                assert item.bottom >= p.top[row] - unit.trough.depth - MM, (item, p.names[row])
                assert p.top[row] - p.bottom[row] == unit.height


@settings(FEW, max_examples=10)
@given(houses(), st.integers(0, 1000))
def test_order_of_the_walls_does_not_matter_with_beams(walls: list[Wall], seed: int) -> None:
    mixed = list(walls)
    random.Random(seed).shuffle(mixed)
    one, two = lay(walls, settings=BEAMS), lay(mixed, settings=BEAMS)
    assert columns(one) == columns(two)
    assert one.work.items == two.work.items

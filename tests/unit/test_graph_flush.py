"""Walls drawn face to face of which one is laid thicker than drawn: the other gives way, within the fit of thickness.

All figures are arithmetic: 193 mm is laid 200 mm thick, so 3.5 mm reach past each face.
"""

from __future__ import annotations

import pytest

from tests.unit.laid_house import wall
from wallquant import catalogue as catalogues
from wallquant import graph
from wallquant.building import Building, Wall
from wallquant.findings import Finding
from wallquant.graph import Network
from wallquant.layout import Run
from wallquant.units import MM

BOOK = catalogues.load("aac-metric")


def built(*walls: Wall) -> tuple[Network, tuple[Finding, ...]]:
    return graph.build(Building(walls=walls), BOOK, any_thickness=True)


def run_of(net: Network, name: str) -> Run:
    return next(r for r in net.runs if any(p.wall == name for p in r.parts))


def faces(net: Network, name: str) -> tuple[float, float]:
    """Where the faces of a wall along x lie as laid, in mm."""
    run = run_of(net, name)
    return (run.start[1] - run.thickness / 2) / MM, (run.start[1] + run.thickness / 2) / MM


PARTY = wall("A", (0, 0), (5000, 0), thickness=193)


@pytest.mark.parametrize(("side", "ends"), [(1, (0, 3000)), (1, (3000, 0)), (-1, (0, 3000)), (-1, (3000, 0))])
def test_furring_against_a_party_wall_gives_way_at_that_face_alone(side: int, ends: tuple[float, float]) -> None:
    y = side * (193 + 136) / 2
    net, (told,) = built(PARTY, wall("B", (1000 + ends[0], y), (1000 + ends[1], y), thickness=136))
    assert not net.set_aside
    assert run_of(net, "A").thickness == 200 * MM
    assert run_of(net, "B").thickness == 132.5 * MM
    near, far = sorted(faces(net, "B"), key=abs)
    assert (near, far) == (side * 100, side * (96.5 + 136))
    assert (told.code, told.severity, told.measured) == ("graph.flush", "note", "132.5 mm")
    assert run_of(net, "B").parts[0].thickness == 136 * MM  # as drawn


def test_between_two_walls_it_gives_way_on_both_sides_only_within_the_fit() -> None:
    """7 mm are more than the fit of thickness (6.4 mm) allows."""
    y = (193 + 136) / 2
    net, _ = built(PARTY, wall("B", (1000, y), (4000, y), thickness=136), wall("C", (0, 2 * y), (5000, 2 * y), thickness=193))
    assert [s.guid for s in net.set_aside] == ["B"]


def test_between_two_walls_laid_a_little_thicker() -> None:
    y = (197 + 136) / 2
    one, two = wall("A", (0, 0), (5000, 0), thickness=197), wall("C", (0, 2 * y), (5000, 2 * y), thickness=197)
    net, (told,) = built(one, wall("B", (1000, y), (4000, y), thickness=136), two)
    assert not net.set_aside
    assert faces(net, "B") == (100, 2 * y - 100)
    assert "wall A and C," in told.text or "wall C and A," in told.text


def test_a_wall_drawn_in_the_other_stays_set_aside() -> None:
    net, findings = built(PARTY, wall("B", (1000, 160), (4000, 160), thickness=136))
    assert [s.guid for s in net.set_aside] == ["B"]
    assert [f.code for f in findings] == ["graph.overlap"]


def test_bought_thicknesses_give_no_way() -> None:
    net, findings = built(PARTY, wall("B", (1000, 193), (4000, 193), thickness=193))
    assert [s.guid for s in net.set_aside] == ["B"]
    assert [f.code for f in findings] == ["graph.overlap"]


def test_what_stands_above_or_beyond_gives_no_way() -> None:
    y = (193 + 136) / 2
    above = wall("B", (1000, y), (4000, y), thickness=136, bottom=2400)
    beyond = wall("C", (6000, y), (9000, y), thickness=136)
    net, findings = built(PARTY, above, beyond)
    assert not findings
    assert {run_of(net, name).thickness for name in "BC"} == {136 * MM}

"""Openings that cut a wall's top: a gable drawn as a wall less an opening.  What is left is weighed with ifcopenshell's OpenCASCADE."""

from __future__ import annotations

import pathlib
from math import cos, pi, sin
from typing import Any

import pytest

from tests.unit.ifc_maker import Maker, Vec, kernel_m3
from wallquant.building import Wall
from wallquant.findings import Finding
from wallquant.importers import ifc
from wallquant.units import MM


def cutter(maker: Maker, ring: list[Vec], right: float = -500, left: float = 500) -> Any:
    """An outline in elevation, extruded across the wall."""
    return maker.extruded(maker.outline(ring), left - right, (0, left, 0), (0, -1, 0), (1, 0, 0))


def read(maker: Maker, element: Any, folder: pathlib.Path, rel: float = 1e-6) -> tuple[Wall, list[Finding]]:
    path = maker.write(folder)
    building, findings = ifc.read(path)
    wall = building.walls[0]
    void = sum(
        o.volume_m3 if o.volume_m3 is not None else (o.end - o.start) * (o.head - o.sill) * wall.thickness * 1e-27 for o in wall.openings
    )
    assert wall.drawn_m3 - void == pytest.approx(kernel_m3(path, element.GlobalId), rel=rel)
    return wall, list(findings)


def top_of(wall: Wall) -> list[tuple[float, float]]:
    return [(round(s / MM, 3), round((z - wall.bottom) / MM, 3)) for s, z in wall.top]


def test_one_opening_makes_a_gable(tmp_path: pathlib.Path) -> None:
    maker = Maker()
    element = maker.plain_wall(5000, 200, 5000, place=maker.placed((0, 0, 100)))
    ring = [(-500, 2100), (2500, 4500), (5500, 2100), (5500, 6000), (-500, 6000)]
    opening = maker.opening(element, cutter(maker, ring))
    window = maker.opening(element, maker.box(2000, 3000, 900, 2000))
    wall, findings = read(maker, element, tmp_path)
    assert top_of(wall) == [(0, 2500), (2500, 4500), (5000, 2500)]
    assert [o.key for o in wall.openings] == [window.GlobalId]
    assert [(f.code, f.severity, f.place.opening) for f in findings] == [("reading.opening-is-top", "note", opening.GlobalId)]
    assert findings[0].measured == "7.500 m2"  # 5.0 x 5.0 less 5.0 x (2.5 + 4.5) / 2


def test_two_openings_and_two_parts_of_one_make_a_gable(tmp_path: pathlib.Path) -> None:
    left, right = [(0, 2500), (2500, 4500), (0, 4500)], [(5000, 2500), (5000, 4500), (2500, 4500)]
    for parts in (((left,), (right,)), ((left, right),)):
        maker = Maker()
        element = maker.plain_wall(5000, 200, 4500)
        for rings in parts:
            maker.opening(element, *(cutter(maker, ring) for ring in rings))
        wall, findings = read(maker, element, tmp_path)
        assert top_of(wall) == [(0, 2500), (2500, 4500), (5000, 2500)]
        assert not wall.openings
        assert [f.code for f in findings] == ["reading.opening-is-top"] * len(parts)


def test_a_cut_along_the_whole_top_lowers_it(tmp_path: pathlib.Path) -> None:
    maker = Maker()
    element = maker.plain_wall(5000, 200, 4500)
    maker.opening(element, maker.box(-100, 5100, 2500, 4600))
    wall, _ = read(maker, element, tmp_path)
    assert top_of(wall) == [(0, 2500), (5000, 2500)]


def test_a_hole_beside_the_cut_of_the_same_opening_stays(tmp_path: pathlib.Path) -> None:
    maker = Maker()
    element = maker.plain_wall(5000, 200, 4500)
    opening = maker.opening(element, cutter(maker, [(0, 2500), (5000, 4500), (0, 4500)]), maker.box(1000, 2000, 900, 2000))
    wall, _ = read(maker, element, tmp_path)
    assert top_of(wall) == [(0, 2500), (5000, 4500)]
    assert [(o.key, o.start, o.head - wall.bottom) for o in wall.openings] == [(opening.GlobalId, 1000 * MM, 2000 * MM)]


@pytest.mark.parametrize(
    "why",
    ["it has a leaf", "it is a rectangle", "it is a niche", "it hangs over", "it is an arch of many chords", "it reaches the underside"],
)
def test_what_stays_an_opening(why: str, tmp_path: pathlib.Path) -> None:
    maker = Maker()
    element = maker.plain_wall(5000, 200, 4500)
    raked: list[Vec] = [(1000, 3000), (4000, 3600), (4000, 5000), (1000, 5000)]
    if why == "it is a rectangle":
        raked = [(1000, 3000), (4000, 3000), (4000, 5000), (1000, 5000)]
    elif why == "it hangs over":
        raked = [(1000, 3000), (4000, 3000), (3000, 5000), (2000, 5000)]
    elif why == "it is an arch of many chords":
        raked = [(1000, 5000), *((2500 - 1500 * cos(pi * i / 40), 4000 - 1500 * sin(pi * i / 40)) for i in range(41)), (4000, 5000)]
    elif why == "it reaches the underside":
        raked = [(1000, -100), (4000, 600), (4000, 5000), (1000, 5000)]
    opening = maker.opening(element, cutter(maker, raked, 0 if why == "it is a niche" else -500))
    if why == "it has a leaf":
        maker.fill(opening, "IfcWindow")
    wall, _ = read(maker, element, tmp_path, rel=1e-5)
    assert top_of(wall) == [(0, 4500), (5000, 4500)]
    assert [o.key for o in wall.openings] == [opening.GlobalId]
    assert wall.openings[0].head - wall.bottom == 4500 * MM

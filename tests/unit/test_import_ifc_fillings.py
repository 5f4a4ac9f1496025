"""Doors and windows against their openings: which hole each stands in, sizes that differ, and leaves that no opening is drawn for."""

from __future__ import annotations

import pathlib
from typing import Any

import pytest

from tests.unit.ifc_maker import Maker
from wallquant.building import Wall
from wallquant.findings import Finding
from wallquant.importers import ifc


def read(maker: Maker, folder: pathlib.Path) -> tuple[Wall, list[Finding]]:
    building, findings = ifc.read(maker.write(folder))
    return building.walls[0], list(findings)


def leaf_body(maker: Maker, x: float, z: float, size: tuple[float, float, float] = (900, 50, 2000)) -> Any:
    return maker.shape(maker.extruded(maker.rectangle(size[0], size[1], (x + size[0] / 2, 0)), size[2], (0, 0, z)))


@pytest.mark.parametrize(("by", "told"), [(5.0, 0), (5.1, 1), (-5.0, 0), (-5.1, 1)])
def test_a_size_that_differs_by_more_than_5_mm_is_told(by: float, told: int, tmp_path: pathlib.Path) -> None:
    maker = Maker()
    element = maker.plain_wall(6000, 200, 2500)
    maker.fill(maker.opening(element, maker.box(1000, 2000, 0, 2000)), width=1000.0 + by, height=2000.0)
    maker.fill(maker.opening(element, maker.box(3000, 4000, 0, 2000)), width=1000.0, height=2000.0 + by)
    wall, findings = read(maker, tmp_path)
    assert len(wall.openings) == 2
    assert [(f.code, f.times) for f in findings] == [("reading.filling-size", 2)] * told
    if told:
        assert findings[0].measured == "1000 x 2000 mm"
        assert ("smaller" if by > 0 else "larger") in findings[0].text


def test_each_cause_of_a_differing_size_is_told_once(tmp_path: pathlib.Path) -> None:
    maker = Maker()
    element = maker.plain_wall(9000, 200, 2500)
    maker.fill(maker.opening(element, maker.box(-300, 700, 0, 2000)), width=1000.0, height=2000.0)  # sticks out of the end
    maker.fill(maker.opening(element, maker.box(1000, 2000, 1000, 2700)), "IfcWindow", width=1000.0, height=1700.0)  # out of the top
    maker.fill(maker.opening(element, maker.box(3000, 4000, 0, 2000, 0, 500)), width=900.0, height=2000.0)  # a niche
    maker.fill(maker.opening(element, maker.box(5000, 6000, 0, 2000)), width=900.0, height=None)
    _, findings = read(maker, tmp_path)
    causes = [(f.text.split(": ", 1)[1].rsplit(" (", 1)[0], f.times) for f in findings if f.code == "reading.filling-size"]
    assert sorted(causes) == [
        ("the opening ends at the wall's edge", 2),
        ("the opening is drawn larger", 1),
        ("the opening is no plain rectangle through the wall", 1),
    ]


def test_two_windows_in_two_holes_of_one_opening(tmp_path: pathlib.Path) -> None:
    maker = Maker()
    element = maker.plain_wall(6000, 200, 2500)
    opening = maker.opening(element, maker.box(3000, 4200, 900, 2000), maker.box(1000, 2000, 900, 2000))
    for at, width in ((1000, 1000.0), (3000, 1200.0)):
        leaf = maker.fill(opening, "IfcWindow", width=width, height=1100.0)
        leaf.ObjectPlacement = maker.placed((at, 0, 900))
    wall, findings = read(maker, tmp_path)
    assert [(o.start // 10**6, o.filling.width // 10**6 if o.filling and o.filling.width else None) for o in wall.openings] == [
        (1000, 1000), (3000, 1200),
    ]  # fmt: skip
    assert not findings


def test_two_windows_in_one_hole_are_told(tmp_path: pathlib.Path) -> None:
    maker = Maker()
    element = maker.plain_wall(6000, 200, 2500)
    opening = maker.opening(element, maker.box(1000, 3000, 900, 2000))
    for at in (1000, 2000):
        maker.fill(opening, "IfcWindow", width=1000.0, height=1100.0).ObjectPlacement = maker.placed((at, 0, 900))
    wall, findings = read(maker, tmp_path)
    assert len(wall.openings) == 1
    assert [f.code for f in findings] == ["reading.filling-size", "reading.more-fillings"]


def test_a_filled_opening_wins_over_its_double(tmp_path: pathlib.Path) -> None:
    for filled_first in (True, False):
        maker = Maker()
        element = maker.plain_wall(6000, 200, 2500)
        boxes = [maker.opening(element, maker.box(1000, 2000, 0, 2000)) for _ in range(2)]
        filled = boxes[0 if filled_first else 1]
        leaf = maker.fill(filled, width=1000.0, height=2000.0)
        wall, findings = read(maker, tmp_path)
        assert [(o.key, o.filling.guid if o.filling else "") for o in wall.openings] == [(filled.GlobalId, leaf.GlobalId)]
        assert [f.code for f in findings] == ["reading.openings-overlap"]


def test_a_hole_through_a_niche_of_another_opening_stays(tmp_path: pathlib.Path) -> None:
    maker = Maker()
    element = maker.plain_wall(6000, 300, 2500)
    hole = maker.opening(element, maker.box(1200, 1800, 500, 1500))
    maker.opening(element, maker.box(1000, 2000, 500, 1500, 50, 500))  # larger, 100 deep
    wall, _ = read(maker, tmp_path)
    assert [(o.start // 10**6, o.end // 10**6, o.through) for o in wall.openings] == [
        (1000, 1200, False), (1200, 1800, True), (1800, 2000, False),
    ]  # fmt: skip
    assert wall.openings[1].key == hole.GlobalId


def test_two_relations_of_one_opening_count_once(tmp_path: pathlib.Path) -> None:
    maker = Maker()
    element = maker.plain_wall(6000, 200, 2500)
    opening = maker.opening(element, maker.box(1000, 2000, 0, 2000))
    maker.root("IfcRelVoidsElement", RelatingBuildingElement=element, RelatedOpeningElement=opening)
    wall, findings = read(maker, tmp_path)
    assert ([o.key for o in wall.openings], findings) == ([opening.GlobalId], [])


def test_an_opening_that_barely_touches_is_told(tmp_path: pathlib.Path) -> None:
    maker = Maker()
    element = maker.plain_wall(6000, 200, 2500)
    maker.opening(element, maker.box(1000, 2000, 0, 2000, 99.5, 500))
    maker.opening(element, maker.box(3000, 4000, 0, 2000, 100, 500))
    maker.opening(element, maker.box(5999.5, 7000, 0, 2000))
    maker.opening(element, maker.box(4500, 5000, 2499.5, 3000))
    wall, findings = read(maker, tmp_path)
    assert not wall.openings
    assert [f.code for f in findings] == ["reading.opening-dropped"] * 4


def test_leaves_without_an_opening(tmp_path: pathlib.Path) -> None:
    maker = Maker()
    element = maker.plain_wall(6000, 200, 2500, place=maker.placed((10_000, 5_000, 150), (0, 1, 0)))
    on_wall = element.ObjectPlacement
    maker.opening(element, maker.box(4000, 5000, 0, 2000))
    maker.root("IfcDoor", "shut", ObjectPlacement=maker.placed((1000, 0, 0), to=on_wall), Representation=leaf_body(maker, 0, 0))
    maker.root("IfcWindow", "no body", ObjectPlacement=maker.placed((2500, 0, 900), to=on_wall), OverallWidth=800.0)
    maker.root("IfcDoor", "open", ObjectPlacement=on_wall, Representation=leaf_body(maker, 4050, 0))  # its place is in its body alone
    maker.root("IfcDoor", "far", ObjectPlacement=maker.placed((50_000, 0, 0)), Representation=leaf_body(maker, 0, 0))
    curtain = maker.root("IfcCurtainWall", "curtain")
    panel = maker.root("IfcDoor", "panel", ObjectPlacement=maker.placed((90_000, 0, 0)))
    maker.root("IfcRelAggregates", RelatingObject=curtain, RelatedObjects=[panel])
    _, findings = read(maker, tmp_path)
    assert [(f.code, f.severity, f.times) for f in findings] == [
        ("reading.leaf-without-opening", "warning", 2),
        ("reading.leaf-unrelated", "note", 1),
        ("reading.leaf-without-wall", "note", 1),
    ]
    for finding, names in zip(findings, (("door shut", "window no body"), ("door open",), ("door far",)), strict=True):
        assert all(name in finding.text for name in names)
    assert findings[0].place.wall == element.GlobalId

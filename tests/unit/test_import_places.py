"""One house anywhere on the earth, in any unit and schema: the same walls and the same pieces."""

from __future__ import annotations

import pathlib
from collections.abc import Callable
from math import cos, radians, sin
from typing import Any

import numpy as np
import pytest

from tests.unit.ifc_maker import MILLIMETRES, Maker
from wallquant import pipeline, plugins
from wallquant.building import Building, Opening
from wallquant.findings import Finding
from wallquant.importers import InputError, ifc
from wallquant.job import Job
from wallquant.units import MM, UM, M

SCHEMAS = ("IFC2X3", "IFC4", "IFC4X3_ADD2")
INCHES = ((240, 160), (8, 100))
"""Length and width of the house in half feet of the axes, thickness and height: whole inches, so that each unit can say them."""


def house(maker: Maker, unit: str, site: Any = None) -> None:
    """Four walls of 203.2 mm about 6.1 x 4.1 m, 2.54 m high, a door, a window; drawn about the site's placement."""
    one = 25.4 / MILLIMETRES[unit]
    (long, wide), (thick, high) = INCHES
    half = thick / 2
    maker.add_storey("Ground", 0)
    sides = (
        ((-half, 0), (1, 0), long + thick), ((long, half), (0, 1), wide - thick), ((long + half, wide), (-1, 0), long + thick),
        ((0, wide - half), (0, -1), wide - thick),
    )  # fmt: skip
    for i, (start, way, size) in enumerate(sides):
        place = maker.placed((start[0] * one, start[1] * one, 0), (*way, 0), to=site)
        wall = maker.plain_wall(size * one, thick * one, high * one, place=place, name=f"side {i + 1}")
        if i < 2:
            sill = 0 if i == 0 else 32
            box = maker.box(48 * one, 88 * one, sill * one, 80 * one, -20 * one, 20 * one)
            maker.fill(maker.opening(wall, box), "IfcDoor" if i == 0 else "IfcWindow", 40 * one, (80 - sill) * one)


def read(maker: Maker, folder: pathlib.Path) -> tuple[Building, list[Finding]]:
    building, findings = ifc.read(maker.write(folder))
    assert not building.set_aside
    return building, list(findings)


def drawn(building: Building, turn: float = 0.0, at: tuple[float, float, float] = (0, 0, 0)) -> list[tuple[object, ...]]:
    """All that is read of each wall, turned and moved back, in whole micrometres."""
    back = np.array(((cos(turn), sin(turn)), (-sin(turn), cos(turn))))
    move = np.array([round(v * MM) for v in at[:2]], dtype=object) - np.array(building.origin, dtype=object)

    def plan(point: tuple[int, int]) -> tuple[int, int]:
        x, y = back @ np.array([point[0] - move[0], point[1] - move[1]], dtype=np.float64)
        return round(x / UM), round(y / UM)

    def level(z: int) -> int:
        return round((z - at[2] * MM) / UM)

    def leaf(o: Opening) -> tuple[object, ...] | None:
        return None if o.filling is None else (o.filling.kind, o.filling.width, o.filling.height)

    return [
        (
            w.name, w.storey, plan(w.start), plan(w.end), round(w.thickness / UM), level(w.bottom),
            tuple((round(s / UM), level(z)) for s, z in w.top), round(w.drawn_m3, 6),
            tuple((round(o.start / UM), round(o.end / UM), level(o.sill), level(o.head), o.through, leaf(o)) for o in w.openings),
        )
        for w in sorted(building.walls, key=lambda w: w.name)
    ]  # fmt: skip


@pytest.fixture(scope="module")
def plain(tmp_path_factory: pytest.TempPathFactory) -> list[tuple[object, ...]]:
    maker = Maker()
    house(maker, "mm")
    return drawn(read(maker, tmp_path_factory.mktemp("plain"))[0])


def test_the_plain_house_is_what_was_drawn(plain: list[tuple[object, ...]]) -> None:
    assert [w[0] for w in plain] == ["side 1", "side 2", "side 3", "side 4"]
    assert plain[0][2:6] == ((-101_600, 0), (6_197_600, 0), 203_200, 0)
    assert plain[1][8][0][:4] == (1_219_200, 2_235_200, 812_800, 2_032_000)  # type: ignore[index]


@pytest.mark.parametrize("schema", SCHEMAS)
@pytest.mark.parametrize("unit", sorted(MILLIMETRES))
def test_any_unit_and_schema(schema: str, unit: str, plain: list[tuple[object, ...]], tmp_path: pathlib.Path) -> None:
    maker = Maker(schema, unit)
    house(maker, unit)
    building, findings = read(maker, tmp_path)
    assert (building.ifc_schema, building.unit) == (schema, unit)
    assert drawn(building) == plain
    assert findings == []


def pieces(path: pathlib.Path) -> list[tuple[object, ...]]:
    work = pipeline.plan(path, Job(catalogue="aac-us"), plugins.load()).work
    p = work.pieces
    return [tuple(column[i] for column in (p.run, p.course, p.unit, p.start, p.end, p.bottom, p.top)) for i in range(len(p))]


def test_equal_pieces_in_every_schema_and_unit(tmp_path: pathlib.Path) -> None:
    found = []
    for schema, unit in (("IFC2X3", "mm"), ("IFC4", "mm"), ("IFC4X3_ADD2", "mm"), ("IFC2X3", "ft"), ("IFC4X3_ADD2", "m")):
        maker = Maker(schema, unit)
        house(maker, unit)
        found.append(pieces(maker.write(tmp_path, f"{schema}-{unit}.ifc")))
    assert len(found[0]) > 200
    assert all(one == found[0] for one in found)


@pytest.mark.parametrize("far", [0.0, 1e9])
@pytest.mark.parametrize("degrees", [0.0, 33.7, 90.0, -141.2])
@pytest.mark.parametrize("how", ["site", "world", "wall by wall"])
def test_rotated_and_a_thousand_kilometres_away(
    how: str, degrees: float, far: float, plain: list[tuple[object, ...]], tmp_path: pathlib.Path
) -> None:
    turn, at = radians(degrees), (far + 1234.5, -far / 2 + 77.25, 812.0)
    maker = Maker()
    axes = maker.axes(at, (0, 0, 1), (cos(turn), sin(turn), 0))
    if how == "world":
        maker.context.WorldCoordinateSystem = axes
    site = maker.add("IfcLocalPlacement", None, axes) if how == "site" else None
    house(maker, "mm", site)
    if how == "wall by wall":
        for wall in maker.file.by_type("IfcWall"):
            wall.ObjectPlacement.PlacementRelTo = maker.add("IfcLocalPlacement", None, axes)
    building, findings = read(maker, tmp_path)
    assert [(o % (1000 * M)) for o in building.origin] == [0, 0]
    got = [tuple(v for i, v in enumerate(w) if i != 1) for w in drawn(building, turn, at)]
    assert got == [tuple(v for i, v in enumerate(w) if i != 1) for w in plain]
    assert findings == []


def test_a_map_conversion_and_true_north_move_nothing(plain: list[tuple[object, ...]], tmp_path: pathlib.Path) -> None:
    maker = Maker("IFC4")
    maker.context.TrueNorth = maker.way(0.3, 0.7)
    crs = maker.add("IfcProjectedCRS", "EPSG:25832")
    maker.add("IfcMapConversion", maker.context, crs, 650_000.0, 5_500_000.0, 123.0, 0.6, 0.8, 0.001)
    house(maker, "mm")
    building, findings = read(maker, tmp_path)
    assert drawn(building) == plain
    assert [(f.code, f.severity) for f in findings] == [("reading.map", "note")]
    at = building.map_place
    assert at is not None
    assert (at.eastings, at.northings, at.height, at.way, at.unit) == (650_000.0, 5_500_000.0, 123.0, (0.6, 0.8), ("mm", 1.0))
    assert (at.system, at.scale) == (("EPSG:25832", None, None, None, None, None), 0.001)


@pytest.mark.parametrize(("unit", "of_map", "scale", "wanted"), [
    ("mm", "m", 0.001, 0.001), ("m", "m", None, 0.001), ("m", None, 1.0, 0.001), ("ft", "m", 0.3048, 0.001), ("mm", "m", None, None),
    ("ft", "ft", 0.9996, 0.9996 / 304.8),
])  # fmt: skip
def test_a_map_conversion_is_told_in_its_units_for_a_millimetre(
    unit: str, of_map: str | None, scale: float | None, wanted: float | None, tmp_path: pathlib.Path
) -> None:
    maker = Maker("IFC4", unit)
    crs = maker.add("IfcProjectedCRS", "EPSG:25832", MapUnit=None if of_map is None else maker._unit(of_map))
    maker.add("IfcMapConversion", maker.context, crs, 1.0, 2.0, 3.0, None, None, scale)
    maker.plain_wall(20.0, 2.0, 8.0)
    at = read(maker, tmp_path)[0].map_place
    assert at is not None
    assert at.unit[0] == (of_map or unit) and at.way is None
    assert at.scale == (None if wanted is None else pytest.approx(wanted, rel=1e-15))


def test_a_map_conversion_of_a_broken_unit_loses_nothing_else(tmp_path: pathlib.Path) -> None:
    maker = Maker("IFC4")
    unit = maker.add("IfcConversionBasedUnit", UnitType="LENGTHUNIT", Name="rod")
    maker.add("IfcMapConversion", maker.context, maker.add("IfcProjectedCRS", "EPSG:25832", MapUnit=unit), 1.0, 2.0, 3.0)
    maker.plain_wall(2000.0, 200.0, 800.0)
    building, (told,) = read(maker, tmp_path)
    assert (len(building.walls), building.map_place) == (1, None)
    assert "cannot be said again" in told.text


def test_a_map_conversion_without_a_number_is_none(tmp_path: pathlib.Path) -> None:
    maker = Maker("IFC4")
    maker.add("IfcMapConversion", maker.context, maker.add("IfcProjectedCRS", "EPSG:25832"))
    maker.plain_wall(2000.0, 200.0, 800.0)
    building, (told,) = read(maker, tmp_path)
    assert building.map_place is None
    assert "cannot be said again" in told.text


@pytest.mark.parametrize(("name", "factor", "of", "said"), [
    ("Zoll 'engl.' \U0001f4cf", 0.0254, None, "in"), ("MILLIMETRE", 0.3048, None, "ft"), ("", 30.48, "CENTI", "ft"),
    ("hand", 0.1016, None, "units of 101.6 mm"), ("foot", 1200 / 3937, None, "ft"),
])  # fmt: skip
def test_a_unit_is_its_size_and_not_its_name(name: str, factor: float, of: str | None, said: str, tmp_path: pathlib.Path) -> None:
    maker = Maker(unit=None)
    metre = maker.add("IfcSIUnit", None, "LENGTHUNIT", of, "METRE")
    maker.project.UnitsInContext.Units = [maker._conversion(name, factor, metre)]
    maker.plain_wall(20.0, 2.0, 8.0)
    building, _ = read(maker, tmp_path)
    assert building.unit == said
    assert building.walls[0].length == round(20 * factor * (0.01 if of else 1) * M)


def units(maker: Maker, *more: Callable[[Maker], Any]) -> None:
    assigned = maker.project.UnitsInContext
    assigned.Units = [*assigned.Units, *(one(maker) for one in more)]


def test_two_length_units_are_told_and_the_first_is_taken(plain: list[tuple[object, ...]], tmp_path: pathlib.Path) -> None:
    maker = Maker()
    units(maker, lambda m: m._conversion("foot", 0.3048, m.add("IfcSIUnit", None, "LENGTHUNIT", None, "METRE")))
    house(maker, "mm")
    building, findings = read(maker, tmp_path)
    assert drawn(building) == plain
    assert [(f.code, f.severity) for f in findings] == [("reading.two-units", "warning")]
    assert "mm and in ft" in findings[0].text


def test_a_length_unit_without_a_size_is_no_unit(plain: list[tuple[object, ...]], tmp_path: pathlib.Path) -> None:
    maker = Maker()
    exponents = maker.add("IfcDimensionalExponents", 1, 0, 0, 0, 0, 0, 0)
    assigned = maker.project.UnitsInContext
    assigned.Units = [maker.add("IfcContextDependentUnit", exponents, "LENGTHUNIT", "pace"), *assigned.Units]
    house(maker, "mm")
    assert drawn(read(maker, tmp_path)[0]) == plain
    assigned.Units = assigned.Units[:1]
    with pytest.raises(InputError, match="has no size"):
        ifc.read(maker.write(tmp_path))


def test_a_library_in_another_unit_is_told(plain: list[tuple[object, ...]], tmp_path: pathlib.Path) -> None:
    maker = Maker()
    metre = maker.add("IfcSIUnit", None, "LENGTHUNIT", None, "METRE")
    library = maker.root("IfcProjectLibrary", "Wall types", UnitsInContext=maker.add("IfcUnitAssignment", [metre]))
    maker.root("IfcRelDeclares", RelatingContext=maker.project, RelatedDefinitions=[library])
    house(maker, "mm")
    building, findings = read(maker, tmp_path)
    assert drawn(building) == plain
    assert [(f.code, f.severity) for f in findings] == [("reading.library-unit", "warning")]
    assert "Wall types" in findings[0].text

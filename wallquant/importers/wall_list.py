"""A wall list in YAML, for whoever has no model.

    unit: mm                      # of plain numbers; lengths such as 7-7/8 in may be written anywhere
    name: Garden workshop
    storeys:
      - {name: Ground, level: 0}
    walls:
      - name: W1
        storey: Ground
        from: [0, 0]              # ends of the centre line, in plan
        to: [6000, 0]
        thickness: 200
        bottom: 0                 # a level; without it, the storey's
        height: 2500              # or top: [[0, 2500], [3000, 4000], [6000, 2500]], stations and heights above the bottom
        openings:
          - {name: D1, at: 1000, width: 1010, sill: 0, height: 2010, filling: {kind: door, name: single leaf}}

``at`` is the station of the opening's nearer side, ``sill`` its height above the wall's bottom; ``depth`` makes it a niche.
The file is read strictly: unknown and repeated keys, lengths without a unit and openings that do not fit are errors with
their place.
"""

from __future__ import annotations

import pathlib
from collections.abc import Callable, Sequence
from dataclasses import replace
from fractions import Fraction
from math import hypot
from typing import TypeVar

from shapely.geometry import Polygon, box

from wallquant.building import Building, Filling, Opening, Point, Profile, Storey, Wall
from wallquant.findings import Finding
from wallquant.importers import InputError
from wallquant.importers.tops import highest
from wallquant.strictyaml import Document, YamlError, load_file, near
from wallquant.units import CM, FOOT, INCH, MM, M, Nm, mm_text, parse_length

suffixes = (".walls.yaml", ".yaml", ".yml")
"""File names that this importer reads."""
UNITS: dict[str, Nm] = {"mm": MM, "cm": CM, "m": M, "in": INCH, "ft": FOOT}
_KM: Nm = 1000 * M
_NM2_TO_M2 = 1e-18
_FARTHEST: Nm = 100_000 * _KM
_LONGEST: Nm = 10 * _KM
_HIGHEST: Nm = 200 * M
Path = tuple[str | int, ...]
T = TypeVar("T")


def read(path: pathlib.Path) -> tuple[Building, tuple[Finding, ...]]:
    """Read a wall list.

    Parameters
    ----------
    path : pathlib.Path
        A YAML file as described at the head of this module.

    Returns
    -------
    tuple
        The building (lengths in nanometres, volumes in m3) and no findings: what is wrong in a wall list is an error.

    Raises
    ------
    wallquant.importers.InputError
        At the first thing that is wrong: file, line, column, key path, and what to write.
    """
    try:
        return _List(load_file(path)).building(path.name), ()
    except YamlError as error:
        raise InputError(str(error)) from error


class _List:
    """Reads the values of one document; every error names its place."""

    def __init__(self, document: Document) -> None:
        self.document = document
        self.unit: Nm | None = None

    def building(self, name: str) -> Building:
        top = self.mapping((), self.document.data, ("walls",), ("unit", "name", "storeys", "walls"))
        unit = "mm"
        if "unit" in top:
            unit = self.text(("unit",), top["unit"])
            if unit not in UNITS:
                raise self.document.error(("unit",), f"'{unit}' is no unit of length; write {', '.join(UNITS)}")
            self.unit = UNITS[unit]
        storeys = self.each(("storeys",), top.get("storeys", []), self.storey)
        self.unique(("storeys",), [s.name for s in storeys])
        levels = {s.name: s.level for s in storeys}
        walls = self.each(("walls",), top["walls"], lambda at, value: self.wall(at, value, levels))
        if not walls:
            raise self.document.error(("walls",), "there is no wall; list at least one")
        self.unique(("walls",), [w.guid for w in walls])
        origin = _origin(walls)
        return Building(
            walls=tuple(sorted((_moved(w, origin) for w in walls), key=lambda w: w.guid)), origin=origin, unit=unit,
            storeys=tuple(sorted(storeys, key=lambda s: (s.level, s.name))), sources={"model": name},
            name=self.text(("name",), top["name"]) if "name" in top else "",
        )  # fmt: skip

    def storey(self, at: Path, value: object) -> Storey:
        found = self.mapping(at, value, ("name", "level"), ("name", "level"))
        name = self.text((*at, "name"), found["name"])
        return Storey(guid=name, name=name, level=self.length((*at, "level"), found["level"]))

    def wall(self, at: Path, value: object, levels: dict[str, Nm]) -> Wall:
        known = ("name", "storey", "from", "to", "thickness", "bottom", "height", "top", "openings", "bearing", "material")
        found = self.mapping(at, value, ("name", "from", "to", "thickness"), known)
        name = self.text((*at, "name"), found["name"])
        storey = self.text((*at, "storey"), found["storey"]) if "storey" in found else ""
        if storey and storey not in levels:
            raise self.document.error((*at, "storey"), f"'{storey}' is no storey of this list{near(storey, levels)}")
        start, end = (self.point((*at, key), found[key]) for key in ("from", "to"))
        thickness = self.positive((*at, "thickness"), found["thickness"])
        if "bottom" not in found and not storey:
            raise self.document.error(at, "the level of the wall's bottom is not known; add bottom, or its storey")
        bottom = self.length((*at, "bottom"), found["bottom"]) if "bottom" in found else levels[storey]
        bare = Wall(
            guid=name,
            name=name,
            storey=storey,
            start=start,
            end=end,
            thickness=thickness,
            bottom=bottom,
            top=(),
            footprint=(),
            drawn_m3=0.0,
        )
        if bare.length < MM:
            raise self.document.error((*at, "to"), "the wall has no length; 'from' and 'to' are the same point")
        if bare.length > _LONGEST:
            raise self.document.error((*at, "to"), "the wall is longer than 10 km, which no wall is; check its unit")
        top = self.top(at, found, bare.length)
        if max(z for _, z in top) > _HIGHEST:
            raise self.document.error(
                (*at, "height" if "height" in found else "top"), "the wall is higher than 200 m, which no wall is; check its unit"
            )
        shape = Polygon([(0, 0), (bare.length, 0), *top[::-1]])
        openings = self.each((*at, "openings"), found.get("openings", []), lambda where, one: self.opening(where, one, bare, shape, top))
        self.apart((*at, "openings"), openings)
        if not storey:
            below = [(level, one) for one, level in levels.items() if level <= bottom]
            storey = max(below)[1] if below else ""
        bearing = found.get("bearing")
        if bearing is not None and not isinstance(bearing, bool):
            raise self.document.error((*at, "bearing"), "is to be true or false")
        return Wall(
            guid=name, name=name, storey=storey, start=start, end=end, thickness=thickness, bottom=bottom,
            top=tuple((s, bottom + z) for s, z in top), footprint=_outline(start, end, thickness),
            drawn_m3=shape.area * thickness * _NM2_TO_M2 * 1e-9, bearing=bearing,
            openings=tuple(sorted(openings, key=lambda o: (o.start, o.sill))),
            material=self.text((*at, "material"), found["material"]) if "material" in found else "",
        )  # fmt: skip

    def top(self, at: Path, found: dict[str, object], length: Nm) -> Profile:
        """Stations and heights above the bottom."""
        if ("height" in found) == ("top" in found):
            raise self.document.error(at, "give the wall either a height or a top profile")
        if "height" in found:
            height = self.positive((*at, "height"), found["height"])
            return ((0, height), (length, height))
        where = (*at, "top")
        points = self.each(where, found["top"], self.point)
        if len(points) < 2 or abs(points[0][0]) > MM or abs(points[-1][0] - length) > MM:
            problem = f"the top runs from station 0 to the wall's length, {mm_text(length)} mm; write at least these two points"
            raise self.document.error(where, problem)
        points[0], points[-1] = (0, points[0][1]), (length, points[-1][1])
        for i, (station, height) in enumerate(points):
            if height < 0 or (i and station < points[i - 1][0]):
                raise self.document.error((*where, i), "stations of the top must rise, and heights must not be below zero")
        if max(z for _, z in points) <= 0:
            raise self.document.error(where, "the wall has no height")
        return tuple(points)

    def opening(self, at: Path, value: object, wall: Wall, shape: Polygon, top: Profile) -> Opening:
        found = self.mapping(at, value, ("at", "width", "sill", "height"), ("name", "at", "width", "sill", "height", "depth", "filling"))
        name = self.text((*at, "name"), found["name"]) if "name" in found else f"opening {int(at[-1]) + 1}"
        start, sill = (self.length((*at, key), found[key]) for key in ("at", "sill"))
        end, head = start + self.positive((*at, "width"), found["width"]), sill + self.positive((*at, "height"), found["height"])
        if start < 0 or end > wall.length:
            raise self.document.error(at, f"the opening does not lie within the wall's length of {mm_text(wall.length)} mm")
        hole = box(start, sill, end, head)
        inside = hole.intersection(shape).area
        peak = round(highest(top, start, end))
        if sill < 0 or head > peak or inside <= 0:
            raise self.document.error(at, f"the opening does not lie between the wall's bottom and its top, {mm_text(peak)} mm above it")
        depth = self.positive((*at, "depth"), found["depth"]) if "depth" in found else wall.thickness
        through = depth >= wall.thickness
        plain = through and abs(inside - hole.area) <= 1e-9 * hole.area
        return Opening(
            key=f"{wall.guid}/{name}", start=start, end=end, sill=wall.bottom + sill, head=wall.bottom + head, through=through, name=name,
            filling=self.filling((*at, "filling"), found["filling"], wall, name) if "filling" in found else None,
            volume_m3=None if plain else inside * min(depth, wall.thickness) * _NM2_TO_M2 * 1e-9,
        )  # fmt: skip

    def filling(self, at: Path, value: object, wall: Wall, opening: str) -> Filling:
        found = self.mapping(at, value, ("kind",), ("kind", "name", "width", "height"))
        return Filling(
            guid=f"{wall.guid}/{opening}/filling", kind=self.text((*at, "kind"), found["kind"]),
            name=self.text((*at, "name"), found["name"]) if "name" in found else "",
            width=self.positive((*at, "width"), found["width"]) if "width" in found else None,
            height=self.positive((*at, "height"), found["height"]) if "height" in found else None,
        )  # fmt: skip

    def apart(self, at: Path, openings: list[Opening]) -> None:
        self.unique(at, [o.key for o in openings])
        for i, one in enumerate(openings):
            for other in openings[:i]:
                if one.start < other.end and other.start < one.end and one.sill < other.head and other.sill < one.head:
                    raise self.document.error((*at, i), f"the opening overlaps '{other.name}'; move it, or make one of the two")

    def mapping(self, at: Path, value: object, needed: Sequence[str], known: Sequence[str]) -> dict[str, object]:
        if not isinstance(value, dict):
            raise self.document.error(at, "is to be a mapping of keys and values")
        for key in value:
            if key not in known:
                raise self.document.error((*at, key), f"is no known key{near(key, known)}", at_key=True)
        for key in needed:
            if key not in value:
                raise self.document.error((*at, key), "is missing; add it")
        return {key: one for key, one in value.items() if one is not None or key in needed}

    def each(self, at: Path, value: object, read_one: Callable[[Path, object], T]) -> list[T]:
        if not isinstance(value, list):
            raise self.document.error(at, "is to be a list")
        return [read_one((*at, i), one) for i, one in enumerate(value)]

    def text(self, at: Path, value: object) -> str:
        if not isinstance(value, str) or not value.strip():
            raise self.document.error(at, "is to be text; write it in quotes")
        return value

    def point(self, at: Path, value: object) -> Point:
        if not isinstance(value, list) or len(value) != 2:
            raise self.document.error(at, "is to be two lengths, like [0, 6000]")
        return self.length((*at, 0), value[0]), self.length((*at, 1), value[1])

    def length(self, at: Path, value: object) -> Nm:
        if isinstance(value, str):
            try:
                found = parse_length(value)
            except ValueError as error:
                raise self.document.error(at, str(error)) from error
        elif isinstance(value, (int, float)) and not isinstance(value, bool):
            if self.unit is None:
                raise self.document.error(at, f"{value} has no unit; write '{value} mm', or 'unit: mm' at the head of the file")
            found = round(Fraction(str(value)) * self.unit)  # as written, not as the float nearest to it
        else:
            raise self.document.error(at, "is to be a length: a number, or a number with its unit")
        if abs(found) > _FARTHEST:
            raise self.document.error(at, "is farther than any building reaches; check its unit")
        return found

    def positive(self, at: Path, value: object) -> Nm:
        found = self.length(at, value)
        if found < MM:
            raise self.document.error(at, "is to be at least 1 mm")
        return found

    def unique(self, at: Path, names: list[str]) -> None:
        for i, name in enumerate(names):
            if name in names[:i]:
                raise self.document.error((*at, i), f"'{name}' is used twice here; give each its own name")


def _outline(start: Point, end: Point, thickness: Nm) -> tuple[Point, ...]:
    (ax, ay), (bx, by) = start, end
    size = hypot(bx - ax, by - ay)
    x, y = -(by - ay) / size * thickness / 2, (bx - ax) / size * thickness / 2
    return tuple((round(px), round(py)) for px, py in ((ax - x, ay - y), (bx - x, by - y), (bx + x, by + y), (ax + x, ay + y)))


def _origin(walls: list[Wall]) -> Point:
    every = [p for w in walls for p in w.footprint]
    middle = ((min(v[i] for v in every) + max(v[i] for v in every)) / 2 for i in (0, 1))
    x, y = (round(m / _KM) * _KM for m in middle)
    return x, y


def _moved(wall: Wall, origin: Point) -> Wall:
    def near_by(point: Point) -> Point:
        return point[0] - origin[0], point[1] - origin[1]

    return replace(wall, start=near_by(wall.start), end=near_by(wall.end), footprint=tuple(near_by(p) for p in wall.footprint))

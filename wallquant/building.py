"""The building as read: storeys, walls, openings, and what was set aside.  Nothing here knows where it was read from.

Lengths are nanometres.  Plan coordinates are relative to `Building.origin`; levels are the model's own levels.
A wall's stations run along its centre line from `Wall.start` (0) to `Wall.end`; *left* is left of that direction.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from math import hypot

from wallquant.units import Nm

Point = tuple[Nm, Nm]
Profile = tuple[tuple[Nm, Nm], ...]
"""(station, level) pairs by rising station; two pairs of one station make a step."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Storey:
    """A storey of the model: its name and the level of its floor."""

    guid: str
    name: str
    level: Nm


@dataclass(frozen=True, kw_only=True, slots=True)
class Filling:
    """The door or window in an opening; sizes as the model states them, None where it does not."""

    guid: str
    kind: str
    name: str = ""
    width: Nm | None = None
    height: Nm | None = None


@dataclass(frozen=True, kw_only=True, slots=True)
class Opening:
    """A rectangular hole through a wall: stations of the wall, model levels.

    `start` < `end` and `sill` < `head`; the hole lies inside the wall's length and does not reach below its bottom or
    above its top.  `key` is unique in the building: the opening's GlobalId, with ``#2`` and so on for further holes of one
    opening.  `through` is False for a niche.  `volume_m3` is the void within the drawn body where it is not the plain
    box width x height x thickness (None where it is).
    """

    key: str
    start: Nm
    end: Nm
    sill: Nm
    head: Nm
    through: bool = True
    filling: Filling | None = None
    name: str = ""
    volume_m3: float | None = None
    in_body: bool = False
    """Whether the drawn body itself has the hole, so that it is no element of the model."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Wall:
    """One straight wall of the model.

    Attributes
    ----------
    guid : str
        GlobalId, or the wall list's name; where one wall of the model is read as several straight walls (the chords of a curved
        wall, the leaves of a cavity wall), a key of its own for each.
    element : str
        GlobalId of the model's wall, where it is read as several; '' otherwise.
    start, end : (int, int)
        Ends of the masonry's centre line: the middle of each end face, mitred ends at their mean station.
    thickness : int
        As drawn, masonry only.
    bottom : int
        Level of its underside.
    top : Profile
        From station 0 to `length`.
    footprint : tuple of Point
        Outline in plan of the drawn body, for pictures.
    openings : tuple of Opening
        By start.
    drawn_m3 : float
        Volume of the drawn body, all layers, clips applied, holes filled.
    finishes_m3 : float
        The part of `drawn_m3` less holes that belongs to layers that are not the masonry, cavities included.
    finish_voids_m3 : float
        What the openings take out of these layers; an opening's own `volume_m3` is that of the masonry alone.
    cover : (int, int)
        What is drawn beside the masonry, on its right and on its left: other walls end at that face, not at the masonry.
    set_aside_m3, set_aside_m2 : float
        Parts of the body that are read but cannot be laid, with `reasons`.
    batter : tuple of (int, int, int)
        Where its faces lean or step back: levels, and how far the drawn body reaches there beyond the masonry's right and left face;
        straight between levels, by rising level.  `thickness` is then that of the top, and all beyond is in `set_aside_m3`.
    foot : int or None
        Level at which the wall begins that this is a step of; None where it is none.
    bearing : bool or None
        Whether the model calls it load-bearing; None where it does not say.
    """

    guid: str
    name: str
    storey: str
    start: Point
    end: Point
    thickness: Nm
    bottom: Nm
    top: Profile
    footprint: tuple[Point, ...]
    drawn_m3: float
    openings: tuple[Opening, ...] = ()
    finishes_m3: float = 0.0
    finish_voids_m3: float = 0.0
    set_aside_m3: float = 0.0
    set_aside_m2: float = 0.0
    reasons: tuple[str, ...] = ()
    bearing: bool | None = None
    material: str = ""
    joins: tuple[str, ...] = ()
    """GlobalIds of the walls that the model says it meets: an annotation, never geometry."""
    element: str = ""
    cover: tuple[Nm, Nm] = (0, 0)
    batter: tuple[tuple[Nm, Nm, Nm], ...] = ()
    foot: Nm | None = None

    @property
    def length(self) -> Nm:
        """Distance between the ends, to the nearest nanometre."""
        return round(hypot(self.end[0] - self.start[0], self.end[1] - self.start[1]))


@dataclass(frozen=True, kw_only=True, slots=True)
class SetAside:
    """A wall of the model that is not laid at all, and why.  Area and volume as well as they are known."""

    guid: str
    name: str
    storey: str
    reason: str
    area_m2: float = 0.0
    volume_m3: float = 0.0
    openings_m3: float = 0.0
    finishes_m3: float = 0.0
    """The part of `volume_m3` less openings that belongs to layers that are not the masonry."""
    openings_m2: float = 0.0
    thickness: Nm = 0
    footprint: tuple[Point, ...] = ()
    openings: tuple[str, ...] = ()
    """Keys of the openings that go with it."""
    element: str = ""
    """As in `Wall`: the model's wall that this is a part of."""


@dataclass(frozen=True, kw_only=True, slots=True)
class MapPlace:
    """Where the model's coordinates lie on a map, as the model says: eastings = `eastings` + `scale` (x cos a - y sin a), and so on.

    Attributes
    ----------
    system : tuple of (str or None)
        The map's coordinate system: name, description, geodetic datum, vertical datum, projection, zone.
    eastings, northings, height : float
        Of the model's origin, in units of the map.
    way : (float, float) or None
        Eastings and northings of the model's x axis; None where it is the map's.
    scale : float or None
        Units of the map in a millimetre of the model; None where the model leaves it to the reader.
    unit : (str, float)
        The map's unit and its millimetres.
    """

    system: tuple[str | None, ...]
    eastings: float
    northings: float
    height: float
    way: tuple[float, float] | None
    scale: float | None
    unit: tuple[str, float]


@dataclass(frozen=True, kw_only=True, slots=True)
class Building:
    """All that a plan needs of a model.

    `origin` is the model's plan point that is (0, 0) here: the middle of all walls, rounded to whole kilometres.
    `unit` is the model's length unit as people write it: ``mm``, ``m``, ``in``, ``ft`` ...
    `map_place` says where the model's own plan coordinates, `origin` not taken off, lie on a map.
    """

    walls: tuple[Wall, ...]
    set_aside: tuple[SetAside, ...] = ()
    storeys: tuple[Storey, ...] = ()
    origin: Point = (0, 0)
    name: str = ""
    ifc_schema: str = ""
    unit: str = "mm"
    project_guid: str = ""
    sources: dict[str, str] = field(default_factory=dict)
    map_place: MapPlace | None = None


def around(building: Building, origin: Point) -> Building:
    """Return the building with its plan coordinates relative to another origin."""
    x, y = building.origin[0] - origin[0], building.origin[1] - origin[1]
    if not (x or y):
        return building

    def to(point: Point) -> Point:
        return point[0] + x, point[1] + y

    walls = (replace(w, start=to(w.start), end=to(w.end), footprint=tuple(map(to, w.footprint))) for w in building.walls)
    aside = (replace(s, footprint=tuple(map(to, s.footprint))) for s in building.set_aside)
    return replace(building, walls=tuple(walls), set_aside=tuple(aside), origin=origin)


def element_keys(walls: Iterable[Wall], aside: Iterable[SetAside]) -> dict[str, str]:
    """Return the GlobalId of the model's wall by the key of each wall that is read, or set aside, as a part of it."""
    return {w.guid: w.element for w in walls if w.element} | {s.guid: s.element for s in aside if s.element}

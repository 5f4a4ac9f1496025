"""Places for pallets on a storey's slab: off its edge, out of the work's way, near the wall that they are for.

The model has no slab, so its edge is taken as the outside of the walls where these enclose rooms; around the lowest storey, and where
walls enclose nothing, the ground outside serves too.  Places are tried on a grid, the pallet along the longest wall or across it; one
is free again, as it is, when what stood there is used up.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from math import atan2, degrees, hypot
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from wallquant.building import SetAside, Wall
from wallquant.quantities.site import Ground
from wallquant.units import MM

GRID = 250.0
"""Millimetres between places that are tried, where a storey is not too large for it."""
MOST = 8_000
"""So many places are tried on a storey; the grid is wider on larger ones."""
BESIDE = 300.0
"""Millimetres between two pallets, so that units can be taken off."""
ENCLOSED = 0.05
"""Least part of a storey's outline that is rooms, for its walls to tell the slab's edge."""
NEAREST = 1000
"""So many free places nearest to the work are looked at."""
OUTSIDE = -1
_TOUCHES = 60.0

Floats = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True, slots=True)
class Spot:
    """A place, in millimetres: the pallet's middle and the direction of its length; clear distances, `off_edge` None outside."""

    x: float
    y: float
    angle: float
    off_edge: float | None
    off_wall: float


@dataclass(kw_only=True)
class _Floor:
    """Places of a storey: `room` is the number of the room each lies in, `busy` the hour until which it is taken."""

    walls: dict[str, Any]
    outline: Any
    rooms: list[Any]
    points: Floats
    shapes: Any
    """The points as geometry."""
    angle: Floats
    room: NDArray[np.int64]
    busy: Floats
    bounds: dict[str, list[int]] = field(default_factory=dict)

    def rooms_of(self, wall: str) -> list[int]:
        """Return the numbers of the rooms that a wall bounds."""
        if wall not in self.bounds:
            self.bounds[wall] = [n for n, room in enumerate(self.rooms) if room.distance(self.walls[wall]) < _TOUCHES]
        return self.bounds[wall]


@dataclass(frozen=True, kw_only=True)
class Storeys:
    """The floors of a building, with what stands on them so far."""

    floors: dict[str, _Floor]
    ground: Ground

    @classmethod
    def of(cls, drawn: Iterable[Wall | SetAside], ground: Ground) -> Storeys:
        """Return the empty floors.

        Parameters
        ----------
        drawn : iterable of Wall and SetAside
            All that stands on the floors; walls by their storeys.
        ground : Ground
        """
        by: dict[str, list[Wall | SetAside]] = {}
        for one in drawn:
            if len(one.footprint) > 2:
                by.setdefault(one.storey, []).append(one)
        levels = {s: min((w.bottom for w in walls if isinstance(w, Wall)), default=0) for s, walls in by.items()}
        lowest = min(levels.values(), default=0)
        return cls(floors={s: _floor(by[s], ground, earth=levels[s] == lowest) for s in sorted(by)}, ground=ground)

    def find(self, storey: str, wall: str, at: tuple[float, float], begin_h: float, end_h: float) -> Spot | None:
        """Take the free place nearest to `at`, from one hour to another; None where there is none.

        Places within reach in a room that the wall bounds go first, then those within reach outside, then all others.
        """
        floor = self.floors.get(storey)
        if floor is None or wall not in floor.walls or not len(floor.points):
            return None
        free = np.flatnonzero(floor.busy <= begin_h)
        if not len(free):
            return None
        far = np.hypot(floor.points[free, 0] - at[0], floor.points[free, 1] - at[1]).round(3)
        if len(free) > NEAREST:
            some = np.argpartition(far, NEAREST)[:NEAREST]
            free, far = free[np.sort(some)], far[np.sort(some)]
        off = shapely.distance(floor.walls[wall], floor.shapes[free]) - self.ground.pallet_width / MM / 2
        close, beside = off <= self.ground.reach / MM, np.isin(floor.room[free], floor.rooms_of(wall))
        picked = next(some for some in (close & beside, close & (floor.room[free] == OUTSIDE), close, off > -1.0, far >= 0) if some.any())
        n = int(free[np.argmin(np.where(picked, far, np.inf))])
        x, y = (float(v) for v in floor.points[n])
        angle, clear = float(floor.angle[n]), BESIDE + max(self.ground.pallet_length, self.ground.pallet_width) / MM
        taken = np.hypot(floor.points[:, 0] - x, floor.points[:, 1] - y) < clear
        floor.busy[taken] = np.inf  # later pallets take the same place or one beside it, never half of each
        floor.busy[n] = end_h
        box = _boxes(floor.points[n : n + 1], floor.angle[n : n + 1], self.ground, 0.0)[0]
        edge = None if floor.room[n] == OUTSIDE else float(floor.outline.boundary.distance(box))
        return Spot(x=x, y=y, angle=angle, off_edge=edge, off_wall=float(floor.walls[wall].distance(box)))


def _floor(walls: list[Wall | SetAside], ground: Ground, *, earth: bool) -> _Floor:
    shapes = {w.guid: shapely.Polygon([(x / MM, y / MM) for x, y in w.footprint]).buffer(0) for w in walls}
    body = shapely.union_all(list(shapes.values())).buffer(1.0)  # walls drawn a hair apart enclose a room all the same
    filled = shapely.union_all([shapely.Polygon(p.exterior) for p in shapely.get_parts(body)])
    rooms = [p for p in shapely.get_parts(filled.difference(body)) if p.area > 0]
    work = body.buffer(ground.strip / MM, quad_segs=4)
    inside = filled.buffer(-ground.off_edge / MM).difference(work)
    enclosed = sum(r.area for r in rooms) > ENCLOSED * filled.area
    width = (ground.pallet_length + ground.pallet_width) / MM
    round_it = filled.buffer((ground.strip + ground.reach) / MM + width, quad_segs=4).difference(filled).difference(work)
    free = shapely.union_all([inside, round_it] if earth or not enclosed else [inside])
    points, angle = _places(free, _angle(walls), ground)
    room = np.full(len(points), OUTSIDE, np.int64)
    for n, one in enumerate(rooms):
        shapely.prepare(one)
        room[shapely.contains_xy(one, points[:, 0], points[:, 1])] = n
    return _Floor(
        walls=shapes, outline=filled, rooms=rooms, points=points, shapes=shapely.points(points), angle=angle, room=room,
        busy=np.full(len(points), -1.0),
    )  # fmt: skip


def _angle(walls: Sequence[Wall | SetAside]) -> float:
    """Direction of the longest side of all footprints, 0 to 180 degrees."""
    sides = [
        (u - x, v - y)
        for wall in walls
        for (x, y), (u, v) in zip(wall.footprint, [*wall.footprint[1:], wall.footprint[0]], strict=True)
    ]  # fmt: skip
    dx, dy = max(sides, key=lambda side: (round(hypot(*side) / MM), abs(side[0]), side))
    return round(degrees(atan2(dy, dx)), 3) % 180.0


def _places(free: Any, angle: float, ground: Ground) -> tuple[Floats, Floats]:
    """Return the middles of pallets that lie wholly in what is free, and their directions."""
    if free.is_empty:
        return np.zeros((0, 2)), np.zeros(0)
    x0, y0, x1, y1 = free.bounds
    step = max(GRID, ((x1 - x0) * (y1 - y0) / MOST) ** 0.5)
    grid = np.stack(np.meshgrid(np.arange(x0, x1 + step / 2, step), np.arange(y0, y1 + step / 2, step)), axis=-1).reshape(-1, 2)
    shapely.prepare(free)
    grid = grid[shapely.intersects_xy(free, grid[:, 0], grid[:, 1])]
    along, across = np.full(len(grid), angle), np.full(len(grid), (angle + 90.0) % 180.0)
    points, angles = np.concatenate([grid, grid]), np.concatenate([along, across])
    fits = shapely.contains(free, _boxes(points, angles, ground, 1.0))
    return points[fits], angles[fits]


def _boxes(points: Floats, angles: Floats, ground: Ground, less: float) -> Any:
    """Return the outlines of pallets; `less` millimetres smaller all round."""
    half = np.array([ground.pallet_length / MM / 2 - less, ground.pallet_width / MM / 2 - less])
    corners = np.array([(1, 1), (-1, 1), (-1, -1), (1, -1)]) * half
    c, s = np.cos(np.radians(angles))[:, None], np.sin(np.radians(angles))[:, None]
    along, across = corners[None, :, 0], corners[None, :, 1]
    rings = np.stack([along * c - across * s, along * s + across * c], axis=-1) + points[:, None, :]
    return shapely.polygons(rings)

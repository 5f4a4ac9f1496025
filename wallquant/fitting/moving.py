"""A building with things moved: walls, their ends, openings, levels and thickness."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from itertools import pairwise

from wallquant.building import Building, Opening, Point, Wall
from wallquant.fitting.things import Terms, Things
from wallquant.layout import Part, Run, Work
from wallquant.units import Nm


@dataclass(frozen=True, kw_only=True, slots=True)
class Shift:
    """How a wall moves: both ends of its centre line in plan, and the jambs of its openings along it, by key."""

    start: tuple[float, float]
    end: tuple[float, float]
    jambs: Mapping[str, tuple[Nm, Nm]]


@dataclass(frozen=True, kw_only=True, slots=True)
class Level:
    """A level that moves by `by`: the sill or head of openings (`names` are keys), or the top of walls, or their thickness."""

    what: str
    names: tuple[str, ...]
    level: Nm
    by: Nm


def moved(building: Building, work: Work, things: Things, moves: Mapping[int, Nm]) -> Building:
    """Return the building as it is after things have moved along and across their runs."""
    shifts = dict(_shifts(work, things, moves))
    return replace(building, walls=tuple(_wall(w, shifts[w.guid]) if w.guid in shifts else w for w in building.walls))


def levelled(building: Building, levels: tuple[Level, ...]) -> Building:
    """Return the building with other sills, heads, tops and thicknesses."""
    walls = list(building.walls)
    for one in levels:
        walls = [_levelled(w, one) for w in walls]
    return replace(building, walls=tuple(walls))


def _shifts(work: Work, things: Things, moves: Mapping[int, Nm]) -> Iterator[tuple[str, Shift]]:
    for name, run in work.runs.items():
        if name in things.bound:
            continue
        aside = _sum(things.one("line", name), moves)
        for part in run.parts:
            shift = _of_part(run, part, aside, things, moves)
            if shift is not None:
                yield part.wall, shift


def _of_part(run: Run, part: Part, aside: Nm, things: Things, moves: Mapping[int, Nm]) -> Shift | None:
    lo, hi = (_sum(things.end_of(run, s), moves) for s in (part.start, part.end))
    own = [o.key for o in run.openings if o.wall == part.wall]
    jambs = {key: (_sum(things.jamb(key, far=False), moves), _sum(things.jamb(key, far=True), moves)) for key in own}
    if not (aside or lo or hi or any(any(pair) for pair in jambs.values())):
        return None
    (u, v), first, last = run.direction, (hi if part.reverse else lo), (lo if part.reverse else hi)
    sign = -1 if part.reverse else 1
    turned = {key: (sign * (b if part.reverse else a) - sign * first, sign * (a if part.reverse else b) - sign * first)
              for key, (a, b) in jambs.items()}  # fmt: skip
    start, end = ((u * along - v * aside, v * along + u * aside) for along in (first, last))
    return Shift(start=start, end=end, jambs=turned)


def _sum(terms: Terms, moves: Mapping[int, Nm]) -> Nm:
    return sum(sign * moves.get(thing, 0) for thing, sign in terms)


def _wall(wall: Wall, shift: Shift) -> Wall:
    start, end = _to(wall.start, shift.start), _to(wall.end, shift.end)
    made = replace(wall, start=start, end=end)
    longer = made.length - wall.length
    top = tuple((made.length if s == wall.length else s, z) for s, z in wall.top)
    openings = tuple(_opening(o, *shift.jambs.get(o.key, (0, 0))) for o in wall.openings)
    x, y = ((a + b) / 2 for a, b in zip(shift.start, shift.end, strict=True))
    outline = tuple(_to(p, (x, y)) for p in wall.footprint)
    return _scaled(replace(made, top=top, openings=openings, footprint=outline), 1 + longer / wall.length)


def _to(point: Point, by: tuple[float, float]) -> Point:
    return round(point[0] + by[0]), round(point[1] + by[1])


def _opening(o: Opening, first: Nm, far: Nm) -> Opening:
    made = replace(o, start=o.start + first, end=o.end + far)
    if o.volume_m3 is None or far == first:
        return made
    return replace(made, volume_m3=o.volume_m3 * (made.end - made.start) / (o.end - o.start))


def _levelled(wall: Wall, one: Level) -> Wall:
    if one.what in ("sill", "head"):
        return replace(wall, openings=tuple(_raised(o, one) if o.key in one.names else o for o in wall.openings))
    if wall.guid not in one.names:
        return wall
    if one.what == "thickness":
        made = replace(wall, thickness=wall.thickness + one.by)
        return _scaled(made, made.thickness / wall.thickness)
    top = tuple((s, z + one.by if z == one.level else z) for s, z in wall.top)
    return _scaled(replace(wall, top=top), _face(top, wall.bottom) / _face(wall.top, wall.bottom))


def _raised(o: Opening, one: Level) -> Opening:
    made = replace(o, sill=o.sill + one.by) if one.what == "sill" else replace(o, head=o.head + one.by)
    if o.volume_m3 is None:
        return made
    return replace(made, volume_m3=o.volume_m3 * (made.head - made.sill) / (o.head - o.sill))


def _face(top: tuple[tuple[Nm, Nm], ...], bottom: Nm) -> float:
    return sum((b[0] - a[0]) * (a[1] + b[1] - 2 * bottom) / 2 for a, b in pairwise(top))


def _scaled(wall: Wall, factor: float) -> Wall:
    """Let the drawn volumes go with a size that changes."""
    return replace(wall, drawn_m3=wall.drawn_m3 * factor, finishes_m3=wall.finishes_m3 * factor)

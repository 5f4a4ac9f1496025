"""Heights and thicknesses that miss: sills, heads and tops that go to the nearest course, walls to the nearest unit."""

from __future__ import annotations

from collections.abc import Container, Iterator, Sequence
from itertools import pairwise

from wallquant.building import Building, Opening, Wall
from wallquant.catalogue import Catalogue
from wallquant.fitting.modularity import Size, What
from wallquant.fitting.moving import Level
from wallquant.masonry import Face
from wallquant.units import MM, Nm

STOREY: Nm = 1_000 * MM
"""A wall that begins less than this above a top stands on it, a slab between them (drawing habit, project input)."""

FLOOR: Nm = 50 * MM
"""A sill that is nearer than this to a floor is that of a door, or of a window that reaches to the floor (drawing habit, project input)."""

SHARE = 4
"""A wall that would change by more than its thickness divided by this would be another wall (project input)."""


def thicknesses(building: Building, catalogue: Catalogue, face: Face | None, most: Nm, hold: Container[str] = ()) -> tuple[Level, ...]:
    """Return for walls that no unit fits the nearest thickness of the catalogue, where it is at most `most` and a `SHARE` away.

    Walls of `hold` stay as drawn.
    """
    by: dict[tuple[Nm, Nm], list[str]] = {}
    made = {t for t in catalogue.thicknesses.values() if catalogue.standard(t, face) is not None}
    for wall in building.walls:
        if wall.guid not in hold and made and catalogue.standard(wall.thickness, face) is None:
            nearest = min(made, key=lambda t: (abs(t - wall.thickness), t))
            if abs(nearest - wall.thickness) <= min(most, wall.thickness // SHARE):
                by.setdefault((wall.thickness, nearest - wall.thickness), []).append(wall.guid)
    return tuple(Level(what="thickness", names=tuple(sorted(names)), level=t, by=shift) for (t, shift), names in sorted(by.items()))


def levels(
    found: Sequence[Size], building: Building, held: Container[str], most: Nm, worth: int, hold: Container[str] = ()
) -> tuple[Level, ...]:
    """Return the sills, heads and tops that go to the nearest course, those of one level and storey together.

    Parameters
    ----------
    found : sequence of Size
        Of the plan as it is.
    building : Building
    held : container of str
        Openings whose levels the job chooses.
    most : int
        How far a level may move, nanometres.
    worth : int
        Cut pieces that a move has to be worth.
    hold : container of str
        Walls that stay as drawn, with their openings.
    """
    by: dict[tuple[str, str, Nm, Nm], list[Size]] = {}
    floors = [one.level for one in building.storeys]
    holes = {o.key: (w, o) for w in building.walls for o in w.openings}
    for s in found:
        if s.met or s.what not in ("sill", "head", "top") or s.place.opening in held:
            continue
        if s.what != "top" and (s.place.opening not in holes or holes[s.place.opening][0].guid in hold):
            continue
        level = s.place.level if s.what == "top" else getattr(holes[s.place.opening][1], s.what)
        if level is None:
            continue
        for shift in _nearest(s, most):
            if s.what == "top" or _stays(*holes[s.place.opening], s.what, shift, floors):
                by.setdefault((s.what, s.place.storey, level, shift), []).append(s)
                break
    return tuple(_grouped(by, building, worth, hold))


def _grouped(by: dict[tuple[str, str, Nm, Nm], list[Size]], building: Building, worth: int, hold: Container[str]) -> Iterator[Level]:
    for (what, storey, level, shift), several in sorted(by.items()):
        if sum(s.cuts for s in several) < worth:
            continue
        names = {s.place.opening for s in several}
        if what == "top":
            walls = [w for w in building.walls if w.storey == storey and any(z == level for _, z in w.top)]
            names = {w.guid for w in walls}
            over = any(o.head > level + shift for w in walls for o in w.openings)
            if over or any(name in hold for name in names) or _carries(walls, level, building) or _sloped(storey, building):
                continue
        yield Level(what=what, names=tuple(sorted(names)), level=level, by=shift)


def _nearest(s: Size, most: Nm) -> list[Nm]:
    shifts = (size - s.measured for size in (s.below, s.above) if size is not None)
    return sorted((shift for shift in shifts if shift and abs(shift) <= most), key=lambda shift: (abs(shift), shift))


def _stays(wall: Wall, o: Opening, what: What, shift: Nm, floors: Sequence[Nm]) -> bool:
    """Whether an opening stays one, within its wall; what begins at a floor goes on beginning there."""
    if what == "sill" and any(abs(o.sill - floor) <= FLOOR for floor in floors):
        return False
    sill, head = o.sill + (what == "sill") * shift, o.head + (what == "head") * shift
    return sill + MM < head and sill >= wall.bottom and head <= max(z for _, z in wall.top)


def _sloped(storey: str, building: Building) -> bool:
    """Whether a roof slopes over a storey, which would no longer meet a wall that is lower or higher."""
    return any(a < b and p != q for w in building.walls if w.storey == storey for (a, p), (b, q) in pairwise(w.top))


def _carries(walls: Sequence[Wall], level: Nm, building: Building) -> bool:
    """Whether other walls stand on these, so that the storey's height would change."""
    own = {w.guid for w in walls}
    return any(w.guid not in own and level - MM <= w.bottom <= level + STOREY for w in building.walls)

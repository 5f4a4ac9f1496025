"""Doors and windows against the openings they stand in: sizes that differ, and those that have no opening."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from math import hypot

import numpy as np

from wallquant.building import Opening, Point, Wall
from wallquant.findings import Finding, Place
from wallquant.importers.ifc.frames import Entity, Unreadable
from wallquant.importers.ifc.walls import MALFORMED, WallReader
from wallquant.units import MM, Nm, mm_text

SIZE: Nm = 5 * MM
"""A door or window whose overall size differs from its opening by more is told."""
BESIDE: Nm = 100 * MM
"""A leaf is in a wall where its place lies no further than this outside the wall's faces."""
NAMED = 5
"""Names in one sentence."""


def about_sizes(walls: Iterable[Wall]) -> list[Finding]:
    """Tell which openings are not as large as the door or window in them, once a cause.

    Parameters
    ----------
    walls : iterable of Wall
    """
    found: dict[str, list[tuple[Wall, Opening]]] = {}
    for wall in walls:
        for one in wall.openings:
            cause = _cause(wall, one)
            if cause:
                found.setdefault(cause, []).append((wall, one))
    told = []
    for cause, there in sorted(found.items()):
        wall, first = there[0]
        assert first.filling is not None
        said = f"{len(there)} openings differ" if len(there) > 1 else "An opening differs"
        text = f"{said} by more than {mm_text(SIZE)} mm from the overall size of the door or window in it: {cause} ({_names(there)})."
        stated = " x ".join("?" if size is None else mm_text(size) for size in (first.filling.width, first.filling.height))
        told.append(Finding(
            code="reading.filling-size", severity="note", text=text, times=len(there),
            place=Place(wall=wall.guid, storey=wall.storey, opening=first.key),
            measured=f"{mm_text(first.end - first.start)} x {mm_text(first.head - first.sill)} mm", wanted=f"{stated} mm",
        ))  # fmt: skip
    return told


def _names(there: Sequence[tuple[Wall, Opening]]) -> str:
    return listed([f"{one.filling.kind} {one.filling.name or one.filling.guid}" for _, one in there if one.filling is not None])


def _cause(wall: Wall, one: Opening) -> str:
    """Why an opening is not as large as what fills it; '' where it is."""
    leaf = one.filling
    if leaf is None:
        return ""
    wide = one.end - one.start - leaf.width if leaf.width is not None else 0
    high = one.head - one.sill - leaf.height if leaf.height is not None else 0
    if abs(wide) <= SIZE and abs(high) <= SIZE:
        return ""
    beside = wide < -SIZE and (one.start == 0 or one.end == wall.length)
    upright = high < -SIZE and (one.head == _over(wall, one) or (one.sill == wall.bottom and leaf.kind != "door"))
    if beside or upright:
        return "the opening ends at the wall's edge"
    if one.volume_m3 is not None:
        return "the opening is no plain rectangle through the wall"
    if min(wide, high) < -SIZE:
        return "the opening is drawn smaller"
    return "the opening is drawn larger"


def _over(wall: Wall, one: Opening) -> Nm:
    return max((z for s, z in wall.top if one.start <= s <= one.end), default=max(z for _, z in wall.top))


def about_leaves(model: Entity, reader: WallReader, walls: Sequence[Wall], origin: Point) -> list[Finding]:
    """Tell which doors and windows fill no opening, once a cause and wall: those that stand in an opening all the same, those that
    stand in a wall without one, and those that stand in no wall.

    Parameters
    ----------
    model : Entity
    reader : WallReader
        What read the walls of the model.
    walls : sequence of Wall
        The walls that are laid, about `origin`.
    origin : Point
    """
    relations = reader.relations
    cut = {opening.id() for every in relations.openings.values() for opening in every}
    filled = {leaf.id() for number, every in relations.fillings.items() if number in cut for leaf in every}
    unsaid: list[str] = []
    lost: list[str] = []
    shut: dict[str, list[str]] = {}
    by_guid = {wall.guid: wall for wall in walls}
    leaves = [leaf for kind in ("IfcDoor", "IfcWindow") for leaf in model.by_type(kind) if leaf.id() not in filled]
    for leaf in sorted(leaves, key=lambda e: (str(e.GlobalId or ""), e.id())):
        if any(a.is_a("IfcBuildingElement") or a.is_a("IfcElementAssembly") for a in relations.ancestors(leaf)):
            continue  # a part of a curtain wall, of a roof or of another door has its opening there
        name = f"{'door' if leaf.is_a('IfcDoor') else 'window'} {leaf.Name or leaf.GlobalId}"
        try:
            wall, open_there = _standing_in(_place(leaf, reader, origin), walls)
        except (Unreadable, *MALFORMED):
            wall, open_there = None, False
        if wall is None:
            lost.append(name)
        elif open_there:
            unsaid.append(name)
        else:
            shut.setdefault(wall.guid, []).append(name)
    told: list[Finding] = []
    for guid, names in sorted(shut.items()):
        wall = by_guid[guid]
        text = f"No opening of wall {wall.name or guid} is drawn for {listed(names)}; the wall is laid through. Draw what is missing."
        place = Place(wall=guid, storey=wall.storey)
        told.append(Finding(code="reading.leaf-without-opening", severity="warning", text=text, place=place, times=len(names)))
    if unsaid:
        text = f"The model does not say which openings are filled by {listed(unsaid)}; they stand in openings, which are left open."
        told.append(Finding(code="reading.leaf-unrelated", severity="note", text=text, times=len(unsaid)))
    if lost:
        text = f"No wall that is laid has an opening for {listed(lost)}; check that no wall lacks one."
        told.append(Finding(code="reading.leaf-without-wall", severity="note", text=text, times=len(lost)))
    return told


def listed(names: Sequence[str]) -> str:
    """Return names for a sentence, the first few of them."""
    return ", ".join(names[:NAMED]) + (f" and {len(names) - NAMED} more" if len(names) > NAMED else "")


def _place(leaf: Entity, reader: WallReader, origin: Point) -> tuple[float, float, float]:
    """The middle of a door's or window's body; where it has none that can be read, the middle of its width on its sill."""
    try:
        points = np.vstack([solid.base.points() for solid in reader.placed(leaf, np.zeros(3), np.eye(4))])
        at = (points.min(axis=0) + points.max(axis=0)) / 2
    except (Unreadable, *MALFORMED):
        half = float(leaf.OverallWidth or 0.0) * reader.frames.scale / 2
        at = (reader.frames.placement(leaf.ObjectPlacement) @ np.array((half, 0.0, 1.0, 1.0)))[:3]
    x, y, z = (float(v) * MM for v in at)
    return x - origin[0], y - origin[1], z


def _standing_in(place: tuple[float, float, float], walls: Sequence[Wall]) -> tuple[Wall | None, bool]:
    """The wall with the nearest centre line of those whose body a place lies in, and whether it is open there."""
    x, y, z = place
    near: list[tuple[float, str, Wall, bool]] = []
    for wall in walls:
        (ax, ay), (bx, by) = wall.start, wall.end
        size = hypot(bx - ax, by - ay)
        along = ((x - ax) * (bx - ax) + (y - ay) * (by - ay)) / size
        off = abs((x - ax) * (by - ay) - (y - ay) * (bx - ax)) / size
        inside = 0 <= along <= size and off <= wall.thickness / 2 + BESIDE
        if inside and wall.bottom <= z < max(level for _, level in wall.top):
            opened = any(o.start <= along <= o.end and o.sill <= z <= o.head for o in wall.openings)
            near.append((off, wall.guid, wall, opened))
    if not near:
        return None, False
    _, _, wall, opened = min(near, key=lambda n: n[:2])
    return wall, opened

"""Walls that are parts of a wall with a body of its own: what lies inside that body is drawn twice, what lies outside is a wall."""

from __future__ import annotations

import numpy as np
import shapely
from shapely import box
from shapely.geometry import Polygon

from wallquant.findings import Finding, Place, Severity
from wallquant.importers.ifc.fillings import listed
from wallquant.importers.ifc.records import footprint
from wallquant.importers.ifc.sections import sound
from wallquant.importers.ifc.walls import WallAsRead

INSIDE = 0.5
"""A part of which more than this lies in the whole wall's body is the same wall drawn twice."""
TOUCHES = 0.01
"""A part of which less than this lies in the whole wall's body only touches it."""


def apart(read: list[WallAsRead], wholes: dict[str, str]) -> tuple[list[WallAsRead], list[Finding]]:
    """Return the walls that are drawn once, and what is told of those that are parts of another.

    Parameters
    ----------
    read : list of WallAsRead
        All walls.
    wholes : dict of str to str
        By the key of a wall, that of the wall it is a part of, which has a body of its own.
    """
    by_key = {one.guid: one for one in read}
    kept: list[WallAsRead] = []
    told: list[Finding] = []
    for one in read:
        whole = by_key.get(wholes.get(one.guid, ""))
        if whole is None or whole is one:
            kept.append(one)
            continue
        share = 1.0 if one.body is None or whole.body is None else _inside(one, whole)
        name, other = one.name or one.guid, whole.name or whole.guid
        if share > INSIDE:
            names = [o.name or o.guid for o in one.openings]
            lost = f" Its own openings go with it: {listed(names)}." if names else ""
            why = "lies in that wall's body" if one.body is not None else f"cannot be read ({one.reason})"
            text = f"Wall {name} is a part of wall {other} and {why}; the whole wall is read instead.{lost}"
            told.append(_finding(one, "note", text))
            continue
        kept.append(one)
        if share > TOUCHES and one.body is not None:
            twice = f"{share * one.body.volume * 1e-9:.3f} m3"
            text = f"Wall {name} is a part of wall {other} and lies outside that wall's body but for {twice}, drawn twice; draw them once."
            told.append(_finding(one, "warning", text))
        else:
            told.append(_finding(one, "note", f"Wall {name} is a part of wall {other} but lies outside that wall's body; both are read."))
    return kept, told


def _finding(one: WallAsRead, severity: Severity, text: str) -> Finding:
    return Finding(code="reading.part-of-wall", severity=severity, place=Place(wall=one.guid, storey=one.storey), text=text)


def _inside(one: WallAsRead, whole: WallAsRead) -> float:
    """Share of a wall's body that lies in another's, by their outlines in plan and in the elevation of the other."""
    assert one.body is not None
    assert whole.body is not None
    turn = whole.body.frame[:2, :2]
    ring = (np.array(footprint(one)) - whole.at[:2]) @ turn.T
    mine = sound(Polygon(ring))
    common = mine.intersection(whole.body.footprint)
    if mine.area <= 0 or common.is_empty or common.area <= 0:
        return 0.0
    first, _, last, _ = common.bounds
    rise = float(one.at[2] - whole.at[2])
    face = box(first, one.body.bottom + rise, last, max(z for _, z in one.body.top) + rise)
    holes = [box(h.start, h.sill, h.end, h.head) for o in whole.openings for h in o.holes if h.through]
    masonry = whole.body.elevation.difference(shapely.union_all([*holes, *whole.body.holes]))
    return float(common.area / mine.area * face.intersection(masonry).area / face.area)

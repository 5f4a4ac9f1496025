"""Walls drawn face to face: where one is laid thicker than drawn, its neighbour is laid as much thinner, within the fit of thickness.

A furring wall against a party wall of 193 mm that is laid 200 mm thick would lie 3.5 mm in it.  A bought thickness cannot give way,
so only a virtual unit does; its far face stays where it is drawn.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

from wallquant.building import Wall
from wallquant.catalogue import Catalogue
from wallquant.findings import Finding, Place
from wallquant.graph.lines import PARALLEL, Line, beside, line, neighbours, turn
from wallquant.masonry import Face, Unit
from wallquant.units import MM, Nm, mm_text

TENTH: Nm = MM // 10
"""Thicknesses of virtual units are whole multiples of this."""


def flush(
    walls: Sequence[tuple[Wall, Unit]], catalogue: Catalogue, join: Nm, face: Face | None = None
) -> tuple[list[tuple[Wall, Unit]], tuple[Finding, ...]]:
    """Return the walls, in the order given, of which those of virtual units keep clear of what is drawn against their faces.

    Parameters
    ----------
    walls : sequence of (Wall, Unit)
        Each with the unit that it is laid with.
    catalogue : Catalogue
        Its fit of thickness is the most that a wall gives way.
    join : int
        Walls beside each other over no more than this only meet.
    face : Face, optional
        Of the catalogue; its default otherwise.

    Returns
    -------
    list of (Wall, Unit), tuple of Finding
        A wall that gives way has its centre line moved by half of what it gives, and a note says so.
    """
    lines = [line((w.guid,), w.start, w.end, w.thickness, w.bottom, max(z for _, z in w.top)) for w, _ in walls]
    room: dict[int, dict[bool, tuple[Nm, int]]] = {}
    for i, j in neighbours(lines, catalogue.fit.thickness.plus):
        if turn(lines[i], lines[j]) >= PARALLEL or beside(lines, i, j).gap > -join:
            continue
        for k, other in ((i, j), (j, i)):
            into = _into(walls, lines, k, other)
            if walls[k][1].virtual and into > TENTH:
                left = lines[k].beside(lines[other].at(lines[other].length / 2)) > 0
                room[k] = {**room.get(k, {}), left: max((into, other), room.get(k, {}).get(left, (0, other)))}
    out = list(walls)
    findings: list[Finding] = []
    for k, sides in sorted(room.items(), key=lambda one: walls[one[0]][0].guid):
        wall, unit = walls[k]
        thickness = (unit.thickness - sum(into for into, _ in sides.values())) // TENTH * TENTH
        if catalogue.fit.thickness.holds(drawn=wall.thickness, laid=thickness):
            out[k] = (_moved(wall, lines[k], sides), catalogue.virtual(thickness, face))
            findings.append(_told(wall, thickness, [walls[other][0] for _, other in sides.values()]))
    return out, tuple(findings)


def _into(walls: Sequence[tuple[Wall, Unit]], lines: Sequence[Line], k: int, other: int) -> Nm:
    """How far one wall would be laid in another that is drawn beside it, at its face; 0 where one is drawn in the other."""
    side = beside(lines, k, other).side
    drawn = (walls[k][0].thickness + walls[other][0].thickness) / 2 - side
    laid = (walls[k][1].thickness + walls[other][1].thickness) / 2 - side
    return max(0, -(-round(laid) // TENTH) * TENTH) if drawn <= TENTH else 0


def _moved(wall: Wall, own: Line, sides: Mapping[bool, tuple[Nm, int]]) -> Wall:
    """The wall with its centre line moved away from the side at which it gives way."""
    by = (sides.get(False, (0, 0))[0] - sides.get(True, (0, 0))[0]) / 2
    x, y = round(-own.v * by), round(own.u * by)
    return replace(wall, start=(wall.start[0] + x, wall.start[1] + y), end=(wall.end[0] + x, wall.end[1] + y))


def _told(wall: Wall, thickness: Nm, others: Sequence[Wall]) -> Finding:
    names = " and ".join(one.name or one.guid for one in others)
    text = (
        f"Wall {wall.name or wall.guid} is drawn against wall {names}, which is laid thicker than drawn: it is laid "
        f"{mm_text(thickness)} mm thick, {mm_text(wall.thickness)} mm is drawn; the face away from it stays."
    )
    place = Place(wall=wall.guid, storey=wall.storey)
    return Finding(code="graph.flush", severity="note", text=text, place=place, measured=f"{mm_text(thickness)} mm")

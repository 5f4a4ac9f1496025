"""Records of a bent wall: one for each of its straight pieces, and what is told of the whole."""

from __future__ import annotations

import itertools
from dataclasses import replace

from wallquant.building import Point, Wall
from wallquant.findings import Finding, Place
from wallquant.importers.ifc.chords import Arc, Bent
from wallquant.importers.ifc.records import make_wall
from wallquant.importers.ifc.walls import WallAsRead

BETWEEN = "what lies between its arc and its chords, a volume without a face, is left out"


def chord_walls(one: WallAsRead, origin: Point, keys: dict[tuple[str, int], str], scale: float) -> tuple[list[Wall], list[Finding]]:
    """Return the records of a bent wall's pieces, and what is worth telling about the whole."""
    bent = one.bent
    assert bent is not None
    walls: list[Wall] = []
    told: list[Finding] = []
    for part, size in zip(one.chords, bent.beside, strict=True):
        wall, more = make_wall(part, origin, keys, scale)
        told += [f for f in more if f.place.opening or part is one.chords[0]]
        reasons = (*wall.reasons, BETWEEN) if size > 0 else wall.reasons
        walls.append(
            replace(
                wall, element=one.guid, drawn_m3=wall.drawn_m3 + size * 1e-9, set_aside_m3=wall.set_aside_m3 + size * 1e-9, reasons=reasons
            )
        )
    where: dict[str, list[tuple[float, str]]] = {}
    for wall in walls:
        for hole in wall.openings:
            where.setdefault(hole.key.partition("~")[0].partition("#")[0], []).append((hole.end - hole.start, wall.guid))
    for key, there in sorted(where.items()):
        pieces = len({guid for _, guid in there})
        if pieces > 1:
            most = max(there)[1]
            text = (
                f"Opening {next((o.name for o in one.openings if o.guid == key), '') or key} lies over {pieces} pieces of bent wall "
                f"{one.name or one.guid}: each is open where it is drawn, and most of it is in {most}.  No straight lintel goes over a "
                "mitre: have its head designed."
            ).replace("  ", " ")
            place = Place(wall=one.guid, storey=one.storey, opening=key)
            told.append(Finding(code="reading.opening-over-mitre", severity="warning", text=text, place=place, times=pieces))
    return walls, [*told, _about(one, bent)]


def _about(one: WallAsRead, bent: Bent) -> Finding:
    name = one.name or one.guid
    said = [_arc(arc, len(list(same))) for arc, same in itertools.groupby(sorted(bent.arcs, key=lambda a: (a.radius, a.count)), key=_alike)]
    turns = [round(t, 1) for t in bent.turns]
    least, most = min(turns), max(turns)
    angles = f"{least:g} degrees" if least == most else f"{least:g} to {most:g} degrees"
    gap = max((arc.gap for arc in bent.arcs), default=0.0)
    how = f"{' and '.join(said)}; it" if said else "bent; it"
    text = f"Wall {name} is {how} is laid as {len(bent.bodies)} straight pieces that meet at mitres and turn by {angles}" + (
        f", at most {gap:.1f} mm inside its arc. Say another distance with chord_gap in the job." if said else "."
    )
    place = Place(wall=one.guid, storey=one.storey)
    measured = f"{gap:.1f} mm" if said else ""
    return Finding(code="reading.bent", severity="note", text=text, place=place, measured=measured)


def _alike(arc: Arc) -> tuple[int, int, int]:
    return round(arc.radius), arc.count, round(arc.chord)


def _arc(alike: tuple[int, int, int], count: int) -> str:
    radius, chords, chord = alike
    cut = f"{chords} chord{'s' if chords > 1 else ''} of {chord} mm"
    return f"curved to a radius of {radius} mm on its centre line ({f'{count} times ' if count > 1 else ''}{cut})"

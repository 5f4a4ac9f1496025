"""Walls drawn twice over a part of their length: the lesser of two parallel walls that lie in each other is laid beside the other one.

Only what is drawn in the other wall is set aside; what goes on past its end is a wall of its own that ends there.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import replace

from wallquant.building import Building, Opening, Profile, Wall
from wallquant.catalogue import Catalogue
from wallquant.findings import Finding, Place
from wallquant.graph.lines import PARALLEL, SIDE, Line, beside, line, neighbours, turn
from wallquant.graph.merging import hole_m3, top_of
from wallquant.masonry import Face
from wallquant.units import MM, Nm, mm_text

Stretch = tuple[Nm, Nm]


def parted(
    building: Building, catalogue: Catalogue, *, face: Face | None = None, any_thickness: bool = False
) -> tuple[Building, tuple[Finding, ...]]:
    """Return the building with walls that lie in another wall over a part of their length cut off at it.

    Parameters
    ----------
    building : Building
        As read, battered walls in steps.
    catalogue : Catalogue
        A rest shorter than its unit is not laid.
    face : Face, optional
        Of the catalogue; its default otherwise.
    any_thickness : bool
        Whether a wall of any thickness is laid; else one that no unit fits takes nobody's place.

    Returns
    -------
    Building, tuple of Finding
        The same building where nothing is drawn twice; a finding for each wall that is cut.  Walls that lie in another one as a whole,
        or that are higher or lower than it, are left to `build`.
    """
    join = max(catalogue.fit.joined_end.minus, catalogue.fit.joined_end.plus)
    unit = (face or catalogue.face).length
    walls = sorted(building.walls, key=lambda w: (-w.drawn_m3, w.guid))
    lines = [line((w.guid,), w.start, w.end, w.thickness, w.bottom, top_of(w)) for w in walls]
    before: dict[int, list[int]] = {}
    for i, j in neighbours(lines, 0):
        if turn(lines[i], lines[j]) < PARALLEL:
            before.setdefault(max(i, j), []).append(min(i, j))
    cut: dict[str, list[Wall]] = {}
    findings: list[Finding] = []
    for k, greater in sorted(before.items()):
        there = [(walls[i], taken) for i in sorted(greater) if any_thickness or catalogue.standard(walls[i].thickness, face) is not None
                 for taken in _taken(walls, lines, i, k, join, cut)]  # fmt: skip
        rest = _rest(walls[k].length, [taken for _, taken in there], unit)
        if there and rest:
            cut[walls[k].guid] = _walls(walls[k], rest, there[0][0])
            findings.append(_told(walls[k], [one for one, _ in there], rest))
    if not cut:
        return building, ()
    made = [one for wall in building.walls for one in cut.get(wall.guid, [wall])]
    return replace(building, walls=tuple(sorted(made, key=lambda w: w.guid))), tuple(findings)


def _taken(walls: Sequence[Wall], lines: Sequence[Line], i: int, k: int, join: Nm, cut: dict[str, list[Wall]]) -> list[Stretch]:
    """The stations of wall `k` that lie in wall `i`, or in what is left of it."""
    one, other = walls[k], walls[i]
    lie = beside(lines, i, k)
    shorter = min(lines[i].length, lines[k].length)
    if (lines[i].width + lines[k].width) / 2 - lie.side <= MM or lie.gap > -join or -lie.gap >= lines[k].length - join:
        return []
    if other.bottom > one.bottom + MM or min(z for _, z in other.top) < top_of(one) - MM:
        return []
    alike = one.thickness == other.thickness and abs(one.bottom - other.bottom) <= MM and lie.side <= SIDE
    if -lie.gap < shorter / 2 and (alike or -lie.gap <= max(join, lines[i].width / 2, lines[k].width / 2)):
        return []  # a run of its own, or two ends that meet: see `strips`
    length = one.length
    u, v = (one.end[0] - one.start[0]) / length, (one.end[1] - one.start[1]) / length
    out: list[Stretch] = []
    for part in cut.get(other.guid, [other]):
        lo, hi = sorted(round((x - one.start[0]) * u + (y - one.start[1]) * v) for x, y in (part.start, part.end))
        if min(hi, length) - max(lo, 0) > join:
            out.append((max(lo, 0), min(hi, length)))
    return out


def _rest(length: Nm, taken: Sequence[Stretch], least: Nm) -> list[Stretch]:
    """What is left of a wall beside the stretches that are taken, where it is at least a unit long."""
    at, out = 0, []
    for lo, hi in [*sorted(taken), (length, length)]:
        if lo - at >= least:
            out.append((at, lo))
        at = max(at, hi)
    return out


def _walls(wall: Wall, rest: Sequence[Stretch], other: Wall) -> list[Wall]:
    """What is left of a wall, as walls; what is set aside of it, with its openings and finishes, is booked with the first."""
    length = wall.length
    u, v = (wall.end[0] - wall.start[0]) / length, (wall.end[1] - wall.start[1]) / length
    made: list[Wall] = []
    for n, (lo, hi) in enumerate(rest):
        top = _between(wall.top, lo, hi)
        ends = [(round(wall.start[0] + u * s), round(wall.start[1] + v * s)) for s in (lo, hi)]
        key, element = (f"{wall.guid}/{n + 1}", wall.element or wall.guid) if len(rest) > 1 else (wall.guid, wall.element)
        made.append(
            replace(
                wall, guid=key, element=element, start=ends[0], end=ends[1], top=top,
                openings=tuple(o for one in wall.openings for o in _clipped(one, lo, hi)),
                drawn_m3=_face_m2(top, wall.bottom) * wall.thickness * 1e-9, finishes_m3=0.0, finish_voids_m3=0.0, set_aside_m3=0.0,
                set_aside_m2=0.0, reasons=(),
            )
        )  # fmt: skip
    body = _face_m2(wall.top, wall.bottom) - sum(_face_m2(one.top, one.bottom) for one in made)
    voids = _voids(wall) - sum(_voids(one) for one in made)
    holes = _holes_m2(wall) - sum(_holes_m2(one) for one in made)
    aside = body * wall.thickness * 1e-9 - voids
    reason = f"{mm_text(length - sum(hi - lo for lo, hi in rest))} mm of it lie in wall {other.name or other.guid}"
    made[0] = replace(
        made[0], drawn_m3=wall.drawn_m3 - sum(one.drawn_m3 for one in made[1:]), finishes_m3=wall.finishes_m3,
        finish_voids_m3=wall.finish_voids_m3 + voids, set_aside_m3=wall.set_aside_m3 + aside, set_aside_m2=wall.set_aside_m2 + body - holes,
        reasons=(*wall.reasons, reason),
    )  # fmt: skip
    return made


def _between(top: Profile, lo: Nm, hi: Nm) -> Profile:
    """A top between two stations, as stations from the first."""
    kept: list[tuple[Nm, Nm]] = []
    for (a, p), (b, q) in itertools.pairwise(top):
        if a == b or b <= lo or a >= hi:
            continue
        for s in (max(a, lo), min(b, hi)):
            point = (s - lo, p + round((q - p) * (s - a) / (b - a)))
            if not kept or kept[-1] != point:
                kept.append(point)
    return tuple(kept)


def _clipped(one: Opening, lo: Nm, hi: Nm) -> list[Opening]:
    """The part of an opening between two stations, as stations from the first; none where less than a millimetre is left."""
    start, end = max(one.start, lo), min(one.end, hi)
    if end - start < MM:
        return []
    volume = None if one.volume_m3 is None else one.volume_m3 * (end - start) / (one.end - one.start)
    return [replace(one, start=start - lo, end=end - lo, volume_m3=volume)]


def _face_m2(top: Profile, bottom: Nm) -> float:
    return sum((b - a) * (p + q - 2 * bottom) / 2 for (a, p), (b, q) in itertools.pairwise(top)) * 1e-18


def _voids(wall: Wall) -> float:
    return sum(hole_m3(wall, k) for k in range(len(wall.openings)))


def _holes_m2(wall: Wall) -> float:
    return sum((o.end - o.start) * (o.head - o.sill) for o in wall.openings if o.through) * 1e-18


def _told(wall: Wall, others: Sequence[Wall], rest: Sequence[Stretch]) -> Finding:
    names = " and ".join(dict.fromkeys(one.name or one.guid for one in others))
    over = mm_text(wall.length - sum(hi - lo for lo, hi in rest))
    text = (
        f"Wall {wall.name or wall.guid} lies in wall {names} over {over} of its {mm_text(wall.length)} mm: that part of it is set aside, "
        "with its openings, and the rest ends there; let it end there in the model, or draw one of them."
    )
    place = Place(wall=wall.guid, storey=wall.storey)
    return Finding(code="graph.overlap", severity="warning", text=text, place=place, measured=f"{over} mm")

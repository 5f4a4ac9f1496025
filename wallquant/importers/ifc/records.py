"""From a wall as read, in millimetres, to its record in whole nanometres; findings about what did not fit."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import shapely

from wallquant.building import Filling, Opening, Point, Wall
from wallquant.findings import Finding, Place, Severity
from wallquant.importers.ifc.bodies import Body
from wallquant.importers.ifc.labels import label
from wallquant.importers.ifc.openings import Hole
from wallquant.importers.ifc.walls import OpeningAsRead, WallAsRead
from wallquant.importers.tops import highest
from wallquant.units import MM, M, Nm, mm_text

KM: Nm = 1000 * M
DRAWN_TWICE = 5.0
"""What is left of a hole in the body, in mm, beside the model's opening that is the same hole."""
_M3_OF_NM3 = 1e-27
Box = tuple[Nm, Nm, Nm, Nm]
"""Start, sill, end, head."""


def footprint(one: WallAsRead) -> list[tuple[float, float]]:
    """Return the outline of a wall in plan, world coordinates in mm; empty where it is not known."""
    if one.body is not None:
        turn = one.body.frame[:2, :2]
        ring = shapely.get_coordinates(one.body.footprint.exterior)[:-1] @ turn
    elif one.mass.outline is not None:
        ring = shapely.get_coordinates(one.mass.outline.exterior)[:-1]
    else:
        return []
    return [(x, y) for x, y in (ring + one.at[:2]).tolist()]


def opening_keys(read: list[WallAsRead]) -> dict[tuple[str, int], str]:
    """Return a unique key for each opening of each wall: its GlobalId, with ``~2`` and so on where that is used twice."""
    used: dict[str, int] = {}
    keys: dict[tuple[str, int], str] = {}
    for one in read:
        for i, opening in enumerate(one.openings):
            guid = opening.guid or f"{one.guid}/opening"
            used[guid] = used.get(guid, 0) + 1
            keys[one.guid, i] = guid if used[guid] == 1 else f"{guid}~{used[guid]}"
    return keys


@dataclass(kw_only=True, slots=True)
class _Hole:
    key: str
    box: Box
    through: bool
    filling: Filling | None
    name: str
    volume: float
    """m3 taken out of the body."""
    in_body: bool = False

    @property
    def area(self) -> int:
        return (self.box[2] - self.box[0]) * (self.box[3] - self.box[1])


def make_wall(one: WallAsRead, origin: Point, keys: dict[tuple[str, int], str], scale: float) -> tuple[Wall, list[Finding]]:
    """Return the record of a wall that has a body, and what is worth telling about it."""
    body = one.body
    assert body is not None
    plan = body.plan
    middle = (plan.right + plan.left) / 2
    stations = (body.top[0][0], body.top[-1][0])
    turn = body.frame[:2, :2]
    ends = [_nm(tuple(one.at[:2] + np.array((s, middle)) @ turn), origin) for s in stations]
    thickness = round(plan.thickness * MM)
    bare = Wall(
        guid=one.guid, name=one.name, storey=one.storey, start=ends[0], end=ends[1], thickness=thickness, bottom=_level(one, body.bottom),
        top=(), footprint=tuple(_nm(p, origin) for p in footprint(one)), drawn_m3=float(body.volume * 1e-9),
    )  # fmt: skip
    length = bare.length
    top = [(min(max(round((s - stations[0]) * MM), 0), length), _level(one, z)) for s, z in body.top]
    top[0], top[-1] = (0, top[0][1]), (length, top[-1][1])
    findings = _about_body(one, body, scale)
    holes = _holes(one, body, keys, length, bare.bottom, findings)
    openings = _disjoint(one, holes, findings)
    return Wall(
        guid=one.guid, name=one.name, storey=one.storey, start=ends[0], end=ends[1], thickness=thickness, bottom=bare.bottom,
        top=tuple(p for i, p in enumerate(top) if i == 0 or p != top[i - 1]), footprint=bare.footprint, drawn_m3=bare.drawn_m3,
        openings=tuple(_opening(h, thickness) for h in openings), set_aside_m3=float(body.beyond * 1e-9),
        set_aside_m2=float((body.beyond / plan.thickness if body.beyond_area is None else body.beyond_area) * 1e-6),
        reasons=tuple(body.reasons), batter=tuple((_level(one, z), round(right * MM), round(left * MM)) for z, right, left in body.batter),
        bearing=one.bearing, material=label(one.layers.name), joins=one.joins,
    ), findings  # fmt: skip


def leaf_walls(one: WallAsRead, origin: Point, keys: dict[tuple[str, int], str], scale: float) -> tuple[list[Wall], list[Finding]]:
    """Return the records of a layered wall's leaves; what is drawn besides them, finishes and cavity, is booked with the first."""
    whole, told = make_wall(one, origin, opening_keys([one]), scale)
    told = [f for f in told if not f.place.opening or f.code == "reading.opening-is-top"]
    walls: list[Wall] = []
    for part in one.leaves:
        wall, more = make_wall(part, origin, keys, scale)
        told += [f for f in more if f.place.opening]
        walls.append(replace(wall, element=one.guid if len(one.leaves) > 1 else "", cover=_cover(one, part)))
    beside = whole.drawn_m3 - sum(w.drawn_m3 for w in walls)
    voids = _voids_m3(whole) - sum(_voids_m3(w) for w in walls)
    walls[0] = replace(
        walls[0], drawn_m3=walls[0].drawn_m3 + beside, finish_voids_m3=voids, finishes_m3=beside - voids - whole.set_aside_m3,
        set_aside_m3=whole.set_aside_m3, set_aside_m2=whole.set_aside_m2, reasons=whole.reasons,
    )  # fmt: skip
    return walls, told


def _cover(one: WallAsRead, part: WallAsRead) -> tuple[Nm, Nm]:
    """What is drawn on the right and left of a leaf; nothing towards another leaf, which other walls' leaves must not reach through."""
    assert one.body is not None
    assert part.body is not None
    mine, whole = part.body.plan, one.body.plan
    others = [p.body.plan for p in one.leaves if p is not part and p.body is not None]
    right = 0.0 if any(o.left <= mine.right for o in others) else mine.right - whole.right
    left = 0.0 if any(o.right >= mine.left for o in others) else whole.left - mine.left
    return max(0, round(right * MM)), max(0, round(left * MM))


def _voids_m3(wall: Wall) -> float:
    return sum(
        o.volume_m3 if o.volume_m3 is not None else (o.end - o.start) * (o.head - o.sill) * wall.thickness * _M3_OF_NM3
        for o in wall.openings
    )


def _nm(point: tuple[float, ...], origin: Point) -> Point:
    return round(float(point[0]) * MM) - origin[0], round(float(point[1]) * MM) - origin[1]


def _level(one: WallAsRead, level: float) -> Nm:
    return round((float(one.at[2]) + level) * MM)


def _finding(one: WallAsRead, code: str, severity: Severity, text: str, opening: str = "", measured: str = "", wanted: str = "") -> Finding:
    place = Place(wall=one.guid, storey=one.storey, opening=opening)
    return Finding(code=f"reading.{code}", severity=severity, text=text, place=place, measured=measured, wanted=wanted)


def _about_body(one: WallAsRead, body: Body, scale: float) -> list[Finding]:
    told: list[Finding] = []
    name = one.name or one.guid
    told += [_finding(one, code, severity, text) for code, severity, text in one.remarks]
    if body.guessed:
        text = f"Wall {name} has no axis that is parallel to its faces; its longer side serves as its direction."
        told.append(_finding(one, "no-axis", "note", text))
    if not one.placed:
        told.append(_finding(one, "no-placement", "warning", f"Wall {name} has no placement; it is read at the model's origin."))
    if body.plan.odd_ends:
        text = f"Wall {name} has an end that is no straight cut in plan; it is laid to the end's mean."
        told.append(_finding(one, "odd-end", "note", text))
    if body.plan.notches:
        text = f"Wall {name} has a triangular notch in a face, as drawn where another wall's end meets it; it is laid straight through."
        told.append(_finding(one, "junction-notch", "note", text))
    if body.beyond > 0 and body.reasons and not body.batter:
        text = f"Wall {name}: {body.reasons[0]}; it is laid where it has its full thickness, and {body.beyond * 1e-9:.3f} m3 are set aside."
        told.append(_finding(one, "leaning-clip", "warning", text))
    if one.loose:
        text = f"Wall {name} is laid as its whole body: {one.loose}."
        told.append(_finding(one, "layers", "note", text))
    total = one.layers.total
    if total is not None and abs(total * scale - body.plan.thickness) > 1.0:
        drawn, stated = f"{mm_text(round(body.plan.thickness * MM))} mm", f"{mm_text(round(total * scale * MM))} mm"
        text = f"Wall {name} is drawn {drawn} thick, but its layers add up to {stated}; the drawn body counts."
        told.append(_finding(one, "layers", "note", text, measured=drawn, wanted=stated))
    elif total is not None and one.layers.offset is not None and one.axis_offset is not None:
        face = one.axis_offset + one.layers.offset * scale
        far = face + (total if one.layers.positive else -total) * scale
        off = max(abs(a - b) for a, b in zip(sorted((face, far)), (body.plan.right, body.plan.left), strict=True))
        if off > 5.0:
            text = f"Wall {name} does not lie where its axis and its layers' offset say; the drawn body counts."
            told.append(_finding(one, "layer-offset", "note", text, measured=f"{off:.0f} mm"))
    return told


def _holes(one: WallAsRead, body: Body, keys: dict[tuple[str, int], str], length: Nm, bottom: Nm, findings: list[Finding]) -> list[_Hole]:
    """All holes of a wall, within its length and levels, in nanometres."""
    found: list[_Hole] = []
    first = body.top[0][0]

    def clipped(start: float, sill: float, end: float, head: float) -> Box:
        peak = _level(one, highest(body.top, start, end))
        return (
            min(max(round((start - first) * MM), 0), length), min(max(_level(one, sill), bottom), peak),
            min(max(round((end - first) * MM), 0), length), min(max(_level(one, head), bottom), peak),
        )  # fmt: skip

    for i, opening in enumerate(one.openings):
        key = keys[one.guid, i]
        name = opening.name or key
        if opening.trouble:
            findings.append(_finding(one, "opening-dropped", "warning", f"Opening {name} is left out: it {opening.trouble}.", key))
        if opening.top:
            cut = f"{opening.top * 1e-6:.3f} m2"
            text = f"Opening {name} has no door or window and cuts {cut} off the top of its wall; it is read as the wall's top."
            findings.append(_finding(one, "opening-is-top", "note", text, key, measured=cut))
        if opening.more:
            names = ", ".join(f"{f.kind} {f.name or f.guid}" for f in opening.more)
            text = f"Opening {name} holds more than one door or window; besides the first there are {names}."
            findings.append(_finding(one, "more-fillings", "note", text, key))
        for j, hole in enumerate(opening.holes):
            box = clipped(hole.start, hole.sill, hole.end, hole.head)
            if box[2] - box[0] < MM or box[3] - box[1] < MM:
                continue
            one_key = key if j == 0 else f"{key}#{j + 1}"
            filling = opening.fillings.get(j)
            found.append(
                _Hole(key=one_key, box=box, through=hole.through, filling=filling, name=opening.name, volume=float(hole.volume * 1e-9))
            )
            findings += _about_hole(one, opening, one_key, hole, body.plan.thickness)
    if not body.holes and not body.niches:
        return found
    voids = shapely.union_all([shapely.box(h.start, h.sill, h.end, h.head) for o in one.openings for h in o.holes if h.through])
    drawn = [(shape, shape.area * body.plan.thickness, True) for shape in body.holes]
    drawn += [(niche.region, niche.volume, False) for niche in body.niches]
    for j, (shape, volume, through) in enumerate(drawn):
        if shape.difference(voids).buffer(-DRAWN_TWICE / 2).is_empty:
            continue  # the body is drawn with its openings cut out
        box = clipped(*shape.bounds)
        key = f"{one.guid}/hole{j + 1}"
        name, volume = "hole drawn in the body", volume * 1e-9
        found.append(_Hole(key=key, box=box, through=through, filling=None, name=name, volume=volume, in_body=True))
        name = one.name or one.guid
        kind, how = ("hole", "one") if through else ("hollow that does not go through and", "a niche")
        text = f"The body of wall {name} is drawn with a {kind} that is no opening of the model; it is read as {how}."
        findings.append(_finding(one, "drawn-hole" if through else "drawn-niche", "note", text, key))
    return found


def _about_hole(one: WallAsRead, opening: OpeningAsRead, key: str, hole: Hole, thickness: float) -> list[Finding]:
    name = opening.name or key
    if not hole.exact:
        rest = max(0.0, hole.area * thickness - hole.volume) * 1e-9
        corners = rest / thickness * 1e3
        text = (
            f"Opening {name} is no rectangle; its least box is left open, and {corners:.3f} m2 ({rest:.3f} m3) at its corners, which are "
            "wall in the model, are set aside."
        )
        return [_finding(one, "opening-shape", "note", text, key, measured=f"{corners:.3f} m2")]
    if not hole.through:
        return [_finding(one, "niche", "note", f"Opening {name} does not go through the wall; it is a niche.", key)]
    return []


def _disjoint(one: WallAsRead, holes: list[_Hole], findings: list[Finding]) -> list[_Hole]:
    """Holes that do not overlap: two that make a rectangle together become one; else a niche gives way, then the smaller."""
    kept: list[_Hole] = []

    def rank(hole: _Hole) -> tuple[object, ...]:
        return not hole.through, -round(hole.area / MM**2), hole.filling is None, hole.key

    waiting = sorted(holes, key=rank)
    while waiting:
        hole = waiting.pop(0)
        other = next((k for k in kept if _overlap(k.box, hole.box)), None)
        if other is None:
            kept.append(hole)
            continue
        text = f"Openings {other.key} and {hole.key} overlap; the overlap counts once."
        findings.append(_finding(one, "openings-overlap", "note", text, hole.key))
        shared = _shared(other.box, hole.box)
        union = _around(other.box, hole.box)
        share = hole.volume / hole.area
        rest = [b for b in _minus(hole.box, other.box) if b[2] - b[0] >= MM and b[3] - b[1] >= MM]
        if not rest and (other.through == hole.through or hole.filling is None):
            other.filling = other.filling or hole.filling  # drawn twice, or one within the other
            continue
        if _area(union) == other.area + hole.area - shared and other.through == hole.through:
            kept.remove(other)
            merged = _Hole(
                key=other.key, box=union, through=other.through, filling=other.filling or hole.filling, name=other.name,
                volume=other.volume + share * (hole.area - shared), in_body=other.in_body,
            )  # fmt: skip
            waiting.insert(0, merged)
            continue
        for n, box in enumerate(sorted(rest, key=_area, reverse=True)):
            key = hole.key if n == 0 else f"{hole.key}.{n + 1}"
            filling = hole.filling if n == 0 else None
            volume = share * _area(box)
            waiting.append(
                _Hole(key=key, box=box, through=hole.through, filling=filling, name=hole.name, volume=volume, in_body=hole.in_body)
            )
        waiting.sort(key=rank)
    return sorted(kept, key=lambda h: (h.box, h.key))


def _opening(hole: _Hole, thickness: Nm) -> Opening:
    full = hole.area * thickness * _M3_OF_NM3
    plain = hole.through and abs(hole.volume - full) <= 1e-6 * full
    start, sill, end, head = hole.box
    return Opening(
        key=hole.key, start=start, end=end, sill=sill, head=head, through=hole.through, filling=hole.filling, name=hole.name,
        volume_m3=None if plain else hole.volume, in_body=hole.in_body,
    )  # fmt: skip


def _area(box: Box) -> int:
    return (box[2] - box[0]) * (box[3] - box[1])


def _overlap(a: Box, b: Box) -> bool:
    return min(a[2], b[2]) - max(a[0], b[0]) > MM // 1000 and min(a[3], b[3]) - max(a[1], b[1]) > MM // 1000


def _shared(a: Box, b: Box) -> int:
    return max(0, min(a[2], b[2]) - max(a[0], b[0])) * max(0, min(a[3], b[3]) - max(a[1], b[1]))


def _around(a: Box, b: Box) -> Box:
    return min(a[0], b[0]), min(a[1], b[1]), max(a[2], b[2]), max(a[3], b[3])


def _minus(a: Box, b: Box) -> list[Box]:
    """Rectangles of `a` outside `b`: full-height pieces beside it, then what is below and above."""
    low, high = max(a[0], b[0]), min(a[2], b[2])
    return [(a[0], a[1], low, a[3]), (high, a[1], a[2], a[3]), (low, a[1], high, max(a[1], b[1])), (low, min(a[3], b[3]), high, a[3])]

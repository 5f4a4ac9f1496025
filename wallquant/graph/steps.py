"""Battered walls: a wall whose faces lean or step back is laid in steps, walls of one thickness that stand on each other.

Each step is a prism inside the drawn body, from one course line to another, so that no course is ripped for it.  It has an even
number of courses: each run begins with the same course, and head joints would else lie over each other where a step begins.
"""

from __future__ import annotations

import itertools
from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace

from wallquant.building import Building, Opening, Profile, Wall
from wallquant.catalogue import Catalogue
from wallquant.findings import Finding, Place
from wallquant.graph.merging import hole_m3, top_of
from wallquant.masonry import Face
from wallquant.units import MM, Nm, mm_text

BATTER_GAP: Nm = 75 * MM
"""Most that a step lies behind the drawn face: project input."""
WORTH: Nm = 20 * MM
"""Where faces reach out less than this, the rest is laid as one: project input."""
TENTH: Nm = MM // 10
"""Thicknesses of virtual units are whole multiples of this."""
EVEN = 2
"""Courses of a step are a multiple of this, so that the bond goes on."""


@dataclass(frozen=True, kw_only=True, slots=True)
class _Step:
    """From a level to a level, and how far it reaches beyond the right and left face of the top."""

    low: Nm
    high: Nm
    right: Nm
    left: Nm


def stepped(
    building: Building, catalogue: Catalogue, *, face: Face | None = None, any_thickness: bool = False, gap: Nm | None = None
) -> tuple[Building, tuple[Finding, ...]]:
    """Return the building with its battered walls in steps.

    Parameters
    ----------
    building : Building
        As read.
    catalogue : Catalogue
        Its courses decide where a step ends; without `any_thickness` its thicknesses decide how thick one is.
    face : Face, optional
        Of the catalogue; its default otherwise.
    any_thickness : bool
        Whether a step may be of any thickness.
    gap : int, optional
        Most that a step lies behind the drawn face, where courses and openings allow it; `BATTER_GAP` otherwise.

    Returns
    -------
    Building, tuple of Finding
        The same building where no wall is battered; a finding for each wall that is.
    """
    if not any(wall.batter for wall in building.walls):
        return building, ()
    walls: list[Wall] = []
    findings: list[Finding] = []
    levels: dict[Nm, set[Nm]] = {}
    for wall in sorted(building.walls, key=_steepest):
        if not wall.batter:
            walls.append(wall)
            continue
        shared = levels.setdefault(wall.bottom, set())
        steps = _steps(wall, catalogue, face, any_thickness, BATTER_GAP if gap is None else gap, shared)
        shared |= {one.high for one in steps[:-1]}
        made = _walls(wall, steps) if len(steps) > 1 else []
        if made:
            walls += made
            findings.append(_told(wall, made, _behind(wall, steps)))
        elif not steps:
            walls.append(wall)  # no unit fits its top, which is told of the whole wall
        else:
            reason = f"a face leans or steps back, and {wall.set_aside_m3:.3f} m3 lie outside the faces that are parallel"
            walls.append(replace(wall, reasons=(reason, *wall.reasons)))
            text = f"Wall {wall.name or wall.guid}: {reason}; it is laid where it has its full thickness, and no step of two courses fits."
            findings.append(_finding(wall, text, f"{wall.set_aside_m3:.3f} m3"))
    return replace(building, walls=tuple(sorted(walls, key=lambda w: w.guid))), tuple(findings)


def _steepest(wall: Wall) -> tuple[float, str]:
    """Walls that reach out furthest come first: where walls meet, the others take over their levels, so that steps meet steps."""
    return -max((max(right, left) for _, right, left in wall.batter), default=0), wall.guid


def _steps(wall: Wall, catalogue: Catalogue, face: Face | None, any_thickness: bool, gap: Nm, shared: Collection[Nm]) -> list[_Step]:
    """The steps from the underside to the top, at levels of other walls' steps where there are some; none where no unit fits the top."""
    unit = catalogue.standard(wall.thickness, face) or (catalogue.virtual(wall.thickness, face) if any_thickness else None)
    if unit is None:
        return []
    bed, pitch = catalogue.levelling_bed.nominal, unit.height + catalogue.bed.nominal
    kept = None if any_thickness else sorted(catalogue.thicknesses.values())
    found: list[_Step] = []
    floor, top = wall.bottom, top_of(wall)
    last = wall.batter[-1][0]
    while sum(_reach(wall, floor, 1)) >= WORTH:
        made: _Step | None = None
        met = False
        for courses in itertools.count(EVEN, EVEN):
            level = floor + bed + courses * pitch - catalogue.bed.nominal
            if level > last or top - level < bed + unit.height or not _whole(wall.top, level):
                break
            over = pitch + catalogue.bed.nominal + catalogue.least_rip
            if any(o.head - pitch - bed < level < o.head + over for o in wall.openings if o.through):
                continue  # its lintel needs both its bearings in one step, and a rip over it
            step = _Step(low=floor, high=level, right=_least(wall, floor, level, 1), left=_least(wall, floor, level, 2))
            if made is not None and _out(wall, step) > gap:
                break
            if level in shared or not met:
                made, met = step, level in shared
        if made is None:
            break
        found.append(made)
        floor = made.high
    found.append(_Step(low=floor, high=top, right=0, left=0))
    return _alike([_of_catalogue(wall, one, kept) for one in found])


def _reach(wall: Wall, level: Nm, side: int) -> tuple[Nm, Nm]:
    """What the body has beyond both faces just above (side 1) or below (side -1) a level."""
    batter = wall.batter
    if level > batter[-1][0] or (level == batter[-1][0] and side > 0):
        return 0, 0
    for (z1, r1, l1), (z2, r2, l2) in itertools.pairwise(batter):
        if z1 < z2 and (z1 <= level < z2 if side > 0 else z1 < level <= z2):
            return r1 + (r2 - r1) * (level - z1) // (z2 - z1), l1 + (l2 - l1) * (level - z1) // (z2 - z1)
    return 0, 0


def _least(wall: Wall, low: Nm, high: Nm, column: int) -> Nm:
    """The least that the body has beyond a face (column 1 right, 2 left) between two levels."""
    inner = [one[column] for one in wall.batter if low < one[0] < high]
    return min(_reach(wall, low, 1)[column - 1], _reach(wall, high, -1)[column - 1], *inner) // TENTH * TENTH


def _out(wall: Wall, step: _Step) -> Nm:
    """The most that a step lies behind the drawn faces."""
    inner = [one for one in wall.batter if step.low < one[0] < step.high]
    there = [_reach(wall, step.low, 1), _reach(wall, step.high, -1), *((right, left) for _, right, left in inner)]
    return max(max(right - step.right, left - step.left) for right, left in there)


def _behind(wall: Wall, steps: Sequence[_Step]) -> Nm:
    return max(_out(wall, one) for one in steps)


def _of_catalogue(wall: Wall, step: _Step, thicknesses: Sequence[Nm] | None) -> _Step:
    """The step as thick as the catalogue has it, drawn in on both sides in proportion."""
    out = step.right + step.left
    if thicknesses is None or not out:
        return step
    room = max((t - wall.thickness for t in thicknesses if 0 < t - wall.thickness <= out), default=0)
    return replace(step, right=step.right * room // out, left=room - step.right * room // out)


def _alike(steps: Sequence[_Step]) -> list[_Step]:
    """Steps of which those of one thickness are one."""
    made: list[_Step] = []
    for one in steps:
        if made and (made[-1].right, made[-1].left) == (one.right, one.left):
            made[-1] = replace(made[-1], high=one.high)
        else:
            made.append(one)
    return made


def _whole(top: Profile, level: Nm) -> bool:
    """Whether a wall is in one piece above a level: its top crosses it at most once up and once down."""
    over = [z > level for _, z in top]
    return any(over) and sum(a != b for a, b in itertools.pairwise([False, *over, False])) == 2


def _between(top: Profile, low: Nm, high: Nm) -> Profile:
    """The top of what lies between two levels, from its first station to its last, as stations of the whole wall."""
    points: list[tuple[Nm, Nm]] = []
    for (a, p), (b, q) in itertools.pairwise(top):
        points.append((a, p))
        crossed = [z for z in (low, high) if min(p, q) < z < max(p, q)]
        points += [(a + round((b - a) * (z - p) / (q - p)), z) for z in (crossed if p < q else crossed[::-1])]
    points.append(top[-1])
    inside = [k for k, (_, z) in enumerate(points) if z > low]
    first, last = max(0, inside[0] - 1), min(len(points) - 1, inside[-1] + 1)
    first += points[first][1] < low or (first < inside[0] and points[first][0] == points[inside[0]][0])
    last -= points[last][1] < low or (last > inside[-1] and points[last][0] == points[inside[-1]][0])
    kept = [(s, min(z, high)) for s, z in points[first : last + 1]]
    return tuple(
        p for k, p in enumerate(kept) if k in (0, len(kept) - 1) or not (kept[k - 1][1] == p[1] == kept[k + 1][1] or p == kept[k - 1])
    )


def _walls(wall: Wall, steps: Sequence[_Step]) -> list[Wall]:
    """The steps as walls; what of the body they leave is booked with the first.  Empty where they would be more than the body."""
    length = wall.length
    u, v = (wall.end[0] - wall.start[0]) / length, (wall.end[1] - wall.start[1]) / length

    def at(station: Nm, offset: float) -> tuple[Nm, Nm]:
        return round(wall.start[0] + u * station - v * offset), round(wall.start[1] + v * station + u * offset)

    holes = _holes(wall, steps)
    made: list[Wall] = []
    for n, step in enumerate(steps):
        top = _between(wall.top, step.low, step.high)
        lo, hi = top[0][0], top[-1][0]
        thickness = wall.thickness + step.right + step.left
        right, left = -wall.thickness // 2 - step.right, wall.thickness // 2 + step.left
        side = (step.left - step.right) / 2
        made.append(
            replace(
                wall, guid=f"{wall.guid}/{n + 1}", element=wall.element or wall.guid, start=at(lo, side), end=at(hi, side),
                thickness=thickness, bottom=step.low, top=tuple((s - lo, z) for s, z in top),
                footprint=(at(lo, right), at(hi, right), at(hi, left), at(lo, left)), drawn_m3=_face_m2(top, step.low) * thickness * 1e-9,
                openings=tuple(_moved(o, lo, hi - lo, thickness, wall.thickness) for o in holes[n]),
                set_aside_m3=0.0, set_aside_m2=0.0, reasons=(), batter=(), foot=wall.bottom,
            )
        )  # fmt: skip
    laid = sum(one.drawn_m3 for one in made) - _face_m2(wall.top, wall.bottom) * wall.thickness * 1e-9
    voids = sum(_voids(one) for one in made) - _voids(wall)
    beyond = wall.set_aside_m3 + voids - laid
    if beyond < 0:
        return []
    reason = f"{beyond:.3f} m3 lie before and over its {len(made)} steps"
    made[0] = replace(
        made[0], drawn_m3=made[0].drawn_m3 + wall.drawn_m3 - _face_m2(wall.top, wall.bottom) * wall.thickness * 1e-9 + voids - laid,
        set_aside_m3=beyond, set_aside_m2=wall.set_aside_m2, reasons=(reason, *wall.reasons),
    )  # fmt: skip
    return made


def _face_m2(top: Profile, bottom: Nm) -> float:
    """Face area below a top."""
    return sum((b - a) * (p + q - 2 * bottom) / 2 for (a, p), (b, q) in itertools.pairwise(top)) * 1e-18


def _voids(wall: Wall) -> float:
    """What holes of the body itself take out of a wall, m3: they are drawn as far as the wall is thick."""
    return sum(hole_m3(wall, k) for k, one in enumerate(wall.openings) if one.in_body)


def _holes(wall: Wall, steps: Sequence[_Step]) -> list[list[Opening]]:
    """The part of each opening that lies in each step: the highest keeps its key and its filling."""
    found: list[list[Opening]] = [[] for _ in steps]
    for one in wall.openings:
        there = [(n, max(one.sill, s.low), min(one.head, s.high)) for n, s in enumerate(steps)]
        there = sorted(((n, sill, head) for n, sill, head in there if sill < head), key=lambda t: (t[1] - t[2], t[0]))
        for count, (n, sill, head) in enumerate(there, start=1):
            part = (head - sill) / (one.head - one.sill)
            volume = None if one.volume_m3 is None else one.volume_m3 * part
            more = one if count == 1 else replace(one, key=f"{one.key}~{count}", filling=None)
            found[n].append(replace(more, sill=sill, head=head, volume_m3=volume))
    return [sorted(each, key=lambda o: (o.start, o.sill, o.key)) for each in found]


def _moved(one: Opening, lo: Nm, length: Nm, thickness: Nm, drawn: Nm) -> Opening:
    """An opening in stations of a step, through all of its thickness."""
    volume = one.volume_m3 * thickness / drawn if one.volume_m3 is not None and one.through else one.volume_m3
    return replace(one, start=max(0, one.start - lo), end=min(length, one.end - lo), volume_m3=volume)


def _told(wall: Wall, steps: Sequence[Wall], behind: Nm) -> Finding:
    sizes = [mm_text(round(one.thickness / MM) * MM) for one in steps]
    text = (
        f"Wall {wall.name or wall.guid} is battered: it is laid in {len(steps)} steps of two courses or more, {sizes[0]} mm thick at its "
        f"foot and {sizes[-1]} mm at its top. They stand up to {mm_text(round(behind / MM) * MM)} mm behind the drawn face; that batter, "
        f"{steps[0].set_aside_m3:.3f} m3 with what leans at its top, is set aside: cut or render it as the engineer says. Say another "
        "distance with batter_gap in the job."
    )
    return _finding(wall, text, f"{mm_text(round(behind / MM) * MM)} mm")


def _finding(wall: Wall, text: str, measured: str) -> Finding:
    place = Place(wall=wall.guid, storey=wall.storey)
    return Finding(code="graph.batter", severity="warning", text=text, place=place, measured=measured)

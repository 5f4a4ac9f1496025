"""The ledger of each wall: how what is drawn becomes what is laid, each difference measured where it lies.

All terms are measured in elevation as areas of sets that part one another, so they close by geometry and not by a balance:
drawn body, holes, what is set aside, what other runs take at corners (lent), what this run takes there beyond its body
(borrowed), ends (fit in length), tops, sills and heads (fit in height), and the thickness.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import shapely

from wallquant.bonding.asking import Asked
from wallquant.bonding.cells import level
from wallquant.bonding.laid import Box, Guest, Region
from wallquant.bonding.problem import Meets, Problem, Put
from wallquant.bonding.solving import Solved
from wallquant.bonding.standing import HANGS
from wallquant.building import Wall
from wallquant.files import LEDGER
from wallquant.layout import Part, Run, RunOpening
from wallquant.masonry import Fit
from wallquant.units import MM, Nm

FAR = 1e7
"""Farther than any wall, in millimetres."""
GRID = 1e-6
"""Overlays are made on a grid of one nanometre: exact for our lengths, and never undecided."""


BARE = "over openings that nothing bridges"
HIGHER = "between the heads of openings and lintels that lie higher"
PAST = "past a corner, by less than a piece"
BETWEEN = "between what is drawn and what is left out"
SHARP = "beside a corner at which it stops square before another wall"
SHAPED = "around openings that are no rectangle, cut on site"


@dataclass(frozen=True, kw_only=True, slots=True)
class Account:
    """One wall's accounts: volumes m3 by the terms of `wallquant.files.LEDGER`, face areas m2, and fits in nanometres.

    `fit` has start, end (along the run), top and thickness, laid less drawn.  `causes` are the parts set aside in bonding, m2 of face
    by cause; `reasons` name them and what was set aside in reading.  `straight_m3` is what of laid is straight joints, without mortar.
    """

    wall: str
    ledger: Mapping[str, float]
    area: Mapping[str, float]
    fit: Mapping[str, Nm]
    causes: Mapping[str, float]
    reasons: tuple[str, ...]
    straight_m3: float = 0.0


def _box(a: float, b: float, p: float, q: float) -> Any:
    return shapely.box(a, p, b, q)


def _and(one: Any, two: Any) -> Any:
    return _faces(shapely.intersection(one, two, grid_size=GRID))


def _less(one: Any, two: Any) -> Any:
    return _faces(shapely.difference(one, two, grid_size=GRID))


def _or(shapes: Sequence[Any]) -> Any:
    # what touches shares its coordinates to the bit, so no grid is needed here, and most shapes touch no other
    return shapely.disjoint_subset_union_all([_faces(s) for s in shapes]) if len(shapes) else shapely.Polygon()


def _faces(shape: Any) -> Any:
    """Return the faces of a result: overlays of touching shapes leave lines and points too."""
    if shape.geom_type in ("Polygon", "MultiPolygon"):
        return shape
    parts = [p for p in shapely.get_parts(shape, return_index=False) if p.geom_type in ("Polygon", "MultiPolygon") and p.area > 0]
    return shapely.multipolygons(shapely.get_parts(parts)) if parts else shapely.Polygon()


def accounts(run: Run, asked: Asked, solved: Solved, laid: Region, guests: Sequence[Guest], walls: Mapping[str, Wall]) -> list[Account]:
    """Return the accounts of the walls of one run."""
    shapes = [_box(a / MM, b / MM, p / MM, q / MM) for a, b, p, q in _grown(laid.boxes)]
    shapes += [shapely.Polygon([(s / MM, z / MM) for s, z in o]) for o in laid.outlines]
    whole = _or(shapes)
    theirs = _or([_box(a / MM, b / MM, p / MM, q / MM) for a, b, p, q in _grown([g.box for g in guests])])
    causes: dict[str, list[Any]] = {}
    for one in solved.face.scraps:
        causes.setdefault(one.reason, []).append(_box(one.lo / MM, one.hi / MM, one.bottom / MM, one.top / MM))
    laid_there = _or([whole, theirs])
    for reason, strips in _unbridged(asked, solved.face.puts).items():
        causes[reason] = [_less(_or(strips), laid_there)] if strips else []
    voids = _voids(asked)
    causes[HANGS] = [_less(_or(voids), laid_there)] if voids else []
    scraps = {reason: _or(boxes) for reason, boxes in sorted(causes.items())}
    drawn_openings = {o.key: o for o in run.openings}
    edges = [-FAR, *((a.end + b.start) / 2 / MM for a, b in zip(run.parts, run.parts[1:], strict=False)), FAR]
    ends = solved.face.ends
    first = min((lo for lo, _ in ends), default=0) / MM
    last = max((hi for _, hi in ends), default=0) / MM
    return [_filled(run, walls[one.wall]) for one in run.infills] + [
        _account(
            run, part, asked.problem, walls[part.wall], whole, scraps, [o for o in drawn_openings.values() if o.wall == part.wall],
            (edges[n], edges[n + 1]), (first, last), solved.shift, theirs, laid.straight,
        )
        for n, part in enumerate(run.parts)
    ]  # fmt: skip


def _filled(run: Run, wall: Wall) -> Account:
    """Return the account of a wall that fills a hole: all of its masonry is lent to the wall around it."""
    area = sum((b - a) * (p + q - 2 * wall.bottom) / 2e12 for (a, p), (b, q) in pairwise(wall.top)) / 1e6
    ledger = dict.fromkeys(LEDGER, 0.0) | {
        "drawn": wall.drawn_m3,
        "openings": wall.finish_voids_m3,
        "finishes": wall.finishes_m3,
        "lent": wall.drawn_m3 - wall.finish_voids_m3 - wall.finishes_m3,
    }
    return Account(
        wall=wall.guid,
        ledger=ledger,
        area={"wall": area, "openings": 0.0, "laid": area, "set_aside": 0.0},
        fit={"start": 0, "end": 0, "top": 0, "thickness": run.thickness - wall.thickness},
        causes={},
        reasons=wall.reasons,
    )


def _grown(boxes: Sequence[Box]) -> list[Box]:
    """Return fewer boxes that cover the same: those of one height grown together along it, then those of one width up it.

    A wall has some thousand pieces and joints, and is a few dozen rectangles; overlays of those are a hundred times faster.
    """
    rows: dict[tuple[Nm, Nm], list[tuple[Nm, Nm]]] = {}
    for a, b, low, high in boxes:
        rows.setdefault((low, high), []).append((a, b))
    columns: dict[tuple[Nm, Nm], list[tuple[Nm, Nm]]] = {}
    for (low, high), spans in rows.items():
        for span in _chained(spans):
            columns.setdefault(span, []).append((low, high))
    return sorted((a, b, low, high) for (a, b), heights in columns.items() for low, high in _chained(heights))


def _chained(spans: list[tuple[Nm, Nm]]) -> list[tuple[Nm, Nm]]:
    """Return the unions of intervals that touch or overlap."""
    out: list[tuple[Nm, Nm]] = []
    for a, b in sorted(spans):
        if out and a <= out[-1][1]:
            out[-1] = (out[-1][0], max(b, out[-1][1]))
        else:
            out.append((a, b))
    return out


def _unbridged(asked: Asked, puts: Sequence[Put]) -> dict[str, list[Any]]:
    """Return the strips over openings that nothing bridges, and those below lintels that lie higher: they are set aside."""
    out: dict[str, list[Any]] = {}
    bottom = asked.fitted.run.bottom
    through = [o for o in asked.fitted.openings if o.through]
    bridged = {n for put in puts if put.unit for n in put.opening}
    for n, (o, hole) in enumerate(zip(through, asked.problem.holes, strict=False)):
        if hole.top > o.head - bottom:
            strip = _box(o.start / MM, o.end / MM, (o.head - bottom) / MM, hole.top / MM)
            out.setdefault(HIGHER if n in bridged else BARE, []).append(strip)
    return out


def _voids(asked: Asked) -> list[Any]:
    """Return what is left out where nothing would carry it, down to the piece below."""
    behind = asked.problem.holes[sum(o.through for o in asked.fitted.openings) :]
    bed = asked.fitted.run.catalogue.bed.most
    return [_box(v.lo / MM, v.hi / MM, (v.bottom - bed) / MM, min(v.top / MM, FAR)) for v in behind]


def _account(
    run: Run,
    part: Part,
    problem: Problem,
    wall: Wall,
    whole: Any,
    scraps: Mapping[str, Any],
    openings: Sequence[RunOpening],
    between: tuple[float, float],
    ends: tuple[float, float],
    shift: tuple[Nm, Nm],
    theirs: Any,
    straight: Sequence[Box],
) -> Account:
    base = run.bottom
    thick, laid_thick = part.thickness / MM, run.thickness / MM
    top = [(s / MM, (z - base) / MM) for s, z in part.top]
    drawn = shapely.make_valid(
        shapely.Polygon([(part.start / MM, (part.bottom - base) / MM), (part.end / MM, (part.bottom - base) / MM), *reversed(top)])
    ).buffer(0)
    filled = [i for i in run.infills if i.host == part.wall]
    closed = _or([_box(i.start / MM, i.end / MM, (i.sill - base) / MM, (i.head - base) / MM) for i in filled])
    holes = [_box(o.start / MM, o.end / MM, (o.sill - base) / MM, (o.head - base) / MM) for o in openings if o.through]
    holes = _or([*holes, closed])
    holes = _and(holes, drawn)
    net = _less(drawn, holes)
    mine = _and(whole, _box(between[0], between[1], -FAR, FAR))
    squares = [_square(m) for m in problem.meets if m.half]
    square = _or([_box(a / MM, b / MM, -FAR, FAR) for a, b in squares])
    over = _overhang(run, problem, drawn)
    aside = _and(net, _or([*scraps.values(), _less(over, theirs)]))
    ceiling = _under_top(problem, between)
    # where no piece at all is laid, neither are the beds and joints between what is left out
    bare = _less(net, _or([aside, _and(square, ceiling), theirs])) if not mine.area else shapely.Polygon()
    aside = _or([aside, bare])
    rest = _less(net, aside)
    extra, lack = _less(mine, rest), _less(rest, mine)
    lent = _and(lack, _or([_and(square, ceiling), theirs]))
    beyond = _or([_box(-FAR, part.start / MM, -FAR, FAR), _box(part.end / MM, FAR, -FAR, FAR)])
    borrowed = _or([_and(_and(extra, square), beyond), _and(extra, closed)])
    longer = _and(_less(extra, borrowed), beyond)
    past = _or([_box(-FAR, ends[0], -FAR, FAR), _box(ends[1], FAR, -FAR, FAR)])
    shorter = _less(_and(_and(lack, past), ceiling), lent)
    taller = extra.area - borrowed.area - longer.area
    lower = lack.area - lent.area - shorter.area
    m3 = thick * 1e-9
    special = sum(_box_m3(o, part.thickness) - v for o, v in _true_voids(wall, openings))
    niches = sum(v for o, v in _niches(wall))
    inexact = wall.drawn_m3 - wall.set_aside_m3 - wall.finishes_m3 - wall.finish_voids_m3 - drawn.area * m3
    causes = {BETWEEN: 0.0} | {cause: _and(net, scrap).area * 1e-6 for cause, scrap in scraps.items()}
    sharp = _overhang(run, problem, drawn, loose=True)
    causes[SHARP] = _and(net, _less(sharp, theirs)).area * 1e-6
    causes[PAST] = _and(net, _less(_less(over, sharp), theirs)).area * 1e-6
    causes[max(scraps, key=lambda cause: causes[cause], default=BETWEEN)] += bare.area * 1e-6
    causes[SHAPED] = special / thick * 1e3
    ragged = inexact if abs(inexact) > 0.005 * wall.drawn_m3 else 0.0
    lost, notched = max(ragged, 0.0), max(-ragged, 0.0)  # a body with notches where others meet it is laid through
    ledger = {
        "drawn": wall.drawn_m3,
        "openings": holes.area * m3 - special + niches + wall.finish_voids_m3,
        "finishes": wall.finishes_m3,
        "set_aside": aside.area * m3 + special + lost + wall.set_aside_m3,
        "lent": lent.area * m3,
        "borrowed": borrowed.area * m3 + notched,
        "fit_length": (longer.area - shorter.area) * m3 - (inexact - ragged),
        "fit_height": (taller - lower) * m3,
        "fit_thickness": mine.area * (laid_thick - thick) * 1e-9 + niches,
        "laid": mine.area * laid_thick * 1e-9,
    }
    causes["at ends that are no square or mitred cut"] = lost / thick * 1e3
    causes = {cause: size for cause, size in causes.items() if abs(size) > 1e-6}
    reasons = (*wall.reasons, *(f"{size:.3f} m2 {cause}" for cause, size in causes.items()))
    area_open, area_aside = holes.area * 1e-6, aside.area * 1e-6 + wall.set_aside_m2
    area_wall = drawn.area * 1e-6 + wall.set_aside_m2
    fit = {
        "start": _fit_end(part.start, problem, "start", shift[0], part is run.parts[0], -1, run.catalogue.fit.joined_end),
        "end": _fit_end(part.end, problem, "end", shift[1], part is run.parts[-1], 1, run.catalogue.fit.joined_end),
        "top": _fit_top(problem, part, base),
        "thickness": run.thickness - part.thickness,
    }
    area = {"wall": area_wall, "openings": area_open, "laid": area_wall - area_open - area_aside, "set_aside": area_aside}
    open_joints = sum(max(0.0, min(b / MM, between[1]) - max(a / MM, between[0])) * (q - p) / MM for a, b, p, q in straight)
    return Account(
        wall=part.wall, ledger=ledger, area=area, fit=fit, causes=causes, reasons=reasons, straight_m3=open_joints * laid_thick * 1e-9
    )  # fmt: skip


def _square(meets: Meets) -> tuple[Nm, Nm]:
    """Return the stations at a corner where this run or the other lies; an end that is cut askew only beyond its innermost point."""
    if meets.askew is None:
        return meets.station - meets.half, meets.station + meets.half
    first, last = (meets.half, meets.askew.out) if meets.role == "start" else (meets.askew.out, meets.half)
    return meets.station - first, meets.station + last


def _true_voids(wall: Wall, openings: Sequence[RunOpening]) -> list[tuple[RunOpening, float]]:
    volume = {o.key: o.volume_m3 for o in wall.openings if o.through and o.volume_m3 is not None}
    return [(o, volume[o.key]) for o in openings if o.key in volume]


def _niches(wall: Wall) -> list[tuple[str, float]]:
    return [(o.key, o.volume_m3 or 0.0) for o in wall.openings if not o.through]


def _box_m3(o: RunOpening, thickness: Nm) -> float:
    return (o.end - o.start) * (o.head - o.sill) * thickness / 1e27


def _overhang(run: Run, problem: Problem, drawn: Any, *, loose: bool = False) -> Any:
    """Return the strips by which the drawn body sticks out past its corners further than the fit of a joined end.

    With `loose` only those at corners where a run stops square before the other.
    """
    fit = run.catalogue.fit.joined_end
    out: list[Any] = []
    for m, junction in zip(problem.meets, run.junctions, strict=True):
        if not m.half or m.role == "through" or (loose and not junction.loose):
            continue
        if m.role == "start":
            limit = (m.station - m.half) / MM
            if drawn.bounds[0] < limit - fit.minus / MM:
                out.append(_box(-FAR, limit, -FAR, FAR))
        else:
            limit = (m.station + m.half) / MM
            if drawn.bounds[2] > limit + fit.minus / MM:
                out.append(_box(limit, FAR, -FAR, FAR))
    return _or(out)


def _under_top(problem: Problem, between: tuple[float, float]) -> Any:
    """Return the region under the top as laid, far beyond both ends."""
    top = [(s / MM, z / MM) for s, z in problem.top]
    points = [(-FAR, -FAR), (FAR, -FAR), (FAR, top[-1][1]), *reversed(top), (-FAR, top[0][1])]
    return shapely.Polygon(points)


def _fit_end(drawn: Nm, problem: Problem, role: str, shift: Nm, outer: bool, sign: int, tolerance: Fit) -> Nm:
    """Return laid less drawn at an end; what is beyond the tolerance there is set aside or lent, and no fit."""
    if not outer:
        return 0
    m = next(m for m in problem.meets if m.role == role)
    if not m.half:
        return shift
    out = sign * (drawn - m.station) - m.half
    short = -sign * (drawn - m.station) - m.half
    fit = -out if out > 0 else short if short > 0 else 0
    return fit if -tolerance.minus <= fit <= tolerance.plus else 0


def _fit_top(problem: Problem, part: Part, base: Nm) -> Nm:
    """Return the largest move of a flat stretch of the top."""
    out = 0
    for (a, p), (b, q) in zip(part.top, part.top[1:], strict=False):
        if a < b and p == q:
            middle = (max(a, part.start) + min(b, part.end)) // 2
            laid = level(problem.top, middle, 1) + base
            if abs(laid - p) > abs(out):
                out = laid - p
    return out

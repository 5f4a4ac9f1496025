"""What would hang: pieces that nothing carries over half their length or at both ends, and what of the runs is left out for it.

The joints are solved course by course, and what bears a piece may belong to another run: an opening in a corner, two openings
that touch, or a corner where neither wall goes on leave pieces over nothing.  Those are found in the laid pieces; the stretch
that nothing carries is left out up to the top, or to the next opening, and the runs are solved again until all stands.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import shapely

from wallquant.bonding.asking import Asked
from wallquant.bonding.cells import FAR, Block
from wallquant.bonding.conflicts import LeftOut
from wallquant.bonding.intervals import Interval, joined
from wallquant.bonding.laid import Outline
from wallquant.bonding.problem import Put
from wallquant.bonding.solving import Solved
from wallquant.layout import Pieces, Run
from wallquant.units import MM, Nm

END: Nm = 100 * MM
"""A support belongs to an end of a piece if it lies within this, or within a quarter of its length, of that end."""
HANGS = "over openings or corners where nothing carries it"
"""The cause by which the ledger books what is left out."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Hanging:
    """A piece that does not stand: its row, its run, the stretches of it that nothing carries, and its underside (relative)."""

    row: int
    run: str
    open: tuple[Interval, ...]
    bottom: Nm


def without(one: Asked, voids: Sequence[Block]) -> Asked:
    """Return a run of which these stretches are left out, behind its openings."""
    return replace(one, problem=replace(one.problem, holes=(*one.problem.holes, *voids))) if voids else one


def void(one: Asked, stretch: Interval, bottom: Nm) -> Block:
    """Return a stretch from a level up to the top, or to the underside of an opening as wide as it."""
    lo, hi = stretch
    over = [h.bottom for h in one.problem.holes if h.lo <= lo and hi <= h.hi and h.bottom > bottom]
    return Block(lo=lo, hi=hi, bottom=bottom, top=min(over, default=FAR))


def hanging(pieces: Pieces, runs: Sequence[Run]) -> Iterator[Hanging]:
    """Yield the pieces that do not stand, by run and course.

    A piece stands on the slab, or on pieces of any run that lie within a bed under both its ends and at least half of it; under a
    lintel both ends are enough.
    """
    doubtful = _doubtful(pieces, runs)
    if not doubtful:
        return
    plan = _plans(pieces, runs)
    rows = np.array(doubtful, np.int64)
    bed = np.array([r.catalogue.bed.most for r in runs], np.int64)[pieces.run]
    upper, lower = shapely.STRtree(plan).query(plan[rows])
    apart = pieces.bottom[rows[upper]] - pieces.top[lower]
    near = (apart > 0) & (apart <= bed[rows[upper]])
    tops = plan.copy()  # of what carries: where its top slopes, its level part
    for row in pieces.elevation:
        flat = _flat(pieces, row)
        tops[row] = _strip(runs[int(pieces.run[row])], flat) if flat else None
    upper, lower = upper[near], lower[near]
    held = shapely.intersection(plan[rows[upper]], tops[lower])
    some = shapely.area(held) > 1  # nothing at all has no area
    upper, held = upper[some], held[some]
    share, ends = np.zeros(len(rows)), np.zeros((2, len(rows)), bool)
    np.add.at(share, upper, shapely.area(held))
    zone = np.minimum(END, (pieces.end[rows] - pieces.start[rows]) // 4) / MM
    for side, at in zip(ends, (pieces.start[rows], pieces.end[rows]), strict=True):
        np.logical_or.at(side, upper, shapely.distance(held, shapely.points(_places(pieces, runs, rows, at) / MM)[upper]) <= zone[upper])
    lintel = np.array([u.kind == "lintel" for u in pieces.units])[pieces.unit[rows]]
    good = ends.all(axis=0) & (lintel | (share >= shapely.area(plan[rows]) / 2))
    for n in np.flatnonzero(~good).tolist():
        row = int(rows[n])
        run, whole = runs[int(pieces.run[row])], (int(pieces.start[row]), int(pieces.end[row]))
        rest = _rest(whole, [_stations(run, h) for h in held[upper == n]], run.catalogue.head_joint.most)
        yield Hanging(row=row, run=run.name, open=tuple(rest) or (whole,), bottom=int(pieces.bottom[row]) - run.bottom)


def _doubtful(pieces: Pieces, runs: Sequence[Run]) -> list[int]:
    """Return the pieces that do not lie on pieces of their own run all along; those of a square corner are among them."""
    out: list[int] = []
    edges = np.flatnonzero(np.diff(pieces.run, prepend=-1, append=-1))
    for lo, hi in zip(edges[:-1].tolist(), edges[1:].tolist(), strict=True):
        run = runs[int(pieces.run[lo])]
        bed, most, slab = run.catalogue.bed.most, run.catalogue.head_joint.most, run.bottom + run.catalogue.levelling_bed.most
        tops: dict[Nm, list[Interval]] = {}
        for row, top in enumerate(pieces.top[lo:hi].tolist(), start=lo):
            if flat := _flat(pieces, row):
                tops.setdefault(top, []).append(flat)
        closed: dict[Nm, tuple[Any, Any]] = {}
        starts, ends = pieces.start[lo:hi], pieces.end[lo:hi]
        for z in np.unique(pieces.bottom[lo:hi]).tolist():
            rows = np.flatnonzero(pieces.bottom[lo:hi] == z)
            if z <= slab:
                continue
            if z not in closed:
                held = np.array(joined([i for t, own in tops.items() if 0 < z - t <= bed for i in own], most), np.int64).reshape(-1, 2)
                closed[z] = held[:, 0], held[:, 1]
            first_, last_ = closed[z]
            at = np.searchsorted(first_, starts[rows], side="right") - 1
            good = (at >= 0) & (last_[np.maximum(at, 0)] >= ends[rows]) if len(first_) else np.zeros(len(rows), bool)
            out += (rows[~good] + lo).tolist()
    return sorted(out)


def _rest(whole: Interval, held: Sequence[Interval], most: Nm) -> list[Interval]:
    """Return what of a stretch is not held, joints between what holds it aside."""
    at, out = whole[0], []
    for a, b in joined(held, most):
        if a - at > most:
            out.append((at, a))
        at = max(at, b)
    return [*out, (at, whole[1])] if whole[1] - at > most else out


def _flat(pieces: Pieces, row: int) -> Interval | None:
    """Return the stations of the level top of a piece."""
    shape: Outline | None = pieces.elevation.get(row)
    if shape is None:
        return int(pieces.start[row]), int(pieces.end[row])
    top = int(pieces.top[row])
    at = [s for s, z in shape if z == top]
    return (min(at), max(at)) if len(at) > 1 else None


def _plans(pieces: Pieces, runs: Sequence[Run]) -> Any:
    """Return the outline in plan of every piece, millimetres."""
    every = np.arange(len(pieces))
    half = np.array([r.thickness // 2 for r in runs], np.int64)[pieces.run]
    around = ((pieces.start, -half), (pieces.end, -half), (pieces.end, half), (pieces.start, half))
    out = shapely.polygons(np.stack([_places(pieces, runs, every, s, side) for s, side in around], axis=1) / MM)
    for row, ring in pieces.plan.items():
        run = runs[int(pieces.run[row])]
        out[row] = shapely.Polygon([(x / MM, y / MM) for x, y in (run.at(*p) for p in ring)])
    return out


def _strip(run: Run, flat: Interval) -> Any:
    half = run.thickness // 2
    points = (run.at(flat[0], -half), run.at(flat[1], -half), run.at(flat[1], half), run.at(flat[0], half))
    return shapely.Polygon([(x / MM, y / MM) for x, y in points])


def _places(pieces: Pieces, runs: Sequence[Run], rows: Any, stations: Any, offsets: Any = 0) -> Any:
    """Return plan coordinates of stations and offsets, a row each, nanometres."""
    u = np.array([r.direction for r in runs])[pieces.run[rows]]
    origin = np.array([r.start for r in runs], float)[pieces.run[rows]]
    return origin + u * np.reshape(stations, (-1, 1)) + u[:, ::-1] * (-1, 1) * np.reshape(offsets, (-1, 1))


def _stations(run: Run, shape: Any) -> Interval:
    """Return between which stations a shape in plan lies, to whole micrometres: its corners come from overlays."""
    (u, v), (x, y) = run.direction, run.start
    at = [((p * MM - x) * u + (q * MM - y) * v) / 1000 for p, q in shapely.get_coordinates(shape).tolist()]
    return round(min(at)) * 1000, round(max(at)) * 1000


def unsupported(
    pieces: Pieces, runs: Sequence[Run], asked: Mapping[str, Asked], solved: Mapping[str, Solved], left: Mapping[str, frozenset[str]]
) -> tuple[dict[str, list[Block]], list[LeftOut]]:
    """Return what to leave out so that nothing hangs: stretches of each run, and what should bridge openings and finds no bearing.

    Parameters
    ----------
    pieces, runs, asked, solved
        As laid.
    left : mapping of run to keys
        Openings that nothing bridges already.
    """
    voids: dict[str, list[Block]] = {}
    openings: list[LeftOut] = []
    for one in hanging(pieces, runs):
        host = asked[one.run]
        through = [o.key for o in host.fitted.openings if o.through]
        put = _put(pieces, one.row, solved[one.run].face.puts)
        bridged = {through[k] for k in put.opening} if put else _over(host, one)
        if bridged and not bridged <= left[one.run]:
            rule = put.rule if put else "engine"
            openings.append(LeftOut(run=one.run, other="", corner="", openings=tuple(sorted(bridged)), rule=rule, other_rule="engine"))
        elif not put:
            voids.setdefault(one.run, []).extend(void(host, stretch, one.bottom) for stretch in one.open)
    return voids, openings


def _put(pieces: Pieces, row: int, puts: Sequence[Put]) -> Put | None:
    """Return the fixed piece that a row is."""
    if pieces.fixed[row] < 0:
        return None
    start, end = int(pieces.start[row]), int(pieces.end[row])
    height = int(pieces.top[row] - pieces.bottom[row])
    return next((p for p in puts if p.unit and (p.lo, p.hi, p.top - p.bottom) == (start, end, height)), None)


def _over(one: Asked, piece: Hanging) -> set[str]:
    """Return the openings whose heads lie right under the stretches of a piece that nothing carries."""
    run, under = one.fitted.run, piece.bottom - one.problem.levels.height
    through = [o for o in one.fitted.openings if o.through]
    return {
        o.key for o in through if under < o.head - run.bottom <= piece.bottom and any(o.start < hi and lo < o.end for lo, hi in piece.open)
    }

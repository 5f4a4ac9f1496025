"""Infills: walls that are drawn in a hole of another wall, in its line and of its masonry.  They are laid as that wall.

A wall that was drawn with a hole, and a second wall in the hole, is one body of masonry: it is bonded through, and nothing bridges
the hole.  Only a wall that closes the hole from jamb to jamb, or from sill to head, leaves a hole that is a rectangle; others are
no infills.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely

from wallquant.building import Opening, Wall
from wallquant.findings import Finding, Place
from wallquant.graph.lines import PARALLEL, SIDE, Line, line, turn
from wallquant.masonry import Unit
from wallquant.units import MM, Nm, mm_text


@dataclass(frozen=True, kw_only=True, slots=True)
class Filled:
    """A wall that fills a hole of another: both, and what it closes of the hole, as stations and levels of the other wall."""

    wall: Wall
    host: str
    start: Nm
    end: Nm
    sill: Nm
    head: Nm


def infills(
    walls: Sequence[tuple[Wall, Unit]], join: Nm, least: Nm
) -> tuple[list[tuple[Wall, Unit]], tuple[Filled, ...], tuple[Finding, ...]]:
    """Take the walls that fill holes of other walls out of the list, and close these holes.

    Parameters
    ----------
    walls : sequence of (Wall, Unit)
        Each with the unit that it is laid with.
    join : int
        How far an infill may stop short of the hole's edges, or reach past them, and still close it.
    least : int
        Below this size what is left of a hole is no hole.

    Returns
    -------
    list of (Wall, Unit), tuple of Filled, tuple of Finding
        The walls that are laid, in the order given, with the holes that are left.
    """
    if len(walls) < 2:
        return list(walls), (), ()
    lines = [line((w.guid,), w.start, w.end, u.thickness, w.bottom, max(z for _, z in w.top)) for w, u in walls]
    boxes = shapely.box(*np.array([one.bounds(0) for one in lines]).T)
    hosts = [k for k, (w, _) in enumerate(walls) if any(_plain(o) for o in w.openings)]
    tree = shapely.STRtree(boxes)
    now = {k: walls[k][0] for k in range(len(walls))}
    found: list[Filled] = []
    findings: list[Finding] = []
    gone: set[int] = set()
    for host in sorted(hosts, key=lambda k: (-walls[k][0].drawn_m3, walls[k][0].guid)):
        near = sorted(tree.query(boxes[host]).tolist(), key=lambda k: walls[k][0].guid)
        for k in near:
            if k == host or k in gone or host in gone or not _fits(walls, lines, host, k):
                continue
            closed = _closed(now[host], walls[k][0], join, least)
            if closed is None:
                continue
            hole, left, one = closed
            gone.add(k)
            found.append(one)
            rest = [*(o for o in now[host].openings if o.key != hole.key), *([left] if left else [])]
            now[host] = replace(now[host], openings=tuple(sorted(rest, key=lambda o: (o.start, o.sill, o.key))))
            findings.append(_told(walls[k][0], walls[host][0], one))
    laid = [(now[k], unit) for k, (_, unit) in enumerate(walls) if k not in gone]
    return laid, tuple(found), tuple(findings)


def _plain(hole: Opening) -> bool:
    return hole.through and hole.filling is None and hole.volume_m3 is None


def _fits(walls: Sequence[tuple[Wall, Unit]], lines: Sequence[Line], host: int, k: int) -> bool:
    """Whether a wall may be an infill of another: in its line, of its unit, whole, and level at its top."""
    wall, unit = walls[k]
    if unit != walls[host][1] or turn(lines[host], lines[k]) >= PARALLEL or wall.openings or wall.set_aside_m3:
        return False
    away = max(abs(lines[host].beside(p)) for p in (wall.start, wall.end))
    return away <= SIDE and len({z for _, z in wall.top}) == 1


def _closed(host: Wall, wall: Wall, join: Nm, least: Nm) -> tuple[Opening, Opening | None, Filled] | None:
    """Return the hole that a wall closes, what is left of it, and the record; None where it closes none."""
    guide = line((), host.start, host.end, host.thickness, host.bottom, 0)
    first, last = guide.station(host.start), guide.station(host.end)
    sign = 1 if last > first else -1
    lo, hi = sorted(round(sign * (guide.station(p) - first)) for p in (wall.start, wall.end))
    low, high = wall.bottom, wall.top[0][1]
    for hole in host.openings:
        if not _plain(hole) or not (hole.start - join <= lo < hi <= hole.end + join and hole.sill - join <= low < high <= hole.head + join):
            continue
        wide = lo - hole.start <= join and hole.end - hi <= join
        tall = low - hole.sill <= join and hole.head - high <= join
        left: Opening | None = None
        if wide and tall:
            start, end, sill, head = hole.start, hole.end, hole.sill, hole.head
        elif wide and low - hole.sill <= join and hole.head - high >= least:
            start, end, sill, head, left = hole.start, hole.end, hole.sill, high, replace(hole, sill=high)
        elif wide and hole.head - high <= join and low - hole.sill >= least:
            start, end, sill, head, left = hole.start, hole.end, low, hole.head, replace(hole, head=low)
        elif tall and lo - hole.start <= join and hole.end - hi >= least:
            start, end, sill, head, left = hole.start, hi, hole.sill, hole.head, replace(hole, start=hi)
        elif tall and hole.end - hi <= join and lo - hole.start >= least:
            start, end, sill, head, left = lo, hole.end, hole.sill, hole.head, replace(hole, end=lo)
        else:
            continue
        return hole, left, Filled(wall=wall, host=host.guid, start=start, end=end, sill=sill, head=head)
    return None


def _told(wall: Wall, host: Wall, one: Filled) -> Finding:
    size = f"{mm_text(round((one.end - one.start) / MM) * MM)} mm x {mm_text(round((one.head - one.sill) / MM) * MM)} mm"
    return Finding(
        code="graph.infill",
        severity="note",
        text=(
            f"Wall {wall.name or wall.guid} fills a hole of {size} in wall {host.name or host.guid}, of the same masonry: it is laid and "
            "bonded as that wall, without a lintel. Draw a window or door in the hole, or no wall, if it stays open."
        ),
        place=Place(wall=wall.guid, storey=wall.storey),
    )

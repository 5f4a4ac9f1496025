"""What lies beyond the planes in which a run's ends are cut askew: the other run's pieces, as the ledger sees them."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from math import hypot

from wallquant.bonding.asking import Asked
from wallquant.bonding.cells import level
from wallquant.bonding.laid import Guest
from wallquant.bonding.solving import Solved
from wallquant.layout import Junction, Plane
from wallquant.units import MM, Nm


def beyond(asked: Mapping[str, Asked], solved: Mapping[str, Solved]) -> dict[str, tuple[Guest, ...]]:
    """Return for each run what lies beyond the planes of its ends, over the levels at which the other run stands there."""
    return {
        name: tuple(g for j in one.fitted.run.junctions if j.plane and j.other in asked for g in _faced(one, j, j.plane, asked, solved))
        for name, one in asked.items()
    }


def _faced(one: Asked, junction: Junction, plane: Plane, asked: Mapping[str, Asked], solved: Mapping[str, Solved]) -> Iterable[Guest]:
    other, done = asked[junction.other], solved[junction.other]
    there = other.fitted.run
    shift = there.bottom - one.fitted.run.bottom
    start = junction.role == "start"
    face = plane.station - plane.joint if start else plane.station + plane.joint
    spans = [s for row in done.face.rows for s in row.spans]
    if plane.shared:
        met = next(j for j in there.junctions if j.corner == junction.corner)
        at: float = met.plane.station if met.plane else met.station
        levels = [(s.bottom, s.top) for s in spans if (s.lean_lo if met.role == "start" else s.lean_hi)]
    else:
        (x, y), (a, b), (u, v) = one.fitted.run.at(face), there.start, there.direction
        at, half = (x - a) * u + (y - b) * v, hypot(plane.lean, one.fitted.run.thickness / 2) - MM
        boxes = [(s.lo, s.hi, s.bottom, s.top) for s in spans]
        boxes += [(p.lo, p.hi, p.bottom, p.top) for p in done.face.puts if p.unit]
        levels = [(bottom, top) for p, q, bottom, top in boxes if p < at + half and q > at - half]
    lo, hi = (face - plane.reach, face) if start else (face, face + plane.reach)
    ceiling = max(level(other.problem.top, round(at), side) for side in (-1, 1))
    levels = [(bottom, min(top, ceiling)) for bottom, top in levels if bottom < ceiling]
    for bottom, top in _apart(levels, there.catalogue.bed.most):
        yield Guest(box=(lo, hi, bottom + shift, top + shift), joint=True, plane=plane.joint)


def _apart(levels: list[tuple[Nm, Nm]], bed: Nm) -> list[tuple[Nm, Nm]]:
    """Return levels as a union, beds crossed."""
    out: list[tuple[Nm, Nm]] = []
    for bottom, top in sorted(set(levels)):
        if out and bottom <= out[-1][1] + bed:
            out[-1] = (out[-1][0], max(top, out[-1][1]))
        else:
            out.append((bottom, top))
    return out

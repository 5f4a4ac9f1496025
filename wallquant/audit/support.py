"""I5: each piece rests on pieces, lintel or slab over at least half its length, and at both its ends or on its bearings."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from wallquant.audit.broken import broken, mm
from wallquant.audit.cells import Floats
from wallquant.audit.elevation import Elevation
from wallquant.audit.neighbours import THIN, by_run
from wallquant.audit.read import MM, Plan
from wallquant.findings import Finding

END_MM = 100.0
"""A support belongs to an end of a piece if it lies within this, or within a quarter of the underside, of that end."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Support:
    """What holds each piece: length supported (mm), support at its start and end, the slab."""

    length: Floats
    start: Any
    end: Any
    slab: Any


def check(plan: Plan, view: Elevation) -> list[Finding]:
    """Return pieces that nothing holds, or that hang over."""
    p = plan.pieces
    held = _support(plan, view)
    wide = (view.under[:, 1] - view.under[:, 0])[: p.count]
    lintel = np.array([unit.kind == "lintel" for unit in plan.header.units] + [False])[p.unit]
    ends = held.start & held.end
    good = held.slab | (ends & (lintel | (held.length >= wide / 2 - MM)))
    found = []
    for at in np.flatnonzero(~good & ~_built_lintel(plan)).tolist():
        what = "nothing is" if held.length[at] <= 0 else f"only {mm(float(held.length[at]))} of {mm(float(wide[at]))} or one end is"
        where = plan.runs.name[p.run[at]]
        text = f"pieces.csv, {p.name[at]}: {what} held by pieces, lintel or slab within the range of beds"
        found.append(
            broken(
                "I5",
                text,
                piece=p.name[at],
                run=where,
                course=int(p.course[at]),
                measured=mm(float(held.length[at])),
                wanted=f"at least {mm(wide[at] / 2)}",
            )
        )
    return found


def _support(plan: Plan, view: Elevation) -> Support:
    p, r, bed = plan.pieces, view.rests, plan.header.levelling
    within = r.bed >= plan.header.bed.least - MM
    upper, start, end = r.upper[within], r.start[within], r.end[within]
    share = view.share[r.lower[within]]
    length = np.zeros(p.count)
    np.add.at(length, upper, (end - start) * share)
    under = view.under[upper]
    zone = np.minimum((under[:, 1] - under[:, 0]) / 4, END_MM)
    at_start, at_end = np.zeros(p.count, dtype=bool), np.zeros(p.count, dtype=bool)
    np.logical_or.at(at_start, upper, start < under[:, 0] + zone - THIN)
    np.logical_or.at(at_end, upper, end > under[:, 1] - zone + THIN)
    gap = p.bottom - plan.runs.bottom[p.run]
    slab = (gap >= bed.least - MM) & (gap <= bed.most + MM)
    return Support(length=length, start=at_start, end=at_end, slab=slab)


def _built_lintel(plan: Plan) -> Any:
    """Pieces over an opening that is bridged by units: a lintel made of U-units on props, or what openings.csv names as such."""
    p, o = plan.pieces, plan.openings
    trough = np.array([unit.kind == "U" for unit in plan.header.units] + [False])[p.unit]
    built = np.zeros(p.count, dtype=bool)
    index, groups = {name: at for at, name in enumerate(plan.runs.name)}, by_run(plan)
    rows = zip(o.texts("run"), o.texts("bridged"), o.numbers("start_mm"), o.numbers("end_mm"), o.numbers("head_mm"), strict=True)
    slack = max(plan.header.fit["head"]) + plan.header.bed.most + MM
    for run, bridged, start, end, head in rows:
        if bridged == "units" and run in index:
            own = groups[index[run]]
            near = (np.abs(p.bottom[own] - head) <= slack) & (p.start[own] < end - THIN) & (p.end[own] > start + THIN)
            built[own[near & trough[own]]] = True
    return built

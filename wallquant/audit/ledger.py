"""I1: each wall's ledger closes, agrees with what is laid, and its fits are within their tolerances."""

from __future__ import annotations

from collections import defaultdict
from itertools import pairwise

import numpy as np

from wallquant.audit.broken import broken, mm
from wallquant.audit.elevation import Elevation
from wallquant.audit.header import Wall
from wallquant.audit.laid import Laid, laid
from wallquant.audit.neighbours import by_run
from wallquant.audit.read import MM, Plan
from wallquant.files import LEDGER
from wallquant.findings import Finding

Parts = dict[str, list[tuple[float, float, int, int]]]
RESIDUAL_M3 = 1e-6
_SIGNS = dict.fromkeys(LEDGER, 1.0) | {"openings": -1.0, "finishes": -1.0, "set_aside": -1.0, "lent": -1.0, "laid": -1.0}


def check(plan: Plan, view: Elevation) -> list[Finding]:
    """Return what of the ledgers does not hold."""
    parts = _parts(plan)
    volumes = _volumes(plan, parts, laid(plan, view))
    rows = {name: at for at, name in enumerate(plan.runs.name)}
    kinds = {corner.name: corner.kind for corner in plan.corners}
    found = []
    for at, wall in enumerate(plan.header.walls):
        rest = sum(_SIGNS[term] * wall.ledger[term] for term in LEDGER)
        if abs(rest) > RESIDUAL_M3:
            text = f"summary.json, wall {wall.name}: its ledger does not close, {rest:.7f} m3 are left over"
            found.append(broken("I1", text, wall=wall.name, measured=f"{rest:.7f} m3", wanted="0 m3"))
        volume, doubt = volumes.get(at, (0.0, 0.0))
        if abs(volume - wall.ledger["laid"]) > RESIDUAL_M3 + doubt:
            text = (
                f"summary.json, wall {wall.name}: its ledger says {wall.ledger['laid']:.7f} m3 laid, "
                f"pieces.csv holds {volume:.7f} m3 of pieces and joints"
            )
            found.append(broken("I1", text, wall=wall.name, measured=f"{volume:.7f} m3", wanted=f"{wall.ledger['laid']:.7f} m3"))
        area = wall.area
        if abs(area["wall"] - area["openings"] - area["set_aside"] - area["laid"]) > RESIDUAL_M3:
            text = f"summary.json, wall {wall.name}: area laid {area['laid']:.6f} m2 is not wall less openings less set aside"
            found.append(broken("I1", text, wall=wall.name))
        found.extend(_fits(plan, wall, parts, rows, kinds))
    if len(volumes) and -1 in volumes:
        text = f"pieces.csv holds {volumes[-1][0]:.7f} m3 on runs that no wall of summary.json has a part in"
        found.append(broken("I1", text))
    found.extend(_ends(plan, parts, kinds))
    return found


def _parts(plan: Plan) -> Parts:
    """Parts of walls on each run by station: start, end, row of the wall, and which of its parts it is."""
    parts = defaultdict(list)
    for at, wall in enumerate(plan.header.walls):
        for n, part in enumerate(wall.parts):
            parts[part.run].append((part.start, part.end, at, n))
    return {run: sorted(rows) for run, rows in parts.items()}


def _volumes(plan: Plan, parts: Parts, runs: tuple[Laid, ...]) -> dict[int, tuple[float, float]]:
    """m3 laid for each wall and the doubt about it; under -1 what belongs to no wall."""
    volumes: dict[int, tuple[float, float]] = {}
    for name, thickness, done in zip(plan.runs.name, plan.runs.thickness.tolist(), runs, strict=True):
        rows = parts.get(name, [(0.0, 0.0, -1, 0)])
        cuts = [-np.inf, *((one[1] + other[0]) / 2 for one, other in pairwise(rows)), np.inf]
        for (_, _, wall, _), low, high in zip(rows, cuts, cuts[1:], strict=False):
            volume, doubt = volumes.get(wall, (0.0, 0.0))
            volumes[wall] = (volume + done.area(low, high) * thickness * 1e-9, doubt + done.doubt * thickness * 1e-9)
    if -1 in volumes and volumes[-1][0] <= RESIDUAL_M3:
        del volumes[-1]
    return volumes


def _fits(plan: Plan, wall: Wall, parts: Parts, rows: dict[str, int], kinds: dict[str, str]) -> list[Finding]:
    """Fits that the summary states, against their tolerances, and the thickness against that of the runs."""
    found = []
    alone = len({id(part.fit) for part in wall.parts}) <= 1  # the wall's own fits are those of its first start and last end
    for n, part in enumerate(wall.parts):
        wanted = {"top": "top", "thickness": "thickness"}
        wanted |= {"start": "joined_end"} if not alone or n == 0 else {}
        wanted |= {"end": "joined_end"} if not alone or n == len(wall.parts) - 1 else {}
        at = rows.get(part.run)
        for key, corner, last in (("start", plan.runs.start_corner, 0), ("end", plan.runs.end_corner, -1)):
            at_end = at is not None and parts[part.run][last][:2] == (part.start, part.end)
            if key in wanted and at is not None and at_end and kinds.get(corner[at]) == "end":
                wanted[key] = "free_end"
        for key, kind in sorted(wanted.items()):
            minus, plus = plan.header.fit[kind]
            if not -minus - MM <= part.fit[key] <= plus + MM:
                text = (
                    f"summary.json, wall {wall.name}: fit at {key} is {mm(part.fit[key])}, outside -{mm(minus)} to +{mm(plus)} ({kind}); "
                    "set the part aside or widen the tolerance"
                )
                found.append(broken("I1", text, wall=wall.name, measured=mm(part.fit[key]), wanted=f"-{mm(minus)} to +{mm(plus)}"))
        if at is not None and abs(float(plan.runs.thickness[at]) - part.thickness - part.fit["thickness"]) > MM:
            stated = mm(part.fit["thickness"])
            text = f"summary.json, wall {wall.name}: fit of thickness {stated} is not laid less drawn on run {part.run}"
            found.append(broken("I1", text, wall=wall.name, run=part.run))
            break
    return found


def _ends(plan: Plan, parts: Parts, kinds: dict[str, str]) -> list[Finding]:
    """Free ends as laid against the drawn ends, and whether the summary states that fit."""
    groups, p = by_run(plan), plan.pieces
    minus, plus = plan.header.fit["free_end"]
    found = []
    for at, name in enumerate(plan.runs.name):
        rows = groups[at]
        if not rows.size or name not in parts:
            continue
        first, last = parts[name][0], parts[name][-1]
        ends = (
            (plan.runs.start_corner[at], first, first[0] - float(p.start[rows].min())),
            (plan.runs.end_corner[at], last, float(p.end[rows].max()) - last[1]),
        )
        for corner, part, fit in ends:
            if kinds.get(corner) != "end":
                continue
            wall = plan.header.walls[part[2]]
            if fit < -minus - MM and wall.area["set_aside"] > 0:
                continue  # the end is set aside, and so no fit
            own = wall.parts[part[3]].fit
            stated = min(abs(own["start"] - fit), abs(own["end"] - fit)) <= MM
            if not -minus - MM <= fit <= plus + MM or not stated:
                text = f"run {name} is laid {mm(fit)} longer than wall {wall.name} is drawn at the free end {corner}: " + (
                    "that is not the fit that summary.json states" if not stated else "outside the tolerance of a free end"
                )
                found.append(
                    broken("I1", text, wall=wall.name, run=name, corner=corner, measured=mm(fit), wanted=f"-{mm(minus)} to +{mm(plus)}")
                )
    return found

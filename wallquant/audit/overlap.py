"""I2: no two pieces overlap in space, and between neighbours there is a joint in range or something that is named."""

from __future__ import annotations

from collections import defaultdict

import numpy as np
import shapely

from wallquant.audit.broken import broken, mm
from wallquant.audit.cells import Floats, Ints
from wallquant.audit.elevation import Elevation
from wallquant.audit.junctions import Junctions
from wallquant.audit.neighbours import THIN
from wallquant.audit.read import MM, Plan
from wallquant.findings import Finding

GAPS = ("movement joint", "fill", "gap")


def check(plan: Plan, view: Elevation) -> list[Finding]:
    """Return overlaps, joints out of range, and gaps that nothing names."""
    names, runs = plan.pieces.name, plan.runs.name
    found = [
        broken(
            "I2",
            f"pieces.csv: {names[a]} and {names[b]} take the same space",
            piece=names[a],
            run=runs[plan.pieces.run[a]],
        )
        for a, b in view.clashes
    ]
    found.extend(_places(plan))
    found.extend(_thin(plan, view))
    found.extend(_open_sides(plan, view))
    return found


def _places(plan: Plan) -> list[Finding]:
    """Whether each piece's place in plan is its station on its run."""
    p, r = plan.pieces, plan.runs
    turn = np.radians(r.angle[p.run])
    off = np.hypot(r.x[p.run] + p.start * np.cos(turn) - p.x, r.y[p.run] + p.start * np.sin(turn) - p.y)
    # angles are rounded in the files, so far from station 0 the two may differ by a hair more
    bad = np.flatnonzero((off > THIN + np.abs(p.start) * 2e-8) | (np.abs(p.angle - r.angle[p.run]) > 1e-6))
    return [
        broken(
            "I2",
            f"pieces.csv, {p.name[at]}: its place in plan is {mm(float(off[at]))} off its station on run {r.name[p.run[at]]}; mend the row",
            piece=p.name[at],
            run=r.name[p.run[at]],
            measured=mm(float(off[at])),
            wanted="0 mm",
        )
        for at in bad.tolist()
    ]


def _thin(plan: Plan, view: Elevation) -> list[Finding]:
    """Joints and beds below the least of the catalogue."""
    p, found = plan.pieces, []
    j, least = view.joints, plan.header.head.least
    junctions = Junctions.of(plan)
    for at in np.flatnonzero(j.gap < least - MM).tolist():
        a, b = int(view.piece[j.left[at]]), int(view.piece[j.right[at]])
        if not (view.own[j.left[at]] and view.own[j.right[at]]) and junctions.tied(a, b, int(p.course[a])):
            continue
        text = f"pieces.csv: the joint between {p.name[a]} and {p.name[b]} is {mm(float(j.gap[at]))}, least is {mm(least)}"
        found.append(broken("I2", text, piece=p.name[a], measured=mm(float(j.gap[at])), wanted=f"at least {mm(least)}"))
    r, least = view.rests, plan.header.bed.least
    for at in np.flatnonzero(r.bed < least - MM).tolist():
        a, b = int(view.piece[r.upper[at]]), int(view.piece[r.lower[at]])
        text = f"pieces.csv: the bed between {p.name[a]} and {p.name[b]} is {mm(float(r.bed[at]))}, least is {mm(least)}"
        found.append(broken("I2", text, piece=p.name[a], measured=mm(float(r.bed[at])), wanted=f"at least {mm(least)}"))
    return found


def _open_sides(plan: Plan, view: Elevation) -> list[Finding]:
    """Sides of pieces that meet no joint: an opening, a named gap or the end of the masonry must be there."""
    p, j = plan.pieces, view.joints
    found = []
    order = np.argsort(view.run, kind="stable")
    edges_of = np.searchsorted(view.run[order], np.arange(len(plan.runs.name) + 1))
    near: dict[int, Ints] = {}
    jambs, gaps, junctions = _jambs(plan), _gaps(plan), Junctions.of(plan)
    for side, edges in ((1, view.right), (-1, view.left)):
        met = np.zeros(view.run.size)
        np.add.at(met, j.left if side > 0 else j.right, j.high - j.low + plan.header.bed.most)
        bare = np.flatnonzero(view.own & (edges[:, 1] - edges[:, 0] > THIN) & (edges[:, 1] - edges[:, 0] - met > plan.header.bed.most + MM))
        for at in bare.tolist():
            run = int(view.run[at])
            station = float(view.end[at] if side > 0 else view.start[at])
            low, high = float(edges[at, 0]), float(edges[at, 1])
            if int(view.piece[at]) in p.plan or _named(jambs.get(run), station, low, high) or _named(gaps.get(run), station, low, high):
                continue
            if run not in near:
                rows = order[edges_of[run] : edges_of[run + 1]]
                near[run] = rows[view.own[rows] | np.isin(p.run[view.piece[rows]], sorted(junctions.meeting(run)))]
            ahead = _ahead(plan, view, near[run], at, side, station, (low, high))
            if ahead is None or _over_top(plan, run, station, side, (low + high) / 2):
                continue
            gap, other = ahead
            if not view.own[other] and junctions.left_open(int(view.piece[at]), int(view.piece[other])):
                continue
            name, beside = p.name[view.piece[at]], p.name[view.piece[other]]
            text = (
                f"pieces.csv: between {name} and {beside} there are {mm(gap)}, no joint within {mm(plan.header.head.most)}, "
                "no opening and no named gap"
            )
            found.append(
                broken("I2", text, piece=name, run=plan.runs.name[run], measured=mm(gap), wanted=f"at most {mm(plan.header.head.most)}")
            )
    return found


def _ahead(
    plan: Plan, view: Elevation, rows: Ints, at: int, side: int, station: float, level: tuple[float, float]
) -> tuple[float, int] | None:
    """Nearest member (of `rows`) beyond a side, at its levels, further away than a joint; None where there is none.

    A member that meets the side over a part of its height only counts as none: what is above or below is told there.
    """
    away = (view.start[rows] - station) if side > 0 else (station - view.end[rows])
    shared = np.minimum(view.top[rows], level[1]) - np.maximum(view.bottom[rows], level[0])
    ahead = (away > -THIN) & (shared > max(THIN, (level[1] - level[0]) / 2)) & view.plain[rows] & (rows != at)
    rows, away = rows[ahead], away[ahead]
    if not rows.size:
        return None
    first = int(np.argmin(away))
    reach = np.inf if view.own[rows[first]] else max(unit.length for unit in plan.header.units)
    return (float(away[first]), int(rows[first])) if plan.header.head.most + MM < away[first] <= reach else None


def _named(rows: Floats | None, station: float, low: float, high: float) -> bool:
    """Whether one of the rows (station low, high, level low, high) holds the station and shares levels with the side."""
    if rows is None:
        return False
    return bool(((rows[:, 0] <= station) & (rows[:, 1] >= station) & (rows[:, 2] < high - THIN) & (rows[:, 3] > low + THIN)).any())


def _jambs(plan: Plan) -> dict[int, Floats]:
    """Places of jambs on each run, with the tolerances of jambs, sills and heads."""
    fit, o = plan.header.fit, plan.openings
    slack = max(fit["jamb"]) + THIN
    rows = defaultdict(list)
    index = {name: at for at, name in enumerate(plan.runs.name)}
    sills, heads = o.numbers("sill_mm") - max(fit["sill"]), o.numbers("head_mm") + max(fit["head"])
    for run, start, end, sill, head in zip(o.texts("run"), o.numbers("start_mm"), o.numbers("end_mm"), sills, heads, strict=True):
        if run in index:
            for jamb in (start, end):
                rows[index[run]].append((jamb - slack, jamb + slack, sill, head))
    return {run: np.array(found) for run, found in rows.items()}


def movement_joints(plan: Plan) -> dict[int, Floats]:
    """Return the straight movement joints on each run: stations low and high, levels low and high, mm."""
    return _gaps(plan, ("movement joint",))


def _gaps(plan: Plan, kinds: tuple[str, ...] = GAPS) -> dict[int, Floats]:
    """Movement joints, fills and gaps on each run, with a joint's width to either side."""
    i, most = plan.items, plan.header.head.most + MM
    rows = defaultdict(list)
    index = {name: at for at, name in enumerate(plan.runs.name)}
    columns = [i.numbers(key, blank=np.nan) for key in ("start_mm", "end_mm", "bottom_mm", "top_mm")]
    for kind, run, start, end, bottom, top in zip(i.texts("kind"), i.texts("run"), *(c.tolist() for c in columns), strict=True):
        if kind in kinds and run in index and start == start:
            rows[index[run]].append(
                (
                    start - most,
                    (end if end == end else start) + most,
                    bottom if bottom == bottom else -np.inf,
                    top if top == top else np.inf,
                )
            )
    return {run: np.array(found) for run, found in rows.items()}


def _over_top(plan: Plan, run: int, station: float, side: int, level: float) -> bool:
    """Whether the top of the run just beyond a side lies below `level`: a step or a valley of the top."""
    line = shapely.get_coordinates(plan.runs.top[run])
    at = station + side
    return bool(at <= line[0, 0] or at >= line[-1, 0] or np.interp(at, line[:, 0], line[:, 1]) < level)

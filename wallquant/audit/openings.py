"""I6: each opening that does not reach the top is bridged, with bearings as asked that no joint splits."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from wallquant.audit.broken import broken, mm
from wallquant.audit.cells import Ints
from wallquant.audit.neighbours import THIN, by_run
from wallquant.audit.read import MM, Plan
from wallquant.files import BRIDGED
from wallquant.findings import Finding


@dataclass(frozen=True, kw_only=True, slots=True)
class Row:
    """A row of openings.csv."""

    line: int
    name: str
    run: str
    start: float
    end: float
    sill: float
    head: float
    bridged: str
    lintel: tuple[str, ...]
    stated: tuple[float, float]
    least: float
    through: bool

    def finding(self, text: str, **more: str) -> Finding:
        """Return a finding about this opening."""
        return broken(
            "I6", f"openings.csv, line {self.line}, opening {self.name} in run {self.run}: {text}", opening=self.name, run=self.run, **more
        )


def check(plan: Plan) -> list[Finding]:
    """Return openings without a bridge, and bearings that are short, split or not as stated."""
    found: list[Finding] = []
    codes = {(one.opening, one.code) for one in plan.told if one.code.startswith("lintel.") and one.opening}
    # a lintel that is assumed bears as it says
    groups, told = by_run(plan), {opening for opening, code in codes if code != "lintel.assumed"}
    runs = {name: at for at, name in enumerate(plan.runs.name)}
    every = _rows(plan)
    for row in every:
        if not row.through:
            continue  # what lies behind a niche carries what is above it
        if row.run not in runs:
            found.append(row.finding("its run is not in runs.csv"))
        elif row.bridged not in BRIDGED:
            found.append(row.finding(f"bridged '{row.bridged}' is none of {', '.join(BRIDGED)}; mend the cell"))
        elif row.bridged == "lintel":
            same = [one for one in every if one.run == row.run and one.lintel == row.lintel]
            found.extend(_lintel(plan, row, same, groups[runs[row.run]], row.name in told))
        elif row.bridged != "none" or not any(_within(row, one) for one in every):
            found.extend(_bare(plan, row, groups[runs[row.run]], row.name in told))
    return found


def _within(row: Row, other: Row) -> bool:
    """Whether a void goes up to the sill of another opening as wide, so that what stands higher is that one's to carry."""
    level = other.through and other.run == row.run and other.sill - THIN <= row.head < other.head
    return level and other.start <= row.start + THIN and row.end <= other.end + THIN


def _rows(plan: Plan) -> list[Row]:
    o = plan.openings
    numbers = [o.numbers(key).tolist() for key in ("start_mm", "end_mm", "sill_mm", "head_mm")]
    bearings = [o.numbers(key, blank=np.nan).tolist() for key in ("bearing_start_mm", "bearing_end_mm", "bearing_least_mm")]
    texts = (o.texts("opening"), o.texts("run"), o.texts("bridged"), o.lists("lintel"), o.texts("through"))
    return [
        Row(
            line=at + 2,
            name=name,
            run=run,
            start=start,
            end=end,
            sill=sill,
            head=head,
            bridged=bridged,
            lintel=lintel,
            stated=(first, last),
            least=least,
            through=through != "false",
        )
        for at, (name, run, bridged, lintel, through, start, end, sill, head, first, last, least) in enumerate(
            zip(*texts, *numbers, *bearings, strict=True)
        )
    ]


def _bare(plan: Plan, row: Row, rows: Ints, told: bool) -> list[Finding]:
    """An opening with no lintel: nothing may stand above it, or units must span it, or a finding says that it is small enough."""
    p = plan.pieces
    above = rows[(p.bottom[rows] > row.head - THIN) & (p.start[rows] < row.end - THIN) & (p.end[rows] > row.start + THIN)]
    if row.bridged == "none":
        if above.size and not told:
            return [row.finding(f"bridged says none, {p.name[above[0]]} stands above it, and no finding says that it needs no lintel")]
        return []
    first = above[p.bottom[above] <= p.bottom[above].min(initial=np.inf) + MM]
    line = first[np.argsort(p.start[first], kind="stable")]
    gaps = p.start[line[1:]] - p.end[line[:-1]]
    if (
        not line.size
        or p.start[line[0]] > row.start - THIN
        or p.end[line[-1]] < row.end + THIN
        or (gaps > plan.header.head.most + MM).any()
    ):
        return [row.finding("bridged says units, and the units above it do not span it")]
    return []


def _lintel(plan: Plan, row: Row, same: list[Row], rows: Ints, told: bool) -> list[Finding]:
    """A lintel over one opening, or over several (`same`), whose bearings lie outside the first and the last of them."""
    p = plan.pieces
    first, last = min(one.start for one in same), max(one.end for one in same)
    ids = [p.row[name] for name in row.lintel if name in p.row]
    if not ids or len(ids) < len(row.lintel):
        return [row.finding(f"its lintel {' '.join(row.lintel) or '(empty)'} is not in pieces.csv")]
    foreign = [p.name[at] for at in ids if at not in set(rows.tolist())]
    if foreign:
        return [row.finding(f"its lintel {foreign[0]} lies in another run")]
    start, end, bottom = float(p.start[ids].min()), float(p.end[ids].max()), float(p.bottom[ids].min())
    found = []
    minus, plus = plan.header.fit["head"]
    if not row.head - minus - MM <= bottom <= row.head + plus + plan.header.bed.most + MM:
        text = f"its lintel lies at {mm(bottom)}, its head at {mm(row.head)}, out of the tolerance of heads"
        found.append(row.finding(text, measured=mm(bottom), wanted=mm(row.head)))
    real = (first - start, end - last)
    for side, length, stated, edge in (("start", real[0], row.stated[0], start), ("end", real[1], row.stated[1], end)):
        span = (edge, first) if side == "start" else (last, edge)
        joint = _pier(plan, rows, bottom, span, side)
        if not (abs(stated - length) <= THIN or abs(stated - joint[0]) <= THIN):
            text = f"bearing_{side}_mm says {stated:g}, the lintel bears over {mm(joint[0])}; mend the cell"
            found.append(row.finding(text, measured=mm(joint[0]), wanted=mm(stated)))
        if told:
            continue
        if not np.isfinite(row.least):
            found.append(row.finding("bearing_least_mm is empty"))
        elif min(stated, joint[0]) < row.least - MM:
            text = f"bearing at its {side} is {mm(min(stated, joint[0]))}, asked {mm(row.least)}, and no finding says so"
            found.append(row.finding(text, measured=mm(min(stated, joint[0])), wanted=mm(row.least)))
        elif joint[1]:
            found.append(row.finding(f"the joint beside {joint[1]} splits the bearing at its {side}", piece=joint[1]))
    return found


def _pier(plan: Plan, rows: Ints, bottom: float, span: tuple[float, float], side: str) -> tuple[float, str]:
    """Length of masonry under a lintel's end, from the jamb outwards (mm), and the piece whose end splits it, if any."""
    p, bed = plan.pieces, plan.header.bed
    gap = bottom - p.top[rows]
    under = rows[(gap >= -THIN) & (gap <= bed.most + MM) & (p.end[rows] > span[0] + THIN) & (p.start[rows] < span[1] - THIN)]
    line = under[np.argsort(p.start[under] if side == "end" else -p.end[under], kind="stable")].tolist()
    if not line:
        return 0.0, ""
    jamb = span[1] if side == "start" else span[0]
    reach, split, last = jamb, "", ""
    for at in line:
        near, far = (p.end[at], p.start[at]) if side == "start" else (p.start[at], p.end[at])
        if abs(near - reach) > plan.header.head.most + max(plan.header.fit["jamb"]) + MM and not min(near, far) <= reach <= max(near, far):
            break
        split = split or last
        reach = max(far, span[0]) if side == "start" else min(far, span[1])
        last = p.name[at] if span[0] + THIN < far < span[1] - THIN else ""
    return abs(jamb - float(reach)), split

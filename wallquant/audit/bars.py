"""I7: each bar lies in a core, hole or trough of every piece that it crosses, with its clearance."""

from __future__ import annotations

import numpy as np

from wallquant.audit.broken import broken, mm
from wallquant.audit.cells import Ints, Trouble
from wallquant.audit.junctions import Junctions
from wallquant.audit.neighbours import THIN, by_run
from wallquant.audit.read import MM, Plan
from wallquant.findings import Finding

CLEARANCE_MM = 6.35
"""Least clear distance from a bar to its unit in fine grout, 1/4 in (see the trade facts: read in a trade journal)."""


def check(plan: Plan) -> list[Finding]:
    """Return bars that miss their core, or lie too near to its side, where no finding says so."""
    i, p = plan.items, plan.pieces
    bars = [at for at, kind in enumerate(i.texts("kind")) if kind == "bar"]
    if not bars:
        return []
    columns = {key: i.numbers(key, blank=np.nan) for key in ("x_mm", "y_mm", "bottom_mm", "top_mm", "size_mm", "start_mm", "end_mm")}
    index, groups = {name: at for at, name in enumerate(plan.runs.name)}, by_run(plan)
    told_pieces = {one.piece for one in plan.told if one.piece}
    told_words = {word.strip(".,;:()'") for one in plan.told for word in one.text.split()}
    junctions = Junctions.of(plan)
    found = []
    for at in bars:
        name, run = i.texts("item")[at], index.get(i.texts("run")[at])
        if run is None:
            found.append(broken("I7", f"items.csv, line {at + 2}, bar {name}: its run is not in runs.csv"))
            continue
        values = {key: float(column[at]) for key, column in columns.items()}
        if not all(np.isfinite(values[key]) for key in ("bottom_mm", "top_mm", "size_mm")):
            found.append(broken("I7", f"items.csv, line {at + 2}, bar {name}: bottom_mm, top_mm or size_mm is empty; mend the row"))
            continue
        for piece, clear in _crossed(plan, junctions, groups, run, values):
            if clear >= CLEARANCE_MM - MM or p.name[piece] in told_pieces or name in told_words:
                continue
            how = f"has {mm(clear)} clear to the side of its core" if np.isfinite(clear) else "meets no core, hole or trough"
            text = f"items.csv, line {at + 2}: bar {name} {how} in {p.name[piece]}, asked {mm(CLEARANCE_MM)}"
            measured = mm(clear) if np.isfinite(clear) else "no core"
            found.append(
                broken("I7", text, piece=p.name[piece], run=plan.runs.name[run], measured=measured, wanted=f"at least {mm(CLEARANCE_MM)}")
            )
    return found


def _crossed(plan: Plan, junctions: Junctions, groups: tuple[Ints, ...], run: int, bar: dict[str, float]) -> list[tuple[int, float]]:
    """Pieces that a bar crosses, each with its clearance (minus infinity where there is no core)."""
    p, r = plan.pieces, plan.runs
    radius = bar["size_mm"] / 2
    lying = np.isfinite(bar["end_mm"]) and abs(bar["end_mm"] - bar["start_mm"]) > bar["size_mm"] + MM
    if lying:
        return _lying(plan, groups[run], run, bar)
    placed = np.isfinite(bar["x_mm"]) and np.isfinite(bar["y_mm"])
    found: list[tuple[int, float]] = []
    for at in sorted({run, *junctions.meeting(run)}) if placed else [run]:
        station, offset = bar["start_mm"], 0.0
        if placed:
            turn = np.radians(r.angle[at])
            dx, dy = bar["x_mm"] - r.x[at], bar["y_mm"] - r.y[at]
            station, offset = float(dx * np.cos(turn) + dy * np.sin(turn)), float(dy * np.cos(turn) - dx * np.sin(turn))
            if abs(offset) - radius >= r.thickness[at] / 2:
                continue
        rows = groups[at]
        hit = (p.start[rows] < station + radius - THIN) & (p.end[rows] > station - radius + THIN)
        level = (p.bottom[rows] < bar["top_mm"] - THIN) & (p.top[rows] > bar["bottom_mm"] + THIN)
        found.extend((int(row), _clear(plan, int(row), station, offset, radius)) for row in rows[hit & level])
    return found


def _clear(plan: Plan, piece: int, station: float, offset: float, radius: float) -> float:
    """Clearance of an upright bar in its best core or hole, mm."""
    return max(
        (diameter / 2 - float(np.hypot(s - station, o - offset)) - radius for s, o, diameter in _holes(plan, piece)),
        default=-np.inf,
    )


def _holes(plan: Plan, piece: int) -> list[tuple[float, float, float]]:
    """Cores and holes of a piece on the stations of its run: what `holes` lists, and the cores of a unit whole in length."""
    p = plan.pieces
    found = []
    for cell in filter(None, (part.strip() for part in p.holes[piece].split(";"))):
        try:
            station, offset, diameter = (float(word) for word in cell.split())
        except ValueError as error:
            raise Trouble(f"pieces.csv, line {piece + 2}: holes '{cell}' is not station, offset and diameter; mend the cell") from error
        found.append((station, offset, diameter))
    unit = plan.header.units[p.unit[piece]] if p.unit[piece] >= 0 else None
    if unit is not None and "length" not in p.cut[piece].split("+"):
        turned = "turn" in p.work[piece].replace(",", " ").split()
        for core in unit.cores:
            station = p.end[piece] - core.station if turned else p.start[piece] + core.station
            found.append((float(station), -core.offset if turned else core.offset, core.diameter))
    return found


def _lying(plan: Plan, rows: Ints, run: int, bar: dict[str, float]) -> list[tuple[int, float]]:
    """Pieces along a bar in a bond beam: the bar must lie in their troughs, clear of the flanges."""
    p, r = plan.pieces, plan.runs
    turn = np.radians(r.angle[run])
    offset = 0.0
    if np.isfinite(bar["x_mm"]) and np.isfinite(bar["y_mm"]):
        offset = float((bar["y_mm"] - r.y[run]) * np.cos(turn) - (bar["x_mm"] - r.x[run]) * np.sin(turn))
    hit = (p.start[rows] < bar["end_mm"] - THIN) & (p.end[rows] > bar["start_mm"] + THIN)
    level = (p.bottom[rows] < bar["top_mm"] - THIN) & (p.top[rows] > bar["bottom_mm"] + THIN)
    found = []
    for row in rows[hit & level].tolist():
        width, depth = plan.header.units[p.unit[row]].trough if p.unit[row] >= 0 else (0.0, 0.0)
        inside = width > 0 and bar["bottom_mm"] >= p.top[row] - depth - MM
        found.append((int(row), width / 2 - abs(offset) - bar["size_mm"] / 2 if inside else -np.inf))
    return found

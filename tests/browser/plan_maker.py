"""Makes plans to look at, without the engine: an invented garden house, and as many pieces as one likes.

The blocks lie in plain running bond; nothing here is a plan to build from.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import pandas as pd
from shapely.geometry import Polygon, box

from tests.browser.plan_words import cautions, findings, summary
from wallquant.files import COLUMNS

LENGTH, HEIGHT, JOINT, THICK = 599.0, 199.0, 1.0, 200.0
PITCH, COURSE, BED = LENGTH + JOINT, HEIGHT + JOINT, 10.0
M3 = 1e-9


@dataclass(kw_only=True)
class RunPlan:
    """A run to fill: its axis, its length between nodes, holes (start, end, sill, head) and its top as (station, level)."""

    run: str
    x: float
    y: float
    angle: float
    length: float
    courses: int
    ends: tuple[str, str]
    storey: str = "Ground floor"
    holes: list[tuple[float, float, float, float]] = field(default_factory=list)
    top: list[tuple[float, float]] = field(default_factory=list)
    passes_first: bool = True


def garden_house(*, people_unit: str = "mm", shout: str = "") -> dict[str, Any]:
    """Return the arguments of the report's `write`: four walls, a door, a window, a gable, a tied inner wall.

    `shout` is put into every name that a model may choose, to see that names are never read as markup.
    """
    door, window = (1500.0, 2400.0, 0.0, 2010.0), (3300.0, 4500.0, 1010.0, 2010.0)
    gable = [(-100.0, 2410.0), (2200.0, 3610.0), (4500.0, 2410.0)]
    runs = [
        RunPlan(run="R1", x=-3000, y=-2200, angle=0, length=6000, courses=12, ends=("C1", "C2"), holes=[door, window]),
        RunPlan(run="R2", x=-3000, y=-2200, angle=90, length=4400, courses=18, ends=("C1", "C4"), top=gable, passes_first=False),
        RunPlan(run="R3", x=-3000, y=2200, angle=0, length=6000, courses=12, ends=("C4", "C3"), holes=[window]),
        RunPlan(run="R4", x=3000, y=-2200, angle=90, length=4400, courses=18, ends=("C2", "C3"), top=gable, passes_first=False),
        RunPlan(run="R5", x=500, y=-2200, angle=90, length=4400, courses=12, ends=("C5", "C6"), passes_first=False),
        RunPlan(run="R6", x=-3000, y=-2200, angle=0, length=6000, courses=3, ends=("C7", "C8"), storey="Upper floor" + shout),
    ]
    corners = [
        ("C1", "L", -3000, -2200, "R1 R2"),
        ("C2", "L", 3000, -2200, "R1 R4"),
        ("C3", "L", 3000, 2200, "R3 R4"),
        ("C4", "L", -3000, 2200, "R2 R3"),
        ("C5", "T", 500, -2200, "R1 R5"),
        ("C6", "T", 500, 2200, "R3 R5"),
        ("C7", "end", -3000, -2200, "R6"),
        ("C8", "end", 3000, -2200, "R6"),
    ]
    plan = filled(runs, corners, shout=shout)
    walls = [_wall(one, shout) for one in runs]
    walls.append(_aside("Curved bay" + shout, [(3400, -800), (4200, -400), (4200, 400), (3400, 800), (3250, 700), (3250, -700)]))
    return {**plan, "summary": summary(plan["tables"], walls, people_unit, shout), "findings": findings(shout), "cautions": cautions()}


def many(pieces: int) -> dict[str, Any]:
    """Return a plan of about so many pieces: long parallel runs on one storey."""
    per_course, courses = 20, 15
    runs = [
        RunPlan(
            run=f"R{i + 1}",
            x=(i % 8) * 13_000.0,
            y=(i // 8) * 3_000.0,
            angle=0,
            length=per_course * PITCH,
            courses=courses,
            ends=(f"C{2 * i + 1}", f"C{2 * i + 2}"),
        )
        for i in range(-(-pieces // (per_course * courses)))
    ]
    corners = [(name, "end", run.x + at, run.y, run.run) for run in runs for name, at in zip(run.ends, (0.0, run.length), strict=True)]
    plan = filled(runs, corners)
    walls = [_wall(one, "") for one in runs]
    return {**plan, "summary": summary(plan["tables"], walls, "mm", ""), "findings": findings(""), "cautions": cautions()}


def filled(runs: list[RunPlan], corners: list[tuple[Any, ...]], *, shout: str = "") -> dict[str, Any]:
    """Return the tables of runs filled in running bond."""
    rows: dict[str, list[tuple[Any, ...]]] = {name: [] for name in COLUMNS}
    steps: list[tuple[Any, ...]] = []
    clock = 0.0
    for run in runs:
        bottom_of = [BED + COURSE * n for n in range(run.courses)]
        rows["courses.csv"] += [(run.run, n + 1, low, low + HEIGHT, 150.0, "running-bond") for n, low in enumerate(bottom_of)]
        lintels = [_lintel(run, hole) for hole in run.holes]
        pieces = [one for n, low in enumerate(bottom_of) for one in _course(run, n, low, lintels)]
        for lead in sorted({(n // 3, end) for n in range(run.courses) for end in (0, 1)}):
            name, kind = f"S{len(steps) + 1:05}", "lead"
            text = f"Lay the lead at {run.ends[lead[1]]} in {run.run}, courses {lead[0] * 3 + 1} to {lead[0] * 3 + 3}{shout}"
            steps.append(
                (name, kind, run.run, lead[0] * 3 + 1, run.ends[lead[1]], 1 + lead[1], clock, clock + 0.4, 1 + int(clock // 24), text)
            )
            clock = _later(clock + 0.4)
        lead_steps = {
            (n, end): steps[len(steps) - 2 * -(-run.courses // 3) + 2 * (n // 3) + end][0] for n in range(run.courses) for end in (0, 1)
        }
        for n in range(run.courses):
            name = f"S{len(steps) + 1:05}"
            text = f"Lay course {n + 1} of {run.run} to the line between {run.ends[0]} and {run.ends[1]}{shout}"
            steps.append((name, "line", run.run, n + 1, "", 1, clock, clock + 0.5, 1 + int(clock // 24), text))
            clock = _later(clock + 0.5)
            for end in (0, 1):
                rows["precedences.csv"].append(
                    (lead_steps[n, end], name, 0.0, "", "corner-leads", "The line is stretched between two leads, so both stand first.")
                )
            if n:
                rows["precedences.csv"].append((steps[-2][0], name, 0.25, 4.0, "bed", "The course below carries this one."))
        inner = 900.0
        for course, number, low, start, end, unit, cut, shape in pieces:
            end_at = 0 if end <= inner else 1 if start >= run.length - inner else None
            step = steps[len(steps) - run.courses + course - 1][0] if end_at is None else lead_steps[course - 1, end_at]
            name = f"{run.run}-C{course:02}-{number:02}"
            area = shape.area if shape is not None else (end - start) * HEIGHT
            volume = area * THICK * M3
            rows["pieces.csv"].append(
                (
                    name,
                    run.run,
                    course,
                    number,
                    unit,
                    cut,
                    "",
                    "",
                    start,
                    end,
                    low,
                    low + HEIGHT if shape is None else shape.bounds[3],
                    THICK,
                    run.x,
                    run.y,
                    run.angle,
                    "" if shape is None else shape.wkt,
                    "",
                    volume,
                    volume,
                    volume * 600,
                    f"wall-{run.run}",
                    step,
                    f"K-{name}" if cut else "",
                )
            )
            if cut:
                rows["cuts.csv"].append((f"K-{name}", unit, 1, name, end - start, HEIGHT, 0.0, 4.0, max(LENGTH - (end - start) - 4, 0)))
        high = BED + run.courses * COURSE - JOINT
        top = run.top or [(-100.0, high), (run.length + 100, high)]
        line = "LINESTRING (" + ", ".join(f"{s} {level}" for s, level in top) + ")"
        rows["runs.csv"].append((run.run, run.storey, run.x, run.y, run.angle, run.length, THICK, 0.0, line, *run.ends))
        for i, hole in enumerate(run.holes):
            over = [row[0] for row in rows["pieces.csv"] if row[1] == run.run and row[4] == "lintel 1500" and row[8] == lintels[i][0]]
            kind = "door" if hole[2] == 0 else "window"
            rows["openings.csv"].append(
                (
                    f"{run.run}-{kind}{shout}",
                    f"wall-{run.run}",
                    run.run,
                    *hole,
                    True,
                    kind + shout,
                    hole[1] - hole[0],
                    hole[3] - hole[2],
                    "lintel",
                    " ".join(over),
                    hole[0] - lintels[i][0],
                    lintels[i][1] - hole[1],
                    203.2,
                )
            )
        for n in range(1, run.courses, 2):
            if run.run == "R5":
                level = bottom_of[n]
                rows["items.csv"].append(
                    (f"T{n}", "tie", run.run, "", 60.0, 300.0, run.x, run.y, level, level, 3.0, 1.0, "pcs", "junction-tied")
                )
    rows["corners.csv"] = [(*corner, "bonded", "") for corner in corners]
    rows["steps.csv"] = steps
    units = pd.DataFrame(rows["pieces.csv"], columns=list(COLUMNS["pieces.csv"]))
    whole = int((units["cut"] == "").sum())
    rows["materials.csv"] = [
        ("standard 200", whole, 12, whole + 12 + len(rows["cuts.csv"]), "pcs", "all runs" + shout, "units"),
        ("thin-bed mortar", 311.5, 31.15, 14, "bags", "25 kg bags", "mortar-thin-bed"),
        ("bed mortar", 0.1122, 0.0112, 0.1234, "m3", "levelling course", "mortar-bed"),
    ]
    return {"tables": {name: pd.DataFrame(rows[name], columns=list(columns)) for name, columns in COLUMNS.items()}}


def _later(clock: float) -> float:
    """Eight hours a day."""
    return clock if clock % 24 < 8 else (clock // 24 + 1) * 24


def _lintel(run: RunPlan, hole: tuple[float, float, float, float]) -> tuple[float, float, int]:
    middle = (hole[0] + hole[1]) / 2
    half = 750.0 if hole[1] - hole[0] < 1000 else 850.0
    return (middle - half, middle + half, round((hole[3] - BED) / COURSE) + 1)


def _course(run: RunPlan, n: int, low: float, lintels: list[tuple[float, float, int]]) -> list[tuple[Any, ...]]:
    """Pieces of a course: (course, place, bottom, start, end, unit, cut, outline or None)."""
    passes = (n % 2 == 0) == run.passes_first
    whole = (-100.0, run.length + 100) if passes else (101.0, run.length - 101)
    blocked = [(h[0], h[1], "") for h in run.holes if h[2] < low + HEIGHT and h[3] > low + 1]
    blocked += [(a - JOINT, b + JOINT, "lintel 1500") for a, b, course in lintels if course == n + 1]
    spans, at = [], whole[0]
    found: list[tuple[float, float, str]] = []
    for start, end, unit in sorted(blocked):
        spans.append((at, start))
        at = end
        if unit:
            found.append((start + JOINT, end - JOINT, unit))
    spans.append((at, whole[1]))
    for start, end in spans:
        at = start
        first = LENGTH if passes or (start > whole[0] and n % 2) else 399.0
        while end - at > 1:
            stop = min(at + (first if at == start else LENGTH), end)
            if 0 < end - stop < 100:
                stop = end - 200
            found.append((at, stop, "standard 200" if stop - at > 430 or n % 4 else "core 200"))
            at = stop + JOINT
    rows = []
    for i, (start, end, unit) in enumerate(sorted(found)):
        cut = "length" if unit != "lintel 1500" and abs(end - start - LENGTH) > 0.5 else ""
        outline = None
        if run.top:
            under = Polygon([(run.top[0][0] - 500, -1), *run.top, (run.top[-1][0] + 500, -1)])
            shape = box(start, low, end, low + HEIGHT).intersection(under)
            if shape.area < 12_000:
                continue
            if shape.area < (end - start) * HEIGHT - 1:
                outline, cut = shape, "length+rake" if cut else "rake"
                start, _, end, _ = shape.bounds
        unit = "U 200" if n == 11 and unit == "standard 200" and not run.top else unit
        rows.append((n + 1, i + 1, low, start, end, unit, cut, outline))
    return rows


def _wall(run: RunPlan, shout: str) -> dict[str, Any]:
    wall = run.length * (run.courses * COURSE) * 1e-6
    openings = sum((h[1] - h[0]) * (h[3] - h[2]) for h in run.holes) * 1e-6
    across = run.angle == 90
    a, b = (-105, run.length + 105) if not across else (-105, 105)
    c, d = (-105, run.length + 105) if across else (-105, 105)
    outline = [(run.x + a, run.y + c), (run.x + b, run.y + c), (run.x + b, run.y + d), (run.x + a, run.y + d)]
    drawn, hole = wall * THICK / 1000, openings * THICK / 1000
    return {
        "guid": f"wall-{run.run}",
        "name": f"Wall {run.run[1:]}{shout}",
        "storey": run.storey,
        "thickness_mm": 200.0,
        "runs": [run.run],
        "parts": [],
        "fit_mm": {"start": 0.0, "end": -1.0, "top": 9.0, "thickness": 0.0},
        "reasons": [],
        "footprint_mm": outline,
        "area_m2": {"wall": wall, "openings": openings, "laid": wall - openings, "set_aside": 0.0},
        "ledger_m3": {
            "drawn": drawn,
            "openings": hole,
            "finishes": 0.0,
            "set_aside": 0.0,
            "lent": 0.048,
            "borrowed": 0.048,
            "fit_length": -0.0005,
            "fit_height": 0.011,
            "fit_thickness": 0.0,
            "laid": drawn - hole + 0.0105,
        },
    }


def _aside(name: str, outline: list[tuple[float, float]]) -> dict[str, Any]:
    zero = dict.fromkeys(("openings", "finishes", "lent", "borrowed", "fit_length", "fit_height", "fit_thickness", "laid"), 0.0)
    return {
        "guid": "wall-bay",
        "name": name,
        "storey": "Ground floor",
        "thickness_mm": 200.0,
        "runs": [],
        "parts": [],
        "fit_mm": {},
        "reasons": ["its axis is an arc; only straight walls are laid"],
        "footprint_mm": outline,
        "area_m2": {"wall": 4.1, "openings": 0.0, "laid": 0.0, "set_aside": 4.1},
        "ledger_m3": {"drawn": 0.82, **zero, "set_aside": 0.82},
    }

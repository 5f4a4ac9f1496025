"""A plan's CSV files as tables: the columns of `wallquant.files`, millimetres and hours, one row order for equal input."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

import numpy as np
import pandas as pd

from wallquant.building import Profile
from wallquant.files import COLUMNS, CUTS
from wallquant.layout import TIED, Pieces
from wallquant.ordering import step_of
from wallquant.rules import Item
from wallquant.units import MM, Nm, mm_text
from wallquant.writers.plan import Plan

_CUT_WORDS = tuple("+".join(w for bit, w in enumerate(CUTS) if mask >> bit & 1) for mask in range(1 << len(CUTS)))


def wkt_line(profile: Profile) -> str:
    """Return a profile as WKT LINESTRING of station and level, millimetres."""
    return "LINESTRING (" + ", ".join(f"{mm_text(s)} {mm_text(z)}" for s, z in profile) + ")"


def wkt_polygon(points: Sequence[tuple[Nm, Nm]]) -> str:
    """Return an outline as WKT POLYGON, closed, millimetres."""
    return "POLYGON ((" + ", ".join(f"{mm_text(a)} {mm_text(b)}" for a, b in (*points, points[0])) + "))"


def tables(plan: Plan) -> dict[str, pd.DataFrame]:
    """Return all CSV files of a plan, by file name."""
    return {
        "pieces.csv": _pieces(plan),
        "runs.csv": _runs(plan),
        "corners.csv": _corners(plan),
        "courses.csv": _courses(plan),
        "openings.csv": _openings(plan),
        "items.csv": _items(plan),
        "steps.csv": _steps(plan),
        "precedences.csv": _precedences(plan),
        "materials.csv": plan.materials,
        "cuts.csv": pd.DataFrame(plan.cutting.table(plan.work.pieces), columns=list(COLUMNS["cuts.csv"])),
        **plan.schedules,
    }


def _frame(name: str, rows: Iterable[Sequence[Any]]) -> pd.DataFrame:
    return pd.DataFrame(list(rows), columns=list(COLUMNS[name]))


def _pieces(plan: Plan) -> pd.DataFrame:
    p, element = plan.work.pieces, plan.element_of()
    runs = [plan.work.runs[name] for name in p.runs]
    x0 = np.array([r.start[0] for r in runs] or [0], np.float64)[p.run] if len(p) else np.zeros(0)
    y0 = np.array([r.start[1] for r in runs] or [0], np.float64)[p.run] if len(p) else np.zeros(0)
    u = np.array([r.direction[0] for r in runs] or [0.0])[p.run] if len(p) else np.zeros(0)
    v = np.array([r.direction[1] for r in runs] or [0.0])[p.run] if len(p) else np.zeros(0)
    steps = np.array([s.name for s in plan.work.steps] + [""], dtype=object)
    stock = np.array([*plan.cutting.stocks, ""], dtype=object)
    columns: dict[str, Any] = {
        "piece": np.array(p.names, dtype=object),
        "run": np.array(p.runs, dtype=object)[p.run] if len(p) else [],
        "course": p.course,
        "place": p.place,
        "unit": np.array([x.code for x in p.units] or [""], dtype=object)[p.unit] if len(p) else [],
        "cut": np.array(_CUT_WORDS, dtype=object)[p.cut],
        "work": _sparse(p, p.work),
        "holes": _sparse(p, {k: ";".join(" ".join(mm_text(v) for v in hole) for hole in some) for k, some in p.holes.items()}),
        "start_mm": p.start / MM,
        "end_mm": p.end / MM,
        "bottom_mm": p.bottom / MM,
        "top_mm": p.top / MM,
        "thickness_mm": np.array([r.thickness / MM for r in runs] or [0.0])[p.run] if len(p) else [],
        "x_mm": np.round((x0 + u * p.start) / MM, 6),
        "y_mm": np.round((y0 + v * p.start) / MM, 6),
        "angle_deg": np.array([r.angle_deg for r in runs] or [0.0])[p.run] if len(p) else [],
        "elevation": _sparse(p, {k: wkt_polygon(o) for k, o in p.elevation.items()}),
        "plan": _sparse(p, {k: wkt_polygon(o) for k, o in p.plan.items()}),
        "volume_m3": np.round(p.volume, 12),
        "solid_m3": np.round(p.solid, 12),
        "mass_kg": np.round(p.mass, 6),
        "wall": np.array([element.get(w, w) for w in p.walls] or [""], dtype=object)[p.wall] if len(p) else [],
        "step": steps[step_of(plan.work.steps, len(p))],
        "stock": stock[plan.cutting.stock_of(p)],
    }
    return pd.DataFrame({name: columns[name] for name in COLUMNS["pieces.csv"]})


def _sparse(p: Pieces, values: Any) -> list[str]:
    out = [""] * len(p)
    for k, value in values.items():
        out[k] = value
    return out


def _runs(plan: Plan) -> pd.DataFrame:
    return _frame(
        "runs.csv",
        (
            (
                r.name, r.storey, r.start[0] / MM, r.start[1] / MM, r.angle_deg, r.length / MM, r.thickness / MM, r.bottom / MM,
                wkt_line(r.top), r.first.corner, r.last.corner,
            )
            for r in plan.work.runs.values()
        ),
    )  # fmt: skip


def _corners(plan: Plan) -> pd.DataFrame:
    rows = []
    for c in plan.work.corners.values():
        phase = plan.work.phases.get(c.name, ())
        bonded = "" if c.kind == "end" else "false" if not phase or all(p == TIED for p in phase) else "true"
        words = " ".join("-" if p == TIED else p for p in phase)
        rows.append((c.name, c.kind, c.at[0] / MM, c.at[1] / MM, " ".join(c.runs), bonded, words))
    return _frame("corners.csv", rows)


def _courses(plan: Plan) -> pd.DataFrame:
    rows = []
    for name, courses in plan.work.courses.items():
        offsets, rules = plan.bond.offsets[name], plan.bond.offset_rules[name]
        for c in courses.levels:
            off = offsets[c.number - 1]
            rows.append((name, c.number, c.bottom / MM, c.top / MM, off / MM if off else "", rules[c.number - 1] if off else ""))
    return _frame("courses.csv", rows)


def _mm(length: Nm | None) -> float | str:
    return "" if length is None else length / MM


def _openings(plan: Plan) -> pd.DataFrame:
    names, element = plan.work.pieces.names, plan.element_of()
    return _frame(
        "openings.csv",
        (
            (
                b.opening, element.get(b.wall, b.wall), b.run, b.start / MM, b.end / MM, b.sill / MM, b.head / MM,
                "true" if b.through else "false",
                b.filling.kind if b.filling else "", _mm(b.filling.width) if b.filling else "", _mm(b.filling.height) if b.filling else "",
                b.bridged, " ".join(names[k] for k in b.lintel), _mm(b.bearing_start), _mm(b.bearing_end), _mm(b.bearing_least),
            )
            for b in plan.work.bridges
        ),
    )  # fmt: skip


def _items(plan: Plan) -> pd.DataFrame:
    rows = []
    for n, i in enumerate(i for i in plan.work.items if isinstance(i, Item)):
        run = plan.work.runs[i.run]
        x, y = run.at((i.start + i.end) // 2, i.offset)
        rows.append(
            (
                f"I{n + 1}", i.kind, i.run, "", i.start / MM, i.end / MM, round(x / MM, 6), round(y / MM, 6), i.bottom / MM, i.top / MM,
                i.size / MM, i.quantity, i.unit, i.rule,
            )
        )  # fmt: skip
    return _frame("items.csv", rows)


def _steps(plan: Plan) -> pd.DataFrame:
    return _frame(
        "steps.csv",
        (
            (
                t.step.name, t.step.kind, " ".join(t.step.runs), t.step.course or "", t.step.corner, t.crew, round(t.start_h, 6),
                round(t.end_h, 6), t.day, " ".join([t.step.text, *(f"Needs: {one}." for one in t.step.resources)]),
            )
            for t in plan.schedule.turns
        ),
    )  # fmt: skip


def _precedences(plan: Plan) -> pd.DataFrame:
    return _frame(
        "precedences.csv",
        (
            (k.first, k.then, round(k.lag / 3600, 6), "" if k.most_lag is None else round(k.most_lag / 3600, 6), k.rule, k.reason)
            for k in plan.schedule.graph.links()
        ),
    )

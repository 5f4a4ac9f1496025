"""summary.json: what was read, chosen, laid and counted.  Millimetres, m2, m3, kg, hours."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import shapely

from wallquant.building import Point, SetAside
from wallquant.catalogue import Catalogue
from wallquant.files import LEDGER, SCHEMA
from wallquant.layout import Part, Run
from wallquant.masonry import Fit, Unit
from wallquant.quantities.labour import LABOUR, laying
from wallquant.quantities.site import SOURCES
from wallquant.rules import Rule, infos
from wallquant.units import MM, Nm
from wallquant.writers.plan import Plan
from wallquant.writers.settings import settings
from wallquant.writers.tables import wkt_line

CLOSE = 0.01
"""Outlines of a wall's parts this near to each other, in mm, touch."""


def _mm(length: Nm) -> float | int:
    return length // MM if length % MM == 0 else length / MM


def summary(plan: Plan) -> dict[str, Any]:
    """Return the content of summary.json, without the checksums of the files."""
    pieces = plan.work.pieces
    walls = _walls(plan)
    laid = sum(1 for w in walls if w["area_m2"]["laid"] > 0)
    whole = len(pieces) - sum(c.pieces for c in plan.cutting.by_unit)
    return {
        "schema": SCHEMA,
        "model": plan.model,
        "people_unit": plan.system,
        "catalogue": catalogue(plan.catalogue, pieces.units),
        "any_thickness": plan.job.any_thickness,
        "rules": [_rule(r) for r in plan.rules],
        "fit": fits(plan.catalogue),
        "site": settings(plan),
        "origin_mm": [_mm(plan.building.origin[0]), _mm(plan.building.origin[1]), 0],
        "ifc_schema": plan.building.ifc_schema,
        "notes": list(plan.notes),
        "counts": {
            "walls": len(walls),
            "walls_laid": laid,
            "walls_set_aside": len(walls) - laid,
            "runs": len(plan.work.runs),
            "corners": len(plan.work.corners),
            "pieces": len(pieces),
            "cuts": int(np.count_nonzero(pieces.cut)),
            "units_bought": whole + plan.cutting.units,
            "steps": len(plan.schedule.turns),
        },
        "totals": {
            "pieces_m3": round(float(pieces.volume.sum()), 9),
            "solid_m3": round(float(pieces.solid.sum()), 9),
            "mass_kg": round(float(pieces.mass.sum()), 6),
            "cuts_bound": plan.bond.bound,
            "cut_units_bound": plan.cutting.bound,
            "hours": round(plan.schedule.hours, 6),
            "hours_bound": round(plan.schedule.hours_bound, 6),
        },
        "labour": labour(plan),
        "walls": walls,
    }


def labour(plan: Plan) -> dict[str, Any]:
    """Return the hours of laying units beside two published rates, with their sources."""
    return {
        **laying(plan.schedules[LABOUR]),
        "sources": {"hours_by_area": str(SOURCES["AREA_HOURS"]), "hours_by_mass": str(SOURCES["BY_WEIGHT"])},
    }


def catalogue(book: Catalogue, units: tuple[Unit, ...]) -> dict[str, Any]:
    """Return the catalogue as used: joints, limits, and the units that occur in the plan."""
    ranges = {
        name: {"least": _mm(r.least), "nominal": _mm(r.nominal), "most": _mm(r.most)}
        for name, r in (("bed_mm", book.bed), ("head_joint_mm", book.head_joint), ("levelling_bed_mm", book.levelling_bed))
    }
    return {
        "code": book.code,
        "title": book.title,
        "system": book.system,
        **ranges,
        "least_piece_mm": _mm(book.least_piece),
        "least_rip_mm": _mm(book.least_rip),
        "least_strip_mm": _mm(book.least_strip),
        "kerf_mm": _mm(book.kerf),
        "delivered_factor": book.delivered_factor,
        "units": [
            {
                "code": u.code,
                "kind": u.kind,
                "title": u.title,
                "length_mm": _mm(u.length),
                "height_mm": _mm(u.height),
                "thickness_mm": _mm(u.thickness),
                "cores": [{"station_mm": _mm(c.station), "offset_mm": _mm(c.offset), "diameter_mm": _mm(c.diameter)} for c in u.cores],
                "trough": {"width_mm": _mm(u.trough.width), "depth_mm": _mm(u.trough.depth)} if u.trough else None,
                "density_kg_m3": u.density_kg_m3,
                "pallet": u.pallet,
                "virtual": u.virtual,
            }
            for u in units
        ],
    }


def fits(book: Catalogue) -> dict[str, Any]:
    """Return the fit tolerances: laid less drawn lies between -minus and plus."""
    out: dict[str, Any] = {}
    for name in ("free_end", "joined_end", "thickness", "top", "head", "sill", "jamb"):
        fit: Fit = getattr(book.fit, name)
        out[name] = {"minus_mm": _mm(fit.minus), "plus_mm": _mm(fit.plus)}
    return out


def _rule(rule: Rule) -> dict[str, Any]:
    params: dict[str, Any] = {}
    sources: dict[str, str] = {}
    for key, (info, _) in infos(type(rule)).items():
        value = getattr(rule.params, key)
        params[f"{key}_mm" if info.kind == "length" else key] = _mm(value) if info.kind == "length" else value
        sources[key] = str(info.source)
    return {"code": rule.code, "title": rule.title, "params": params, "sources": sources}


def _walls(plan: Plan) -> list[dict[str, Any]]:
    drawn = {w.guid: w for w in plan.building.walls}
    parts: dict[str, tuple[Run, Part | None]] = {p.wall: (run, p) for run in plan.work.runs.values() for p in run.parts}
    parts |= {one.wall: (run, None) for run in plan.work.runs.values() for one in run.infills}
    out: dict[str, dict[str, Any]] = {}
    for a in plan.bond.accounts:
        wall, (run, part) = drawn[a.wall], parts[a.wall]
        out[wall.guid] = {
            "guid": wall.guid,
            "name": wall.name,
            "storey": wall.storey,
            "thickness_mm": _mm(wall.thickness),
            "runs": [run.name],
            "parts": [_part(run, part)] if part else [],  # a wall that fills a hole is laid as the wall around it
            "fit_mm": {key: _mm(value) for key, value in a.fit.items()},
            "area_m2": {key: round(value, 12) for key, value in a.area.items()},
            "ledger_m3": {key: round(a.ledger[key], 12) for key in LEDGER},
            "reasons": list(a.reasons),
            "footprint_mm": _points(wall.footprint),
        }
    out |= {s.guid: _aside(s) for s in plan.set_aside}
    element = plan.element_of()
    groups: dict[str, list[dict[str, Any]]] = {}
    for key in sorted(out, key=lambda k: (len(k), k)):
        groups.setdefault(element.get(key, key), []).append(out[key])
    return [_together(guid, groups[guid]) for guid in sorted(groups)]


def _part(run: Run, part: Part) -> dict[str, Any]:
    return {
        "run": run.name,
        "start_mm": _mm(part.start),
        "end_mm": _mm(part.end),
        "bottom_mm": _mm(part.bottom),
        "top": wkt_line(part.top),
    }


def _together(guid: str, rows: list[dict[str, Any]]) -> dict[str, Any]:
    """One row for a wall of the model: what its parts say, in their order, each part with its own thickness and fits."""
    if len(rows) == 1 and rows[0]["guid"] == guid:
        return rows[0]
    laid = [row for row in rows if row["parts"]]
    first, last = (laid[0], laid[-1]) if laid else (rows[0], rows[-1])
    return first | {
        "guid": guid,
        "runs": list(dict.fromkeys(run for row in laid for run in row["runs"])),
        "parts": [part | {"thickness_mm": row["thickness_mm"], "fit_mm": row["fit_mm"]} for row in laid for part in row["parts"]],
        "fit_mm": first["fit_mm"] | {"end": last["fit_mm"]["end"], "top": max((r["fit_mm"]["top"] for r in rows), key=abs)},
        "area_m2": {key: round(sum(row["area_m2"][key] for row in rows), 12) for key in first["area_m2"]},
        "ledger_m3": {key: round(sum(row["ledger_m3"][key] for row in rows), 12) for key in LEDGER},
        "reasons": list(dict.fromkeys(reason for row in rows for reason in row["reasons"])),
        "footprint_mm": _outline([row["footprint_mm"] for row in rows]),
    }


def _outline(parts: Sequence[list[list[float]]]) -> list[list[float]]:
    """Return the outline of a wall's parts together (of the largest, where they lie apart); a ring is slit, so that it is one outline."""
    different = [part for n, part in enumerate(parts) if len(part) > 2 and part not in parts[:n]]
    if len(different) < 2:
        return different[0] if different else []
    grown = shapely.union_all([shapely.Polygon(part).buffer(CLOSE, join_style="mitre") for part in different])
    whole = max(shapely.get_parts(grown.buffer(-CLOSE, join_style="mitre")), key=lambda p: (p.area, p.bounds))
    whole = shapely.geometry.polygon.orient(whole)
    ring = list(whole.exterior.coords)
    for hole in whole.interiors:
        inner = list(hole.coords)
        at = min(range(len(inner) - 1), key=lambda k: (inner[k][0] - ring[0][0]) ** 2 + (inner[k][1] - ring[0][1]) ** 2)
        ring += [*inner[at:-1], *inner[: at + 1], ring[0]]
    return [[round(x, 3), round(y, 3)] for x, y in ring[:-1]]


def _aside(s: SetAside) -> dict[str, Any]:
    zero = dict.fromkeys(LEDGER, 0.0)
    drawn, holes, finishes = round(s.volume_m3, 12), round(s.openings_m3, 12), round(s.finishes_m3, 12)
    rest = {"drawn": drawn, "openings": holes, "finishes": finishes, "set_aside": drawn - holes - finishes}
    ledger: Mapping[str, float] = zero | rest
    area = round(s.area_m2, 12)
    return {
        "guid": s.guid,
        "name": s.name,
        "storey": s.storey,
        "thickness_mm": _mm(s.thickness),
        "runs": [],
        "parts": [],
        "fit_mm": {"start": 0, "end": 0, "top": 0, "thickness": 0},
        "area_m2": {"wall": area, "openings": round(s.openings_m2, 12), "laid": 0.0, "set_aside": area - round(s.openings_m2, 12)},
        "ledger_m3": ledger,
        "reasons": [s.reason],
        "footprint_mm": _points(s.footprint),
    }


def _points(points: tuple[Point, ...]) -> list[list[float]]:
    return [[round(x / MM, 3), round(y / MM, 3)] for x, y in points]

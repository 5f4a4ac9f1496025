"""A small plan folder made by hand for the tests of the audit, and ways to spoil one cell of any plan.

Two runs at an L corner as in the joints of thin-bed work with units of 599 x 199 x 200 mm on 1 mm joints: where a run passes
it starts at the outside face, 100 before the node; where it butts it starts 101 past it.  A door 800 wide with a lintel of
1199, four courses, one bar in the corner.  Every volume below is arithmetic from those figures, not taken from the program.

A `mutate` function takes a plan folder, changes one cell so that one invariant alone is broken, and puts the checksum of a
changed file right again.  It raises :class:`Unfit` on a plan that has nothing of the kind.
"""

from __future__ import annotations

import csv
import hashlib
import json
from collections.abc import Callable
from math import pi
from pathlib import Path
from typing import Any

from wallquant.files import COLUMNS, FINDINGS, SCHEMA, SUMMARY

Row = dict[str, Any]


class Unfit(Exception):
    """The plan has nothing that this mutation could spoil."""


BEDS = {1: 10, 2: 210, 3: 410, 4: 610}
CORE_M3 = pi / 4 * 0.1**2 * 0.199
# run, course, unit, cut, start, end, step, stock; stations from the node
PIECES = (
    ("R1", 1, "C600", "", -100, 499, "S01", ""),
    ("R1", 1, "B600", "", 500, 1099, "S02", ""),
    ("R1", 1, "B600", "length", 1100, 1300, "S02", "K1"),
    ("R1", 1, "B600", "", 2100, 2699, "S02", ""),
    ("R1", 1, "B600", "", 2700, 3299, "S02", ""),
    ("R1", 1, "B600", "length", 3300, 3499, "S02", "K1"),
    ("R1", 2, "B600", "", 101, 700, "S06", ""),
    ("R1", 2, "B600", "", 701, 1300, "S06", ""),
    ("R1", 2, "B600", "length", 2100, 2498, "S06", "K2"),
    ("R1", 2, "B600", "", 2499, 3098, "S06", ""),
    ("R1", 2, "B600", "length", 3099, 3499, "S06", "K3"),
    ("R1", 3, "C600", "", -100, 499, "S08", ""),
    ("R1", 3, "L1200", "", 1100, 2299, "S09", ""),
    ("R1", 3, "B600", "", 500, 1099, "S10", ""),
    ("R1", 3, "B600", "", 2300, 2899, "S10", ""),
    ("R1", 3, "B600", "", 2900, 3499, "S10", ""),
    ("R1", 4, "B600", "", 101, 700, "S13", ""),
    ("R1", 4, "B600", "", 701, 1300, "S13", ""),
    ("R1", 4, "B600", "", 1301, 1900, "S13", ""),
    ("R1", 4, "B600", "", 1901, 2500, "S13", ""),
    ("R1", 4, "B600", "", 2501, 3100, "S13", ""),
    ("R1", 4, "B600", "length", 3101, 3499, "S15", "K4"),
    ("R2", 1, "B600", "", 101, 700, "S03", ""),
    ("R2", 1, "B600", "", 701, 1300, "S03", ""),
    ("R2", 1, "B600", "length", 1301, 1699, "S03", "K5"),
    ("R2", 2, "C600", "", -100, 499, "S05", ""),
    ("R2", 2, "B600", "", 500, 1099, "S07", ""),
    ("R2", 2, "B600", "", 1100, 1699, "S07", ""),
    ("R2", 3, "B600", "", 101, 700, "S11", ""),
    ("R2", 3, "B600", "", 701, 1300, "S11", ""),
    ("R2", 3, "B600", "length", 1301, 1699, "S11", "K6"),
    ("R2", 4, "C600", "", -100, 499, "S12", ""),
    ("R2", 4, "B600", "", 500, 1099, "S14", ""),
    ("R2", 4, "B600", "", 1100, 1699, "S14", ""),
)
# step, kind, run, course, crew, start, end
STEPS = (
    ("S01", "corner", "R1", "1", "M1", 0.0, 0.5),
    ("S02", "line", "R1", "1", "M1", 0.5, 1.5),
    ("S03", "line", "R2", "1", "M2", 0.5, 1.0),
    ("S04", "hold", "", "1", "", 1.5, 1.5),
    ("S05", "lead", "R2", "2", "M1", 17.0, 17.5),
    ("S06", "line", "R1", "2", "M1", 17.5, 18.5),
    ("S07", "line", "R2", "2", "M2", 17.5, 18.0),
    ("S08", "lead", "R1", "3", "M1", 18.5, 19.0),
    ("S09", "lintel", "R1", "3", "M2", 18.5, 19.0),
    ("S10", "line", "R1", "3", "M1", 19.0, 20.0),
    ("S11", "line", "R2", "3", "M2", 19.0, 19.5),
    ("S12", "lead", "R2", "4", "M2", 19.5, 20.0),
    ("S13", "line", "R1", "4", "M1", 20.0, 21.0),
    ("S14", "line", "R2", "4", "M2", 20.0, 20.5),
    ("S15", "closure", "R1", "4", "M1", 21.0, 21.25),
)
PRECEDENCES = (
    ("S01", "S02", 0, ""), ("S01", "S03", 0, ""), ("S02", "S04", 0, ""), ("S03", "S04", 0, ""), ("S04", "S05", 12, 48),
    ("S05", "S06", 0, ""), ("S05", "S07", 0, ""), ("S06", "S08", 0, ""), ("S06", "S09", 0, ""), ("S09", "S10", 0, ""),
    ("S07", "S11", 0, ""), ("S11", "S12", 0, ""), ("S10", "S13", 0, ""), ("S12", "S14", 0, ""), ("S13", "S15", 0, ""),
)  # fmt: skip


def build(folder: Path) -> Path:
    """Write the plan into `folder` and return it."""
    folder.mkdir(parents=True, exist_ok=True)
    pieces = _pieces()
    tables: dict[str, list[Row]] = {
        "pieces.csv": pieces,
        "runs.csv": [
            _run("R1", 0, 3500, "LINESTRING (-100 810, 3500 810)", "K1", "K2"),
            _run("R2", 90, 1700, "LINESTRING (-100 810, 1700 810)", "K1", "K3"),
        ],
        "corners.csv": [
            {"corner": "K1", "kind": "L", "x_mm": 0, "y_mm": 0, "runs": "R1 R2", "bonded": "true", "phase": "R1 R2 R1 R2"},
            {"corner": "K2", "kind": "end", "x_mm": 3500, "y_mm": 0, "runs": "R1"},
            {"corner": "K3", "kind": "end", "x_mm": 0, "y_mm": 1700, "runs": "R2"},
        ],
        "courses.csv": [
            {"run": run, "course": c, "bottom_mm": z, "top_mm": z + 199}
            | ({"offset_mm": 150, "offset_rule": "running_bond"} if c > 1 else {})
            for run in ("R1", "R2")
            for c, z in BEDS.items()
        ],
        "openings.csv": [
            {
                "opening": "D1", "wall": "W1", "run": "R1", "start_mm": 1300, "end_mm": 2100, "sill_mm": 0, "head_mm": 410,
                "through": "true",
                "filling": "door", "bridged": "lintel", "lintel": next(p["piece"] for p in pieces if p["unit"] == "L1200"),
                "bearing_start_mm": 200, "bearing_end_mm": 199, "bearing_least_mm": 150,
            }
        ],
        "items.csv": [
            {
                "item": "I1", "kind": "bar", "run": "R1", "start_mm": 0, "x_mm": 0, "y_mm": 0, "bottom_mm": 0, "top_mm": 809, "size_mm": 12,
                "quantity": 0.809, "unit": "m", "rule": "bars",
            }
        ],
        "steps.csv": [
            dict(zip(("step", "kind", "run", "course", "crew", "start_h", "end_h"), row, strict=True)) | {"day": int(row[5] // 24) + 1}
            for row in STEPS
        ],
        "precedences.csv": [
            {"first": a, "then": b, "lag_h": lag, "most_lag_h": most, "rule": "engine", "reason": "bond"} for a, b, lag, most in PRECEDENCES
        ],
        "materials.csv": [
            {"item": "B600", "net": 28, "waste": 1, "buy": 29, "unit": "pcs"},
            {"item": "C600", "net": 4, "waste": 0, "buy": 4, "unit": "pcs"},
            {"item": "L1200", "net": 1, "waste": 0, "buy": 1, "unit": "pcs"},
            {"item": "bar", "net": 0.809, "waste": 0.04, "buy": 0.85, "unit": "m"},
        ],
        "cuts.csv": _cuts(pieces),
    }  # fmt: skip
    for name, rows in tables.items():
        write(folder / name, rows)
    (folder / FINDINGS).write_text(json.dumps({"schema": "wallquant.findings/1", "findings": []}), encoding="utf-8")
    summary = _summary(pieces)
    summary["files"] = {name: _sha(folder / name) for name in sorted([*COLUMNS, FINDINGS])}
    (folder / SUMMARY).write_text(json.dumps(summary, indent=1), encoding="utf-8")
    return folder


def _pieces() -> list[Row]:
    rows, places = [], dict[tuple[str, int], int]()
    for run, course, unit, cut, start, end, step, stock in PIECES:
        place = places[run, course] = places.get((run, course), 0) + 1
        volume = (end - start) * 199 * 200 * 1e-9
        solid = volume - (CORE_M3 if unit == "C600" else 0)
        rows.append(
            {
                "piece": f"{run}-C{course:02d}-{place:02d}", "run": run, "course": course, "place": place, "unit": unit, "cut": cut,
                "start_mm": start, "end_mm": end, "bottom_mm": BEDS[course], "top_mm": BEDS[course] + 199, "thickness_mm": 200,
                "x_mm": start if run == "R1" else 0, "y_mm": start if run == "R2" else 0, "angle_deg": 0 if run == "R1" else 90,
                "volume_m3": volume, "solid_m3": solid, "mass_kg": solid * 500 * 1.3, "wall": "W1" if run == "R1" else "W2",
                "step": step, "stock": stock,
            }
        )  # fmt: skip
    return rows


def _run(name: str, angle: int, length: int, top: str, first: str, last: str) -> Row:
    return {
        "run": name, "storey": "Ground", "x_mm": 0, "y_mm": 0, "angle_deg": angle, "length_mm": length, "thickness_mm": 200,
        "bottom_mm": 0, "top": top, "start_corner": first, "end_corner": last,
    }  # fmt: skip


def _cuts(pieces: list[Row]) -> list[Row]:
    rows = []
    for piece in sorted((one for one in pieces if one["cut"]), key=lambda one: (one["stock"], one["piece"])):
        rows.append(
            {
                "stock": piece["stock"], "unit": piece["unit"], "order": 1, "piece": piece["piece"],
                "length_mm": piece["end_mm"] - piece["start_mm"],
                "height_mm": 199, "angle_deg": 0, "kerf_mm": 3, "offcut_mm": "",
            }
        )  # fmt: skip
    return rows


def _unit(code: str, kind: str, length: int, cores: list[Row], trough: Row | None) -> Row:
    return {
        "code": code, "kind": kind, "length_mm": length, "height_mm": 199, "thickness_mm": 200, "cores": cores, "trough": trough,
        "density_kg_m3": 500, "pallet": 40,
    }  # fmt: skip


def _wall(name: str, run: str, length: int, ledger: Row) -> Row:
    opening = 0.8 * 0.41 if run == "R1" else 0.0
    terms = dict.fromkeys(("openings", "finishes", "set_aside", "borrowed", "fit_thickness"), 0.0) | ledger
    return {
        "guid": name, "name": name, "storey": "Ground", "thickness_mm": 200, "runs": [run],
        "parts": [{"run": run, "start_mm": -100, "end_mm": length, "bottom_mm": 0, "top": f"LINESTRING (-100 810, {length} 810)"}],
        "fit_mm": {"start": 0, "end": -1, "top": -1, "thickness": 0},
        "area_m2": {"wall": (length + 100) * 0.81e-3, "openings": opening, "laid": (length + 100) * 0.81e-3 - opening, "set_aside": 0},
        "ledger_m3": terms, "reasons": [],
    }  # fmt: skip


def _summary(pieces: list[Row]) -> Row:
    fit = {"free_end": (6.4, 6.4), "joined_end": (6.4, 6.4), "thickness": (6.4, 12.7), "top": (12.7, 12.7)}
    fit |= {"head": (0, 12.7), "sill": (0, 12.7), "jamb": (0, 0)}
    # R1 holds 2799, 2599, 3599, 3399 of line in its courses; beds 2599 + 2799 + 3399; levelling bed 2799 x 10; all by 200
    laid1 = ((2799 + 2599 + 3599 + 3399) * 199 + 2599 + 2799 + 3399 + 27990) * 200e-9
    laid2 = ((1599 + 1799 + 1599 + 1799) * 199 + 1799 + 1599 + 1799 + 15990) * 200e-9
    one = {
        "drawn": 3600 * 810 * 200e-9, "openings": 800 * 410 * 200e-9, "lent": 200 * 200 * 400e-9,
        "fit_length": -810 * 200e-9, "fit_height": -3599 * 200e-9, "laid": laid1,
    }  # fmt: skip
    two = {
        "drawn": 1800 * 810 * 200e-9, "lent": 200 * 200 * 409e-9,
        "fit_length": -810 * 200e-9, "fit_height": -1799 * 200e-9, "laid": laid2,
    }  # fmt: skip
    cores = [{"station_mm": 100, "offset_mm": 0, "diameter_mm": 100}]
    return {
        "schema": SCHEMA,
        "catalogue": {
            "code": "handmade", "system": "mm",
            "bed_mm": {"least": 0.5, "nominal": 1, "most": 3}, "head_joint_mm": {"least": 0.5, "nominal": 1, "most": 3},
            "levelling_bed_mm": {"least": 5, "nominal": 10, "most": 20},
            "least_piece_mm": 100, "least_rip_mm": 50, "least_strip_mm": 25, "kerf_mm": 3, "delivered_factor": 1.3,
            "units": [
                _unit("B600", "standard", 599, [], None),
                _unit("C600", "core", 599, cores, None),
                _unit("L1200", "lintel", 1199, [], None),
                _unit("U600", "U", 599, [], {"width_mm": 100, "depth_mm": 149}),
            ],
        },
        "any_thickness": False,
        "rules": [{"code": "corner_leads", "params": {"courses": 2}, "sources": []}],
        "fit": {key: {"minus_mm": minus, "plus_mm": plus} for key, (minus, plus) in fit.items()},
        "origin_mm": [0, 0, 0],
        "ifc_schema": "",
        "counts": {
            "walls": 2, "walls_laid": 2, "walls_set_aside": 0, "runs": 2, "corners": 3, "pieces": 34, "cuts": 7,
            "units_bought": 33, "steps": 15,
        },
        "totals": {
            "pieces_m3": sum(one["volume_m3"] for one in pieces), "solid_m3": sum(one["solid_m3"] for one in pieces),
            "mass_kg": sum(one["mass_kg"] for one in pieces), "cuts_bound": 7, "cut_units_bound": 6, "hours": 21.25, "hours_bound": 20,
        },
        "walls": [_wall("W1", "R1", 3500, one), _wall("W2", "R2", 1700, two)],
    }  # fmt: skip


# reading and writing of files


def rows_of(path: Path) -> list[Row]:
    """Return the rows of a CSV file."""
    with path.open(encoding="utf-8", newline="") as stream:
        return list(csv.DictReader(stream))


def write(path: Path, rows: list[Row]) -> None:
    """Write rows into a CSV file of the plan, columns as its contract says."""
    with path.open("w", encoding="utf-8", newline="") as stream:
        columns = COLUMNS.get(path.name) or list(rows[0])
        writer = csv.DictWriter(stream, columns, restval="", lineterminator="\n")
        writer.writeheader()
        writer.writerows(rows)


def _sha(path: Path) -> str:
    return hashlib.sha256(path.read_bytes()).hexdigest()


def set_cell(folder: Path, name: str, row: int, column: str, value: object) -> None:
    """Change one cell of a CSV file and put its checksum right."""
    rows = rows_of(folder / name)
    rows[row][column] = value
    write(folder / name, rows)
    stamp(folder, name)


def stamp(folder: Path, name: str) -> None:
    """Put the checksum of a changed file into summary.json."""
    change(folder, lambda summary: summary["files"].update({name: _sha(folder / name)}))


def change(folder: Path, how: Callable[[Any], object]) -> None:
    """Change summary.json."""
    summary = json.loads((folder / SUMMARY).read_text(encoding="utf-8"))
    how(summary)
    (folder / SUMMARY).write_text(json.dumps(summary, indent=1), encoding="utf-8")


# one cell changed, one invariant broken


def ledger_term(folder: Path) -> None:
    """I1: a wall's fit in length is booked 0.001 m3 too high."""

    def how(summary: Any) -> None:
        walls = [wall for wall in summary["walls"] if wall["ledger_m3"]["laid"] > 0]
        if not walls:
            raise Unfit
        walls[0]["ledger_m3"]["fit_length"] += 0.001

    change(folder, how)


def shifted_piece(folder: Path) -> None:
    """I2: one piece stands 2 mm away from its station in plan."""
    rows = rows_of(folder / "pieces.csv")
    if not rows:
        raise Unfit
    at = len(rows) // 2
    set_cell(folder, "pieces.csv", at, "x_mm", float(rows[at]["x_mm"]) + 2)


def thin_piece(folder: Path) -> None:
    """I3: one piece is 5 mm thinner than its unit."""
    rows = rows_of(folder / "pieces.csv")
    plain = [at for at, row in enumerate(rows) if not row["plan"] and not row["elevation"]]
    if not plain:
        raise Unfit

    def how(summary: Any) -> None:
        unit = next(one for one in summary["catalogue"]["units"] if one["code"] == code)
        unit["thickness_mm"] += 5

    code = rows[plain[0]]["unit"]
    change(folder, how)


def wider_offset(folder: Path) -> None:
    """I4: courses.csv asks an offset that no joint of that course keeps."""
    pieces, courses = rows_of(folder / "pieces.csv"), rows_of(folder / "courses.csv")
    lines: dict[tuple[str, str], int] = {}
    for row in pieces:
        key = (row["run"], row["course"])
        lines[key] = lines.get(key, 0) + 1
    for at, row in enumerate(courses):
        below = (row["run"], str(int(row["course"]) - 1))
        if row["offset_mm"] and lines.get((row["run"], row["course"]), 0) > 2 and lines.get(below, 0) > 2:
            set_cell(folder, "courses.csv", at, "offset_mm", 5000)
            return
    raise Unfit


def levelling_range(folder: Path) -> None:
    """I5: the slab may carry less of a levelling bed than lies there, so course 1 hangs in the air."""

    def how(summary: Any) -> None:
        summary["catalogue"]["levelling_bed_mm"] = {"least": 0, "nominal": 0.001, "most": 0.002}

    if not rows_of(folder / "pieces.csv"):
        raise Unfit
    change(folder, how)


def longer_bearing(folder: Path) -> None:
    """I6: the bearing asked is longer than the lintel's."""
    told = json.loads((folder / FINDINGS).read_text(encoding="utf-8"))["findings"]
    named = {one["place"].get("opening") for one in told if one["code"].startswith("lintel.")}
    for at, row in enumerate(rows_of(folder / "openings.csv")):
        if row["bridged"] == "lintel" and row["opening"] not in named:
            set_cell(folder, "openings.csv", at, "bearing_least_mm", float(row["bearing_start_mm"]) + float(row["bearing_end_mm"]) + 1)
            return
    raise Unfit


def thicker_bar(folder: Path) -> None:
    """I7: a bar is too thick for its core."""
    for at, row in enumerate(rows_of(folder / "items.csv")):
        if row["kind"] == "bar":
            set_cell(folder, "items.csv", at, "size_mm", 150)
            return
    raise Unfit


def early_step(folder: Path) -> None:
    """I8: the step before another ends after the other has begun."""
    steps, rows = rows_of(folder / "steps.csv"), rows_of(folder / "precedences.csv")
    index = {row["step"]: at for at, row in enumerate(steps)}
    if not rows:
        raise Unfit
    set_cell(folder, "steps.csv", index[rows[-1]["first"]], "end_h", float(steps[index[rows[-1]["then"]]]["end_h"]) + 1)


def fewer_units(folder: Path) -> None:
    """I9: one unit fewer is counted than pieces need."""
    pieces = {row["unit"] for row in rows_of(folder / "pieces.csv")}
    for at, row in enumerate(rows_of(folder / "materials.csv")):
        if row["unit"] == "pcs" and row["item"] in pieces:
            set_cell(folder, "materials.csv", at, "net", float(row["net"]) - 1)
            return
    raise Unfit


MUTATIONS: dict[str, Callable[[Path], None]] = {
    "I1": ledger_term,
    "I2": shifted_piece,
    "I3": thin_piece,
    "I4": wider_offset,
    "I5": levelling_range,
    "I6": longer_bearing,
    "I7": thicker_bar,
    "I8": early_step,
    "I9": fewer_units,
}
"""Each breaks one invariant of a plan folder and no other."""

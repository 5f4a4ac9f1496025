"""The files of a plan: names, columns, schema versions.  Used by writers, audit and compare, so that one place says it."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

SCHEMA = "wallquant.plan/1"
"""Version of the folder's layout; written into summary.json and findings.json."""
RUN_SCHEMA = "wallquant.run/1"
"""Version of run.json."""

SUMMARY = "summary.json"
RUN = "run.json"
FINDINGS = "findings.json"
REPORT = "report.html"
BATCH = "batch.csv"
BATCH_COLUMNS = (
    "model", "folder", "exit", "walls", "walls_laid", "set_aside_m2", "pieces", "cuts", "cuts_bound", "units_bought", "errors", "warnings",
    "notes", "said",
)  # fmt: skip
"""The table of `wallquant batch`, a row a model; `said` is the sentence about one that was not planned."""

COLUMNS: dict[str, tuple[str, ...]] = {
    "pieces.csv": (
        "piece", "run", "course", "place", "unit", "cut", "work", "holes", "start_mm", "end_mm", "bottom_mm", "top_mm", "thickness_mm",
        "x_mm", "y_mm", "angle_deg", "elevation", "plan", "volume_m3", "solid_m3", "mass_kg", "wall", "step", "stock",
    ),
    "runs.csv": (
        "run", "storey", "x_mm", "y_mm", "angle_deg", "length_mm", "thickness_mm", "bottom_mm", "top", "start_corner", "end_corner",
    ),
    "corners.csv": ("corner", "kind", "x_mm", "y_mm", "runs", "bonded", "phase"),
    "courses.csv": ("run", "course", "bottom_mm", "top_mm", "offset_mm", "offset_rule"),
    "openings.csv": (
        "opening", "wall", "run", "start_mm", "end_mm", "sill_mm", "head_mm", "through", "filling", "filling_width_mm", "filling_height_mm",
        "bridged", "lintel", "bearing_start_mm", "bearing_end_mm", "bearing_least_mm",
    ),
    "items.csv": (
        "item", "kind", "run", "piece", "start_mm", "end_mm", "x_mm", "y_mm", "bottom_mm", "top_mm", "size_mm", "quantity", "unit", "rule",
    ),
    "steps.csv": ("step", "kind", "run", "course", "corner", "crew", "start_h", "end_h", "day", "text"),
    "precedences.csv": ("first", "then", "lag_h", "most_lag_h", "rule", "reason"),
    "materials.csv": ("item", "net", "waste", "buy", "unit", "where", "rule"),
    "cuts.csv": ("stock", "unit", "order", "piece", "length_mm", "height_mm", "angle_deg", "kerf_mm", "offcut_mm"),
}  # fmt: skip
"""CSV files of a plan and their columns, in order.  Millimetres, kg, m2, m3, hours."""

SCHEDULES: dict[str, tuple[str, ...]] = {
    "schedule.csv": (
        "storey",
        "wall",
        "name",
        "thickness_mm",
        "group",
        "item",
        "quantity",
        "unit",
        "whole",
        "cut_pieces",
        "cut_units",
        "volume_m3",
        "mass_kg",
    ),
    "ledger.csv": (
        "storey",
        "wall",
        "name",
        "drawn_m3",
        "openings_m3",
        "finishes_m3",
        "set_aside_m3",
        "lent_m3",
        "borrowed_m3",
        "fit_length_m3",
        "fit_height_m3",
        "fit_thickness_m3",
        "laid_m3",
        "thin_bed_m3",
        "levelling_m3",
        "movement_m3",
        "gaps_m3",
        "shared_m3",
        "pieces_m3",
        "offcuts_m3",
        "units_m3",
        "waste_m3",
        "rounding_m3",
        "bought_m3",
    ),
    "staging.csv": (
        "order",
        "day",
        "storey",
        "load",
        "unit",
        "holds",
        "part",
        "mass_kg",
        "wall",
        "name",
        "serves",
        "x_mm",
        "y_mm",
        "angle_deg",
        "off_edge_mm",
        "off_wall_mm",
        "floor_kn_m2",
        "note",
    ),
    "labour.csv": (
        "kind",
        "lift",
        "height_from_mm",
        "height_to_mm",
        "pieces",
        "face_m2",
        "mass_kg",
        "hours_plan",
        "factor",
        "hours",
        "hours_by_area",
        "hours_by_mass",
    ),
    "mixing.csv": ("day", "mortar", "net_l", "waste_l", "bags", "batch_bags", "batches", "bags_to_open"),
    "bars.csv": (
        "bar",
        "sort",
        "size_mm",
        "stock_mm",
        "order",
        "length_mm",
        "offcut_mm",
        "item",
        "part",
        "parts",
        "run",
        "course",
        "start_mm",
        "end_mm",
        "task",
        "day",
    ),
    "bill.csv": (
        "storey",
        "wall",
        "name",
        "thickness_mm",
        "deducted",
        "chosen",
        "wall_m2",
        "openings",
        "openings_m2",
        "left_in",
        "left_in_m2",
        "set_aside_m2",
        "measured_m2",
        "measured_m3",
        "source",
    ),
}
"""Schedules of a plan and their columns: made from the other files' content."""

BEDS = (
    "piece", "run", "start_mm", "end_mm", "bed_start_mm", "bed_end_mm", "bed_least_mm", "bed_most_mm", "rip_mm", "strip_mm", "grind_mm",
    "mortar_l",
)  # fmt: skip
"""Columns of beds.csv, which a plan with a slab survey has: the bed under each piece of course 1, and what is cut off its foot."""
CORNER_BEDS = ("corner", "piece", "bed_mm", "top_mm", "reading_mm", "start")
"""Columns of bench.csv: bed, level and rod reading at the top of the first block of each corner, in the order in which they are set."""

SAW_LIST = ("day", "when", "unit", "cut", "angle_deg", "height_mm", "length_mm", "count", "pieces", "stocks")
"""Columns of saw_list.csv: a row for each setting of the saw on a day; `when` is ahead, or on site where the place is measured first."""

CUTS = ("length", "height", "rake", "mitre", "notch")
"""What can be done to a unit, joined by + in the column `cut`; a notch alone leaves a whole unit."""

BRIDGED = ("lintel", "units", "none")
LEDGER = ("drawn", "openings", "finishes", "set_aside", "lent", "borrowed", "fit_length", "fit_height", "fit_thickness", "laid")
"""Terms of a wall's ledger; drawn - openings - finishes - set_aside - lent + borrowed + the fits = laid."""


def vetted(path: Path) -> Path:
    """Return the path of a plan's file; a device or pipe in a forged folder is refused, since reading it need not end.

    Raises
    ------
    OSError
        If something other than a file is there.
    """
    if path.exists() and not path.is_file():
        raise OSError(None, "it is no file but a folder, device or pipe", str(path))
    return path


def read_json(path: Path) -> Any:
    """Return what a JSON file of a plan holds.

    Raises
    ------
    OSError
        If it is not there, or is no file.
    ValueError
        If it is no JSON in UTF-8, or is nested too deeply to be a plan's.
    """
    try:
        return json.loads(vetted(path).read_text(encoding="utf-8"))
    except RecursionError as error:
        raise ValueError("its lists or objects are nested too deeply") from error

"""What the page says of the schedules: from laid to bought, by storey, pallets and their places, labour, mixing, the bill."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from math import cos, radians, sin
from typing import TYPE_CHECKING, Any

from wallquant.quantities.bill import DEDUCTIONS
from wallquant.quantities.labour import laying
from wallquant.quantities.site import SOURCES
from wallquant.writers.report.sheet import Json, Sheet, Spot
from wallquant.writers.report.words import Words

if TYPE_CHECKING:
    import pandas as pd

_FT2, _LITRE_FT3 = (1000 / 304.8) ** 2, 0.001 * (1000 / 304.8) ** 3
_PSF = 1000 / 4.4482216152605 / _FT2
"""Pounds a square foot for one kN/m2; exact (international pound, standard gravity, international foot)."""
_TO_BOUGHT = ("laid", "thin_bed", "levelling", "movement", "gaps", "shared", "pieces", "offcuts", "units", "waste", "rounding", "bought")
_US = {"m": (1000 / 304.8, "ft"), "m2": (_FT2, "ft²"), "m3": (_LITRE_FT3 * 1000, "ft³"), "kg": (1 / 0.45359237, "lb")}
_METRIC = {"m2": "m²", "m3": "m³"}
PALLET_MM = (1200.0, 1000.0)
"""Size at which pallets are drawn."""
_OTHER = "not of one wall"


@dataclass(kw_only=True, slots=True)
class Yard:
    """The picture of a storey with its pallets in the order of delivery; sizes are pixels."""

    storey: str
    width: float
    height: float
    walls: list[str]
    pallets: list[tuple[str, str]]
    labels: list[tuple[float, float, int]]
    bar: float
    bar_text: str
    count: int
    places: list[tuple[int, str]] = field(default_factory=list)


def context(summary: Json, tables: Mapping[str, pd.DataFrame], words: Words) -> dict[str, Any]:
    """Return the names that the templates of the schedules use; a table that is not there has none."""
    return {
        "bought": _bought(tables["ledger.csv"], words) if "ledger.csv" in tables else None,
        "by_storey": _by_storey(tables["schedule.csv"], words) if "schedule.csv" in tables else None,
        "by_wall": _by_wall(tables["schedule.csv"], words) if "schedule.csv" in tables else None,
        "loads": _loads(tables["staging.csv"], words) if "staging.csv" in tables else None,
        "walls_of_loads": _loads_by_wall(tables["staging.csv"], words) if "staging.csv" in tables else [],
        "yards": _yards(summary, tables["staging.csv"], words) if "staging.csv" in tables else [],
        "labour": _labour(tables["labour.csv"], words) if "labour.csv" in tables else None,
        "mixing": _mixing(tables["mixing.csv"], words) if "mixing.csv" in tables else None,
        "bill": _bill(tables["bill.csv"], words) if "bill.csv" in tables else None,
        "sources": {key: str(source) for key, source in SOURCES.items()},
    }


def _rows(frame: pd.DataFrame) -> list[dict[str, Any]]:
    return [{str(key): value for key, value in row.items()} for row in frame.to_dict("records")]


def number(value: Any, places: int = 0) -> str:
    """Return a number for people, trailing zeros cut; '' for one that is missing."""
    if value is None or value != value or not isinstance(value, (int, float)):
        return ""
    text = f"{value:,.{places}f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def in_words(value: float, unit: str, words: Words) -> tuple[float, str]:
    """Return a quantity and its unit as the plan's people measure them."""
    factor, name = _US.get(unit, (1.0, unit)) if words.system == "in" else (1.0, _METRIC.get(unit, unit))
    return value * factor, name


def amount(value: float, unit: str, words: Words) -> str:
    """Return a quantity with its unit for people."""
    told, name = in_words(value, unit, words)
    return f"{number(told, 1 if name in ('ft', 'lb') else 3)} {name}"


def _bought(frame: pd.DataFrame, words: Words) -> list[dict[str, Any]]:
    """Storeys in the order of the table: walls from laid to bought, and their sum."""
    out = []
    for storey, rows in frame.groupby("storey", sort=False):
        lines = [{"name": row["name"], "terms": [words.volume(row[f"{t}_m3"]) for t in _TO_BOUGHT]} for row in _rows(rows)]
        sums = [words.volume(float(rows[f"{t}_m3"].sum())) for t in _TO_BOUGHT]
        drawn, laid, buy = (words.volume(float(rows[f"{t}_m3"].sum())) for t in ("drawn", "laid", "bought"))
        out.append({"storey": str(storey) or "No storey", "lines": lines, "sum": sums, "drawn": drawn, "laid": laid, "bought": buy})
    return out


def _by_storey(frame: pd.DataFrame, words: Words) -> list[dict[str, Any]]:
    """Units and lintels by storey, thickness and kind."""
    units = frame[frame["group"].isin(["units", "lintels"])]
    keys = ["storey", "thickness_mm", "group", "item"]
    numbers = ["quantity", "whole", "cut_pieces", "cut_units", "mass_kg"]
    grouped = units.assign(**{n: units[n].astype(float) for n in numbers}).groupby(keys, sort=True)[numbers].sum()
    grouped = grouped.reset_index().sort_values(["storey", "thickness_mm", "group", "item"], ascending=[True, True, False, True])
    out: list[dict[str, Any]] = []
    for row in _rows(grouped):
        new = not out or out[-1]["storey"] != row["storey"]
        out.append(
            {
                "storey": row["storey"],
                "first": new,
                "thickness": words.length(float(row["thickness_mm"])),
                "item": row["item"],
                "units": number(row["quantity"]),
                "whole": number(row["whole"]),
                "cut": f"{number(row['cut_pieces'])} from {number(row['cut_units'])}" if row["cut_pieces"] else "–",
                "mass": words.mass(float(row["mass_kg"])),
            }
        )
    return out


def _by_wall(frame: pd.DataFrame, words: Words) -> list[dict[str, Any]]:
    """One line a wall: units, mortar, the rest in words."""
    out = []
    for (storey, _, name), rows in frame.groupby(["storey", "wall", "name"], sort=False):
        some = {group: _rows(part) for group, part in rows.groupby("group", sort=False)}
        out.append(
            {
                "storey": storey,
                "name": name or _OTHER,
                "units": [f"{number(r['quantity'])} {r['item']}" for r in some.get("units", ())],
                "lintels": [f"{number(r['quantity'])} {r['item']}" for r in some.get("lintels", ())],
                "mortar": [f"{r['item']}: {_litres(float(r['quantity']) * 1000, words)}" for r in some.get("mortar", ())],
                "items": [
                    f"{r['item']}: {amount(r['quantity'], r['unit'], words)}" for r in (*some.get("items", ()), *some.get("work", ()))
                ],
            }
        )
    return out


def _litres(litres: float, words: Words) -> str:
    return f"{litres * _LITRE_FT3:,.2f} ft³" if words.system == "in" else f"{litres:,.0f} L" if litres >= 10 else f"{litres:,.1f} L"


def _loads(frame: pd.DataFrame, words: Words) -> list[dict[str, Any]]:
    out = []
    for row in _rows(frame):
        pallet = str(row["load"]).startswith("pallet")
        place = []
        if pallet and row["off_wall_mm"] == row["off_wall_mm"] and row["off_wall_mm"] is not None:
            place.append(f"{words.length(round(float(row['off_wall_mm']) / 5) * 5.0)} off the wall")
            known = row["off_edge_mm"] == row["off_edge_mm"] and row["off_edge_mm"] is not None
            if known:
                place.append(f"{words.length(round(float(row['off_edge_mm']) / 5) * 5.0)} off the edge")
        place += [row["note"]] if row["note"] else []
        pressed = row["floor_kn_m2"]
        out.append(
            {
                "pallet": pallet,
                "order": row["order"],
                "day": row["day"],
                "storey": row["storey"],
                "what": f"{row['holds']} × {row['unit']}",
                "load": f"{row['load']}{', part' if row['part'] else ''}",
                "mass": words.mass(float(row["mass_kg"])),
                "name": row["name"],
                "serves": row["serves"],
                "place": "; ".join(place),
                "floor": "" if pressed is None or pressed != pressed else _pressure(float(pressed), words),
            }
        )
    return out


def _loads_by_wall(frame: pd.DataFrame, words: Words) -> list[dict[str, Any]]:
    """How much comes for each wall: pallets, part ones, lintels, mass, and which deliveries."""
    out = []
    for (storey, name), rows in frame.groupby(["storey", "name"], sort=True):
        pallets = rows["load"].str.startswith("pallet")
        out.append(
            {
                "name": name,
                "storey": storey,
                "pallets": int(pallets.sum()),
                "part": int((rows["part"] == "part").sum()),
                "lintels": int(rows.loc[~pallets, "holds"].sum()),
                "mass": words.mass(float(rows["mass_kg"].sum())),
                "orders": ", ".join(str(order) for order in rows["order"]),
            }
        )
    return out


def _pressure(kn_m2: float, words: Words) -> str:
    return f"{kn_m2 * _PSF:,.0f} lb/ft²" if words.system == "in" else f"{kn_m2:.1f} kN/m²"


def _yards(summary: Json, frame: pd.DataFrame, words: Words) -> list[Yard]:
    """A picture a storey: outlines of the walls as drawn, pallets with their place in the order of delivery."""
    out = []
    for storey, rows in frame[frame["load"].str.startswith("pallet")].groupby("storey", sort=False):
        walls = [w["footprint_mm"] for w in summary["walls"] if w["storey"] == storey and len(w.get("footprint_mm") or ()) > 2]
        placed = [row for row in _rows(rows) if row["x_mm"] == row["x_mm"] and row["x_mm"] is not None]
        boxes = [(row, _box(float(row["x_mm"]), float(row["y_mm"]), float(row["angle_deg"]))) for row in placed]
        points = [(float(x), float(y)) for wall in walls for x, y in wall] + [p for _, box in boxes for p in box]
        if not points or not boxes:
            continue
        sheet = Sheet.about(points)
        bar, text = sheet.bar(words)
        at: dict[tuple[float, float], list[int]] = {}
        says: dict[tuple[float, float], list[str]] = {}
        drawn: dict[tuple[float, float], str] = {}
        for row, box in boxes:
            key = (float(row["x_mm"]), float(row["y_mm"]))
            at.setdefault(key, []).append(int(row["order"]))
            says.setdefault(key, []).append(f"{row['order']}: day {row['day']}, {row['holds']} × {row['unit']} for {row['name']}")
            drawn[key] = sheet.path(box)
        out.append(
            Yard(
                storey=str(storey) or "No storey",
                width=sheet.width,
                height=sheet.height,
                walls=[sheet.path([(float(x), float(y)) for x, y in wall]) for wall in walls],
                pallets=[(drawn[key], "; ".join(says[key])) for key in at],
                labels=[(*sheet.at(key), numbers[0]) for key, numbers in at.items()],
                bar=bar,
                bar_text=text,
                count=len(rows),
                places=[(numbers[0], ", ".join(map(str, numbers[1:]))) for numbers in at.values() if len(numbers) > 1],
            )
        )
    return out


def _box(x: float, y: float, angle: float) -> list[Spot]:
    c, s, (long, wide) = cos(radians(angle)), sin(radians(angle)), PALLET_MM
    half = ((long / 2, wide / 2), (-long / 2, wide / 2), (-long / 2, -wide / 2), (long / 2, -wide / 2))
    return [(x + u * c - v * s, y + u * s + v * c) for u, v in half]


def _labour(frame: pd.DataFrame, words: Words) -> dict[str, Any]:
    """Lines by kind, lift and height, and sums: those of laying beside two published rates."""
    lines = []
    for row in _rows(frame):
        low, high = (words.length(float(row[key])) for key in ("height_from_mm", "height_to_mm"))
        band = f"up to {high}" if not row["height_from_mm"] else f"{low.removesuffix(' mm')} to {high}"
        lines.append(
            {
                "kind": row["kind"],
                "lift": row["lift"] or "–",
                "band": band,
                "pieces": number(row["pieces"]) if row["pieces"] else "–",
                "mass": words.mass(float(row["mass_kg"])) if row["pieces"] else "–",
                "plan": number(float(row["hours_plan"]), 1),
                "factor": number(float(row["factor"]), 3),
                "hours": number(float(row["hours"]), 1),
                "area": number(row["hours_by_area"], 1) or "–",
                "by_mass": number(row["hours_by_mass"], 1) or "–",
            }
        )
    sums = laying(frame)
    least, most = sorted((sums["hours_by_area"], sums["hours_by_mass"]))
    return {
        "lines": lines,
        "laying": {name: number(value, 1) for name, value in sums.items()},
        "all": {name: number(float(frame[name].sum()), 1) for name in ("hours_plan", "hours")},
        "apart": number(most / least, 1) if least else "",
    }


def _mixing(frame: pd.DataFrame, words: Words) -> list[dict[str, Any]]:
    days: dict[int, dict[str, Any]] = {}
    for row in _rows(frame):
        text = _litres(float(row["net_l"]) + float(row["waste_l"]), words)
        bags = row["bags"]
        if bags is not None and bags == bags:
            batches = int(row["batches"])
            part = f"{number(float(bags), 1)} bags" if bags >= 0.95 else "part of a bag"
            text += f", {part}, {batches} batch{'' if batches == 1 else 'es'}"
        days.setdefault(int(row["day"]), {})[row["mortar"]] = text
    names = sorted({name for day in days.values() for name in day}, key=lambda n: ("levelling", "thin-bed", "grout").index(n.split()[0]))
    return [{"day": day, "cells": [found.get(name, "–") for name in names], "names": names} for day, found in sorted(days.items())]


def _bill(frame: pd.DataFrame, words: Words) -> dict[str, Any]:
    """Areas by thickness and rule, the chosen rule first told."""
    rules = list(dict.fromkeys(frame["deducted"]))
    chosen = next(iter(frame.loc[frame["chosen"] == "yes", "deducted"]), "")
    lines = []
    for thickness, rows in frame.groupby("thickness_mm", sort=True):
        by = rows.groupby("deducted")["measured_m2"].sum()
        face = rows[rows["deducted"] == rules[0]] if rules else rows
        lines.append(
            {
                "thickness": words.length(float(str(thickness))),
                "wall": words.area(float(face["wall_m2"].sum())),
                "openings": words.area(float(face["openings_m2"].sum())),
                "areas": [words.area(float(by.get(rule, 0.0))) for rule in rules],
            }
        )
    sources: Sequence[tuple[str, str]] = [(rule, str(DEDUCTIONS[rule].source)) for rule in rules if rule in DEDUCTIONS]
    return {"rules": rules, "chosen": chosen, "lines": lines, "sources": sources}

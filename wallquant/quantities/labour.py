"""labour.csv and mixing.csv: whose hands are needed for how long, and how much mortar is mixed each day."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from math import ceil

import numpy as np
import pandas as pd

from wallquant.catalogue import Catalogue
from wallquant.files import SCHEDULES
from wallquant.layout import Step, Work
from wallquant.ordering import Schedule
from wallquant.ordering.pace import BY_WEIGHT
from wallquant.quantities.joints import JointVolumes
from wallquant.quantities.rows import GROUTED, LEVELLING, THIN_BED
from wallquant.quantities.site import AREA_HOURS, Rates
from wallquant.rules import Amount, Item
from wallquant.units import MM

LABOUR, MIXING = "labour.csv", "mixing.csv"
LIFTS = ("one person", "two people", "hoist")
DAY_H = 8.0
"""Hours of the mason-day that the published rates by mass mean."""
_RATED = ("corner", "lead", "line", "closure")
"""Kinds of step that lay units: published rates are for them."""


def hours_by_area(face_m2: float) -> float:
    """Return man-hours for a face of wall by the published rate of 160 for 1,000 ft2.

    Examples
    --------
    >>> round(hours_by_area(448 * 0.3048**2), 2)
    71.68
    """
    return face_m2 * AREA_HOURS


def hours_by_mass(mass_kg: pd.Series) -> pd.Series:
    """Return mason-hours for units of these masses (kg) by the published table of units a mason-day."""
    limits = np.array([most for most, _ in BY_WEIGHT])
    rate = np.array([rate for _, rate in BY_WEIGHT])
    at = np.minimum(np.searchsorted(limits, mass_kg.to_numpy(), side="left"), len(rate) - 1)
    return pd.Series(DAY_H / rate[at], index=mass_kg.index)


def labour(table: pd.DataFrame, work: Work, schedule: Schedule, rates: Rates) -> pd.DataFrame:
    """Return the content of labour.csv: hours by kind of step, what lifts the pieces, and height.

    Parameters
    ----------
    table : DataFrame
        As `wallquant.quantities.frames.piece_table` makes it.
    work : Work
    schedule : Schedule
        Its steps, and how many masons each takes.
    rates : Rates

    Returns
    -------
    DataFrame
        `hours_plan` is the work of all masons as the sequence counts it, so its sum is that of the steps; `hours` is that times
        `factor` (the height's).  `hours_by_area` and `hours_by_mass` are two published rates for concrete block beside it, in rows
        that lay units; they differ, and neither was measured on thin-bed block.  Holds take time and no hands.
    """
    steps = schedule.graph.steps
    people = np.array([0 if s.kind == "hold" else 1 + len(schedule.helpers.get(n, ())) for n, s in enumerate(steps)] or [0])
    seconds = np.array([s.seconds for s in steps] or [0], np.float64) * people
    count = np.array([max(1, len(s.pieces)) for s in steps] or [1])
    kinds = np.array([s.kind for s in steps] or [""], dtype=object)
    at, mass = table["step"].to_numpy(), table["mass_kg"].to_numpy()
    laid = pd.DataFrame(
        {
            "kind": kinds[at],
            "lift": np.array(LIFTS, dtype=object)[(mass > rates.alone) * 1 + (mass > rates.two)],
            "band": np.maximum(0, np.floor(table["low_mm"].to_numpy() * MM / rates.band)).astype(int),
            "pieces": 1,
            "face_m2": table["face_m2"],
            "mass_kg": table["mass_kg"],
            "hours_plan": seconds[at] / count[at] / 3600,
        }
    )
    rated = laid["kind"].isin(_RATED)
    laid["hours_by_area"] = laid["face_m2"].map(hours_by_area).where(rated)
    laid["hours_by_mass"] = hours_by_mass(laid["mass_kg"]).where(rated)
    others = [
        {"kind": s.kind, "lift": "", "band": _band(work, s, rates), "pieces": 0, "hours_plan": seconds[n] / 3600}
        for n, s in enumerate(steps)
        if not s.pieces and people[n]
    ]
    both = pd.concat([laid, pd.DataFrame(others)], ignore_index=True) if others else laid
    groups = both.groupby(["kind", "lift", "band"], sort=True)
    out = groups[["pieces", "face_m2", "mass_kg", "hours_plan"]].sum()
    out[["hours_by_area", "hours_by_mass"]] = groups[["hours_by_area", "hours_by_mass"]].sum(min_count=1)
    out = out.reset_index()
    out["factor"] = (1 + rates.above * out["band"]).round(6)
    out["hours"] = out["hours_plan"] * out["factor"]
    out["height_from_mm"] = out["band"] * rates.band / MM
    out["height_to_mm"] = (out["band"] + 1) * rates.band / MM
    numbers = ["face_m2", "mass_kg", "hours_plan", "hours", "hours_by_area", "hours_by_mass"]
    out[numbers] = out[numbers].astype(float).round(6)
    out["place"] = [_kind_at(kind, steps) for kind in out["kind"]]
    out["lift_at"] = [LIFTS.index(lift) if lift else -1 for lift in out["lift"]]
    return out.sort_values(["place", "kind", "lift_at", "band"], kind="stable")[list(SCHEDULES[LABOUR])].reset_index(drop=True)


def laying(frame: pd.DataFrame) -> dict[str, float]:
    """Return the hours of laying units: as the sequence counts them, with the factor of the height, and by both published rates.

    Parameters
    ----------
    frame : DataFrame
        As `labour` makes it.
    """
    rated = frame[frame["hours_by_area"].notna()]
    return {name: round(float(rated[name].sum()), 6) for name in ("hours_plan", "hours", "hours_by_area", "hours_by_mass")}


def _kind_at(kind: str, steps: Iterable[Step]) -> int:
    order = (*_RATED, "lintel")
    return order.index(kind) if kind in order else len(order)


def _band(work: Work, step: Step, rates: Rates) -> int:
    """The band of a step of items: by the course it is built in over."""
    run = step.runs[0] if step.runs else ""
    levels = work.courses[run].levels if run in work.courses else ()
    if step.course < 1 or not levels:
        return 0
    level = levels[min(step.course, len(levels)) - 1].bottom - work.runs[run].bottom
    return max(0, level // rates.band)


def mixing(
    table: pd.DataFrame,
    work: Work,
    schedule: Schedule,
    mortar: Mapping[str, JointVolumes],
    amounts: Iterable[Amount],
    catalogue: Catalogue,
    rates: Rates,
) -> pd.DataFrame:
    """Return the content of mixing.csv: mortar and grout by day.

    Returns
    -------
    DataFrame
        `net_l` by the day on which the pieces are laid (a run's thin-bed mortar by their volume, its levelling bed by that of its
        lowest pieces) or the cores and troughs filled; `waste_l` by the catalogue's factor; `bags` of both; `batches` of `batch_bags`
        bags, rounded up for the day: the last one may be a part; `bags_to_open` are whole ones, where what a day leaves in an open bag
        is used up on the next, so that their sum is what is bought.  Grout comes by volume and has none of these.
    """
    beds = {a.where: 0.0 for a in amounts if (a.item, a.unit) == (LEVELLING, "m3")}
    for a in amounts:
        if (a.item, a.unit) == (LEVELLING, "m3"):
            beds[a.where] += a.quantity
    levelling = beds or {run: v.levelling_m3 for run, v in mortar.items()}
    run = table["run"].astype(str)
    lowest = table["low_mm"] <= table.groupby("run", observed=True)["low_mm"].transform("min") + 1e-6
    frames = []
    for item, by_run, rows in (
        (THIN_BED, {name: v.thin_bed_m3 for name, v in mortar.items()}, table["volume_m3"]),
        (LEVELLING, levelling, table["volume_m3"].where(lowest, 0.0)),
    ):
        whole = rows.groupby(run).transform("sum")
        part = (rows / whole.where(whole > 0, 1.0)) * run.map(by_run).fillna(0.0).astype(float)
        frames.append(pd.DataFrame({"day": table["day"], "mortar": item, "net_l": part * 1000}))
    day = schedule.start // 86400 + 1
    for n, step in enumerate(schedule.graph.steps):
        items = [i for k in step.items if isinstance(i := work.items[k], Item) and i.kind in GROUTED and i.unit == "m3"]
        if items:
            litres = 1000 * sum(i.quantity for i in items)
            frames.append(pd.DataFrame({"day": [int(day[n])], "mortar": ["grout"], "net_l": [litres]}))
    out = pd.concat(frames, ignore_index=True).groupby(["day", "mortar"], sort=True)["net_l"].sum().reset_index()
    out = out[out["net_l"] > 1e-9].copy()
    waste = {THIN_BED: catalogue.waste.thin_bed, LEVELLING: catalogue.waste.bed, "grout": catalogue.waste.grout}
    yields = {THIN_BED: catalogue.mortar.thin_bed.yield_l, LEVELLING: catalogue.mortar.bed.yield_l}
    out["waste_l"] = out["net_l"] * out["mortar"].map(waste)
    out["bags"] = (out["net_l"] + out["waste_l"]) / out["mortar"].map(yields)
    out["batches"] = pd.array([pd.NA if b != b else ceil(round(b / rates.batch_bags, 9)) for b in out["bags"]], dtype="Int64")
    out["batch_bags"] = [pd.NA if b != b else rates.batch_bags for b in out["bags"]]
    so_far = [ceil(round(b, 9)) if b == b else 0 for b in out["bags"].astype(float).groupby(out["mortar"]).cumsum()]
    opened = pd.Series(so_far, index=out.index).groupby(out["mortar"]).diff().fillna(pd.Series(so_far, index=out.index))
    out["bags_to_open"] = pd.array([pd.NA if b != b else int(n) for b, n in zip(out["bags"], opened, strict=True)], dtype="Int64")
    out[["net_l", "waste_l", "bags"]] = out[["net_l", "waste_l", "bags"]].round(6)
    return out[list(SCHEDULES[MIXING])].reset_index(drop=True)

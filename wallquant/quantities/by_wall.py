"""schedule.csv: what each wall of each storey takes, before waste: units, mortar, items, and work on pieces besides the saw."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

import pandas as pd

from wallquant.files import SCHEDULES
from wallquant.layout import Work
from wallquant.quantities.frames import Known, at_station, shares
from wallquant.quantities.joints import JointVolumes
from wallquant.quantities.rows import LEVELLING, NOT_BOUGHT, THIN_BED
from wallquant.rules import Amount, Item
from wallquant.units import MM

FILE = "schedule.csv"
_ORDER = ("units", "lintels", "mortar", "items", "work")


def by_wall(
    table: pd.DataFrame, work: Work, mortar: Mapping[str, JointVolumes], amounts: Iterable[Amount], walls: Mapping[str, Known]
) -> pd.DataFrame:
    """Return the content of schedule.csv.

    Parameters
    ----------
    table : DataFrame
        As `wallquant.quantities.frames.piece_table` makes it.
    work : Work
    mortar : mapping of run to JointVolumes
    amounts : iterable of Amount
        What rules measure.
    walls : mapping of key to Known

    Returns
    -------
    DataFrame
        Rows of one group, item and unit add up to the net of materials.csv.  A unit that is cut for several walls belongs to the wall
        of its first piece; the mortar of a run is shared among its walls by the volume of their pieces; an item belongs to the wall
        at its middle.  What belongs to no wall has an empty one.
    """
    rows = [*_units(table), *_mortar(work, mortar, amounts), *_items(work, amounts), *_done(work)]
    if not rows:
        return pd.DataFrame(columns=list(SCHEDULES[FILE]))
    frame = pd.DataFrame(rows)
    for column in ("storey", "wall", "name"):
        frame[column] = [getattr(walls[key], column) if key in walls else "" for key in frame["key"]]
    frame["thickness_mm"] = [walls[key].thickness / MM if key in walls else None for key in frame["key"]]
    frame["group_at"] = [_ORDER.index(g) for g in frame["group"]]
    by = ["storey", "wall", "name", "group_at", "group", "item", "unit"]
    sums = ["quantity", "whole", "cut_pieces", "cut_units", "volume_m3", "mass_kg"]
    first = frame.groupby(by, sort=True, dropna=False)
    out = first[sums].sum(min_count=1)
    out["thickness_mm"] = first["thickness_mm"].first()
    out = out.reset_index().sort_values(by, kind="stable")
    out[sums] = out[sums].astype(float).round(9)
    for column in ("whole", "cut_pieces", "cut_units"):
        out[column] = out[column].astype("Int64")
    return out[list(SCHEDULES[FILE])].reset_index(drop=True)


def _units(table: pd.DataFrame) -> list[dict[str, Any]]:
    made = table.assign(whole=(~table["sawn"]).astype(int), cut_pieces=table["sawn"].astype(int))
    made["cut_units"] = made["units"] * made["cut_pieces"]
    groups = made.groupby(["wall", "unit", "kind"], observed=True, sort=True)
    sums = groups[["units", "whole", "cut_pieces", "cut_units", "volume_m3", "mass_kg"]].sum().reset_index()
    sums["group"] = ["lintels" if kind == "lintel" else "units" for kind in sums["kind"]]
    sums = sums.drop(columns="kind").rename(columns={"wall": "key", "unit": "item", "units": "quantity"}).assign(unit="pcs")
    return [{str(key): value for key, value in row.items()} for row in sums.to_dict("records")]


def _mortar(work: Work, mortar: Mapping[str, JointVolumes], amounts: Iterable[Amount]) -> list[dict[str, Any]]:
    beds = [a for a in amounts if (a.item, a.unit) == (LEVELLING, "m3")]
    levelling: dict[str, float] = {}
    for a in beds:
        levelling[a.where] = levelling.get(a.where, 0.0) + a.quantity
    if not beds:
        levelling = {run: v.levelling_m3 for run, v in mortar.items()}
    each = shares(work)
    rows = []
    for item, by_run in ((THIN_BED, {run: v.thin_bed_m3 for run, v in mortar.items()}), (LEVELLING, levelling)):
        for run, volume in sorted(by_run.items()):
            for key, share in sorted((each.get(run) or {"": 1.0}).items()):
                if volume:
                    rows.append({"key": key, "group": "mortar", "item": item, "unit": "m3", "quantity": volume * share})
    return rows


def _items(work: Work, amounts: Iterable[Amount]) -> list[dict[str, Any]]:
    rows = []
    for item in work.items:
        if isinstance(item, Item) and item.kind not in NOT_BOUGHT:
            key = at_station(work.runs[item.run], (item.start + item.end) / 2) if item.run in work.runs else ""
            rows.append({"key": key, "group": "items", "item": item.kind, "unit": item.unit, "quantity": item.quantity})
    most = {run: max(sorted(each), key=lambda k: each[k]) for run, each in shares(work).items() if each}
    for a in amounts:
        if (a.item, a.unit) == (LEVELLING, "m3"):
            continue
        key = work.pieces.walls[int(work.pieces.wall[a.piece])] if a.piece is not None else most.get(a.where, "")
        rows.append({"key": key, "group": "items", "item": a.item, "unit": a.unit, "quantity": a.quantity})
    return rows


def _done(work: Work) -> list[dict[str, Any]]:
    rows = []
    for row, words in sorted(work.pieces.work.items()):
        for word in dict.fromkeys(one.strip() for one in words.split(",")):
            item = f"pieces to {word}"
            rows.append({"key": work.pieces.walls[int(work.pieces.wall[row])], "group": "work", "item": item, "unit": "pcs", "quantity": 1})
    return rows

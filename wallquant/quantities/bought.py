"""ledger.csv: each wall from what is drawn to what is laid to what is bought, every difference named, in cubic metres."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

import pandas as pd

from wallquant.bonding import Account
from wallquant.building import SetAside
from wallquant.files import LEDGER, SCHEDULES
from wallquant.layout import Work
from wallquant.quantities.frames import Known, inside, laid_accounts, shares
from wallquant.quantities.joints import JointVolumes

FILE = "ledger.csv"
_KEY = ("storey", "wall", "name")


def ledger(
    accounts: Iterable[Account],
    aside: Iterable[SetAside],
    table: pd.DataFrame,
    work: Work,
    mortar: Mapping[str, JointVolumes],
    materials: pd.DataFrame,
    known: Mapping[str, Known],
) -> pd.DataFrame:
    """Return the content of ledger.csv.

    Parameters
    ----------
    accounts : iterable of Account
        Drawn to laid, wall by wall.
    aside : iterable of SetAside
    table : DataFrame
        As `wallquant.quantities.frames.piece_table` makes it.
    work : Work
    mortar : mapping of run to JointVolumes
        Joints as laid; the levelling bed with the nominal thickness.
    materials : DataFrame
        The content of materials.csv: what is bought of each unit.
    known : mapping of key to Known

    Returns
    -------
    DataFrame
        drawn - openings - finishes - set_aside - lent + borrowed + fits = laid; laid - thin_bed - levelling - movement - gaps + shared
        = pieces (movement: movement joints, which are laid with filler and no mortar; gaps: what no piece and no joint fills, where
        runs meet askew say; shared: pieces over the boundary with the next wall, counted whole for the wall that has most of them);
        pieces + offcuts = units; units + waste + rounding = bought.  Units are their outer volume; the offcut of one that is cut for
        several walls is shared by the volume of its pieces, waste and rounding of a kind of unit by the units they use.
    """
    rows: dict[str, dict[str, float]] = {}
    straight: dict[str, float] = {}
    for account in laid_accounts(accounts):
        rows[account.wall] = {term: account.ledger[term] for term in LEDGER}
        straight[account.wall] = account.straight_m3
    for one in aside:
        rows[one.guid] = dict.fromkeys(LEDGER, 0.0) | {
            "drawn": one.volume_m3, "openings": one.openings_m3, "finishes": one.finishes_m3,
            "set_aside": one.volume_m3 - one.openings_m3 - one.finishes_m3,
        }  # fmt: skip
    frame = pd.DataFrame.from_dict(rows, orient="index", columns=list(LEDGER)).fillna(0.0)
    frame.columns = [f"{term}_m3" for term in LEDGER]
    lying: dict[str, float] = {}
    for volumes_in in inside(work).values():
        for key, volume in volumes_in.items():
            lying[key] = lying.get(key, 0.0) + volume
    each = shares(work)
    for name, value in (("thin_bed_m3", "thin_bed_m3"), ("levelling_m3", "levelling_m3")):
        by: dict[str, float] = {}
        for run, volumes in mortar.items():
            for key, share in each.get(run, {}).items():
                by[key] = by.get(key, 0.0) + share * float(getattr(volumes, value))
        frame[name] = pd.Series(by, dtype=float)
    frame = frame.fillna(0.0)
    pieces = table.groupby("wall", observed=True)["volume_m3"].sum()
    frame["pieces_m3"] = pieces.reindex(frame.index).fillna(0.0)
    laid_pieces = pd.Series(lying, dtype=float).reindex(frame.index).fillna(0.0)
    frame["movement_m3"] = pd.Series(straight, dtype=float).reindex(frame.index).fillna(0.0)
    frame["gaps_m3"] = frame["laid_m3"] - frame["thin_bed_m3"] - frame["levelling_m3"] - frame["movement_m3"] - laid_pieces
    frame["shared_m3"] = frame["pieces_m3"] - laid_pieces
    frame = _bought(frame, table, work, materials)
    where = [known[key] for key in frame.index]
    frame.insert(0, "name", [k.name for k in where])
    frame.insert(0, "wall", [k.wall for k in where])
    frame.insert(0, "storey", [k.storey for k in where])
    numbers = [c for c in SCHEDULES[FILE] if c not in _KEY]
    # a wall of the model that is read as several is one row, under the name of its first part
    out = frame.groupby(["storey", "wall"], sort=True).agg({"name": "first", **dict.fromkeys(numbers, "sum")}).reset_index()
    out[numbers] = out[numbers].round(9) + 0.0
    return out[list(SCHEDULES[FILE])]


def _bought(frame: pd.DataFrame, table: pd.DataFrame, work: Work, materials: pd.DataFrame) -> pd.DataFrame:
    """Add offcuts, units, waste, rounding and bought."""
    size = {u.code: u.volume_m3 for u in work.pieces.units}
    rows = materials[(materials["unit"] == "pcs") & materials["item"].isin(list(size))].set_index("item")
    used = table.groupby(["wall", "unit"], observed=True)["share"].sum().reset_index()
    volume = used["share"] * used["unit"].map(size)
    net, waste, buy = (used["unit"].map(rows[c].astype(float)) for c in ("net", "waste", "buy"))
    used = used.assign(
        units_m3=volume,
        waste_m3=(volume * waste / net).where(net > 0, 0.0),
        rounding_m3=(volume * (buy - net - waste) / net).where(net > 0, 0.0),
    )
    sums = used.groupby("wall")[["units_m3", "waste_m3", "rounding_m3"]].sum().reindex(frame.index).fillna(0.0)
    frame = frame.join(sums)
    frame["offcuts_m3"] = frame["units_m3"] - frame["pieces_m3"]
    frame["bought_m3"] = frame["units_m3"] + frame["waste_m3"] + frame["rounding_m3"]
    return frame

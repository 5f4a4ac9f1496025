"""The schedule of materials: what is net, what waste is added, what is bought."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace
from math import fsum, nan

import numpy as np
import pandas as pd

from wallquant.catalogue import KINDS, Bag, Catalogue, Unit
from wallquant.cutting import Bars, Cutting, cut_rows
from wallquant.files import COLUMNS
from wallquant.layout import Work
from wallquant.quantities import bars as of_bars
from wallquant.quantities.informing import informing
from wallquant.quantities.joints import JointVolumes
from wallquant.quantities.rows import GROUTED, LEVELLING, NOT_BOUGHT, THIN_BED, Row, with_waste
from wallquant.rules import Amount, Item


def materials(
    work: Work,
    cutting: Cutting,
    amounts: Iterable[Amount],
    mortar: Mapping[str, JointVolumes],
    catalogue: Catalogue,
    bars: Bars | None = None,
) -> pd.DataFrame:
    """Sum up pieces, joints, items and amounts.

    Parameters
    ----------
    work : Work
        Pieces and items.
    cutting : Cutting
        Bought units that are cut; every other piece is a whole unit.
    amounts : iterable of Amount
        What rules measure; those of one item and unit become one row, together with items of that kind.
    mortar : mapping of run to JointVolumes
    catalogue : Catalogue
        Waste factors, pallets, bags.
    bars : Bars, optional
        The cutting list of the bars, which are bought whole.

    Returns
    -------
    DataFrame
        Columns of ``materials.csv``.  `net` is what the plan holds, `waste` what the catalogue's factor adds, in the same unit;
        `buy` is both, rounded up to whole pieces, bags and pallets, else to a thousandth.  Rows that only inform (masses, offcuts,
        lifts, laps, parts of a mix, a check by a rule of thumb) are not bought: `waste` and `buy` are empty there.  Order: units,
        pallets, mortar, other items, and what only informs.
    """
    said = list(amounts)
    beds = [a for a in said if (a.item, a.unit) == (LEVELLING, "m3")]
    bed_m3 = fsum(a.quantity for a in beds) if beds else fsum(v.levelling_m3 for v in mortar.values())
    rule = " ".join(sorted({a.rule for a in beds if a.rule}))
    rows = [
        *_units(work, cutting, catalogue),
        *_mortar(THIN_BED, fsum(v.thin_bed_m3 for v in mortar.values()), catalogue.mortar.thin_bed, catalogue.waste.thin_bed),
        *(replace(r, rule=rule) for r in _mortar(LEVELLING, bed_m3, catalogue.mortar.bed, catalogue.waste.bed)),
        *_others(work, [a for a in said if a not in beds], catalogue, bars or Bars()),
        *_masses(work, cutting),
        *informing(work, catalogue),
    ]
    rows.sort(key=lambda r: r.group)  # within a group they are made in order
    rows = [replace(r, net=round(r.net, 9), waste=round(r.waste, 9), buy=round(r.buy, 9)) for r in rows]
    table = {name: [getattr(r, name) for r in rows] for name in COLUMNS["materials.csv"]}
    return pd.DataFrame(table, columns=list(COLUMNS["materials.csv"]))


def _units(work: Work, cutting: Cutting, catalogue: Catalogue) -> list[Row]:
    pieces = work.pieces
    cut = np.zeros(len(pieces), dtype=bool)
    cut[cut_rows(pieces)] = True
    whole = np.bincount(pieces.unit[~cut], minlength=len(pieces.units))
    sawn = {u.unit: u for u in cutting.by_unit}
    used = np.bincount(pieces.unit, minlength=len(pieces.units))
    rows = []
    for index in sorted(np.flatnonzero(used).tolist(), key=lambda i: _unit_key(pieces.units[i])):
        unit = pieces.units[index]
        from_cut = sawn[unit.code].units if unit.code in sawn else 0
        net = int(whole[index]) + from_cut
        factor = catalogue.waste.lintels if unit.kind == "lintel" else catalogue.waste.units
        waste, buy = with_waste(net, factor, "pcs")
        where = f"{whole[index]} whole"
        if from_cut:
            where += f", {from_cut} for {sawn[unit.code].pieces} cut pieces (proven least {sawn[unit.code].bound})"
        rows.append(Row(group=0, item=unit.code, net=float(net), waste=waste, buy=float(buy), unit="pcs", where=where))
        if unit.pallet:
            rows.append(_pallets(unit, unit.pallet, int(buy)))
    return rows


def _pallets(unit: Unit, each: int, count: int) -> Row:
    full, part = divmod(count, each)
    where = f"{full} of {each}" + (f", one part pallet of {part}" if part else "")
    return Row(group=1, item=f"pallets {unit.code}", net=count / each, waste=0.0, buy=float(full + bool(part)), unit="pallet", where=where)


def _unit_key(unit: Unit) -> tuple[object, ...]:
    return (KINDS.index(unit.kind), unit.thickness, unit.height, unit.length, unit.code)


def _mortar(item: str, volume: float, bag: Bag, factor: float) -> list[Row]:
    """Volume, dry mass and bags; what is bought of each is the same whole bags."""
    if volume <= 0:
        return []
    bags = volume * 1000 / bag.yield_l
    bought = with_waste(bags, factor, "bag")[1]
    parts = (("m3", bag.yield_l / 1000), ("kg", bag.mass_kg), ("bag", 1.0))
    where = f"bags of {bag.mass_kg:g} kg that make {bag.yield_l:g} L"
    rows = []
    for unit, each in parts:
        rows.append(Row(group=2, item=item, net=bags * each, waste=bags * each * factor, buy=bought * each, unit=unit, where=where))
    return rows


def _others(work: Work, amounts: Iterable[Amount], catalogue: Catalogue, bars: Bars) -> list[Row]:
    found: dict[tuple[str, str], list[tuple[float, str, str]]] = {}
    for item in work.items:
        if isinstance(item, Item) and item.kind not in NOT_BOUGHT:
            found.setdefault((item.kind, item.unit), []).append((item.quantity, item.run, item.rule))
    for amount in amounts:
        found.setdefault((amount.item, amount.unit), []).append((amount.quantity, amount.where, amount.rule))
    rows = []
    for (item, unit), parts in sorted(found.items()):
        net = fsum(quantity for quantity, _, _ in parts)
        places = sorted({where for _, where, _ in parts if where})
        where = " ".join(places) if len(places) <= 12 else f"{' '.join(places[:12])} and {len(places) - 12} more"
        rules = " ".join(sorted({rule for _, _, rule in parts if rule}))
        if (item, unit) == ("bar", "m") and bars.bought:
            rows += _bars(net, where, rules, bars, catalogue)
            continue
        if unit in ("h", "lift"):  # work, not things
            waste, buy = nan, nan
        else:
            grout = any(word in item for word in ("grout", *GROUTED))
            waste, buy = with_waste(net, catalogue.waste.grout if grout else catalogue.waste.items, unit)
        rows.append(Row(group=3, item=item, net=net, waste=waste, buy=buy, unit=unit, where=where, rule=rules))
    return rows


def _bars(net: float, where: str, rules: str, bars: Bars, catalogue: Catalogue) -> list[Row]:
    """Bars by the metre and as whole bars; what is bought of both is the same.  What has no bought length is bought by the metre."""
    found = list(of_bars.bought(bars, catalogue.waste.items, catalogue.system))
    listed = fsum(used for _, _, used in found) / 1e9
    more, rest = with_waste(max(0.0, round(net - listed, 9)), catalogue.waste.items, "m")
    offcuts = sum(one.offcuts for one in bars.bought) / 1e9
    waste = fsum([more, offcuts, *(row.waste * one.stock / 1e9 for (row, _, _), one in zip(found, bars.bought, strict=True))])
    buy = rest + fsum(length for _, length, _ in found) / 1e9
    whole = [replace(row, rule=rules) for row, _, _ in found]
    return [Row(group=3, item="bar", net=net, waste=waste, buy=buy, unit="m", where=where, rule=rules), *whole]


def _masses(work: Work, cutting: Cutting) -> list[Row]:
    pieces = work.pieces
    density = np.array([u.density_kg_m3 for u in pieces.units], dtype=np.float64)
    dry = fsum((pieces.solid * density[pieces.unit]).tolist()) if len(pieces) else 0.0
    rows = [
        Row(group=4, item="mass dry", net=dry, unit="kg", where="all pieces"),
        Row(group=4, item="mass as delivered", net=fsum(pieces.mass.tolist()), unit="kg", where="all pieces"),
    ]
    for one in sorted(cutting.by_unit, key=lambda u: u.unit):
        volume = fsum(u.volume_m3 for u in pieces.units if u.code == one.unit) * one.units
        part = f", waste {100 * one.waste_m3 / volume:.1f} %" if volume else ""
        where = f"{one.units} cut units{part}; proven least {one.bound}"
        rows.append(Row(group=5, item=f"offcuts and kerfs {one.unit}", net=one.waste_m3, unit="m3", where=where))
    return rows

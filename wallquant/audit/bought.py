"""I9: bought units are whole pieces and cut units, each cut piece is in one of them, and sums are sums."""

from __future__ import annotations

from collections import Counter, defaultdict

import numpy as np

from wallquant.audit.broken import broken
from wallquant.audit.cells import Floats, Table
from wallquant.audit.read import MM, Plan
from wallquant.audit.sawn import Sawn, fits
from wallquant.findings import Finding


def whole(cut: str) -> bool:
    """Return whether a piece is a whole unit: not cut, or only notched."""
    return cut in ("", "notch")


def check(plan: Plan) -> list[Finding]:
    """Return what of the units to buy, the cutting and the sums does not hold."""
    return [*_cut_pieces(plan), *_stocks(plan), *_materials(plan), *_sums(plan)]


def _cut_pieces(plan: Plan) -> list[Finding]:
    p, c = plan.pieces, plan.cuts
    lines: dict[str, list[int]] = defaultdict(list)
    for at, piece in enumerate(c.texts("piece")):
        lines[piece].append(at)
    found = []
    for piece in sorted(set(lines) - set(p.row)):
        found.append(broken("I9", f"cuts.csv, line {lines[piece][0] + 2}: piece {piece} is not in pieces.csv"))
    length, height = c.numbers("length_mm"), c.numbers("height_mm", blank=np.nan)
    codes = [unit.code for unit in plan.header.units]
    for at, name in enumerate(p.name):
        rows = lines.get(name, [])
        if whole(p.cut[at]):
            if rows:
                found.append(broken("I9", f"cuts.csv, line {rows[0] + 2}: piece {name} is a whole unit in pieces.csv", piece=name))
            continue
        if len(rows) != 1:
            found.append(broken("I9", f"cuts.csv: cut piece {name} is in {len(rows)} rows, it must be in one", piece=name))
            continue
        row = rows[0]
        where = f"cuts.csv, line {row + 2}, piece {name}"
        if c.texts("stock")[row] != p.stock[at]:
            text = f"{where}: stock {c.texts('stock')[row]}, pieces.csv says '{p.stock[at]}'"
            found.append(broken("I9", text, piece=name))
        if p.unit[at] >= 0 and c.texts("unit")[row] != codes[p.unit[at]]:
            found.append(broken("I9", f"{where}: cut from {c.texts('unit')[row]}, pieces.csv says {codes[p.unit[at]]}", piece=name))
        plain = not {"rake", "mitre"} & set(p.cut[at].split("+"))
        long, high = p.end[at] - p.start[at], p.top[at] - p.bottom[at]
        if plain and (abs(length[row] - long) > MM or abs(height[row] - high) > MM):
            text = f"{where}: {length[row]:g} x {height[row]:g} mm, pieces.csv says {long:g} x {high:g} mm"
            found.append(broken("I9", text, piece=name))
    return found


def _stocks(plan: Plan) -> list[Finding]:
    """Whether the pieces of each cut unit can be sawn from it in their order, kerfs included."""
    c = plan.cuts
    units = {unit.code: unit for unit in plan.header.units}
    length, height, order = c.numbers("length_mm"), c.numbers("height_mm", blank=np.inf), c.numbers("order")
    kerf = c.numbers("kerf_mm")
    stocks: dict[str, list[int]] = defaultdict(list)
    for at, stock in enumerate(c.texts("stock")):
        stocks[stock].append(at)
    found = []
    known: dict[tuple[object, ...], bool] = {}
    for stock, rows in sorted(stocks.items()):
        codes = {c.texts("unit")[at] for at in rows}
        code = sorted(codes)[0]
        if len(codes) > 1 or code not in units:
            found.append(
                broken(
                    "I9",
                    f"cuts.csv, stock {stock}: cut from {' and '.join(sorted(codes))}, one unit of the catalogue is wanted",
                )
            )
            continue
        unit, saw = units[code], plan.header.kerf
        rows.sort(key=lambda at: (order[at], at))
        outlines = [_outline(plan, at) for at in rows]
        highs = [min(float(height[at]), unit.height) for at in rows]
        lost = [max(0.0, float(kerf[at]) - saw) for at in rows]
        key = (code, tuple(length[rows].tolist()), tuple(highs), tuple(lost))
        plain = not any(shape is not None for _, shape in outlines)
        if plain and key in known:
            holds = known[key]
        else:
            pieces = [
                Sawn(length=float(length[at]), height=high, lost=more if shape is None else 0.0, outline=shape, flat=flat)
                for at, high, more, (flat, shape) in zip(rows, highs, lost, outlines, strict=True)
            ]
            holds = fits(pieces, (unit.length, unit.height), saw, MM)
            if plain:
                known[key] = holds
        if not holds:
            need = float(length[rows].sum() + kerf[rows].sum() - kerf[rows[-1]])
            text = (
                f"cuts.csv, stock {stock}: its {len(rows)} pieces with their kerfs cannot be sawn from it in their order; "
                f"they need {need:g} mm side by side, {code} is {unit.length:g} mm long and {unit.height:g} mm high"
            )
            found.append(broken("I9", text, measured=f"{need:g} mm", wanted=f"at most {unit.length:g} mm"))
    return found


def _outline(plan: Plan, at: int) -> tuple[bool, Floats | None]:
    """The outline of a raked or mitred piece by its row of cuts.csv, and whether it is in plan; none for other pieces."""
    p = plan.pieces
    row = p.row.get(plan.cuts.texts("piece")[at], -1)
    for flat, shapes in ((False, p.elevation), (True, p.plan)):
        if row in shapes and row not in (p.plan if not flat else p.elevation):
            return flat, np.array(shapes[row].exterior.coords[:-1], dtype=np.float64)[:, :2]
    return False, None


def _used(plan: Plan) -> Counter[str]:
    """Units that the plan uses up: whole pieces and cut units, by code."""
    p, c = plan.pieces, plan.cuts
    codes = [unit.code for unit in plan.header.units]
    used = Counter(codes[unit] for unit, cut in zip(p.unit.tolist(), p.cut, strict=True) if whole(cut) and unit >= 0)
    for unit, _ in set(zip(c.texts("unit"), c.texts("stock"), strict=True)):
        used[unit] += 1
    return used


def _materials(plan: Plan) -> list[Finding]:
    m, used, found = plan.materials, _used(plan), []
    codes = {unit.code for unit in plan.header.units}
    net, waste, buy = m.numbers("net"), m.numbers("waste", blank=0.0), m.numbers("buy", blank=np.inf)
    listed: dict[str, float] = defaultdict(float)
    for at, (item, unit) in enumerate(zip(m.texts("item"), m.texts("unit"), strict=True)):
        if buy[at] < net[at] - 1e-9 and (buy[at] > 0 or (unit == "pcs" and item in codes)):  # sums that nobody buys have no buy
            text = f"materials.csv, line {at + 2}: {item}, buy {buy[at]:g} is less than net {net[at]:g}"
            found.append(broken("I9", text, measured=f"{buy[at]:g} {unit}", wanted=f"at least {net[at]:g} {unit}"))
        if unit == "pcs" and item in codes:
            listed[item] += float(net[at])
            due = float(net[at] + waste[at])
            if waste[at] < 0 or not due - 1e-9 <= buy[at] < due + 1:
                text = f"materials.csv, line {at + 2}: {item}, net and waste, {due:g}, are not rounded up to buy {buy[at]:g}"
                found.append(broken("I9", text, measured=f"{buy[at]:g} {unit}", wanted=f"{due:g} {unit}, rounded up"))
    for code in sorted(set(listed) | set(used)):
        if abs(listed.get(code, 0.0) - used.get(code, 0)) > 1e-9:
            text = (
                f"materials.csv: net {listed.get(code, 0.0):g} pcs of {code}, pieces.csv and cuts.csv use {used.get(code, 0)} "
                "(whole pieces and cut units)"
            )
            found.append(broken("I9", text, measured=f"{listed.get(code, 0.0):g} pcs", wanted=f"{used.get(code, 0)} pcs"))
    found.extend(_items(plan))
    bought = sum(used.values())
    said = plan.header.counts.get("units_bought", float("nan"))
    if said != bought:
        text = f"summary.json, counts: units_bought {said:g}, whole pieces and cut units are {bought}"
        found.append(broken("I9", text, measured=f"{plan.header.counts.get('units_bought', 0):g}", wanted=str(bought)))
    return found


def _items(plan: Plan) -> list[Finding]:
    """Materials that bear the name of a kind of item are the sum of those items."""
    i, m, found = plan.items, plan.materials, []
    sums: dict[tuple[str, str], float] = defaultdict(float)
    for kind, unit, quantity in zip(i.texts("kind"), i.texts("unit"), i.numbers("quantity", blank=0.0).tolist(), strict=True):
        sums[kind, unit] += quantity
    listed: dict[tuple[str, str], float] = defaultdict(float)
    for item, unit, net in zip(m.texts("item"), m.texts("unit"), m.numbers("net").tolist(), strict=True):
        listed[item, unit] += net
    for key in sorted(set(sums) & set(listed)):
        if abs(sums[key] - listed[key]) > 1e-6 + 5e-7 * i.count:
            text = f"materials.csv: {key[0]}, net {listed[key]:g} {key[1]}, items.csv holds {sums[key]:g} {key[1]}"
            found.append(broken("I9", text, measured=f"{listed[key]:g} {key[1]}", wanted=f"{sums[key]:g} {key[1]}"))
    return found


def _sums(plan: Plan) -> list[Finding]:
    p, head, found = plan.pieces, plan.header, []
    counts = {
        "pieces": p.count,
        "cuts": sum(1 for cut in p.cut if cut),
        "runs": len(plan.runs.name),
        "corners": len(plan.corners),
        "steps": plan.steps.count,
        "walls": len(head.walls),
        "walls_laid": sum(1 for wall in head.walls if wall.area["laid"] > 0),
    }
    for key, count in counts.items():
        if head.counts.get(key) != count:
            said = head.counts.get(key, float("nan"))
            text = f"summary.json, counts: {key} {said:g}, the files hold {count}"
            found.append(broken("I9", text, measured=f"{said:g}", wanted=str(count)))
    for key, column, values in (("pieces_m3", "volume_m3", p.volume), ("solid_m3", "solid_m3", p.solid), ("mass_kg", "mass_kg", p.mass)):
        said, total = head.totals.get(key, float("nan")), float(values.sum())
        if not abs(said - total) <= 1e-6 + _rounding(plan, column) * p.count:
            text = f"summary.json, totals: {key} {said:g}, the sum of {column} in pieces.csv is {total:g}"
            found.append(broken("I9", text, measured=f"{said:g}", wanted=f"{total:g}"))
    return found


def _rounding(plan: Plan, column: str) -> float:
    """Half of the last decimal that a column of pieces.csv is written with."""
    table: Table = plan.table
    return 0.5 * 10.0 ** -max((len(cell.partition(".")[2]) for cell in table.texts(column)), default=0)

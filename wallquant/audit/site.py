"""I9: what the site is told of a plan, its deliveries, hands, mortar by day and saw list, is what the other files hold."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterator
from math import ceil

from wallquant.audit.broken import broken
from wallquant.audit.cells import Table
from wallquant.audit.read import MM, Plan
from wallquant.audit.schedules import known_walls, unlike
from wallquant.findings import Finding

ROUNDED = 1e-4
"""Bags of cells that are rounded to six decimals add up to less, over all days."""
AHEAD, ON_SITE = "ahead", "on site"


def check(plan: Plan) -> list[Finding]:
    """Return what of staging.csv, labour.csv, mixing.csv and saw_list.csv does not hold; a plan without them has nothing to check."""
    checks = {"staging.csv": _staging, "labour.csv": _labour, "mixing.csv": _mixing, "saw_list.csv": _saw_list}
    return [one for name, each in checks.items() if (rows := plan.schedule(name)) is not None for one in each(plan, rows)]


def _staging(plan: Plan, rows: Table) -> Iterator[Finding]:
    """Loads hold what is bought, in the order of delivery; all of a unit weigh alike a piece."""
    yield from known_walls(plan, rows)
    m = plan.materials
    buy = {
        item: one
        for item, unit, one in zip(m.texts("item"), m.texts("unit"), m.numbers("buy", blank=0.0).tolist(), strict=True)
        if unit == "pcs"
    }
    kind = {unit.code: unit.kind for unit in plan.header.units}
    codes = [unit.code for unit in plan.header.units]
    laid = Counter(codes[unit] for unit in plan.pieces.unit.tolist())
    holds, mass = rows.wholes("holds").tolist(), rows.numbers("mass_kg").tolist()
    held: Counter[str] = Counter()
    weighs: dict[str, float] = {}
    for at, code in enumerate(rows.texts("unit")):
        held[code] += holds[at]
        each = mass[at] / max(1, holds[at])
        yield from unlike(
            f"staging.csv, line {at + 2}: a piece weighs", each, weighs.setdefault(code, each), "kg", "others of its unit", near=1e-2
        )
    for code, count in sorted(held.items()):
        wanted = laid[code] if kind.get(code) == "lintel" else buy.get(code, 0.0)
        yield from unlike(f"staging.csv, {code}: loads hold", count, wanted, "pcs", "bought are")
    day = rows.wholes("day").tolist()
    if rows.wholes("order").tolist() != list(range(1, rows.count + 1)) or day != sorted(day):
        yield broken("I9", "staging.csv: loads are not in the order of their delivery")


def _labour(plan: Plan, rows: Table) -> Iterator[Finding]:
    """Hands by kind of step are those of steps.csv, and pieces and mass those of pieces.csv."""
    kinds = plan.steps.texts("kind")
    kind_of = dict(zip(plan.steps.texts("step"), kinds, strict=True))
    pieces: dict[str, float] = defaultdict(float)
    mass: dict[str, float] = defaultdict(float)
    hours: dict[str, float] = defaultdict(float)
    for step, each in zip(plan.pieces.step, plan.pieces.mass.tolist(), strict=True):
        pieces[kind_of.get(step, "")] += 1
        mass[kind_of.get(step, "")] += each
    times = zip(plan.steps.numbers("start_h").tolist(), plan.steps.numbers("end_h").tolist(), strict=True)
    for kind, crew, (start, end) in zip(kinds, plan.steps.lists("crew"), times, strict=True):
        hours[kind] += len(crew) * (_worked(plan, end) - _worked(plan, start))
    said: dict[str, dict[str, float]] = {name: defaultdict(float) for name in ("pieces", "mass_kg", "hours_plan")}
    factor, planned = rows.numbers("factor").tolist(), rows.numbers("hours_plan").tolist()
    for at, kind in enumerate(rows.texts("kind")):
        for name, sums in said.items():
            sums[kind] += float(rows.numbers(name, blank=0.0)[at])
        where = f"labour.csv, line {at + 2}, {kind}: hours"
        yield from unlike(where, float(rows.numbers("hours")[at]), planned[at] * factor[at], "h", "hours_plan times factor are", near=1e-5)
    for kind in sorted(set(kinds) | set(rows.texts("kind"))):
        yield from unlike(f"labour.csv, {kind}: pieces", said["pieces"][kind], pieces[kind], "", "pieces.csv has")
        yield from unlike(f"labour.csv, {kind}: mass", said["mass_kg"][kind], mass[kind], "kg", "pieces.csv has", near=1e-3)
        if plan.header.day_hours is not None:
            near = 1e-5 * (1 + plan.steps.count)
            yield from unlike(f"labour.csv, {kind}: hours_plan", said["hours_plan"][kind], hours[kind], "h", "steps.csv has", near=near)


def _worked(plan: Plan, clock: float) -> float:
    """Hours of work from the start until an hour of the clock."""
    shift = plan.header.day_hours or 24.0
    day = int(clock // 24) + 1
    whole = sum(1 for one in range(1, day) if plan.header.open(one))
    return whole * shift + (min(clock % 24, shift) if plan.header.open(day) else 0.0)


def _mixing(plan: Plan, rows: Table) -> Iterator[Finding]:
    """Mortar by day adds up to what is bought, waste and bags alike; grout to what cores and troughs take."""
    m, i = plan.materials, plan.items
    net, waste = m.numbers("net").tolist(), m.numbers("waste", blank=0.0).tolist()
    bought = {key: at for at, key in enumerate(zip(m.texts("item"), m.texts("unit"), strict=True))}
    sums: dict[str, dict[str, float]] = defaultdict(lambda: defaultdict(float))
    litres = {name: rows.numbers(name).tolist() for name in ("net_l", "waste_l")}
    bags = rows.numbers("bags", blank=0.0).tolist()
    each, batches = rows.numbers("batch_bags", blank=0.0).tolist(), rows.numbers("batches", blank=0.0).tolist()
    for at, mortar in enumerate(rows.texts("mortar")):
        for name, each_day in litres.items():
            sums[mortar][name] += each_day[at]
        sums[mortar]["bags"] += bags[at]
        if each[at]:
            where = f"mixing.csv, line {at + 2}, {mortar}: batches"
            yield from unlike(where, batches[at], ceil(round(bags[at] / each[at], 6)), "", "bags take")
    used: dict[str, float] = defaultdict(float)
    opened: dict[str, float] = defaultdict(float)
    for _, at in sorted(zip(rows.wholes("day").tolist(), range(rows.count), strict=True)):
        mortar, new = rows.texts("mortar")[at], float(rows.numbers("bags_to_open", blank=0.0)[at])
        used[mortar] += bags[at]
        opened[mortar] += new
        least, most = (ceil(used[mortar] + sign * ROUNDED) for sign in (-1, 1))
        if not least <= opened[mortar] <= most:
            text = f"mixing.csv, line {at + 2}, {mortar}: {opened[mortar]:.9g} bags are opened so far, {used[mortar]:.9g} are used"
            yield broken("I9", text)
    days = set(plan.steps.texts("day"))
    for at, day in enumerate(rows.texts("day")):
        if day not in days:
            yield broken("I9", f"mixing.csv, line {at + 2}: no step is on day {day}")
    for mortar in sorted({"thin-bed mortar", "levelling mortar", *sums}):
        one = sums[mortar]
        if (at := bought.get((mortar, "m3"), -1)) >= 0:
            yield from unlike(f"mixing.csv, {mortar}: net", one["net_l"], net[at] * 1000, "L", "materials.csv has", near=1e-2)
            yield from unlike(f"mixing.csv, {mortar}: waste", one["waste_l"], waste[at] * 1000, "L", "materials.csv has", near=1e-2)
        if (at := bought.get((mortar, "bag"), -1)) >= 0:
            yield from unlike(f"mixing.csv, {mortar}: bags", one["bags"], net[at] + waste[at], "bags", "materials.csv has", near=1e-3)
    grout = sum(
        1000 * one
        for kind, unit, one in zip(i.texts("kind"), i.texts("unit"), i.numbers("quantity", blank=0.0).tolist(), strict=True)
        if kind in ("core fill", "trough fill") and unit == "m3"
    )
    yield from unlike("mixing.csv, grout: net", sums["grout"]["net_l"], grout, "L", "items.csv has", near=1e-2)


def _saw_list(plan: Plan, rows: Table) -> Iterator[Finding]:
    """Each cut piece is in one row, with its size, on its day, ahead or on site."""
    c, p = plan.cuts, plan.pieces
    row_of = {piece: at for at, piece in enumerate(c.texts("piece"))}
    days = dict(zip(plan.steps.texts("step"), plan.steps.wholes("day").tolist(), strict=True))
    kinds = dict(zip(plan.steps.texts("step"), plan.steps.texts("kind"), strict=True))
    step = {name: p.step[at] for name, at in p.row.items()}
    first: dict[str, int] = {}
    for piece, stock in zip(c.texts("piece"), c.texts("stock"), strict=True):
        if piece in step and kinds.get(step[piece]) != "closure":
            first[stock] = min(first.get(stock, days.get(step[piece], 0)), days.get(step[piece], 0))
    sizes = {name: (rows.numbers(name).tolist(), c.numbers(name, blank=0.0).tolist()) for name in ("length_mm", "height_mm", "angle_deg")}
    there: Counter[str] = Counter()
    count, day, stocks_of = rows.wholes("count").tolist(), rows.wholes("day").tolist(), rows.lists("stocks")
    for at, names in enumerate(rows.lists("pieces")):
        where = f"saw_list.csv, line {at + 2}"
        there.update(names)
        if len(names) != count[at]:
            yield broken("I9", f"{where}: {count[at]} pieces, {len(names)} are named", measured=str(count[at]), wanted=str(len(names)))
        known = [name for name in names if name in row_of and name in p.row]
        stocks = tuple(dict.fromkeys(c.texts("stock")[row_of[name]] for name in known))
        if stocks != stocks_of[at]:
            yield broken("I9", f"{where}: cut from {' '.join(stocks_of[at])}, cuts.csv says {' '.join(stocks)}")
        for name in known:
            row, closing = row_of[name], kinds.get(step[name]) == "closure"
            due = days.get(step[name], 0) if closing else first.get(c.texts("stock")[row], 0)
            said = (rows.texts("unit")[at], rows.texts("cut")[at], day[at], rows.texts("when")[at])
            wanted = (c.texts("unit")[row], p.cut[p.row[name]], due, ON_SITE if closing else AHEAD)
            for one, other in zip(said, wanted, strict=True):
                if one != other:
                    yield broken("I9", f"{where}, piece {name}: {one}, the other files say {other}", piece=name)
            for key, (mine, theirs) in sizes.items():
                if abs(mine[at] - theirs[row]) > MM:
                    yield broken("I9", f"{where}, piece {name}: {key} {mine[at]:g}, cuts.csv says {theirs[row]:g}", piece=name)
    for name in sorted(set(row_of) | set(there)):
        if there[name] != 1 or name not in row_of:
            yield broken("I9", f"saw_list.csv: cut piece {name} is in {there[name]} rows, it must be in one", piece=name)

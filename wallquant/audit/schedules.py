"""I9: what the schedules say of each wall is the sum of its pieces, and what walls take is what is bought."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator, Mapping

from wallquant.audit.bought import whole
from wallquant.audit.broken import broken
from wallquant.audit.cells import Table
from wallquant.audit.read import Plan
from wallquant.files import LEDGER
from wallquant.findings import Finding

NEAR = 1e-6
"""Sums of cells that are rounded to nine decimals differ by less."""
_UNITS = ("units", "lintels")


def check(plan: Plan) -> list[Finding]:
    """Return what of schedule.csv, ledger.csv and bill.csv does not hold; a plan without them has nothing to check."""
    checks = {"schedule.csv": _schedule, "ledger.csv": _ledger, "bill.csv": _bill}
    return [one for name, each in checks.items() if (rows := plan.schedule(name)) is not None for one in each(plan, rows)]


def unlike(where: str, said: float, wanted: float, unit: str, why: str, near: float = NEAR) -> Iterator[Finding]:
    """Yield the finding that a number is another than what it is made of."""
    if not abs(said - wanted) <= near + 1e-9 * abs(wanted):
        yield broken("I9", f"{where} {said:.9g} {unit}, {why} {wanted:.9g}", measured=f"{said:.9g} {unit}", wanted=f"{wanted:.9g} {unit}")


def known_walls(plan: Plan, rows: Table) -> Iterator[Finding]:
    """Yield rows of walls that are not in summary.json, or have another name or thickness there."""
    walls = {wall.name: wall for wall in plan.header.walls}
    thick = rows.numbers("thickness_mm", blank=-1.0).tolist() if "thickness_mm" in rows.columns else [-1.0] * rows.count
    drawn = {wall.name: [wall.thickness, *(part.thickness for part in wall.parts)] for wall in plan.header.walls}
    for at, (guid, name) in enumerate(zip(rows.texts("wall"), rows.texts("name"), strict=True)):
        where = f"{rows.name}, line {at + 2}"
        if guid and guid not in walls:
            yield broken("I9", f"{where}: wall {guid} is not in summary.json")
        elif guid and walls[guid].called != name:
            yield broken("I9", f"{where}: wall {guid} is called {name}, {walls[guid].called} in summary.json", wall=guid)
        elif guid and thick[at] >= 0:
            nearest = min(drawn[guid], key=lambda one: abs(one - thick[at]))
            yield from unlike(f"{where}, wall {name}: thickness", thick[at], nearest, "mm", "summary.json says", near=1e-3)


def _schedule(plan: Plan, rows: Table) -> Iterator[Finding]:
    yield from known_walls(plan, rows)
    p, codes = plan.pieces, [unit.code for unit in plan.header.units]
    wanted: dict[tuple[str, str], dict[str, float]] = defaultdict(lambda: defaultdict(float))
    for at, (wall, unit) in enumerate(zip(p.wall, p.unit.tolist(), strict=True)):
        one = wanted[wall, codes[unit]]
        one["whole" if whole(p.cut[at]) else "cut_pieces"] += 1
        one["volume_m3"] += float(p.volume[at])
        one["mass_kg"] += float(p.mass[at])
    columns = {name: rows.numbers(name, blank=0.0).tolist() for name in ("whole", "cut_pieces", "cut_units", "volume_m3", "mass_kg")}
    quantity = rows.numbers("quantity").tolist()
    sums: dict[tuple[str, str], float] = defaultdict(float)
    seen: set[tuple[str, str]] = set()
    for at, group in enumerate(rows.texts("group")):
        wall, item, unit = rows.texts("wall")[at], rows.texts("item")[at], rows.texts("unit")[at]
        sums[item, unit] += quantity[at]
        where = f"schedule.csv, line {at + 2}, {item}:"
        if group in _UNITS:
            seen.add((wall, item))
            for name, near in (("whole", NEAR), ("cut_pieces", NEAR), ("volume_m3", 1e-5), ("mass_kg", 1e-3)):
                yield from unlike(f"{where} {name}", columns[name][at], wanted[wall, item][name], "", "pieces.csv has", near=near)
            made = columns["whole"][at] + columns["cut_units"][at]
            yield from unlike(f"{where} quantity", quantity[at], made, "pcs", "whole and cut units are")
    for wall, item in sorted(set(wanted) - seen):
        yield broken("I9", f"schedule.csv: {item} of wall {wall} is missing, pieces.csv has some")
    yield from _net(plan, rows, sums)


def _net(plan: Plan, rows: Table, sums: Mapping[tuple[str, str], float]) -> Iterator[Finding]:
    """What walls take of a thing is its net in materials.csv; work on pieces is counted in pieces.csv."""
    m = plan.materials
    net: dict[tuple[str, str], float] = defaultdict(float)
    for item, unit, one in zip(m.texts("item"), m.texts("unit"), m.numbers("net").tolist(), strict=True):
        net[item, unit] += one
    done = Counter(f"pieces to {word.strip()}" for words in plan.pieces.work if words for word in dict.fromkeys(words.split(",")))
    groups = dict(zip(zip(rows.texts("item"), rows.texts("unit"), strict=True), rows.texts("group"), strict=True))
    for (item, unit), total in sorted(sums.items()):
        if groups[item, unit] == "work":
            yield from unlike(f"schedule.csv, {item}: in all", total, done[item], unit, "pieces.csv has")
        elif (item, unit) in net:
            yield from unlike(f"schedule.csv, {item}: in all", total, net[item, unit], unit, "net in materials.csv is", near=1e-5)
        else:
            yield broken("I9", f"schedule.csv: {item} is not in materials.csv")


def _ledger(plan: Plan, rows: Table) -> Iterator[Finding]:
    yield from known_walls(plan, rows)
    walls = {wall.name: wall for wall in plan.header.walls}
    columns = {name: rows.numbers(name).tolist() for name in rows.columns if name.endswith("_m3")}
    pieces: dict[str, float] = defaultdict(float)
    for wall, volume in zip(plan.pieces.wall, plan.pieces.volume.tolist(), strict=True):
        pieces[wall] += volume
    for at, (guid, name) in enumerate(zip(rows.texts("wall"), rows.texts("name"), strict=True)):
        col = {key.removesuffix("_m3"): values[at] for key, values in columns.items()}
        where = f"ledger.csv, line {at + 2}, wall {name}:"
        if guid in walls:
            for term in LEDGER:
                yield from unlike(f"{where} {term}", col[term], walls[guid].ledger[term], "m3", "summary.json says")
        yield from unlike(f"{where} pieces", col["pieces"], pieces[guid], "m3", "pieces.csv has", near=1e-5)
        laid = col["laid"] - col["thin_bed"] - col["levelling"] - col["movement"] - col["gaps"] + col["shared"]
        yield from unlike(f"{where} pieces", col["pieces"], laid, "m3", "laid less joints and gaps, and shared, are")
        yield from unlike(f"{where} units", col["units"], col["pieces"] + col["offcuts"], "m3", "pieces and offcuts are")
        yield from unlike(
            f"{where} bought", col["bought"], col["units"] + col["waste"] + col["rounding"], "m3", "units, waste and rounding are"
        )
    yield from unlike("ledger.csv: shared, in all", sum(columns["shared_m3"]), 0.0, "m3", "what walls share among them is")
    size = {unit.code: unit.length * unit.height * unit.thickness / 1e9 for unit in plan.header.units}
    m = plan.materials
    bought = sum(
        size[item] * buy
        for item, unit, buy in zip(m.texts("item"), m.texts("unit"), m.numbers("buy", blank=0.0).tolist(), strict=True)
        if unit == "pcs" and item in size
    )
    yield from unlike("ledger.csv: bought, in all", sum(columns["bought_m3"]), bought, "m3", "units bought in materials.csv are", near=1e-5)
    yield from _every(rows, walls)


def _bill(plan: Plan, rows: Table) -> Iterator[Finding]:
    """Areas are those of the walls, whose parts have rows of their own; openings that are left in are there."""
    yield from known_walls(plan, rows)
    walls = {wall.name: wall for wall in plan.header.walls}
    columns = {name: rows.numbers(name).tolist() for name in rows.columns if name.endswith(("_m2", "_m3", "_mm"))}
    count, left, rules = rows.wholes("openings").tolist(), rows.wholes("left_in").tolist(), rows.texts("deducted")
    sums: dict[tuple[str, str], dict[str, float]] = defaultdict(lambda: defaultdict(float))
    for at, (guid, name) in enumerate(zip(rows.texts("wall"), rows.texts("name"), strict=True)):
        col = {key: values[at] for key, values in columns.items()}
        where = f"bill.csv, line {at + 2}, wall {name}:"
        for term in ("wall", "openings", "set_aside"):
            sums[guid, rules[at]][term] += col[f"{term}_m2"]
        measured = col["wall_m2"] - col["openings_m2"] + col["left_in_m2"] - col["set_aside_m2"]
        yield from unlike(f"{where} measured_m2", col["measured_m2"], measured, "m2", "wall less openings and set aside, and left in, are")
        volume = measured * col["thickness_mm"] / 1000
        yield from unlike(f"{where} measured_m3", col["measured_m3"], volume, "m3", "area times thickness is")
        if not 0 <= left[at] <= count[at] or (left[at] == 0) != (col["left_in_m2"] == 0) or col["left_in_m2"] > col["openings_m2"] + NEAR:
            yield broken("I9", f"{where} {left[at]} of {count[at]} openings, {col['left_in_m2']:g} m2, are left in", wall=name)
    for (guid, rule), terms in sorted(sums.items()):
        for term, area in sorted(terms.items() if guid in walls else ()):
            where = f"bill.csv, wall {walls[guid].called}, {rule}: {term}"
            yield from unlike(where, area, walls[guid].area[term], "m2", "summary.json says", near=1e-5)
    for guid in sorted({guid for guid, _ in sums}):
        for rule in sorted({rule for _, rule in sums} - {rule for one, rule in sums if one == guid}):
            yield broken("I9", f"bill.csv: wall {guid} has no row of the rule '{rule}'")
    chosen = {rule for rule, word in zip(rules, rows.texts("chosen"), strict=True) if word == "yes"}
    missed = [at for at, word in enumerate(rows.texts("chosen")) if (rules[at] in chosen) != (word == "yes")]
    if rows.count and (len(chosen) != 1 or missed):
        yield broken("I9", f"bill.csv: {len(chosen)} rules are chosen and {len(missed)} rows say otherwise, one rule is wanted for all")


def _every(rows: Table, walls: Iterable[str]) -> Iterator[Finding]:
    """Each wall has one row."""
    there = Counter(rows.texts("wall"))
    for guid in sorted(set(walls) | set(there)):
        if there[guid] != 1:
            yield broken("I9", f"{rows.name}: wall {guid} has {there[guid]} rows, it must have one")

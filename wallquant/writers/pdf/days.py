"""A sheet a day: what must be at the wall, bars, mortar, closures to measure, pre-cuts for tomorrow, holds, checks, cautions, order
of work.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence

from wallquant.bonding.bars import lengths
from wallquant.catalogue import Bag
from wallquant.ordering import Turn
from wallquant.quantities.labour import MIXING
from wallquant.quantities.rows import LEVELLING, NOT_BOUGHT, THIN_BED
from wallquant.rules import Item
from wallquant.units import POUND, mass_text
from wallquant.writers.pdf import steel, yard
from wallquant.writers.pdf.checks import PROJECT, cautions, checks, doing
from wallquant.writers.pdf.facts import Facts
from wallquant.writers.pdf.flow import Flow
from wallquant.writers.pdf.paper import Book

TYPE = 9.0
"""Size of the type, in points: read in the open, at arm's length."""
FOOT_M = 0.3048
LITRES_PER_FT3 = 28.316846592


def days(book: Book, facts: Facts) -> None:
    """Write a sheet for each day."""
    every = list(facts.days.items())
    for n, (day, turns) in enumerate(every):
        after = every[n + 1] if n + 1 < len(every) else None
        _day(book, facts, day, turns, after)


def _day(
    book: Book, facts: Facts, day: int, turns: Sequence[Turn], after: tuple[int, tuple[Turn, ...]] | None
) -> None:  # fmt: skip
    masons = sorted({m for t in turns for m in t.crew.split()}, key=lambda m: (len(m), m))
    beside = f"{facts.plan.model}, masons {', '.join(masons) or 'none'}"
    flow = Flow(book=book, title=f"Day {day}, {facts.weekday(day)}", beside=beside, size=TYPE)
    rows = [r for t in turns for r in t.step.pieces]
    precut = after is not None and after[0] in facts.sawn
    if day == min(facts.days):
        yard.of_day(flow, facts, day, f"Bring before day {day} begins (places: sheet Pallets)")
        _precut(flow, facts, day, f"Saw before day {day} begins")
    _pieces(flow, facts, rows)
    steel.of_day(flow, facts, day)
    _items(flow, facts, turns)
    _mortar(flow, facts, day)
    _closures(flow, facts, turns)
    _holds(flow, facts, turns)
    told = list(checks(book, facts, turns))
    if told:
        flow.heading("Check, and to what tolerance")
        flow.table(("what", "tolerance", "source"), (34, 34, 34), ((c.what, c.tolerance, c.source) for c in told), tick=True)
        flow.say(PROJECT)
    flow.heading("Cautions of the day")
    for f in cautions(facts, doing(facts, turns, precut or day == min(facts.days))):
        flow.say(f.text, mark=True)
    flow.heading("Order of work")
    flow.table(("time", "who", "what"), (13, 13, 80), (_step(facts, t) for t in turns), tick=True)
    if after is not None:
        yard.of_day(flow, facts, after[0], f"Bring today for day {after[0]} (places: sheet Pallets)")
        _precut(flow, facts, after[0], f"Saw today for day {after[0]}")


def _step(facts: Facts, turn: Turn) -> tuple[str, str, str]:
    needs = f" Needs: {'; '.join(turn.step.resources)}." if turn.step.resources else ""
    kind = "Hold. " if turn.step.kind == "hold" else ""
    return "at night" if facts.at_night(turn) else facts.clock(turn.start_h), turn.crew, f"{kind}{turn.step.text}{needs}"


def _pieces(flow: Flow, facts: Facts, rows: Sequence[int]) -> None:
    """Pieces by unit and run, and what they are in pallets; cut pieces come from the saw."""
    if not rows:
        return
    p = facts.pieces
    whole, cut = Counter[int](), Counter[int]()
    runs: dict[int, set[int]] = {}
    mass = 0.0
    for r in rows:
        unit = int(p.unit[r])
        (cut if r in facts.cut_at else whole)[unit] += 1
        runs.setdefault(unit, set()).add(int(p.run[r]))
        mass += float(p.mass[r])
    flow.heading("Have at the wall")
    weight = mass_text(mass, flow.book.system)
    flow.say(f"{len(rows):,} pieces, {weight} as delivered.")

    def cells() -> Iterator[tuple[str, ...]]:
        for unit in sorted(runs, key=lambda u: p.units[u].code):
            each = p.units[unit].pallet
            pallets = ""
            if each and whole[unit]:
                full, rest = divmod(whole[unit], each)
                pallets = " and ".join(s for s in (f"{full} full" if full else "", f"{rest} of {each}" if rest else "") if s)
            where = " ".join(p.runs[i] for i in sorted(runs[unit]))
            yield (p.units[unit].code, str(whole[unit] or ""), str(cut[unit] or ""), pallets, where)

    flow.table(("unit", "whole", "sawn", "whole ones in pallets", "runs"), (32, 10, 10, 22, 26), cells(), right=(1, 2))


def _items(flow: Flow, facts: Facts, turns: Sequence[Turn]) -> None:
    """What else is built in today."""
    items = facts.plan.work.items
    found: dict[tuple[str, str, int], float] = {}
    for t in turns:
        for n in t.step.items:
            item = items[n]
            if isinstance(item, Item) and item.kind not in NOT_BOUGHT and not lengths(item):
                key = (item.kind, item.unit, item.size)
                found[key] = found.get(key, 0.0) + item.quantity
    if not found:
        return
    flow.heading("Built in today")
    say = flow.book.length
    some = sorted(found.items())
    shown = {"m": ("ft", 1 / FOOT_M), "m3": ("ft³", 1000 / LITRES_PER_FT3)} if flow.book.system == "in" else {"m3": ("m³", 1.0)}

    def cells() -> Iterator[tuple[str, ...]]:
        for (kind, unit, size), much in some:
            name, factor = shown.get(unit, (unit, 1.0))
            yield (kind, say(size) if size else "", f"{much * factor:,.2f}".rstrip("0").rstrip("."), name)

    flow.table(("what", "size", "how much", "unit"), (36, 20, 20, 14), cells(), right=(2,))


def _mortar(flow: Flow, facts: Facts, day: int) -> None:
    """Mortar and grout of the day, waste included: how much, how many batches, how many bags to open."""
    frame = facts.plan.schedules[MIXING]
    rows = frame[frame["day"] == day].to_dict("records")
    if not rows:
        return
    book, mortar = flow.book, facts.plan.catalogue.mortar
    bags: dict[str, Bag] = {THIN_BED: mortar.thin_bed, LEVELLING: mortar.bed}
    flow.heading("Mortar and grout today, waste included", keep=60)

    def cells() -> Iterator[tuple[str, ...]]:
        for row in rows:
            litres = float(row["net_l"]) + float(row["waste_l"])
            much = f"{litres / LITRES_PER_FT3:.2f} ft³" if book.system == "in" else f"{litres:.1f} L" if litres < 10 else f"{litres:.0f} L"
            bag = bags.get(str(row["mortar"]))
            if bag is None:
                yield str(row["mortar"]), much, "", "", "", ""
                continue
            weight = f"{bag.mass_kg / POUND:.0f} lb" if book.system == "in" else f"{bag.mass_kg:g} kg"
            part = f"{float(row['bags']):.1f}".removesuffix(".0")
            used = "part of 1" if part == "0" else part
            yield str(row["mortar"]), much, f"{used} of {weight}", str(row["batches"]), str(row["bags_to_open"]), ""

    flow.table(
        ("mortar", "volume", "bags to mix", "batches", "bags to open", "mixed at"), (27, 16, 18, 12, 12, 15), cells(), right=(1, 3, 4)
    )
    flow.say(
        "Use up the bag that is open first: it is counted. The last batch of a day is as much as is still needed. Mix no more than is "
        "spread within the time on the bag, add no water later, and write the time of each mix here."
    )


def _closures(flow: Flow, facts: Facts, turns: Sequence[Turn]) -> None:
    rows = [r for t in turns if t.step.kind == "closure" for r in t.step.pieces if r in facts.cut_at]
    if rows:
        say, p = flow.book.figure, facts.pieces
        flow.heading("Closures: measure the gap before you saw")
        cells = ((p.names[r], p.units[int(p.unit[r])].code, facts.size(r, say), "") for r in rows)
        flow.table(("piece", "unit", "as planned", "measured"), (22, 30, 24, 22), cells)


def _holds(flow: Flow, facts: Facts, turns: Sequence[Turn]) -> None:
    holds = [t for t in turns if t.step.kind == "hold"]
    if holds:
        flow.heading("Holds: work stops until it is done")
        rows = ((facts.span(t), t.step.text, "") for t in holds)
        flow.table(("time", "what", "who signs"), (20, 62, 20), rows, tick=True)


def _precut(flow: Flow, facts: Facts, day: int, heading: str) -> None:
    """What is sawn ahead of a day, by setting of the saw; closures are not, since their gap is measured first."""
    if day not in facts.sawn:
        return
    say = flow.book.figure
    flow.heading(heading)
    flow.say(
        f"{sum(len(rows) for rows in facts.sawn[day].values()):,} pieces with {len(facts.sawn[day]):,} settings of the saw. What of a unit "
        "is laid on a later day is marked and kept."
    )

    def cells() -> Iterator[tuple[str, ...]]:
        for setting, rows in facts.sawn[day].items():
            words = [w for w in ("rake", "mitre") if w in setting.cut]
            angle = f" at {setting.angle_deg:g}°" if words and setting.angle_deg != 90 else ""
            size = ", ".join([facts.size(rows[0][0], say), *(f"{w}{angle}" for w in words)])
            yield setting.unit, size, str(len(rows)), "; ".join(_sawn(facts, row, stock) for row, stock in rows)

    flow.table(
        ("unit", "saw to", "no.", "pieces, and the unit that each is from"), (25, 20, 8, 47), cells(), tick=True, right=(2,), strong=(1,)
    )


def _sawn(facts: Facts, row: int, stock: str) -> str:
    """A piece, what else is done to it, and the unit it is cut from."""
    p = facts.pieces
    work = [w for w in dict.fromkeys([*(["notch"] if "notch" in facts.cut_words(row) else []), *p.work.get(row, "").split(", ")]) if w]
    return f"{p.names[row]}{_in_brackets(work)} {stock}"


def _in_brackets(words: Sequence[str]) -> str:
    return f" ({', '.join(words)})" if words else ""

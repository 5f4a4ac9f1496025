"""A sheet a day: what must be at the wall, mortar, closures to measure, pre-cuts for tomorrow, holds, checks, cautions, order of work."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from math import ceil

from wallquant.catalogue import Bag
from wallquant.ordering import Turn
from wallquant.quantities import JointVolumes, joint_volumes
from wallquant.quantities.rows import NOT_BOUGHT
from wallquant.rules import Item
from wallquant.writers.pdf.checks import PROJECT, cautions, checks, doing
from wallquant.writers.pdf.facts import Facts
from wallquant.writers.pdf.flow import Flow
from wallquant.writers.pdf.paper import Book

FOOT_M = 0.3048
LITRES_PER_FT3 = 28.316846592
KG_PER_LB = 0.45359237
"""The international foot and pound, agreement of 1959."""


def days(book: Book, facts: Facts) -> None:
    """Write a sheet for each day."""
    work = facts.plan.work
    volumes = joint_volumes(work.pieces, work.runs, work.courses)
    share = _shares(facts)
    every = list(facts.days.items())
    for n, (day, turns) in enumerate(every):
        after = every[n + 1] if n + 1 < len(every) else None
        _day(book, facts, day, turns, after, volumes, share)


def _shares(facts: Facts) -> tuple[dict[str, float], dict[str, float]]:
    """Volume of the pieces of each run, and length of its first course."""
    volume: dict[str, float] = {}
    length: dict[str, float] = {}
    p = facts.pieces
    for run, rows in facts.rows.items():
        volume[run] = float(p.volume[rows.start : rows.stop].sum())
        length[run] = float(sum(int(p.end[r] - p.start[r]) for r in facts.first_course(run)))
    return volume, length


def _day(
    book: Book, facts: Facts, day: int, turns: Sequence[Turn], after: tuple[int, tuple[Turn, ...]] | None,
    volumes: dict[str, JointVolumes], share: tuple[dict[str, float], dict[str, float]],
) -> None:  # fmt: skip
    masons = sorted({m for t in turns for m in t.crew.split()}, key=lambda m: (len(m), m))
    flow = Flow(book=book, title=f"Day {day}, {facts.weekday(day)}", beside=f"{facts.plan.model}, masons {', '.join(masons) or 'none'}")
    rows = [r for t in turns for r in t.step.pieces]
    precut = after is not None and after[0] in facts.sawn
    if day == min(facts.days):
        _precut(flow, facts, day, f"Saw before day {day} begins")
    _pieces(flow, facts, rows)
    _items(flow, facts, turns)
    _mortar(flow, facts, rows, volumes, share)
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
        _precut(flow, facts, after[0], f"Saw today for day {after[0]}")


def _step(facts: Facts, turn: Turn) -> tuple[str, str, str]:
    needs = "".join(f" Needs: {one}." for one in turn.step.resources)
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
    weight = f"{mass / KG_PER_LB:,.0f} lb" if flow.book.system == "in" else f"{mass:,.0f} kg"
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

    flow.table(("unit", "whole", "sawn", "pallets of whole ones", "runs"), (32, 10, 10, 22, 26), cells(), right=(1, 2))


def _items(flow: Flow, facts: Facts, turns: Sequence[Turn]) -> None:
    """What else is built in today."""
    items = facts.plan.work.items
    found: dict[tuple[str, str, int], float] = {}
    for t in turns:
        for n in t.step.items:
            item = items[n]
            if isinstance(item, Item) and item.kind not in NOT_BOUGHT:
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


def _mortar(
    flow: Flow, facts: Facts, rows: Sequence[int], volumes: dict[str, JointVolumes], share: tuple[dict[str, float], dict[str, float]]
) -> None:  # fmt: skip
    """Mortar of the day, each run's shared out by the volume of its pieces, the bed by their length."""
    p, mortar, book = facts.pieces, facts.plan.catalogue.mortar, flow.book
    thin = bed = 0.0
    first = {r for name in {p.runs[int(p.run[r])] for r in rows} for r in facts.first_course(name)}
    beds = facts.plan.work.bed_m3
    for r in rows:
        name = p.runs[int(p.run[r])]
        thin += volumes[name].thin_bed_m3 * float(p.volume[r]) / (share[0][name] or 1.0)
        if r in first:
            bed += beds.get(name, volumes[name].levelling_m3) * int(p.end[r] - p.start[r]) / (share[1][name] or 1.0)
    kinds: list[tuple[str, float, Bag]] = [("thin-bed mortar", thin, mortar.thin_bed), ("levelling mortar", bed, mortar.bed)]
    kinds = [k for k in kinds if k[1] > 0]
    if not kinds:
        return
    flow.heading("Mortar, about", keep=60)

    def cells() -> Iterator[tuple[str, ...]]:
        for name, volume, bag in kinds:
            litres = volume * 1000
            much = f"{litres / LITRES_PER_FT3:.2f} ft³" if book.system == "in" else f"{litres:.0f} L"
            weight = f"{bag.mass_kg / KG_PER_LB:.0f} lb" if book.system == "in" else f"{bag.mass_kg:g} kg"
            yield (name, much, f"{ceil(litres / bag.yield_l - 1e-9)} of {weight}", "")

    flow.table(("mortar", "volume", "bags, before waste", "mixed at"), (26, 16, 24, 34), cells(), right=(1,))
    flow.say("Mix no more than is spread within the time on the bag; write the time of each mix here.")


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
        ("unit", "saw to", "no.", "pieces, and the unit that each is from"), (25, 22, 6, 47), cells(), tick=True, right=(2,), strong=(1,)
    )


def _sawn(facts: Facts, row: int, stock: str) -> str:
    """A piece, what else is done to it, and the unit it is cut from."""
    p = facts.pieces
    work = [w for w in dict.fromkeys([*(["notch"] if "notch" in facts.cut_words(row) else []), *p.work.get(row, "").split(", ")]) if w]
    return f"{p.names[row]}{_in_brackets(work)} {stock}"


def _in_brackets(words: Sequence[str]) -> str:
    return f" ({', '.join(words)})" if words else ""

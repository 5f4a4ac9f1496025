"""I9: how bars are cut is what bars take, no bar is longer than bought, and as many are bought."""

from __future__ import annotations

import re
from collections import Counter, defaultdict
from collections.abc import Iterator

from wallquant.audit.broken import broken
from wallquant.audit.cells import Table
from wallquant.audit.read import MM, Plan
from wallquant.audit.schedules import unlike
from wallquant.findings import Finding

FILE = "bars.csv"
LENGTHS = re.compile(r"[\d,]+ for [\d,]+ length")
"""How materials.csv begins to say what bought bars are cut for."""
WIDEST_CUT = 10.0
"""No cut through a bar takes more, mm (derived: discs for steel are 1 to 3 mm thick)."""


def check(plan: Plan) -> list[Finding]:
    """Return what of bars.csv does not hold; a plan without it has nothing to check."""
    rows = plan.schedule(FILE)
    return [*_items(plan, rows), *_bars(plan, rows)] if rows is not None else []


def _items(plan: Plan, rows: Table) -> Iterator[Finding]:
    """The lengths of each item are all there, as long together as the item, of its run, place and size, on a day of its work."""
    i = plan.items
    texts = {key: i.texts(key) for key in ("item", "kind", "run", "unit")}
    sizes = {key: i.numbers(key, blank=0.0) for key in ("size_mm", "start_mm", "end_mm")}
    known = {name: at for at, name in enumerate(texts["item"]) if texts["kind"][at] == "bar"}
    days: dict[tuple[str, str], set[str]] = defaultdict(set)
    at_corners: dict[str, set[str]] = defaultdict(set)
    for kind, run, corner, day in zip(*(plan.steps.texts(key) for key in ("kind", "run", "corner", "day")), strict=True):
        days[kind, run].add(day)
        if corner:  # such work may be called by the other run
            at_corners[kind].add(day)
    length, parts = rows.numbers("length_mm").tolist(), rows.wholes("parts").tolist()
    mine = {key: rows.numbers(key, blank=0.0) for key in sizes}
    found: dict[str, list[int]] = defaultdict(list)
    cells = zip(rows.texts("item"), rows.texts("run"), rows.texts("task"), rows.texts("day"), strict=True)
    for at, (item, run, task, day) in enumerate(cells):
        where = f"{FILE}, line {at + 2}"
        if item not in known:
            yield broken("I9", f"{where}: items.csv has no bar {item}")
            continue
        found[item].append(at)
        if run != texts["run"][known[item]]:
            yield broken("I9", f"{where}: bar {item} is said to be in run {run}, items.csv has {texts['run'][known[item]]}")
        for key, cell in mine.items():
            yield from unlike(
                f"{where}, bar {item}: {key}", float(cell[at]), float(sizes[key][known[item]]), "mm", "items.csv has", near=1e-3
            )
        if task and day not in days[task, run] | at_corners[task]:
            yield broken("I9", f"{where}: on day {day} there is no step '{task}' in run {run}")
    number = rows.wholes("part").tolist()
    quantity = i.numbers("quantity", blank=0.0).tolist()
    for item, lines in sorted(found.items()):
        if sorted(number[at] for at in lines) != list(range(1, parts[lines[0]] + 1)):
            yield broken("I9", f"{FILE}: of bar {item} not each of its {parts[lines[0]]} lengths is in one row")
        elif texts["unit"][known[item]] == "m":
            total = sum(length[at] for at in lines)
            yield from unlike(f"{FILE}, bar {item}: lengths of", total, quantity[known[item]] * 1000, "mm", "items.csv has", near=1e-2)


def _bars(plan: Plan, rows: Table) -> Iterator[Finding]:
    """Each bought bar is cut in its order, and gives what is cut from it, the cuts, and what is left over; as many are bought."""
    stock, length = rows.numbers("stock_mm").tolist(), rows.numbers("length_mm").tolist()
    left, order = rows.numbers("offcut_mm").tolist(), rows.wholes("order").tolist()
    sort, size = rows.texts("sort"), rows.numbers("size_mm").tolist()
    bars: dict[str, list[int]] = defaultdict(list)
    for at, name in enumerate(rows.texts("bar")):
        bars[name].append(at)
    taken: Counter[str] = Counter()
    for name, lines in sorted(bars.items()):
        taken[sort[lines[0]]] += 1
        if len({(sort[at], size[at], stock[at]) for at in lines}) > 1 or [order[at] for at in lines] != list(range(1, len(lines) + 1)):
            yield broken("I9", f"{FILE}, bar {name}: its rows are not of one bar in the order of cutting")
        over = [left[at] for at in lines[:-1]]
        cut = stock[lines[0]] - sum(length[at] for at in lines) - left[lines[-1]]
        if any(over) or not (min(left[at] for at in lines) >= 0 and -MM <= cut <= WIDEST_CUT * len(lines)):
            yield broken("I9", f"{FILE}, bar {name}: its lengths, cuts and offcut are not the bought {stock[lines[0]]:.9g} mm")
    m = plan.materials
    bought: Counter[str] = Counter()
    for item, where, net in zip(m.texts("item"), m.texts("where"), m.numbers("net", blank=0.0).tolist(), strict=True):
        if item.endswith(" long") and LENGTHS.match(where):  # else a rule's own item
            bought[next((one for one in sorted(taken, key=len, reverse=True) if item.startswith(f"{one} ")), item)] += net
    for one in sorted({*taken, *bought}):
        yield from unlike(f"{FILE}, {one}: cut are", taken[one], bought[one], "bars", "materials.csv has")

"""Bars on paper: the cutting list, bought bar by bought bar, and what bars a day needs."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from functools import partial
from math import ceil

from wallquant.cutting.bars import KERF
from wallquant.quantities.bars import FILE
from wallquant.units import MM
from wallquant.writers.bar_list import FOR, STUB, alike, ranges, times, wanted
from wallquant.writers.pdf.facts import Facts
from wallquant.writers.pdf.flow import Flow
from wallquant.writers.pdf.paper import Book


def cutting_list(book: Book, facts: Facts) -> None:
    """Write how bars are cut, those cut alike in one line; nothing where there are none."""
    frame = facts.plan.schedules[FILE]
    if not len(frame):
        return
    say = partial(_figure, book)
    flow = Flow(book=book, title="Bars to cut", beside=facts.plan.model, size=9)
    for (sort, size, stock), some in alike(frame).items():
        flow.heading(f"{sum(len(one.names) for one in some)} {sort}s of {book.length(size * MM)}, {book.length(stock * MM)} long")
        flow.say("What this plan takes; the order list adds waste.")
        cells = (
            (ranges(one.names), str(len(one.names)), " + ".join(times(say(v), n) for v, n in Counter(one.lengths).items()), say(one.left))
            for one in some
        )
        flow.table(("bars", "no.", "cut in this order", "left over"), (22, 7, 53, 18), cells, right=(1, 3), tick=True, strong=(2,))
    flow.heading("Where the lengths go")
    rows = ((_day(day), say(length), str(count), what) for day, what, _, length, count in wanted(frame))
    flow.table(("needed", "length", "no.", "for"), (26, 20, 8, 46), rows, right=(2,), strong=(1,), tick=True)
    flow.say(
        f"Bundle each day's lengths and tag them. Laps are in these lengths. A cut takes {book.length(KERF)} with a disc; with shears a "
        "little more is left over. Gloves and eye protection; ends that stand up are capped. Sizes, laps and places are the engineer's to "
        "confirm."
    )


def of_day(flow: Flow, facts: Facts, day: int) -> None:
    """Write which bars a day needs, cut and tagged; stubs are in the slab by then."""
    frame = facts.plan.schedules[FILE]
    own = frame[(frame["day"] == day) & (frame["task"] != STUB)]
    if not len(own):
        return
    own = own.assign(short=-own["length_mm"])
    flow.heading("Bars today, cut and tagged")

    def cells() -> Iterator[tuple[str, ...]]:
        for key, rows in own.groupby(["task", "size_mm", "short"], sort=True):
            task, size, short = (str(key[0]), float(str(key[1])), float(str(key[2])))
            runs = Counter(rows["run"].tolist())
            where = ", ".join(times(run, n) for run, n in sorted(runs.items(), key=lambda one: (len(one[0]), one[0])))
            named = ranges(rows["bar"].drop_duplicates().tolist())
            yield _figure(flow.book, -short), str(len(rows)), flow.book.figure(size * MM), FOR.get(task, task), where, named

    flow.table(("length", "no.", "size", "for", "runs", "from"), (20, 9, 10, 19, 26, 25), cells(), right=(1,), tick=True)


def _figure(book: Book, mm: float) -> str:
    """Millimetres as bars are marked: whole ones, rounded up, or feet and inches."""
    return book.figure((mm if book.system == "in" else ceil(round(mm, 3))) * MM)


def _day(when: int) -> str:
    return f"day {when}" if when else "before the pour"

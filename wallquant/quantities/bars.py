"""bars.csv: the cutting list of the bars, bought bar by bought bar; and what materials.csv says of them."""

from __future__ import annotations

from collections.abc import Iterator

import pandas as pd

from wallquant.cutting import Bars, cut_bars
from wallquant.files import SCHEDULES
from wallquant.layout import Work
from wallquant.ordering import Schedule
from wallquant.quantities.rows import Row, with_waste
from wallquant.rules import Item
from wallquant.units import MM, Nm, text

FILE = "bars.csv"


def item_days(work: Work, schedule: Schedule) -> list[int]:
    """Return the day on which each item is built in; 0 for one that is in no step."""
    days = [0] * len(work.items)
    for n, step in enumerate(schedule.graph.steps):
        for k in step.items:
            days[k] = int(schedule.start[n]) // 86400 + 1
    return days


def bars(work: Work, schedule: Schedule) -> tuple[Bars, pd.DataFrame]:
    """Return the cutting list, and the content of bars.csv: a row a length, in the order of cutting.

    Parameters
    ----------
    work : Work
    schedule : Schedule
        For the day on which each bar is placed.

    Returns
    -------
    Bars, DataFrame
        `item` is the row's bar in items.csv, of which it is length `part` of `parts`; `offcut_mm` is what is left of the bought bar
        behind its last length.  A bar of task `bar stub` is cast into the slab before day 1; its day is that of its check.
    """
    days = item_days(work, schedule)
    found = cut_bars(work.items, days)
    number = {k: n for n, k in enumerate((k for k, i in enumerate(work.items) if isinstance(i, Item)), 1)}
    rows = []
    for one in found.lengths:
        item = work.items[one.item]
        if isinstance(item, Item):
            sort, size, stock = found.kinds[one.bar]
            rows.append(
                (
                    found.names[one.bar], sort, size / MM, stock / MM, one.order, one.length / MM, one.offcut / MM, f"I{number[one.item]}",
                    one.part, one.parts, item.run, item.course, item.start / MM, item.end / MM, item.task, days[one.item],
                )
            )  # fmt: skip
    return found, pd.DataFrame(rows, columns=list(SCHEDULES[FILE]))


def bought(found: Bars, factor: float, system: str) -> Iterator[tuple[Row, Nm, Nm]]:
    """Yield for each diameter and bought length its row of materials.csv, the length that is bought, and that of the bars as placed.

    Parameters
    ----------
    found : Bars
    factor : float
        Waste, as part of the number of bars.
    system : str
        ``mm`` or ``in``.
    """
    for one in found.bought:
        waste, buy = with_waste(float(one.bars), factor, "pcs")
        lost = 100 * one.offcuts / (one.bars * one.stock)
        where = f"{one.bars} for {one.lengths} lengths (proven least {one.bound}), offcuts and cuts {lost:.1f} %"
        item = f"{one.sort} {text(one.size, system)}, {text(one.stock, system)} long"
        yield Row(group=3, item=item, net=float(one.bars), waste=waste, buy=buy, unit="pcs", where=where), round(buy) * one.stock, one.used

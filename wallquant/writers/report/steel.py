"""What the page says of the bars: how they are cut, and which lengths are needed when."""

from __future__ import annotations

from collections import Counter
from typing import TYPE_CHECKING, Any

from wallquant.cutting.bars import KERF
from wallquant.units import MM
from wallquant.writers.bar_list import alike, ranges, times, wanted
from wallquant.writers.report.words import Words

if TYPE_CHECKING:
    import pandas as pd

MOST = 500
"""So many lines are on the page; the others are in bars.csv alone."""


def cutting(frame: pd.DataFrame, words: Words) -> dict[str, Any] | None:
    """Return the bars by diameter and bought length, and the lengths by day; None where there are none.

    Parameters
    ----------
    frame : DataFrame
        The content of bars.csv.
    words : Words
    """
    if not len(frame):
        return None
    kinds = []
    for (sort, size, stock), some in alike(frame).items():
        lines = [
            {
                "bars": ranges(one.names),
                "count": len(one.names),
                "lengths": " + ".join(times(words.length(v), n) for v, n in Counter(one.lengths).items()),
                "left": words.length(one.left),
            }
            for one in some[:MOST]
        ]
        count = sum(len(one.names) for one in some)
        kinds.append({"sort": sort, "size": words.length(size), "stock": words.length(stock), "count": count, "lines": lines})
    needed = [
        {"when": f"day {day}" if day else "before the pour", "length": words.length(length), "count": count, "what": what}
        for day, what, _, length, count in wanted(frame)[:MOST]
    ]
    return {"kinds": kinds, "needed": needed, "kerf": words.length(KERF / MM)}

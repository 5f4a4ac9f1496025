"""saw_list.csv: what to saw on which day, by the setting of the saw; what is cut ahead apart from what is measured on site."""

from __future__ import annotations

from pathlib import Path

import pandas as pd

from wallquant.files import CUTS, SAW_LIST
from wallquant.units import to_mm
from wallquant.writers.plan import Plan

AHEAD, ON_SITE = "ahead", "on site"


def saw_list(plan: Plan) -> pd.DataFrame:
    """Return the rows of all cut pieces.

    Notes
    -----
    A closure is cut on the day on which it is laid, after its gap was measured; its size here is that of the plan.  Every other piece
    is cut on the day on which the first piece of its unit, closures aside, is laid.  Rows of a day are in the order unit, cut,
    angle, height, length: the saw is set anew as seldom as can be.
    """
    p, c = plan.work.pieces, plan.cutting
    day, closing = [0] * len(p), [False] * len(p)
    for turn in plan.schedule.turns:
        for row in turn.step.pieces:
            day[row], closing[row] = turn.day, turn.step.kind == "closure"
    first: dict[int, int] = {}
    for row, stock in zip(c.piece.tolist(), c.stock.tolist(), strict=True):
        if not closing[row]:
            first[stock] = min(first.get(stock, day[row]), day[row])
    rows: dict[tuple[int, str, str, str, float, float, float], tuple[list[str], dict[str, None]]] = {}
    for at, (row, stock) in enumerate(zip(c.piece.tolist(), c.stock.tolist(), strict=True)):
        on, when = (day[row], ON_SITE) if closing[row] else (first[stock], AHEAD)
        words = "+".join(word for bit, word in enumerate(CUTS) if int(p.cut[row]) >> bit & 1)
        size = (float(c.angle_deg[at]), to_mm(int(c.height[at])), to_mm(int(c.length[at])))
        pieces, stocks = rows.setdefault((on, when, p.units[p.unit[row]].code, words, *size), ([], {}))
        pieces.append(p.names[row])
        stocks[c.stocks[stock]] = None
    listed = [(*key, len(pieces), " ".join(pieces), " ".join(stocks)) for key, (pieces, stocks) in sorted(rows.items())]
    return pd.DataFrame(listed, columns=list(SAW_LIST))


def write(plan: Plan, folder: Path) -> None:
    """Write the file."""
    saw_list(plan).to_csv(folder / "saw_list.csv", index=False, lineterminator="\n", encoding="utf-8")

"""saw_list.csv: what to saw on which day, by the setting of the saw; what is cut ahead apart from what is measured on site."""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd

from wallquant.files import CUTS, SAW_LIST
from wallquant.units import Nm, to_mm
from wallquant.writers.plan import Plan

FILE = "saw_list.csv"
AHEAD, ON_SITE = "ahead", "on site"


@dataclass(frozen=True, kw_only=True, slots=True, order=True)
class Setting:
    """A setting of the saw on a day; lengths are nanometres, `cut` are the words of pieces.csv."""

    day: int
    when: str
    unit: str
    cut: str
    angle_deg: float
    height: Nm
    length: Nm


def sawn(plan: Plan) -> dict[Setting, list[tuple[int, str]]]:
    """Return by setting the rows of its pieces, each with the name of the unit that it is cut from, in the order of the saw.

    Notes
    -----
    A closure is cut on the day on which it is laid, after its gap was measured; its size here is that of the plan.  Every other piece
    is cut on the day on which the first piece of its unit, closures aside, is laid.  Settings of a day are in the order unit, cut,
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
    found: dict[Setting, list[tuple[int, str]]] = {}
    for at, (row, stock) in enumerate(zip(c.piece.tolist(), c.stock.tolist(), strict=True)):
        setting = Setting(
            day=day[row] if closing[row] else first[stock],
            when=ON_SITE if closing[row] else AHEAD,
            unit=p.units[p.unit[row]].code,
            cut="+".join(word for bit, word in enumerate(CUTS) if int(p.cut[row]) >> bit & 1),
            angle_deg=float(c.angle_deg[at]),
            height=int(c.height[at]),
            length=int(c.length[at]),
        )
        found.setdefault(setting, []).append((row, c.stocks[stock]))
    return dict(sorted(found.items()))


def saw_list(plan: Plan) -> pd.DataFrame:
    """Return the content of saw_list.csv: a row a setting."""
    names = plan.work.pieces.names
    rows = [
        (
            s.day, s.when, s.unit, s.cut, s.angle_deg, to_mm(s.height), to_mm(s.length), len(pieces),
            " ".join(names[row] for row, _ in pieces), " ".join(dict.fromkeys(stock for _, stock in pieces)),
        )
        for s, pieces in sawn(plan).items()
    ]  # fmt: skip
    return pd.DataFrame(rows, columns=list(SAW_LIST))

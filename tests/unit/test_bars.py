"""The cutting list of bars: whole bars, laps, what is left out over lintels, and what is bought."""

from __future__ import annotations

from dataclasses import replace
from itertools import combinations_with_replacement
from math import ceil
from pathlib import Path
from random import Random
from typing import Any

import pandas as pd
import pytest

from tests.unit import laid_house as house
from wallquant import pipeline, plugins
from wallquant.bonding.bars import joined, lengths
from wallquant.cutting import cut_bars
from wallquant.cutting.bars import KERF
from wallquant.job import load
from wallquant.rules import Item
from wallquant.units import MM, mm
from wallquant.writers.folder import write

SAMPLES = Path(__file__).resolve().parents[2] / "sample_models"


def lying(start: float, end: float, level: float = 0, stock: float = 6000, lap: float = 600) -> Item:
    return Item(
        kind="bar", run="R1", start=mm(start), end=mm(end), bottom=mm(level), top=mm(level + 12), size=mm(12), stock=mm(stock),
        lap=mm(lap), quantity=1.0, unit="m", seconds=60, text="Lay it",
    )  # fmt: skip


@pytest.mark.parametrize(
    ("long", "parts"),
    [
        (5999, [5999]),
        (6000, [6000]),
        (6001, [6000, 601]),  # a lap more than what is missing
        (11400, [6000, 6000]),  # 2 x 6 m less a lap of 600
        (11401, [6000, 6000, 601]),
        (14000, [6000, 6000, 3200]),
    ],
)
def test_a_long_bar_is_lapped(long: int, parts: list[int]) -> None:
    found = lengths(lying(0, long))
    assert found == tuple(mm(p) for p in parts)
    assert sum(found) == mm(long) + (len(parts) - 1) * mm(600)


def test_lying_bars_that_touch_are_one() -> None:
    """4 m, 102 mm through a corner, 5 m: one bar of 9.102 m, one lap; the one on another level stays."""
    corner = replace(lying(4000, 4102), corner="K2", passing=True)
    made = joined([lying(4102, 9102), corner, lying(0, 4000), lying(0, 100, level=50)])
    assert [(i.start / MM, i.end / MM, i.quantity, i.seconds) for i in made] == [(0, 9102, 9.702, 180), (0, 100, 0.1, 60)]
    gap = joined([lying(0, 4000), lying(4103, 9102)])
    assert len(gap) == 2, "what does not touch is not one"


def test_bars_are_cut_from_whole_ones() -> None:
    """Seven of 2.2 m and seven of 1.5 m from 6 m: 2.2 + 2.2 + 1.5 = 5.9 and two cuts of 3 mm, three times; four bars do not hold 25.9 m."""
    found = cut_bars([*(lying(0, 2200) for _ in range(7)), *(lying(0, 1500) for _ in range(7))])
    (one,) = found.bought
    assert (one.lengths, one.bound, one.bars) == (14, 5, 5)
    assert one.offcuts == 5 * mm(6000) - mm(7 * 3700)
    by: dict[int, list[Any]] = {}
    for row in found.lengths:
        by.setdefault(row.bar, []).append(row)
    assert sorted(r.item for r in found.lengths) == list(range(14))
    for rows in by.values():
        assert [r.order for r in rows] == list(range(1, len(rows) + 1))
        assert all(r.offcut == 0 for r in rows[:-1])
        used = sum(r.length for r in rows) + KERF * (len(rows) - 1)
        assert mm(6000) - used >= 0 and rows[-1].offcut == max(0, mm(6000) - used - KERF)


def least(widths: list[int], capacity: int) -> int:
    """Fewest bins, by trying all: patterns of up to so many widths, breadth first over what is left."""
    fits = sorted(
        {p for k in range(1, len(widths) + 1) for p in combinations_with_replacement(sorted(set(widths)), k) if sum(p) <= capacity}
    )
    seen, edge, steps = {tuple(sorted(widths))}, [tuple(sorted(widths))], 0
    while () not in seen:
        steps += 1
        after = set()
        for left in edge:
            for p in fits:
                rest = list(left)
                if p[0] == rest[0] and all(w in rest and not rest.remove(w) for w in p):  # type: ignore[func-returns-value]
                    after.add(tuple(rest))
        edge = sorted(after - seen)
        seen |= after
    return steps


def test_rods_are_no_bars() -> None:
    """Of one diameter and length, and cut apart: a threaded rod is nothing for a bond beam."""
    found = cut_bars([lying(0, 1000), replace(lying(0, 1000), sort="rod")])
    assert [(one.sort, one.bars) for one in found.bought] == [("bar", 1), ("rod", 1)]
    assert [kind[0] for kind in found.kinds] == ["bar", "rod"]


@pytest.mark.parametrize("seed", range(12))
def test_no_cutting_list_takes_fewer_bars(seed: int) -> None:
    draw = Random(seed)
    some = [draw.randrange(500, 4000, 100) for _ in range(9)]
    (one,) = cut_bars([lying(0, length) for length in some]).bought
    best = least([length + 3 for length in some], 6003)
    assert one.bound <= best == one.bars


def test_nothing_is_left_of_a_bar_over_a_lintel() -> None:
    """The lintel bears where the bar stands; 190 mm over it are no lap (610 mm), so no bar and no grout is placed there."""
    wall = house.wall("A", (0, 0), (6000, 0), openings=[(2300, 3300, 0, 2010)])
    laid = house.lay([wall], settings={"vertical_bars": {"schedule": "R1: 2200 mm"}})
    under = int(laid.work.pieces.bottom[laid.work.bridges[0].lintel[0]])
    bars = laid.items("bar")
    assert max(b.top for b in bars) < under + laid.work.catalogue.bed.most
    assert min(b.top - b.bottom for b in bars) >= bars[0].lap > 0
    assert all(f.top <= max(b.top for b in bars) for f in laid.items("core fill"))
    (said,) = {f.text for f in laid.findings if f.code == "bars.interrupted"}
    assert "less than a lap" in said


def test_a_bar_goes_on_over_a_lintel_where_there_is_room_for_a_lap() -> None:
    """A wall of 3.2 m: a metre over the lintel is more than a lap, and the bar there is kept, in one length."""
    wall = house.wall("A", (0, 0), (6000, 0), height=3200, openings=[(2300, 3300, 0, 2010)])
    laid = house.lay([wall], settings={"vertical_bars": {"schedule": "R1: 2200 mm"}})
    top = int(laid.work.pieces.top[laid.work.bridges[0].lintel[0]])
    over = [b for b in laid.items("bar") if b.bottom >= top]
    assert len(over) == 1 and over[0].top - over[0].bottom >= over[0].lap


@pytest.mark.parametrize(
    ("model", "job", "stock"),
    [("landing_tool_store_mm.ifc", "landing_tool_store", 6000.0), ("field_station_workshop_in.ifc", "field_station_workshop", 6096.0)],
)
def test_the_files_agree(tmp_path: Path, model: str, job: str, stock: float) -> None:
    """bars.csv holds each bar of items.csv with its laps, from as many whole bars as materials.csv buys before waste."""
    plan = pipeline.plan(SAMPLES / model, load(SAMPLES / f"{job}.job.yaml"), plugins.load())
    write(plan, tmp_path / "out", run={}, writers={})
    made = {n: pd.read_csv(tmp_path / "out" / f"{n}.csv", keep_default_na=False) for n in ("bars", "items", "materials")}
    cuts, items = made["bars"], made["items"][made["items"]["kind"] == "bar"].set_index("item")
    assert set(cuts["stock_mm"]) == {stock}
    sums = cuts.groupby("item")["length_mm"].sum()
    assert set(sums.index) == set(items.index)
    assert (sums - items["quantity"].astype(float) * 1000).abs().max() < 1e-3
    assert (cuts["length_mm"] >= 400).all(), "no scraps"
    for _, rows in cuts.groupby("bar"):
        assert rows["length_mm"].sum() + 3 * (len(rows) - 1) <= stock
        assert rows["offcut_mm"].iloc[-1] == pytest.approx(max(0, stock - rows["length_mm"].sum() - 3 * len(rows)))
    table = made["materials"].set_index(["item", "unit"])
    (whole,) = [table.loc[key] for key in table.index if key[0].startswith("bar ") and key[1] == "pcs"]
    metres = table.loc[("bar", "m")]
    count = cuts["bar"].nunique()
    assert float(whole["net"]) == count and f"proven least {count})" in whole["where"]
    assert float(whole["buy"]) == ceil(round(count * 1.05, 9))
    assert float(metres["buy"]) == pytest.approx(float(whole["buy"]) * stock / 1000)
    assert float(metres["net"]) + float(metres["waste"]) == pytest.approx(count * 1.05 * stock / 1000)

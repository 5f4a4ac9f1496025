"""The picture of the reading: what is drawn, what is laid, and where they differ, storey by storey."""

from __future__ import annotations

import copy
import re
from typing import Any

import pytest

from tests.browser import plan_maker as maker
from wallquant.writers import report
from wallquant.writers.report.blocks import building_block
from wallquant.writers.report.reading import Picture, pictures
from wallquant.writers.report.sheet import Sheet, lumps
from wallquant.writers.report.words import Words

GROUND = "Ground floor"


@pytest.fixture
def plan() -> dict[str, Any]:
    return copy.deepcopy(dict(maker.garden_house()))


def _drawn(plan: dict[str, Any]) -> dict[str, Picture]:
    building = building_block(plan["summary"], plan["tables"])
    return {one.storey: one for one in pictures(plan["summary"], building, plan["tables"]["pieces.csv"], Words(system="mm"))}


def _wall(plan: dict[str, Any], guid: str) -> dict[str, Any]:
    return dict(next(wall for wall in plan["summary"]["walls"] if wall["guid"] == guid))


def _change(plan: dict[str, Any], guid: str, **new: Any) -> None:
    plan["summary"]["walls"] = [wall | new if wall["guid"] == guid else wall for wall in plan["summary"]["walls"]]


def _box(path: str) -> tuple[float, float, float, float]:
    numbers = [float(n) for n in re.findall(r"-?[\d.]+", path)]
    return min(numbers[::2]), min(numbers[1::2]), max(numbers[::2]), max(numbers[1::2])


def test_every_wall_run_and_opening_is_drawn_once_in_its_storey(plan: dict[str, Any]) -> None:
    drawn = _drawn(plan)
    assert list(drawn) == [GROUND, "Upper floor"]
    ground, openings = drawn[GROUND], plan["tables"]["openings.csv"]
    assert len(ground.walls) == 6 and len(ground.runs) == 5 == len(ground.lines)
    assert sum(one.kind == "hole" for one in ground.openings) == len(openings)
    assert sum(one.kind == "sill" for one in ground.openings) == 2 * (openings["sill_mm"] > 1).sum()
    assert [one.kind for one in ground.corners] == ["joint"] * 6
    assert [one.kind for one in drawn["Upper floor"].corners] == ["end"] * 2
    assert ground.said == "6 walls drawn, 5 laid in 5 runs, 3 openings, 1 set aside"
    assert ground.differs == "Drawn and laid differ nowhere by more than 50 mm." and not ground.odd


def test_a_run_lies_on_its_wall_to_scale(plan: dict[str, Any]) -> None:
    ground = _drawn(plan)[GROUND]
    wall, run = next(s for s in ground.walls if s.says == "Wall 1"), next(s for s in ground.runs if s.says.startswith("R1,"))
    a, b = _box(wall.d), _box(run.d)
    scale = (a[2] - a[0]) / 6210  # the outline of wall 1 is drawn 105 mm past both nodes
    assert b[3] - b[1] == pytest.approx(200 * scale, abs=0.3)
    assert (b[1] + b[3]) / 2 == pytest.approx((a[1] + a[3]) / 2, abs=0.2)
    assert ground.bar / scale == pytest.approx(float(ground.bar_text.removesuffix(" m")) * 1000, rel=0.01)


def test_what_is_set_aside_is_hatched_numbered_and_explained(plan: dict[str, Any]) -> None:
    ground = _drawn(plan)[GROUND]
    assert [one.kind for one in ground.walls].count("aside") == 1 == len(ground.over)
    (bay,) = ground.aside
    assert (bay.number, bay.name, bay.whole) == (1, "Curved bay", True)
    assert bay.reasons == ["its axis is an arc; only straight walls are laid"]
    (number,) = [one for one in ground.labels if one.kind == "number"]
    left, top, right, bottom = _box(next(one.d for one in ground.walls if one.kind == "aside"))
    assert number.text == "1" and left <= number.x <= right and top <= number.y <= bottom


def test_a_part_set_aside_is_hatched_from_a_tenth_of_the_face(plan: dict[str, Any]) -> None:
    for share, kind in ((0.05, "drawn"), (0.2, "partly")):
        area = _wall(plan, "wall-R5")["area_m2"]
        part = share * area["wall"]
        _change(plan, "wall-R5", reasons=["shorter than the least piece"], area_m2=area | {"laid": area["wall"] - part, "set_aside": part})
        ground = _drawn(plan)[GROUND]
        assert next(one.kind for one in ground.walls if one.says.startswith("Wall 5")) == kind
        assert [one.name for one in ground.little] == (["Wall 5"] if kind == "drawn" else [])
        _change(plan, "wall-R5", reasons=[], area_m2=area)


def test_a_wall_that_was_misread_shows(plan: dict[str, Any]) -> None:
    outline = _wall(plan, "wall-R5")["footprint_mm"]
    _change(plan, "wall-R5", footprint_mm=[(x + 300, y) for x, y in outline])
    ground = _drawn(plan)[GROUND]
    assert sorted(one.kind for one in ground.odd) == ["bare", "over"]
    assert ground.differs == "Drawn and laid differ by more than 50 mm in 2 places."
    _change(plan, "wall-R5", footprint_mm=[(x + 30, y) for x, y in outline])
    assert not _drawn(plan)[GROUND].odd


def test_a_mitred_end_is_drawn_as_it_is_laid(plan: dict[str, Any]) -> None:
    square = {one.says: _box(one.d) for one in _drawn(plan)[GROUND].runs}
    table = plan["tables"]["pieces.csv"]
    last = table.index[(table["run"] == "R5") & (table["end_mm"] == table.loc[table["run"] == "R5", "end_mm"].max())]
    start, end = float(table.loc[last, "start_mm"].max()), float(table.loc[last[0], "end_mm"])
    table.loc[last, "plan"] = f"POLYGON (({start} -100, {end} -100, {end - 200} 100, {start} 100, {start} -100))"
    ground = _drawn(plan)[GROUND]
    run = next(one for one in ground.runs if one.says.startswith("R5,"))
    assert _box(run.d) == pytest.approx(square[run.says], abs=0.2)  # as long as before at its longer side
    assert run.d.count("L") == 3 and len(set(re.findall(r"[ML](-?[\d.]+) ", run.d))) == 2
    ys = sorted({float(y) for y in re.findall(r" (-?[\d.]+)", run.d)})
    assert len(ys) == 3  # one end square, one slanted


def test_finishes_are_no_misreading(plan: dict[str, Any]) -> None:
    wall = _wall(plan, "wall-R5")
    wide = [(x + (200 if x > 500 else 0), y) for x, y in wall["footprint_mm"]]
    _change(plan, "wall-R5", footprint_mm=wide)
    assert _drawn(plan)[GROUND].odd
    _change(plan, "wall-R5", footprint_mm=wide, ledger_m3=wall["ledger_m3"] | {"finishes": 0.8})
    assert not _drawn(plan)[GROUND].odd


def test_a_corner_of_other_storeys_runs_is_not_drawn_here(plan: dict[str, Any]) -> None:
    table = plan["tables"]["corners.csv"]
    table.loc[table["corner"] == "C5", "runs"] = "R1 R5 R6"
    assert len(_drawn(plan)["Upper floor"].corners) == 2


def test_outlines_that_cross_themselves_or_are_missing_are_no_end(plan: dict[str, Any]) -> None:
    x, y = 0.0, 0.0
    _change(plan, "wall-R1", footprint_mm=[(x, y), (x + 900, y + 900), (x + 900, y), (x, y + 900)])
    _change(plan, "wall-R2", footprint_mm=[])
    _change(plan, "wall-bay", footprint_mm=[])
    ground = _drawn(plan)[GROUND]
    assert len(ground.walls) == 4
    assert [(one.number, one.outline) for one in ground.aside] == [(None, False)]


def test_hostile_names_are_text(plan: dict[str, Any]) -> None:
    shout = '"><script>alert(1)</script>'
    text = report.html(**maker.garden_house(shout=shout))
    assert "<script>alert(1)" not in text
    assert "Curved bay&#34;&gt;&lt;script&gt;" in text


def test_lumps_are_what_is_wide() -> None:
    # A strip of 40 mm with a square of 300 mm at its end: the strip goes, the square stays.
    from shapely.geometry import box

    (left,) = lumps(box(0, 0, 2000, 40).union(box(2000, 0, 2300, 300)), 50.0)
    assert left.bounds == pytest.approx((2000, 0, 2300, 300), abs=0.01)
    assert lumps(box(0, 0, 2000, 40), 50.0) == []


def test_a_sheet_holds_all_points() -> None:
    points = [(-30_000.0, 5.0), (70_000.0, 900.0), (0.0, -4_000.0)]
    sheet = Sheet.about(points)
    assert all(0 < sheet.at(p)[0] < sheet.width and 0 < sheet.at(p)[1] < sheet.height for p in points)

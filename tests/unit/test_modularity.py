"""What misses the module: sizes by hand, DIN 4172 as a published module, and walls laid in full."""

from __future__ import annotations

from pathlib import Path

import pytest

from wallquant import pipeline, plugins
from wallquant.fitting.modularity import WHATS, Size, findings, modularity, sizes
from wallquant.fitting.module import Module
from wallquant.job import Job
from wallquant.masonry import Range
from wallquant.units import MM, inches
from wallquant.writers.plan import Plan

AAC = Module(unit=599 * MM, joint=Range(least=MM // 2, nominal=MM, most=3 * MM))
OUTSIDE, PROJECTION, CLEAR = -1, 0, 1

DIN = Module(unit=240 * MM, joint=Range(least=10 * MM, nominal=10 * MM, most=10 * MM))
"""Octametre: a brick of 240 and a joint of 10 mm are two modules of 125 mm, so a half unit is one."""


def wall_list(folder: Path, walls: str) -> Path:
    file = folder / "m.walls.yaml"
    file.write_text(f"unit: mm\nstoreys:\n  - {{name: G, level: 0}}\nwalls:\n{walls}", encoding="utf-8")
    return file


def planned(folder: Path, walls: str, **options: object) -> Plan:
    job = Job.model_validate({"catalogue": "aac-metric", **options})
    return pipeline.plan(wall_list(folder, walls), job, plugins.load())


def sized(folder: Path, walls: str, **options: object) -> tuple[Size, ...]:
    plan = planned(folder, walls, **options)
    return sizes(plan.work, plan.network, plan.name_of())


def one(what: str, found: tuple[Size, ...]) -> Size:
    (only,) = [s for s in found if s.what == what]
    return only


def wall(name: str, start: tuple[int, int], end: tuple[int, int], height: int = 2400, openings: str = "") -> str:
    line = f"name: {name}, storey: G, from: [{start[0]}, {start[1]}], to: [{end[0]}, {end[1]}], thickness: 200, height: {height}"
    return f"  - {{{line}, bearing: true, openings: [{openings}]}}\n"


@pytest.mark.parametrize(
    ("metres", "modules", "more"),
    [
        # DIN 4172, Masnormen im Hochbau: outside n x 125 - 10, clear opening n x 125 + 10 (as printed in two public tables of
        # masonry dimensions, baumigo.de and bau-doch-selber.de)
        ("10.99", 88, OUTSIDE),
        ("13.99", 112, OUTSIDE),
        ("9.99", 80, OUTSIDE),
        ("1.01", 8, CLEAR),
        ("0.74", 6, OUTSIDE),
        ("2.49", 20, OUTSIDE),
    ],
)
def test_din_4172(metres: str, modules: int, more: int) -> None:
    length = round(float(metres) * 1000) * MM
    assert DIN.size(modules, more) == length
    assert DIN.meets(length, more) == "full"
    for off in (-MM, MM):
        assert DIN.meets(length + off, more) == ""
    assert DIN.meets(length + 125 * MM, more) == "half"


def test_din_4172_eleven_metres_is_off() -> None:
    """11.00 m outside is 88.08 modules: off (same tables); 10.99 lies below and 11.24 above, 11.115 has a half unit."""
    length = 11_000 * MM
    assert DIN.meets(length, OUTSIDE) == ""
    assert DIN.near(length, OUTSIDE) == (10_990 * MM, 11_240 * MM, 11_115 * MM)


def test_joints_and_fit_reach() -> None:
    """Ten units: 5999 nominal; nine joints between 0.5 and 3 mm reach from 5994.5 to 6017."""
    for length, met in (("5994.5", "full"), ("5994.4", ""), ("5999", "full"), ("6017", "full"), ("6017.1", "")):
        assert AAC.meets(round(float(length) * MM), OUTSIDE) == met, length
    assert AAC.meets(round(5988.2 * MM), OUTSIDE, minus=6 * MM, plus=6 * MM) == ""
    assert AAC.meets(round(5988.6 * MM), OUTSIDE, minus=6 * MM, plus=6 * MM) == "full"
    assert AAC.meets(6023 * MM, OUTSIDE, minus=6 * MM, plus=6 * MM) == "full"
    assert AAC.meets(6024 * MM, OUTSIDE, minus=6 * MM, plus=6 * MM) == ""


def test_us_module_takes_less_only() -> None:
    """The US unit of 23-7/8 in with joints of 1/16 to 1/8 in: 96 in of a pier are 1/8 in too long, 95-7/8 fit, 95-5/8 are too short."""
    us = Module(unit=inches("23-7/8"), joint=Range(least=inches("1/16"), nominal=inches("1/8"), most=inches("1/8")))
    assert us.size(8, OUTSIDE) == inches("95-7/8")
    assert us.meets(inches("95-7/8"), OUTSIDE) == us.meets(inches("95-11/16"), OUTSIDE) == "full"
    assert us.meets(inches(96), OUTSIDE) == us.meets(inches("95-5/8"), OUTSIDE) == ""
    assert us.meets(inches(96), CLEAR) == "full", "an opening has a joint more on both sides"


def test_nothing_is_below_the_first() -> None:
    assert AAC.near(400 * MM, OUTSIDE) == (None, 599 * MM, 299 * MM)
    assert AAC.near(100 * MM, PROJECTION) == (None, 600 * MM, 300 * MM)
    assert AAC.meets(100 * MM, PROJECTION) == ""
    assert AAC.meets(0, OUTSIDE) == ""


def test_free_wall_on_and_off_module(tmp_path: Path) -> None:
    """6000 is ten units within the fit; 5850 is not, and each of its courses has a cut."""
    assert one("run", sized(tmp_path, wall("A", (0, 0), (6000, 0)))).met == "full"
    off = one("run", sized(tmp_path, wall("A", (0, 0), (5850, 0))))
    assert (off.met, off.measured, off.below, off.above, off.half) == ("", 5850 * MM, 5399 * MM, 5999 * MM, 5699 * MM)
    assert off.courses == 12 and off.cuts >= 12
    assert one("run", sized(tmp_path, wall("A", (0, 0), (5699, 0)))).met == "half"


def ring(axis_x: int, axis_y: int) -> str:
    """Four walls with butt joints drawn in turn, 200 thick, axes as given."""
    x, y = axis_x, axis_y
    return (
        wall("S", (-100, 0), (x - 100, 0))
        + wall("E", (x, -100), (x, y - 100))
        + wall("N", (x + 100, y), (100, y))
        + wall("W", (0, y + 100), (0, 100))
    )


def test_ring_closes_on_axes_of_whole_pitches(tmp_path: Path) -> None:
    """A ring of L corners closes without cuts when axes are multiples of the pitch: each run passes at one end."""
    found = sized(tmp_path, ring(4800, 3600))
    runs = [s for s in found if s.what == "run"]
    assert [s.met for s in runs] == ["full"] * 4
    assert sorted(s.measured for s in runs) == [3600 * MM] * 2 + [4800 * MM] * 2
    assert all(s.cuts == 0 for s in runs)


def test_ring_off_module_is_told_with_its_axes(tmp_path: Path) -> None:
    runs = [s for s in sized(tmp_path, ring(4700, 3600)) if s.what == "run"]
    missed = [s for s in runs if not s.met]
    assert len(missed) == 2
    # passing at one end and butting at the other, the row is 4700 from face to face; its neighbours are whole pitches
    assert {(s.measured, s.below, s.above) for s in missed} == {(4700 * MM, 4200 * MM, 4800 * MM)}
    assert all(s.cuts > 0 for s in missed)


DOOR = "{name: D, at: 2400, width: 1000, sill: 0, height: 2000}"
MODULAR = "{name: D, at: 2399, width: 1201, sill: 0, height: 2000}"


def test_piers_and_opening(tmp_path: Path) -> None:
    """Ten units; a door of 1201 after four of them leaves piers of 2399, and nothing is cut beside it but half units."""
    good = sized(tmp_path, wall("A", (0, 0), (5999, 0), openings=MODULAR))
    assert [s.met for s in good if s.what == "pier"] == ["full", "full"]
    assert one("opening", good).met == "full"
    assert [s.measured for s in good if s.what == "pier"] == [2399 * MM, 2399 * MM]
    bad = sized(tmp_path, wall("A", (0, 0), (5999, 0), openings=DOOR))
    first, second = (s for s in bad if s.what == "pier")
    assert first.met == "full" and (second.met, second.measured) == ("", 2599 * MM)
    assert (second.below, second.above, second.half) == (2399 * MM, 2999 * MM, 2699 * MM)
    assert second.cuts > 0 and "D" in second.where and "free end" in second.where
    door = one("opening", bad)
    assert (door.met, door.below, door.above, door.half) == ("", 601 * MM, 1201 * MM, 901 * MM)


def test_a_pier_that_no_piece_is_short_enough_for_misses_the_module(tmp_path: Path) -> None:
    """50 mm beside a door: it is set aside without a cut, and is not on the module for that."""
    door = "{name: D, at: 50, width: 1001, sill: 0, height: 2010}"
    found = [s for s in sized(tmp_path, wall("A", (0, 0), (5000, 0), openings=door)) if s.what == "pier" and s.measured == 50 * MM]
    assert [(s.met, s.below, s.cuts) for s in found] == [("", None, 0)]


def test_levels(tmp_path: Path) -> None:
    """Bed 10, courses of 199 and 1: bearing lines at 10 + 200 k, tops at 209 + 200 k; the fit takes 0 to 12.7 mm up."""
    hole = "{{name: N, at: 2399, width: 1201, sill: {sill}, height: {height}}}"
    good = sized(tmp_path, wall("A", (0, 0), (5999, 0), openings=hole.format(sill=1000, height=1000)))
    assert [one(what, good).met for what in ("sill", "head", "top")] == ["full"] * 3
    bad = sized(tmp_path, wall("A", (0, 0), (5999, 0), height=2500, openings=hole.format(sill=900, height=1200)))
    sill, head, top = (one(what, bad) for what in ("sill", "head", "top"))
    assert (sill.met, sill.measured, sill.below, sill.above) == ("", 900 * MM, 809 * MM, 1009 * MM)
    assert (head.met, head.measured, head.below, head.above) == ("", 2100 * MM, 2010 * MM, 2210 * MM)
    assert (top.met, top.measured, top.below, top.above) == ("", 2500 * MM, 2409 * MM, 2609 * MM)
    assert sill.cuts > 0 and head.cuts > 0 and top.cuts > 0
    assert sill.half is None


def test_a_head_off_course_costs_the_rips_along_its_whole_lintel(tmp_path: Path) -> None:
    """A head at 2100: beside the jambs too, under the bearings and over the ends of the lintel, pieces are ripped.  Those of the other
    runs, which have the same opening in the same place, are theirs."""
    hole = "{name: N, at: 2399, width: 1201, sill: 0, height: 2100}"
    plan = planned(tmp_path, "".join(wall(name, (0, y), (5999, y), openings=hole) for name, y in (("A", 0), ("B", 4000))))
    p = plan.work.pieces
    found = [s for s in sizes(plan.work, plan.network, plan.name_of()) if s.what == "head"]
    assert len(found) == 2
    for size, bridge in zip(found, plan.work.bridges, strict=True):
        assert size.place.run == bridge.run
        rows = [k for k in range(len(p)) if p.runs[p.run[k]] == bridge.run and p.cut[k] & 2]
        [lintel] = bridge.lintel

        def ripped(lo: int, hi: int, rows: list[int] = rows) -> int:
            return sum(p.start[k] < hi and p.end[k] > lo and 1900 * MM < (p.bottom[k] + p.top[k]) // 2 < 2500 * MM for k in rows)

        assert size.cuts == ripped(int(p.start[lintel]), int(p.end[lintel])) > ripped(bridge.start, bridge.end) > 0


def test_job_levels_meet_the_module(tmp_path: Path) -> None:
    """A head that the job lays on a bearing line misses nothing any more."""
    hole = "{name: N, at: 2399, width: 1201, sill: 1000, height: 1100}"
    walls = wall("A", (0, 0), (5999, 0), openings=hole)
    plan = planned(tmp_path, walls)
    key = plan.network.runs[0].openings[0].key
    assert one("head", sizes(plan.work, plan.network, plan.name_of())).met == ""
    assert one("head", sized(tmp_path, walls, heads={key: "2010 mm"})).met == "full"


def test_slopes_are_not_judged(tmp_path: Path) -> None:
    """A stretch that ends on a slope has no modular length; below the slope the gable is judged as any wall."""
    line = "name: G, storey: G, from: [0, 0], to: [5999, 0], thickness: 200, bearing: true"
    gable = f"  - {{{line}, top: [[0, 1200], [3000, 2900], [5999, 1200]]}}\n"
    found = sized(tmp_path, gable)
    assert [s.what for s in found] == ["run"]
    assert found[0].courses <= 6 and found[0].met == "full"


def test_findings_say_what_where_and_cost(tmp_path: Path) -> None:
    plan = planned(tmp_path, wall("Shed", (0, 0), (5850, 0)))
    found = modularity(plan.work, plan.network, plan.name_of(), plan.system)
    (told,) = [f for f in found if f.code == "module.run"]
    assert told.severity == "note" and told.place.run == "R1"
    for word in ("R1", "Shed", "5850 mm", "5399 mm or 5999 mm", "5699 mm with a half unit", "cut piece"):
        assert word in told.text, word
    assert told.measured == "5850 mm"
    inch = findings(sizes(plan.work, plan.network, plan.name_of()), "in")
    assert "19 ft 2-5/16 in" in inch[0].text and "mm" not in inch[0].text


def test_order_and_kinds(tmp_path: Path) -> None:
    found = sized(tmp_path, ring(4700, 3500))
    assert {s.what for s in found} <= set(WHATS)
    runs = [int(s.place.run[1:]) for s in found]
    assert runs == sorted(runs)


def test_sizes_that_cost_nothing_are_met() -> None:
    """Whatever the arithmetic says, a stretch without a cut piece is on the module; on the samples both agree with the plan."""
    for sample in ("seedling_shed.yaml", "landing_tool_store_mm.ifc", "field_station_workshop_in.ifc"):
        plan = pipeline.plan(Path(__file__).parents[2] / "sample_models" / sample, Job(), plugins.load())
        found = sizes(plan.work, plan.network, plan.name_of())
        assert all(s.cuts > 0 for s in found if not s.met and s.what in ("run", "pier", "opening"))
        assert all(s.measured > 0 and (s.below is None or s.below <= s.measured) for s in found)
        assert all(s.above is not None and (s.met or s.measured < s.above) for s in found)

"""Bond beams with their answers, through wall list, graph, rules, engine, order and audit.

The case of a T and the rip below the beam are derived from stated inputs: U unit with flanges and base of 50 (project input), wall
200, joint 1, bed 10.  The count of bond-beam units is a question of S. Peterson, Construction Estimating Using Excel, chapter 6
(read): a wall of 100 x 10 ft with bond beams 4 ft on centre has them at 4, 8 and 10 ft, 225 units.
"""

from __future__ import annotations

from collections import Counter
from pathlib import Path

import pytest

from tests.cases.test_worked_cases import pieces, planned
from wallquant import audit, pipeline, plugins
from wallquant.job import Job
from wallquant.rules import Item
from wallquant.units import MM
from wallquant.writers.folder import write
from wallquant.writers.plan import Plan

CMU = Path(__file__).parents[1] / "reference" / "catalogue_cmu_8x8x16.yaml"


def items(plan: Plan, kind: str) -> list[Item]:
    return [i for i in plan.work.items if isinstance(i, Item) and i.kind == kind]


def at_a_t(tmp_path: Path, height: int, **params: object) -> Plan:
    walls = [
        f"name: A, from: [0, 0], to: [6000, 0], height: {height}",
        f"name: B, from: [3000, 100], to: [3000, 3100], height: {height}",
    ]
    return planned(tmp_path, walls, rules={"bond_beams": {"top": True, **params}})


@pytest.mark.parametrize(("height", "through"), [(2750, False), (2550, True)])
def test_i_bond_beam_at_a_t(tmp_path: Path, height: int, through: bool) -> None:
    """132.61 L whichever run passes; where the through run does: one flange opened, three end stops, two L-bars of 24 + 24 in."""
    plan = at_a_t(tmp_path, height)
    corner = next(c.name for c in plan.work.corners.values() if c.kind == "T")
    course = items(plan, "trough fill")[0].course
    assert (plan.work.phases[corner][course - 1] == "R1") == through
    assert sum(i.quantity for i in items(plan, "trough fill")) * 1000 == pytest.approx(132.61, abs=0.005)
    assert [round(i.quantity * 1000, 2) for i in items(plan, "trough fill")] == [87.91, 44.7]
    opened = items(plan, "flange opening")
    at = 3000 if through else 0
    assert [(i.start / MM, i.end / MM, (i.top - i.bottom) / MM) for i in opened] == [(at - 50, at + 50, 149)]
    assert sum(i.quantity for i in opened) == (1 if through else 2)
    assert len(items(plan, "end stop")) == (3 if through else 4)
    bent = items(plan, "L bar")
    assert [i.quantity for i in bent] == [2] and "610 mm + 610 mm" in bent[0].text
    row = pieces(plan, "R1" if through else "R2", course)
    assert not [s for s, *_ in row if at - 75 < s < at + 75] and not [e for _, e, *_ in row if at - 75 < e < at + 75]


def test_i_rip_below_the_beam(tmp_path: Path) -> None:
    """Top 2750, bed 10: 12 full to 2409, a rip of 140, U 2551 to 2750, in both runs."""
    plan = at_a_t(tmp_path, 2750)
    p = plan.work.pieces
    for run in ("R1", "R2"):
        levels = {c: {(b, t) for _, _, b, t in pieces(plan, run, c)} for c in (12, 13, 14)}
        assert levels == {12: {(2210, 2409)}, 13: {(2410, 2550)}, 14: {(2551, 2750)}}
    assert {(p.units[u].code, c) for u, c in zip(p.unit.tolist(), p.course.tolist(), strict=True) if c > 12} == {
        ("std-600x200x200", 13),
        ("u-600x200x200", 14),
    }
    assert max(p.course.tolist()) == 14
    whole = (p.cut == 0) & (p.course == 14)
    assert set(p.solid[whole].round(9)) == {round(0.599 * (0.199 * 0.2 - 0.1 * 0.149), 9)}


@pytest.mark.parametrize("height", [2440, 2650, 2750])
def test_beams_are_laid_in_order_and_the_plan_holds(tmp_path: Path, height: int) -> None:
    """Two low courses share what is less than the least rip; steps come in order, and the audit proves all of it."""
    plan = at_a_t(tmp_path, height, levels="1.2 m", strap_spacing="1.2 m", dry_climate=True)
    write(plan, tmp_path / "out", run={}, writers={})
    assert not [f.text for f in audit.audit(tmp_path / "out") if f.severity == "error"]
    turns = {t.step.name: t for t in plan.schedule.turns}
    grout = turns["R1-C06-beam-grout"]
    assert turns["R1-C06-beam-bars"].end_h + 1 <= grout.start_h
    assert turns["R2-C06-beam-wetting"].end_h <= turns["R2-C06-beam-grout"].start_h
    above = [t for t in turns.values() if t.step.course == 7 and t.step.runs == ("R1",)]
    assert above and min(t.start_h for t in above) >= grout.end_h + 24
    whole = [c for c in plan.work.courses["R1"].levels if c.top - c.bottom == 199 * MM]
    assert plan.work.courses["R1"].levels[-1] in whole
    assert plan.work.courses["R1"].levels[-1].top == height * MM
    assert all(c.top - c.bottom >= 50 * MM for c in plan.work.courses["R1"].levels)


def test_a_lintel_and_an_opening_interrupt_a_beam(tmp_path: Path) -> None:
    """The bars end at what lies in their way; a finding names it."""
    holes = "{name: D, at: 1500, width: 900, sill: 0, height: 2210}, {name: W, at: 4200, width: 900, sill: 810, height: 1200}"
    walls = [f"name: A, from: [0, 0], to: [6000, 0], height: 2409, openings: [{holes}]"]
    plan = planned(tmp_path, walls, rules={"bond_beams": {"top": True, "levels": "1.2 m"}})
    lintel = next(b for b in plan.work.bridges if b.start == 1500 * MM).lintel[0]
    lo, hi = int(plan.work.pieces.start[lintel]), int(plan.work.pieces.end[lintel])
    assert all(i.end <= lo or i.start >= hi for kind in ("bar", "trough fill") for i in items(plan, kind) if i.course == 12)
    ends = {i.end for i in items(plan, "trough fill") if i.course == 12}
    assert lo in ends
    low = sorted((i.start / MM, i.end / MM) for i in items(plan, "trough fill") if i.course == 6)
    assert low == [(50, 1450), (2450, 4150), (5150, 5950)]
    told = Counter(f.code for f in plan.findings if f.code.startswith("bond_beams."))
    assert told == {"bond_beams.lintel": 1, "bond_beams.opening": 2, "bond_beams.capacity": 1}
    write(plan, tmp_path / "out", run={}, writers={})
    assert not [f.text for f in audit.audit(tmp_path / "out") if f.severity == "error"]


def test_a_bed_that_cannot_be_held_is_told(tmp_path: Path) -> None:
    """Two walls with tops 100 apart: the longer one's beam is laid, the other is told with both rules and the place."""
    walls = ["name: A, from: [0, 0], to: [6000, 0], height: 2750", "name: B, from: [3000, 100], to: [3000, 3100], height: 2850"]
    plan = planned(tmp_path, walls, rules={"bond_beams": {"top": True}})
    assert {(i.run, i.course) for i in items(plan, "trough fill")} == {("R1", 14)}
    told = {f.code: f for f in plan.findings}
    assert told["bond.bed"].place.run == "R2" and "2551 mm" in told["bond.bed"].text
    assert "R2 gets no bond beam at its top" in told["bond_beams.no-course"].text


def test_e6_bond_beam_units(tmp_path: Path) -> None:
    """100 x 10 ft of 8 x 8 x 16 block, bond beams 4 ft on centre: at 4, 8 and 10 ft, 3 x 75 = 225 units; 900 others are left."""
    file = tmp_path / "walls.yaml"
    wall = "{storey: G, name: W, thickness: 7-5/8 in, from: [0 in, 0 in], to: [1199-5/8 in, 0 in], height: 120 in}"
    file.write_text(f"unit: in\nname: E6\nstoreys:\n  - {{name: G, level: 0 in}}\nwalls:\n  - {wall}\n", encoding="utf-8")
    job = Job(catalogue=str(CMU), rules={"bond_beams": {"top": True, "spacing": "4 ft"}})
    plan = pipeline.plan(file, job, plugins.load())
    courses = plan.work.courses["R1"]
    tops = {courses.levels[i.course - 1].top for i in items(plan, "trough fill")}
    assert sorted(round(z / (12 * 25.4 * MM), 3) for z in tops) == [4, 8, 10]
    net = plan.materials.set_index("item")["net"]
    assert (net["u-16x8x8"], net["std-16x8x8"]) == (225, 900)


def test_props_stand_before_a_lintel_and_go_last(tmp_path: Path) -> None:
    """Two props under a lintel of 2750: set before it, taken away a week after the run stands; it is lifted by a hoist."""
    hole = "{name: D, at: 2000, width: 2000, sill: 0, height: 2010}"
    walls = [f"name: A, from: [0, 0], to: [6000, 0], height: 2409, openings: [{hole}]"]
    plan = planned(tmp_path, walls, rules={"lintel_bearing": {"prop_from": "1.8 m", "prop_spacing": "0.8 m", "hoist_over": "40"}})
    turns = {t.step.kind: t for t in plan.schedule.turns if t.step.kind in ("props", "lintel", "strike props")}
    assert turns["props"].end_h <= turns["lintel"].start_h
    last = max(t.end_h for t in plan.schedule.turns if t.step.pieces)
    assert turns["strike props"].start_h >= last + 168
    assert "by length only, not by capacity" in turns["lintel"].step.text
    row = plan.work.bridges[0].lintel[0]
    assert plan.work.pieces.mass[row] > 40
    net = plan.materials.set_index("item")["net"]
    assert (net["prop"], net["lintel lifted by hoist"]) == (2, 1)
    assert "prop removal" not in net
    hoist = next(f for f in plan.findings if f.code == "lintel.hoist")
    assert hoist.measured == f"{plan.work.pieces.mass[row]:.1f} kg"
    write(plan, tmp_path / "out", run={}, writers={})
    assert not [f.text for f in audit.audit(tmp_path / "out") if f.severity == "error"]

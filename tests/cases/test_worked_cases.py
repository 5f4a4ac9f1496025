"""Worked cases with their answers, from stated inputs (derived), through wall list, graph, rules and engine, to the millimetre.

Metric unit 599 x 199, joint 1, bed 10.  Stations of the run count from the corner's node; the cases speak from the outside face of
the corner, half a thickness before it.
"""

from __future__ import annotations

from collections import Counter
from itertools import pairwise
from pathlib import Path

import pytest

from wallquant import pipeline, plugins
from wallquant.job import Job
from wallquant.rules import Item
from wallquant.units import MM
from wallquant.writers.plan import Plan


def planned(tmp_path: Path, walls: list[str], **job: object) -> Plan:
    file = tmp_path / "walls.yaml"
    listed = "".join(f"  - {{storey: G, {'' if 'thickness' in w else 'thickness: 200, '}{w}}}\n" for w in walls)
    file.write_text(f"unit: mm\nname: Case\nstoreys:\n  - {{name: G, level: 0}}\nwalls:\n{listed}", encoding="utf-8")
    return pipeline.plan(file, Job(catalogue="aac-metric", **job), plugins.load())  # type: ignore[arg-type]


def pieces(plan: Plan, run: str, course: int) -> list[tuple[float, float, float, float]]:
    """Return (start, end, bottom, top) of the pieces of a course, millimetres, from the run's station 0."""
    p = plan.work.pieces
    row = (p.run == p.runs.index(run)) & (p.course == course)
    columns = (p.start[row].tolist(), p.end[row].tolist(), p.bottom[row].tolist(), p.top[row].tolist())
    return [(a / MM, b / MM, c / MM, d / MM) for a, b, c, d in zip(*columns, strict=True)]


def starts(plan: Plan, run: str, course: int, shift: float = 0) -> list[float]:
    return [a + shift for a, *_ in pieces(plan, run, course)]


def ring(length: int, width: int) -> list[str]:
    """Return the walls of a ring of outside dimensions, 200 thick and 12 courses high, drawn from axis to axis."""
    x, y = length - 100, width - 100
    ends = [((100, 100), (x, 100)), ((x, 100), (x, y)), ((x, y), (100, y)), ((100, y), (100, 100))]
    return [f"name: W{n}, from: [{a[0]}, {a[1]}], to: [{b[0]}, {b[1]}], height: 2409" for n, (a, b) in enumerate(ends)]


def test_a_corner(tmp_path: Path) -> None:
    """A passes in one course and butts in the next: 0, 600, 1200 and 201, 801 from the outside face, no cut, laps 200 and 398."""
    plan = planned(tmp_path, ring(6200, 4400))
    run = plan.work.runs["R1"]
    at_first = plan.work.phases[run.first.corner]
    for course in (1, 2, 3, 4):
        passing = at_first[course - 1] == "R1"
        assert starts(plan, "R1", course, 100)[:3] == ([0, 600, 1200] if passing else [201, 801, 1401])
    assert at_first[0] == at_first[2] != at_first[1] == at_first[3]
    assert plan.bond.cuts == 0


def test_b_ring_without_cuts(tmp_path: Path) -> None:
    """Outside 6200 x 4400: 10 + 10 + 7 + 7 whole units a course, 408 in 12 courses."""
    plan = planned(tmp_path, ring(6200, 4400))
    by_course = Counter(plan.work.pieces.course.tolist())
    assert set(by_course.values()) == {34}
    assert (len(plan.work.pieces), plan.bond.cuts, plan.bond.bound) == (408, 0, 0)


def test_b_ring_with_cuts(tmp_path: Path) -> None:
    """Outside 5999 x 4199: the symmetric phase, 384 whole units and 24 cuts of 197 from 8 units."""
    plan = planned(tmp_path, ring(5999, 4199))
    p = plan.work.pieces
    assert int((p.cut == 0).sum()) == 384
    assert Counter(((p.end - p.start)[p.cut != 0] / MM).tolist()) == {197: 24}
    assert plan.cutting.units == 8


@pytest.mark.parametrize(("clear", "whole", "cut"), [(1819, 2, 2), (5425, 8, 2)])
def test_c_clear_length_between_jambs(tmp_path: Path, clear: int, whole: int, cut: int) -> None:
    """Between jambs: 1819 is two units and two cuts that sum to 618, never three and a sliver; 5425 cannot be stretched."""
    a, b = 500, 500 + 900 + clear
    holes = f"{{name: D1, at: {a}, width: 900, sill: 0, height: 2010}}, {{name: D2, at: {b}, width: 900, sill: 0, height: 2010}}"
    wall = f"name: W, from: [0, 0], to: [{b + 1400}, 0], height: 2409, openings: [{holes}]"
    plan = planned(tmp_path, [wall], rules_off=("running_bond", "lintel_bearing", "closures"))
    found = [e - s for s, e, *_ in pieces(plan, "R1", 1) if a + 900 <= s and e <= b]
    assert sum(v == 599 for v in found) == whole
    assert len(found) == whole + cut
    assert min(found) >= 99


def test_c_stretched_joints(tmp_path: Path) -> None:
    """Clear 5402 between jambs: nine units, eight joints of 1.375."""
    holes = "{name: D1, at: 500, width: 900, sill: 0, height: 2010}, {name: D2, at: 6802, width: 900, sill: 0, height: 2010}"
    wall = f"name: W, from: [0, 0], to: [8202, 0], height: 2409, openings: [{holes}]"
    plan = planned(tmp_path, [wall], rules_off=("running_bond", "lintel_bearing", "closures"))
    row = [(s, e) for s, e, *_ in pieces(plan, "R1", 1) if s >= 1400 and e <= 6802]
    assert [e - s for s, e in row] == [599] * 9
    assert {round(b[0] - a[1], 6) for a, b in pairwise(row)} == {1.375}


def test_d_tied_junction(tmp_path: Path) -> None:
    """A stem that is not load-bearing is tied: a tie in every second bed, 5 in 12 courses."""
    walls = [
        "name: A, from: [0, 0], to: [6000, 0], height: 2409, bearing: true",
        "name: B, from: [3000, 100], to: [3000, 3000], height: 2409, bearing: false",
    ]
    plan = planned(tmp_path, walls)
    ties = [i for i in plan.work.items if isinstance(i, Item) and i.kind == "tie"]
    assert sorted(i.course for i in ties) == [2, 4, 6, 8, 10]


def test_d_bonded_junction(tmp_path: Path) -> None:
    """Where the stem passes, the other run has its joints at 101 to 100 before, and 100 to 101 after the axis of the stem."""
    walls = [
        "name: A, from: [0, 0], to: [6000, 0], height: 2409, bearing: true",
        "name: B, from: [3000, 100], to: [3000, 3000], height: 2409, bearing: true",
    ]
    plan = planned(tmp_path, walls)
    corner = next(c for c in plan.work.corners.values() if c.kind == "T")
    station = next(j.station for j in plan.work.runs["R1"].junctions if j.corner == corner.name) / MM
    for course, passing in enumerate(plan.work.phases[corner.name], start=1):
        if passing == "R1":
            joints = [s - 0.5 for s in starts(plan, "R1", course)[1:]]
            assert all(abs(abs(x - station) - 100.5) >= 80.6 - 1e-6 for x in joints)  # centres are read in floats
        else:
            inside = [(s, e) for s, e, *_ in pieces(plan, "R1", course) if s < station + 100 and e > station - 100]
            assert not inside
            ends = [e for _, e, *_ in pieces(plan, "R1", course)]
            assert station - 101 in ends
            assert station + 101 in starts(plan, "R1", course)


@pytest.mark.parametrize(("from_face", "lintel", "bearings"), [(300, (0, 1500), (300, 300)), (500, (201, 1701), (299, 301))])
def test_e_door_beside_a_corner(tmp_path: Path, from_face: int, lintel: tuple[int, int], bearings: tuple[int, int]) -> None:
    """Door 900 wide, bearing 203.2: 300 from the outside face the lintel lies 0 to 1500 and this run passes twice; 500 is clean."""
    door = f"{{name: D, at: {from_face}, width: 900, sill: 0, height: 2010}}"
    walls = [
        f"name: A, from: [0, 100], to: [6200, 100], height: 2409, openings: [{door}]",
        "name: B, from: [100, 200], to: [100, 4400], height: 2409",
    ]
    plan = planned(tmp_path, walls)
    bridge = plan.work.bridges[0]
    row = bridge.lintel[0]
    p = plan.work.pieces
    got = (int(p.start[row]) / MM + 100, int(p.end[row]) / MM + 100)
    assert bridge.bearing_least == 203.2 * MM
    if from_face == 300:
        assert got == lintel
        assert (bridge.bearing_start, bridge.bearing_end) == (bearings[0] * MM, bearings[1] * MM)
        corner = plan.work.runs[bridge.run].first.corner
        assert plan.work.phases[corner][9:11] == (bridge.run, bridge.run)
        assert any("105 mm" in f.text for f in plan.findings)
        assert sum(isinstance(i, Item) and i.kind == "tie" and i.course == 10 for i in plan.work.items) == 1
    else:
        assert min(bridge.bearing_start or 0, bridge.bearing_end or 0) >= 203.2 * MM
        assert got[0] >= 201
        assert not any("105 mm" in f.text for f in plan.findings)


def test_j_raked_gable(tmp_path: Path) -> None:
    """Base 6000 under 30 degrees: 17 raked pieces where the bed is left out; none has a mean length under the least piece."""
    wall = "name: G, from: [0, 0], to: [6000, 0], top: [[0, 10], [3000, 1742.051], [6000, 10]]"
    plan = planned(tmp_path, [wall])
    p = plan.work.pieces
    raked = (p.cut & 4) != 0
    assert int(raked.sum()) == 17
    for k in [i for i, on in enumerate(raked.tolist()) if on]:
        height = (int(p.top[k]) - int(p.bottom[k])) / MM
        assert p.volume[k] / (height * 200) * 1e9 >= 99


def test_k_head_off_course(tmp_path: Path) -> None:
    """Head 2100: bearing rips of 89, lintel 2100 to 2299, rip of 109 over it; the finding names 2010 (-90) and 2210 (+110)."""
    wall = "name: W, from: [0, 0], to: [6000, 0], height: 2409, openings: [{name: D, at: 2400, width: 900, sill: 0, height: 2100}]"
    plan = planned(tmp_path, [wall])
    row = plan.work.bridges[0].lintel[0]
    p = plan.work.pieces
    assert (int(p.bottom[row]) / MM, int(p.top[row]) / MM) == (2100, 2299)
    heights = {(b, t) for c in (11, 12) for _, _, b, t in pieces(plan, "R1", c)}
    assert {(2010, 2099), (2300, 2409)} <= heights
    assert any("2010" in f.text and "2210" in f.text for f in plan.findings if f.code == "lintel.head-off-course")

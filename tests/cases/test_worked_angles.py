"""Worked case G: corners that are not square, laid, cut and audited by the real stages.

Arithmetic from stated inputs: units of 599 x 199 x 200 mm on 1 mm joints, a saw that takes 3 mm.  Stations count from the node.
"""

from __future__ import annotations

from collections import defaultdict
from itertools import pairwise
from math import cos, radians, tan
from pathlib import Path

import pytest

from tests.cases.test_worked_cases import planned
from tests.unit.laid_house import checked, lay, wall
from wallquant.audit import audit
from wallquant.units import MM
from wallquant.writers.folder import write
from wallquant.writers.plan import Plan

TURN = radians(45)
LEAN = 100 * tan(TURN / 2)
"""Half of outer less inner face: 41.42."""
FRONT = 1800 - 2 * LEAN
"""Centre line of a front of 1800 outside between two corners of 45 degrees."""
HALF = 0.5 / cos(TURN / 2)
"""Half of the joint in the mitre plane, along the centre line."""


def bay(height: int = 2410) -> list[str]:
    """A front of 1800 outside with a wing at either end, each turned back by 45 degrees."""
    x, y = 2400 * cos(TURN), 2400 * cos(TURN)
    ends = [((-x, y), (0, 0)), ((0, 0), (FRONT, 0)), ((FRONT, 0), (FRONT + x, y))]
    return [
        f"name: {name}, from: [{a:.6f}, {b:.6f}], to: [{c:.6f}, {d:.6f}], height: {height}"
        for name, ((a, b), (c, d)) in zip("ABC", ends, strict=True)
    ]


@pytest.fixture(scope="module")
def plan(tmp_path_factory: pytest.TempPathFactory) -> Plan:
    return planned(tmp_path_factory.mktemp("bay"), bay())


def front(plan: Plan) -> str:
    return next(r.name for r in plan.work.runs.values() if r.parts[0].wall == "B")


def test_faces_and_centre_line(plan: Plan) -> None:
    """Outer less inner face 82.84; front 1800 outside: centre line 1717.16."""
    assert pytest.approx(2 * LEAN, abs=0.005) == 82.84
    run = plan.work.runs[front(plan)]
    assert run.length / MM == pytest.approx(1717.16, abs=0.005)
    p = plan.work.pieces
    rows = [k for k in range(len(p)) if p.runs[int(p.run[k])] == run.name and p.course[k] == 1]
    # over all from outer corner to outer corner, less half of the joint in either plane
    assert (max(p.end[k] for k in rows) - min(p.start[k] for k in rows)) / MM == pytest.approx(1800 - 2 * HALF, abs=0.01)


def test_legs_of_one_unit_swapped_each_course(plan: Plan) -> None:
    """With 3 mm kerf one unit gives 595.75 of centre line: legs 397.75 and 198, swapped each course."""
    assert 599 - 3 / cos(TURN / 2) == pytest.approx(595.75, abs=0.005)
    p, runs = plan.work.pieces, plan.work.runs
    stock = plan.cutting.stock_of(p)
    legs: dict[tuple[str, int], dict[str, tuple[float, int]]] = defaultdict(dict)
    for k in sorted(p.plan):
        run = runs[p.runs[int(p.run[k])]]
        mean = (p.end[k] - p.start[k]) / MM - LEAN
        near = min((run.first, run.last), key=lambda j: min(abs(j.station - p.start[k]), abs(j.station - p.end[k])))
        legs[near.corner, int(p.course[k])][run.name] = (mean, int(stock[k]))
    units: dict[int, list[bool]] = defaultdict(list)
    angled = [c for c in plan.work.corners.values() if c.kind == "angled"]
    assert len(angled) == 2 and len(legs) == 2 * 12
    for corner in angled:
        for course in range(1, 13):
            both = legs[corner.name, course]
            longer = plan.work.phases[corner.name][course - 1]
            assert set(both) == set(corner.runs)
            for name, (mean, unit) in both.items():
                assert mean == pytest.approx(397.75 if name == longer else 198, abs=0.005)
                units[unit].append(name == longer)
        phase = plan.work.phases[corner.name]
        assert all(a != b for a, b in pairwise(phase))
    assert len(units) == 2 * 12 and all(sorted(of) == [False, True] for of in units.values())  # one cut of a unit makes both legs


def test_plane_is_the_same_in_every_course_and_named(plan: Plan) -> None:
    """Offset 0, named, and a finding for the engineer: bars or ties."""
    (told,) = [f for f in plan.findings if f.code == "bond.mitre"]
    for corner in (c for c in plan.work.corners.values() if c.kind == "angled"):
        assert corner.name in told.text
    assert "22.5 degrees" in told.text and "offset 0" in told.text and "engineer" in told.text and "bars or ties" in told.text
    p = plan.work.pieces
    ends = {round(float(p.start[k]) / MM, 3) for k in p.plan if p.runs[int(p.run[k])] == front(plan) and p.start[k] < 0}
    assert ends == {round(HALF - LEAN, 3)}


def test_bay_is_sound(plan: Plan, tmp_path: Path) -> None:
    write(plan, tmp_path / "out", run={}, writers={})
    assert audit(tmp_path / "out") == ()


def test_oblique_stem_and_two_thicknesses() -> None:
    """A stem at 60 degrees is cut along the face that it meets, 100 / tan 60 beyond its axis on either side; nothing is left open."""
    house = checked(lay([wall("A", (0, 0), (4000, 0)), wall("S", (2000, 0), (3000, 1000 * tan(radians(60))))]))
    p = house.work.pieces
    assert len(p.plan) == 12
    lean = 100 / tan(radians(60))
    for ring in p.plan.values():
        stations = sorted({s for s, _ in ring})
        assert (stations[1] - stations[0]) / MM == pytest.approx(2 * lean, abs=0.01)
        assert (stations[0] + stations[1]) / 2 / MM == pytest.approx(101 / (3**0.5 / 2), abs=0.01)
    checked(lay([wall("A", (0, 0), (3000, 0)), wall("B", (3000, 0), (5000, 2000), thickness=100)]))

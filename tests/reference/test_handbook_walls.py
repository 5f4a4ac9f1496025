"""Handbook examples through the whole pipeline: what a plan counts is what the handbooks count.

Sources, each beside its check.  Dimensions are nominal, in inches and feet as printed; the test catalogue is the concrete block
8 x 8 x 16 in on 3/8 in joints that the examples use.
"""

from __future__ import annotations

import itertools
from collections import Counter
from pathlib import Path

import numpy as np
import pytest

from wallquant import pipeline, plugins
from wallquant.cutting import cut
from wallquant.job import Job
from wallquant.units import MM, inches
from wallquant.writers.plan import Plan

CMU = str(Path(__file__).parent / "catalogue_cmu_8x8x16.yaml")


def planned(tmp_path: Path, walls: list[tuple[float, float, float, float]], thickness: str, height: str, **job: object) -> Plan:
    """Plan walls given by their centre lines, inches."""
    listed = "".join(
        f"  - {{name: W{n}, storey: G, from: [{a}, {b}], to: [{c}, {d}], thickness: {thickness}, height: {height}}}\n"
        for n, (a, b, c, d) in enumerate(walls, start=1)
    )
    file = tmp_path / "walls.yaml"
    file.write_text(f"unit: in\nname: Handbook\nstoreys:\n  - {{name: G, level: 0}}\nwalls:\n{listed}", encoding="utf-8")
    return pipeline.plan(file, Job(**job), plugins.load())  # type: ignore[arg-type]


def rectangle(length: float, width: float, thickness: float) -> list[tuple[float, float, float, float]]:
    """Return the centre lines of a closed rectangle of outside dimensions, each wall drawn from axis to axis."""
    t, x, y = thickness / 2, length - thickness / 2, width - thickness / 2
    return [(t, t, x, t), (x, t, x, y), (x, y, t, y), (t, y, t, t)]


def by_course(plan: Plan) -> dict[int, list[int]]:
    """Return for each course the number of pieces of each run."""
    p = plan.work.pieces
    out: dict[int, Counter[int]] = {}
    for run, course in zip(p.run.tolist(), p.course.tolist(), strict=True):
        out.setdefault(course, Counter())[run] += 1
    return {course: sorted(found.values(), reverse=True) for course, found in out.items()}


def bought(plan: Plan) -> int:
    """Return all units bought: whole pieces and units that are cut."""
    return len(plan.work.pieces) - sum(c.pieces for c in plan.cutting.by_unit) + plan.cutting.units


def test_straight_wall_of_100_ft_by_10_ft(tmp_path: Path) -> None:
    """75 units a course, 15 courses, 1,125 units: NAVEDTRA 14045 (1997) ch. 4; Peterson, Construction Estimating Using Excel, ch. 6."""
    plan = planned(tmp_path, [(0, 0, 1200, 0)], "8", "120", catalogue=CMU)
    assert set(by_course(plan)) == set(range(1, 16))
    for course in range(1, 16):
        row = plan.work.pieces.course == course
        whole, cut = int((plan.work.pieces.cut[row] == 0).sum()), int((plan.work.pieces.cut[row] != 0).sum())
        assert (whole, cut) in ((75, 0), (74, 2))  # in running bond every other course ends in two halves of one unit
    assert bought(plan) == 1125


def test_closed_rectangle_of_20_by_8_by_8_ft(tmp_path: Path) -> None:
    """480 units net, where the perimeter without the corners' correction gives 504: NAVEDTRA 14045 (1997) ch. 4."""
    plan = planned(tmp_path, rectangle(240, 96, 8), "8", "96", catalogue=CMU)
    assert bought(plan) == 480
    assert plan.bond.cuts == plan.bond.bound == 0


def test_basement_of_22_by_32_ft(tmp_path: Path) -> None:
    """79 units a course net, 790 in ten courses: NAVEDTRA 14043 ch. 8."""
    plan = planned(tmp_path, rectangle(384, 264, 8), "8", "80", catalogue=CMU)
    assert len(by_course(plan)) == 10
    assert bought(plan) == 790


def test_course_pattern_of_20_by_16_by_8_ft(tmp_path: Path) -> None:
    """15, 15, 11, 11 and 14, 14, 12, 12 units in turn, 52 a course, 624: worked answer at allexperts.com, Advanced Math, 2014/4."""
    plan = planned(tmp_path, rectangle(240, 192, 8), "8", "96", catalogue=CMU)
    patterns = [found for _, found in sorted(by_course(plan).items())]
    assert sorted({tuple(p) for p in patterns}) == [(14, 14, 12, 12), (15, 15, 11, 11)]
    assert all(one != two for one, two in itertools.pairwise(patterns))
    assert len(plan.work.pieces) == bought(plan) == 624
    assert plan.bond.cuts == 0


def test_metric_net_area(tmp_path: Path) -> None:
    """13.99 x 9.99 m outside, 36.5 cm thick, 3 m high: centre line 46.50 m, 139.50 m2: wiki.bubiza.de, quantities of walls."""
    t, x, y = 182.5 / 25.4, (13990 - 182.5) / 25.4, (9990 - 182.5) / 25.4
    walls = [(t, t, x, t), (x, t, x, y), (x, y, t, y), (t, y, t, t)]
    plan = planned(tmp_path, walls, "365 mm", "3000 mm", catalogue="aac-metric")
    centre_line = sum(run.length for run in plan.work.runs.values())
    assert centre_line / MM == pytest.approx(46_500, abs=0.02)
    assert centre_line / MM * 3000 / 1e6 == pytest.approx(139.50, abs=1e-3)
    laid = sum(a.ledger["laid"] - a.ledger["fit_height"] for a in plan.bond.accounts)
    assert laid / 0.365 == pytest.approx(139.50, abs=0.15)  # less the gaps that corners drawn axis to axis leave


@pytest.mark.parametrize(("thickness", "offset"), [(4, 4), (6, 6), (8, 8), (10, 10), (12, 12)])
def test_aac_corner_offsets(tmp_path: Path, thickness: int, offset: int) -> None:
    """Corner offsets min(t, 24 - t) pass a quarter of the unit from 6 in on: unit of IMI Technology Brief 1.1, rule of MSJC-08 via Taly.

    With the rule switched off nothing is cut at the corner, so the offset there is what the block gives; with it only the 4 in
    wall must be cut.
    """
    walls = rectangle(24 * 9 + thickness, 24 * 5 + thickness, thickness)
    free = planned(tmp_path, walls, str(thickness), "96", catalogue="aac-us", rules_off=("running_bond",))
    assert free.bond.cuts == 0
    asked = planned(tmp_path, walls, str(thickness), "96", catalogue="aac-us")
    assert (asked.bond.cuts == 0) == (offset >= 6)
    p = asked.work.pieces
    least = min(_least_offset(p.start[p.run == r], p.end[p.run == r], p.course[p.run == r]) for r in range(len(p.runs)))
    assert least >= inches("5-31/32")


def _least_offset(start: np.ndarray, end: np.ndarray, course: np.ndarray) -> int:
    """Return the least distance of joint centres of neighbouring courses, butts at corners left out."""
    joints = {}
    for c in range(1, int(course.max()) + 1):
        row = np.sort(start[course == c])[1:]
        joints[c] = row - inches("1/16")
    del end
    return min(int(np.abs(a[:, None] - b[None, :]).min()) for a, b in ((joints[c], joints[c + 1]) for c in list(joints)[:-1]))


def test_aac_coursing(tmp_path: Path) -> None:
    """12 courses of 7-7/8 in units are 96 in on 1/8 in joints: IMI Technology Brief 1.1; the top joint is not laid."""
    plan = planned(tmp_path, [(0, 0, 240, 0)], "8", "96", catalogue="aac-us")
    levels = plan.work.courses["R1"].levels
    assert len(levels) == 12
    assert levels[-1].top - levels[0].bottom == inches(96) - inches("1/8")
    assert levels[1].bottom - levels[0].bottom == inches(8)


def test_aac_box_with_cuts(tmp_path: Path) -> None:
    """20 x 8 x 8 ft, 8 in thick: 312 full, 24 closers of 8 in from 8 units: 320; with a kerf of 3/16 in from 12: 324 (derived)."""
    plan = planned(tmp_path, rectangle(240, 96, 8), "8", "96", catalogue="aac-us", rules_off=("running_bond", "closures"))
    p = plan.work.pieces
    whole = int((p.cut == 0).sum())
    assert (whole, int((p.cut != 0).sum())) == (312, 24)
    assert {int(v) for v in (p.end - p.start)[p.cut != 0]} == {inches("7-7/8")}
    assert bought(plan) == 320  # three closers and two kerfs of 1/8 in are one unit of 23-7/8 in
    coarse = cut(p, plan.catalogue.model_copy(update={"kerf": inches("3/16")}))
    assert whole + coarse.units == 324

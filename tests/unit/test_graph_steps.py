"""Battered walls in steps: inside the drawn body, on each other, on course lines, with the volume that is left.

Volumes are arithmetic from the figures of each test.  That a battered wall is set back course by course is common practice, no source.
"""

from __future__ import annotations

import json
import re
from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
import shapely

from tests.unit.command_line import outside
from tests.unit.ifc_maker import Maker
from tests.unit.laid_house import wall as straight
from tests.unit.test_import_ifc_bodies import BOX, axis, body
from wallquant import audit, graph, pipeline, plugins
from wallquant import catalogue as catalogues
from wallquant.building import Building, Wall
from wallquant.job import Job
from wallquant.units import MM, Nm

BOOK = catalogues.load("aac-metric")
BED, JOINT, HEIGHT = BOOK.levelling_bed.nominal, BOOK.bed.nominal, BOOK.face.height


def battered(foot: Sequence[Nm], *, height: int = 2500, openings: Sequence[tuple[int, int, int, int]] = (), in_body: bool = False) -> Wall:
    """A wall of 6 m, 300 thick at its top, that reaches so far beyond its right and left face at its foot (mm)."""
    one = straight("A", (0, 0), (6000, 0), height=height, openings=openings)
    right, left = (v * MM for v in foot)
    extra = 6 * height / 1000 * sum(foot) / 2000
    return replace(
        one, thickness=300 * MM, drawn_m3=6 * height / 1000 * 0.3 + extra, set_aside_m3=extra,
        batter=((0, right, left), (height * MM, 0, 0)), openings=tuple(replace(o, in_body=in_body) for o in one.openings),
    )  # fmt: skip


def steps(wall: Wall, *, gap: int | None = None, any_thickness: bool = True) -> list[Wall]:
    building, findings = graph.stepped(Building(walls=(wall,)), BOOK, any_thickness=any_thickness, gap=None if gap is None else gap * MM)
    assert [f.code for f in findings] == ["graph.batter"]
    return sorted(building.walls, key=lambda w: w.bottom)


def reach(wall: Wall, level: Nm) -> tuple[float, float]:
    """Offsets of the drawn right and left face at a level, mm."""
    (_, right, left), (top, _, _) = wall.batter
    part = 1 - level / top
    return -150 - right / MM * part, 150 + left / MM * part


def faces(step: Wall) -> tuple[float, float]:
    middle, half = step.start[1] / MM, step.thickness / MM / 2
    return middle - half, middle + half


@pytest.mark.parametrize("foot", [(200, 0), (0, 200), (120, 180)])
@pytest.mark.parametrize("gap", [20, 75, 150])
def test_steps_lie_in_the_body_and_on_each_other(foot: tuple[int, int], gap: int) -> None:
    wall = battered(foot)
    made = steps(wall, gap=gap)
    assert made[0].bottom == 0 and max(z for _, z in made[-1].top) == 2500 * MM
    for one in made:
        right, left = reach(wall, one.top[0][1])
        assert faces(one)[0] >= right - 1e-3 and faces(one)[1] <= left + 1e-3
        out = [abs(a - b) for a, b in zip(faces(one), reach(wall, one.bottom), strict=True)]
        courses = (one.top[0][1] - one.bottom - BED + JOINT) / (HEIGHT + JOINT)
        assert max(out) <= gap or courses == 2 or one is made[-1]
    for low, high in pairwise(made):
        assert low.top == ((0, high.bottom), (6000 * MM, high.bottom))
        assert ((high.bottom - low.bottom - BED + JOINT) / (HEIGHT + JOINT)) % 2 == 0
        assert faces(low)[0] <= faces(high)[0] and faces(high)[1] <= faces(low)[1]
    laid = sum(6 * (max(z for _, z in s.top) - s.bottom) / MM / 1000 * s.thickness / MM / 1000 for s in made)
    assert sum(s.drawn_m3 for s in made) == pytest.approx(wall.drawn_m3, rel=1e-12)
    assert sum(s.set_aside_m3 for s in made) == pytest.approx(wall.drawn_m3 - laid, rel=1e-9)
    assert {s.element for s in made} == {"A"}


def test_finer_steps_leave_less() -> None:
    """The least step is of two courses: 409 mm of 2500, by which a face that leans 200 moves 33 mm."""
    left = [sum(s.set_aside_m3 for s in steps(battered((200, 0)), gap=gap)) for gap in (20, 75, 150, 500)]
    assert left == sorted(left) and left[0] < left[-1]
    assert left[0] == pytest.approx(1.5 / (2500 / 409), rel=0.2)


def test_without_virtual_units_steps_are_of_the_catalogue() -> None:
    wide = replace(battered((600, 0)), thickness=200 * MM)
    made = steps(wide, any_thickness=False)
    assert len(made) > 1
    assert {s.thickness for s in made} <= set(BOOK.thicknesses.values())


def test_a_wall_without_a_fitting_unit_is_left_to_the_graph() -> None:
    wall = replace(battered((200, 0)), thickness=333 * MM)
    building, findings = graph.stepped(Building(walls=(wall,)), BOOK)
    assert (building.walls, findings) == ((wall,), ())


def test_a_low_wall_is_laid_as_thick_as_its_top_and_told() -> None:
    wall = battered((200, 0), height=500)
    building, (told,) = graph.stepped(Building(walls=(wall,)), BOOK, any_thickness=True)
    assert building.walls[0].thickness == 300 * MM
    assert building.walls[0].reasons and "0.300 m3" in told.text


def test_a_stepped_foot() -> None:
    """A plinth of 450 up to 1000: the step on it begins at or below its edge, the plinth above that course line is set aside."""
    wall = replace(battered((150, 0)), batter=((0, 150 * MM, 0), (1000 * MM, 150 * MM, 0), (1000 * MM, 0, 0), (2500 * MM, 0, 0)))
    low, high = steps(wall)
    assert (low.thickness, high.thickness) == (450 * MM, 300 * MM)
    assert low.top[0][1] == BED + 4 * HEIGHT + 3 * JOINT


def test_no_step_ends_over_an_opening_below_its_lintel() -> None:
    wall = battered((300, 0), openings=[(1000, 2200, 900, 1700), (3000, 4000, 0, 2010)], in_body=True)
    made = steps(wall)
    assert len(made) > 2
    for head in (1700, 2010):
        assert not any(head - 211 < s.bottom / MM < head + 400 for s in made[1:])
    for key in {o.key.split("~")[0] for o in wall.openings}:
        parts = [(o.sill, o.head) for s in made for o in s.openings if o.key.split("~")[0] == key]
        assert all(a[1] == b[0] for a, b in pairwise(parts))
        whole = next(o for o in wall.openings if o.key == key)
        assert (parts[0][0], parts[-1][1]) == (whole.sill, whole.head)
    keys = [o.key for s in made for o in s.openings]
    assert len(keys) == len(set(keys))
    # what the body lacks in its holes is no part of what is laid or set aside
    laid = sum((s.top[0][1] - s.bottom) / MM * s.thickness / MM * 6e-6 for s in made)
    assert sum(s.drawn_m3 - s.set_aside_m3 for s in made) == pytest.approx(laid, rel=1e-9)


def retaining(tmp_path: Path) -> Path:
    """Two walls of the model that meet: one battered from 700 to 300, and one upright across its end."""
    maker = Maker()
    points = [(x, y, z) for x in (0, 6000) for y, z in ((-550, 0), (-150, 2500), (150, 0), (150, 2500))]
    maker.wall(body(maker, "brep", points, [[f] for f in BOX]), axis=axis(maker, 6000))
    points = [(x, y, z) for x in (6000, 6300) for y in (-2000, 3000) for z in (0, 2500)]
    maker.wall(body(maker, "brep", [points[i] for i in (0, 1, 2, 3, 4, 5, 6, 7)], [[f] for f in BOX]))
    return maker.write(tmp_path)


def test_each_piece_of_a_step_stands_on_the_step_below(tmp_path: Path) -> None:
    planned = pipeline.plan(retaining(tmp_path), Job(any_thickness=True), plugins.load())
    work = planned.work
    ours = sorted((r for r in work.runs.values() if r.foot is not None), key=lambda r: r.bottom)
    assert len(ours) > 3
    of_run = np.array(work.pieces.runs)[work.pieces.run]

    def outline(rows: np.ndarray, run: str) -> list[shapely.Polygon]:
        one = work.runs[run]
        half = one.thickness // 2
        spans = zip(work.pieces.start[rows].tolist(), work.pieces.end[rows].tolist(), strict=True)
        return [shapely.Polygon([one.at(a, -half), one.at(b, -half), one.at(b, half), one.at(a, half)]) for a, b in spans]

    of_step = {row: n for n, step in enumerate(work.steps) for row in step.pieces}
    begins, ends = planned.schedule.start, planned.schedule.end
    for low, high in pairwise(ours):
        under = np.flatnonzero(of_run == low.name)
        under = under[work.pieces.top[under] == work.pieces.top[under].max()]
        over = np.flatnonzero(of_run == high.name)
        over = over[work.pieces.bottom[over] == work.pieces.bottom[over].min()]
        bodies = outline(under, low.name)
        whole = shapely.union_all(bodies)
        for row, shape in zip(over.tolist(), outline(over, high.name), strict=True):
            assert whole.intersection(shape).area > 0.98 * shape.area  # head joints are left
            below = [r for r, b in zip(under.tolist(), bodies, strict=True) if b.intersection(shape).area > 0]
            assert all(ends[of_step[r]] <= begins[of_step[row]] for r in below)


def test_a_battered_wall_is_planned_and_audited(tmp_path: Path) -> None:
    code, _, told = outside("plan", retaining(tmp_path), "--any-thickness", "-o", tmp_path / "out")
    assert code in (0, 1), told
    assert not [f for f in audit.audit(tmp_path / "out") if f.severity == "error"]


def test_heights_of_steps_count_from_the_foot_of_their_wall(tmp_path: Path) -> None:
    """2500 mm of wall: bracing is asked over 2438.4 mm (8 ft), a scaffold above 1.5 m, and with a day's height work waits in between."""
    model = retaining(tmp_path)
    code, _, told = outside("plan", model, "--any-thickness", "-o", tmp_path / "out", "--set", "stability.day_height=1000 mm")
    assert code in (0, 1), told
    runs = pd.read_csv(tmp_path / "out" / "runs.csv").set_index("run")
    upper = [name for name, row in runs.iterrows() if row.bottom_mm > 1000]
    assert upper
    said = {f["code"]: f["text"] for f in json.loads((tmp_path / "out" / "findings.json").read_text())["findings"]}
    top = max(upper, key=lambda name: runs.bottom_mm[name])
    assert re.search(rf"\b{top}\b", said["caution.bracing"])
    pieces = pd.read_csv(tmp_path / "out" / "pieces.csv", keep_default_na=False)
    steps = pd.read_csv(tmp_path / "out" / "steps.csv", keep_default_na=False).set_index("step")
    ours = pieces[pieces.run.isin([r for r in runs.index if runs.angle_deg[r] == 0])]
    low = steps.loc[ours[ours.top_mm < 990].step.unique()].end_h.max()
    high = steps.loc[ours[ours.top_mm > 1010].step.unique()].start_h.min()
    assert high >= low + 12  # at least the night that `rest` asks

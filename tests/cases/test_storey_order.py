"""Storeys are built one after another: nothing is begun on a floor before the walls under it are done and the floor is on.

Common practice, no source.  Houses are wall lists; every figure is arithmetic from those of the case.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from wallquant import pipeline, plugins
from wallquant.audit import audit
from wallquant.job import Job
from wallquant.writers.folder import write
from wallquant.writers.plan import Plan

FLOOR = "The floor over "


def line(storey: str, name: str, a: tuple[int, int], b: tuple[int, int], height: int = 2809) -> str:
    return f"  - {{storey: {storey}, name: {name}, from: [{a[0]}, {a[1]}], to: [{b[0]}, {b[1]}], thickness: 200, height: {height}}}\n"


def laid(folder: Path, storeys: dict[str, int], walls: str, **job: object) -> Plan:
    """Plan, write and audit a wall list."""
    levels = "".join(f"  - {{name: {name}, level: {level}}}\n" for name, level in storeys.items())
    file = folder / "walls.yaml"
    file.write_text(f"unit: mm\nname: Case\nstoreys:\n{levels}walls:\n{walls}", encoding="utf-8")
    plan = pipeline.plan(file, Job(catalogue="aac-metric", **job), plugins.load())  # type: ignore[arg-type]
    write(plan, folder / "out", run={}, writers={})
    assert audit(folder / "out") == ()
    return plan


def hours(plan: Plan) -> dict[str, tuple[float, float]]:
    """First start and last end of the work on each storey."""
    out: dict[str, tuple[float, float]] = {}
    for turn in plan.schedule.turns:
        for storey in {plan.work.runs[r].storey for r in turn.step.runs}:
            first, last = out.get(storey, (turn.start_h, turn.end_h))
            out[storey] = (min(first, turn.start_h), max(last, turn.end_h))
    return out


def tower(count: int) -> tuple[dict[str, int], str]:
    """Rings of four walls, 2809 high, on floors 3000 apart."""
    corners = ((0, 0), (4000, 0), (4000, 3000), (0, 3000))
    storeys = {f"S{n}": 3000 * n for n in range(count)}
    walls = [line(name, f"{name}{k}", corners[k], corners[(k + 1) % 4]) for name in storeys for k in range(4)]
    return storeys, "".join(walls)


def floors(plan: Plan) -> list[tuple[str, int]]:
    return [(t.step.text, t.step.seconds) for t in plan.schedule.turns if t.step.text.startswith(FLOOR)]


@pytest.mark.parametrize("masons", [1, 4])
def test_no_storey_is_begun_before_the_one_below_is_done(masons: int, tmp_path: Path) -> None:
    plan = laid(tmp_path, *tower(4), masons=masons)
    times = hours(plan)
    for low, high in (("S0", "S1"), ("S1", "S2"), ("S2", "S3")):
        assert times[low][1] <= times[high][0]
    assert [text.split(" is on")[0] for text, _ in floors(plan)] == ["The floor over S0", "The floor over S1", "The floor over S2"]
    (told,) = [f for f in plan.findings if f.code == "caution.floor"]
    assert told.times == 3 and "no time is counted" in told.text
    assert plan.schedule.seconds <= 1.04 * plan.schedule.bound, "the bound knows of the wait"


def test_a_floor_takes_the_time_that_the_job_says(tmp_path: Path) -> None:
    plan = laid(tmp_path, *tower(2), rules={"storey_order": {"floor": 96}})
    times = hours(plan)
    assert times["S1"][0] - times["S0"][1] >= 96
    assert [seconds for _, seconds in floors(plan)] == [96 * 3600]


def test_a_house_beside_waits_for_nothing(tmp_path: Path) -> None:
    """Two towers 50 m apart, two masons: the low one is not waited for."""
    storeys, walls = tower(2)
    walls += line("S0", "far", (50_000, 0), (53_000, 0))
    plan = laid(tmp_path, storeys, walls, masons=1)
    (text,) = [t.step.name for t in plan.schedule.turns if t.step.text.startswith(FLOOR)]
    far = {s.name for s in plan.work.steps if "far" in {p.wall for r in s.runs for p in plan.work.runs[r].parts}}
    first = {link.first for link in plan.schedule.graph.links() if link.then == text}
    assert far and first and not far & first


def test_a_parapet_of_the_same_storey_waits_for_no_floor(tmp_path: Path) -> None:
    """B stands on the middle of A across a bed of 10 mm: what carries it is laid first, and no floor is between."""
    walls = line("G", "A", (0, 0), (6000, 0), height=1209) + (
        "  - {storey: G, name: B, from: [1800, 0], to: [4200, 0], thickness: 200, height: 610, bottom: 1209}\n"
    )
    plan = laid(tmp_path, {"G": 0}, walls)
    assert floors(plan) == []
    assert not [f for f in plan.findings if f.code == "caution.floor"]


def test_storeys_of_one_name_with_a_gap_between_have_a_floor(tmp_path: Path) -> None:
    """All walls in one storey, the upper ring 191 mm over the lower one."""
    corners = ((0, 0), (4000, 0), (4000, 3000), (0, 3000))
    walls = "".join(line("G", f"L{k}", corners[k], corners[(k + 1) % 4]) for k in range(4))
    walls += "".join(
        line("G", f"U{k}", corners[k], corners[(k + 1) % 4]).replace("height: 2809", "height: 1209, bottom: 3000") for k in range(4)
    )
    plan = laid(tmp_path, {"G": 0}, walls)
    assert len(floors(plan)) == 1

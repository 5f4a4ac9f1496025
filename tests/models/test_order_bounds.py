"""How far the order of work is from its bound on walls: at most 4 % with no curing, at most 10 % with curing and walking.

That holds where each mason has two panels or more.  The samples are part of the project; the open models are looked for in
``shared/open_models`` beside it, and are skipped where they are not.  The bound itself is tested against the best of all orders of
little plans, and against the best known makespans of published projects.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from wallquant import ordering, pipeline, plugins
from wallquant.job import Job, load

SAMPLES = Path(__file__).resolve().parents[2] / "sample_models"
OPEN = ("O1_gable_house_metres.ifc", "O4_duplex_multilayer.ifc", "O14_no_storey_skewed.ifc")
"""Models of heavy units, of many parts, and of short panels."""


def found(name: str) -> Path:
    if (SAMPLES / name).is_file():
        return SAMPLES / name
    beside = (p / "shared" / "open_models" / name for p in Path(__file__).resolve().parents)
    model = next((m for m in beside if m.is_file()), None)
    if model is None:
        pytest.skip("the open models are not beside the project")
    return model


@pytest.mark.parametrize("curing", [False, True], ids=["no curing", "curing and walking"])
@pytest.mark.parametrize("name", ["field_station_workshop_in.ifc", "landing_tool_store_mm.ifc", *OPEN])
def test_makespan_over_its_bound(name: str, curing: bool) -> None:
    job = Job(any_thickness=True, rules={} if curing else {"corner_leads": {"hold_after_first": 0.0}})
    plan = pipeline.plan(found(name), job, plugins.load())
    graph, work = plan.schedule.graph, plan.work
    panels = len({s.panel for s in work.steps})
    asked = [m for m in (1, 2, 3, 4) if panels >= 2 * m]
    assert asked
    for masons in asked:
        made = ordering.schedule(
            graph,
            masons=masons,
            panels=ordering.ranks(work),
            first=ordering.starts(work, work.steps),
            resources={"hoist": job.hoists},
            walk=ordering.Walk(places=ordering.places(work)) if curing else None,
        )
        assert 100 * made.seconds <= (110 if curing else 104) * made.bound, f"{masons} masons"


BARS = {"vertical_bars": {"spacing": "1200 mm"}, "bond_beams": {"top": True}, "movement_joints": {"preset": "ncma"}}
"""The rules that need the engineer's values, with values that stand for them and are invented."""


@pytest.mark.parametrize("name", ["field_station_workshop_in.ifc", "landing_tool_store_mm.ifc", OPEN[0], OPEN[2]])
def test_makespan_with_inspections_and_grout(name: str) -> None:
    """With bars, beams and movement joints as well, walking and all that sets and is inspected."""
    jobs = {"field_station_workshop_in.ifc": "field_station_workshop", "landing_tool_store_mm.ifc": "landing_tool_store"}
    job = load(SAMPLES / f"{jobs[name]}.job.yaml") if name in jobs else Job(any_thickness=True, rules=BARS)
    plan = pipeline.plan(found(name), job, plugins.load())
    panels = len({s.panel for s in plan.work.steps})
    for masons in [m for m in (1, 2, 3, 4) if panels >= 2 * m]:
        made = ordering.schedule(
            plan.schedule.graph,
            masons=masons,
            panels=ordering.ranks(plan.work),
            first=ordering.starts(plan.work, plan.work.steps),
            resources={"hoist": job.hoists},
            weekday=job.first_weekday,
            walk=ordering.Walk(places=ordering.places(plan.work)),
        )
        assert 100 * made.seconds <= 110 * made.bound, f"{masons} masons"

"""A lintel is set when what it bears on has stood for a while: an hour by default (Concrete Centre: stable after about 60 min)."""

from __future__ import annotations

from pathlib import Path

import pytest

from wallquant import pipeline, plugins
from wallquant.job import Job
from wallquant.units import MM
from wallquant.writers.plan import Plan

SAMPLES = Path(__file__).resolve().parents[2] / "sample_models"


def planned(hours: float | None) -> Plan:
    rules = {} if hours is None else {"lintel_bearing": {"bearing_settles": hours}}
    return pipeline.plan(SAMPLES / "seedling_shed.yaml", Job(rules=rules), plugins.load())


def waits(plan: Plan) -> dict[str, float]:
    """Hours from the end of the last step that lays what a lintel lies on, in its run, to the start of its own."""
    p, turn = plan.work.pieces, {}
    for one in plan.schedule.turns:
        turn.update(dict.fromkeys(one.step.pieces, one))
    out = {}
    for row in range(len(p)):
        if p.units[int(p.unit[row])].kind != "lintel":
            continue
        under = [
            k
            for k in range(len(p))
            if p.run[k] == p.run[row] and 0 <= p.bottom[row] - p.top[k] <= 3 * MM and p.start[k] < p.end[row] and p.end[k] > p.start[row]
        ]
        assert under, p.names[row]
        out[p.names[row]] = turn[row].start_h - max(turn[k].end_h for k in under)
    return out


@pytest.mark.parametrize(("hours", "least"), [(None, 1.0), (4.0, 4.0)])
def test_a_lintel_waits_for_what_it_bears_on(hours: float | None, least: float) -> None:
    found = waits(planned(hours))
    assert len(found) == 5 and min(found.values()) >= least - 1e-6


def test_without_a_wait_lintels_are_set_at_once() -> None:
    plan = planned(0.0)
    assert min(waits(plan).values()) < 1.0
    assert not [k for k in plan.schedule.graph.links() if "settles" in k.reason]


def test_who_asks_for_the_wait_is_said() -> None:
    links = [k for k in planned(None).schedule.graph.links() if "settles before a lintel" in k.reason]
    assert links and all("lintel_bearing" in k.rule.split() and k.lag == 3600 for k in links)

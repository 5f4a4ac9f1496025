"""What steps need besides a mason: a second one, a hoist, a day of the week."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import pytest

from tests.unit import ordering_work as site
from wallquant import ordering
from wallquant.ordering.precedence import weekdays
from wallquant.rules import Precedence

HOUR = 3600


def plan(hours: dict[str, float], asked: Sequence[Precedence] = (), **more: Any) -> ordering.Schedule:
    return ordering.schedule(site.graph({k: round(v * HOUR) for k, v in hours.items()}, asked), **more)


def needs(resource: str, *steps: str) -> Precedence:
    return Precedence(first=(), then=steps, resource=resource, rule="test_rule")


def times(made: ordering.Schedule) -> dict[str, tuple[float, float, str]]:
    return {t.step.name: (t.start_h, t.end_h, t.crew) for t in made.turns}


def test_one_hoist_lifts_one_thing_at_a_time() -> None:
    asked = [needs("hoist", "a", "b", "c")]
    told = times(plan({"a": 1, "b": 1, "c": 1, "d": 1}, asked, masons=3, resources={"hoist": 1}))
    assert sorted(told[k][:2] for k in "abc") == [(0, 1), (1, 2), (2, 3)]
    assert told["d"][0] == 0  # who needs no hoist does not wait
    two = times(plan({"a": 1, "b": 1, "c": 1}, asked, masons=3, resources={"hoist": 2}))
    assert sorted(t[0] for t in two.values()) == [0, 0, 1]


def test_two_people_take_two_masons() -> None:
    told = times(plan({"a": 2, "b": 1, "c": 1}, [needs("two people", "a")], masons=2))
    assert told["a"][2] == "M1 M2"
    assert min(told["b"][0], told["c"][0]) >= told["a"][1] or told["a"][0] >= max(told["b"][1], told["c"][1])


def test_one_mason_is_not_asked_to_be_two() -> None:
    assert times(plan({"a": 1}, [needs("two people", "a")], masons=1))["a"] == (0, 1, "M1")


@pytest.mark.parametrize(("first", "day"), [(0, 3), (2, 1), (3, 7), (6, 4)])
def test_work_is_begun_on_its_days(first: int, day: int) -> None:
    """Wednesdays only; day 1 is Monday, Wednesday, Thursday, Sunday."""
    asked = [Precedence(first=(), then=("a",), calendar="wed", rule="test_rule")]
    start = {t.step.name: t.day for t in plan({"a": 1, "b": 1}, asked, weekday=first).turns}
    assert start == {"a": day, "b": 1}


def test_calendars_of_two_rules_meet() -> None:
    asked = [Precedence(first=(), then=("a",), calendar=words, rule=f"r{n}") for n, words in enumerate(("mon thu", "thu fri"))]
    (turn,) = plan({"a": 1}, asked).turns
    assert turn.day == 4


@pytest.mark.parametrize(
    ("words", "days"), [("mon thu", (0, 3)), ("Monday, THURSDAY", (0, 3)), ("sun", (6,)), ("full moon", ()), ("m", ())]
)
def test_days_of_a_calendar(words: str, days: tuple[int, ...]) -> None:
    assert weekdays(words) == days


def test_the_bound_holds() -> None:
    asked = [needs("two people", "a", "c"), needs("hoist", "b", "d")]
    made = plan({"a": 2, "b": 1, "c": 3, "d": 2, "e": 1}, asked, masons=2, resources={"hoist": 1})
    assert made.hours >= made.hours_bound


def test_the_bound_counts_both_masons() -> None:
    """Four hours for two people each are eight for two masons, whatever the order."""
    made = plan(dict.fromkeys("abcd", 2), [needs("two people", *"abcd")], masons=2)
    assert made.hours == made.hours_bound == 8

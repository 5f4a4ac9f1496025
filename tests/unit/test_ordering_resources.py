"""What steps need besides a mason: a second one, a hoist, a day of the week."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import pytest

from tests.unit import ordering_work as site
from wallquant import ordering
from wallquant.layout import Step
from wallquant.ordering import precedence
from wallquant.ordering.days import weekdays
from wallquant.rules import Item, Precedence
from wallquant.units import MM

HOUR = 3600


def plan(hours: dict[str, float], asked: Sequence[Precedence] = (), **more: Any) -> ordering.Schedule:
    return ordering.schedule(site.graph({k: round(v * HOUR) for k, v in hours.items()}, asked), **more)


def needs(resource: str, *steps: str, amount: int = 1) -> Precedence:
    return Precedence(first=(), then=steps, resource=resource, amount=amount, rule="test_rule")


def times(made: ordering.Schedule) -> dict[str, tuple[float, float, str]]:
    return {t.step.name: (t.start_h, t.end_h, t.crew) for t in made.turns}


def told(asked: Sequence[Precedence], have: dict[str, int], masons: int = 2) -> list[tuple[str, str, str]]:
    made = plan({"a": 6, "b": 6, "c": 1}, asked, masons=masons, resources={k: v for k, v in have.items() if v})
    return [(f.code, f.severity, f.text) for f in ordering.needs(asked, made, have)]


def test_what_the_site_has_not_is_told() -> None:
    """Nothing of what is there, a warning for what is not or is too little, with the first day and the rule's steps."""
    assert told([needs("hoist", "a")], {"hoist": 1}) == []
    ((code, severity, text),) = told([needs("hoist", "a", "b")], {"hoist": 0})
    assert (code, severity) == ("order.not-there", "warning")
    assert "2 steps need hoist, the first on day 1, and the site has none" in text
    ((code, _, text),) = told([needs("saw", "c", amount=3)], {"saw": 2, "hoist": 1})
    assert code == "order.not-there" and "1 step needs 3 of saw" in text and "the site has 2" in text


def test_what_nobody_said_is_taken_as_there_and_told() -> None:
    ((code, severity, text),) = told([needs("saw", "a"), needs("pump", "b", "c")], {"hoist": 1})
    assert (code, severity) == ("order.taken-as-there", "note")
    assert "besides masons: pump; saw." in text and "resources of the job" in text
    ((code, _, text),) = told([needs("saw", "a")], {"hoist": 1, "saw": 1, "sow": 2})
    assert code == "job.no-resource" and "'sow'" in text and "saw" in text


def test_one_mason_does_not_lift_for_two() -> None:
    ((code, severity, text),) = told([needs("two people", "a")], {"hoist": 1}, masons=1)
    assert (code, severity) == ("order.not-there", "warning") and "have a helper there" in text
    assert told([needs("two people", "a")], {"hoist": 1}) == []


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


def test_days_without_work_are_passed_over() -> None:
    """Day 1 is a Thursday; Saturday, Sunday and the holiday on day 5 rest, mortar sets on."""
    shift = ordering.Shift(week_off=frozenset({2, 3}), days_off=frozenset({4}))
    made = plan({"a": 6, "b": 6, "c": 6}, [Precedence(first=("b",), then=("c",), lag=24 * HOUR, rule="r")], shift=shift)
    assert [t.day for t in made.turns] == [1, 2, 6]
    assert made.hours == made.hours_bound == 22


def test_work_on_a_day_of_rest_is_told_and_begun_on_any_day() -> None:
    asked = [Precedence(first=(), then=("a",), calendar=words, rule="r") for words in ("sat", "sat tue", "moonday")]
    steps = [Step(name="a", kind="line", seconds=HOUR, panel="R1", part="R1")]
    net = precedence.build(steps, asked, worked=frozenset(range(5)))
    (turn,) = ordering.schedule(net, shift=ordering.Shift(week_off=frozenset({5, 6}))).turns
    assert turn.day == 2
    unknown, rest = net.findings
    assert "'moonday' (rule r)" in unknown.text
    assert (rest.code, rest.severity) == ("order.no-day", "warning")
    assert "rest_days" in rest.text and "'sat'" in rest.text


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


def test_amounts_of_a_resource_add_up() -> None:
    """Of three saws two cuts of two each come one after the other, a third of one beside them."""
    asked = [needs("saw", "a", "b", amount=2), needs("saw", "c")]
    made = plan({"a": 2, "b": 2, "c": 4}, asked, masons=3, resources={"saw": 3})
    told = times(made)
    assert sorted(told[k][:2] for k in "ab") == [(0, 2), (2, 4)]
    assert told["c"][:2] == (0, 4)
    assert made.hours == made.hours_bound == 4  # each of the two takes more than half of the saws
    four = plan({"a": 2, "b": 2, "c": 4}, [needs("saw", "a", "b", amount=2)], masons=3, resources={"saw": 4})
    assert four.hours == 4
    assert four.graph.steps[0].needs == (("saw", 2),)


def test_two_rules_that_ask_for_one_thing_share_it() -> None:
    made = plan({"a": 1}, [needs("saw", "a", amount=2), needs("saw", "a", amount=1), needs("hoist", "a")], resources={"saw": 2})
    assert made.graph.steps[0].needs == (("hoist", 1), ("saw", 2))
    assert plan({"a": 1}, [needs("saw", "a", amount=9)], resources={"saw": 2}).hours == 1  # at most all there are


def test_pairs_share_masons_by_twos() -> None:
    """Of three masons two make the one pair: four steps for two, two hours each, take eight hours, as the bound says."""
    made = plan(dict.fromkeys("abcd", 2), [needs("two people", *"abcd")], masons=3)
    assert made.hours == made.hours_bound == 8


def test_a_mason_is_kept_for_a_step_for_two() -> None:
    """Singles that never leave two masons free at once would push the long work for two to the end."""
    hours = {"long": 4.0, **{f"s{n}": 1.0 + n % 2 for n in range(6)}}
    made = plan(hours, [needs("two people", "long"), Precedence(first=("s0",), then=("long",), rule="test_rule")], masons=2)
    assert made.hours - made.hours_bound <= 0.5


def walk(*metres: int, speed: int = 1000) -> ordering.Walk:
    return ordering.Walk(places=[(1000 * x, 0) for x in metres], speed=speed)


def test_masons_walk_from_step_to_step() -> None:
    """A second a metre: 90 m are walked before b is begun, and none at the start of the day."""
    told = times(plan({"a": 1, "b": 1}, site.before(("a", "b")), masons=1, walk=walk(0, 90)))
    assert told["b"][:2] == (1 + 90 / HOUR, 2 + 90 / HOUR)
    told = times(plan({"a": 8, "b": 1}, site.before(("a", "b")), masons=1, walk=walk(0, 90)))
    assert told["b"][:2] == (24, 25)


def test_a_step_that_the_walk_leaves_no_room_for_waits_for_the_next_day() -> None:
    told = times(plan({"a": 6, "b": 2}, site.before(("a", "b")), masons=1, walk=walk(0, 1)))
    assert told["b"][:2] == (24, 26)


def test_the_mason_who_is_there_first_goes() -> None:
    """c waits for both, and lies where b is: he who laid b goes on."""
    told = times(plan({"a": 1, "b": 1, "c": 1}, site.before(("a", "c"), ("b", "c")), masons=2, walk=walk(0, 50, 50)))
    assert told["c"] == (1, 2, told["b"][2])


def test_the_place_of_a_step_is_the_middle_of_what_it_lays() -> None:
    """A course of 3500 from -100 on run A, along x, and from 101 on B, along y; an item with a task lies where it is built in."""
    work = site.stepped(site.corner(courses=2), 0)
    item = Item(kind="bar", run="B", course=1, start=1000 * MM, end=2001 * MM, bottom=0, top=1, task="bar", seconds=60)
    work = site.stepped(replace(work, items=(item,)), 0)
    at = {s.name: spot for s, spot in zip(work.steps, ordering.places(work), strict=True)}
    assert at["K1-C01-corner"] == (100, 200)  # a piece of A, (199.5, 0), and one of B, (0, 400.5)
    assert at["A-C02-line1"][1] == at["B-C01-line1"][0] == 0
    assert at["B-C01-bar"] == (0, 1500)
    assert all(isinstance(x, int) and isinstance(y, int) for x, y in at.values())

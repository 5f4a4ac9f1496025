"""Items that are work have steps of their own, between the courses where they are built in."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from typing import Any

import pytest

from tests.unit import laid_house as house
from wallquant import ordering
from wallquant.layout import Courses, Run
from wallquant.rules import Item, Precedence, Rule, Sentence
from wallquant.units import MM, mm


class Bars(Rule):
    """A bar of two parts stands at a station of one run, and a strap lies on course 4."""

    code = "test_bars"
    title = "Bars"

    def demand(self, run: Run, courses: Courses) -> Iterable[Sentence]:
        if run.name != "R1":
            return
        at, top = mm(1000), courses.levels[3].top
        yield Item(kind="bar", run=run.name, start=at, end=at, bottom=run.bottom, top=run.bottom + mm(600), task="stub", seconds=300)
        yield Item(
            kind="bar", run=run.name, start=at, end=at, bottom=run.bottom, top=top, course=4, task="bar", seconds=60, text="Drop the bar in"
        )
        yield Item(kind="strap", run=run.name, start=mm(2000), end=mm(2100), bottom=top, top=top + MM, course=4, task="strap", seconds=90)
        yield Item(kind="strap", run=run.name, start=mm(3000), end=mm(3100), bottom=top, top=top + MM, course=4, task="strap", seconds=90)
        yield Item(kind="tie", run=run.name, start=mm(2000), end=mm(2100), bottom=top, top=top + MM, course=1, task="tie", seconds=30)
        corner = run.last
        yield Item(
            kind="bar", run=run.name, corner=corner.corner, start=corner.station, end=corner.station, bottom=run.bottom, top=top, course=2,
            task="bar",
        )  # fmt: skip


@pytest.fixture(scope="module")
def laid() -> Any:
    walls = [house.wall("A", (0, 0), (4200, 0)), house.wall("B", (4100, 100), (4100, 3000))]
    return house.lay(walls, more_rules=(Bars(),))


def graph(work: Any, asked: Iterable[Precedence] = ()) -> Any:
    steps = ordering.make_steps(work, {})
    return ordering.precedences(replace(work, steps=steps), asked)


def test_items_of_one_place_course_and_task_are_one_step(laid: Any) -> None:
    steps = {s.name: s for s in ordering.make_steps(laid.work, {}) if s.items}
    corner = laid.work.runs["R1"].last.corner
    assert sorted(steps) == sorted(["R1-C00-stub", "R1-C01-tie", "R1-C04-bar", "R1-C04-strap", f"{corner}-C02-bar"])
    strap = steps["R1-C04-strap"]
    assert (strap.kind, strap.seconds, len(strap.items), strap.pieces) == ("strap", 180, 2, ())
    assert steps["R1-C04-bar"].text == "Drop the bar in."


def test_an_item_comes_between_the_courses_over_its_place(laid: Any) -> None:
    made = graph(laid.work)
    number = {s.name: n for n, s in enumerate(made.steps)}
    after: dict[int, set[int]] = {}
    for a, b in zip(made.first.tolist(), made.then.tolist(), strict=True):
        after.setdefault(a, set()).add(b)

    def follows(one: int) -> set[int]:
        seen, edge = set(), [one]
        while edge:
            for nxt in after.get(edge.pop(), ()):
                if nxt not in seen:
                    seen.add(nxt)
                    edge.append(nxt)
        return seen

    p = laid.work.pieces
    owner = ordering.step_of(made.steps, len(p))
    stub, bar = follows(number["R1-C00-stub"]), number["R1-C04-bar"]
    behind = follows(bar)
    checked = 0
    for row in range(len(p)):
        over = p.runs[p.run[row]] == "R1" and p.start[row] <= mm(1000) <= p.end[row]
        if over:
            assert int(owner[row]) in stub
            assert (int(owner[row]) in behind) == (p.course[row] > 4)
            assert (bar in follows(int(owner[row]))) == (p.course[row] <= 4)
            checked += 1
    assert checked == len(laid.work.courses["R1"])


def test_an_item_of_course_one_lies_on_course_one(laid: Any) -> None:
    made = graph(laid.work)
    number = next(n for n, s in enumerate(made.steps) if s.name == "R1-C01-tie")
    p, owner = laid.work.pieces, ordering.step_of(made.steps, len(laid.work.pieces))
    over = [row for row in range(len(p)) if p.runs[p.run[row]] == "R1" and p.start[row] <= mm(2100) and p.end[row] >= mm(2000)]
    arcs = set(zip(made.first.tolist(), made.then.tolist(), strict=True))
    assert over and {p.course[row] for row in over if (int(owner[row]), number) in arcs} == {1}


def test_a_corners_item_waits_for_both_runs(laid: Any) -> None:
    made, corner = graph(laid.work), laid.work.runs["R1"].last.corner
    number = {s.name: n for n, s in enumerate(made.steps)}[f"{corner}-C02-bar"]
    before = {made.steps[a].runs for a, b in zip(made.first.tolist(), made.then.tolist(), strict=True) if b == number}
    assert {run for runs in before for run in runs} == {"R1", "R2"}


def test_rules_may_name_these_steps(laid: Any) -> None:
    asked = [Precedence(first=("R1-C04-bar",), then=("R1-C04-strap",), hold="Look at the bars", resource="hoist", rule="test_bars")]
    made = graph(laid.work, asked)
    steps = {s.name: s for s in made.steps}
    assert steps["R1-C04-strap"].resources == ("hoist",)
    assert any(s.kind == "hold" and s.text == "Look at the bars" for s in made.steps)

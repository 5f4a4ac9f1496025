"""The step graph against networkx (BSD): order, longest path, circles; support against shapely's overlap of footprints."""

from __future__ import annotations

import random
from dataclasses import replace
from itertools import combinations, permutations

import networkx as nx
import numpy as np
import pytest
import shapely

from tests.unit import ordering_work as site
from wallquant import ordering
from wallquant.layout import Step, Work
from wallquant.ordering import bound, precedence
from wallquant.ordering.support import BED
from wallquant.rules import Precedence


def random_case(seed: int, *, circles: bool = False) -> tuple[list[Step], list[Precedence]]:
    draw = random.Random(seed)
    steps = [Step(name=f"s{i}", kind="line", seconds=draw.randint(1, 9000), panel=f"R{i % 4}") for i in range(draw.randint(2, 40))]
    asked = []
    for _ in range(draw.randint(1, 80)):
        a, b = draw.sample(range(len(steps)), 2)
        if not circles:
            a, b = min(a, b), max(a, b)
        asked.append(Precedence(first=(f"s{a}",), then=(f"s{b}",), lag=draw.choice((0, 0, 600, 90000)), rule=f"rule{draw.randint(1, 3)}"))
    return steps, asked


def told(made: ordering.Graph) -> nx.DiGraph:
    out = nx.DiGraph()
    out.add_nodes_from(s.name for s in made.steps)
    for link in made.links():
        out.add_edge(link.first, link.then, lag=link.lag)
    return out


@pytest.mark.parametrize("seed", range(40))
def test_order_and_longest_paths(seed: int) -> None:
    steps, asked = random_case(seed)
    made = precedence.build(steps, asked)
    oracle = told(made)
    assert set(oracle.edges) == {(p.first[0], p.then[0]) for p in asked}
    names = [made.steps[i].name for i in made.order.tolist()]
    place = {name: i for i, name in enumerate(names)}
    assert sorted(names) == sorted(oracle)
    assert all(place[a] < place[b] for a, b in oracle.edges)
    # Weight of an arc: the work of its first step and its lag; a last arc to the end carries the work of the last step.
    weighted = nx.DiGraph()
    seconds = {s.name: s.seconds for s in made.steps}
    weighted.add_edges_from((a, b, {"weight": seconds[a] + d["lag"]}) for a, b, d in oracle.edges(data=True))
    weighted.add_edges_from((name, "end", {"weight": seconds[name]}) for name in oracle)
    longest = nx.dag_longest_path_length(weighted)
    tail = bound.tails(made, np.array([s.seconds for s in made.steps]), made.lag)
    assert int(tail.max()) == longest
    round_the_clock = ordering.Shift(seconds=bound.DAY)
    early = bound.earliest(made, round_the_clock)
    assert int((early + [s.seconds for s in made.steps]).max()) == longest
    # With a mason for each step and no nights the schedule is the longest path, and the bound meets it.
    plan = ordering.schedule(made, masons=len(steps), shift=round_the_clock)
    assert plan.seconds == plan.bound == longest


@pytest.mark.parametrize("seed", range(40, 70))
def test_a_circle_is_found_exactly_when_networkx_finds_one(seed: int) -> None:
    steps, asked = random_case(seed, circles=True)
    oracle = nx.DiGraph((p.first[0], p.then[0]) for p in asked)
    if nx.is_directed_acyclic_graph(oracle):
        precedence.build(steps, asked)
        return
    with pytest.raises(ordering.OrderError) as raised:
        precedence.build(steps, asked)
    said = str(raised.value).split(": ", 1)[1].rsplit("; ", 1)[0]
    for clause in said.split("; "):
        if " before " in clause:
            first, then = clause.split(" (")[0].split(" before ")
            assert oracle.has_edge(first, then)


@pytest.mark.parametrize("work", [site.corner(courses=6), site.ring(courses=6), site.door()], ids=["corner", "ring", "door"])
def test_support_is_what_shapely_finds(work: Work) -> None:
    pieces = work.pieces
    boxes = []
    for i in range(len(pieces)):
        run = work.runs[pieces.runs[pieces.run[i]]]
        half = run.thickness // 2
        spots = ((int(pieces.start[i]), -half), (int(pieces.end[i]), -half), (int(pieces.end[i]), half), (int(pieces.start[i]), half))
        boxes.append(shapely.Polygon([run.at(s, o) for s, o in spots]))
    tree = shapely.STRtree(boxes)
    one, two = tree.query(boxes, predicate="intersects")
    area = shapely.area(shapely.intersection(np.array(boxes)[one], np.array(boxes)[two]))
    gap = pieces.bottom[two] - pieces.top[one]
    keep = (gap >= 0) & (gap <= BED) & (area > 1e6)
    wanted = set(zip(one[keep].tolist(), two[keep].tolist(), strict=True))
    got = [(int(a), int(b)) for a, b in zip(*ordering.resting(work), strict=True)]
    assert set(got) == wanted
    assert wanted


def test_steps_of_a_plan_are_a_topological_order_for_networkx() -> None:
    work = site.ring(courses=9)
    work = replace(work, steps=ordering.make_steps(work, dict.fromkeys(work.corners, 3)))
    made = ordering.precedences(work)
    oracle = told(made)
    assert nx.is_directed_acyclic_graph(oracle)
    place = {t.step.name: i for i, t in enumerate(ordering.schedule(made, masons=3).turns)}
    assert all(place[a] < place[b] for a, b in oracle.edges)


@pytest.mark.parametrize("seed", range(30))
def test_the_bound_is_not_above_the_best_of_all_orders(seed: int) -> None:
    """Every order of up to five steps is tried (each its own panel); the bound is at most the best, and often meets it."""
    draw = random.Random(seed)
    count = draw.randint(2, 5)
    steps = [Step(name=f"s{i}", kind="line", seconds=draw.choice((1, 2, 3, 5, 7)) * 3600, panel=f"R{i}") for i in range(count)]
    asked = [
        Precedence(first=(f"s{a}",), then=(f"s{b}",), lag=draw.choice((0, 3600, 50000)), not_before=draw.choice((0, 0, 20000)), rule="r")
        for a, b in combinations(range(count), 2)
        if draw.random() < 0.3
    ]
    made = precedence.build(steps, asked)
    for masons in (1, 2):
        ranks = [dict(zip((s.panel for s in steps), order, strict=True)) for order in permutations(range(count))]
        best = min(ordering.schedule(made, masons=masons, panels=r).seconds for r in ranks)
        assert best / 1.7 < ordering.least_time(made, masons, ordering.Shift()) <= best

"""Any schedule keeps what it was asked, and no schedule beats the bound; any course is cut into steps without loss."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from itertools import pairwise
from random import Random

from hypothesis import given, settings
from hypothesis import strategies as st
from wallquant_thinbed.corner_leads import CornerLeads

from tests.unit import ordering_work as site
from wallquant import ordering
from wallquant.layout import Step, Work
from wallquant.ordering import precedence
from wallquant.ordering.clock import DAY
from wallquant.rules import Precedence
from wallquant.units import MM

HOUR = 3600


@st.composite
def graphs(draw: st.DrawFn) -> ordering.Graph:
    count = draw(st.integers(1, 14))
    times = draw(st.lists(st.sampled_from((0, 1, 600, HOUR, 3 * HOUR, 8 * HOUR, 11 * HOUR)), min_size=count, max_size=count))
    panels = draw(st.lists(st.sampled_from(("R1", "R2", "R3")), min_size=count, max_size=count))
    steps = [Step(name=f"s{i:02d}", kind="line", seconds=times[i], panel=panels[i], part="R1") for i in range(count)]
    asked = []
    for _ in range(draw(st.integers(0, 16))):
        chosen = draw(st.lists(st.integers(0, count - 1), min_size=2, max_size=5, unique=True)) if count > 1 else []
        if chosen:
            chosen.sort()
            at = draw(st.integers(1, len(chosen) - 1))
            asked.append(
                Precedence(
                    first=tuple(f"s{i:02d}" for i in chosen[:at]),
                    then=tuple(f"s{i:02d}" for i in chosen[at:]),
                    lag=draw(st.sampled_from((0, 0, 600, 5 * HOUR, 12 * HOUR, 30 * HOUR))),
                    not_before=draw(st.sampled_from((0, 0, 7 * HOUR, 26 * HOUR))),
                    hold=draw(st.sampled_from(("", "", "Stop here."))),
                    hold_seconds=draw(st.sampled_from((0, HOUR, 20 * HOUR))),
                    rule="r",
                )
            )
    for what in draw(st.lists(st.sampled_from(("two people", "hoist", "saw")), max_size=3)):
        chosen = draw(st.lists(st.integers(0, count - 1), min_size=1, max_size=count, unique=True))
        amount = draw(st.integers(1, 3)) if what == "saw" else 1
        asked.append(Precedence(first=(), then=tuple(f"s{i:02d}" for i in chosen), resource=what, amount=amount, rule="r"))
    return precedence.build(steps, asked)


STOCK = {"hoist": 1, "saw": 3}


def used(made: ordering.Graph, plan: ordering.Schedule, now: int) -> Counter[str]:
    """Masons and resources in use at a clock second."""
    out: Counter[str] = Counter()
    for i, one in enumerate(made.steps):
        if plan.start[i] <= now < plan.end[i] and one.kind != "hold":
            out["masons"] += 1 + len(plan.helpers.get(i, ()))
            out.update(dict(one.needs))
    return out


@settings(max_examples=80, deadline=None)
@given(
    made=graphs(),
    masons=st.integers(1, 4),
    shift=st.sampled_from((HOUR, 8 * HOUR, 10 * HOUR, DAY)),
    rest=st.sampled_from((frozenset(), frozenset({5, 6}), frozenset({0, 1, 3}))),
    off=st.frozensets(st.integers(0, 9), max_size=3),
    metres=st.one_of(st.none(), st.lists(st.integers(0, 900), min_size=14, max_size=14)),
)
def test_schedules_keep_precedences_crews_and_shifts_and_never_beat_the_bound(
    made: ordering.Graph, masons: int, shift: int, rest: frozenset[int], off: frozenset[int], metres: list[int] | None
) -> None:
    hours = ordering.Shift(seconds=shift, week_off=rest, days_off=off)
    walk = ordering.Walk(places=[(1000 * m, 0) for m in metres]) if metres else None
    plan = ordering.schedule(made, masons=masons, shift=hours, resources=STOCK, walk=walk)
    start, end = plan.start.tolist(), plan.end.tolist()
    place = {int(i): n for n, i in enumerate(plan.order)}
    assert sorted(place) == list(range(len(made.steps)))
    for a, b, lag in zip(made.first.tolist(), made.then.tolist(), made.lag.tolist(), strict=True):
        assert end[a] + lag <= start[b]
        assert place[a] < place[b]
    assert all(s >= r for s, r in zip(start, made.release.tolist(), strict=True))
    by_mason: dict[int, list[tuple[int, int, int]]] = {}
    for i, one in enumerate(made.steps):
        mason = int(plan.crew[i])
        assert (mason == 0) == (one.kind == "hold")
        assert mason <= masons
        if one.kind == "hold":
            assert end[i] - start[i] == one.seconds
            continue
        helpers = plan.helpers.get(i, ())
        assert len(helpers) == (min(2, masons) - 1 if "two people" in one.resources else 0)
        for who in (mason, *helpers):
            by_mason.setdefault(who, []).append((start[i], end[i], i))
        assert hours.room(start[i]) > 0, "begun within the shift"
        assert hours.working(end[i]) - hours.working(start[i]) == one.seconds
        if one.seconds <= shift < DAY:
            assert end[i] - start[i] == one.seconds, "done in one go"
    for spans in by_mason.values():
        spans.sort()
        for one, two in pairwise(spans):
            metre = abs(metres[one[2]] - metres[two[2]]) if metres else 0
            assert one[1] + metre <= two[0], "there is time to walk"
    for now in set(start):
        taken = used(made, plan, now)
        assert taken["masons"] <= masons
        assert all(taken[name] <= whole for name, whole in STOCK.items())
    assert plan.bound <= plan.seconds == hours.working(max(end))
    assert [t.start_h for t in plan.turns] == sorted(t.start_h for t in plan.turns)
    again = ordering.schedule(made, masons=masons, shift=hours, resources=STOCK, walk=walk)
    assert (again.start == plan.start).all()
    assert (again.crew == plan.crew).all()


@st.composite
def courses(draw: st.DrawFn) -> list[site.Row]:
    """A wall of up to six courses: pieces of any length, with gaps for a door, some pieces ripped in two rows."""
    rows: list[site.Row] = []
    for n in range(1, draw(st.integers(1, 6)) + 1):
        at = 0
        while at < 3400:
            length = min(draw(st.integers(100, 599)), 3500 - at)
            stop = 3500 if 3500 - at - length < 101 else at + length
            if draw(st.integers(0, 5)):
                rows.append(site.Row("R1", n, at, stop, cut="length"))
            else:
                half = (at + stop) // 2
                rows.append(site.Row("R1", n, at, stop, height=80, cut="height"))
                base = site.BED + site.PITCH * (n - 1)
                rows.append(site.Row("R1", n, at, half, level=base + 81, height=118, cut="height"))
                rows.append(site.Row("R1", n, half + 1, stop, level=base + 81, height=118, cut="height"))
            at = stop + 1
    keep = draw(st.booleans())
    return [r for r in rows if keep or not (r.start < 2000 and r.end > 1200)] or rows


@settings(max_examples=100, deadline=None)
@given(rows=courses(), leads=st.tuples(st.integers(0, 4), st.integers(0, 4)))
def test_each_piece_is_in_one_step_after_what_it_rests_on(rows: list[site.Row], leads: tuple[int, int]) -> None:
    line = site.Line(
        "R1",
        3500,
        (site.junction("K1", "end", "start", 0), site.junction("K2", "end", "end", 3500)),
        openings=(site.opening("D1", 1200, 2000, 0, 2000),),
        courses=6,
    )
    work = site.made([line], rows)
    steps = ordering.make_steps(work, {"K1": leads[0], "K2": leads[1]})
    assert Counter(r for s in steps for r in s.pieces) == Counter(range(len(rows)))
    assert len({s.name for s in steps}) == len(steps)
    work = replace(work, steps=steps)
    laid: dict[int, int] = {}
    for turn in ordering.schedule(ordering.precedences(work), masons=2).turns:
        for r in turn.step.pieces:
            laid[r] = len(laid)
    assert all(laid[int(a)] < laid[int(b)] for a, b in zip(*ordering.resting(work), strict=True))


def floor(draw: Random) -> Work:
    """An L and a T of random lengths, joints, phases and rips, with a door or window or none; the joints need not bond."""
    high, long, deep = draw.randint(2, 9), draw.randint(700, 7000), draw.randint(300, 4000)
    node = draw.randint(250, long - 250)
    openings = []
    if long > 2200 and draw.random() < 0.6:
        at = draw.randint(0, long - 1200)
        openings.append(site.opening("D1", at, at + 900, draw.choice((0, 810)), draw.choice((1210, 1260, 2010))))
    first, stem = site.junction("K1", "L", "start", 0, "Q"), site.junction("K3", "T", "through", node, "S")
    lines = [
        site.Line("R", long, (first, stem, site.junction("K2", "end", "end", long)), openings=tuple(openings), courses=high),
        site.Line("S", deep, (site.junction("K3", "T", "start", 0, "R", "through"), site.junction("K4", "end", "end", deep)), courses=high),
        site.Line("Q", deep, (site.junction("K1", "L", "start", 0, "R"), site.junction("K5", "end", "end", deep)), courses=high),
    ]
    rows: list[site.Row] = []

    def fill(run: str, number: int, at: int, end: int) -> None:
        base = site.BED + site.PITCH * (number - 1)
        while at < end:
            length = draw.choice((599, 599, 599, draw.randint(100, 599)))
            stop = at + length if end - at - length > 100 else end
            if draw.random() < 0.08:
                rows.append(site.Row(run, number, at, stop, height=80, cut="height"))
                rows.append(site.Row(run, number, at, stop, level=base + 81, height=118, cut="height"))
            else:
                rows.append(site.Row(run, number, at, stop, cut="length" if stop - at < 599 else ""))
            at = stop + 1

    passing: dict[str, list[str]] = {"K1": [], "K3": []}
    for n in range(1, high + 1):
        one, two = draw.choice(("R", "Q")), draw.choice(("R", "S", "tied"))
        passing["K1"].append(one)
        passing["K3"].append(two)
        begin = -100 if one == "R" else 101
        spans = [(begin, node - 101), (node + 101, long)] if two == "S" else [(begin, long)]
        base = site.BED + site.PITCH * (n - 1)
        for o in openings:
            if o.sill < (base + site.HEIGHT) * MM and o.head > base * MM:
                lo, hi = o.start // MM, o.end // MM
                spans = [s for a, b in spans for s in ((a, min(b, lo)), (max(a, hi), b)) if s[1] - s[0] >= 60]
        for a, b in spans:
            fill("R", n, a, b)
        fill("S", n, -100 if two == "S" else 101, deep)
        fill("Q", n, 101 if one == "R" else -100, deep)
    return site.made(lines, rows, phases={k: tuple(v) for k, v in passing.items()})


@settings(max_examples=50, deadline=None)
@given(draw=st.randoms(use_true_random=False), courses=st.integers(1, 4), masons=st.integers(1, 3))
def test_any_floor_has_an_order_with_the_rule_on_corners(draw: Random, courses: int, masons: int) -> None:
    work = floor(draw)
    work = replace(work, steps=ordering.make_steps(work, dict.fromkeys(work.corners, courses)))
    assert Counter(r for s in work.steps for r in s.pieces) == Counter(range(len(work.pieces)))
    assert len({s.name for s in work.steps}) == len(work.steps)
    made = ordering.precedences(work, CornerLeads(CornerLeads.Params(courses=courses)).precede(work))
    plan = ordering.schedule(made, masons=masons, panels=ordering.ranks(work))
    assert plan.bound <= plan.seconds
    laid: dict[int, int] = {}
    done: list[Step] = []
    for turn in plan.turns:
        if turn.step.kind in ("line", "closure") and turn.step.course == 1:
            assert sum(s.kind == "corner" for s in done) == sum(s.kind == "corner" for s in work.steps)
        done.append(turn.step)
        for r in turn.step.pieces:
            laid[r] = len(laid)
    assert all(laid[int(a)] < laid[int(b)] for a, b in zip(*ordering.resting(work), strict=True))

"""The designer's least change: tables and programme against trying all, and small buildings with known answers."""

from __future__ import annotations

import json
import re
from itertools import pairwise, product
from pathlib import Path
from random import Random
from types import SimpleNamespace

import pytest

from tests.unit.command_line import caller
from wallquant import pipeline, plugins
from wallquant.bonding.pair import Half, least_two
from wallquant.cli.fit import _brings
from wallquant.fitting import change as change_module
from wallquant.fitting import programme
from wallquant.fitting.change import Change, cuts, least_change
from wallquant.fitting.moving import levelled, moved
from wallquant.fitting.programme import Limits, solve
from wallquant.fitting.tables import Corner, Costs, Segment, Tables
from wallquant.fitting.telling import Told, told
from wallquant.fitting.things import Gap, Things, negative, total
from wallquant.job import Job
from wallquant.units import INCH, MM
from wallquant.writers.plan import Plan

SAMPLES = Path(__file__).parents[2] / "sample_models"
OPEN = Path(__file__).parents[3] / "shared" / "open_models"


def wall(
    name: str, start: tuple[float, float], end: tuple[float, float], height: float = 2400, thickness: float = 200, holes: str = ""
) -> str:
    line = f"name: {name}, storey: G, from: [{start[0]}, {start[1]}], to: [{end[0]}, {end[1]}], thickness: {thickness}, height: {height}"
    return f"  - {{{line}, bearing: true, openings: [{holes}]}}\n"


def ring(x: float, y: float, **more: float) -> str:
    """Walls of a room whose axes are x and y apart, in millimetres, 200 thick; A and C reach to the outer faces."""
    return "".join(
        [
            wall("A", (-100, 0), (x + 100, 0), **more),
            wall("B", (x, 100), (x, y - 100), **more),
            wall("C", (-100, y), (x + 100, y), **more),
            wall("D", (0, 100), (0, y - 100), **more),
        ]
    )


def wall_list(folder: Path, walls: str, unit: str = "mm") -> Path:
    file = folder / "m.walls.yaml"
    file.write_text(f"unit: {unit}\nstoreys:\n  - {{name: G, level: 0}}\nwalls:\n{walls}", encoding="utf-8")
    return file


def changed(model: Path, *, most: int = 150 * MM, worth: int = 3, widths: bool = False, step: int = MM, **options: object) -> Change[Plan]:
    found, job = plugins.load(), Job.model_validate(options)
    building, read = pipeline.drawn(model, job, found)

    def lay(other: object) -> Plan:
        return pipeline.plan_of(other, read, model.name, job, found)  # type: ignore[arg-type]

    limits = Limits(step=step, most=most, worth=worth)
    return least_change(building, lay(building), lay, limits, widths=widths, any_thickness=job.any_thickness)


def words(change: Change[Plan]) -> tuple[Told, ...]:
    return told(change, change.before.building)


def test_a_wall_that_is_held_stays_with_its_openings(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A room 10 mm too long both ways, with a window: of walls that are held nothing moves, by name or by the whole ring."""
    hole = "{name: W, at: 1003, sill: 800, width: 1000, height: 1003}"
    walls = ring(5990, 4185).replace("openings: []", f"openings: [{hole}]", 1)
    model, call = wall_list(tmp_path, walls), caller(capsys)
    assert "move A (R" in (free := call("fit", model)[1]) or "move C (R" in free
    code, out, _ = call("fit", model, "--hold", "A", "--hold", "C")
    assert code == 0 and "of opening W" not in out and "opening W" not in out
    assert not re.search(r"move [AC] \(R", out) and re.search(r"move [BD] \(R", out)
    out = call("fit", model, *(word for name in "ABCD" for word in ("--hold", name)))[1]
    assert "no move" in out and "Laid" not in out
    code, _, said = call("fit", model, "--hold", "E")
    assert code == 2 and "--hold E: no wall of m.walls.yaml" in said


def test_a_room_that_is_a_little_short_moves_two_walls_and_has_no_cut(tmp_path: Path) -> None:
    """Case B: axes that are whole pitches close without a cut.

    Ten units, nine joints of at least 0.5 mm between them and one of 1 mm at the butt are 5995.5 mm; seven units 4197 mm.
    """
    change = changed(wall_list(tmp_path, ring(5990, 4185)), catalogue="aac-metric")
    assert cuts(change.before) > 0 and cuts(change.after) == 0
    assert sorted(abs(m.by) for m in change.moves) == [6 * MM, 12 * MM]
    assert {m.thing.kind for m in change.moves} == {"line"} and len(words(change)) == 2
    assert all("with it corners" in one.text for one in words(change))


def test_who_passes_at_the_corners_is_chosen_with_the_moves(tmp_path: Path) -> None:
    """Case B: a room of 5.999 x 4.199 outside has two cuts a course and passes at both ends; whole pitches want one end each."""
    model = wall_list(tmp_path, ring(5799, 3999))
    change = changed(model, most=250 * MM, catalogue="aac-metric")
    assert (cuts(change.before), cuts(change.after)) == (24, 0)
    assert sorted(abs(m.by) for m in change.moves) == [197 * MM, 198 * MM]
    assert not changed(model, most=150 * MM, catalogue="aac-metric").moves


def test_the_wall_list_as_told_has_so_many_cuts_when_it_is_planned(tmp_path: Path) -> None:
    """What is told is drawn by hand anew and planned: the same count."""
    change = changed(wall_list(tmp_path, ring(5990, 4185)), catalogue="aac-metric")
    plan = pipeline.plan(wall_list(tmp_path, ring(5996, 4197)), Job(catalogue="aac-metric"), plugins.load())
    assert cuts(plan) == cuts(change.after) == 0 and len(plan.work.pieces) == len(change.after.work.pieces)


@pytest.mark.parametrize(("length", "unit"), [(5999, "mm"), (20 * 12, "in")])
def test_a_wall_that_fits_stays(tmp_path: Path, length: int, unit: str) -> None:
    """Case C: 20 ft 0 in outside is ten units of 24 in less one joint, which the fit of a free end takes up."""
    thick, high = (200, 2400) if unit == "mm" else (8, 96)
    model = wall_list(tmp_path, wall("A", (0, 0), (length, 0), height=high, thickness=thick), unit)
    change = changed(model, step=MM if unit == "mm" else INCH // 16)
    assert not change.moves and not change.levels and change.after is change.before


def test_a_free_end_that_leaves_a_sliver_is_drawn_back(tmp_path: Path) -> None:
    """6049 mm: ten units and 50 mm, less than the least piece, so that two pieces are cut in each second course more."""
    change = changed(wall_list(tmp_path, wall("A", (0, 0), (6049, 0))), catalogue="aac-metric")
    (one,) = words(change)
    assert one.kind == "end" and one.text.startswith("shorten A (R1) by ") and "free end" in one.text
    assert 20 * MM <= abs(one.by) <= 50 * MM
    assert cuts(change.before) - cuts(change.after) == one.saves and one.saves >= 6


def test_a_head_goes_to_the_nearest_bearing_line_and_a_sill_to_a_course(tmp_path: Path) -> None:
    """Case K: bearing lines at 10 + 200 k; a head at 2100 is 90 above one.  All of one level move together."""
    hole = "{{name: {0}, at: {1}, width: 1201, sill: {2}, height: {3}}}"
    holes = ", ".join([hole.format("N1", 1199, 900, 1200), hole.format("N2", 4199, 900, 1200)])
    change = changed(wall_list(tmp_path, wall("A", (0, 0), (6599, 0), height=2800, holes=holes)), catalogue="aac-metric", worth=1)
    assert {(one.what, one.by // MM, len(one.names)) for one in change.levels} >= {("head", -90, 2), ("sill", -91, 2)}
    assert cuts(change.after) < cuts(change.before)
    said = {one.kind: one.text for one in words(change)}
    assert said["head"] == "lower the head of N1 (A) and N2 (A) by 90 mm, to 2010 mm above the wall's underside"


def test_what_begins_at_the_floor_goes_on_beginning_there(tmp_path: Path) -> None:
    """The wall begins 300 below the floor, so that the door's sill is off course; its head moves alone."""
    door = "{name: D, at: 2399, width: 1201, sill: 300, height: 2000}"
    low = wall("A", (0, 0), (5999, 0), height=2900, holes=door)
    model = wall_list(tmp_path, low)
    model.write_text(model.read_text(encoding="utf-8").replace("thickness: 200", "thickness: 200, bottom: -300 mm"), encoding="utf-8")
    change = changed(model, catalogue="aac-metric", worth=1)
    assert "head" in {one.what for one in change.levels} and "sill" not in {one.what for one in change.levels}
    window = low.replace("sill: 300", "sill: 700")
    model.write_text(
        wall_list(tmp_path, window).read_text(encoding="utf-8").replace("200, height", "200, bottom: -300 mm, height"), encoding="utf-8"
    )
    assert "sill" in {one.what for one in changed(model, catalogue="aac-metric", worth=1).levels}


def test_a_top_goes_to_a_course_unless_a_storey_stands_on_it(tmp_path: Path) -> None:
    """Tops at 209 + 200 k: 2450 mm is 41 mm over one, farther than the fit."""
    one = changed(wall_list(tmp_path, ring(6000, 4200, height=2450)), catalogue="aac-metric")
    assert [(m.what, m.by) for m in one.levels] == [("top", -41 * MM)] and cuts(one.after) == 0
    upper = ring(6000, 4200, height=2409).replace("storey: G", "storey: U").replace("name: ", "name: U")
    text = wall_list(tmp_path, ring(6000, 4200, height=2450) + upper).read_text(encoding="utf-8")
    stacked = tmp_path / "two.walls.yaml"
    stacked.write_text(text.replace("level: 0}\n", "level: 0}\n  - {name: U, level: 2650}\n"), encoding="utf-8")
    assert not [m for m in changed(stacked, catalogue="aac-metric").levels if m.what == "top"]


def test_storeys_over_each_other_move_together(tmp_path: Path) -> None:
    lower = ring(5990, 4200)
    upper = lower.replace("storey: G", "storey: U").replace("name: ", "name: U")
    model = wall_list(tmp_path, lower + upper)
    model.write_text(model.read_text(encoding="utf-8").replace("level: 0}\n", "level: 0}\n  - {name: U, level: 2600}\n"), encoding="utf-8")
    change = changed(model, catalogue="aac-metric")
    assert cuts(change.after) == 0
    (move,) = change.moves
    assert move.thing.kind == "line" and len(move.thing.members) == 2 and abs(move.by) == 6 * MM


def test_a_free_end_over_a_corner_goes_where_the_corner_goes(tmp_path: Path) -> None:
    """A wall of the next floor ends flush over a corner: it does not grow past the wall under it, and stays flush where that moves."""
    hole = "{name: N, at: 2410, width: 1200, sill: 800, height: 1200}"
    upper = wall("U", (-100, 0), (6037, 0), holes=hole).replace("storey: G", "storey: F")
    model = wall_list(tmp_path, ring(5937, 4200) + upper)
    text = model.read_text(encoding="utf-8").replace("  - {name: G, level: 0}\n", "  - {name: G, level: 0}\n  - {name: F, level: 2600}\n")
    model.write_text(text, encoding="utf-8")
    change = changed(model, catalogue="aac-metric", worth=1)
    assert len(change.things.over) == 2 and all(m.thing.kind != "end" for m in change.moves)
    below, above = ({w.name: w for w in change.building.walls}[name] for name in "AU")
    assert above.start == below.start and above.end == below.end
    line = next(m for m in change.moves if m.thing.kind == "line" and m.thing.members[0][0] == "R4")
    assert line.by and any(set(change.things.over) & set(one.text.replace(",", "").split()) for one in words(change))


def test_a_thickness_that_no_unit_has(tmp_path: Path) -> None:
    model = wall_list(tmp_path, ring(6000, 4200, thickness=170))
    change = changed(model, catalogue="aac-metric")
    assert [(one.what, one.by, len(one.names)) for one in change.thicknesses] == [("thickness", -20 * MM, 4)]
    assert len(change.before.set_aside) == 4 and not change.after.set_aside and len(change.after.work.pieces) > 300
    assert words(change)[0].text == "make A, B, C and D 150 mm thick, now 170 mm"
    assert not changed(model, catalogue="aac-metric", any_thickness=True).thicknesses
    thin = wall_list(tmp_path, wall("A", (0, 0), (5999, 0)) + wall("F", (0, 3000), (5999, 3000), thickness=70))
    assert not changed(thin, catalogue="aac-metric").thicknesses  # 30 mm more would be another wall


def test_openings_change_their_width_only_where_that_is_asked(tmp_path: Path) -> None:
    hole = "{name: N, at: 1150, width: 900, sill: 0, height: 2010}"
    model = wall_list(tmp_path, ring(6000, 4200).replace("[]", f"[{hole}]", 1))
    assert all(m.thing.kind != "width" for m in changed(model, catalogue="aac-metric", worth=1).moves)
    wider = changed(model, catalogue="aac-metric", worth=1, widths=True)
    assert cuts(wider.after) <= cuts(changed(model, catalogue="aac-metric", worth=1).after)


@pytest.mark.parametrize("sample", ["seedling_shed.yaml"])
def test_every_move_of_a_sample_saves_what_it_says(sample: str) -> None:
    change = changed(SAMPLES / sample)
    assert change.moves and cuts(change.after) < cuts(change.before)
    by = {m.number: m.by for m in change.moves}
    for move in change.moves:
        found = plugins.load()
        rest = moved(change.named.building, change.named.work, change.things, {n: b for n, b in by.items() if n != move.number})
        without = pipeline.plan_of(rest, (), sample, Job(), found)
        assert move.saves == cuts(without) - cuts(change.after) and move.saves >= 3


def test_what_is_told_of_a_move_is_what_it_brings_beside_the_moves_that_are_left(monkeypatch: pytest.MonkeyPatch) -> None:
    """Three moves, of which the first goes: of the two left each is told by plans of these two, and one lays more with more cuts."""
    cut = {(): 22, (1,): 18, (2,): 15, (1, 2): 11, (0, 1): 20, (0, 2): 12, (0, 1, 2): 10}
    monkeypatch.setattr(change_module, "cuts", lambda plan, walls=None: cut[plan])
    monkeypatch.setattr(change_module, "_pays", lambda *_: True)
    monkeypatch.setattr(change_module, "_touched", lambda *_: frozenset({"A"}))
    monkeypatch.setattr(change_module, "moved", lambda building, work, things, moves: tuple(sorted(moves)))
    one = SimpleNamespace(kind="line", members=())
    now = SimpleNamespace(work=SimpleNamespace(pieces=()))
    for aside, left in (({}, {1: (4, 0.0), 2: (7, 0.0)}), ({(1, 2): 2.0, (0, 2): 2.5}, {0: (1, 2.0), 1: (2, 2.5), 2: (10, 0.0)})):
        monkeypatch.setattr(change_module, "_aside", lambda plan, walls, aside=aside: aside.get(plan, 0.0))
        trial = change_module._Trial(SimpleNamespace(walls=()), now, SimpleNamespace(all=[one] * 3, over={}), lambda plan: plan, 3)  # type: ignore[arg-type, var-annotated]
        moves = trial.kept({0: MM, 1: MM, 2: MM})
        assert {m.number: (m.saving.cuts, m.saving.lays) for m in moves if m.saving} == left


@pytest.mark.parametrize(
    ("saves", "lays", "said"),
    [(None, 0.0, ""), (4, 0.0, ": saves 4 cuts"), (1, 0.5, ": saves 1 cut and lays 0.50 m2 that is set aside without it"),
     (-5, 0.5, ": lays 0.50 m2 that is set aside without it, with 5 cuts more")],
)  # fmt: skip
def test_what_a_move_brings_in_words(saves: int | None, lays: float, said: str) -> None:
    assert _brings(Told(kind="wall", keys=("A",), by=MM, text="", saves=saves, lays_m2=lays)) == said


def test_order_of_walls_changes_nothing(tmp_path: Path) -> None:
    text = (SAMPLES / "seedling_shed.yaml").read_text(encoding="utf-8")
    head, _, rest = text.partition("walls:\n")
    walls = [f"  - name: {one}" for one in rest.split("  - name: ")[1:]]
    model = tmp_path / "turned.yaml"
    model.write_text(f"{head}walls:\n{''.join(reversed(walls))}", encoding="utf-8")
    one, two = (changed(m) for m in (SAMPLES / "seedling_shed.yaml", model))
    assert [(m.text, m.saves) for m in words(one)] == [(m.text, m.saves) for m in words(two)]


def test_moving_keeps_what_does_not_move() -> None:
    """Openings stay in their place in plan when their wall's end moves; volumes go with lengths."""
    found = plugins.load()
    building, _ = pipeline.drawn(SAMPLES / "landing_tool_store_mm.ifc", Job(), found)
    plan = pipeline.plan_of(building, (), "m", Job(), found)
    things = Things(plan.work, {w.guid for w in building.walls}, {})
    line = next(n for n, t in enumerate(things.all) if t.kind == "line" and t.members == (("R1", 1),))
    made = {w.guid: w for w in moved(building, plan.work, things, {line: 40 * MM}).walls}
    for old in building.walls:
        new = made[old.guid]
        assert new.drawn_m3 == pytest.approx(old.drawn_m3 * new.length / old.length)
        if any(p.wall == old.guid for p in plan.work.runs["R1"].parts):
            assert new.length == old.length and new.start != old.start and new.openings == old.openings
        for a, b in zip(old.openings, new.openings, strict=True):
            assert b.end - b.start == a.end - a.start
            along = [(e - s) / w.length for w, s, e in ((old, old.start[0], old.end[0]), (new, new.start[0], new.end[0]))]
            if old.start[1] == old.end[1]:
                assert new.start[0] + along[1] * b.start == pytest.approx(old.start[0] + along[0] * a.start, abs=2)
    assert sum(w != made[w.guid] for w in building.walls) >= 3
    assert levelled(building, ()) == building


def test_gaps_hold_bearings_and_neighbours() -> None:
    found = plugins.load()
    plan = pipeline.plan(SAMPLES / "landing_tool_store_mm.ifc", Job(), found)
    things = Things(plan.work, {w.guid for w in plan.building.walls}, {})
    gaps = list(things.gaps())
    assert all(g.least <= g.length for g in gaps) and any(g.least > 300 * MM for g in gaps) and any(g.terms for g in gaps)


@pytest.mark.parametrize("seed", range(40))
def test_the_programme_finds_the_best_of_all(seed: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """Random tables of three things: the same least as by trying every combination of moves and of who passes."""
    dice = Random(seed)
    reach, worth = 3, dice.randint(1, 3)
    corners = ("K1", "K2")

    def table() -> tuple[Segment, ...]:
        ends = sorted({-2 * reach, *dice.sample(range(-2 * reach + 1, 2 * reach + 1), 3), 2 * reach + 1})
        return tuple((a, b - 1, dice.randint(0, 4)) for a, b in pairwise(ends))

    places = [((0, 1),), ((1, -1),), total(((0, 1),), negative(((1, 1),))), total(((1, 1),), ((2, 1),))]
    costs = [Costs(run="R1", terms=p, courses=2 * dice.randint(1, 3), plain=table()) for p in places]
    for flip in (True, False):
        ends = (Corner(corner="K1", first=True), Corner(corner="K2", first=flip))
        costs.append(Costs(run="R1", terms=places[2], courses=4, plain=table(), alike=table(), ends=ends))
    gaps = [Gap(terms=places[2], length=4 * MM, least=2 * MM)]

    def at(found: tuple[Segment, ...], steps: int) -> int:
        return next(c for lo, hi, c in found if lo <= steps <= hi)

    def value(moves: tuple[int, ...], turns: tuple[bool, ...]) -> float:
        out = worth * sum(1 for m in moves if m) + sum(map(abs, moves)) * 0.5 / (1 + 3 * reach)
        for c in costs:
            steps = sum(sign * moves[t] for t, sign in c.terms)
            passes = [turns[corners.index(e.corner)] == e.first for e in c.ends] if c.ends else [True, False]
            out += c.courses / 2 * at(c.plain if passes[0] != passes[1] else c.alike, steps)
        return out

    steps = range(-reach, reach + 1)
    tries = [m for m in product(steps, repeat=3) if m[0] - m[1] >= -2]
    best = min(value(m, t) for m in tries for t in product((True, False), repeat=2))
    found = solve(costs, gaps, Limits(step=MM, most=reach * MM, worth=worth))
    moves = tuple(found.get(n, 0) // MM for n in range(3))
    assert moves in tries
    assert min(value(moves, t) for t in product((True, False), repeat=2)) == pytest.approx(best)
    monkeypatch.setattr(programme, "SMALL", 0)  # as where very many hang together: walls, then openings, twice
    found = solve(costs, gaps, Limits(step=MM, most=reach * MM, worth=worth), walls={0, 1})
    turned = tuple(found.get(n, 0) // MM for n in range(3))
    assert turned in tries
    least, none = (min(value(m, t) for t in product((True, False), repeat=2)) for m in (turned, (0, 0, 0)))
    assert best - 1e-6 <= least <= none + 1e-6


def test_tables_say_what_the_engine_says_at_every_step(tmp_path: Path) -> None:
    """Between two jambs and from a corner to a jamb: each millimetre from -60 to 60 asked by itself."""
    hole = "{{name: {0}, at: {1}, width: 1201, sill: 0, height: 2010}}"
    holes = ", ".join([hole.format("N1", 1150, 0), hole.format("N2", 3700, 0)])
    plan = pipeline.plan(wall_list(tmp_path, ring(6000, 4200).replace("[]", f"[{holes}]", 1)), Job(catalogue="aac-metric"), plugins.load())
    things = Things(plan.work, {w.guid for w in plan.building.walls}, {})
    tables = Tables(work=plan.work, things=things, offsets=plan.bond.offsets, step=MM, reach=60)
    asked: dict[tuple[object, ...], int | None] = {}
    plain, two = tables.all(), tables._two

    def ask(*args: object) -> int | None:
        return asked.setdefault(args, two(*args))  # type: ignore[arg-type]

    fine = Tables(work=plan.work, things=things, offsets=plan.bond.offsets, step=MM, reach=60)
    fine._two = ask  # type: ignore[method-assign, assignment]
    import wallquant.fitting.tables as module

    held, module.COARSE = module.COARSE, 1
    try:
        every = fine.all()
    finally:
        module.COARSE = held
    assert len(plain) > 5 and [c.plain for c in plain] == [c.plain for c in every] and [c.alike for c in plain] == [c.alike for c in every]
    assert any(len(c.plain) > 2 for c in plain)
    assert least_two(Half(spans=(), windows=()), Half(spans=(), windows=()), next(iter(tables.solvers)), 0) == 0


class TestCommand:
    def test_text_and_json(self, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
        run, model = caller(capsys), wall_list(tmp_path, ring(5990, 4185))
        before = model.read_bytes()
        code, out, _ = run("fit", model, "--catalogue", "aac-metric")
        assert code == 0 and "The least change: 2 moves (at most 150 mm each" in out
        assert "along R" in out and "as drawn  with the change" in out and "is not changed" in out
        code, text, _ = run("fit", model, "--catalogue", "aac-metric", "--format", "json")
        said = json.loads(text)
        assert code == 0 and said["after"]["cuts"] == 0 < said["before"]["cuts"]
        assert [m["kind"] for m in said["moves"]] == ["wall", "wall"] and all(m["saves"] >= 3 and m["of"] for m in said["moves"])
        assert sorted(abs(m["by_mm"]) for m in said["moves"]) == [6, 12] and said["limits"]["most_mm"] == 150
        assert run("fit", model, "--catalogue", "aac-metric", "--format", "json")[1] == text and model.read_bytes() == before
        assert sorted(p.name for p in tmp_path.iterdir()) == [model.name]

    def test_nothing_better(self, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
        code, out, _ = caller(capsys)("fit", wall_list(tmp_path, ring(6000, 4200)), "--catalogue", "aac-metric", "--units", "in")
        assert code == 0 and "Nothing better was found" in out and "6 in" in out

    @pytest.mark.parametrize("most", ["0 mm", "2 m", "far"])
    def test_a_most_that_cannot_be(self, tmp_path: Path, capsys: pytest.CaptureFixture[str], most: str) -> None:
        code, out, err = caller(capsys)("fit", wall_list(tmp_path, ring(6000, 4200)), "--most", most)
        assert code == 2 and not out and len(err.strip().splitlines()) == 1 and most in err

    def test_a_model_that_is_none(self, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
        code, _, err = caller(capsys)("fit", tmp_path / "none.ifc")
        assert code == 2 and "cannot be opened" in err


@pytest.mark.skipif(not OPEN.is_dir(), reason="no open models beside the checkout")
def test_open_models() -> None:
    """O9 (case B) has no cut piece as drawn, so that nothing is better; O7b has, and the moves that pay touch no level."""
    change = changed(OPEN / "O9_block_walls_inch.ifc", step=INCH // 16, most=6 * INCH)
    assert not change.moves and not change.levels and cuts(change.before) == 0
    change = changed(OPEN / "O7b_brick_house_mm.ifc")
    assert cuts(change.before) - cuts(change.after) >= 20 and len(change.moves) <= 4
    assert {m.thing.kind for m in change.moves} == {"line", "opening"}

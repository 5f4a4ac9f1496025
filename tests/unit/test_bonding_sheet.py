"""What runs cost before their joints are solved, whoever solves them, and who passes at corners."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise, product
from random import Random

import pytest

from tests.unit.laid_house import RULES, House, lay, ring, wall
from wallquant import job
from wallquant.bonding import bond, sharing, solving
from wallquant.bonding.cells import Block, Levels, face
from wallquant.bonding.phases import EXACT, Factor, parities
from wallquant.bonding.problem import Group, Meets, Must, Passes, Problem, Put, blocks_of, laid_face
from wallquant.bonding.puts import sound
from wallquant.bonding.sheet import BEYOND, HOPELESS, SCRAP, UNSOUND, Sheet, spliced
from wallquant.bonding.solving import Engine
from wallquant.bonding.span import Bonded
from wallquant.bonding.stack import Solver
from wallquant.units import MM

HOW = Bonded(unit=599 * MM, joint=MM, least=99 * MM, joint_least=MM // 2, joint_most=3 * MM)
LEVELS = Levels(bed=10 * MM, height=199 * MM, joint=MM, count=12, least_rip=50 * MM)
TOP = 10 + 12 * 200 - 1


def problem(dice: Random, *, raked: bool = False) -> Problem:
    """Make a run of 9 m with two doors, and for each lintel some places on two levels."""
    holes, choices = [], []
    for n, at in enumerate((2000, 5500)):
        lo = (at + dice.randrange(0, 600, 10)) * MM
        hi = lo + dice.choice((900, 1000)) * MM
        holes.append(Block(lo=lo, hi=hi, bottom=0, top=2010 * MM))
        places = []
        for _ in range(4):
            a = lo - dice.randrange(200, 420, 20) * MM
            bottom = (10 + 200 * dice.choice((10, 10, 9))) * MM
            places.append(Group(puts=(Put(lo=a, hi=a + 1500 * MM, bottom=bottom, top=bottom + 199 * MM, unit="L", opening=(n,)),)))
        choices.append(tuple(places))
    top = ((0, 2000 * MM), (9000 * MM, TOP * MM)) if raked else ((0, TOP * MM), (9000 * MM, TOP * MM))
    return Problem(
        how=HOW,
        levels=LEVELS,
        top=top,
        holes=tuple(holes),
        meets=(
            Meets(station=0, half=100 * MM, role="start"),
            Meets(station=4600 * MM, half=100 * MM, role="through"),
            Meets(station=8900 * MM, half=0, role="end"),
        ),
        base=Group(),
        choices=tuple(choices),
        offsets=(0, *(150 * MM,) * 11),
        slack=(6 * MM, 6 * MM),
    )


def phases(dice: Random) -> Passes:
    return tuple(tuple(dice.random() < 0.5 for _ in range(12)) if n < 2 else (True,) * 12 for n in range(3))


def slow(one: Problem, passes: Passes, picks: tuple[int, ...], shift: tuple[int, int]) -> int:
    """Return the cost of a run from its face: each span by itself, scraps, and fixed pieces beyond the ends."""
    solver = Solver(HOW)
    if not sound(one, picks):
        return UNSOUND
    made = laid_face(one, passes, picks, shift, solver)
    total = sum(SCRAP * ((s.hi - s.lo) * (s.top - s.bottom) // 10**12) for s in made.scraps)
    for k, (row, (lo, hi)) in enumerate(zip(made.rows, made.ends, strict=True), start=1):
        found = [solver.fewest(span, row.windows) for span in row.spans]
        total += sum(HOPELESS if cuts is None else cuts for cuts in found)
        here = [p for p in made.puts if p.bottom < LEVELS.top(k) and p.top > LEVELS.bottom(k)]
        total += sum(BEYOND for p in here if p.lo < lo or p.hi > hi)
    return total


@pytest.mark.parametrize("seed", range(12))
@pytest.mark.parametrize("raked", [False, True])
def test_sheets_made_from_each_other_cost_what_the_face_costs(seed: int, *, raked: bool) -> None:
    dice = Random(seed)
    one = problem(dice, raked=raked)
    sheet: Sheet | None = None
    solver = Solver(HOW)
    for _ in range(12):
        picks = (dice.randrange(4), dice.randrange(4))
        sheet = Sheet(one, picks, solver, sheet)
        passes, shift = phases(dice), (0, dice.choice((0, 5 * MM, -5 * MM)))
        assert sheet.cost(passes, shift) == slow(one, passes, picks, shift)
        assert sheet.cost(passes, shift) == slow(one, passes, picks, shift), "and again, from what is known"


@pytest.mark.parametrize("seed", range(40))
def test_spliced_faces_are_those_made_anew(seed: int) -> None:
    dice = Random(seed)
    one = problem(dice)
    before = [p for g, k in zip(one.choices, (0, 0), strict=True) for p in g[k].puts]
    after = [p for g, k in zip(one.choices, (dice.randrange(4), 0), strict=True) for p in g[k].puts]
    stations = min(before[0].lo, after[0].lo), max(before[0].hi, after[0].hi)
    cells, scraps = face(one.levels, one.top, blocks_of(one, before), HOW.joint)
    rows = [tuple(c for c in cells if c.row == k) for k in range(1, LEVELS.count + 1)]
    found = spliced(one, rows, scraps, blocks_of(one, after), blocks_of(one, before), stations, {})
    assert found is not None
    fresh = face(one.levels, one.top, blocks_of(one, after), HOW.joint)[0]
    assert found[0] == [tuple(sorted((c for c in fresh if c.row == k), key=lambda c: c.lo)) for k in range(1, LEVELS.count + 1)]


SOUND = {
    "as made": ((), (), None, True),
    "in a hole": ((2100, 3600, 1810), (), None, False),
    "under another": ((1700, 3200, 2110), (), None, False),
    "over a hole that it does not bridge": ((1700, 3200, 2011), (), None, False),
    "the same phases": ((), (True, True), None, True),
    "opposite phases": ((), (True, False), None, False),
    "up to a straight joint": ((), (), 3200, True),
    "ends in a straight joint": ((), (), 3195, False),
    "ends just beyond a straight joint": ((), (), 3150, False),
    "passes a straight joint": ((), (), 3000, True),
}


@pytest.mark.parametrize(("place", "phases", "joint", "wanted"), SOUND.values(), ids=SOUND)
def test_alternatives_that_cannot_be_laid_together(
    place: tuple[int, ...], phases: tuple[bool, ...], joint: int | None, *, wanted: bool
) -> None:
    """A lintel over 2000 to 2900 and a second piece; groups that say who passes at a corner in one course; a straight joint of 10."""
    lintel = Put(lo=1700 * MM, hi=3200 * MM, bottom=2010 * MM, top=2209 * MM, unit="L", opening=(0,))
    more = (Put(lo=place[0] * MM, hi=place[1] * MM, bottom=place[2] * MM, top=(place[2] + 199) * MM, unit="L"),) if place else ()
    must = [Group(musts=(Must(junction=0, course=3, passes=one),)) for one in phases]
    alone = place[2:] == (2011,)
    straight = (Put(lo=joint * MM, hi=(joint + 10) * MM, bottom=0, top=2409 * MM),) if joint else ()
    one = replace(
        problem(Random(1)),
        holes=(Block(lo=2000 * MM, hi=2900 * MM, bottom=0, top=2010 * MM),),
        base=Group(puts=() if alone else (lintel, *straight)),
        choices=((Group(puts=more),), *((g,) for g in must)),
    )
    assert sound(one, (0,) * len(one.choices)) is wanted


def test_free_ends_move_within_their_fit_to_save_cuts() -> None:
    """A wall 3 mm longer than five units and their joints is laid 3 mm shorter, and not cut."""
    house = lay([wall("A", (0, 0), (3002, 0), height=610)])
    assert house.bond.cuts == 2
    assert house.row("R1", 1)[-1][1] - house.row("R1", 1)[0][0] == 2999


def laid(house: House, workers: int) -> tuple[object, ...]:
    done, told = bond(house.network, house.building, job.configure(job.Job(), RULES), workers=workers)
    pieces = done.work.pieces
    columns = {c: getattr(pieces, c) for c in pieces.__dataclass_fields__}
    return {c: v.tolist() if hasattr(v, "tolist") else v for c, v in columns.items()}, told, done.cuts, done.bound, done.work.phases


@pytest.mark.parametrize("parts", [1, 2])
def test_any_number_of_workers_gives_the_same(monkeypatch: pytest.MonkeyPatch, parts: int) -> None:
    """With one part, its runs are shared out once phases are chosen; with two alike, whole parts."""
    house = two_rings() if parts == 2 else lay([*ring(6200, 4400), wall("M", (2600, 200), (2600, 4200))])
    alone = laid(house, 1)
    monkeypatch.setattr(sharing, "WORTH", 0)
    for workers in (0, 2, 3):
        assert laid(house, workers) == alone


def test_parts_are_shared_out_whole_and_evenly() -> None:
    house = two_rings()
    corners = {c.name: c for c in house.network.corners}
    asked = dict.fromkeys(r.name for r in house.network.runs)
    sizes = {r.name: int(r.name[1:]) for r in house.network.runs}
    batches = sharing._batches(asked, corners, sizes, 4)  # type: ignore[arg-type]
    assert len(batches) == 2
    for names, around in batches:
        assert len(names) == len(around) == 4
        assert {n for c in around.values() for n in c.runs} == set(names)
    assert len(sharing._batches(asked, corners, sizes, 1)) == 1  # type: ignore[arg-type]


def test_parts_that_hang_together_stay_together() -> None:
    house = two_rings()
    corners = {c.name: c for c in house.network.corners}
    asked = dict.fromkeys(r.name for r in house.network.runs)
    parts = sharing._parts(asked, corners)  # type: ignore[arg-type]
    assert sorted(len(p) for p in parts) == [4, 4]
    assert sorted(n for p in parts for n in p) == sorted(asked)


def two_rings() -> House:
    def moved(xy: tuple[int, int]) -> tuple[float, float]:
        return xy[0] / MM + 20000, xy[1] / MM

    far = [wall(w.name, moved(w.start), moved(w.end)) for w in ring(6200, 4400, prefix="F")]
    return lay([*ring(6200, 4400), *far])


def test_equal_problems_are_numbered_and_solved_once() -> None:
    house = two_rings()
    engine = Engine()
    one, other = problem(Random(3)), problem(Random(3))
    assert engine.number(one) == engine.number(other)
    assert engine.number(problem(Random(4))) != engine.number(one)
    assert engine.solver(one) is engine.solver(other)
    assert house.bond.cuts == house.bond.bound


@pytest.mark.parametrize("seed", range(20))
def test_parities_against_trying_all(seed: int) -> None:
    dice = Random(seed)
    names = [f"K{n}" for n in range(dice.randint(1, 6))]
    factors = []
    for _ in range(dice.randint(0, 6)):
        own = tuple(sorted(dice.sample(names, dice.randint(1, min(3, len(names))))))
        table = {p: dice.randint(0, 9) for p in product((0, 1), repeat=len(own))}
        factors.append(Factor(corners=own, cost=table.__getitem__))

    def total(at: dict[str, int]) -> int:
        return sum(f.cost(tuple(at[c] for c in f.corners)) for f in factors)

    best = min(total(dict(zip(names, p, strict=True))) for p in product((0, 1), repeat=len(names)))
    assert total(parities(names, factors)) == best


def test_many_corners_are_improved_one_by_one() -> None:
    """A chain in which each two neighbours want to differ has no worse place to stop than its best."""
    names = [f"K{n}" for n in range(EXACT + 4)]
    factors = [Factor(corners=(a, b), cost=lambda p: int(p[0] == p[1])) for a, b in pairwise(names)]
    found = parities(names, factors)
    assert [found[n] for n in names] in ([k % 2 for k in range(len(names))], [1 - k % 2 for k in range(len(names))])


def test_a_course_that_passes_twice_counts_more_than_cuts() -> None:
    assert 100 < solving.TIE < HOPELESS

"""The proven least of cut pieces against all layouts of small faces: cut in length, by a rake, in height, or twice."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise
from random import Random

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tests.unit.joint_brute import HOW, Pieces, apart, courses, cuts, marks, random_spans, random_windows, span
from tests.unit.laid_house import Hole, checked, lay, ring, wall
from wallquant.bonding.nodes import Row
from wallquant.bonding.span import Bonded, Span, fewest_pieces
from wallquant.bonding.stack import Solver
from wallquant.layout import Courses, Run
from wallquant.rules import Choice, Fixed, Rule, RuleError, Sentence, Use, Window
from wallquant.units import MM

FEW = settings(derandomize=True, deadline=None, max_examples=40, suppress_health_check=[HealthCheck.too_slow])


def ripped(spans: tuple[Span, ...], dice: Random) -> tuple[Span, ...]:
    return tuple(replace(s, ripped=dice.random() < 0.5) for s in spans)


def face(seed: int) -> tuple[Row, ...]:
    """Make two to four courses, about half of their spans ripped."""
    dice = Random(seed)
    most = dice.choice((1, 1, 2))
    out = []
    for k in range(dice.randint(2, 4)):
        spans = ripped(random_spans(dice, most, longest=13 if most == 1 else 17), dice)
        out.append(Row(spans=spans, windows=random_windows(dice, spans[-1].hi, 1), offset=dice.randint(0, 2) if k else 0))
    return tuple(out)


def counted(one: Span, pieces: Pieces) -> int:
    """Return the cut pieces of a span: all of them where it is ripped."""
    return len(pieces) if one.ripped else cuts(one, HOW, pieces)


def least(rows: tuple[Row, ...]) -> int | None:
    """Return the fewest cut pieces of a face by trying all layouts, course upon course."""
    best: dict[tuple[Pieces, ...], int] = {}
    for k, row in enumerate(rows):
        now: dict[tuple[Pieces, ...], int] = {}
        for laid in courses(row.spans, HOW, row.windows):
            own = sum(counted(s, p) for s, p in zip(row.spans, laid, strict=True))
            mine = marks(row.spans, laid)
            below = [n for other, n in best.items() if apart(marks(rows[k - 1].spans, other), mine, row.offset)] if k else [0]
            if below:
                now[laid] = own + min(below)
        best = now
    return min(best.values(), default=None)


def faces(count: int) -> list[tuple[tuple[Row, ...], int]]:
    """Return faces that can be laid with all their windows and offsets kept, and the fewest cut pieces of each."""
    out = []
    for seed in range(count):
        rows = face(seed)
        wanted = least(rows)
        if wanted is not None and any(s.ripped for r in rows for s in r.spans):
            out.append((rows, wanted))
    return out


def test_the_bound_never_exceeds_what_can_be_laid_and_comes_near_it() -> None:
    found = [(Solver(HOW).stack(rows), rows, wanted) for rows, wanted in faces(240)]
    assert len(found) > 120
    for stack, rows, wanted in found:
        assert stack.bound <= wanted <= stack.cuts, rows
    assert sum(s.bound for s, _, _ in found) >= 0.95 * sum(w for _, _, w in found)
    assert sum(s.cuts for s, _, _ in found) <= 1.05 * sum(w for _, _, w in found)


@pytest.mark.parametrize(("high", "least_of_all"), [(False, 2), (True, 11)])
def test_a_gain_is_not_counted_on_top_of_the_same_pieces(*, high: bool, least_of_all: int) -> None:
    """Ten units on ten: one course needs two cuts by length; where the upper one is ripped, they are two of its eleven cut pieces."""
    how = Bonded(unit=599, joint=1, least=99, joint_least=1, joint_most=1)
    rows = (Row(spans=(span(0, 5999),)), Row(spans=(replace(span(0, 5999), ripped=high),), offset=150))
    stack = Solver(how).stack(rows)
    assert stack.violations == 0
    assert least_of_all - 1 <= stack.bound <= least_of_all <= stack.cuts <= least_of_all + 1


@pytest.mark.parametrize("most", [1, 2, 3])
def test_fewest_pieces_against_trying_all_joints(most: int) -> None:
    """Pieces up to 6 long, joints from 1 to `most` wide: the fewest that reach over a span of each length."""
    how = Bonded(unit=6, joint=1, least=1, joint_least=1, joint_most=most)
    reached = {0: set(range(1, 7))}
    for count in range(1, 6):
        reached[count] = {at + joint + piece for at in reached[count - 1] for joint in range(1, most + 1) for piece in range(1, 7)}
    for length in range(1, 34):
        tried = next(n for n in sorted(reached) if length in reached[n]) + 1
        assert fewest_pieces(span(3, 3 + length), how) == tried


def test_a_ripped_top_course_has_its_fewest_pieces_as_bound() -> None:
    """Twelve courses and a rip of 140: a wall of ten units, free ends; the rip has ten pieces at least, all cut."""
    low, high = (lay([wall("A", (0, 0), (5999, 0), height=h)]).bond for h in (2409, 2550))
    assert (low.cuts, low.bound) == (12, 12)
    assert 12 + 10 <= high.bound <= high.cuts <= 12 + 11
    assert high.cuts == np.count_nonzero(high.work.pieces.cut)


def test_a_ring_with_a_ripped_top_course() -> None:
    """Pinwheel of 34 whole units a course; the thirteenth is ripped, and there every unit is cut in height alone."""
    done = checked(lay(ring(6200, 4400, height=2550))).bond
    assert (done.cuts, done.bound) == (34, 34)


@st.composite
def runs(draw: st.DrawFn) -> tuple[int, int, list[Hole]]:
    """A free wall whose top, sills and heads lie on course or off it."""
    length, height = draw(st.integers(700, 7000)), draw(st.sampled_from([2409, 2450, 2500, 2555]))
    out: list[Hole] = []
    at = draw(st.integers(0, length // 2))
    for _ in range(draw(st.integers(0, 2))):
        width, sill = draw(st.integers(400, 1600)), draw(st.sampled_from([0, 810, 870, 930]))
        if at + width > length:
            break
        out.append((at, at + width, sill, min(height, draw(st.sampled_from([2010, 2100, 2150, 5000])))))
        at += width + draw(st.sampled_from([0, 240, 700]))
    return length, height, out


@FEW
@given(runs())
def test_random_runs(one: tuple[int, int, list[Hole]]) -> None:
    length, height, holes = one
    done = checked(lay([wall("A", (0, 0), (length, 0), height=height, openings=holes)])).bond
    assert done.bound <= done.cuts == np.count_nonzero(done.work.pieces.cut)
    p = done.work.pieces
    tall = {(int(p.course[k]), int(p.top[k] - p.bottom[k])) for k in range(len(p))}
    if any(high < 199 * MM for _, high in tall):
        assert done.bound > 0


class Half(Rule):
    """A padstone cut from a unit, in the middle of the first run."""

    code = "half"

    def demand(self, run: Run, courses: Courses) -> list[Sentence]:
        return [Fixed(course=2, lo=2400 * MM, hi=2700 * MM, unit=run.unit.code)]


def test_a_fixed_piece_that_is_cut_is_in_both_numbers() -> None:
    done = lay([wall("A", (0, 0), (5999, 0), height=410)], more_rules=[Half()]).bond
    p = done.work.pieces
    assert [(int(p.start[k]) // MM, int(p.cut[k])) for k in range(len(p)) if p.fixed[k] >= 0] == [(2400, 1)]
    assert 1 <= done.bound <= done.cuts == np.count_nonzero(p.cut)


class Other(Rule):
    """Another unit over a stretch."""

    code = "other"

    def __init__(self, said: Sentence) -> None:
        super().__init__()
        self.said = said

    def demand(self, run: Run, courses: Courses) -> list[Sentence]:
        return [self.said]


@pytest.mark.parametrize("kind", ["use", "window"])
def test_a_unit_with_another_face_is_refused(kind: str) -> None:
    """Joints are solved for one face: pieces of 599 x 199 cannot be cut from a unit of 599 x 249, nor be whole units of it."""
    unit = "std-600x250x200"
    said: Sentence = Use(course=1, lo=0, hi=MM, unit=unit) if kind == "use" else Window(course=1, lo=0, hi=MM, unit=unit)
    face = "in run R1, whose units are 599 x 199 mm; ask for one of that face"
    with pytest.raises(RuleError, match=f"rule other asks for {unit} {face}"):
        lay([wall("A", (0, 0), (3000, 0), height=410)], more_rules=[Other(said)])


def test_a_unit_that_is_not_in_the_catalogue_is_refused_in_an_alternative_too() -> None:
    said = Choice(name="either", alternatives=((Fixed(course=1, lo=0, hi=MM, unit="std-600x201x200"),),))
    with pytest.raises(RuleError, match="rule other asks for a unit in run R1, but catalogue aac-metric has no unit 'std-600x201x200'"):
        lay([wall("A", (0, 0), (3000, 0), height=410)], more_rules=[Other(said)])


def test_pieces_of_a_span_are_no_fewer_than_its_cuts() -> None:
    """What the proof rests on: of all layouts of a span none has more cuts than pieces, and none fewer pieces than the least."""
    dice = Random(5)
    for _ in range(60):
        one = random_spans(dice, 1)[0]
        for laid in courses((one,), HOW):
            assert fewest_pieces(one, HOW) <= len(laid[0])
            assert cuts(one, HOW, laid[0]) <= len(laid[0])
            assert all(b[0] - a[1] == HOW.joint for a, b in pairwise(laid[0]))

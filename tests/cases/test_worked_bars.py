"""Bars worked out by hand: which units, turned or drilled, and what is clear.  Stations here are from the node (t/2 less than face)."""

from __future__ import annotations

from dataclasses import replace
from math import pi
from typing import Any

import pytest
from wallquant_thinbed.bar_steps import FILL, precedences
from wallquant_thinbed.vertical_bars import Params

from tests.unit import laid_house as house
from wallquant.bonding import cores
from wallquant.ordering import make_steps
from wallquant.units import MM, inches, mm

SPACED = {"vertical_bars": {"spacing": "1200 mm"}}
FT3 = 304.8**3 * 1e-9


def work_of(pieces: Any, run: str, at: float) -> list[tuple[int, str, str]]:
    """Course, unit kind and work of the pieces over a station of a run."""
    n = pieces.runs.index(run)
    rows = [k for k in range(len(pieces)) if pieces.run[k] == n and pieces.start[k] < mm(at) < pieces.end[k]]
    return [(int(pieces.course[k]), pieces.units[pieces.unit[k]].kind, pieces.work.get(k, "")) for k in rows]


@pytest.fixture(scope="module")
def ring() -> Any:
    """Outside 6.2 x 4.4 m, 200 thick, bars at most 1200 apart."""
    return house.lay(house.ring(6200, 4400), settings=SPACED)


def test_no_drilling_round_a_pinwheel(ring: Any) -> None:
    """100, 1300, 2500, 3700, 4900, 6100 from the outside face: 100 from alternating ends, one core unit, turned each course."""
    pieces = ring.work.pieces
    assert not pieces.holes
    for at in (1200, 2400, 3600, 4800):
        told = work_of(pieces, "R2" if ring.work.runs["R2"].length == mm(6000) else "R1", at)
        assert {kind for _, kind, _ in told} == {"core"}, at
        turned = {course: "turn" in work for course, _, work in told}
        assert all(turned[c] != turned[c + 1] for c in turned if c + 1 in turned), at
    stubs = sorted(i.start for i in ring.items("bar") if i.course == 0 and ring.work.runs[i.run].length == mm(6000))
    assert {round(s / MM) for s in stubs} >= {0, 1200, 2400, 3600, 4800, 6000}


def test_cuts_are_no_more_than_without_bars(ring: Any) -> None:
    assert int((ring.work.pieces.cut & 0b1111 != 0).sum()) == 0


def test_each_first_piece_at_a_core_is_notched(ring: Any) -> None:
    pieces = ring.work.pieces
    notched = [k for k, work in pieces.work.items() if "notch" in work]
    assert len(notched) >= 16 and all(pieces.cut[k] == cores.NOTCH for k in notched)
    assert 1 in {int(pieces.course[k]) for k in notched}


@pytest.mark.parametrize(("catalogue", "thickness", "foot"), [("aac-us", "6", 0.0491), ("aac-us", "8", 0.0873)])
def test_core_grout_by_the_foot(catalogue: str, thickness: str, foot: float) -> None:
    """A core of 3 in (6 in block) takes 0.0491 ft3 a foot, one of 4 in (8 in block) 0.0873 (derived), less the bar's own volume."""
    drawn = (float(thickness) - 0.125) * 25.4
    made = house.wall("A", (0, 0), (6092.825, 0), thickness=drawn, height=2441.575)
    laid = house.lay([made], catalogue=catalogue, settings={"vertical_bars": {"schedule": "R1: 4 in"}})
    fills = laid.items("core fill")
    high = sum(i.top - i.bottom for i in fills) / MM
    bar = pi / 4 * 12.7**2 * high * 1e-9
    assert (sum(i.quantity for i in fills) + bar) / FT3 / (high / 304.8) == pytest.approx(foot, abs=5e-5)


@pytest.mark.parametrize(
    ("thickness", "diameter", "offset", "along", "clear"),
    [
        (7.875, 4, 5 - 7.875 / 2, 0, 0.6875),
        (7.875, 3, 5 - 7.875 / 2, 0, 0.1875),
        (9.875, 4, 9.875 / 2 - 4, 9.875 / 2 - 4, 0.424),
    ],
)
def test_clearance_of_a_bar_in_its_core(thickness: float, diameter: float, offset: float, along: float, clear: float) -> None:
    """No. 4 in 8 in block at 5 in, and in 10 in block at 4 x 4 in from the faces."""
    cross = cores._Cross(item=0, row=0, station=inches(str(along)), offset=inches(str(offset)))
    found = cores._clear((0, 0, inches(str(diameter))), cross, inches("1/2"))
    assert found / inches("1") == pytest.approx(clear, abs=5e-4)
    assert (found >= cores.CLEAR) == (clear >= 0.25)


@pytest.mark.parametrize(("number", "lap"), [(4, 24), (5, 30), (6, 36)])
def test_laps(number: int, lap: int) -> None:
    """UFC 3-310-03A (read): No. 4 24 in, No. 5 30 in, No. 6 36 in, which is 48 diameters."""
    laid = house.lay(
        [house.wall("A", (0, 0), (6000, 0))],
        settings={"vertical_bars": {"schedule": "R1: 100 mm", "size": f"{number}/8 in"}},
    )
    (stub,) = [i for i in laid.items("bar") if i.course == 0]
    assert stub.top - stub.bottom == inches(str(lap))


def test_a_bar_ends_under_a_lintel_and_says_so() -> None:
    wall = house.wall("A", (0, 0), (6000, 0), openings=[(2300, 3300, 0, 2010)])
    laid = house.lay([wall], settings={"vertical_bars": {"schedule": "R1: 2200 mm"}})
    (said,) = {f.text for f in laid.findings if f.code == "bars.interrupted"}
    lintel = laid.work.bridges[0].lintel[0]
    assert laid.work.pieces.names[lintel] in said
    under = int(laid.work.pieces.bottom[lintel])
    assert all(not (i.bottom < under < i.top) for i in laid.items("bar"))


def test_a_piece_that_no_core_unit_fits_is_drilled() -> None:
    """199 from its end: no core of a unit sits there."""
    laid = house.lay([house.wall("A", (0, 0), (6000, 0))], settings={"vertical_bars": {"schedule": "R1: 799 mm"}})
    pieces = laid.work.pieces
    assert pieces.holes and all(hole[0] == mm(799) for some in pieces.holes.values() for hole in some)
    for row, some in pieces.holes.items():
        full = pieces.volume[row] - sum(pi / 4 * d * d for _, _, d in some) * (pieces.top[row] - pieces.bottom[row]) / 1e27
        assert pieces.solid[row] == pytest.approx(full, rel=1e-9)


def test_a_hole_at_the_end_of_a_piece_says_how_far_off_it_is() -> None:
    """A bar at 30 in a hole of 100, and ten units end 5999 after they begin at 1: the hole reaches 21 over the end, and 25 is asked."""
    laid = house.lay([house.wall("A", (0, 0), (6000, 0))], settings={"vertical_bars": {"schedule": "R1: 30 mm"}})
    [said] = {f.text for f in laid.findings if f.code == "bars.thin-web" and f.place.piece == "R1-C01-01"}
    assert int(laid.work.pieces.start[0]) == mm(1)
    assert said.startswith("The hole for the bar at 30 mm in R1 leaves 0 mm to the end of R1-C01-01, 25 mm is asked; a bar 46 mm farther")


def test_bars_are_steps_in_their_order() -> None:
    laid = house.lay([house.wall("A", (0, 0), (6000, 0))], settings={"vertical_bars": {"schedule": "R1: 100 mm"}})
    kinds = [s.kind for s in make_steps(laid.work, {}) if s.items]
    assert set(kinds) >= {"bar stub", "bar", "core check", "core grout"}


def test_only_what_stands_on_a_core_that_ends_waits_for_its_grout() -> None:
    """A gable from 1400 at the sides to 4500 at 4300, bars at most 1200 apart, lifts of 8 courses.

    Courses 9 and on wait for the first lift, whose cores go on.  Cores that end under the rake are grouted with the next lift, and the
    last ones hold up no course beside them: no night is lost for a core that has nothing to carry.
    """
    made = house.wall("A", (0, 0), (8000, 0), top=[(0, 1400), (4300, 4500), (8000, 1400)])
    laid = house.lay([made], settings=SPACED)
    work = replace(laid.work, steps=make_steps(laid.work, {}))
    steps = {s.name: s for s in work.steps}
    fills = [i for i in work.items if getattr(i, "task", "") == FILL]
    last = {i.start: max(f.course for f in fills if f.start == i.start) for i in fills}
    waits: dict[int, set[str]] = {}
    for one in precedences(work, Params(spacing=mm(1200)), "vertical_bars"):
        if one.lag:
            waits.setdefault(steps[one.first[0]].course, set()).update(one.then)
    goes_on = {c: any(f.course == c < last[f.start] for f in fills) for c in {f.course for f in fills}}
    assert [more for _, more in sorted(goes_on.items())] == [True, True, False]
    p = work.pieces
    for course, more in goes_on.items():
        over = {s.name for s in work.steps if s.course == course + 1 and s.pieces}
        if more:
            assert waits.get(course, set()) == over
            continue
        here = [f for f in fills if f.course == course]
        on = {
            n
            for n in over
            if any(p.start[r] < f.start + f.size / 2 and p.end[r] > f.start - f.size / 2 for r in steps[n].pieces for f in here)
        }
        assert waits.get(course, set()) == on
    free = [c for c, more in goes_on.items() if not more and c not in waits and any(s.course == c + 1 for s in work.steps)]
    assert free, "some cores end beside courses that go on"

"""Ledgers: each term by hand for small walls, and what is set aside with its reason."""

from __future__ import annotations

from dataclasses import replace

import pytest

from tests.unit.laid_house import checked, lay, residual, wall
from wallquant.building import Opening
from wallquant.units import MM, mm


def test_terms_of_a_free_wall() -> None:
    """6.0 x 2.4 x 0.2: laid to 2.409 by the fit of the top; the levelling bed is laid too."""
    account = checked(lay([wall("A", (0, 0), (5999, 0))])).account("A")
    ledger = account.ledger
    assert ledger["drawn"] == pytest.approx(5.999 * 2.4 * 0.2)
    assert ledger["fit_height"] == pytest.approx(5.999 * 0.009 * 0.2)
    assert ledger["laid"] == pytest.approx(5.999 * 2.409 * 0.2)
    assert {k: v for k, v in ledger.items() if k not in ("drawn", "fit_height", "laid")} == pytest.approx(
        dict.fromkeys(("openings", "finishes", "set_aside", "lent", "borrowed", "fit_length", "fit_thickness"), 0), abs=1e-9
    )
    assert account.fit == {"start": 0, "end": 0, "top": 9 * MM, "thickness": 0}


def test_lent_and_borrowed_at_a_corner() -> None:
    """The run that butts lends its half of the courses to the one that passes, which borrows it; each joint is the butting run's."""
    house = checked(lay([wall("A", (0, 100), (5999, 100), height=809), wall("B", (100, 200), (100, 3000), height=809)]))
    a, b = house.account("A").ledger, house.account("B").ledger
    square = 0.2 * 0.2 * 0.199
    assert b["borrowed"] == pytest.approx(2 * square, rel=0.02)  # B is drawn against A's face, and passes in two of four courses
    assert a["lent"] == pytest.approx(2 * square, rel=0.02)
    assert a["borrowed"] == b["lent"] == pytest.approx(0, abs=1e-9)


@pytest.mark.parametrize("hole", [(10, 990, 0, 2409), (10, 990, 0, 2000), (30, 970, 0, 2200)])
def test_a_wall_of_which_no_piece_is_laid_is_set_aside_whole(hole: tuple[int, int, int, int]) -> None:
    """An opening leaves slivers that no piece fits; the beds and joints between them are no masonry either."""
    house = lay([wall("A", (0, 0), (1000, 0), height=2409, openings=[hole])])
    assert len(house.work.pieces) == 0
    account = house.account("A")
    assert abs(residual(account)) < 1e-9
    assert account.ledger["laid"] == 0
    assert account.area["laid"] == pytest.approx(0, abs=1e-12)
    assert account.area["set_aside"] == pytest.approx(2.409 - (hole[1] - hole[0]) * (hole[3] - hole[2]) / 1e6)
    assert sum(account.causes.values()) == pytest.approx(account.area["set_aside"])


def test_finishes_are_taken_off_and_booked_as_thickness() -> None:
    one = replace(wall("A", (0, 0), (5999, 0)), drawn_m3=5.999 * 2.4 * 0.23, finishes_m3=5.999 * 2.4 * 0.03)
    account = lay([replace(one, drawn_m3=5.999 * 2.4 * 0.2)]).account("A")
    assert abs(residual(account)) < 1e-9
    layered = lay([one]).account("A")
    assert layered.ledger["finishes"] == pytest.approx(5.999 * 2.4 * 0.03)
    assert abs(residual(layered)) < 1e-9
    assert layered.ledger["laid"] == pytest.approx(account.ledger["laid"])


def test_what_reading_set_aside_stays_set_aside() -> None:
    """A wedge under a leaning clip lies outside the profile: it is drawn, set aside with its reason, and so is its face."""
    one = wall("A", (0, 0), (5999, 0))
    one = replace(one, drawn_m3=one.drawn_m3 + 0.1, set_aside_m3=0.1, set_aside_m2=0.5, reasons=("its top leans across",))
    account = lay([one]).account("A")
    assert account.ledger["set_aside"] == pytest.approx(0.1)
    assert account.area["set_aside"] == pytest.approx(0.5)
    assert account.area["wall"] == pytest.approx(5.999 * 2.4 + 0.5)
    assert account.area["laid"] == pytest.approx(5.999 * 2.4)
    assert account.reasons == ("its top leans across",)
    assert abs(residual(account)) < 1e-9


def test_scraps_are_set_aside_by_cause() -> None:
    house = checked(lay([wall("A", (0, 0), (5999, 0), height=40)]))
    account = house.account("A")
    assert account.area["laid"] == pytest.approx(0, abs=1e-9)
    assert account.causes == {"less high than the least rip": pytest.approx(5.999 * 0.04)}
    assert account.reasons == ("0.240 m2 less high than the least rip",)
    assert account.ledger["laid"] == 0


def test_masonry_over_an_opening_without_lintel() -> None:
    """A stock lintel of 3 m does not span 3.2 m: all above the opening is set aside and named."""
    house = checked(lay([wall("A", (0, 0), (5999, 0), openings=[(1000, 4200, 0, 2010)])]))
    account = house.account("A")
    assert account.causes["over openings that nothing bridges"] == pytest.approx(3.2 * (2.409 - 2.010), abs=0.04)
    assert any("nothing bridges" in r for r in account.reasons)
    assert "bond.set-aside" in house.codes()


def test_openings_stay_as_drawn_when_the_job_moves_a_head() -> None:
    walls = [wall("A", (0, 0), (5999, 0), height=2610, openings=[(2000, 2900, 0, 2100)])]
    drawn, moved = (lay(walls, heads=h).account("A") for h in (None, {"A#1": 2010 * MM}))
    assert drawn.ledger["openings"] == moved.ledger["openings"] == pytest.approx(0.9 * 2.1 * 0.2)
    assert moved.ledger["fit_height"] - drawn.ledger["fit_height"] == pytest.approx(0.9 * 0.09 * 0.2, rel=0.05)
    assert abs(residual(moved)) < 1e-9


def test_openings_that_are_no_rectangle() -> None:
    """An arch: the void is less than its box; the rest of the box is set aside as cut on site."""
    one = wall("A", (0, 0), (5999, 0), openings=[(2000, 2900, 0, 2010)])
    box = 0.9 * 2.01 * 0.2
    one = replace(one, openings=(replace(one.openings[0], volume_m3=box - 0.03),))
    account = lay([one]).account("A")
    assert account.ledger["openings"] == pytest.approx(box - 0.03)
    assert account.ledger["set_aside"] == pytest.approx(0.03)
    assert account.causes == {"around openings that are no rectangle, cut on site": pytest.approx(0.15)}
    assert abs(residual(account)) < 1e-9


def test_niches_are_openings_that_are_laid() -> None:
    one = wall("A", (0, 0), (5999, 0))
    niche = Opening(key="N", start=mm(2000), end=mm(2600), sill=mm(810), head=mm(1410), through=False, volume_m3=0.6 * 0.6 * 0.08)
    account = lay([replace(one, openings=(niche,))]).account("A")
    assert account.ledger["openings"] == pytest.approx(0.6 * 0.6 * 0.08)
    assert account.ledger["laid"] == pytest.approx(5.999 * 2.409 * 0.2)
    assert abs(residual(account)) < 1e-9


def test_walls_of_one_run_divide_at_their_drawn_boundary() -> None:
    house = checked(lay([wall("A", (0, 0), (2500, 0)), wall("B", (2500, 0), (5999, 0))]))
    assert len(house.work.runs) == 1
    a, b = house.account("A").ledger, house.account("B").ledger
    assert a["laid"] == pytest.approx(2.5 * 2.409 * 0.2)
    assert b["laid"] == pytest.approx(3.499 * 2.409 * 0.2)


def test_ends_that_are_no_square_cut() -> None:
    """A body that is much smaller than its profile says: the difference is set aside with its reason."""
    one = wall("A", (0, 0), (5999, 0))
    account = lay([replace(one, drawn_m3=one.drawn_m3 + 0.2)]).account("A")
    assert "at ends that are no square or mitred cut" in account.causes
    assert abs(residual(account)) < 1e-9


def test_a_notched_body_is_laid_through() -> None:
    """A body smaller than its profile, notched where others meet it: more is laid than drawn, and nothing is set aside."""
    one = wall("A", (0, 0), (5999, 0))
    account = lay([replace(one, drawn_m3=one.drawn_m3 - 0.2)]).account("A")
    assert not account.causes
    assert account.ledger["set_aside"] == pytest.approx(0, abs=1e-12)
    assert account.ledger["borrowed"] == pytest.approx(0.2)
    assert abs(residual(account)) < 1e-9


def test_overhang_past_a_corner() -> None:
    """A wall drawn 60 mm past the face of the other: too short for a piece, longer than the fit of a joined end."""
    house = checked(lay([wall("A", (-60, 100), (5999, 100)), wall("B", (100, 200), (100, 3000))]))
    account = house.account("A")
    assert account.causes["past a corner, by less than a piece"] == pytest.approx(0.06 * 2.4, rel=0.02)


def test_what_lies_beside_an_acute_corner_is_named_by_it() -> None:
    """B rises 300 on 6000: A is clear of it with its whole thickness at 100 / sin + 100 / tan from the node, 4 m."""
    house = checked(lay([wall("A", (0, 0), (6000, 0)), wall("B", (0, 0), (6000, 300))]))
    causes = {cause: size for name in ("A", "B") for cause, size in house.account(name).causes.items()}
    assert set(causes) == {"beside a corner at which it stops square before another wall"}
    assert sum(causes.values()) == pytest.approx(100 * (401**0.5 + 20) * 2400 * 1e-6, rel=0.005)


def test_a_wall_in_a_hole_is_lent_to_the_wall_around_it() -> None:
    """Drawn less openings stays what the model holds, for both; what is laid is as if the hole had never been drawn."""
    hole = (1000, 2200, 800, 1800)
    infill = wall("B", (1000, 0), (2200, 0), bottom=800, height=1000)
    house = checked(lay([wall("A", (0, 0), (5999, 0), openings=[hole]), infill]))
    a, b = house.account("A"), house.account("B")
    size = 1.2 * 1.0 * 0.2
    terms = a.ledger["openings"], a.ledger["borrowed"], b.ledger["lent"], b.ledger["drawn"]
    assert terms == pytest.approx((size, size, size, size))
    assert b.ledger["laid"] == 0
    assert a.area["laid"] + b.area["laid"] == pytest.approx(5.999 * 2.4)
    whole = checked(lay([wall("A", (0, 0), (5999, 0))]))
    assert a.ledger["laid"] == pytest.approx(whole.account("A").ledger["laid"])
    assert [house.row("R1", c) for c in range(1, 13)] == [whole.row("R1", c) for c in range(1, 13)]


def test_a_parapet_in_a_hole_leaves_the_window_over_it() -> None:
    hole = (1000, 2200, 200, 2000)
    house = checked(lay([wall("A", (0, 0), (5999, 0), openings=[hole]), wall("B", (1000, 0), (2200, 0), bottom=200, height=600)]))
    assert house.account("A").ledger["openings"] == pytest.approx(1.2 * 1.8 * 0.2)
    assert house.account("A").ledger["borrowed"] == pytest.approx(1.2 * 0.6 * 0.2)
    (bridge,) = house.work.bridges
    assert (bridge.sill // MM, bridge.head // MM, bridge.bridged) == (809, 2010, "lintel")  # on course

"""The clock of the site, held against a table of every hour."""

from __future__ import annotations

import random

import numpy as np
import pytest

from wallquant.ordering.clock import DAY, Shift

HOUR = 3600


def shift_of(seed: int) -> Shift:
    draw = random.Random(seed)
    return Shift(
        seconds=draw.choice((1, 8, 10, 24)) * HOUR,
        week_off=frozenset(draw.sample(range(7), draw.randrange(6))),
        days_off=frozenset(draw.sample(range(30), draw.randrange(4))),
    )


def hourly(shift: Shift, days: int) -> list[int]:
    """Working seconds until each full hour."""
    done = [0]
    for hour in range(24 * days):
        day, within = divmod(hour, 24)
        done.append(done[-1] + (HOUR if shift.open(day) and within * HOUR < shift.seconds else 0))
    return done


@pytest.mark.parametrize("seed", range(40))
def test_clock_and_working_time(seed: int) -> None:
    shift = shift_of(seed)
    table = hourly(shift, 60)
    clocks = np.arange(24 * 60) * HOUR
    assert [shift.working(c) for c in clocks.tolist()] == table[:-1]
    assert shift.all_working(clocks).tolist() == table[:-1]
    for working in (1, HOUR - 1, HOUR, HOUR + 1, 8 * HOUR, 8 * HOUR + 1, 50 * HOUR):
        clock = shift.clock(working)
        assert (shift.working(clock), shift.working(clock - 1)) == (working, working - 1)
    for clock in clocks.tolist()[::5]:
        begun = shift.next(clock)
        assert begun > clock and begun % DAY == 0 and shift.open(begun // DAY)
        assert shift.working(begun) == shift.working((clock // DAY + 1) * DAY)  # nothing worked is passed over
        assert (shift.room(clock) > 0) == (shift.open(clock // DAY) and clock % DAY < shift.seconds)


@pytest.mark.parametrize("seed", range(40))
def test_what_a_lag_takes_up_at_least(seed: int) -> None:
    shift = shift_of(seed)
    table = hourly(shift, 70)
    for lag in (0, 1, 12, 24, 30, 60, 100, 168, 200):
        worst = min(table[at + lag] - table[at] for at in range(24 * 60))
        (least,) = shift.least(np.array([lag * HOUR])).tolist()
        assert least <= worst if shift.days_off else least == worst


@pytest.mark.parametrize("seed", range(40))
def test_a_turned_clock_runs_backward(seed: int) -> None:
    shift = shift_of(seed)
    shut = shift.next(20 * DAY) + shift.seconds
    turned = shift.turned(shut)
    for clock in range(0, 14 * DAY, HOUR):
        assert turned.working(clock) == shift.working(shut) - shift.working(shut - clock)


def test_a_week_needs_a_day_of_work() -> None:
    with pytest.raises(ValueError, match="no day of the week is left"):
        Shift(week_off=frozenset(range(7)))

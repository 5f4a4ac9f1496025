"""The clock of the site: shifts, nights and days off."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

DAY = 24 * 3600
"""Seconds from the start of one day to the start of the next."""
WEEK = 7
"""Days."""

_Ints = NDArray[np.int64]


@dataclass(frozen=True, kw_only=True, slots=True)
class Shift:
    """Work goes on for `seconds` from the start of each day; the rest of the day is night, and days off are night all through.

    `week_off` are days without work in every week, `days_off` single ones; day 0 is the first.  Clocks run on: what sets at night
    sets on days off as well.
    """

    seconds: int = 8 * 3600
    week_off: frozenset[int] = frozenset()
    days_off: frozenset[int] = frozenset()

    def __post_init__(self) -> None:
        if not 0 < self.seconds <= DAY:
            raise ValueError(f"a shift of {self.seconds / 3600:g} h is not possible; give more than 0 and at most 24 h")
        if self.week_off >= set(range(WEEK)):
            raise ValueError("no day of the week is left to work on; leave one of its days off out")

    @property
    def daily(self) -> bool:
        """Whether there is work on every day."""
        return not self.week_off and not self.days_off

    def open(self, day: int) -> bool:
        """Return whether there is work on a day."""
        return day % WEEK not in self.week_off and day not in self.days_off

    def working(self, clock: int) -> int:
        """Return the working seconds from the start until a clock second."""
        day, rest = divmod(clock, DAY)
        if self.daily:
            return day * self.seconds + min(rest, self.seconds)
        return self._before(day) * self.seconds + (min(rest, self.seconds) if self.open(day) else 0)

    def all_working(self, clock: _Ints) -> _Ints:
        """Return the working seconds from the start until each of many clock seconds, none of which is negative."""
        day, rest = np.divmod(clock, DAY)
        if self.daily:
            every: _Ints = day * self.seconds + np.minimum(rest, self.seconds)
            return every
        open_ = np.array([self.open(d) for d in range(int(day.max(initial=0)) + 1)], np.int64)
        before = np.concatenate(([0], np.cumsum(open_)))
        out: _Ints = before[day] * self.seconds + np.minimum(rest, self.seconds) * open_[day]
        return out

    def clock(self, working: int) -> int:
        """Return the first clock second at which so many working seconds are over."""
        if working <= 0:
            return 0
        days, rest = divmod(working - 1, self.seconds)
        return self._day(days) * DAY + rest + 1

    def until(self, working: int) -> int:
        """Return the last clock second at which no more working seconds are over: where they fill days, when the next shift starts."""
        return self.clock(working) if working % self.seconds else self._day(working // self.seconds) * DAY

    def begin(self, clock: int, seconds: int) -> int:
        """Return when work of so many seconds is begun, from a clock second on.

        It waits for the next day if the rest of this one is too short for it; work longer than a shift is begun at once.
        """
        room = self.room(clock)
        return clock if room and (seconds <= room or seconds > self.seconds) else self.next(clock)

    def finish(self, clock: int, seconds: int) -> int:
        """Return when work of so many seconds that is begun at a clock second within the shift is done."""
        return clock + seconds if seconds <= self.room(clock) else self.clock(self.working(clock) + seconds)

    def room(self, clock: int) -> int:
        """Return the working seconds left in the day at a clock second; work round the clock every day knows no end of the day."""
        if not self.open(clock // DAY):
            return 0
        if self.seconds == DAY and self.daily:
            return 1 << 62
        return max(0, self.seconds - clock % DAY)

    def next(self, clock: int) -> int:
        """Return the clock second at which the next shift starts, later than `clock`."""
        day = clock // DAY + 1
        while not self.open(day):
            day += 1
        return day * DAY

    def least(self, lags: _Ints) -> _Ints:
        """Return the working seconds that clock lags take up at least, wherever they lie."""
        if self.daily:
            least: _Ints = lags // DAY * self.seconds + np.maximum(0, lags % DAY - (DAY - self.seconds))
            return least
        each, where = np.unique(lags, return_inverse=True)
        out: _Ints = np.array([self._least(lag) for lag in each.tolist()], np.int64)[where]
        return out

    def turned(self, shut: int) -> Shift:
        """Return the shifts of a clock that runs backward from the end of one of them."""
        last = (shut - 1) // DAY
        return Shift(
            seconds=self.seconds,
            week_off=frozenset((last - day) % WEEK for day in self.week_off),
            days_off=frozenset(last - day for day in self.days_off),
        )

    def _before(self, day: int) -> int:
        """Return the days with work before a day; days before the first count down."""
        weeks, rest = divmod(day, WEEK)
        days = weeks * (WEEK - len(self.week_off)) + sum(d not in self.week_off for d in range(rest))
        return days - sum(0 <= off < day and off % WEEK not in self.week_off for off in self.days_off)

    def _day(self, count: int) -> int:
        """Return the day with work that so many days with work come before."""
        week = [d for d in range(WEEK) if d not in self.week_off]
        day = count // len(week) * WEEK + week[count % len(week)]
        while self._before(day) < count or not self.open(day):
            day += 1
        return day

    def _least(self, lag: int) -> int:
        """Return the working seconds that one lag takes up at least: where a shift starts or ends at its start or at its end."""
        weekly = Shift(seconds=self.seconds, week_off=self.week_off)
        edges = [day * DAY + edge for day in range(WEEK) for edge in (0, self.seconds)]
        starts = {(edge - over) % (WEEK * DAY) for edge in edges for over in (0, lag)}
        least = min(weekly.working(at + lag) - weekly.working(at) for at in starts)
        single = min(len(self.days_off), lag // DAY + 2)  # so many single days off it may lie over
        return max(0, least - single * self.seconds)

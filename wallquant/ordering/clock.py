"""The clock of the site: shifts and nights."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

DAY = 24 * 3600
"""Seconds from the start of one day to the start of the next."""

_Ints = NDArray[np.int64]


@dataclass(frozen=True, kw_only=True, slots=True)
class Shift:
    """Work goes on for `seconds` from the start of each day; the rest of the day is night."""

    seconds: int = 8 * 3600

    def __post_init__(self) -> None:
        if not 0 < self.seconds <= DAY:
            raise ValueError(f"a shift of {self.seconds / 3600:g} h is not possible; give more than 0 and at most 24 h")

    def working(self, clock: int) -> int:
        """Return the working seconds from the start until a clock second."""
        days, rest = divmod(clock, DAY)
        return days * self.seconds + min(rest, self.seconds)

    def clock(self, working: int) -> int:
        """Return the first clock second at which so many working seconds are over."""
        if working <= 0:
            return 0
        days, rest = divmod(working - 1, self.seconds)
        return days * DAY + rest + 1

    def until(self, working: int) -> int:
        """Return the last clock second at which no more working seconds are over: the end of the night where they fill days."""
        return self.clock(working) if working % self.seconds else working // self.seconds * DAY

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
        """Return the working seconds left in the day at a clock second; work round the clock knows no end of the day."""
        if self.seconds == DAY:
            return 1 << 62
        return max(0, self.seconds - clock % DAY)

    def next(self, clock: int) -> int:
        """Return the clock second at which the next shift starts, later than `clock`."""
        return (clock // DAY + 1) * DAY

    def least(self, lags: _Ints) -> _Ints:
        """Return the working seconds that clock lags take up at least, wherever they lie."""
        least: _Ints = lags // DAY * self.seconds + np.maximum(0, lags % DAY - (DAY - self.seconds))
        return least

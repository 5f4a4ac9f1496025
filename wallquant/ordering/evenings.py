"""A sharper bound: what is against all being done in time, asked for each evening by which a gate is passed, or is not.

What sets over night, or is inspected before grout, costs a night if it is missed by a minute.  So each schedule that is done in time
either begins a gate before some midnight or does not, and each case narrows the windows of all that comes before it or after it (see
`windows`).  Where nothing is left of either case, no schedule is done in time.  That is proved, and in whole seconds; where too many
cases would have to be asked, nothing is claimed.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from wallquant.ordering.clock import DAY
from wallquant.ordering.windows import Windows, earliest, turned_from

EFFORT = 60_000
"""So many windows are worked out for one question at most."""
CASES = 64
"""So many cases of one question are asked at most."""
SHORT = 2 * 3600
"""Lags of no more seconds than this cost no night where an evening is missed, and are not asked about."""
QUESTIONS = 8
"""So many times are asked for at most."""

_Ints = NDArray[np.int64]


def least(windows: Windows, low: int, high: int) -> int:
    """Return working seconds, from `low` up to `high`, within which no schedule is done; known is that none is in less than `low`.

    Parameters
    ----------
    windows : Windows
    low, high : int
        Working seconds; `high` are those of a schedule.
    """
    gates = _gates(windows)
    for asked in range(QUESTIONS):
        if low >= high:
            break
        middle = low if not asked else high - 1 if asked == 1 else (low + high) // 2
        if not possible(windows, windows.shift.until(middle), gates):
            low = middle + 1
        elif asked:
            high = middle
        else:
            break
    return low


def possible(windows: Windows, clock: int, gates: Mapping[int, int]) -> bool:
    """Whether nothing is found against all being done at a clock second.

    Parameters
    ----------
    windows : Windows
    clock : int
    gates : mapping of int to int
        Steps that are asked about, and how much has to be done before each.
    """
    shift, count = windows.shift, len(windows.start)
    shut = turned_from(clock, shift)
    back = shift.turned(shut)
    cases: list[tuple[_Ints, _Ints]] = [(windows.start, np.full(count, shut - clock, np.int64))]
    left = min(CASES, EFFORT // count)
    while cases:
        floor, ceiling = cases.pop()
        left -= 1
        start, _ = earliest(windows.fore, shift, windows.before, floor.tolist())
        turned_start, turned_end = earliest(windows.back, back, windows.behind, ceiling.tolist())
        latest = shut - turned_end
        if not windows.fits(start, latest, shut - turned_start):
            continue
        gate = _undecided(gates, start, latest)
        if gate < 0 or left <= 0:
            return True
        midnight = (int(start[gate]) // DAY + int(latest[gate]) // DAY) // 2 * DAY + DAY
        # Held steps begin at night as well; others that are begun before a midnight are done by the end of that shift.
        seconds, held = windows.fore.seconds[gate], windows.fore.held[gate]
        end = midnight - 1 + seconds if held else shift.clock(shift.working(midnight))
        on, off = turned_start.copy(), start.copy()
        on[gate], off[gate] = max(int(on[gate]), shut - end), midnight
        cases += [(off, turned_start), (start, on)]
    return False


def _gates(windows: Windows) -> dict[int, int]:
    """Return the gates that are asked about, where something sets or takes time before or after them."""
    side = windows.fore
    lags = np.array(side.lag, np.int64) > SHORT
    first = np.repeat(np.arange(len(side.seconds)), np.diff(side.pointer))
    slow = {*first[lags].tolist(), *np.array(side.then, np.int64)[lags].tolist()}
    slow |= {step for step, held in enumerate(side.held) if held and side.seconds[step]}
    return {
        step: sum(int(work.sum()) for _, work, _, _ in gate.waits)
        for step, gate in windows.before.items()
        if step in slow and (side.held[step] or side.seconds[step] <= windows.shift.seconds)
    }


def _undecided(gates: Mapping[int, int], start: _Ints, latest: _Ints) -> int:
    """Return the gate with the most work before it, and the fewest midnights in its window; -1 where there is none in any."""
    best, most = -1, 0.0
    for step, work in gates.items():
        nights = int(latest[step]) // DAY - int(start[step]) // DAY
        if nights > 0 and (work + 1) / nights > most:
            best, most = step, (work + 1) / nights
    return best

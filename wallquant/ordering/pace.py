"""How long a mason takes: a table of pieces a day by mass, and times of their own for some kinds of step."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from math import inf

from wallquant.findings import Source
from wallquant.units import POUND

BY_WEIGHT: tuple[tuple[float, float], ...] = (
    (26 * POUND, 163.0),
    (32 * POUND, 150.0),
    (39 * POUND, 131.0),
    (47 * POUND, 105.0),
    (inf, 90.0),
)
"""Published base rates for concrete block: mass up to (kg), units a mason-day; 54 lb is the heaviest that is rated."""

SOURCES: Mapping[str, Source] = {
    "a_day": Source(
        basis="project",
        text="90 pieces a mason-day of 8 h, within the 56 to 131 blocks of 8 x 8 x 16 in a day that are published "
        "(NAVFAC P-405 via NAVEDTRA 14045; Schierhorn 1995, Table 1)",
    ),
    "hours": Source(basis="project", text="a working day of 8 h"),
    "each": Source(basis="project", text="20 min to set a lintel"),
    "BY_WEIGHT": Source(basis="read", text="Schierhorn 1995, Table 1"),
}


@dataclass(frozen=True, kw_only=True, slots=True)
class Pace:
    """How fast one mason lays.

    Attributes
    ----------
    a_day : tuple of (float, float)
        Pairs (mass up to, in kg; pieces a mason-day), by rising mass; the last serves for all that is heavier.
    hours : float
        Length of the mason-day that `a_day` means.
    each : mapping of str to int
        Seconds a piece for kinds of step that do not go by the table.
    """

    a_day: tuple[tuple[float, float], ...] = ((inf, 90.0),)
    hours: float = 8.0
    each: Mapping[str, int] = field(default_factory=lambda: {"lintel": 20 * 60})

    def seconds(self, kind: str, masses: Sequence[float]) -> int:
        """Return the work of one mason, in whole seconds, to lay pieces of these masses (kg) in a step of a kind.

        Examples
        --------
        >>> Pace().seconds("line", [14.0, 14.0, 14.0])
        960
        """
        if kind in self.each:
            return self.each[kind] * len(masses)
        if len(self.a_day) == 1:
            return round(self.hours * 3600 * len(masses) / self.a_day[0][1])
        return round(sum(self.hours * 3600 / self._rate(mass) for mass in masses))

    def _rate(self, mass: float) -> float:
        return next((rate for most, rate in self.a_day if mass <= most), self.a_day[-1][1])

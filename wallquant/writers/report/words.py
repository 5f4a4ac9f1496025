"""Numbers for people: lengths, areas, volumes and masses in the plan's units."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from wallquant import units
from wallquant.job import WEEKDAYS

_FT2_PER_M2 = (1000 / 304.8) ** 2
_FT3_PER_M3 = (1000 / 304.8) ** 3
_LB_PER_KG = 1 / 0.45359237
"""The international pound is 0.45359237 kg exactly (agreement of 1959)."""


def first_weekday(summary: Mapping[str, Any]) -> int:
    """Return the day of the week of a plan's day 1, Monday 0, from its summary.json."""
    return WEEKDAYS.index(summary.get("site", {}).get("start_weekday", WEEKDAYS[0]))


@dataclass(frozen=True, kw_only=True, slots=True)
class Words:
    """Prints numbers in one system: ``mm`` (metric) or ``in`` (feet, inches, pounds)."""

    system: str
    weekday: int = 0
    """Day of the week of day 1, Monday 0."""

    def day(self, number: int) -> str:
        """Return a day of the plan, 1 the first, with its name."""
        return f"Day {number}, {WEEKDAYS[(self.weekday + number - 1) % 7].capitalize()}"

    def length(self, mm: float | None) -> str:
        """Return millimetres for people; an unknown length is a dash."""
        return "–" if mm is None or mm != mm else units.text(units.mm(mm), self.system)

    def signed(self, mm: float | None) -> str:
        """Return a length with its sign, for fits."""
        return f"+{self.length(mm)}" if mm is not None and mm > 0 else self.length(mm).replace("-", "−", 1)

    def area(self, m2: float) -> str:
        """Return square metres for people."""
        return f"{m2 * _FT2_PER_M2:,.1f} ft²" if self.system == "in" else f"{m2:,.2f} m²"

    def volume(self, m3: float) -> str:
        """Return a volume's number; its unit is `volume_unit`."""
        text = f"{m3 * _FT3_PER_M3:,.2f}" if self.system == "in" else f"{m3:,.3f}"
        return "0" if not text.strip("-0.,") else text.replace("-", "−")

    @property
    def volume_unit(self) -> str:
        """The unit of `volume`."""
        return "ft³" if self.system == "in" else "m³"

    def mass(self, kg: float) -> str:
        """Return kilograms for people; tonnes from 10 t."""
        if self.system == "in":
            return f"{kg * _LB_PER_KG:,.0f} lb"
        return f"{kg / 1000:,.1f} t" if kg >= 10_000 else f"{kg:,.0f} kg"

    def hours(self, hours: float) -> str:
        """Return hours with one decimal, none where it is whole."""
        return f"{hours:,.1f}".removesuffix(".0") + " h"

    def value(self, key: str, value: object) -> str:
        """Return a parameter for people: what ends in ``_mm`` is a length, in ``_kg`` a mass, lists are joined, nothing is a dash."""
        if isinstance(value, bool):
            return "yes" if value else "no"
        if isinstance(value, (list, tuple)):
            return ", ".join(self.value(key, one) for one in value) or "–"
        if isinstance(value, (int, float)):
            return self.length(value) if key.endswith("_mm") else self.mass(value) if key.endswith("_kg") else f"{value:,.6g}"
        return "–" if value is None or value == "" else str(value)

    def label(self, key: str) -> str:
        """Return a key as words: ``least_piece_mm`` is *least piece*."""
        return key.removesuffix("_mm").removesuffix("_kg").replace("_", " ")

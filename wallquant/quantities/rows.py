"""A row of the material schedule, and the words that it shares with the other schedules."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from math import ceil, nan

_PLACES = 3
WHOLE = ("pcs", "bag", "pallet")
"""Units that are bought in whole numbers."""
THIN_BED = "thin-bed mortar"
LEVELLING = "levelling mortar"
"""A rule that measures it (in m3) goes before what the joints say."""
GROUTED = ("core fill", "trough fill")
"""Kinds of items that are grout."""
NOT_BOUGHT = ("gap", "wetting", "flange opening", "prop removal", "movement joint", "inspection")
"""Kinds of items that take no material."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Row:
    """A row of materials.csv; what is not bought has neither waste nor buy."""

    group: int
    item: str
    net: float
    unit: str
    waste: float = nan
    buy: float = nan
    where: str = ""
    rule: str = ""


def with_waste(net: float, factor: float, unit: str) -> tuple[float, float]:
    """Return waste and what is bought; exact, so that 5 % of 400 pieces are 20 and not one more.

    Parameters
    ----------
    net : float
    factor : float
        Part of net, as written in the catalogue.
    unit : str
        Whole numbers are bought of `WHOLE`, else thousandths.
    """
    whole = Fraction(str(round(net, 9)))  # a sum of floats is not to buy one more for its last bit
    exact = whole * Fraction(str(factor))
    step = 1 if unit in WHOLE else 10**_PLACES
    return float(exact), ceil((whole + exact) * step) / step

"""A row of the material schedule, and the words that it shares with the other schedules."""

from __future__ import annotations

from dataclasses import dataclass
from math import nan

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

"""bill.csv: the areas of a bill, measured by published rules that leave small openings in; what is bought is never measured so."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import pandas as pd

from wallquant.bonding import Account
from wallquant.building import Opening, Wall
from wallquant.files import SCHEDULES
from wallquant.findings import Source
from wallquant.job import Measured
from wallquant.quantities.frames import Known, laid_accounts
from wallquant.units import MM

FILE = "bill.csv"
FT2 = 0.3048**2
"""Square metres; exact (international foot, 1959)."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Deduction:
    """A rule of measurement: openings of more than `over_m2` are deducted, smaller ones are left in."""

    over_m2: float
    source: Source


DEDUCTIONS: Mapping[Measured, Deduction] = {
    "all": Deduction(
        over_m2=0.0, source=Source(basis="read", text="NCMA TEK 14 (1969), Masonry Magazine, September 1969: regardless of size")
    ),
    "over 0.1 m2": Deduction(over_m2=0.1, source=Source(basis="read", text="IS 1200-3, printed in a specification of CPWD")),
    "over 0.5 m2": Deduction(over_m2=0.5, source=Source(basis="memory", text="SMM7 F10 M2; NRM2 14")),
    "over 2.5 m2": Deduction(over_m2=2.5, source=Source(basis="read", text="VOB/C DIN 18330, 5.3, for work measured by area")),
    "over 2 ft2": Deduction(over_m2=2 * FT2, source=Source(basis="read", text="Estimating Building Costs, p. 128")),
    "over 10 ft2": Deduction(over_m2=10 * FT2, source=Source(basis="read", text="Estimating in Building Construction, p. 123")),
}
"""Which openings a bill deducts.  They differ, so a bill names its own."""
_EQUAL = 1e-9


def left_in(areas: Iterable[float], rule: Measured) -> tuple[int, float]:
    """Return how many openings a rule leaves in, and their area (m2).

    Examples
    --------
    >>> left_in([2.4, 0.45, 2.6], "over 2.5 m2")
    (2, 2.85)
    """
    small = sorted(a for a in areas if a <= DEDUCTIONS[rule].over_m2 + _EQUAL)
    return len(small), round(sum(small), 9)


def bill(accounts: Iterable[Account], walls: Mapping[str, Wall], known: Mapping[str, Known], chosen: Measured) -> pd.DataFrame:
    """Return the content of bill.csv: a row a wall and rule.

    Parameters
    ----------
    accounts : iterable of Account
    walls : mapping of key to Wall
        For the openings, as drawn; niches are left in.
    known : mapping of key to Known
    chosen : str
        The rule that the job's bill goes by; its rows say so.

    Returns
    -------
    DataFrame
        `measured_m2` = `wall_m2` - `openings_m2` + `left_in_m2` - `set_aside_m2`; times the thickness as drawn it is `measured_m3`.
    """
    rows = []
    for account in laid_accounts(accounts):
        if account.area["wall"] <= 0:
            continue
        wall, k, area = walls[account.wall], known[account.wall], account.area
        holes = [_area(o, wall) for o in wall.openings if o.through]
        for rule, deduction in DEDUCTIONS.items():
            count, small = left_in(holes, rule)
            small = min(small, area["openings"])  # openings that overlap are one void
            measured = area["wall"] - area["openings"] + small - area["set_aside"]
            rows.append(
                (
                    k.storey, k.wall, k.name, k.thickness / MM, rule, "yes" if rule == chosen else "", round(area["wall"], 9), len(holes),
                    round(area["openings"], 9), count, round(small, 9), round(area["set_aside"], 9), round(measured, 9),
                    round(measured * wall.thickness / 1e9, 9), str(deduction.source),
                )
            )  # fmt: skip
    frame = pd.DataFrame(rows, columns=list(SCHEDULES[FILE]))
    return frame.sort_values(["storey", "wall", "name"], kind="stable").reset_index(drop=True)


def _area(opening: Opening, wall: Wall) -> float:
    if opening.volume_m3 is not None and wall.thickness:
        return opening.volume_m3 / wall.thickness * 1e9
    return (opening.end - opening.start) * (opening.head - opening.sill) / 1e18

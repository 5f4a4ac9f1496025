"""The length in which bars are bought: a parameter of each rule that places bars."""

from __future__ import annotations

from wallquant.findings import Source
from wallquant.rules import ParamError, ParamInfo
from wallquant.units import FOOT, MM, Nm, text

METRIC: Nm = 6000 * MM
US: Nm = 20 * FOOT


STOCK = ParamInfo(
    kind="length",
    text="Length of a bar as bought; what is longer is lapped; 0 for 20 ft, or 6 m with a catalogue in millimetres",
    source=Source(basis="practice", text="bars are sold in 20 ft or 6 m, and longer; the supplier says"),
    least=0,
    most=18000 * MM,
)
"""What is said of the parameter `bar_stock`."""


def stock_of(asked: Nm, lap: Nm, system: str, rule: str) -> Nm:
    """Return the length of a bar as bought.

    Raises
    ------
    ParamError
        If it is no longer than two laps.
    """
    stock = asked or (US if system == "in" else METRIC)
    if stock <= 2 * lap:
        raise ParamError(
            f"rule {rule}, parameter bar_stock: {text(stock, system)} is no longer than two laps of {text(lap, system)}; write a longer "
            "one, or fewer lap_diameters"
        )
    return stock

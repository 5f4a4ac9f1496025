"""Rules of Tarn & Holloway, an invented firm: no cut beside a jamb, and grout on two days of the week."""

from __future__ import annotations

from collections.abc import Iterable

from wallquant.hookspecs import hookimpl
from wallquant.rules import Rule


@hookimpl
def wallquant_rules() -> Iterable[type[Rule]]:
    """Return the firm's rules."""
    from example_firm.grout_days import GroutDays
    from example_firm.whole_jambs import WholeJambs

    return (WholeJambs, GroutDays)

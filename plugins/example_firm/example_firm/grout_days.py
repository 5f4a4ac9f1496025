"""Rule grout_days."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from wallquant.findings import Source
from wallquant.layout import Work
from wallquant.rules import ParamInfo, Precedence, Rule, param


@dataclass(frozen=True, kw_only=True)
class Params:
    """Parameters of grout_days."""

    days: str = param(
        "tue thu",
        ParamInfo(
            kind="text", text="Days of the week on which grout is placed", source=Source(basis="project", text="when the pump is there")
        ),
    )


class GroutDays(Rule):
    """Grout is placed on Tuesdays and Thursdays only.

    What it asks
    ------------
    Every step that places grout is begun on one of the `days`.

    Why
    ---
    The firm has its grout pump on two days of the week.

    Source
    ------
    The firm's own calendar (project input).

    Example
    -------
    With day 1 a Monday, grout that could be placed on day 3 waits for day 4.
    """

    code = "grout_days"
    title = "Grout on two days of the week"
    Params = Params

    def precede(self, work: Work) -> Iterable[Precedence]:
        """Give the steps that place grout their days."""
        grout = tuple(sorted(s.name for s in work.steps if "grout" in s.kind))
        if grout:
            yield Precedence(first=(), then=grout, calendar=self.params.days, reason="the grout pump is there", rule=self.code)

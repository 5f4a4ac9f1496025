"""Rule site_cautions."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

import numpy as np

from wallquant.findings import Finding, Source
from wallquant.layout import Run, Work
from wallquant.rules import ParamInfo, Rule, param
from wallquant.units import FOOT, Nm, text
from wallquant_thinbed.cautions import CAUTIONS

_KG_PER_LB = 0.45359237


@dataclass(frozen=True, kw_only=True)
class Params:
    """Parameters of site_cautions."""

    brace_over: Nm = param(
        8 * FOOT,
        ParamInfo(
            kind="length",
            text="Walls higher than this are braced until they are held by the building",
            source=Source(basis="read", text="29 CFR 1926.706(b)"),
            least=0,
            most=100 * FOOT,
        ),
    )
    zone_beyond: Nm = param(
        4 * FOOT,
        ParamInfo(
            kind="length",
            text="Width of the limited access zone beyond the wall's height",
            source=Source(basis="read", text="29 CFR 1926.706(a)"),
            least=0,
            most=100 * FOOT,
        ),
    )
    lift_alone: float = param(
        51 * _KG_PER_LB,
        ParamInfo(
            kind="number",
            text="Mass above which two people or a machine lift a unit",
            source=Source(basis="read", text="load constant of the NIOSH lifting equation, 51 lb or 23 kg, NIOSH 94-110"),
            unit="kg",
            least=1,
            most=200,
        ),
    )


class SiteCautions(Rule):
    """The usual cautions go with every plan: dust, bracing, the zone kept clear, lifting, mortar, props, and who decides.

    What it asks
    ------------
    Nothing of the layout.  It tells which walls are higher than `brace_over` and are braced on both sides, how wide the
    limited access zone is, which units are heavier than `lift_alone` as delivered, and the cautions of every site.

    Why
    ---
    Whoever reads the plan on site may read nothing else.

    Source
    ------
    29 CFR 1926.706 and the OSHA letter of 16 February 1993 on bracing (read); 29 CFR 1926.1153 Table 1 (read); NIOSH 94-110
    (read); the others are usual cautions, common practice, no source.  Elsewhere local rules apply.

    Example
    -------
    Twelve US courses stand 96-1/4 in, over 8 ft: the wall is braced, and its zone is 12 ft 1/4 in wide.
    """

    code = "site_cautions"
    title = "Cautions on site"
    Params = Params

    def findings(self, work: Work) -> Iterable[Finding]:
        """Tell the cautions of every site, and those that depend on this plan's heights and weights."""
        for caution in CAUTIONS:
            yield self._note(caution.title, f"{caution.text} ({caution.source})")
        heights = sorted((_height(work, run), run.name) for run in work.runs.values())
        if heights:
            yield from self._by_height(work, [(name, height) for height, name in heights])
        yield from self._by_weight(work)

    def _by_height(self, work: Work, heights: list[tuple[str, Nm]]) -> Iterator[Finding]:
        system = work.catalogue.system
        tallest = heights[-1][1]
        yield self._note(
            "zone",
            f"Before work starts keep a limited access zone along the side of each wall that has no scaffold: the wall's height and "
            f"{text(self.params.zone_beyond, system)} wide, {text(tallest + self.params.zone_beyond, system)} at the highest wall of this "
            "plan, over its whole length; only the crew at the wall enters (29 CFR 1926.706(a))",
            measured=text(tallest, system),
        )
        over = sorted((name for name, height in heights if height > self.params.brace_over), key=lambda n: (len(n), n))
        if over:
            yield self._note(
                "bracing",
                f"{'Run' if len(over) == 1 else 'Runs'} {', '.join(over)} {'is' if len(over) == 1 else 'are'} higher than "
                f"{text(self.params.brace_over, system)}: brace both sides, and keep the limited access zone, until floors or roof hold "
                "the wall (29 CFR 1926.706(b); OSHA letter of 16 February 1993)",
                measured=text(tallest, system),
                wanted=text(self.params.brace_over, system),
            )

    def _by_weight(self, work: Work) -> Iterator[Finding]:
        used = [work.pieces.units[at] for at in np.unique(work.pieces.unit).tolist()]
        heavy = sorted((unit.code, work.catalogue.delivered_kg(unit)) for unit in used)
        named = [(code, mass) for code, mass in heavy if mass > self.params.lift_alone]
        if named:
            listed = ", ".join(f"{code} ({_mass(mass, work.catalogue.system)})" for code, mass in named)
            limit = _mass(self.params.lift_alone, work.catalogue.system)
            yield self._note(
                "lifting",
                f"Heavier than {limit} as delivered: {listed}. Two people or a machine lift these; keep units dry, and lay between knee "
                "and shoulder height (NIOSH 94-110)",
                measured=_mass(max(mass for _, mass in named), work.catalogue.system),
                wanted=limit,
            )

    def _note(self, what: str, said: str, *, measured: str = "", wanted: str = "") -> Finding:
        return Finding(code=f"caution.{what}", severity="note", text=said, measured=measured, wanted=wanted, rules=(self.code,))


def _height(work: Work, run: Run) -> Nm:
    """Height of a run as laid, from its underside; as drawn where no course is laid or the drawn top is higher."""
    courses = work.courses.get(run.name)
    tops = [level for _, level in run.top]
    if courses is not None and len(courses):
        tops.append(courses.levels[-1].top)
    return max(tops, default=run.bottom) - run.bottom


def _mass(mass: float, system: str) -> str:
    return f"{mass / _KG_PER_LB:.1f} lb" if system == "in" else f"{mass:.1f} kg"

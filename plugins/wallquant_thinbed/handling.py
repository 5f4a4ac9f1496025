"""Rule handling."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any, ClassVar

from wallquant.findings import Finding, Source
from wallquant.layout import Work
from wallquant.rules import ParamInfo, Precedence, Rule, param

_KG_PER_LB = 0.45359237
TWO, HOIST = "two people", "hoist"


@dataclass(frozen=True, kw_only=True)
class Params:
    """Parameters of handling."""

    alone: float = param(
        51 * _KG_PER_LB,
        ParamInfo(
            kind="number",
            text="Mass as delivered above which two people or a machine lift a piece",
            source=Source(basis="read", text="load constant of the NIOSH lifting equation, 51 lb or 23 kg, NIOSH 94-110"),
            unit="kg",
            least=1,
            most=200,
        ),
    )
    two: float = param(
        102 * _KG_PER_LB,
        ParamInfo(
            kind="number",
            text="Mass as delivered above which a hoist lifts a piece",
            source=Source(basis="project", text="twice what one lifts, and no more"),
            unit="kg",
            least=1,
            most=400,
        ),
    )


class Handling(Rule):
    """Pieces too heavy for one pair of hands are named and counted, and their steps say that two people or a hoist are needed.

    What it asks
    ------------
    Nothing of the layout.  A step that lays a piece heavier as delivered than `alone` needs two people, heavier than `two` a hoist;
    the finding caution.lifting tells units, masses delivered and dry, and how many.

    Why
    ---
    Backs are hurt by repeated lifts, and units as delivered weigh about a third more than dry.

    Source
    ------
    51 lb or 23 kg: load constant of the NIOSH lifting equation, NIOSH 94-110 (read); it holds for an ideal lift, real ones allow
    less.  Preset repetitive: above 20 kg repeated lifting by one is high risk, HSE CIS37, paragraphs 4 and 5 (read).  Preset
    guidance: 25 kg, national guidance (from memory; Directive 90/269/EEC has no number).  Two people: project input.

    Example
    -------
    A 12 in unit of 37 lb/ft3 weighs 47.8 lb dry and 62.1 lb as delivered: two people lift it.
    """

    code = "handling"
    title = "Lifting and handling"
    Params = Params
    presets: ClassVar[Mapping[str, Mapping[str, Any]]] = {
        "niosh": {"alone": 51 * _KG_PER_LB, "two": 102 * _KG_PER_LB},
        "repetitive": {"alone": 20.0, "two": 40.0},
        "guidance": {"alone": 25.0, "two": 50.0},
    }

    def precede(self, work: Work) -> Iterable[Precedence]:
        """Say what steps need besides a mason."""
        mass = work.pieces.mass
        needs: dict[str, list[str]] = {}
        for step in work.steps:
            heaviest = float(mass[list(step.pieces)].max()) if step.pieces else 0.0
            if heaviest > self.params.alone:
                needs.setdefault(HOIST if heaviest > self.params.two else TWO, []).append(step.name)
        for what, names in sorted(needs.items()):
            yield Precedence(first=(), then=tuple(sorted(names)), resource=what, reason="mass of its pieces as delivered", rule=self.code)

    def findings(self, work: Work) -> Iterable[Finding]:
        """Tell which units are heavy, and how many pieces."""
        pieces, system = work.pieces, work.catalogue.system
        found: dict[tuple[bool, str], list[float]] = {}
        for row in (pieces.mass > self.params.alone).nonzero()[0].tolist():
            mass = float(pieces.mass[row])
            found.setdefault((mass > self.params.two, pieces.units[int(pieces.unit[row])].code), []).append(mass)
        if not found:
            return
        factor = work.catalogue.delivered_factor
        said = {
            hoisted: ", ".join(
                f"{len(masses)} {code} ({_mass(max(masses), system)}, dry {_mass(max(masses) / factor, system)})"
                for (by, code), masses in sorted(found.items())
                if by == hoisted
            )
            for hoisted in (False, True)
        }
        limits = [_mass(limit, system) for limit in (self.params.alone, self.params.two)]
        text = f"Heavier than {limits[0]} as delivered. " + " ".join(
            f"{who}: {said[by]}."
            for by, who in ((False, "Two people or a machine lift these"), (True, f"Over {limits[1]}, by hoist only"))
            if said[by]
        )
        yield Finding(
            code="caution.lifting",
            severity="note",
            text=f"{text} Keep units dry, lay between knee and shoulder height, and keep clear of what hangs (NIOSH 94-110; HSE CIS37)",
            measured=_mass(max(max(masses) for masses in found.values()), system),
            wanted=limits[0],
            rules=(self.code,),
        )


def _mass(mass: float, system: str) -> str:
    return f"{mass / _KG_PER_LB:.1f} lb" if system == "in" else f"{mass:.1f} kg"

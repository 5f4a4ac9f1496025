"""What is worth telling: findings with a place, and the sources of numbers."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from typing import Literal, get_args

from wallquant.units import Nm

Severity = Literal["error", "warning", "note"]
Basis = Literal["read", "memory", "practice", "derived", "project"]
SEVERITIES: tuple[Severity, ...] = ("error", "warning", "note")


@dataclass(frozen=True, kw_only=True, slots=True)
class Source:
    """Where a number comes from.

    Attributes
    ----------
    basis : str
        ``read`` (read in the text named), ``memory`` (not checked against the text), ``practice`` (common practice, no
        source), ``derived`` (arithmetic of ours from stated inputs) or ``project`` (an input of the project).
    text : str
        The document and clause; for ``practice`` and ``project`` a short explanation.
    """

    basis: Basis
    text: str = ""

    def __post_init__(self) -> None:
        if self.basis not in get_args(Basis):
            raise ValueError(f"basis is one of {', '.join(get_args(Basis))} in a Source, not {self.basis!r}")

    def __str__(self) -> str:
        words = {
            "read": "",
            "memory": "from memory: ",
            "practice": "common practice, no source",
            "derived": "derived: ",
            "project": "project input",
        }
        joint = ": " if self.basis in ("practice", "project") and self.text else ""
        return words[self.basis] + joint + self.text


@dataclass(frozen=True, kw_only=True, slots=True)
class Place:
    """Where a finding is; every part may be empty.  Lengths are nanometres, stations from the run's first corner."""

    wall: str = ""
    run: str = ""
    corner: str = ""
    opening: str = ""
    piece: str = ""
    storey: str = ""
    course: int | None = None
    start: Nm | None = None
    end: Nm | None = None
    level: Nm | None = None


@dataclass(frozen=True, kw_only=True, slots=True)
class Finding:
    """One cause worth telling, with one sentence that a foreman understands.

    Attributes
    ----------
    code : str
        Stable code, ``stage.what`` in lower case: ``reading.no-axis``, ``bond.least-offset``.
    severity : str
        ``error``, ``warning`` or ``note``.
    text : str
        What, where, and what would resolve it.
    place : Place
        Where it was first seen.
    measured, wanted : str
        The value found and the value asked, with units.
    times : int
        How often this cause was met; one finding a cause, not one a course.
    rules : tuple of str
        Codes of the rules that speak here; both, where one had to yield.
    cause : str
        What sets this apart from other findings of its code and rules, in few words; findings that share all three are read
        together.  Empty where the code and the rules say it.
    """

    code: str
    severity: Severity
    text: str
    place: Place = field(default_factory=Place)
    measured: str = ""
    wanted: str = ""
    times: int = 1
    rules: tuple[str, ...] = ()
    cause: str = ""


STAGES = ("plugin", "reading", "readiness", "graph")
"""Findings of these stages come first, in this order: what is missing is read before what is laid."""


def merged(findings: Iterable[Finding]) -> tuple[Finding, ...]:
    """Return the findings in a fixed order, worst first; equal sentences become one with their count, and end in a full stop."""
    seen: dict[tuple[object, ...], Finding] = {}
    for one in findings:
        if one.text[-1:] not in (".", "!", "?"):
            one = replace(one, text=f"{one.text}.")
        key = (one.code, one.severity, one.text, one.place.wall, one.place.run, one.place.corner, one.place.opening, one.rules)
        seen[key] = replace(seen[key], times=seen[key].times + one.times) if key in seen else one
    return tuple(sorted(seen.values(), key=_order))


def _order(one: Finding) -> tuple[object, ...]:
    p = one.place
    stage = one.code.partition(".")[0]
    early = STAGES.index(stage) if stage in STAGES else len(STAGES)
    place = (p.storey, p.run, p.corner, p.wall, p.opening, p.course or 0, p.start or 0)
    return (SEVERITIES.index(one.severity), early, one.code, *place, one.text)


def by_cause(findings: Iterable[Finding]) -> tuple[tuple[Finding, ...], ...]:
    """Return the findings as people read them: one group a cause (severity, code, rules and `cause`), in the order of their firsts."""
    groups: dict[tuple[object, ...], list[Finding]] = {}
    for one in findings:
        groups.setdefault((one.severity, one.code, one.rules, one.cause), []).append(one)
    return tuple(tuple(group) for group in groups.values())


def worst(findings: Iterable[Finding]) -> Severity | None:
    """Return the worst severity among the findings, or None."""
    ranks = [SEVERITIES.index(f.severity) for f in findings]
    return SEVERITIES[min(ranks)] if ranks else None

"""What steps need besides a mason, against what the site has: what is not there, or is taken to be there, is told."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field

from wallquant.findings import Finding
from wallquant.ordering.crews import Schedule
from wallquant.ordering.precedence import PAIR
from wallquant.rules import Precedence
from wallquant.strictyaml import near

FEW = 6
"""So many things are named in one sentence; the rest is counted."""


@dataclass(kw_only=True, slots=True)
class _Asked:
    """Which steps need a thing, how much at most, and who says so."""

    steps: set[str] = field(default_factory=set)
    most: int = 1
    rules: set[str] = field(default_factory=set)


def needs(asked: Iterable[Precedence], times: Schedule, have: Mapping[str, int]) -> tuple[Finding, ...]:
    """Tell what the site has not, what nobody said it has, and what it has for nothing.

    Parameters
    ----------
    asked : iterable of Precedence
        All that rules say.
    times : Schedule
        It is made as if all were there that is needed.
    have : mapping of str to int
        What the site has of each thing, as the job says.
    """
    found: dict[str, _Asked] = {}
    for one in asked:
        if one.resource:
            thing = found.setdefault(one.resource, _Asked())
            thing.steps |= set(one.then)
            thing.most = max(thing.most, one.amount)
            thing.rules.add(one.rule)
    day: dict[str, int] = {}
    for turn in times.turns:
        day.setdefault(turn.step.name, turn.day)
    return tuple(sorted(_told(found, day, have, times.masons), key=lambda f: (f.severity != "warning", f.text)))


def _told(found: Mapping[str, _Asked], day: Mapping[str, int], have: Mapping[str, int], masons: int) -> Iterator[Finding]:
    unsaid = []
    for name, one in sorted(found.items()):
        first = min((day[step] for step in one.steps if step in day), default=1)
        rules = tuple(sorted(r for r in one.rules if r))
        if name == PAIR:
            if masons < 2:
                text = (
                    f"{_steps(one)} two people, the first on day {first}, and the site has one mason: have a helper there to lift with him."
                )
                yield Finding(code="order.not-there", severity="warning", text=text, measured="1", wanted="2", rules=rules)
        elif name not in have:
            unsaid.append((name, one))
        elif have[name] < one.most:
            there = f"has {have[name]}" if have[name] else "has none"
            text = (
                f"{_steps(one)} {name if one.most == 1 else f'{one.most} of {name}'}, the first on day {first}, and the site {there}: "
                "the hours are those of a site that has it. Bring it before then, or have the work done in another way."
            )
            yield Finding(
                code="order.not-there", severity="warning", text=text, measured=str(have[name]), wanted=str(one.most), rules=rules
            )
    if unsaid:
        listed = "; ".join(name for name, _ in unsaid[:FEW])
        more = f" and {len(unsaid) - FEW} more" if len(unsaid) > FEW else ""
        yield Finding(
            code="order.taken-as-there",
            severity="note",
            text=f"The job does not say how many there are of what steps need besides masons: {listed}{more}. The hours take it as there "
            "for every step that needs it; say how many in resources of the job.",
            rules=tuple(sorted({r for _, one in unsaid for r in one.rules if r})),
        )
    for name in sorted(set(have) - set(found) - {"hoist"}):
        text = f"The job has {have[name]} of '{name}', and no step of this plan asks for it{near(name, found)}."
        yield Finding(code="job.no-resource", severity="note", text=text)


def _steps(one: _Asked) -> str:
    return f"{len(one.steps):,} step{' needs' if len(one.steps) == 1 else 's need'}"

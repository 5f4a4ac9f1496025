"""Days of the week on which rules ask for work to be begun."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field

from wallquant.findings import Finding
from wallquant.job import WEEKDAYS
from wallquant.rules import Precedence

EVERY = frozenset(range(7))
"""Each day of the week, Monday 0."""


def weekdays(words: str) -> tuple[int, ...]:
    """Return the days of a calendar like 'mon thu', Monday 0; none where a word is no day of the week."""
    said = words.replace(",", " ").lower().split()
    found = [next((n for n, day in enumerate(WEEKDAYS) if len(word) >= 3 and day.startswith(word)), -1) for word in said]
    return tuple(sorted(set(found))) if found and min(found) >= 0 else ()


@dataclass(frozen=True, kw_only=True, slots=True)
class Asked:
    """What rules asked for that the order of work cannot heed: how often, by rule and words."""

    unknown: dict[tuple[str, str], int] = field(default_factory=dict)
    resting: dict[tuple[str, str], int] = field(default_factory=dict)

    def miss(self, one: Precedence, *, known: bool) -> None:
        """Count a precedence with a calendar that is not heeded: no days of the week, or (`known`) days without work."""
        into = self.resting if known else self.unknown
        into[one.rule, one.calendar] = into.get((one.rule, one.calendar), 0) + 1

    def findings(self) -> Iterator[Finding]:
        """Yield one finding that names all words that are no days, and one for each that names days without work."""
        if self.unknown:
            asked = ", ".join(f"'{word}' (rule {rule})" for rule, word in sorted(self.unknown))
            text = f"The order of work does not know these days: {asked}; see to it on site, or name days of the week like 'tue thu'."
            rules = tuple(sorted({rule for rule, _ in self.unknown}))
            yield Finding(code="order.not-heeded", severity="note", text=text, times=sum(self.unknown.values()), rules=rules)
        for (rule, days), times in sorted(self.resting.items()):
            text = f"Rule {rule} asks for work on '{days}', when there is none; name a day of work, or take a day out of rest_days."
            yield Finding(code="order.no-day", severity="warning", text=text, times=times, rules=(rule,))

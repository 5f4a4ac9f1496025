"""What gives way where rules forbid every joint: the windows of one rule over one stretch, and no offset of any."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

from wallquant.bonding.intervals import Interval
from wallquant.bonding.span import Span

if TYPE_CHECKING:
    from wallquant.bonding.problem import Ask
    from wallquant.bonding.stack import Solver


def hard(asks: Iterable[Ask], joint: int) -> list[Interval]:
    """Return the windows that never give way, as open intervals of piece starts, sorted."""
    return sorted({(a.lo, a.hi + joint) for a in asks if a.of == "joint" and a.yields == 0})


def bearable(asks: Sequence[Ask], spans: Iterable[Span], solver: Solver) -> list[Ask]:
    """Leave out what makes a span impossible to fill: there, the windows of one rule, else of several.

    Where the windows of either of two rules could go, those of the rule that forbids most go, by code among equals.  What is laid in
    them is told as any joint in a window that never gives way.
    """
    joint, kept = solver.how.joint, list(asks)
    for span in spans:
        if solver.fewest(span, hard(kept, joint)) is not None:
            continue
        here = [a for a in kept if a.of == "joint" and a.yields == 0 and a.rule and a.lo < span.hi and a.hi > span.lo]
        wide: dict[str, int] = {}
        for a in here:
            wide[a.rule] = wide.get(a.rule, 0) + min(a.hi, span.hi) - max(a.lo, span.lo)
        most = sorted(wide, key=lambda rule: (-wide[rule], rule))
        for out in (*([rule] for rule in most), *(most[:n] for n in range(2, len(most) + 1))):
            rest = _without(kept, [a for a in here if a.rule in out], span, joint)
            if solver.fewest(span, hard(rest, joint)) is not None:
                kept = rest
                break
    return kept


def _without(kept: Sequence[Ask], gone: Collection[Ask], span: Span, joint: int) -> list[Ask]:
    """Take windows away over a span; what of them lies beside it stays."""
    beside = [replace(a, lo=lo, hi=hi) for a in gone for lo, hi in ((a.lo, span.lo - joint), (span.hi, a.hi)) if a.lo <= lo < hi <= a.hi]
    return [*(a for a in kept if a not in gone), *beside]

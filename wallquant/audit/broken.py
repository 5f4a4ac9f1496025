"""How the audit says that something does not hold."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TypeVar

from wallquant.findings import Finding, Place

LIMIT = 25
"""Sentences told of one invariant; the rest is only counted, so that a spoilt plan can still be read."""

T = TypeVar("T")


def broken(code: str, text: str, *, measured: str = "", wanted: str = "", **place: str | int) -> Finding:
    """Return an error ``audit.<code>``; `place` are the words of :class:`~wallquant.findings.Place` that are known.

    A sentence that does not say what to do ends by asking for a new plan.
    """
    if "; mend " not in text and "; write " not in text:
        text += "; write the plan anew"
    return Finding(code=f"audit.{code}", severity="error", text=text, place=Place(**place), measured=measured, wanted=wanted)  # type: ignore[arg-type]


def shortened(found: Sequence[Finding]) -> list[Finding]:
    """Return the first `LIMIT` findings and one that counts the others."""
    if len(found) <= LIMIT:
        return list(found)
    rest = len(found) - LIMIT
    last = Finding(
        code=found[0].code, severity="error", text=f"and {rest} more of this kind; mend the first ones and audit again", times=rest
    )
    return [*found[:LIMIT], last]


def mm(value: float) -> str:
    """Return millimetres for a sentence: at most three decimals."""
    return f"{value:.3f}".rstrip("0").rstrip(".") + " mm"

"""Re-check a plan from its files alone: what must hold of every plan, I1 to I9, shares no code with what made it."""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from pathlib import Path

from wallquant.audit import bars, bought, cut_bars, ledger, offsets, openings, overlap, pieces, schedules, site, stations, steps, support
from wallquant.audit.broken import broken, shortened
from wallquant.audit.cells import Trouble
from wallquant.audit.elevation import elevation
from wallquant.audit.header import Header
from wallquant.audit.read import read
from wallquant.files import COLUMNS, FINDINGS, SUMMARY, vetted
from wallquant.findings import Finding, merged

__all__ = ["INVARIANTS", "audit", "examined"]

INVARIANTS: dict[str, str] = {
    "I1": "Each wall's ledger closes and its fits are within their tolerances.",
    "I2": "No two pieces overlap; between neighbours is a joint in range, or something that is named.",
    "I3": "Every piece comes from its unit and is at least the least piece.",
    "I4": "Offsets are as asked, or a finding names both rules; courses and ends of runs are where they are said to be.",
    "I5": "Each piece rests on half its length and both its ends, or on bearings.",
    "I6": "Each opening is bridged, with bearings as asked that no joint splits.",
    "I7": "Each bar lies in a core, hole or trough with its clearance.",
    "I8": "Steps are in a possible order; each piece is laid once, after what it rests on.",
    "I9": "Bought units are whole pieces and cut units; sums, schedules and saw list are those of the pieces, cuts and steps.",
}
"""What the audit proves, by code; findings have the code ``audit.<code>``, and ``audit.files`` for files as such."""


def audit(folder: Path) -> tuple[Finding, ...]:
    """Prove I1 to I9 of a plan folder.

    Parameters
    ----------
    folder : Path
        The folder that ``wallquant plan`` wrote.

    Returns
    -------
    tuple of Finding
        Empty if everything holds.  Errors ``audit.I1`` to ``audit.I9``, each with file, row and numbers; ``audit.files``
        where a file is missing, malformed or not the one whose checksum summary.json states.
    """
    return examined(folder)[0]


def examined(folder: Path) -> tuple[tuple[Finding, ...], frozenset[str]]:
    """Return what :func:`audit` finds, and the codes of what it could not look at, because a file cannot be read."""
    found: list[Finding] = []
    unseen: set[str] = set()
    try:
        plan = read(folder)
        found.extend(shortened(_checksums(folder, plan.header)))
        view = elevation(plan)
        checks: tuple[tuple[str, Callable[[], list[Finding]]], ...] = (
            ("I1", lambda: ledger.check(plan, view)),
            ("I2", lambda: overlap.check(plan, view)),
            ("I3", lambda: pieces.check(plan)),
            ("I4", lambda: stations.check(plan)),
            ("I4", lambda: offsets.check(plan, view)),
            ("I5", lambda: support.check(plan, view)),
            ("I6", lambda: openings.check(plan)),
            ("I7", lambda: bars.check(plan)),
            ("I8", lambda: steps.check(plan, view)),
            ("I9", lambda: bought.check(plan)),
            ("I9", lambda: schedules.check(plan)),
            ("I9", lambda: site.check(plan)),
            ("I9", lambda: cut_bars.check(plan)),
        )
    except Trouble as trouble:
        return (*found, broken("files", str(trouble))), frozenset(INVARIANTS)
    for code, check in checks:
        try:
            found.extend(shortened(check()))
        except Trouble as trouble:
            found.append(broken("files", str(trouble)))
            unseen.add(code)
    return merged(found), frozenset(unseen)


def _checksums(folder: Path, head: Header) -> list[Finding]:
    """Files against the checksums of the summary."""
    found = []
    for name in sorted({*COLUMNS, FINDINGS} - set(head.files)):
        found.append(broken("files", f"{SUMMARY} states no checksum of {name}"))
    for name, stated in sorted(head.files.items()):
        try:
            if not (folder / name).resolve().is_relative_to(folder.resolve()):
                found.append(broken("files", f"{SUMMARY} names {name}, which does not lie in {folder.name}"))
                continue
            real = hashlib.sha256(vetted(folder / name).read_bytes()).hexdigest()
        except OSError:
            found.append(broken("files", f"{name} is missing in {folder.name}"))
            continue
        if real != stated:
            text = f"{name} is not the file that {SUMMARY} was written with (sha256 {real[:12]}, stated {stated[:12]})"
            found.append(broken("files", text, measured=real, wanted=stated))
    return found

"""What the parser says about a file: its log, and statements that it did not return."""

from __future__ import annotations

import re

from wallquant.findings import Finding

_LINE = re.compile(r"\[(?:error|warning)\](?: \[\w+\])?(?: \[[^\]]*\])? (.*)", re.IGNORECASE)
_OFFSET = re.compile(r" at offset \d+")


def drain() -> str:
    """Return the parser's log and empty it; it is one for all files of a process."""
    import ifcopenshell

    return str(ifcopenshell.get_log())  # type: ignore[no-untyped-call]


def findings(log: str, stated: int, returned: int) -> list[Finding]:
    """Return one finding about all that the parser did not like, none where it is content.

    Parameters
    ----------
    log : str
        Its log for this file alone.
    stated : int
        Statements of the file's data section.
    returned : int
        Entities that the parser made of them.
    """
    said: list[str] = []
    for line in log.splitlines():
        match = _LINE.match(line)
        text = _OFFSET.sub("", match[1] if match else line).strip()
        if "non-unique GlobalId" in text:
            continue  # told for each wall; all else is found by its number here
        if text and text not in said:
            said.append(text)
    lost = stated - returned
    if not said and lost <= 0:
        return []
    first = f" (the first of {len(said)}: {_short(said[0])})" if len(said) > 1 else f" ({_short(said[0])})" if said else ""
    missing = f"; {lost} of {stated} statements could not be read at all and are missing here" if lost > 0 else ""
    text = f"The file does not keep to its schema{first}{missing}. Look whether all walls are here, and export the model again."
    return [Finding(code="reading.form", severity="warning", text=text, times=max(1, len(said)))]


def _short(text: str) -> str:
    plain = " ".join(text.split())
    return plain if len(plain) <= 160 else plain[:159] + "…"

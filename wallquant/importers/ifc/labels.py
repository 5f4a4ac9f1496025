"""Text of a file: names as people can read them, in any script, and bytes that no standard allows made into such as it does.

ISO 10303-21 writes what is not ASCII as ``\\X2\\`` (four hexadecimal digits a sign), ``\\X4\\`` (eight) or ``\\X\\`` (two); its third
edition also allows UTF-8.  Programs write neither: raw bytes of a code page, or halves of UTF-16 pairs.  The parser drops such
names, so they are written anew first.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Callable
from typing import Any

LONGEST = 255
"""Signs of an IfcLabel, by its definition in the IFC specification: STRING(255)."""
_EMBEDDING = frozenset("\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069")
"""Signs that turn the writing direction of all that follows: in a table they would turn their neighbours too."""
_CONTROLS = bytes(c for c in range(32) if c not in b"\t\n\r") + b"\x7f"
_BLANKS = bytes(32 if c in _CONTROLS else c for c in range(256))
_FOREIGN = re.compile(r"[^\x00-\x7f]+")
_WIDE = re.compile(rb"\\X2\\((?:[0-9A-Fa-f]{4})+)\\X0\\")
_HALF = re.compile(rb"\\X2\\(?:[0-9A-Fa-f]{4})*?[Dd][89A-Fa-f]")


def label(value: object) -> str:
    """Return a name or key of the model on one line, without signs that cannot be shown; '' for what is none.

    Examples
    --------
    >>> label("two\\nlines")
    'two lines'
    """
    text = value if isinstance(value, str) else "" if value is None else str(value)
    if not text.isprintable():
        text = "".join(" " if unicodedata.category(c) in ("Cc", "Cs", "Zl", "Zp") else c for c in text if c not in _EMBEDDING)
        text = " ".join(text.split())
    return text if len(text) <= LONGEST else text[: LONGEST - 1] + "…"


def called(element: Any, get: Callable[[Any, str], Any] = getattr) -> tuple[str, str]:
    """Return GlobalId and name on one line; '' also where a broken model relates a wall to what has neither."""
    try:
        return label(get(element, "GlobalId")), label(get(element, "Name"))
    except AttributeError:
        return label(getattr(element, "GlobalId", None)), label(getattr(element, "Name", None))


def readable(data: bytes) -> tuple[bytes, str]:
    """Return the text of a file in ASCII, and the code page that had to be guessed ('' where none had to be).

    Parameters
    ----------
    data : bytes
        The whole file.  It is returned as it is where there is nothing to mend.
    """
    guessed = ""
    if len(data.translate(None, _CONTROLS)) < len(data):
        data = data.translate(_BLANKS)
    if _HALF.search(data):
        data = _WIDE.sub(_whole, data)
    if not data.isascii():
        try:
            text = data.decode("utf-8")
        except UnicodeDecodeError:
            guessed = "Windows-1252"
            text = "".join(_decoded(data[i : i + 65_536]) for i in range(0, len(data), 65_536))
        data = _FOREIGN.sub(lambda m: _written(m[0]), text.removeprefix("\ufeff")).encode("ascii")
    return data, guessed


def _decoded(data: bytes) -> str:
    try:
        return data.decode("cp1252")
    except UnicodeDecodeError:
        return data.decode("latin-1")


def _whole(match: re.Match[bytes]) -> bytes:
    """Signs beyond the first plane, which are no pairs in ISO 10303-21; a half alone becomes the sign for what is unknown."""
    return _written(bytes.fromhex(match[1].decode("ascii")).decode("utf-16-be", "replace")).encode("ascii")


def _written(text: str) -> str:
    wide = any(ord(c) > 0xFFFF for c in text)
    digits = "".join(f"{ord(c):08X}" if wide else f"{ord(c):04X}" for c in text)
    return f"\\X4\\{digits}\\X0\\" if wide else f"\\X2\\{digits}\\X0\\"

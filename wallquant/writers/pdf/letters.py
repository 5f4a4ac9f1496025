"""Letters that the font of the sheets has not: written in Latin ones where people do so, else as `ODD`.

The font that reportlab brings has the letters of western Europe.  Polish and its like lose a mark (ą is a), Cyrillic and Greek are
spelt in Latin letters as on road signs (common practice, no source; no standard is claimed), so that a name can be said aloud and told
from its neighbour's.  What is left, other scripts and signs, is `ODD`; who prints a name adds its key then (`told_apart`).
"""

from __future__ import annotations

import unicodedata
from collections.abc import Container

ODD = "?"
_SPELT = {
    "а": "a", "б": "b", "в": "v", "г": "g", "д": "d", "е": "e", "ё": "yo", "ж": "zh", "з": "z", "и": "i", "й": "y", "к": "k", "л": "l",
    "м": "m", "н": "n", "о": "o", "п": "p", "р": "r", "с": "s", "т": "t", "у": "u", "ф": "f", "х": "kh", "ц": "ts", "ч": "ch", "ш": "sh",
    "щ": "shch", "ъ": "", "ы": "y", "ь": "", "э": "e", "ю": "yu", "я": "ya", "є": "ye", "і": "i", "ї": "yi", "ґ": "g", "ў": "w", "ђ": "dj",
    "ј": "j", "љ": "lj", "њ": "nj", "ћ": "c", "џ": "dz", "ѓ": "gj", "ѕ": "dz", "ќ": "kj",
    "α": "a", "β": "v", "γ": "g", "δ": "d", "ε": "e", "ζ": "z", "η": "i", "θ": "th", "ι": "i", "κ": "k", "λ": "l", "μ": "m", "ν": "n",
    "ξ": "x", "ο": "o", "π": "p", "ρ": "r", "σ": "s", "ς": "s", "τ": "t", "υ": "y", "φ": "f", "χ": "ch", "ψ": "ps", "ω": "o",
    "ħ": "h", "ŧ": "t", "ŋ": "ng", "ĸ": "k", "ə": "e", "ẞ": "SS", "№": "No.",
}  # fmt: skip
"""Small letters, and what has only one form."""


def drawable(words: str, known: Container[int]) -> str:
    """Return one line of text in letters that a font has.

    Parameters
    ----------
    words : str
    known : container of int
        Code points that the font has.
    """
    return "".join(" " if c.isspace() else _letter(c, known) for c in unicodedata.normalize("NFC", words))


def told_apart(name: str, key: str, known: Container[int]) -> str:
    """Return a name, with its key (a GlobalId) behind it where letters of it are lost."""
    lost = drawable(name, known).count(ODD) > name.count(ODD)
    return f"{name} {key}" if lost and key not in ("", name) else name


def _letter(c: str, known: Container[int]) -> str:
    if not c.isprintable():
        return ODD
    if (spelt := _spelt(c)) is not None:  # first, since the font has two letters of Greek, which alone make no word
        return spelt
    if ord(c) in known:
        return c
    bare = "".join(d for d in unicodedata.normalize("NFKD", c) if not unicodedata.combining(d))
    found = [_spelt(d) or (d if ord(d) in known else None) for d in bare]
    return "".join(d for d in found if d is not None) if found and None not in found else ODD


def _spelt(c: str) -> str | None:
    small = _SPELT.get(c)
    if small is None and (small := _SPELT.get(c.lower())) is not None:
        small = small.capitalize()
    return small

"""Lengths as whole nanometres: read them from text, print them in either system.

Every length inside wallquant is an ``int`` of nanometres, so that sums are exact and equality is ``==``.  One inch is
exactly 25.4 mm (international yard and pound agreement, 1959), so 1/64 in is 396,875 nm and every fraction that a tape
shows is a whole number here.
"""

from __future__ import annotations

import re
from decimal import Decimal, InvalidOperation
from fractions import Fraction

Nm = int
"""A length in whole nanometres."""

UM: Nm = 1_000
MM: Nm = 1_000_000
CM: Nm = 10 * MM
M: Nm = 1_000 * MM
INCH: Nm = 25_400_000
FOOT: Nm = 12 * INCH
POUND = 0.45359237
"""Kilograms; exact (international yard and pound agreement, 1959)."""

_SIZE: dict[str, Nm] = {
    "mm": MM,
    "cm": CM,
    "m": M,
    "in": INCH,
    '"': INCH,
    "ft": FOOT,
    "'": FOOT,
}
_NUMBER = r"(?:\d+-\d+/\d+|\d+\s+\d+/\d+|\d+/\d+|\d+(?:\.\d+)?|\.\d+)"
_PART = re.compile(rf"\s*({_NUMBER})\s*(mm|cm|m|in|ft|\"|')\s*")


def mm(value: float | int | str | Decimal) -> Nm:
    """Return `value` millimetres as whole nanometres, rounded half to even.

    Parameters
    ----------
    value : float or int or str or Decimal
        Millimetres.

    Returns
    -------
    int
        Nanometres.

    Examples
    --------
    >>> mm("7.5")
    7500000
    """
    return round(Decimal(str(value)) * MM)


def inches(value: int | str | Fraction) -> Nm:
    """Return `value` inches ("7-7/8" is allowed) as nanometres.

    Raises
    ------
    ValueError
        If the text is no number.

    Examples
    --------
    >>> inches("7-7/8")
    200025000
    """
    return round(_number(value) * INCH) if isinstance(value, str) else round(Fraction(value) * INCH)


def parse_length(text: str) -> Nm:
    """Read a length with its unit: ``199 mm``, ``7-7/8 in``, ``6 ft 8 in``, ``1.2 m``.

    Parameters
    ----------
    text : str
        One or two numbers, each with a unit of mm, cm, m, in, ft, ``"`` or ``'``; a leading minus sign is allowed.

    Returns
    -------
    int
        Nanometres, rounded to the nearest.

    Raises
    ------
    ValueError
        If the text is no length or names no unit; the sentence says what was read and what is wanted.
    """
    body = text.strip()
    sign = 1
    if body[:1] in "+-" and body:
        sign = -1 if body[0] == "-" else 1
        body = body[1:]
    total, at, last = Fraction(0), 0, None
    while at < len(body):
        part = _PART.match(body, at)
        if part is None or (last is not None and _SIZE[part[2]] >= last):
            break
        last = _SIZE[part[2]]
        total += _number(part[1]) * last
        at = part.end()
    if at < len(body) or last is None:
        raise ValueError(f"'{text}' is no length; write a number with its unit, like '199 mm', '7-7/8 in' or '6 ft 8 in'")
    return sign * round(total)


def _number(text: str) -> Fraction:
    whole, _, part = text.strip().replace(" ", "-").rpartition("-")
    try:
        return (Fraction(Decimal(whole)) if whole else Fraction(0)) + (Fraction(part) if "/" in part else Fraction(Decimal(part)))
    except (InvalidOperation, ValueError, ZeroDivisionError) as error:
        raise ValueError(f"'{text}' is no number") from error


def to_mm(length: Nm) -> float:
    """Return nanometres as millimetres (for files and drawings)."""
    return length / MM


def mm_text(length: Nm) -> str:
    """Return millimetres with as few decimals as are exact, at most six: ``599``, ``149.225``."""
    sign = "-" if length < 0 else ""
    whole, rest = divmod(abs(length), MM)
    return f"{sign}{whole}" + (f".{rest:06d}".rstrip("0") if rest else "")


def inch_text(length: Nm, *, finest: int = 16) -> str:
    """Return feet and inches to the nearest 1/`finest` in, as a tape shows them: ``6 ft 8 in``, ``7-7/8 in``.

    Parameters
    ----------
    length : int
        Nanometres.
    finest : int
        Denominator of the finest mark on the tape.
    """
    sign = "-" if length < 0 else ""
    marks = round(Fraction(abs(length) * finest, INCH))
    whole, rest = divmod(marks, finest)
    feet, whole = divmod(whole, 12)
    part = Fraction(rest, finest)
    if not marks:
        return "0 in"
    inch = f"{whole}-{part}" if whole and part else f"{part}" if part else f"{whole}" if whole or not feet else ""
    return sign + " ".join(t for t in (f"{feet} ft" if feet else "", f"{inch} in" if inch else "") if t)


def text(length: Nm, system: str) -> str:
    """Return a length for people: `system` is ``mm`` (nearest whole or tenth) or ``in`` (nearest 1/16)."""
    if system == "in":
        return inch_text(length)
    tenths = round(Fraction(length, MM // 10))
    return f"{tenths // 10} mm" if tenths % 10 == 0 else f"{tenths / 10:.1f} mm"


def mass_text(kg: float, system: str) -> str:
    """Return a mass for people, to the whole kilogram or, in the system ``in``, pound.

    Examples
    --------
    >>> mass_text(48.6, "mm"), mass_text(48.6, "in")
    ('49 kg', '107 lb')
    """
    return f"{kg / POUND:,.0f} lb" if system == "in" else f"{kg:,.0f} kg"

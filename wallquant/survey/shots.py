"""Shots of a slab, as a CSV file has them.

Columns, in any order: ``x`` and ``y``, or ``corner`` (a corner of the plan), or both (a tie point of own axes); ``level``, or
``reading`` (of a levelling rod: more is lower), or both on one row (a bench mark, which gives readings their level); ``name``.
``x_m`` or ``reading_in`` says a column's unit; without one it is millimetres.  A cell may be a length with its unit, like 5-3/8 in,
or a fraction of its column's unit, like 1/8.  Columns may be parted by semicolons or tabs, as spreadsheets of many countries write
them; only there a comma is a decimal point.
"""

from __future__ import annotations

import csv
from dataclasses import dataclass
from math import isfinite
from pathlib import Path

from wallquant.units import MM, parse_length

UNITS = {"mm": 1.0, "cm": 10.0, "m": 1000.0, "in": 25.4, "ft": 304.8}
"""Millimetres in a unit of length; inch and foot by the international yard and pound agreement, 1959."""
COLUMNS = ("x", "y", "level", "reading", "corner", "name")
MOST_SHOTS = 20_000
"""A slab is shot by hand at dozens of points; a scan is to be thinned out first."""
FARTHEST = {"x": 1e10, "y": 1e10, "level": 1e7, "reading": 1e7}
"""Millimetres: 10,000 km for a place in map coordinates, 10 km for a level."""


_BARE = set("0123456789/-+ .")
"""What a number or fraction without a unit is written with."""


class SurveyError(ValueError):
    """What is wrong with a survey: one sentence."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Shot:
    """One shot: its row in the file, where it is said to be, and its level or rod reading; millimetres."""

    line: int
    name: str = ""
    x: float | None = None
    y: float | None = None
    corner: str = ""
    level: float | None = None
    reading: float | None = None

    @property
    def called(self) -> str:
        """What people call it."""
        return self.name or self.corner or f"line {self.line}"


def read_shots(path: Path) -> tuple[Shot, ...]:
    """Read the shots of a slab.

    Raises
    ------
    SurveyError
        One sentence: which line is wrong, and what to do.
    """
    try:
        text = path.read_text(encoding="utf-8-sig")
    except (OSError, UnicodeDecodeError) as error:
        why = getattr(error, "strerror", None) or "it is no text in UTF-8"
        raise SurveyError(f"{path.name} cannot be read ({why}); name a CSV file of slab shots") from error
    if "\0" in text:
        raise SurveyError(f"{path.name} is no text file; name a CSV file of slab shots")
    try:
        lines = text.splitlines()
        parted = _parted(lines)
        rows = list(csv.reader(lines, delimiter=parted, strict=True))
    except csv.Error as error:
        raise SurveyError(f"{path.name} is no well-formed CSV file ({error}); export it again") from error
    head = next((n for n, row in enumerate(rows) if any(cell.strip() for cell in row)), None)
    if head is None:
        raise SurveyError(f"{path.name} is empty; it needs a header like 'x,y,level' and a line for each shot")
    columns = _columns(path, rows[head])
    shots = []
    for n, row in enumerate(rows[head + 1 :], start=head + 2):
        if any(cell.strip() for cell in row):
            shots.append(_shot(path, n, columns, row, decimal_comma=parted != ","))
    if len(shots) < 3:
        counted = "1 shot" if len(shots) == 1 else f"{len(shots)} shots"
        raise SurveyError(f"{path.name} has {counted}; a surface needs at least three that do not lie on one line")
    if len(shots) > MOST_SHOTS:
        raise SurveyError(
            f"{path.name} has {len(shots):,} shots, and at most {MOST_SHOTS:,} are read; thin the scan out, a point every metre will do"
        )
    return tuple(shots)


def _parted(lines: list[str]) -> str:
    """Return what parts the columns: a comma, or a semicolon or tab where the header has no comma."""
    header = next((line for line in lines if line.strip()), "")
    return next((mark for mark in (",", ";", "\t") if mark in header), ",")


def _columns(path: Path, header: list[str]) -> dict[str, tuple[int, float]]:
    out: dict[str, tuple[int, float]] = {}
    for n, cell in enumerate(header):
        word = cell.strip().lower()
        name, _, unit = word.rpartition("_")
        if word not in COLUMNS and (name not in COLUMNS or unit not in UNITS):
            known = ", ".join(COLUMNS)
            raise SurveyError(
                f"{path.name}: column '{cell.strip()[:40]}' is not known; there are {known}, with a unit as in x_m or level_in"
            )
        key = word if word in COLUMNS else name
        if key in out:
            raise SurveyError(f"{path.name}: column {key} is there twice; take one out")
        out[key] = (n, 1.0 if word in COLUMNS else UNITS[unit])
    if not ({"level", "reading"} & set(out)):
        raise SurveyError(f"{path.name} has no column 'level' or 'reading'; a shot needs one")
    if ("x" in out) != ("y" in out) or not ({"x", "corner"} & set(out)):
        raise SurveyError(f"{path.name} needs the columns 'x' and 'y', or 'corner'")
    return out


def _shot(path: Path, line: int, columns: dict[str, tuple[int, float]], row: list[str], *, decimal_comma: bool) -> Shot:
    def text(key: str) -> str:
        at = columns.get(key, (len(row), 1.0))[0]
        return row[at].strip() if at < len(row) else ""

    def number(key: str) -> float | None:
        said = text(key)
        if not said:
            return None
        plain, factor = said.replace(",", ".") if decimal_comma else said, columns[key][1]
        try:
            value = float(plain.replace("_", "x")) * factor
        except ValueError:
            try:
                value = parse_length(f"{plain} mm") / MM * factor if set(plain) <= _BARE else parse_length(plain) / MM
            except ValueError as error:
                raise SurveyError(f"{path.name}, line {line}: {key} is '{said[:40]}', which is no length; correct it") from error
        if not isfinite(value) or abs(value) > FARTHEST[key]:
            raise SurveyError(f"{path.name}, line {line}: {key} is '{said[:40]}', which no place on a slab has; correct it")
        return value

    shot = Shot(
        line=line, name=text("name"), x=number("x"), y=number("y"), corner=text("corner"), level=number("level"), reading=number("reading")
    )
    if (shot.x is None) != (shot.y is None) or (shot.x is None and not shot.corner):
        raise SurveyError(f"{path.name}, line {line}: the shot has no place; give x and y, or the name of a corner")
    if shot.level is None and shot.reading is None:
        raise SurveyError(f"{path.name}, line {line}: the shot has no level and no reading; give one, or take the line out")
    return shot

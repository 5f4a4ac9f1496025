"""Paper, pen and type: pages with their head and foot, text that is only ever text, and lines in shades of grey.

Nothing here reads markup: what a model calls its parts is drawn letter by letter; `letters` says what stands for one that the font
has not.
Coordinates are points (1/72 in) from the page's lower left corner.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import lru_cache
from pathlib import Path
from typing import Any

from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont
from reportlab.pdfgen.canvas import Canvas

from wallquant.units import INCH, MM, Nm, text
from wallquant.writers.pdf.letters import ODD, drawable, told_apart

MM_PT = 72 / 25.4
PAPERS = {"mm": ((841.89, 595.276), (1190.551, 841.89)), "in": ((792.0, 612.0), (1224.0, 792.0))}
"""Small and large sheet, landscape: ISO 216 A4 and A3; for feet and inches letter (8-1/2 x 11 in) and 11 x 17 in."""
FONT, BOLD = "WQ-Sans", "WQ-Sans-Bold"
FILES = {FONT: "Vera.ttf", BOLD: "VeraBd.ttf"}
"""They come with reportlab, and so look the same everywhere."""
FRACTION = re.compile(r"(\d) (\d+/\d+\")")
"""What of a figure in feet and inches a line is not broken at, and what stands there meanwhile."""
TIED = "\0"
MARGIN = 10 * MM_PT
HEAD, FOOT = 11 * MM_PT, 7 * MM_PT
CAUTION = "Layout only, no structural design; local codes, the engineer and the supplier's instructions come first."


@lru_cache(maxsize=2)
def _face(font: str) -> Any:
    if font not in pdfmetrics.getRegisteredFontNames():
        pdfmetrics.registerFont(TTFont(font, FILES[font]))
    return pdfmetrics.getFont(font).face


def plain(words: object) -> str:
    """Return text as it can be drawn: one line, in letters that the font has (`wallquant.writers.pdf.letters`)."""
    said = str(words)
    return said if said.isascii() and said.isprintable() else drawable(said, _face(FONT).charToGlyph)


def distinct(name: str, key: str) -> str:
    """Return what an element of the model is called, with its key behind it where the name cannot be read."""
    return told_apart(name, key, _face(FONT).charToGlyph)


def width(words: str, size: float, font: str = FONT) -> float:
    """Return the width of plain text in points."""
    face = _face(font)
    of = face.charWidths
    return float(sum(of.get(ord(c), face.defaultWidth) for c in words)) * size / 1000


def short(words: str, most: float, size: float, font: str = FONT) -> str:
    """Return plain text no wider than `most`; what is left out is an ellipsis."""
    if width(words, size, font) <= most:
        return words
    while words and width(words + "…", size, font) > most:
        words = words[: -max(1, len(words) // 12)]
    return words.rstrip() + "…"


def wrapped(words: str, most: float, size: float, font: str = FONT) -> list[str]:
    """Return plain text in lines no wider than `most`; a word that is wider is broken."""
    lines, line, used = [], "", 0.0
    space = width(" ", size, font)
    for word in (w.replace(TIED, " ") for w in FRACTION.sub(rf"\1{TIED}\2", words).split(" ") if w):
        wide = width(word, size, font)
        while wide > most and len(word) > 1:
            take = max(1, int(len(word) * most / wide) - 1)
            if line:
                lines.append(line)
                line, used = "", 0.0
            lines.append(word[:take])
            word = word[take:]
            wide = width(word, size, font)
        if line and used + space + wide > most:
            lines.append(line)
            line, used = word, wide
        else:
            line, used = (f"{line} {word}", used + space + wide) if line else (word, wide)
    return [*lines, line] if line or not lines else lines


@dataclass(kw_only=True, slots=True)
class Book:
    """The sheets on their way: each page is done once and not kept in parts.

    `left`, `low`, `right`, `high` bound what a page has for its content, between head and foot.
    """

    canvas: Any
    system: str
    model: str
    page: int = 0
    odd: bool = False
    left: float = 0.0
    low: float = 0.0
    right: float = 0.0
    high: float = 0.0
    listed: list[tuple[str, int]] = field(default_factory=list)

    @classmethod
    def at(cls, path: Path, *, system: str, model: str) -> Book:
        """Begin a file; equal calls give equal bytes."""
        canvas = Canvas(str(path), invariant=1, pageCompression=1, pagesize=PAPERS[system][0])
        canvas.setTitle("Sheets")
        canvas.setAuthor("wallquant")
        canvas.setCreator("wallquant")
        for font in FILES:
            _face(font)
        return cls(canvas=canvas, system=system, model=plain(model))

    def room(self, *, large: bool) -> tuple[float, float]:
        """Return width and height that a sheet has for its content."""
        wide, high = PAPERS[self.system][1 if large else 0]
        return wide - 2 * MARGIN, high - 2 * MARGIN - HEAD - FOOT

    def sheet(self, title: str, *, beside: str = "", large: bool = False, listed: bool = True) -> None:
        """Begin a page, and end the one before."""
        self._foot()
        wide, high = PAPERS[self.system][1 if large else 0]
        self.page += 1
        self.canvas.setPageSize((wide, high))
        self.left, self.right = MARGIN, wide - MARGIN
        self.low, self.high = MARGIN + FOOT, high - MARGIN - HEAD
        y = high - MARGIN - 13
        room = self.right - self.left
        said = short(plain(beside), room * 0.45, 9)
        title = plain(title)
        self.text(self.left, y, short(title, room - width(said, 9) - 12, 14, BOLD), 14, bold=True)
        self.text(self.right, y, said, 9, anchor="right")
        self.line(self.left, y - 6, self.right, y - 6, 1.2)
        if listed:
            self.listed.append((title, self.page))
            key = f"p{self.page}"
            self.canvas.bookmarkPage(key)
            self.canvas.addOutlineEntry(title, key, level=0)

    def _foot(self) -> None:
        if not self.page:
            return
        y = MARGIN + 3
        self.line(self.left, y + 9, self.right, y + 9, 0.5)
        self.canvas.setFillGray(0)
        note = f"  {ODD} stands for a letter that this font has not." if self.odd else ""
        number = f"Page {self.page} of "
        end = self.right - 26
        self.text(end, y, number, 8, anchor="right")
        self.canvas.saveState()
        self.canvas.translate(end, y)
        self.canvas.doForm("pages")
        self.canvas.restoreState()
        room = end - width(number, 8) - self.left - 10
        caution = CAUTION + note
        self.text(self.left, y, caution, 7)
        name = room - width(caution, 7) - 14
        if name > 40:
            self.text(end - width(number, 8) - 10, y, self.model, 7, anchor="right", most=name)
        self.odd = False
        self.canvas.showPage()

    def close(self) -> None:
        """End the last page and write the file."""
        self._foot()
        self.canvas.beginForm("pages", lowerx=0, lowery=-4, upperx=40, uppery=12)
        self.canvas.setFont(FONT, 8)
        self.canvas.drawString(0, 0, f" {self.page}")
        self.canvas.endForm()
        self.canvas.save()

    def text(
        self, x: float, y: float, words: object, size: float, *, bold: bool = False, anchor: str = "left", turn: float = 0,
        most: float = 0, ground: float | None = None, grey: float = 0,
    ) -> None:  # fmt: skip
        """Draw a line of text.

        `most` is its greatest width, `ground` a grey (1 is white) that it is put on, `turn` its angle in degrees to the left.
        """
        font = BOLD if bold else FONT
        said = plain(words)
        if most:
            said = short(said, most, size, font)
        self.odd = self.odd or ODD in said
        wide = width(said, size, font) if anchor != "left" or ground is not None else 0.0
        back = {"left": 0.0, "middle": wide / 2, "right": wide}[anchor]
        pen = self.canvas
        if turn:
            pen.saveState()
            pen.translate(x, y)
            pen.rotate(turn)
            x, y = 0.0, 0.0
        if ground is not None:
            pen.setFillGray(ground)
            pen.rect(x - back - 1, y - size * 0.22, wide + 2, size * 1.06, stroke=0, fill=1)
        pen.setFont(font, size)
        pen.setFillGray(grey)
        pen.drawString(x - back, y, said)
        if turn:
            pen.restoreState()

    def line(
        self, x0: float, y0: float, x1: float, y1: float, wide: float = 0.5, *, dash: Sequence[float] = (), grey: float = 0
    ) -> None:  # fmt: skip
        """Draw a line."""
        pen = self.canvas
        pen.setLineWidth(wide)
        pen.setStrokeGray(grey)
        if dash:
            pen.setDash(list(dash))
        pen.line(x0, y0, x1, y1)
        if dash:
            pen.setDash()

    def shape(
        self, points: Sequence[tuple[float, float]], *, fill: float | None = None, wide: float = 0.4, dash: Sequence[float] = (),
    ) -> None:  # fmt: skip
        """Draw an outline, filled with a grey (1 is white) or not; `wide` 0 draws no line."""
        pen = self.canvas
        path = pen.beginPath()
        path.moveTo(*points[0])
        for point in points[1:]:
            path.lineTo(*point)
        path.close()
        if fill is not None:
            pen.setFillGray(fill)
        pen.setLineWidth(wide)
        pen.setStrokeGray(0)
        if dash:
            pen.setDash(list(dash))
        pen.drawPath(path, stroke=1 if wide else 0, fill=1 if fill is not None else 0)
        if dash:
            pen.setDash()

    def box(self, x: float, y: float, wide: float, high: float, *, fill: float | None = None, line: float = 0.4) -> None:
        """Draw a rectangle."""
        pen = self.canvas
        pen.setLineWidth(line)
        pen.setStrokeGray(0)
        if fill is not None:
            pen.setFillGray(fill)
        pen.rect(x, y, wide, high, stroke=1 if line else 0, fill=1 if fill is not None else 0)

    def dot(self, x: float, y: float, radius: float, *, fill: float = 0) -> None:
        """Draw a disc with an outline."""
        self.canvas.setFillGray(fill)
        self.canvas.setStrokeGray(0)
        self.canvas.setLineWidth(0.6)
        self.canvas.circle(x, y, radius, stroke=1, fill=1)

    def length(self, value: float) -> str:
        """Return nanometres for a sentence or a table: ``599 mm``, ``1 ft 11-7/8 in``."""
        return text(round(value), self.system)

    def figure(self, value: float) -> str:
        """Return nanometres for a drawing, whose foot says the unit: ``599``, ``1'-11 7/8"``."""
        if self.system == "in":
            return feet(round(value))
        return text(round(value), "mm").removesuffix(" mm")


def feet(length: Nm) -> str:
    """Return feet and inches as drawings have them, to 1/16 in.

    Examples
    --------
    >>> feet(608012500)
    '1\\'-11 15/16"'
    """
    from fractions import Fraction

    marks = round(Fraction(abs(length) * 16, INCH))
    whole, rest = divmod(marks, 16)
    foot, inch = divmod(whole, 12)
    part = f" {Fraction(rest, 16)}" if rest else ""
    said = f"{inch}{part}" if inch or foot or not part else part.strip()
    return ("-" if length < 0 and marks else "") + (f"{foot}'-{said}\"" if foot else f'{said}"')


def scale_text(scale: int, system: str) -> str:
    """Return what a scale is called."""
    if system == "in" and 12 * 16 % scale == 0:
        from fractions import Fraction

        part = Fraction(12, scale)
        return f"scale {part} in = 1 ft (1:{scale})"
    return f"scale 1:{scale}"


def points(length: float, scale: int) -> float:
    """Return nanometres at a scale in points."""
    return length / MM * MM_PT / scale

"""Headings, sentences and tables that flow down the columns of a page, and on to the next."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from wallquant.writers.pdf.paper import BOLD, FONT, Book, plain, short, width, wrapped

GAP = 16.0
"""Between columns, in points."""
COLUMN = 400.0
"""Width of a column with its gap, about: two on a small sheet, three on a large one."""
LEAST = 90.0
"""Less room than this is left empty."""


@dataclass(kw_only=True, slots=True)
class Flow:
    """A column of text that goes on in the next one; the first page is begun with the first word.

    `size` is that of the type, `column` about the width of a column with its gap, in points.
    """

    book: Book
    title: str
    beside: str = ""
    size: float = 8.0
    column: float = COLUMN
    at: int = -1
    y: float = 0.0
    pages: int = 0
    ceiling: float = 0.0

    def begin(self, high: float) -> None:
        """Begin in what is empty under `high` on the page that is there, if that is worth it."""
        self.pages = 1
        if high - self.book.low > LEAST:
            self.at, self.ceiling, self.y = 0, high, high

    @property
    def number(self) -> int:
        """Columns of the page."""
        return max(1, round((self.book.right - self.book.left + GAP) / self.column))

    @property
    def wide(self) -> float:
        """Width of a column."""
        return (self.book.right - self.book.left - GAP * (self.number - 1)) / self.number

    @property
    def x(self) -> float:
        return self.book.left + self.at * (self.wide + GAP)

    @property
    def leading(self) -> float:
        return self.size * 1.28

    def need(self, high: float) -> bool:
        """Go on to the next column where this one has less room than `high`; return whether it did."""
        if self.at >= 0 and self.y - high >= self.book.low + 2:
            return False
        if self.at >= 0 and self.y >= self.ceiling - 1 and self.y - 3 * self.leading > self.book.low:
            return False  # nothing is in this column yet, and the next one on the page has no more room
        self.at += 1
        if self.at == 0 or self.at >= self.number:
            more = ", continued" if self.pages else ""
            self.book.sheet(self.title + more, beside=self.beside, listed=not self.pages)
            self.pages += 1
            self.at = 0
            self.ceiling = self.book.high - 2
        self.y = self.ceiling
        return True

    def heading(self, words: str, *, keep: float = 40.0) -> None:
        """Write a heading; `keep` points of what follows stay with it."""
        size = self.size + 2.5
        self.need(size * 2 + keep)
        if self.y < self.ceiling - 1:
            self.y -= size * 0.6
        self.y -= size
        self.book.text(self.x, self.y, words, size, bold=True, most=self.wide)
        self.y -= size * 0.5

    def say(self, words: str, *, bold: bool = False, mark: bool = False) -> None:
        """Write a sentence; with `mark` a bar stands before it."""
        inset = self.size * 0.9 if mark else 0.0
        lines = wrapped(plain(words), self.width_of_text - inset, self.size, BOLD if bold else FONT)
        for n, line in enumerate(lines):
            alone = len(lines) > 1 and n in (0, len(lines) - 2)  # a column neither ends with the first line nor begins with the last
            self.need(self.leading * (2 if alone else 1))
            self.y -= self.leading
            if mark:
                self.book.line(self.x + 1, self.y - 1.5, self.x + 1, self.y + self.size * 0.85, 2.2)
            self.book.text(self.x + inset, self.y, line, self.size, bold=bold)
        self.y -= self.size * 0.35

    @property
    def width_of_text(self) -> float:
        """Width of a line, once a column is begun."""
        if self.at < 0:
            self.need(self.leading)
        return self.wide

    def box(self) -> None:
        """Draw a box to tick on the line just begun."""
        self.book.box(self.x + 0.5, self.y - 0.8, self.size * 0.9, self.size * 0.9, line=0.7)

    def table(
        self, head: Sequence[str], shares: Sequence[float], rows: Iterable[Sequence[str]], *, right: Iterable[int] = (),
        tick: bool = False, strong: Iterable[int] = (0,),
    ) -> None:  # fmt: skip
        """Write a table row by row.

        Parameters
        ----------
        head : sequence of str
            Words over the columns, written again on each new column of the page.
        shares : sequence of float
            Widths of the columns, as parts of their sum.
        right, strong : iterable of int
            Columns that are aligned to the right, and those in bold.
        tick : bool
            Whether each row begins with a box to tick.
        """
        turned, bolds = frozenset(right), frozenset(strong)
        begun = False
        for row in rows:
            if not begun or self.at < 0:
                self.need(self.leading * 3)
                self._head(head, shares, turned, tick)
                begun = True
            spans = self._spans(shares, tick)
            cells = [
                wrapped(plain(cell), span[1] - (9 if n in turned else 3), self.size, BOLD if n in bolds else FONT) if cell else []
                for n, (cell, span) in enumerate(zip(row, spans, strict=True))
            ]
            high = max(1, *(len(c) for c in cells)) * self.leading
            if self.need(min(high, self.book.high - self.book.low - 4 * self.leading) + 2):
                self._head(head, shares, turned, tick)
            spans = self._spans(shares, tick)
            for k in range(max(1, *(len(c) for c in cells))):
                if self.need(self.leading):
                    self._head(head, shares, turned, tick)
                    spans = self._spans(shares, tick)
                self.y -= self.leading
                if tick and k == 0:
                    self.box()
                for n, cell in enumerate(cells):
                    if k < len(cell):
                        x, wide = spans[n]
                        at = x + wide - 9 if n in turned else x
                        self.book.text(at, self.y, cell[k], self.size, bold=n in bolds, anchor="right" if n in turned else "left")
            self.y -= 2.2
            self.book.line(self.x, self.y, self.x + self.wide, self.y, 0.25, grey=0.55)
        if begun:
            self.y -= self.size * 0.6

    def _spans(self, shares: Sequence[float], tick: bool) -> list[tuple[float, float]]:
        inset = self.size * 1.5 if tick else 0.0
        room, total, x = self.wide - inset, sum(shares), self.x + inset
        out = []
        for share in shares:
            out.append((x, room * share / total))
            x += room * share / total
        return out

    def _head(self, head: Sequence[str], shares: Sequence[float], right: frozenset[int], tick: bool) -> None:
        size = self.size - 0.5
        spans = self._spans(shares, tick)
        rooms = [wide - (9 if n in right else 3) for n, (_, wide) in enumerate(spans)]
        lines = [wrapped(plain(h), room, size) for h, room in zip(head, rooms, strict=True)]
        for k in range(max(len(one) for one in lines)):
            self.y -= size * 1.2
            for n, ((x, wide), cell) in enumerate(zip(spans, lines, strict=True)):
                if k < len(cell):
                    said = short(cell[k], wide, size)
                    self.book.text(x + wide - 9 - width(said, size) if n in right else x, self.y, said, size)
        self.y -= 2.5
        self.book.line(self.x, self.y, self.x + self.wide, self.y, 0.9)

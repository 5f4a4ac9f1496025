"""What is measured on an elevation: course levels, corners, dimension strings, the key to its shades and lines."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

from wallquant.layout import Run
from wallquant.units import MM, Nm
from wallquant.writers.pdf.facts import Facts
from wallquant.writers.pdf.paper import FONT, Book, points, width

SHADE = {"standard": 1.0, "core": 1.0, "U": 1.0, "lintel": 0.78}
"""Greys of pieces by the kind of their unit; 1 is white."""
CUT = 0.9
LEFT = 58.0
"""Room for levels left of the drawing, in points."""
DROP = {"mm": 27.0, "in": 54.0}
"""Room for the figures of the running string, which stand upright, in points."""
NEAR = 50 * MM
"""A corner that lies so near to the end face is told there."""
SMALLEST = 4.6
"""Smallest type."""


@dataclass(frozen=True, kw_only=True, slots=True)
class View:
    """A stretch of a run on a page: stations `lo` to `hi`, and where (lo, bottom) lies."""

    book: Book
    run: Run
    scale: int
    lo: Nm
    hi: Nm
    x0: float
    y0: float

    def x(self, station: float) -> float:
        return self.x0 + points(station - self.lo, self.scale)

    def y(self, level: float) -> float:
        return self.y0 + points(level - self.run.bottom, self.scale)


def numbered(book: Book, x: float, y: float, number: int) -> None:
    """A bar's number in a disc."""
    size = 5.6
    book.dot(x, y, 5.4, fill=1)
    book.text(x, y - size * 0.36, number, size, bold=True, anchor="middle")


def levels(view: View, facts: Facts) -> None:
    """Number of each course and the level of its top over the run's underside, on both sides."""
    book, run = view.book, view.run
    x0, x1 = view.x(view.lo), view.x(view.hi)
    least = 1.15 * 6.4
    last, crown = -1e9, facts.crown(run)
    for course in facts.plan.work.courses[run.name]:
        top = min(course.top, crown)
        low, high = view.y(course.bottom), view.y(top)
        if high - last < least:
            continue
        last = high
        book.line(x0 - LEFT + 22, high, x0 - 4, high, 0.35)
        book.text(x0 - 8, high - 6.3, book.figure(top - run.bottom), 6.2, anchor="right")
        size = min(8.0, (high - low) * 0.9)
        book.text(x0 - LEFT + 16, (low + high) / 2 - size * 0.36, course.number, size, bold=True, anchor="right")
        book.text(x1 + 12, (low + high) / 2 - size * 0.36, course.number, size, bold=True)
    book.text(x0 - LEFT, view.y0 - 9, "slab 0", 6.2)


def ends(view: View, top: Nm, *, first: bool, last: bool) -> None:
    """A dashed line where the run goes on on another page."""
    book = view.book
    for there, station, anchor, words in ((not first, view.lo, "left", "from the page before"), (not last, view.hi, "right", "goes on")):
        if there:
            x = view.x(station)
            book.line(x, view.y0 - 4, x, view.y(top) + 8, 1.0, dash=(6, 3))
            book.text(x, view.y(top) + 10, words, 6.5, anchor=anchor)


def corners(view: View, top: Nm) -> None:
    book = view.book
    for j in sorted(view.run.junctions, key=lambda j: j.station):
        beside = max(j.thickness, NEAR)
        if view.lo - beside <= j.station <= view.hi + beside:
            x = min(max(view.x(j.station), view.x(view.lo)), view.x(view.hi))
            book.line(x, view.y(top), x, view.y(top) + 7, 0.4)
            book.text(x, view.y(top) + 17, j.corner, 8.5, bold=True, anchor="middle")
            if j.other:
                book.text(x, view.y(top) + 9, f"with {j.other}", 6, anchor="middle", ground=1.0)


def axes(view: View, top: Nm) -> None:
    """The axes of the runs that meet this one, grey, under what is written."""
    for j in view.run.junctions:
        if view.lo < j.station < view.hi:
            x = view.x(j.station)
            view.book.line(x, view.y0, x, view.y(top), 0.5, dash=(8, 2, 1, 2), grey=0.6)


def strings(view: View, facts: Facts) -> None:
    """Three dimension strings: ends of the first course from the run's end face, jambs and piers, the whole."""
    book, run, p = view.book, view.run, facts.pieces
    lo, hi = facts.extent(run)
    y = view.y0 - 27
    ends = sorted({int(s) for r in facts.first_course(run.name) for s in (p.start[r], p.end[r])})
    joint = facts.plan.catalogue.head_joint.most
    marks = [s for n, s in enumerate(ends) if n == 0 or s - ends[n - 1] > 2 * joint or n == len(ends) - 1]
    _running(view, [(s, book.figure(s - lo)) for s in marks if view.lo <= s <= view.hi], y)
    jambs = sorted({s for o in run.openings for s in (o.start, o.end)})
    chain = [lo, *(j for j in jambs if lo < j < hi), hi]
    y -= DROP[book.system]
    if len(chain) > 2:
        _chain(view, chain, y)
        y -= 15
    _chain(view, [lo, hi], y)


def _running(view: View, marks: list[tuple[Nm, str]], y: float) -> None:
    book, size = view.book, 6.0
    if not marks:
        return
    book.line(view.x(marks[0][0]), y + 8, view.x(marks[-1][0]), y + 8, 0.4)
    last = -1e9
    for station, words in marks:
        x = view.x(station)
        book.line(x, y + 5.5, x, y + 10.5, 0.7)
        if x - last < size:  # two marks in one place: the schedule has both
            continue
        book.text(x + size * 0.36, y + 4, words, size, anchor="right", turn=90)
        last = x


def _chain(view: View, stations: list[Nm], y: float) -> None:
    """A string of dimensions between stations; parts off the page are left out, numbers stay on it."""
    book, size = view.book, 7.0
    for a, b in pairwise(stations):
        lo, hi = max(a, view.lo), min(b, view.hi)
        if lo >= hi:
            continue
        x0, x1, words = view.x(lo), view.x(hi), book.figure(b - a)
        book.line(x0, y, x1, y, 0.5)
        for x, there in ((x0, lo == a), (x1, hi == b)):
            if there:
                book.line(x, y - 3, x, y + 3, 0.5)
                book.line(x - 2, y - 2, x + 2, y + 2, 0.9)
        wide = width(words, size, FONT)
        if wide <= x1 - x0 - 3:
            book.text((x0 + x1) / 2, y + 2, words, size, anchor="middle")
        else:
            book.text((x0 + x1) / 2, y + 2, words, min(size, max(SMALLEST, size * (x1 - x0) / wide)), anchor="middle")


def key(book: Book, y: float) -> None:
    """What shades, letters and lines mean."""
    x, size = book.left, 6.5
    unit = "feet and inches" if book.system == "in" else "millimetres"
    for shade, words in ((1.0, "whole"), (CUT, "cut: size under its mark"), (SHADE["lintel"], "L lintel")):
        book.box(x, y - 1, 14, 7.5, fill=shade)
        book.text(x + 17, y, words, size)
        x += 17 + width(words, size) + 12
    book.line(x, y - 1, x, y + 6.5, 0.4, dash=(2, 1.5))
    book.line(x + 5, y - 1, x + 5, y + 6.5, 0.4, dash=(2, 1.5))
    book.text(x + 9, y, "C core, or drilled", size)
    x += 9 + width("C core, or drilled", size) + 12
    book.line(x, y + 3, x + 14, y + 3, 0.5, dash=(3, 1.5))
    book.text(x + 17, y, "U trough", size)
    x += 17 + width("U trough", size) + 12
    book.line(x, y - 1, x, y + 6.5, 1.5)
    book.text(x + 4, y, "bar", size)
    x += 4 + width("bar", size) + 12
    book.text(x, y, "J movement joint, from slab to top", size)
    said = f"05-07: course 5, piece 7.  Seen from the right of the run; 0 is the end face on the left.  In {unit}, levels over the slab."
    book.text(book.left, y - 11, said, size, most=book.right - book.left)

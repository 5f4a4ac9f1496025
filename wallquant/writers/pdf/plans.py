"""The plans: first course of a storey with marks from corner to jambs, and the bars that come out of its slab."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import combinations
from math import hypot

from wallquant.layout import Run
from wallquant.units import MM
from wallquant.writers.pdf.facts import Bar, Facts
from wallquant.writers.pdf.flow import COLUMN, Flow
from wallquant.writers.pdf.ground import XY, Picture, Setting, of_storey, outline
from wallquant.writers.pdf.measures import numbered
from wallquant.writers.pdf.paper import BOLD, Book, points, scale_text, width

NEAR = 2 * MM
"""Corners of walls that lie so near to one line count as on it."""
MANY = 1200
"""With more corners than this the outermost ones are taken."""


def first_course(book: Book, facts: Facts, storey: str, runs: Sequence[Run]) -> None:
    """Draw the plan of a storey's first course."""
    setting, large, scale = Picture.on(book, facts, runs)
    name = storey or "storey without a name"
    book.sheet(f"First course, {name}", beside=scale_text(scale, book.system), large=large)
    picture = Picture.begin(book, facts, runs, setting, scale)
    for run in runs:
        picture.pieces(run, grey=False)
    for run in runs:
        _openings(picture, run)
        _marks(picture, run)
    picture.corners(of_storey(facts, runs))
    picture.names()
    picture.compass()
    unit = "feet and inches" if book.system == "in" else "millimetres"
    words = f"In {unit}, from each run's end face 0 (its arrow).  Shaded: cut.  Dashed: opening higher up.  In pieces: place in course 1."
    book.text(book.left + 190, book.low + 5, words, 6.5, most=book.right - book.left - 190)


def _openings(picture: Picture, run: Run) -> None:
    """Jambs across the wall, with the distance from the run's end face; dashed where the opening begins higher up."""
    book, facts = picture.book, picture.facts
    rows = facts.first_course(run.name)
    least = min((int(facts.pieces.bottom[r]) for r in rows), default=run.bottom)
    lo, _ = facts.extent(run)
    half = run.thickness // 2
    turn = picture.turn(run)
    turned = turn + 180 if turn > 91 or turn <= -89 else turn
    size = 6.5
    over = points(run.thickness, picture.scale) / 2
    for o in run.openings:
        low = o.through and o.sill <= least + 50 * MM
        for station in (o.start, o.end):
            a, b = picture.at(run.at(station, -half)), picture.at(run.at(station, half))
            book.line(*a, *b, 1.2 if low else 0.6, dash=() if low else (2, 1.5))
            norm = max(hypot(b[0] - a[0], b[1] - a[1]), 1e-9)
            u = ((b[0] - a[0]) / norm, (b[1] - a[1]) / norm)
            at = picture.at(run.at(station))
            words = book.figure(station - lo)
            wide = width(words, size) / 2 + 2
            steep = abs(u[0]) > abs(u[1])  # the run goes up the page: its numbers are read level, the others upright
            box = (wide, size * 0.55) if steep else (size * 0.55, wide)
            for side in (-1, 1):
                tip = (at[0] + side * u[0] * (over + 6), at[1] + side * u[1] * (over + 6))
                spot = (tip[0] + side * u[0] * (wide + 1), tip[1] + side * u[1] * (wide + 1))
                taken = (spot[0] - box[0], spot[1] - box[1], spot[0] + box[0], spot[1] + box[1])
                if not picture.free(taken):
                    continue
                picture.take(taken)
                book.line(at[0] + side * u[0] * over, at[1] + side * u[1] * over, *tip, 0.5)
                if steep:
                    book.text(spot[0], spot[1] - size * 0.36, words, size, anchor="middle")
                else:
                    book.text(spot[0] + size * 0.36, spot[1], words, size, anchor="middle", turn=90)
                break
        a, b = picture.at(run.at(o.start)), picture.at(run.at(o.end))
        name = facts.opening_names.get(o.key, "") or "opening"
        wide = hypot(b[0] - a[0], b[1] - a[1]) - 4
        high = min(6.5, 1.3 * over)
        if high >= 4.5 and wide > 14:
            middle = ((a[0] + b[0]) / 2, (a[1] + b[1]) / 2)
            book.text(*_lowered(middle, turned, high), name, high, anchor="middle", turn=turned, most=wide, ground=1.0)


def _marks(picture: Picture, run: Run) -> None:
    """Places of the first course's pieces in them, where they can be read, and an arrow at the run's end face 0."""
    book, facts, p = picture.book, picture.facts, picture.facts.pieces
    turn = picture.turn(run)
    turned = turn + 180 if turn > 91 or turn <= -89 else turn
    high = points(run.thickness, picture.scale)
    for row in facts.first_course(run.name):
        start, end = int(p.start[row]), int(p.end[row])
        words = str(int(p.place[row]))
        size = min(6.5, high * 0.8, (points(end - start, picture.scale) - 1.5) / width(words, 1, BOLD))
        if size >= 4.5 and not any(o.start < (start + end) // 2 < o.end for o in run.openings):
            at = _lowered(picture.at(run.at((start + end) // 2)), turned, size)
            book.text(*at, words, size, anchor="middle", turn=turned)
    lo, hi = facts.extent(run)
    if points(hi - lo, picture.scale) > 40:
        a, b = picture.at(run.at(lo)), picture.at(run.at(lo + 1000 * MM))
        norm = max(hypot(b[0] - a[0], b[1] - a[1]), 1e-9)
        u = ((b[0] - a[0]) / norm, (b[1] - a[1]) / norm)
        base = (a[0] - u[1] * (high / 2 + 3.5), a[1] + u[0] * (high / 2 + 3.5))
        tip = (base[0] + u[0] * 9, base[1] + u[1] * 9)
        book.line(*base, *tip, 0.7)
        back = (tip[0] - u[0] * 3.5, tip[1] - u[1] * 3.5)
        book.shape([tip, (back[0] - u[1] * 1.8, back[1] + u[0] * 1.8), (back[0] + u[1] * 1.8, back[1] - u[0] * 1.8)], fill=0)


def _lowered(point: XY, turn: float, size: float) -> XY:
    """Return where a turned line of text begins, so that its middle is at a point."""
    from math import cos, radians, sin

    a = radians(turn)
    return point[0] + sin(a) * size * 0.36, point[1] - cos(a) * size * 0.36


def bar_plan(book: Book, facts: Facts, storey: str, runs: Sequence[Run]) -> None:
    """Draw the bars of a storey, and list each from two edges; nothing where there are none."""
    bars = facts.bars.get(storey, ())
    if not bars:
        return
    setting, large, scale = Picture.on(book, facts, runs)
    title = f"Bars before the pour, {storey or 'storey without a name'}"
    book.sheet(title, beside=scale_text(scale, book.system), large=large)
    picture = Picture.begin(book, facts, runs, setting, scale)
    for run in runs:
        picture.pieces(run, grey=True)
    left, low = picture.left, picture.low
    right, high = left + points(setting.east, scale), low + points(setting.north, scale)
    for x0, y0, x1, y1 in ((left, low - 26, left, high + 12), (left - 26, low, right + 12, low)):
        book.line(x0, y0, x1, y1, 1.2, dash=(10, 3))
    book.text(left - 5, low - 40, "edge A, x = 0", 8, bold=True)
    book.text(right + 16, low - 3, "edge B, y = 0", 8, bold=True)
    checks = _diagonals(facts, runs, setting)
    for name, point in checks:
        x, y = picture.at(point)
        book.box(x - 2.5, y - 2.5, 5, 5, fill=0)
        outward = (8 if x > (left + right) / 2 else -8, 8 if y > (low + high) / 2 else -8)
        book.text(x + outward[0], y + outward[1] - 3, name, 9, bold=True, anchor="middle")
        picture.take((x + outward[0] - 6, y + outward[1] - 6, x + outward[0] + 6, y + outward[1] + 6))
    for (_, a), (_, b) in _crossing(checks):
        book.line(*picture.at(a), *picture.at(b), 0.4, dash=(6, 3), grey=0.4)
    for bar in bars:
        x, y = picture.at(bar.at)
        book.dot(x, y, 1.8)
        away = points(facts.plan.work.runs[bar.run].thickness, scale) / 2 + 7
        for sx, sy in ((0, 1), (1, 0), (0, -1), (-1, 0), (1, 1), (-1, 1), (1, -1), (-1, -1), (0, 2), (2, 0), (0, -2), (-2, 0)):
            spot = (x + away * sx, y + away * sy)
            box = (spot[0] - 5.4, spot[1] - 5.4, spot[0] + 5.4, spot[1] + 5.4)
            if picture.free(box):
                break
        else:
            spot = (x, y + away)
        picture.take((spot[0] - 5.4, spot[1] - 5.4, spot[0] + 5.4, spot[1] + 5.4))
        book.line(x, y, *spot, 0.4)
        numbered(book, *spot, bar.number)
    picture.names()
    picture.compass()
    _bar_table(book, facts, title, bars, setting, checks)


def _diagonals(facts: Facts, runs: Sequence[Run], setting: Setting) -> list[tuple[str, XY]]:
    """Four face corners to check by: the largest rectangle that corners of walls make, else the outermost ones."""
    spots = sorted({p for run in runs for p in outline(facts, run)})
    at = {(round(x / NEAR), round(y / NEAR)): p for p in spots for x, y in (setting.at(p),)}
    best: tuple[int, tuple[XY, ...]] = (0, ())
    if len(at) <= MANY:
        for (x0, y0), (x1, y1) in combinations(sorted(at), 2):
            ring = ((x0, min(y0, y1)), (x1, min(y0, y1)), (x1, max(y0, y1)), (x0, max(y0, y1)))
            area = (x1 - x0) * abs(y1 - y0)
            if area > best[0] and all(k in at for k in ring):
                best = (area, tuple(at[k] for k in ring))
    if best[0] * NEAR * NEAR > setting.east * setting.north / 4:
        return list(zip("PQRS", best[1], strict=True))
    found: list[tuple[str, XY]] = []
    for name, (sx, sy) in zip("PQRS", ((-1, -1), (1, -1), (1, 1), (-1, 1)), strict=True):
        far = max(spots, key=lambda p: sx * setting.at(p)[0] + sy * setting.at(p)[1])
        if all(hypot(far[0] - p[0], far[1] - p[1]) > MM for _, p in found):
            found.append((name, far))
    return found


def _crossing(checks: Sequence[tuple[str, XY]]) -> list[tuple[tuple[str, XY], tuple[str, XY]]]:
    named = dict(checks)
    return [((a, named[a]), (b, named[b])) for a, b in (("P", "R"), ("Q", "S")) if a in named and b in named]


def _bar_table(
    book: Book, facts: Facts, title: str, bars: Sequence[Bar], setting: Setting, checks: Sequence[tuple[str, XY]]
) -> None:  # fmt: skip
    say = book.figure
    flow = Flow(book=book, title=title, size=9, column=2 * COLUMN)
    flow.begin(0)
    flow.heading("Check that the edges are square")
    flow.say(
        "Edges A and B lie along the outermost faces of this storey's walls, A across and B along the longest run. Where the slab or its "
        "formwork stands out beyond the walls, add by how much it does. P, Q, R and S are corners of walls on the plan."
    )
    lines = [(f"diagonal {a} to {b}", _apart(p, q)) for (a, p), (b, q) in _crossing(checks)]
    around = [(f"side {a} to {b}", _apart(p, q)) for (a, p), (b, q) in combinations(checks, 2) if (a, b) not in (("P", "R"), ("Q", "S"))]
    flow.table(("between", "as planned", "measured"), (40, 30, 30), ((n, book.length(d), "") for n, d in (*lines, *around)), right=(1,))
    flow.heading("Bars from two edges")
    flow.say(
        "Set each bar out from edge A (x) and edge B (y), and measure it again before the pour and before course 1. Keep bars capped. "
        "Number, size and place of bars are the engineer's to confirm."
    )
    rows = (
        (
            str(b.number), b.run, *(say(v) for v in setting.at(b.at)), say(b.above), say(b.size), *(say(v) for v in b.at),
        )
        for b in bars
    )  # fmt: skip
    head = ("bar", "run", "x from A", "y from B", "out of slab", "diameter", "plan x", "plan y")
    flow.table(head, (9, 9, 15, 15, 14, 13, 16, 16), rows, right=(2, 3, 4, 5, 6, 7), tick=True)
    ox, oy = facts.plan.building.origin
    flow.say(f"Plan x and y are the model's less its origin, {book.length(ox)} and {book.length(oy)}.")


def _apart(a: XY, b: XY) -> float:
    return hypot(a[0] - b[0], a[1] - b[1])

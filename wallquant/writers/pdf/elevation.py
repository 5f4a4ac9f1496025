"""A run's elevation to scale: pieces with their marks and cuts, openings, lintels, bars, course levels, dimension strings."""

from __future__ import annotations

from math import ceil

from wallquant.layout import Bridge, Run
from wallquant.units import MM, Nm
from wallquant.writers.pdf import measures
from wallquant.writers.pdf.facts import KINDS, MOVEMENT, OPEN_OVER, Facts
from wallquant.writers.pdf.measures import CUT, LEFT, SHADE, SMALLEST, View, numbered
from wallquant.writers.pdf.paper import BOLD, MM_PT, Book, distinct, points, scale_text, width

SCALES = {"mm": (20, 25, 30, 50, 100, 200, 500), "in": (24, 48, 96, 192, 384)}
READABLE = {"mm": 30, "in": 24}
"""The smallest scale at which every mark is read; a run that is too long for it on one page goes on on the next."""
RIGHT, OVER, KEY = 40.0, 34.0, 24.0
UNDER = {"mm": 84.0, "in": 111.0}
"""Room beside, under and over the drawing, and for the key; points."""
OVERLAP: Nm = 300 * MM
"""What two pages of one run have in common on both sides of where they part."""
LARGEST = 7.0
"""Size of type of a mark, where there is room."""


def draw(book: Book, facts: Facts, run: Run) -> tuple[str, float]:
    """Draw a run on as many pages as it needs; return the title, and the height from which the last page is empty."""
    lo, hi = facts.extent(run)
    rows = facts.rows[run.name]
    top = max([z for _, z in run.top] + ([int(facts.pieces.top[rows.start : rows.stop].max())] if len(rows) else []))
    large, scale, number = _fit(book, hi - lo, top - run.bottom)
    share = (hi - lo) // number
    names, element = facts.plan.name_of(), facts.plan.element_of()
    walls = [distinct(names.get(w, w), w) for w in dict.fromkeys(element.get(p.wall, p.wall) for p in run.parts)]
    for n in range(number):
        a = lo if n == 0 else lo + n * share - OVERLAP
        b = hi if n == number - 1 else lo + (n + 1) * share + OVERLAP
        part = f", part {n + 1} of {number}" if number > 1 else ""
        storey = f", {run.storey}" if run.storey else ""
        named = f" ({', '.join(walls)})" if any(walls) else ""
        beside = scale_text(scale, book.system)
        book.sheet(f"Run {run.name}{part}{storey}{named}", beside=beside, large=large)
        y0 = book.high - OVER - points(top - run.bottom, scale)
        view = View(book=book, run=run, scale=scale, lo=a, hi=b, x0=book.left + LEFT, y0=y0)
        _page(view, facts, top, first=n == 0, last=n == number - 1)
    return f"Run {run.name}{storey}{named}", y0 - UNDER[book.system] - KEY


def _fit(book: Book, wide: Nm, high: Nm) -> tuple[bool, int, int]:
    """Return the sheet (large or not), the scale, and on how many pages a run goes: the fewest that can be read, small ones if they do."""
    system = book.system
    fitting = [s for s in SCALES[system] if s <= READABLE[system]]
    most = book.room(large=True)[1] - UNDER[system] - OVER - KEY
    if points(high, fitting[-1]) > most:
        usual = next((s for s in SCALES[system] if points(high, s) <= most), ceil(points(high, 1) / most))
        return True, usual, _parts(book, wide, usual, large=True)
    number = _parts(book, wide, fitting[-1], large=True)
    for large in (False, True):
        tall = book.room(large=large)[1] - UNDER[system] - OVER - KEY
        for scale in fitting:
            if points(high, scale) <= tall and _parts(book, wide, scale, large=large) <= number:
                return large, scale, number
    return True, fitting[-1], number


def _parts(book: Book, wide: Nm, scale: int, *, large: bool) -> int:
    """Number of pages of a run of a length, with what they have in common."""
    holds = round((book.room(large=large)[0] - LEFT - RIGHT) * scale / MM_PT * MM)
    return 1 if wide <= holds else max(2, ceil(wide / max(holds - 2 * OVERLAP, MM)))


def _page(view: View, facts: Facts, top: Nm, *, first: bool, last: bool) -> None:
    book, run = view.book, view.run
    pieces = facts.pieces
    x0, x1, y1 = view.x(view.lo), view.x(view.hi), view.y(top)
    pen = book.canvas
    pen.saveState()
    frame = pen.beginPath()
    frame.rect(x0 - 1, view.y0 - 2, x1 - x0 + 2, y1 - view.y0 + 6)
    pen.clipPath(frame, stroke=0, fill=0)
    rows = [r for r in facts.rows[run.name] if int(pieces.end[r]) > view.lo and int(pieces.start[r]) < view.hi]
    for row in rows:
        _piece(view, facts, row)
    measures.axes(view, top)
    _bars(view, facts)
    for row in rows:
        _words(view, facts, row)
    for bridge in facts.bridges.get(run.name, ()):
        if bridge.end > view.lo and bridge.start < view.hi:
            _opening(view, facts, bridge)
    pen.restoreState()
    for bar in facts.bars.get(run.storey, ()):
        if bar.run == run.name and view.lo <= bar.station <= view.hi:
            numbered(book, view.x(bar.station), view.y0 - 8, bar.number)
    for item in facts.items.get(run.name, ()):
        if item.kind == MOVEMENT and view.lo <= item.start <= view.hi:
            book.text(view.x((item.start + item.end) // 2), view.y(item.top) + 2.5, "J", 7.0, bold=True, anchor="middle")
    book.line(x0 - 6, view.y0, x1 + 6, view.y0, 1.4)
    measures.levels(view, facts)
    measures.ends(view, top, first=first, last=last)
    measures.corners(view, top)
    measures.strings(view, facts)
    measures.key(book, view.y0 - UNDER[book.system] - 2)


def _piece(view: View, facts: Facts, row: int) -> None:
    book, p = view.book, facts.pieces
    start, end, bottom, top = int(p.start[row]), int(p.end[row]), int(p.bottom[row]), int(p.top[row])
    unit = p.units[int(p.unit[row])]
    shade = _shade(facts, row)
    outline = p.elevation.get(row)
    if outline:
        book.shape([(view.x(s), view.y(z)) for s, z in outline], fill=shade)
    else:
        book.box(view.x(start), view.y(bottom), points(end - start, view.scale), points(top - bottom, view.scale), fill=shade)
    for station, _, diameter in p.holes.get(row, ()):
        for edge in (station - diameter // 2, station + diameter // 2):
            roof = _roof(outline, min(max(edge, start), end)) if outline else top
            book.line(view.x(edge), view.y(bottom), view.x(edge), view.y(roof), 0.35, dash=(2, 1.5))
    if unit.trough is not None and unit.kind == "U":
        level = view.y(max(bottom, top - unit.trough.depth))
        book.line(view.x(start), level, view.x(end), level, 0.5, dash=(3, 1.5))


def _shade(facts: Facts, row: int) -> float:
    p = facts.pieces
    kind = p.units[int(p.unit[row])].kind
    return SHADE[kind] if kind == "lintel" or not p.cut[row] else CUT


def _words(view: View, facts: Facts, row: int) -> None:
    """A piece's mark and size, beside what is drilled in it."""
    book, p, run = view.book, facts.pieces, view.run
    start, end, bottom, top = int(p.start[row]), int(p.end[row]), int(p.bottom[row]), int(p.top[row])
    unit, outline = p.units[int(p.unit[row])], p.elevation.get(row)
    lo, hi = max(start, view.lo), min(end, view.hi)
    letter = KINDS.get(unit.kind, "")
    words = [facts.mark(row).removeprefix("C") + (f" {letter}" if letter else "")]
    if unit.kind == "lintel":
        words = [f"{words[0]}  {book.figure(end - start)}"]
        bridge = next((b for b in facts.bridges.get(run.name, ()) if row in b.lintel), None)
        if bridge is not None and bridge.bearing_start is not None and bridge.bearing_end is not None:
            words.append(f"bears {book.figure(bridge.bearing_start)}, {book.figure(bridge.bearing_end)}")
    elif facts.cut_at.get(row) is not None:
        words.append(facts.size(row, book.figure))
    middle, high = (bottom + top) / 2, float(top - bottom)
    if outline:  # what is raked is written in its thick half, and its sizes in the cut schedule
        at, middle = _centre(outline)
        reach = (end - start) / 4
        lo, hi = max(lo, round(at - reach)), min(hi, round(at + reach))
        high = (_roof(outline, at) - bottom) * 0.6
        words = words[:1]
    holes = p.holes.get(row, ())
    ground = _shade(facts, row) if holes or unit.kind == "U" else None
    sides = [(lo, hi)]
    if len(holes) == 1 and not outline:  # the larger side of a bar, if it is large enough
        at, half = holes[0][0], holes[0][2] // 2
        sides.insert(0, (lo, at - half) if at - lo > hi - at else (at + half, hi))
    fits = [(fit, (a + b) / 2) for a, b in sides if (fit := _fitted(points(b - a, view.scale), points(high, view.scale), words))]
    if fits:
        (lines, level, size), station = max(fits, key=lambda f: f[0])
        _write(view, station, middle, size, words[:lines], 0 if level else 90, ground)


def _centre(outline: tuple[tuple[Nm, Nm], ...]) -> tuple[float, float]:
    """Centre of an outline's area: station and level."""
    x0, y0 = outline[0]
    area = x = y = 0.0
    for (a, z), (b, w) in zip(outline, (*outline[1:], outline[0]), strict=True):
        cross = float(a - x0) * (w - y0) - float(b - x0) * (z - y0)
        area, x, y = area + cross, x + cross * (a + b - 2 * x0), y + cross * (z + w - 2 * y0)
    return (x0 + x / (3 * area), y0 + y / (3 * area)) if area else (float(x0), float(y0))


def _roof(outline: tuple[tuple[Nm, Nm], ...], at: float) -> float:
    """Highest level of an outline at a station."""
    levels = []
    for (a, z), (b, y) in zip(outline, (*outline[1:], outline[0]), strict=True):
        if min(a, b) <= at <= max(a, b):
            levels.append(max(z, y) if a == b else z + (y - z) * (at - a) / (b - a))
    return max(levels, default=max(z for _, z in outline))


def _fitted(wide: float, high: float, words: list[str]) -> tuple[int, bool, float] | None:
    """Return how many of the lines fit, whether level, and in what size; what cannot be read is left to the cut schedule."""
    for said in (words, words[:1]):
        for level in (True, False):
            across, along = (wide, high) if level else (high, wide)
            size = min(LARGEST, (along - 1.5) / (1.12 * len(said)), *((across - 2) / max(0.01, width(w, 1, BOLD)) for w in said))
            if size >= SMALLEST:
                return len(said), level, size
    return None


def _write(view: View, station: float, level: float, size: float, words: list[str], turn: int, ground: float | None) -> None:
    x, y, lead = view.x(station), view.y(level), size * 1.12
    for n, said in enumerate(words):
        down = lead * ((len(words) - 1) / 2 - n) - size * 0.36
        if turn:
            view.book.text(x - down, y, said, size, bold=n == 0, anchor="middle", turn=90, ground=ground)
        else:
            view.book.text(x, y + down, said, size, bold=n == 0, anchor="middle", ground=ground)


def _opening(view: View, facts: Facts, bridge: Bridge) -> None:
    book = view.book
    x0, x1 = view.x(bridge.start), view.x(bridge.end)
    low, high = view.y(max(bridge.sill, view.run.bottom)), view.y(bridge.head)
    corners = [(x0, low), (x1, low), (x1, high), (x0, high)]
    book.shape(corners, fill=1.0 if bridge.through else None, wide=1.0, dash=() if bridge.through else (3, 2))
    if bridge.through:
        book.line(x0, low, x1, high, 0.3, grey=0.6)
        book.line(x0, high, x1, low, 0.3, grey=0.6)
    x0, x1 = view.x(max(bridge.start, view.lo)), view.x(min(bridge.end, view.hi))
    name = facts.opening_names.get(bridge.opening, "") or "opening"
    sill, head = (book.figure(z - view.run.bottom) for z in (bridge.sill, bridge.drawn_head))
    words = [
        name,
        f"{book.figure(bridge.end - bridge.start)} × {book.figure(bridge.drawn_head - bridge.sill)}",
        f"sill {sill}",
        f"head {head}",
    ]
    if not bridge.through:
        words[0] = f"niche {words[0]}"
    if bridge.bridged == "none":
        words.append(OPEN_OVER if bridge.open_over else "not bridged")
    size = 7.0
    y = (low + high) / 2 + size * 1.25 * (len(words) - 1) / 2
    if size * 1.25 * len(words) > high - low:
        words = words[:2]
        y = (low + high) / 2 + size * 0.6
    for n, said in enumerate(words):
        book.text((x0 + x1) / 2, y - size * 0.36, said, size, bold=n == 0, anchor="middle", most=max(14.0, x1 - x0 - 4), ground=1.0)
        y -= size * 1.25


def _bars(view: View, facts: Facts) -> None:
    """Bars as heavy lines over the pieces."""
    book, run = view.book, view.run
    for item in facts.items.get(run.name, ()):
        if item.kind == "bar" and item.end >= view.lo and item.start <= view.hi:
            a, b = max(item.start, view.lo), min(item.end, view.hi)
            level = item.bottom if item.start == item.end else (item.bottom + item.top) // 2
            top = item.top if item.start == item.end else level
            book.line(view.x(a), view.y(max(level, run.bottom)), view.x(b), view.y(top), 1.5)

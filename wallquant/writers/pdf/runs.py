"""A run's schedules: the first course from corner to jambs, its beds, openings and lintels, course pole, cuts, bars, order of work."""

from __future__ import annotations

from collections.abc import Iterator

from wallquant.layout import Run
from wallquant.ordering import Turn
from wallquant.units import MM, Nm
from wallquant.writers.pdf.facts import MOVEMENT, OPEN_OVER, Facts
from wallquant.writers.pdf.flow import Flow
from wallquant.writers.pdf.paper import Book


def schedules(book: Book, facts: Facts, run: Run, title: str, high: float) -> None:
    """Write all schedules of a run, beginning under its elevation where there is room."""
    flow = Flow(book=book, title=title)
    flow.begin(high)
    _marks(flow, facts, run)
    _openings(flow, facts, run)
    _pole(flow, facts, run)
    _beds(flow, facts, run)
    _cuts(flow, facts, run)
    _bars(flow, facts, run)
    _order(flow, facts, run)


def _marks(flow: Flow, facts: Facts, run: Run) -> None:
    """Where each piece of the first course begins and ends, with the jambs between them."""
    say, pieces = flow.book.figure, facts.pieces
    rows = facts.first_course(run.name)
    if not rows:
        return
    lo, _ = facts.extent(run)
    flow.heading("First course, from corner to jambs", keep=70)
    corner = run.first.corner
    where = f" The wall is drawn to {say(-lo)}." if run.first.kind == "end" else f" The middle of corner {corner} is at {say(-lo)}."
    flow.say(f"Measured from the end face at {corner}, which is 0.{where if lo else ''}")
    marks: list[tuple[Nm, int, tuple[str, ...]]] = []
    for row in rows:
        start, end = int(pieces.start[row]), int(pieces.end[row])
        unit = pieces.units[int(pieces.unit[row])].code
        cut = facts.cut_words(row)
        size = facts.size(row, say) if row in facts.cut_at else ""
        said = ", ".join(part for part in (unit, size, cut) if part)
        marks.append((start, 2, (facts.mark(row), say(start - lo), say(end - lo), said)))
    least = min(int(pieces.bottom[r]) for r in rows)
    for o in run.openings:
        if o.through and o.sill <= least + 50 * MM:
            name = facts.opening_names.get(o.key, "") or "opening"
            marks.append((o.start, 1, ("jamb", say(o.start - lo), "", f"{name}, {say(o.end - o.start)} clear")))
            marks.append((o.end, 0, ("jamb", "", say(o.end - lo), name)))
    for item in facts.items.get(run.name, ()):
        if item.kind == MOVEMENT and item.bottom <= least:
            said = f"movement joint, {say(item.size)} wide, no mortar"
            marks.append((item.start, 1, ("joint", say(item.start - lo), say(item.end - lo), said)))
    for j in run.through:
        marks.append((j.station, 3, ("corner", say(j.station - lo), "", f"{j.corner}, middle of {j.other}")))
    flow.table(("mark", "from", "to", "unit, saw to"), (12, 18, 18, 38), (m[2] for m in sorted(marks)), right=(1, 2))


def _openings(flow: Flow, facts: Facts, run: Run) -> None:
    bridges = facts.bridges.get(run.name, ())
    if not bridges:
        return
    say, pieces = flow.book.figure, facts.pieces
    lo, _ = facts.extent(run)
    flow.heading("Openings, lintels and bearings")

    def rows() -> Iterator[tuple[str, ...]]:
        for b in bridges:
            over = ", ".join(f"{facts.mark(r)} {pieces.units[int(pieces.unit[r])].code}" for r in b.lintel)
            over = over or {"units": "cut units", "none": "not bridged"}.get(b.bridged, b.bridged)
            over = f"{over}, {OPEN_OVER}" if b.open_over else over
            ends = [e for e in (b.bearing_start, b.bearing_end) if e is not None]
            bears = " / ".join(say(e) for e in ends)
            if ends and b.bearing_least:
                bears += f" (least {say(b.bearing_least)})"
            name = facts.opening_names.get(b.opening, "") or f"opening {b.opening}"
            heights = f"{say(b.sill - run.bottom)} to {say(b.drawn_head - run.bottom)}"
            yield (name, f"{say(b.start - lo)} to {say(b.end - lo)}", heights, over, bears)

    flow.table(("opening", "jambs", "sill to head over slab", "lintel", "bearings"), (18, 20, 20, 24, 20), rows())


def _pole(flow: Flow, facts: Facts, run: Run) -> None:
    """Levels of the courses over the slab, and over the bench mark, which is the top of course 1."""
    say = flow.book.figure
    levels = list(facts.plan.work.courses[run.name])
    if not levels:
        return
    flow.heading("Course pole")
    flow.say(f"Slab as drawn at model level {flow.book.length(run.bottom)}; the top of course 1 is the bench mark.")
    bench = levels[0].top
    tops = ((c, min(c.top, facts.crown(run))) for c in levels)
    rows = ((str(c.number), say(c.bottom - run.bottom), say(top - run.bottom), say(top - bench)) for c, top in tops)
    flow.table(("course", "bottom over slab", "top over slab", "top over bench mark"), (12, 20, 20, 22), rows, right=(1, 2, 3))


def _beds(flow: Flow, facts: Facts, run: Run) -> None:
    """The bed under the first course: as surveyed, or as drawn."""
    book, beds = flow.book, facts.beds.get(run.name, ())
    if not beds:
        bed = facts.plan.work.courses[run.name].bed
        flow.heading("Bed of the first course", keep=20)
        flow.say(f"{book.length(bed)} as drawn; the slab was not surveyed here.")
        return
    flow.heading("Bed of the first course, as surveyed")
    rows = (
        (
            facts.mark_of(b.footing.piece), _mm(book, b.bed_start), _mm(book, b.bed_end),
            ", ".join(
                f"{word} {_mm(book, value)}"
                for word, value in (("rip", b.rip), ("strip under", b.strip), ("take off slab", b.ground)) if value > 0
            ),
        )
        for b in beds
    )  # fmt: skip
    flow.table(("mark", "bed at start", "bed at end", "do"), (14, 16, 16, 40), rows, right=(1, 2))


def _mm(book: Book, value: float) -> str:
    return book.figure(round(value * MM))


def _cuts(flow: Flow, facts: Facts, run: Run) -> None:
    say, cutting, pieces = flow.book.figure, facts.plan.cutting, facts.pieces
    rows = [r for r in facts.rows[run.name] if r in facts.cut_at or facts.cut_words(r)]
    if not rows:
        return
    flow.heading("Cut schedule")

    def cells() -> Iterator[tuple[str, ...]]:
        for row in rows:
            n = facts.cut_at.get(row)
            unit = pieces.units[int(pieces.unit[row])].code
            if n is None:
                yield (facts.mark(row), unit, "whole", facts.cut_words(row), "")
                continue
            angle = float(cutting.angle_deg[n])
            leaning = f", saw at {angle:.1f}°" if abs(angle - 90) > 0.05 else ""
            stock = cutting.stocks[int(cutting.stock[n])]
            yield (facts.mark(row), unit, facts.size(row, say), facts.cut_words(row) + leaning, stock)

    flow.table(("mark", "unit", "saw to", "work", "from"), (13, 25, 28, 22, 12), cells())


def _bars(flow: Flow, facts: Facts, run: Run) -> None:
    bars = [b for b in facts.bars.get(run.storey, ()) if b.run == run.name]
    if not bars:
        return
    say = flow.book.figure
    lo, _ = facts.extent(run)
    flow.heading("Bars out of the slab")
    rows = ((str(b.number), say(b.station - lo), say(b.size), say(b.above)) for b in bars)
    flow.table(("bar", "from end face 0", "diameter", "stands out by"), (10, 20, 16, 20), rows, right=(1, 2, 3))


def _order(flow: Flow, facts: Facts, run: Run) -> None:
    turns = facts.of_run.get(run.name, ())
    if turns:
        flow.heading("Order of work at this run")
        flow.table(("", "day, time", "who", "what"), (1, 19, 12, 76), (order_row(facts, t) for t in turns), tick=True, strong=(1,))


def order_row(facts: Facts, turn: Turn) -> tuple[str, str, str, str]:
    """Return a step as a row: day and time, masons, the sentence with what it needs."""
    needs = f" Needs: {'; '.join(turn.step.resources)}." if turn.step.resources else ""
    kind = "Hold. " if turn.step.kind == "hold" else ""
    return ("", f"{turn.day}, {facts.clock(turn.start_h)}", turn.crew, f"{kind}{turn.step.text}{needs}")

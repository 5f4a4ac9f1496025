"""The survey sheet: where to begin, the bed and rod reading of each corner, and what is ripped or stripped."""

from __future__ import annotations

from collections.abc import Iterator

from wallquant.survey import Survey
from wallquant.survey.levelling import PartBeds
from wallquant.units import MM
from wallquant.writers.beds import bench
from wallquant.writers.pdf.facts import Facts
from wallquant.writers.pdf.flow import Flow
from wallquant.writers.pdf.ground import Picture
from wallquant.writers.pdf.paper import Book, scale_text

DONE = {
    "level": "All beds keep within their limits; nothing is ripped.",
    "rip": "The slab varies more than the bed takes up: pieces are ripped at their foot.",
    "strip": "The slab varies more than the bed takes up: pieces stand on strips of block, or are ripped.",
    "grind": "The slab varies more than pieces and beds take up: it is taken off where the list says.",
}


def survey(book: Book, facts: Facts) -> None:
    """Write the survey sheet; nothing without a survey."""
    slab = facts.plan.survey
    if slab is None:
        return
    _picture(book, facts, slab)
    flow = Flow(book=book, title="Slab as surveyed", beside="corner beds and rod readings")
    flow.begin(0)
    flow.heading("In which order corners are set")
    flow.say("Set the first corner, take the top of its block as bench mark, and carry it to every other corner in this order.")
    turn = {t.step.corner: n for n, t in enumerate(facts.turns) if t.step.kind == "corner"}
    beds = sorted(bench(slab).itertuples(index=False), key=lambda row: turn.get(row[0], len(facts.turns)))
    rows = (
        (
            corner, piece, _mm(book, bed), _mm(book, top), _mm(book, reading) if reading != "" else "",
            "begin here" if start else "",
        )
        for corner, piece, bed, top, reading, start in beds
    )  # fmt: skip
    head = ("corner", "first block", "bed under it", "level of its top", "rod reading on it", "")
    flow.table(head, (14, 18, 18, 20, 20, 14), rows, right=(2, 3, 4), tick=True)
    for part in slab.levelled.parts:
        _part(flow, facts, slab, part)


def _picture(book: Book, facts: Facts, slab: Survey) -> None:
    """Draw the first course of what stands on the slab, with the bed at each corner, and where the slab is highest and lowest."""
    names = {f.run for f in slab.ground.footings if any(f.part == p.part for p in slab.levelled.parts)}
    runs = [run for run in facts.plan.work.runs.values() if run.name in names]
    if not runs:
        return
    setting, large, scale = Picture.on(book, facts, runs)
    book.sheet("Slab as surveyed", beside=scale_text(scale, book.system), large=large)
    picture = Picture.begin(book, facts, runs, setting, scale)
    for run in runs:
        picture.pieces(run, grey=True)
    beds: dict[str, str] = {}
    for part in slab.levelled.parts:
        for c in part.corners:
            beds[c.corner] = _mm(book, c.bed) + (", begin here" if c.corner == part.start else "")
        for spot, words, up in ((part.highest, "highest", 1), (part.lowest, "lowest", -1)):
            x, y = picture.at((spot.at[0] * MM, spot.at[1] * MM))
            book.shape([(x - 5, y - 4 * up), (x + 5, y - 4 * up), (x, y + 5 * up)], fill=0 if up > 0 else 1, wide=1)
            picture.take((x - 6, y - 6, x + 6, y + 6))
            picture.put([(x + a, y + b) for a in (28, -28) for b in (18, -18, 30, -30)], f"{words} {_mm(book, spot.level)}", 7.5, must=True)
    picture.corners((c for c in facts.plan.work.corners.values() if c.name in beds), beds)
    picture.names()
    picture.compass()
    unit = "feet and inches" if book.system == "in" else "millimetres"
    words = f"In {unit}: the bed under the first block of each corner, and the slab's highest and lowest points under walls."
    book.text(book.left + 190, book.low + 5, words, 6.5, most=book.right - book.left - 190)


def _part(flow: Flow, facts: Facts, slab: Survey, part: PartBeds) -> None:
    book = flow.book
    flow.heading(f"Part of {part.part}: what the slab asks")
    flow.say(DONE[part.decision.kind])
    least, usual, most = (book.length(round(v * MM)) for v in (slab.ground.least_bed, slab.ground.usual_bed, slab.ground.most_bed))
    spots = (("highest", part.highest), ("lowest", part.lowest))
    rows = [(f"{what} point of the slab", f"{_length(book, s.level)}, under {s.piece}") for what, s in spots]
    rows += [
        ("underside of course 1", _length(book, part.decision.datum)),
        ("bed: least, usual, most", f"{least}, {usual}, {most}"),
        ("mortar of the bed", f"{part.litres:.0f} L, waste not included"),
    ]
    flow.table(("what", "how much, where"), (35, 65), rows, strong=())
    changed = [b for b in part.beds if b.rip > 0 or b.strip > 0 or b.ground > 0]
    if not changed:
        return
    flow.heading("Ripped, stripped, taken off")

    def cells() -> Iterator[tuple[str, ...]]:
        for b in sorted(changed, key=lambda b: (b.footing.run, b.footing.start)):
            done = (_mm(book, v) if v > 0 else "" for v in (b.rip, b.strip, b.ground))
            yield (b.footing.piece, *done, f"{_mm(book, b.least)} to {_mm(book, b.most)}")

    head = ("piece", "rip its foot by", "strip under it", "take off slab", "bed then")
    flow.table(head, (22, 18, 18, 18, 24), cells(), right=(1, 2, 3), tick=True)


def _mm(book: Book, value: float) -> str:
    return book.figure(round(value * MM))


def _length(book: Book, value: float) -> str:
    return book.length(round(value * MM))

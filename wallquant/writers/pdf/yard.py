"""Pallets on paper: where they stand on each storey, in which order they come, and what each day needs."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from math import cos, radians, sin
from typing import Any

from wallquant.layout import Run
from wallquant.quantities.site import Ground
from wallquant.quantities.staging import FILE
from wallquant.units import MM, mass_text
from wallquant.writers.pdf.facts import Facts
from wallquant.writers.pdf.flow import COLUMN, Flow
from wallquant.writers.pdf.ground import XY, Picture
from wallquant.writers.pdf.paper import Book, scale_text

LABELS = 4
"""So many numbers are written on a pallet; the table has the others."""
Row = Mapping[Any, Any]


def loads(facts: Facts) -> Sequence[Row]:
    """Return the rows of staging.csv."""
    frame = facts.plan.schedules.get(FILE)
    return [] if frame is None else frame.to_dict("records")


def pallets(book: Book, facts: Facts, storey: str, runs: Sequence[Run]) -> None:
    """Draw the pallets of a storey, and list what is delivered to it; nothing where nothing is."""
    own = [row for row in loads(facts) if row["storey"] == storey]
    if not own:
        return
    places: dict[tuple[float, float], list[Row]] = {}
    for row in own:
        if _pallet(row) and row["x_mm"] == row["x_mm"]:
            places.setdefault((float(row["x_mm"]), float(row["y_mm"])), []).append(row)
    ground = Ground.of(facts.plan.job, facts.plan.system)
    boxes = {key: _box(key, float(rows[0]["angle_deg"]), ground) for key, rows in places.items()}
    setting, large, scale = Picture.on(book, facts, runs, [p for box in boxes.values() for p in box])
    title = f"Pallets, {storey or 'storey without a name'}"
    book.sheet(title, beside=scale_text(scale, book.system), large=large)
    picture = Picture.begin(book, facts, runs, setting, scale)
    for run in runs:
        picture.pieces(run, grey=True)
    for key, rows in places.items():
        corners = [picture.at(p) for p in boxes[key]]
        book.shape(corners, fill=1, wide=1.1)
        picture.take((min(x for x, _ in corners), min(y for _, y in corners), max(x for x, _ in corners), max(y for _, y in corners)))
        numbers = [str(row["order"]) for row in rows]
        words = ", ".join(numbers[:LABELS]) + (" …" if len(numbers) > LABELS else "")
        x, y = picture.at((key[0] * MM, key[1] * MM))
        wide = min(abs(corners[0][0] - corners[2][0]), max(abs(corners[0][0] - corners[2][0]), 14))
        book.text(x, y - 3, words, 9, bold=True, anchor="middle", most=max(wide - 2, 8))
    picture.names()
    picture.compass()
    words = "Numbers: order of delivery; of several in one place each later one comes when the one before is used up.  Grey: first course."
    book.text(book.left + 190, book.low + 5, words, 7.5, most=book.right - book.left - 190)
    _listed(book, facts, title, own)


def _listed(book: Book, facts: Facts, title: str, own: Sequence[Row]) -> None:
    flow = Flow(book=book, title=title, size=9, column=2 * COLUMN)
    flow.begin(0)
    flow.heading("Deliveries, in the order in which the work needs them")
    flow.say(
        "Each is at its place before its day begins. Whether the slab carries a pallet there is the engineer's to say, before the first "
        "one comes. One high, never two; clear of floor openings and of the edge. Numbers are those on the plan.",
    )

    def cells() -> Iterator[tuple[str, ...]]:
        for row in own:
            pressed = row["floor_kn_m2"]
            floor = "" if pressed != pressed or pressed is None else _pressure(float(pressed), book.system)
            yield str(row["order"]), str(row["day"]), _what(row), _mass(row, book.system), str(row["name"]), _place(book, row), floor

    head = ("no.", "day", "load", "mass", "for", "place", "on the slab")
    flow.table(head, (5, 5, 28, 11, 18, 52, 12), cells(), right=(0, 1, 3, 6), tick=True, strong=(0, 2))
    by: dict[str, list[Row]] = {}
    for row in own:
        by.setdefault(str(row["name"]), []).append(row)
    flow.heading("The same by wall")
    flow.table(
        ("wall", "pallets", "of them part", "lintels", "mass", "no."), (24, 10, 12, 10, 14, 50), _by_wall(book, by), right=(1, 2, 3, 4)
    )


def _by_wall(book: Book, by: Mapping[str, Sequence[Row]]) -> Iterator[tuple[str, ...]]:
    for name, rows in sorted(by.items()):
        some = [row for row in rows if _pallet(row)]
        lintels = sum(int(row["holds"]) for row in rows if not _pallet(row))
        mass = mass_text(sum(float(row["mass_kg"]) for row in rows), book.system)
        part = sum(bool(row["part"]) for row in some)
        yield name, str(len(some)), str(part or ""), str(lintels or ""), mass, ", ".join(str(row["order"]) for row in rows)


def of_day(flow: Flow, facts: Facts, day: int, heading: str) -> None:
    """Write what is delivered for a day, with its number on the plans of the pallets."""
    own = [row for row in loads(facts) if int(row["day"]) == day]
    if not own:
        return
    flow.heading(heading)
    system = flow.book.system
    rows = ((str(row["order"]), _what(row), _mass(row, system), str(row["name"])) for row in own)
    flow.table(("no.", "load", "mass", "for"), (8, 42, 18, 34), rows, right=(0, 2), tick=True, strong=(0, 1))


def _pallet(row: Row) -> bool:
    return str(row["load"]).startswith("pallet")


def _what(row: Row) -> str:
    part = " (part pallet)" if row["part"] else ""
    return f"{row['holds']} {row['unit']}{part}"


def _mass(row: Row, system: str) -> str:
    return mass_text(float(row["mass_kg"]), system)


def _pressure(kn_m2: float, system: str) -> str:
    return f"{kn_m2 * 20.88543:,.0f} lb/ft²" if system == "in" else f"{kn_m2:.1f} kN/m²"


def _place(book: Book, row: Row) -> str:
    """Clear distances to 5 mm, or 1/4 in, and what is noted."""
    step = 5 * MM if book.system == "mm" else 6_350_000
    said = []
    for key, what in (("off_wall_mm", "off the wall"), ("off_edge_mm", "off the edge")):
        if _pallet(row) and row[key] is not None and row[key] == row[key]:
            said.append(f"{book.length(round(float(row[key]) * MM / step) * step)} {what}")
    return "; ".join([*said, *([str(row["note"])] if row["note"] else [])])


def _box(middle: tuple[float, float], angle: float, ground: Ground) -> list[XY]:
    c, s, (x, y) = cos(radians(angle)), sin(radians(angle)), (middle[0] * MM, middle[1] * MM)
    half = [(u * ground.pallet_length / 2, v * ground.pallet_width / 2) for u, v in ((1, 1), (-1, 1), (-1, -1), (1, -1))]
    return [(x + u * c - v * s, y + u * s + v * c) for u, v in half]

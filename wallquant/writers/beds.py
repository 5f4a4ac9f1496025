"""beds.csv and bench.csv: the levelling bed of each piece of course 1, and the level and rod reading of each corner."""

from __future__ import annotations

from pathlib import Path

import pandas as pd

from wallquant.files import BEDS, CORNER_BEDS
from wallquant.survey import Survey


def beds(slab: Survey) -> pd.DataFrame:
    """Return the beds of all pieces of course 1, part by part."""
    rows = [
        (
            b.footing.piece, b.footing.run, round(b.footing.start, 6), round(b.footing.end, 6),
            *(round(v, 3) + 0.0 for v in (b.bed_start, b.bed_end, b.least, b.most, b.rip, b.strip, b.ground, b.litres)),
        )
        for part in slab.levelled.parts
        for b in part.beds
    ]  # fmt: skip
    return pd.DataFrame(rows, columns=list(BEDS))


def bench(slab: Survey) -> pd.DataFrame:
    """Return the corners of all parts, the start corner of each first, the others by their distance from it."""
    at = {m.corner: m.at for m in slab.ground.marks}
    rows = []
    for part in slab.levelled.parts:
        x, y = at.get(part.start, (0.0, 0.0))
        for c in sorted(part.corners, key=lambda c: (round((at[c.corner][0] - x) ** 2 + (at[c.corner][1] - y) ** 2), c.corner)):
            reading = "" if c.reading is None else round(c.reading, 3)
            rows.append((c.corner, c.piece, round(c.bed, 3), round(c.top, 3), reading, "start" if c.corner == part.start else ""))
    return pd.DataFrame(rows, columns=list(CORNER_BEDS))


def write(slab: Survey, folder: Path) -> None:
    """Write both files."""
    beds(slab).to_csv(folder / "beds.csv", index=False, lineterminator="\n", encoding="utf-8")
    bench(slab).to_csv(folder / "bench.csv", index=False, lineterminator="\n", encoding="utf-8")

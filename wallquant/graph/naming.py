"""Names of runs and corners: by where they lie, or those of an older plan."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from wallquant.layout import Corner, Run
from wallquant.marks import Marks, Spot, Stretch


def number(name: str) -> int:
    """Return the number in the name of a run or a corner, by which they are sorted."""
    return int(name[1:])


def renamed(runs: Sequence[Run], corners: Sequence[Corner], marks: Marks) -> tuple[tuple[Run, ...], tuple[Corner, ...]]:
    """Give runs and corners the names that an older plan has for them, and sort them by these."""
    of_run = marks.run_names([_stretch(r) for r in runs])
    spots = [Spot(name=c.name, at=(float(c.at[0]), float(c.at[1])), runs=c.runs) for c in corners]
    of_corner = marks.corner_names(spots, of_run)
    made = [
        replace(
            r,
            name=of_run[r.name],
            junctions=tuple(replace(j, corner=of_corner[j.corner], other=of_run.get(j.other, j.other)) for j in r.junctions),
        )
        for r in runs
    ]
    knots = [replace(c, name=of_corner[c.name], runs=tuple(of_run[r] for r in c.runs)) for c in corners]
    return tuple(sorted(made, key=lambda r: number(r.name))), tuple(sorted(knots, key=lambda c: number(c.name)))


def _stretch(run: Run) -> Stretch:
    x, y = run.start
    return Stretch(
        name=run.name, start=(float(x), float(y)), direction=run.direction, length=run.length, thickness=run.thickness,
        bottom=run.bottom, top=max(z for _, z in run.top),
    )  # fmt: skip

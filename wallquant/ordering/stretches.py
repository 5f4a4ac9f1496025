"""A course of a run as the string sees it: stretches of pieces with nothing but joints between.

Glossary: a *layer* counts rows that lie one over the other inside one course (a rip under a lintel's bearing, the lintel, a
rip over it): layer 0 rests on the course below, layer 1 on pieces of layer 0, and so on.  A *void* is what the string passes
and no piece of the course fills: an opening, or a fixed piece, which is set in a step of its own.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from wallquant.layout import Pieces, Run, Work
from wallquant.units import MM, Nm

REACH: Nm = 50 * MM
"""A course begins at its corner if its first piece begins within half the other run's thickness and this much (derived: more
than any joint or fit of an end, less than any piece)."""


Void = tuple[Nm, Nm, Nm, Nm]
"""Start, end, bottom, top of what the string passes."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Columns:
    """Columns of `Pieces` as lists: one row at a time is read faster from them than from arrays."""

    start: list[int]
    end: list[int]
    bottom: list[int]
    top: list[int]
    cut: list[int]
    fixed: list[int]
    mass: list[float]

    @classmethod
    def of(cls, pieces: Pieces) -> Columns:
        """Read the columns of all pieces."""
        return cls(
            start=pieces.start.tolist(),
            end=pieces.end.tolist(),
            bottom=pieces.bottom.tolist(),
            top=pieces.top.tolist(),
            cut=pieces.cut.tolist(),
            fixed=pieces.fixed.tolist(),
            mass=pieces.mass.tolist(),
        )


@dataclass(frozen=True, kw_only=True, slots=True)
class Stretch:
    """Rows of pieces by station with nothing but joints between.

    `near` and `far` say whether it begins at the corner at the run's start, and ends at the one at its end; where not, a
    jamb, a fixed piece or a passing stem bounds it.  `layer` is above 0 where it lies on pieces of its own course.
    """

    rows: tuple[int, ...]
    near: bool
    far: bool
    layer: int = 0


@dataclass(frozen=True, kw_only=True, slots=True)
class CourseRow:
    """One course of one run: its stretches by layer and station, and the rows of its fixed pieces."""

    run: Run
    course: int
    stretches: tuple[Stretch, ...]
    fixed: tuple[int, ...]

    @property
    def near(self) -> Stretch | None:
        """The stretch in layer 0 that begins at the run's first corner."""
        return next((s for s in self.stretches if s.near), None)

    @property
    def far(self) -> Stretch | None:
        """The stretch in layer 0 that ends at the run's last corner."""
        return next((s for s in self.stretches if s.far), None)


def course_rows(work: Work, columns: Columns) -> Iterator[CourseRow]:
    """Yield each course of each run that has pieces, in the order of the pieces.

    Parameters
    ----------
    work : Work
        Pieces in the order run, course, start.
    columns : Columns
        Its pieces' columns.
    """
    pieces = work.pieces
    if not len(pieces):
        return
    new = np.flatnonzero((np.diff(pieces.run) != 0) | (np.diff(pieces.course) != 0)) + 1
    bounds = [0, *new.tolist(), len(pieces)]
    fixed_of: dict[int, list[int]] = {}
    for row in np.flatnonzero(pieces.fixed >= 0).tolist():
        fixed_of.setdefault(int(pieces.run[row]), []).append(row)
    for first, last in pairwise(bounds):
        number = int(pieces.run[first])
        run = work.runs[pieces.runs[number]]
        yield _course(run, int(pieces.course[first]), range(first, last), fixed_of.get(number, []), columns)


def _course(run: Run, course: int, rows: Sequence[int], fixed: Sequence[int], c: Columns) -> CourseRow:
    layer = _layers(rows, c)
    levels: dict[int, list[int]] = {}
    for row in rows:
        if c.fixed[row] < 0:
            levels.setdefault(layer.get(row, 0), []).append(row)
    low, high = min(c.bottom[r] for r in rows), max(c.top[r] for r in rows)
    voids = [(o.start, o.end, o.sill, o.head) for o in run.openings if o.sill < high and o.head > low]
    voids += [(c.start[r], c.end[r], c.bottom[r], c.top[r]) for r in fixed if c.bottom[r] < high and c.top[r] > low]
    nodes = [(j.station, j.thickness) for j in run.through]
    stretches = tuple(
        Stretch(
            rows=tuple(part),
            near=not height and c.start[part[0]] <= run.first.station + run.first.thickness // 2 + REACH,
            far=not height and c.end[part[-1]] >= run.last.station - run.last.thickness // 2 - REACH,
            layer=height,
        )
        for height, members in sorted(levels.items())
        for part in _parts(members, voids, nodes, c)
    )
    return CourseRow(run=run, course=course, stretches=stretches, fixed=tuple(r for r in rows if c.fixed[r] >= 0))


def _layers(rows: Sequence[int], c: Columns) -> dict[int, int]:
    """Return the layer of each row, {} where all lie in layer 0."""
    reach, flat = c.end[rows[0]], True
    for row in rows[1:]:
        flat = flat and c.start[row] >= reach
        reach = max(reach, c.end[row])
    if flat:
        return {}
    layer: dict[int, int] = {}
    for row in sorted(rows, key=lambda r: (c.bottom[r], c.start[r], r)):
        under = [q for q in layer if c.top[q] <= c.bottom[row] and c.start[q] < c.end[row] and c.start[row] < c.end[q]]
        layer[row] = 1 + max((layer[q] for q in under), default=-1)
    return layer


def _parts(rows: Sequence[int], voids: Sequence[Void], nodes: Sequence[tuple[Nm, Nm]], c: Columns) -> Iterator[list[int]]:
    part = [rows[0]]
    for row in rows[1:]:
        if _broken(part[-1], row, voids, nodes, c):
            yield part
            part = []
        part.append(row)
    yield part


def _broken(left: int, right: int, voids: Sequence[Void], nodes: Sequence[tuple[Nm, Nm]], c: Columns) -> bool:
    lo, hi = c.end[left], c.start[right]
    bottom, top = max(c.bottom[left], c.bottom[right]), min(c.top[left], c.top[right])
    for start, end, low, high in voids:
        if start < hi and lo < end and low < top and bottom < high:
            return True
    # A joint may well lie at the node of a tied stem; a gap for a passing stem is about as wide as the stem.
    return any(lo < station < hi and 2 * (hi - lo) >= thickness for station, thickness in nodes)

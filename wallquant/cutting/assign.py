"""Assign every cut piece to a bought unit.

How units are sawn: across into blocks, each block ripped into strips, each strip cut across, with the saw's kerf between any two
parts; a piece lower than its strip is ripped last.  Two raked or mitred pieces that lie head to tail are one part, freed from one
another by one straight cut at the angle of one of them.  What is not done: pieces are never turned onto another face, a cut lintel
and a cut core unit are one bought unit each (steel and core are where they are), and no more than two raked or mitred pieces are
nested.  The bound is proven for every way of sawing like that; where no plan is better, it is proven for any way of cutting boxes.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from wallquant.catalogue import Catalogue, Unit
from wallquant.cutting.blocks import improve
from wallquant.cutting.bounds import least_bins, least_boxes
from wallquant.cutting.nesting import Shape, nested, shape, slants
from wallquant.cutting.records import Cutting, CutUnits
from wallquant.cutting.sawing import Block, Part, Sawn, saw
from wallquant.cutting.sawing import units as sawn_units
from wallquant.cutting.sizes import Sizes, sizes
from wallquant.cutting.strips import first_plan
from wallquant.files import CUTS
from wallquant.layout import Pieces
from wallquant.units import Nm

Ints = NDArray[np.int64]
_NOTCH = 1 << CUTS.index("notch")
_QUICK = 200
"""Types of square pieces of full height up to which strips are packed by column generation of their own."""


@dataclass(frozen=True, kw_only=True)
class _Rows:
    """The cut pieces of one unit type with where each is cut: parallel arrays, `unit` from 0."""

    row: Ints
    unit: Ints
    order: Ints
    length: Ints
    height: Ints
    angle: NDArray[np.float64]
    kerf: Ints
    offcut: Ints
    bound: int

    @property
    def units(self) -> int:
        return int(self.unit.max()) + 1 if len(self.unit) else 0


def cut_rows(pieces: Pieces) -> Ints:
    """Return the rows of all pieces that are cut; a notch alone leaves a whole unit."""
    return np.flatnonzero(pieces.cut.astype(np.int64) & ~_NOTCH)


def cut(pieces: Pieces, catalogue: Catalogue, groups: Ints | None = None) -> Cutting:
    """Assign all cut pieces to bought units, with the catalogue's kerf.

    Parameters
    ----------
    pieces : Pieces
    catalogue : Catalogue
    groups : (pieces,) int64, optional
        Pieces of different groups are never cut from one unit: offcuts are not carried so far.

    Returns
    -------
    Cutting

    Raises
    ------
    ValueError
        If a piece is larger than its unit, or has no length or height.
    """
    rows = cut_rows(pieces)
    done: list[tuple[int, _Rows]] = []
    by_unit: list[CutUnits] = []
    for index in sorted(set(pieces.unit[rows].tolist()), key=lambda i: pieces.units[i].code):
        unit = pieces.units[index]
        here = rows[pieces.unit[rows] == index]
        apart = [here] if groups is None else [here[groups[here] == g] for g in np.unique(groups[here]).tolist()]
        found = [_of_unit(pieces, some, unit, catalogue.kerf) for some in apart]
        units, bound = sum(f.units for f in found), sum(f.bound for f in found)
        waste = units * unit.volume_m3 - float(np.sum(pieces.volume[here]))
        by_unit.append(CutUnits(unit=unit.code, pieces=len(here), units=units, bound=bound, waste_m3=waste))
        done += [(index, f) for f in found]
    return _joined(done, tuple(by_unit))


def _joined(done: list[tuple[int, _Rows]], by_unit: tuple[CutUnits, ...]) -> Cutting:
    """Number the bought units in the order of their first pieces, and sort all rows by unit and order."""
    row = np.concatenate([r.row for _, r in done]) if done else np.zeros(0, dtype=np.int64)
    bases = np.cumsum([0, *(r.units for _, r in done)])
    unit = np.concatenate([r.unit + b for (_, r), b in zip(done, bases, strict=False)]) if done else row
    count = int(bases[-1])
    first = np.full(count, np.iinfo(np.int64).max)
    np.minimum.at(first, unit, row)
    rank = np.argsort(first, kind="stable")
    number = np.empty(count, dtype=np.int64)
    number[rank] = np.arange(count)
    kinds = np.concatenate([np.full(r.units, i, dtype=np.int32) for i, r in done]) if done else np.zeros(0, dtype=np.int32)
    stock = number[unit]
    order = np.concatenate([r.order for _, r in done]) if done else row
    by = np.lexsort((order, stock))

    def column(name: str) -> Ints:
        return np.concatenate([getattr(r, name) for _, r in done])[by] if done else row

    digits = max(5, len(str(count)))
    return Cutting(
        stocks=tuple(f"S{i:0{digits}d}" for i in range(1, count + 1)),
        stock_unit=kinds[rank],
        piece=row[by],
        stock=stock[by],
        order=order[by],
        length=column("length"),
        height=column("height"),
        angle_deg=np.concatenate([r.angle for _, r in done])[by] if done else np.zeros(0),
        kerf=column("kerf"),
        offcut=column("offcut"),
        by_unit=by_unit,
    )


def _of_unit(pieces: Pieces, rows: Ints, unit: Unit, kerf: Nm) -> _Rows:
    length, height = pieces.end[rows] - pieces.start[rows], pieces.top[rows] - pieces.bottom[rows]
    wrong = (length <= 0) | (height <= 0) | (length > unit.length) | (height > unit.height)
    if wrong.any():
        name = pieces.names[int(rows[int(np.argmax(wrong))])]
        raise ValueError(f"piece {name} cannot be cut from a unit {unit.code}: it is larger than the unit or has no size; report this")
    outlines = {i: _outlines(pieces, row) for i, row in enumerate(rows.tolist()) if row in pieces.elevation or row in pieces.plan}
    angles = {i: a for i, rings in outlines.items() if (a := [round(x, 2) for ring in rings for x in slants([ring])])}
    angle = np.full(len(rows), 90.0)
    angle[list(angles)] = [min(a) for a in angles.values()]
    alone = (pieces.fixed[rows] >= 0) | bool(unit.cores)
    kinds: dict[Shape, list[int]] = {}
    for i, (long, high) in enumerate(zip(length.tolist(), height.tolist(), strict=True)):
        if not alone[i]:
            row = int(rows[i])
            one = Shape(width=long, height=high)
            if i in angles and len(outlines[i]) == 1:
                one = shape(outlines[i][0], high, flat=row in pieces.plan)
            kinds.setdefault(one, []).append(i)
    skew = np.isin(np.arange(len(rows)), list(angles))
    sawn, number = Sawn(), 0
    bound = _bound(pieces, rows, length, height, alone, skew, unit, kerf)
    own = int((pieces.fixed[rows] >= 0).sum())
    if kinds:
        given, plan, bound = _plan(kinds, [outlines[i][0] for i in angles if len(outlines[i]) == 1], unit, kerf, bound)
        for blocks in sawn_units(given, plan, [kinds[s] for s in sorted(kinds)], angle):
            saw(sawn, blocks, number, unit.length, unit.height, kerf)
            number += 1
    for i in np.flatnonzero(alone).tolist():
        part = Part(rows=(i,), width=int(length[i]))
        saw(sawn, [Block(length=part.width, strips=[(int(height[i]), [part])])], number, unit.length, unit.height, kerf)
        number += 1
    at = np.array(sawn.row, dtype=np.int64)
    columns = {name: np.array(getattr(sawn, name), dtype=np.int64) for name in ("unit", "order", "kerf", "offcut")}
    return _Rows(row=rows[at], length=length[at], height=height[at], angle=angle[at], bound=own + bound, **columns)


def _outlines(pieces: Pieces, row: int) -> list[tuple[tuple[Nm, Nm], ...]]:
    return [tuple(p) for p in (pieces.elevation.get(row), pieces.plan.get(row)) if p is not None]


def _plan(
    kinds: dict[Shape, list[int]], rings: Sequence[tuple[tuple[Nm, Nm], ...]], unit: Unit, kerf: Nm, bound: int
) -> tuple[Sizes, list[tuple[tuple[tuple[tuple[int, ...], ...], ...], int]], int]:
    shapes = sorted(kinds)
    many = [len(kinds[s]) for s in shapes]
    pairs = nested(shapes, many, slants(rings), kerf, unit.length, unit.height)
    given = sizes(shapes, many, pairs, length=unit.length, height=unit.height, kerf=kerf)
    plain = len(shapes) <= _QUICK and not rings and all(s.height == unit.height for s in shapes)
    first, tall = first_plan(given, quick=not plain)
    plan, bound = improve(given, first, max(bound, tall))
    return given, plan, bound


def _bound(
    pieces: Pieces,
    rows: Ints,
    length: Ints,
    height: Ints,
    alone: NDArray[np.bool_],
    skew: NDArray[np.bool_],
    unit: Unit,
    kerf: Nm,
) -> int:
    """Proven least number of units beside fixed pieces, for any way of cutting: by area, and by dual feasible functions."""
    fixed = pieces.fixed[rows] >= 0
    cored = -(-int((alone & ~fixed).sum()) // max(1, len(unit.cores)))
    free = ~fixed
    box = free & ~skew
    boxes, counts = np.unique(np.stack([length[box] + kerf, height[box] + kerf]), axis=1, return_counts=True)
    wide, high, many = boxes[0].tolist(), boxes[1].tolist(), counts.tolist()
    least = least_boxes(wide, high, many, unit.length + kerf, unit.height + kerf)
    if skew.any():
        # Each box has a kerf's strip, or the unit's end, beside it over its own height: areas with that strip never overlap.
        areas: dict[int, int] = {}
        for w, h, n in zip(wide, high, many, strict=True):
            areas[w * (h - kerf)] = areas.get(w * (h - kerf), 0) + n
        for row in rows[free & skew].tolist():
            area = int(pieces.volume[row] * 1e27 / unit.thickness * (1 - 1e-9))
            areas[area] = areas.get(area, 0) + 1
        sizes = sorted(areas)
        least = max(least, least_bins(sizes, [areas[a] for a in sizes], (unit.length + kerf) * unit.height))
    return max(cored, least)

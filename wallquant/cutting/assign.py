"""Assign every cut piece to a bought unit.

Pieces of full height are cut lengthwise from whole units.  Lower ones come from strips: units are ripped into strips first,
and a strip is cut lengthwise.  What is not done: pieces are never turned onto another face, a lower piece is not taken from
what is left beside a piece of full height, a cut lintel and a cut core unit are one bought unit each (steel and core are
where they are), and not more than two raked or mitred pieces are nested.  So the number of units is an upper one; the bound
beside it is proven for every way of cutting boxes that are not turned.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from wallquant.catalogue import Catalogue, Unit
from wallquant.cutting.bounds import least_bins, least_boxes
from wallquant.cutting.columns import solve
from wallquant.cutting.packing import spread
from wallquant.cutting.records import Cutting, CutUnits
from wallquant.cutting.slant import Slant, pairs, slant_kerf, slants
from wallquant.files import CUTS
from wallquant.layout import Pieces
from wallquant.units import Nm

Ints = NDArray[np.int64]
_NOTCH = 1 << CUTS.index("notch")
_HEIGHT = 1 << CUTS.index("height")


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


def cut(pieces: Pieces, catalogue: Catalogue) -> Cutting:
    """Assign all cut pieces to bought units, with the catalogue's kerf.

    Parameters
    ----------
    pieces : Pieces
    catalogue : Catalogue

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
        found = _of_unit(pieces, rows[pieces.unit[rows] == index], unit, catalogue.kerf)
        waste = found.units * unit.volume_m3 - float(np.sum(pieces.volume[found.row]))
        by_unit.append(CutUnits(unit=unit.code, pieces=len(found.row), units=found.units, bound=found.bound, waste_m3=waste))
        done.append((index, found))
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
    slanted = slants(pieces, [r for r in rows.tolist() if r in pieces.elevation or r in pieces.plan])
    alone = (pieces.fixed[rows] >= 0) | bool(unit.cores)
    ripped = (pieces.cut[rows] & _HEIGHT) != 0
    made, tall = _cuts(rows, length, height, alone, ripped, slanted, unit, kerf)
    # Nested pairs and longest lengths are our way of cutting, so a bound of blocks proves something of square pieces only.
    least = _bound(pieces, rows, length, height, alone, slanted, unit, kerf, 0 if slanted else tall)
    return _Rows(**made, bound=least)


def _bound(
    pieces: Pieces,
    rows: Ints,
    length: Ints,
    height: Ints,
    alone: NDArray[np.bool_],
    slanted: list[Slant],
    unit: Unit,
    kerf: Nm,
    least: int,
) -> int:
    """Proven least number of units: pieces with a unit of their own, and the best bound of the others."""
    fixed = pieces.fixed[rows] >= 0
    own = int(fixed.sum())
    cored = -(-int((alone & ~fixed).sum()) // max(1, len(unit.cores)))
    skew = np.isin(rows, [s.row for s in slanted])
    free = ~fixed
    box = free & ~skew
    boxes, counts = np.unique(np.stack([length[box] + kerf, height[box] + kerf]), axis=1, return_counts=True)
    wide, high, many = boxes[0].tolist(), boxes[1].tolist(), counts.tolist()
    least = max(least, least_boxes(wide, high, many, unit.length + kerf, unit.height + kerf))
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
    return own + max(cored, least)


def _pack(widths: Ints, capacity: Nm) -> tuple[Ints, Ints, int]:
    """Return bin and place of each piece, and the proven least number of bins."""
    kinds, inverse, demands = np.unique(-widths, return_inverse=True, return_counts=True)
    found = solve((-kinds).tolist(), demands.tolist(), capacity)
    bins, places = spread(inverse.astype(np.int64), found.patterns)
    return bins, places, found.bound


@dataclass(frozen=True, kw_only=True)
class _Slots:
    """Where each block is cut: its unit, its strip in the unit and its place in the strip."""

    unit: Ints
    strip: Ints
    place: Ints
    bound: int
    """Least number of units for the blocks of full height."""


def _slots(width: Ints, deep: Ints, alone: NDArray[np.bool_], unit: Unit, kerf: Nm) -> _Slots:
    where, strip, place = (np.zeros(len(width), dtype=np.int64) for _ in range(3))
    full = np.flatnonzero((deep == unit.height) & ~alone)
    where[full], place[full], bound = _pack(width[full] + kerf, unit.length + kerf)
    base = int(where[full].max(initial=-1)) + 1
    low = np.flatnonzero((deep < unit.height) & ~alone)
    heights: list[int] = []
    number = np.zeros(len(width), dtype=np.int64)
    for height in np.unique(deep[low])[::-1].tolist():
        here = low[deep[low] == height]
        found, place[here], _ = _pack(width[here] + kerf, unit.length + kerf)
        number[here] = found + len(heights)
        heights += [height] * (int(found.max()) + 1)
    ripped, turn, _ = _pack(np.array(heights, dtype=np.int64) + kerf, unit.height + kerf)
    where[low], strip[low] = base + ripped[number[low]], turn[number[low]]
    base += int(ripped.max(initial=-1)) + 1
    where[alone] = base + np.arange(int(alone.sum()))
    return _Slots(unit=where, strip=strip, place=place, bound=bound)


def _cuts(
    rows: Ints, length: Ints, height: Ints, alone: NDArray[np.bool_], ripped: NDArray[np.bool_], slanted: list[Slant], unit: Unit, kerf: Nm
) -> tuple[dict[str, Any], int]:
    """Cut blocks (a piece, or two that are nested) into strips and strips into units; the bound is that of full-height blocks."""
    at = {int(r): i for i, r in enumerate(rows.tolist())} if slanted else {}
    angle, deep = np.full(len(rows), 90.0), height.copy()
    for s in slanted:
        i = at[s.row]
        angle[i] = s.angle_deg
        if not ripped[i]:
            deep[i] = unit.height  # its slanted cut alone makes it lower: no rip
    free = [s for s in slanted if not alone[at[s.row]]]
    sizes = {s.row: (int(height[at[s.row]]), int(deep[at[s.row]])) for s in free}
    head, width = np.arange(len(rows)), length.copy()
    member, inner = np.zeros(len(rows), dtype=np.int64), np.zeros(len(rows), dtype=np.int64)
    for one, two, both in pairs(free, sizes, kerf, unit.length):
        i, k = sorted((at[one], at[two]))
        head[k], member[k] = i, 1
        width[i] = width[k] = both
        inner[i] = slant_kerf(kerf, float(angle[i]))
    heads = np.flatnonzero(member == 0)
    slots = _slots(width[heads], deep[heads], alone[heads], unit, kerf)
    block = np.searchsorted(heads, head)
    where, strip, place = slots.unit[block], slots.strip[block], slots.place[block]
    by = np.lexsort((member, place, strip, where))
    order = np.empty(len(rows), dtype=np.int64)
    order[by] = np.arange(len(rows)) - np.searchsorted(where[by], where[by]) + 1
    taken, offcut = np.zeros(len(rows), dtype=np.int64), np.zeros(len(rows), dtype=np.int64)
    taken[by], offcut[by] = _taken(where[by], strip[by], np.where(member == 0, width, 0)[by], deep[by], inner[by], unit, kerf)
    made = {"row": rows, "unit": where, "order": order, "length": length, "height": height, "angle": angle, "kerf": taken, "offcut": offcut}
    return made, slots.bound


def _taken(where: Ints, strip: Ints, width: Ints, deep: Ints, inner: Ints, unit: Unit, kerf: Nm) -> tuple[list[int], list[int]]:
    """Return kerf and offcut of each piece, as `Cutting` has them; all arrays in the order of cutting."""
    kerfs: list[int] = []
    offcuts: list[int] = []
    last, left, up, rip = (-1, -1), 0, 0, 0
    columns = (a.tolist() for a in (where, strip, width, deep, inner))
    was_rip = False
    for number, turn, wide, high, between in zip(*columns, strict=True):
        fresh = number != last[0]
        if (number, turn) != last:
            left = unit.length
            up = (unit.height if fresh else up) - high
            rip = min(kerf, up)
            up -= rip
        if not fresh and (last[1] == turn or was_rip):
            offcuts[-1] = 0  # not the last of its strip, or of its unit
        last = (number, turn)
        left = max(0, left - wide)
        was_rip = wide == unit.length and high < unit.height
        cross = 0 if between else min(kerf, left)
        left -= cross
        kerfs.append(between or (rip if was_rip else cross))
        offcuts.append(up if was_rip else left)
    return kerfs, offcuts

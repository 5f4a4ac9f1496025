"""The face of a run cut into courses: where there is masonry, between which levels, and what is too small to lay.

The face is cut at every station where something changes: jambs, ends of fixed pieces, steps and slopes of the top.  Between two
such stations the masonry is a stack of cells, one a course, whole or ripped.  Cells of neighbouring stations that have the same
levels are one span; others part in a head joint.  Levels are relative to the run's underside; lengths are nanometres.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from math import isqrt

from wallquant.building import Profile
from wallquant.units import Nm

FAR: Nm = 10**15
FLAT = 4
"""A slope flatter than 1 in 4 (the least rip over two least pieces) is laid only where it is at least the least rip high."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Levels:
    """Course lines: levelling bed, unit height, bed joint, number of courses, least rip, and which courses are ripped all along."""

    bed: Nm
    height: Nm
    joint: Nm
    count: int
    least_rip: Nm
    low: tuple[tuple[int, Nm], ...] = ()
    """Courses under a bed that a rule holds off the module, and how high each of them is."""

    def bottom(self, course: int) -> Nm:
        line = self.bed + (course - 1) * (self.height + self.joint)
        return line - sum(self.height - h for k, h in self.low if k < course) if self.low else line

    def top(self, course: int) -> Nm:
        return self.bottom(course) + (dict(self.low).get(course, self.height) if self.low else self.height)

    def course(self, level: Nm) -> int:
        """Return the course in which a piece with this underside lies."""
        found = max(1, (level - self.bed) // (self.height + self.joint) + 1)
        while self.low and self.bottom(found + 1) <= level:  # lower courses below put more of them under a level
            found += 1
        return found


@dataclass(frozen=True, kw_only=True, slots=True)
class Block:
    """A rectangle of the face that pieces keep off: a hole, a fixed piece (`solid`), or a straight joint."""

    lo: Nm
    hi: Nm
    bottom: Nm
    top: Nm
    solid: bool = False


@dataclass(frozen=True, kw_only=True, slots=True)
class Cell:
    """Masonry of one course between two stations; `raked`: its top is the run's, inside the course.

    `row` is the course it is solved with: where two rips share the height of two courses, each keeps one of them.
    """

    row: int
    lo: Nm
    hi: Nm
    bottom: Nm
    top: Nm
    raked: bool
    lapped_lo: bool
    lapped_hi: bool
    full_lo: Nm
    full_hi: Nm


@dataclass(frozen=True, kw_only=True, slots=True)
class Scrap:
    """A part of the face that is drawn and too small to lay."""

    lo: Nm
    hi: Nm
    bottom: Nm
    top: Nm
    reason: str


@dataclass(frozen=True, slots=True)
class _Bit:
    bottom: Nm
    top: Nm
    row: int
    raked: bool


def level(top: Profile, station: Nm, side: int) -> Nm:
    """Return the top's level at a station, as the limit from the left (side -1) or the right (1); flat beyond its ends."""
    if station < top[0][0] or (station == top[0][0] and side < 0):
        return top[0][1]
    if station > top[-1][0] or (station == top[-1][0] and side > 0):
        return top[-1][1]
    for (a, p), (b, q) in itertools.pairwise(top):
        if a == b:
            continue
        if a < station < b or (station == a and side > 0) or (station == b and side < 0):
            return p + round((q - p) * (station - a) / (b - a))
    raise AssertionError("a profile covers the stations between its ends")


def mean_length(top: Profile, lo: Nm, hi: Nm, bottom: Nm, ceiling: Nm) -> tuple[float, Nm]:
    """Return the mean length of a raked stretch, its area over its greatest height, and that height."""
    inner = [s for s, _ in top if lo < s < hi]
    crossing = [
        a + round((b - a) * (z - p) / (q - p))
        for (a, p), (b, q) in itertools.pairwise(top)
        if a < b and p != q
        for z in (bottom, ceiling)
        if min(p, q) < z < max(p, q)
    ]
    stations = sorted({lo, hi, *inner, *(s for s in crossing if lo < s < hi)})
    heights = [
        (max(0, min(ceiling, level(top, a, 1)) - bottom), max(0, min(ceiling, level(top, b, -1)) - bottom))
        for a, b in itertools.pairwise(stations)
    ]
    area = sum((b - a) * (p + q) / 2 for (a, b), (p, q) in zip(itertools.pairwise(stations), heights, strict=True))
    highest = max((max(p, q) for p, q in heights), default=0)
    return (area / highest if highest else 0.0), highest


def bent(top: Profile, end: Nm, full: Nm, bottom: Nm, ceiling: Nm, least: Nm, least_rip: Nm) -> Nm:
    """Return how long a piece must be under a rake that bends inwards, so that its mean length is the least piece; 0 under any other.

    `end` is the low end of the rake, `full` where it is highest.  A piece has half of its box from where the steepest line down from
    the full height meets the bottom; a long piece has enough in any case, since slopes flatter than `FLAT` begin at the least rip.
    """
    turns = [(s, z) for s, z in top if min(end, full) < s < max(end, full)]
    high = min(ceiling, level(top, full, -1 if full > end else 1)) - bottom if turns else 0
    inner = [(abs(full - s), high - max(0, z - bottom)) for s, z in turns]
    root = min((high * away // fall for away, fall in inner if fall > 0), default=FAR)
    toe = abs(full - end) - root
    return min(2 * least + toe, 1 + max(isqrt(2 * FLAT * high * least), high * least // least_rip)) if toe > 0 else 0


@lru_cache(maxsize=4096)
def face(levels: Levels, top: Profile, blocks: tuple[Block, ...], gap: Nm) -> tuple[tuple[Cell, ...], tuple[Scrap, ...]]:
    """Cut the face into cells by course, from -`FAR` to `FAR`; a head joint of width `gap` parts cells that do not go on.

    Returns
    -------
    cells, scraps
        Cells sorted by course and station, and what is too low to lay (stations within `FAR` only where the run ends there).
    """
    cuts = sorted({-FAR, FAR, *_stations(levels, top), *(x for b in blocks for x in (b.lo, b.hi))})
    columns: list[list[_Bit]] = []
    scraps: list[Scrap] = []
    for a, b in itertools.pairwise(cuts):
        bits, small = _column(levels, top, blocks, a, b)
        columns.append(bits)
        scraps += [Scrap(lo=a, hi=b, bottom=p, top=q, reason="less high than the least rip") for p, q in small]
    owners = {x: side for b in blocks for x, side in ((b.lo, 1 if b.solid else -1), (b.hi, -1 if b.solid else 1))}
    for (x, p), (y, q) in itertools.pairwise(top):
        if x == y:
            owners.setdefault(x, -1 if p > q else 1)
    met: dict[Nm, list[tuple[Block, int]]] = {}
    for block in blocks:
        met.setdefault(block.lo, []).append((block, 1 if block.solid else -1))
        met.setdefault(block.hi, []).append((block, -1 if block.solid else 1))
    contested = {x: there for x, there in met.items() if len({side for _, side in there}) > 1}

    def owner(x: Nm, row: int) -> int:
        """Say which side keeps its end at a station: where two blocks meet there, the one in this course says so."""
        if x in contested:
            low, high = levels.bottom(row), levels.top(row)
            for one, side in contested[x]:
                if one.bottom < high and one.top > low:
                    return side
        return owners.get(x, -1)

    cells: list[Cell] = []
    open_cells: dict[tuple[int, Nm, Nm], tuple[Nm, bool, list[tuple[Nm, Nm, bool]]]] = {}
    sides: dict[tuple[int, Nm, Nm], tuple[Nm, bool]] = {}  # of raked ones: how high they are so far at their right, and whether they fell
    for k, bits in enumerate(columns):
        a, b = cuts[k], cuts[k + 1]
        here = {(bit.row, bit.bottom, bit.top): bit for bit in bits}
        for key in [key for key in open_cells if key not in here]:
            cells.append(_closed(key, open_cells.pop(key), a, _touches(key, bits, blocks, a, 1), owner(a, key[0]), gap))
        for key, bit in here.items():
            if bit.raked or key in sides:
                rise, fall = (max(bit.bottom, min(bit.top, level(top, x, side))) if bit.raked else bit.top for x, side in ((a, 1), (b, -1)))
                before, fell = sides.get(key, (bit.top, False)) if key in open_cells else (rise, False)
                fell = fell or rise < before
                valley = fell and (rise > before or fall > rise)
                sides[key] = fall, (fell and not valley) or fall < rise
                if key in open_cells and valley:  # no piece has a valley in its top
                    cells.append(_closed(key, open_cells.pop(key), a, True, owner(a, key[0]), gap))
            if key in open_cells:
                open_cells[key][2].append((a, b, bit.raked))
                continue
            lapped = k > 0 and _touches(key, columns[k - 1], blocks, a, -1)
            start = a + gap if lapped and owner(a, bit.row) < 0 else a
            open_cells[key] = (start, lapped, [(a, b, bit.raked)])
    for key in sorted(open_cells):
        cells.append(_closed(key, open_cells[key], FAR, False, -1, gap))
    cells.sort(key=lambda c: (c.row, c.lo, c.bottom))
    return tuple(cells), tuple(scraps)


def _closed(key: tuple[int, Nm, Nm], held: tuple[Nm, bool, list[tuple[Nm, Nm, bool]]], x: Nm, lapped: bool, owner: int, gap: Nm) -> Cell:
    row, bottom, top = key
    lo, lapped_lo, stretches = held
    hi = x - gap if lapped and owner > 0 else x
    raked = any(rising for _, _, rising in stretches)
    whole = [(a, b) for a, b, rising in stretches if not rising] if raked else [(lo, hi)]
    if not whole:
        peak = next((b for a, b, _ in stretches if b != stretches[-1][1]), (lo + hi) // 2)
        full_lo = full_hi = min(hi, max(lo, peak))
    else:
        full_lo = lo if not stretches[0][2] else whole[0][0]
        full_hi = hi if not stretches[-1][2] else whole[-1][1]
    return Cell(
        row=row,
        lo=lo,
        hi=hi,
        bottom=bottom,
        top=top,
        raked=raked,
        lapped_lo=lapped_lo,
        lapped_hi=lapped,
        full_lo=full_lo,
        full_hi=full_hi,
    )


def _touches(key: tuple[int, Nm, Nm], bits: Sequence[_Bit], blocks: Sequence[Block], x: Nm, side: int) -> bool:
    """Say whether a cell that ends at x has masonry or a fixed piece beside it there, on that side."""
    _, bottom, top = key
    for bit in bits:  # a loop: this is asked of every cell
        if bit.bottom < top and bit.top > bottom:
            return True
    return any(b.solid and b.bottom < top and b.top > bottom and (b.lo <= x < b.hi if side > 0 else b.lo < x <= b.hi) for b in blocks)


def _stations(levels: Levels, top: Profile) -> set[Nm]:
    """Return the stations where the top turns, steps, or crosses a line of a course."""
    out = {s for s, _ in top[1:-1]}
    lines = [z for k in range(1, levels.count + 1) for z in (levels.bottom(k), levels.top(k))]
    for (a, p), (b, q) in itertools.pairwise(top):
        if a < b and p != q:
            out |= {a + round((b - a) * (z - p) / (q - p)) for z in lines if min(p, q) < z < max(p, q)}
            out |= {a, b}
            if b - a > FLAT * abs(q - p):
                rips = [levels.bottom(k) + levels.least_rip for k in range(1, levels.count + 1)]
                out |= {a + round((b - a) * (z - p) / (q - p)) for z in rips if min(p, q) < z < max(p, q)}
    return out


def _column(levels: Levels, top: Profile, blocks: Sequence[Block], a: Nm, b: Nm) -> tuple[list[_Bit], list[tuple[Nm, Nm]]]:
    """Return the cells between two neighbouring stations, from the bottom up, and what is too low to lay."""
    at_a, at_b = level(top, a, 1), level(top, b, -1)
    low, high = min(at_a, at_b), max(at_a, at_b)
    inside = sorted((k for k in blocks if k.lo <= a and b <= k.hi and k.hi > k.lo), key=lambda k: (k.bottom, k.top))
    bits: list[_Bit] = []
    small: list[tuple[Nm, Nm]] = []
    at, after_solid = 0, False
    for block in [*inside, None]:
        ceiling = block.bottom if block else high
        if ceiling > at:
            start = levels.bed if at == 0 else at + (levels.joint if after_solid else 0)
            stop = ceiling - levels.joint if block is not None and block.solid else ceiling
            if block is None and low != high:
                got, lost = _sloped(levels, start, low, high, b - a > FLAT * (high - low))
            else:
                got, lost = _stacked(levels, start, stop)
            bits += got
            # where nothing at all can be laid there is no levelling bed either
            small += [(0 if at == 0 and not got and p == start else p, q) for p, q in lost]
        if block is not None and block.top > at:
            at, after_solid = block.top, block.solid
    return bits, small


def _sloped(levels: Levels, start: Nm, low: Nm, high: Nm, flat: bool) -> tuple[Sequence[_Bit], Sequence[tuple[Nm, Nm]]]:
    """Stack under a slope that stays within one course: whole courses, and one raked."""
    course = levels.course((low + high) // 2)
    if (low + high) // 2 >= levels.top(course) or levels.bottom(course) <= start - levels.height:
        return _stacked(levels, start, min(low, levels.top(course)))
    bits, small = _stacked(levels, start, levels.top(course - 1)) if course > 1 else ((), ())
    bottom = max(levels.bottom(course), start)
    if high <= bottom:  # the toe of the slope lies in the bed
        return bits, [(0 if start == levels.bed else low, high)]
    if flat and (low + high) // 2 - bottom < levels.least_rip:
        return bits, [*small, (bottom, (low + high) // 2)]
    return [*bits, _Bit(bottom, levels.top(course), course, True)], small


@lru_cache(maxsize=4096)
def _stacked(levels: Levels, start: Nm, stop: Nm) -> tuple[Sequence[_Bit], Sequence[tuple[Nm, Nm]]]:
    """Fill the height from start to stop with courses; a rip lower than the least is shared with its neighbour."""
    bits: list[_Bit] = []
    for k in range(levels.course(start), levels.course(max(start, stop - 1)) + 1):
        bottom, top = max(levels.bottom(k), start), min(levels.top(k), stop)
        if bottom < top:
            bits.append(_Bit(bottom, top, k, False))
    bits = _shared(levels, _shared(levels, bits, 0), -1)
    if len(bits) == 1 and bits[0].top - bits[0].bottom < levels.least_rip:
        return (), ((bits[0].bottom, bits[0].top),)
    return tuple(bits), ()


def _shared(levels: Levels, bits: list[_Bit], end: int) -> list[_Bit]:
    if len(bits) < 2 or bits[end].top - bits[end].bottom >= levels.least_rip:
        return bits
    rest, (one, two) = (bits[2:], bits[:2]) if end == 0 else (bits[:-2], bits[-2:])
    if two.top - one.bottom <= levels.height:
        made = [_Bit(one.bottom, two.top, one.row, False)]
    else:
        half = (two.top - one.bottom - levels.joint) // 2
        made = [_Bit(one.bottom, one.bottom + half, one.row, False), _Bit(one.bottom + half + levels.joint, two.top, two.row, False)]
    return made + rest if end == 0 else rest + made

"""Random runs to hold the joint solver against an exact model: corners, openings, lintels, bars, stems of T junctions.

Lengths are whole millimetres; each number makes the same run every time.
"""

from __future__ import annotations

from dataclasses import dataclass
from random import Random

from wallquant.bonding.intervals import Interval
from wallquant.bonding.nodes import Row
from wallquant.bonding.span import Bonded, Span

SIZES = ((599, 1, 99), (390, 10, 90), (590, 10, 90), (240, 10, 50), (624, 1, 119), (498, 2, 100))
"""Unit, head joint, least piece: thin and thick joints, long and short units."""


@dataclass(frozen=True, kw_only=True)
class Case:
    """A run of some courses, and the lengths that it is bonded with (joints at nominal)."""

    how: Bonded
    rows: tuple[Row, ...]


@dataclass(frozen=True)
class Hole:
    """An opening over courses first to last (from 0), and how far its lintel bears on each side; no lintel: bearing 0."""

    lo: int
    hi: int
    first: int
    last: int
    bearing: int


def case(number: int) -> Case:
    """Make a run; equal numbers give equal runs."""
    dice = Random(f"run {number}")
    unit, joint, least = dice.choice(SIZES)
    how = Bonded(unit=unit, joint=joint, least=least, joint_least=joint, joint_most=joint)
    half = dice.choice((50, 75, 100, 120))
    count = dice.randint(4, 8)
    length = dice.randrange(4 * unit, 11 * unit)
    if dice.random() < 0.3:
        length = length // (unit + joint) * (unit + joint) + dice.choice((0, 2 * half, -joint))
    ends = (dice.choice(["corner", "free", "free", "corner", "corner"]), dice.choice(["corner", "free", "corner"]))
    parity = (dice.randint(0, 1), dice.randint(0, 1))
    holes = _holes(dice, how, length, count, half)
    stems = [(s, dice.randint(0, 1)) for s in _free(dice, holes, length, half, unit) if dice.random() < 0.35][:1]
    bars = [x for x in _free(dice, holes, length, 80, unit) if dice.random() < 0.5][:2]
    offset = dice.choice((least, unit // 4, 80 + joint, unit // 3, least // 2))
    rows = []
    for k in range(count):
        lo = half + joint if ends[0] == "corner" and (k + parity[0]) % 2 else -half if ends[0] == "corner" else 0
        hi = length - half - joint if ends[1] == "corner" and (k + parity[1]) % 2 else length + half if ends[1] == "corner" else length
        gaps, windows = _course(how, holes, k)
        gaps += [(s - half - joint, s + half + joint, True) for s, p in stems if (k + p) % 2]
        windows += [(x - 75, x + 75 + joint) for x in bars if not any(a < x + 75 and b > x - 75 for a, b, _ in gaps)]
        spans = _spans(how, (lo, lo > 0), (hi, hi < length), sorted(gaps))
        rows.append(Row(spans=tuple(spans), windows=tuple(sorted(windows)), offset=offset if k else 0))
    return Case(how=how, rows=tuple(rows))


def _holes(dice: Random, how: Bonded, length: int, count: int, half: int) -> list[Hole]:
    out: list[Hole] = []
    for _ in range(dice.choice((0, 1, 1, 2))):
        width = dice.randrange(how.unit, 2 * how.unit + 1)
        bearing = dice.choice((100, 150, 200))
        room = half + how.joint + bearing + how.least + 2 * how.joint
        if length - 2 * room - width <= 0:
            continue
        lo = dice.randrange(room, length - room - width)
        last = dice.randint(count // 2, count) - 1
        first = dice.randint(0, last)
        if all(lo - room - o.bearing > o.hi or lo + width + room + o.bearing < o.lo for o in out):
            out.append(Hole(lo, lo + width, first, last, bearing))
    return sorted(out, key=lambda o: o.lo)


def _free(dice: Random, holes: list[Hole], length: int, half: int, unit: int) -> list[int]:
    """Return stations clear of openings and ends."""
    out = []
    for _ in range(3):
        x = dice.randrange(unit, length - unit)
        near = half + unit // 2 + 100
        if all(x + near < o.lo - o.bearing or x - near > o.hi + o.bearing for o in holes) and all(abs(x - y) > unit for y in out):
            out.append(x)
    return out


def _course(how: Bonded, holes: list[Hole], k: int) -> tuple[list[tuple[int, int, bool]], list[Interval]]:
    """Return what a course leaves out (start, end, is it a head joint there), and its windows of piece starts."""
    gaps: list[tuple[int, int, bool]] = []
    windows: list[Interval] = []
    for o in holes:
        if o.first <= k <= o.last:
            gaps.append((o.lo, o.hi, False))
        if k == o.last + 1:
            gaps.append((o.lo - o.bearing - how.joint, o.hi + o.bearing + how.joint, True))
        if k == o.last:
            windows += [(o.lo - o.bearing, o.lo + how.joint), (o.hi, o.hi + o.bearing + how.joint)]
    return gaps, windows


def _spans(how: Bonded, start: tuple[int, bool], end: tuple[int, bool], gaps: list[tuple[int, int, bool]]) -> list[Span]:
    out: list[Span] = []
    at, lapped = start
    for a, b, on in [*gaps, (end[0], end[0], end[1])]:
        if a - at >= how.least:
            out.append(Span(lo=at, hi=a, bottom=0, top=199, lapped_lo=lapped, lapped_hi=on, full_lo=at, full_hi=a))
        at, lapped = b, on
    return out

"""Ends that are cut askew: the legs of a mitred corner, the spans that end in its plane, and the shape of their pieces in plan.

Spans reach to the outermost point of their end; its plane crosses the centre line by the *lean* further in.  Lengths are nanometres.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from math import ceil, sqrt

from wallquant.bonding.intervals import Interval
from wallquant.bonding.span import Span
from wallquant.graph.planes import least_askew
from wallquant.layout import Junction, Run
from wallquant.units import INCH, MM, Nm

Ring = tuple[tuple[Nm, Nm], ...]


@dataclass(frozen=True, kw_only=True, slots=True)
class Askew:
    """A run's end that is cut askew: how much further along the run its face is at the left side than on the centre line.

    `legs` are the lengths on the centre line of the corner unit's longer and shorter leg (0: its pieces are as the bond has it),
    `joint` is what the joint in the plane takes of the centre line.
    """

    lean: Nm
    joint: Nm
    legs: tuple[Nm, Nm] = (0, 0)

    @property
    def out(self) -> Nm:
        """How far the end reaches beyond its place on the centre line."""
        return abs(self.lean)


def askew(run: Run, junction: Junction, offset: Nm) -> Askew | None:
    """Return how a run's end is cut at a junction, or None where it is square.

    Parameters
    ----------
    run : Run
    junction : Junction
    offset : int
        The greatest offset of joints that is asked in this run.
    """
    plane = junction.plane
    if plane is None:
        return None
    found = Askew(lean=plane.lean, joint=plane.joint)
    if not plane.shared or not junction.bondable:
        return found
    return replace(found, legs=_legs(run, found, offset))


def _legs(run: Run, end: Askew, offset: Nm) -> tuple[Nm, Nm]:
    """Return the legs into which one unit is cut by one cut, swapped each course: the shorter one is about a third of what the saw leaves.

    A third keeps the first joints a third of a unit apart, as at a square corner.  Legs are whole marks of a rule: a millimetre and a
    quarter, or a sixteenth and a sixty-fourth of an inch.
    """
    mark, fine = (MM, MM // 4) if run.catalogue.system == "mm" else (INCH // 16, INCH // 64)
    slope = 2 * end.lean / run.thickness
    total = run.unit.length - ceil(run.catalogue.kerf * sqrt(1 + slope * slope))
    least = least_askew(run.catalogue.least_actual, end.out) - end.out
    most = (total - offset) // 2
    short = max(min(most, total // 3) // mark * mark, -(-least // mark) * mark)
    long = (total - short) // fine * fine
    return (long, short) if short <= most and long - short >= offset and long + end.out <= run.unit.length else (0, 0)


def parted(
    spans: Iterable[Span],
    ends: tuple[tuple[Nm, Askew | None, bool], tuple[Nm, Askew | None, bool]],
    windows: Sequence[Interval],
    joint: Nm,
    least: Nm,
) -> list[Span]:
    """Give spans that reach the ends of their course the lean there, and part the corner's legs from them.

    Parameters
    ----------
    spans : iterable of Span
        Of one course, as they would be with square ends at the outermost points.
    ends : ((station, Askew or None, longer), ...)
        For start and end of the course: the outermost point, how it is cut, and whether this run has the longer leg in the course.
    windows : sequence of (lo, hi)
        Where no piece may start.
    joint, least : int
        The head joint and the least piece.
    """
    (lo, first, _), (hi, last, _) = ends
    if first is None and last is None:
        return list(spans)
    out: list[Span] = []
    for span in spans:
        if first is not None:
            span = replace(span, lean_lo=first.out) if span.lo == lo else _clear(span, lo + 2 * first.out, 1)
        if last is not None:
            span = replace(span, lean_hi=last.out) if span.hi == hi else _clear(span, hi - 2 * last.out, -1)
        if span.lo >= span.hi:
            continue
        out += _with_legs(span, ends, windows, joint, least)
    return out


def _clear(span: Span, limit: Nm, side: int) -> Span:
    """Draw a span that ends within the lean of a corner in to where the whole thickness is clear of it."""
    if side > 0 and span.lo < limit:
        return replace(span, lo=limit, full_lo=max(limit, span.full_lo), full_hi=max(limit, span.full_hi))
    if side < 0 and span.hi > limit:
        return replace(span, hi=limit, full_lo=min(limit, span.full_lo), full_hi=min(limit, span.full_hi))
    return span


def _with_legs(
    span: Span,
    ends: tuple[tuple[Nm, Askew | None, bool], tuple[Nm, Askew | None, bool]],
    windows: Sequence[Interval],
    joint: Nm,
    least: Nm,
) -> list[Span]:
    (_, first, long_first), (_, last, long_last) = ends
    before: list[Span] = []
    after: list[Span] = []
    if span.lean_lo and first is not None and first.legs[0] and span.full_lo == span.lo:
        e = span.lo + first.out + first.legs[0 if long_first else 1]
        if _leg_fits(e + joint, span.hi, least_askew(least, span.lean_hi), windows) and e + joint <= span.full_hi:
            before = [replace(span, hi=e, lean_hi=0, lapped_hi=True, full_hi=e)]
            span = replace(span, lo=e + joint, lean_lo=0, lapped_lo=True, full_lo=e + joint)
    if span.lean_hi and last is not None and last.legs[0] and span.full_hi == span.hi:
        s = span.hi - last.out - last.legs[0 if long_last else 1]
        if _leg_fits(span.lo, s - joint, least_askew(least, span.lean_lo), windows, s) and s - joint >= span.full_lo:
            after = [replace(span, lo=s, lean_lo=0, lapped_lo=True, full_lo=s)]
            span = replace(span, hi=s - joint, lean_hi=0, lapped_hi=True, full_hi=s - joint)
    return [*before, span, *after]


def _leg_fits(lo: Nm, hi: Nm, least: Nm, windows: Sequence[Interval], start: Nm | None = None) -> bool:
    """Say whether a rest from lo to hi is long enough, and the piece that starts after the leg's joint may start there."""
    y = lo if start is None else start
    return hi - lo >= least and not any(a < y < b for a, b in windows)


def ring(start: Nm, end: Nm, leans: tuple[Nm, Nm], half: Nm) -> Ring:
    """Return the outline in plan of a piece from its least box: stations and offsets, from its right side round.

    Parameters
    ----------
    start, end : int
        Its least box.
    leans : (int, int)
        Signed lean of its start and its end, 0 where square.
    half : int
        Half of the thickness.
    """
    a, b = start + abs(leans[0]), end - abs(leans[1])
    return ((a - leans[0], -half), (b - leans[1], -half), (b + leans[1], half), (a + leans[0], half))


def body(shape: Sequence[tuple[Nm, Nm]], plan: Ring, thickness: Nm) -> float:
    """Return the volume, over the thickness, of what lies within an outline in elevation and one in plan; square nanometres."""
    stations = sorted({x for x, _ in (*shape, *plan)})
    total = 0.0
    for a, b in itertools.pairwise(stations):
        third = (b - a) / 3
        # widths are linear between corners, so two inner points give both ends of each
        (p, q), (r, s) = ((_width(o, a + third), _width(o, b - third)) for o in (shape, plan))
        p, q, r, s = 2 * p - q, 2 * q - p, 2 * r - s, 2 * s - r
        total += (b - a) * (2 * p * r + p * s + q * r + 2 * q * s) / 6
    return total / thickness


def _width(outline: Sequence[tuple[Nm, Nm]], at: float) -> float:
    """Return how wide a convex or one-valued outline is at a station."""
    crossed = [
        p + (q - p) * (at - a) / (b - a)
        for (a, p), (b, q) in zip(outline, (*outline[1:], outline[0]), strict=True)
        if min(a, b) < at < max(a, b)
    ]
    crossed.sort()
    return sum(high - low for low, high in zip(crossed[::2], crossed[1::2], strict=False))

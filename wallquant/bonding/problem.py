"""One run as a problem without names: equal problems are solved once.

Stations are the run's, levels are relative to its underside, lengths nanometres.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

from wallquant.bonding.cells import FAR, Block, Cell, Levels, Scrap, bent, face, level, mean_length
from wallquant.bonding.giving import bearable, hard
from wallquant.bonding.intervals import Interval
from wallquant.bonding.mitres import Askew, parted
from wallquant.bonding.nodes import Row, Soft
from wallquant.bonding.span import Bonded, Span
from wallquant.bonding.stack import Solver
from wallquant.building import Profile
from wallquant.units import Nm

Passes = tuple[tuple[bool, ...], ...]
"""For each junction of the run (start, through corners by station, end), for each course: does this run pass?"""


@dataclass(frozen=True, kw_only=True, slots=True)
class Meets:
    """A junction as the solver needs it: node station, half the thickness of the other run (0: a free end).

    Where it is not `bonded` the runs are tied, and a butt is no head joint from which other joints must stand off.  An end that is
    cut askew (`askew`) has its plane at `station`, whoever passes.
    """

    station: Nm
    half: Nm
    role: Literal["start", "through", "end"]
    bonded: bool = True
    askew: Askew | None = None


@dataclass(frozen=True, kw_only=True, slots=True)
class Ask:
    """A window as asked: in which course, where, of what, how willingly it gives way."""

    course: int
    lo: Nm
    hi: Nm
    of: Literal["joint", "cut"] = "joint"
    yields: int = 0
    rule: str = ""


@dataclass(frozen=True, kw_only=True, slots=True)
class Put:
    """A fixed piece, or without `unit` a straight joint: where it lies, which openings it bridges, and the bearing asked of each end."""

    lo: Nm
    hi: Nm
    bottom: Nm
    top: Nm
    unit: str = ""
    opening: tuple[int, ...] = ()
    bearing: Nm = 0
    rule: str = ""


@dataclass(frozen=True, kw_only=True, slots=True)
class Must:
    """A corner's phase as asked: at junction `junction` in `course` this run passes, or does not."""

    junction: int
    course: int
    passes: bool


@dataclass(frozen=True, kw_only=True, slots=True)
class Group:
    """Sentences that stand or fall together: one alternative of a choice, or all that is asked without choice."""

    asks: tuple[Ask, ...] = ()
    puts: tuple[Put, ...] = ()
    musts: tuple[Must, ...] = ()


@dataclass(frozen=True, kw_only=True, slots=True)
class Problem:
    """A run to be bonded.

    `holes` are its openings as laid (their order is that of the run's openings), `base` what is asked in any case, `choices` the
    alternatives of each choice, `offsets` the least offset of each course from the one below, `slack` how far a free end may
    move inwards and outwards.
    """

    how: Bonded
    levels: Levels
    top: Profile
    holes: tuple[Block, ...]
    meets: tuple[Meets, ...]
    base: Group
    choices: tuple[tuple[Group, ...], ...]
    offsets: tuple[Nm, ...]
    slack: tuple[Nm, Nm]


@dataclass(frozen=True, kw_only=True, slots=True)
class Face:
    """The face of a run for given phases and choices: rows for the solver with the cell of each span, pieces put, scraps."""

    rows: tuple[Row, ...]
    cells: tuple[tuple[Cell, ...], ...]
    puts: tuple[Put, ...]
    scraps: tuple[Scrap, ...]
    ends: tuple[tuple[Nm, Nm], ...]
    """First and last station of each course, as laid."""


def groups(problem: Problem, picks: Sequence[int]) -> tuple[Group, ...]:
    """Return what is asked: the base, and the picked alternative of each choice."""
    return (problem.base, *(c[p] for c, p in zip(problem.choices, picks, strict=True)))


def blocks_of(problem: Problem, puts: Sequence[Put]) -> tuple[Block, ...]:
    """Return what pieces keep off: openings, fixed pieces, straight joints."""
    return (*problem.holes, *(Block(lo=p.lo, hi=p.hi, bottom=p.bottom, top=p.top, solid=bool(p.unit)) for p in puts))


def laid_face(problem: Problem, passes: Passes, picks: tuple[int, ...], shift: tuple[Nm, Nm], solver: Solver) -> Face:
    """Cut the run's face into rows of spans.

    Parameters
    ----------
    problem : Problem
    passes : Passes
    picks : tuple of int
        The alternative of each choice.
    shift : (int, int)
        How far the free ends at start and end are laid outwards of what is drawn (negative: inwards).
    solver : Solver
        To ask whether a stretch can be filled at all.
    """
    asked = groups(problem, picks)
    puts = tuple(p for g in asked for p in g.puts)
    cells, scraps = face(problem.levels, problem.top, blocks_of(problem, puts), problem.how.joint)
    asks: dict[int, list[Ask]] = {}
    for g in asked:
        for a in g.asks:
            asks.setdefault(a.course, []).append(a)
    small: list[Scrap] = []
    rows: list[Row] = []
    kept: list[tuple[Cell, ...]] = []
    ends: list[tuple[Nm, Nm]] = []
    by_row: dict[int, list[Cell]] = {}
    for c in cells:
        by_row.setdefault(c.row, []).append(c)
    for k in range(1, problem.levels.count + 1):
        at = extent(problem, passes, k, shift)
        ends.append(at[:2])
        windows = hard(asks.get(k, ()), problem.how.joint)
        spans: list[Span] = []
        row_cells: list[Cell] = []
        for cell in by_row.get(k, ()):
            for span in spans_of(problem, passes, cell, at, windows):
                if span.hi - span.lo < problem.how.least or _thin(problem, span) or solver.fewest(span, ()) is None:
                    if span.hi > span.lo:
                        small.append(Scrap(lo=span.lo, hi=span.hi, bottom=span.bottom, top=span.top, reason="shorter than the least piece"))
                    continue
                ripped = span.top - span.bottom != problem.levels.height
                spans.append(replace(span, ripped=True) if ripped else span)
                row_cells.append(cell)
        soft = sorted({(a.lo, a.hi, a.of, a.yields) for a in asks.get(k, ()) if a.yields or a.of == "cut"})
        rows.append(
            Row(
                spans=tuple(spans),
                windows=tuple(hard(bearable(asks[k], spans, solver), problem.how.joint)) if windows else (),
                offset=problem.offsets[k - 1],
                soft=tuple(Soft(lo=a, hi=b, of=of, yields=y) for a, b, of, y in soft),
            )
        )
        kept.append(tuple(row_cells))
    rows = _beside_butts(problem, passes, puts, rows)
    first, last = min(lo for lo, _ in ends), max(hi for _, hi in ends)
    inside = [
        Scrap(lo=max(s.lo, first), hi=min(s.hi, last), bottom=s.bottom, top=s.top, reason=s.reason)
        for s in scraps
        if s.lo < last and s.hi > first
    ]
    return Face(rows=tuple(rows), cells=tuple(kept), puts=puts, scraps=tuple(inside + small), ends=tuple(ends))


def put_marks(problem: Problem, passes: Passes, puts: Sequence[Put], course: int) -> list[int]:
    """Return double centres of the joints by which fixed pieces butt against another run, or each other, in a course."""
    lo, hi, gaps, butts = extent(problem, passes, course, (0, 0))
    bottom, top, joint = problem.levels.bottom(course), problem.levels.top(course), problem.how.joint
    here = [p for p in puts if p.unit and p.bottom < top and p.top > bottom]
    starts = {h for _, h, bonded in gaps if bonded} | ({lo} if butts[0] else set())
    ends = {g for g, _, bonded in gaps if bonded} | ({hi} if butts[1] else set())
    most = problem.how.joint_most
    between = [p.hi + q.lo for p in here for q in here if 0 < q.lo - p.hi <= most and p.bottom < q.top and q.bottom < p.top]
    return sorted({*between, *(2 * p.lo - joint for p in here if p.lo in starts), *(2 * p.hi + joint for p in here if p.hi in ends)})


def _beside_butts(problem: Problem, passes: Passes, puts: Sequence[Put], rows: list[Row]) -> list[Row]:
    """Keep joints of neighbouring courses off the joint by which a fixed piece butts: no span ends there that would say so."""
    out = list(rows)
    half = problem.how.joint // 2
    for k in range(1, len(rows) + 1):
        for mark in put_marks(problem, passes, puts, k):
            for n, offset in ((k - 1, rows[k - 1].offset), (k + 1, rows[k].offset if k < len(rows) else 0)):
                if 1 <= n <= len(rows) and offset > 0:
                    soft = Soft(lo=mark // 2 - offset + half, hi=-(-mark // 2) + offset - half, of="joint", yields=1)
                    out[n - 1] = replace(out[n - 1], soft=(*out[n - 1].soft, soft))
    return out


def _thin(problem: Problem, span: Span) -> bool:
    """Say whether a raked stretch that one piece fills is too small: its mean length, or its height."""
    if not span.raked:
        return False
    mean, highest = mean_length(problem.top, span.lo, span.hi, span.bottom, span.top)
    return highest < problem.levels.least_rip or (span.hi - span.lo <= problem.how.unit and mean < problem.how.least)


Extent = tuple[Nm, Nm, list[tuple[Nm, Nm, bool]], tuple[bool, bool]]


def extent(problem: Problem, passes: Passes, course: int, shift: tuple[Nm, Nm]) -> Extent:
    """Return first and last station of a course, where others pass through it, and whether it butts at start and end."""
    lo, hi = -FAR, FAR
    gaps: list[tuple[Nm, Nm, bool]] = []
    butts = [False, False]
    for meets, on in zip(problem.meets, passes, strict=True):
        here = on[course - 1]
        if meets.askew is not None and meets.role == "start":
            lo = meets.station - meets.askew.out
        elif meets.askew is not None:
            hi = meets.station + meets.askew.out
        elif meets.role == "start":
            lo = (
                meets.station - shift[0]
                if not meets.half
                else meets.station - meets.half
                if here
                else meets.station + meets.half + problem.how.joint
            )
            butts[0] = bool(meets.half) and not here and meets.bonded
        elif meets.role == "end":
            hi = (
                meets.station + shift[1]
                if not meets.half
                else meets.station + meets.half
                if here
                else meets.station - meets.half - problem.how.joint
            )
            butts[1] = bool(meets.half) and not here and meets.bonded
        elif not here:
            gaps.append((meets.station - meets.half - problem.how.joint, meets.station + meets.half + problem.how.joint, meets.bonded))
    return lo, hi, gaps, (butts[0], butts[1])


def spans_of(problem: Problem, passes: Passes, cell: Cell, at: Extent, windows: Sequence[Interval]) -> list[Span]:
    """Return the spans of a cell: clipped to the extent of its course, parted where others pass, and at the legs of mitred corners."""
    lo, hi, gaps, butts = at
    spans = clipped(cell, lo, hi, gaps, butts)
    if cell.raked:
        spans = [_bent(problem, span) for span in spans]
    first, last = problem.meets[0], problem.meets[-1]
    if first.askew is None and last.askew is None:
        return spans
    ends = (lo, first.askew, passes[0][cell.row - 1]), (hi, last.askew, passes[-1][cell.row - 1])
    return parted(spans, ends, windows, problem.how.joint, problem.how.least)


def _bent(problem: Problem, span: Span) -> Span:
    """Say what pieces a span takes where a rake at its ends bends inwards."""
    sizes = span.bottom, span.top, problem.how.least, problem.levels.least_rip
    low, high = (bent(problem.top, end, full, *sizes) for end, full in ((span.lo, span.full_lo), (span.hi, span.full_hi)))
    return replace(span, bent_lo=low, bent_hi=high) if low or high else span


def clipped(cell: Cell, lo: Nm, hi: Nm, gaps: Sequence[tuple[Nm, Nm, bool]], butts: tuple[bool, bool]) -> list[Span]:
    """Clip a cell to its course, and part it where another run passes through."""
    edges: list[tuple[Nm, bool, Nm, bool]] = []
    a, lapped_a = (lo, butts[0]) if cell.lo < lo else (cell.lo, cell.lapped_lo)
    b, lapped_b = (hi, butts[1]) if cell.hi > hi else (cell.hi, cell.lapped_hi)
    if cell.lo == lo:
        lapped_a = lapped_a or butts[0]
    if cell.hi == hi:
        lapped_b = lapped_b or butts[1]
    for g, h, bonded in sorted(gaps):
        if h <= a or g >= b:
            continue
        if g > a:
            edges.append((a, lapped_a, g, bonded))
        a, lapped_a = h, bonded
    if a < b:
        edges.append((a, lapped_a, b, lapped_b))
    out: list[Span] = []
    for p, on_p, q, on_q in edges:
        full_lo = max(p, min(q, cell.full_lo)) if cell.raked else p
        full_hi = min(q, max(p, cell.full_hi)) if cell.raked else q
        out.append(Span(lo=p, hi=q, bottom=cell.bottom, top=cell.top, lapped_lo=on_p, lapped_hi=on_q, full_lo=full_lo, full_hi=full_hi))
    return out


def _band(levels: Levels, put: Put) -> tuple[Nm, Nm]:
    """Return the levels between which courses are disturbed by a fixed piece: it, and the rips under and over it."""
    low, high = put.bottom, put.top
    under = low - levels.joint
    k = levels.course(under - 1)
    if under != levels.top(k) and under > levels.bottom(k):
        low = levels.bottom(k - 1 if k > 1 and under - levels.bottom(k) < levels.least_rip else k)
    over = high + levels.joint
    k = levels.course(over)
    if over != levels.bottom(k) and over < levels.top(k):
        high = levels.top(k + 1 if levels.top(k) - over < levels.least_rip else k)
    return low, high


Musts = dict[tuple[int, int], bool]
"""For a junction and a course: this run must pass there (True) or must not."""


def must_pass(problem: Problem, parts: Sequence[tuple[Musts, Musts]]) -> tuple[tuple[bool | None, ...], ...]:
    """Return for each junction and course whether this run must pass (True), must not (False), or may (None).

    Parameters
    ----------
    problem : Problem
    parts : sequence of (Musts, Musts)
        What `musts_of` said of each group asked: what is forced, which goes before what is asked.
    """
    found: Musts = {}
    for _, said in parts:
        found |= said
    for forced, _ in parts:
        found |= forced
    count = problem.levels.count
    return tuple(
        tuple(found.get((n, k)) for k in range(1, count + 1)) if meets.half else (True,) * count for n, meets in enumerate(problem.meets)
    )


def musts_of(problem: Problem, group: Group, *, holes: bool) -> tuple[Musts, Musts]:
    """Return where the run is forced to pass by what a group asks, and where the group says who passes.

    It must pass where its butt joint would lie in a hard window or within a fixed piece, or (with `holes`) would leave a stub
    shorter than the least piece beside an opening.
    """
    hard = [a for a in group.asks if a.of == "joint" and a.yields == 0]
    puts = [p for p in group.puts if p.unit]
    said = {(m.junction, m.course): m.passes for m in group.musts}
    joint, least, levels = problem.how.joint, problem.how.least, problem.levels
    forced: Musts = {}
    for n, meets in enumerate(problem.meets):
        if not meets.half or meets.askew is not None:
            continue
        c, half = meets.station, meets.half
        butts = ([(c + half, 1)] if meets.role != "end" else []) + ([(c - half - joint, -1)] if meets.role != "start" else [])
        for x, side in butts:
            for a in hard:
                if a.lo < x + joint and a.hi > x and 1 <= a.course <= levels.count:
                    forced[n, a.course] = True
            heights = [_band(levels, p) for p in puts if p.lo < x + joint and p.hi > x]
            for hole in problem.holes if holes else ():
                stub = hole.lo - (x + joint) if side > 0 else x - hole.hi
                if -joint < stub < least:
                    heights.append((hole.bottom, hole.top))
            low = 0 < level(problem.top, x, side) - levels.bottom(levels.count) < levels.least_rip
            for bottom, top in heights:
                for k in range(1, levels.count + 1):
                    # a last course lower than the least rip shares its height with the one below
                    under = levels.bottom(k - 1 if low and k == levels.count > 1 else k)
                    if bottom < levels.top(k) and top > under:
                        forced[n, k] = True
    return forced, said

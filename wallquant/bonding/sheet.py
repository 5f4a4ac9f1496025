"""What a run costs course by course, before its joints are solved: quick to ask for other phases, fits and alternatives.

A sheet holds the cells of a run's face for one set of alternatives.  The cost of a cell depends only on who passes at the
junctions that it touches and on the fit of a free end, so it is worked out once for each of these.  A sheet for another
alternative is the old one with the cells around the changed pieces replaced.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass, field, replace

from wallquant.bonding.cells import FAR, Block, Cell, Scrap, face
from wallquant.bonding.problem import Ask, Passes, Problem, Put, blocks_of, clipped, extent, groups, sound
from wallquant.bonding.span import Interval, Span
from wallquant.bonding.stack import Solver
from wallquant.units import Nm

UNSOUND, BEYOND, HOPELESS, SCRAP = 10**9, 10**6, 10**4, 20
"""What fixed pieces that cannot lie cost, one beyond the run's end, a span that cannot be filled, a square millimetre set aside."""


@dataclass(slots=True)
class _Part:
    """One cell of a course with the hard windows in it: what it cost so far, by who passes at the junctions that it touches."""

    cell: Cell
    windows: tuple[Interval, ...]
    touches: tuple[int, ...]
    free: bool
    costs: dict[tuple[object, ...], int] = field(default_factory=dict)


class Sheet:
    """Cost of one problem for one set of alternatives."""

    def __init__(self, problem: Problem, picks: tuple[int, ...], solver: Solver, before: Sheet | None = None) -> None:
        self.problem, self.picks, self.solver = problem, picks, solver
        asked = groups(problem, picks)
        self.puts = [p for g in asked for p in g.puts]
        self.sound = sound(problem, picks)
        joint = problem.how.joint
        windows: dict[int, set[Interval]] = {}
        for g in asked:
            for a in g.asks:
                if _hard(a):
                    windows.setdefault(a.course, set()).add((a.lo, a.hi + joint))
        self.windows = {k: tuple(sorted(w)) for k, w in windows.items()}
        old = before.cells_of(picks, problem) if before is not None else None
        if before is None or old is None:
            self.cells, self.scraps = face(problem.levels, problem.top, blocks_of(problem, self.puts), joint)
        else:
            self.cells, self.scraps = old
        self.parts: dict[tuple[Cell, tuple[Interval, ...]], _Part] = before.parts if before is not None else {}
        same = {
            id(part.cell): part
            for row in (before.rows if before is not None else ())
            for part in row
            if before is not None and before.windows.get(part.cell.row) == self.windows.get(part.cell.row)
        }
        self.rows: list[list[_Part]] = [[] for _ in range(problem.levels.count)]
        for cell in self.cells:
            if not 1 <= cell.row <= problem.levels.count:
                continue
            found = same.get(id(cell))
            if found is None:
                own = tuple(w for w in self.windows.get(cell.row, ()) if w[1] > cell.lo and w[0] < cell.hi + joint)
                found = self.parts.get((cell, own))
                if found is None:
                    found = self.parts[cell, own] = self._part(cell, own)
            self.rows[cell.row - 1].append(found)
        self.ends: dict[tuple[object, ...], int] = {}

    def _part(self, cell: Cell, windows: tuple[Interval, ...]) -> _Part:
        meets = self.problem.meets
        wide = [m.half + self.problem.how.joint for m in meets]
        touches = tuple(
            n for n, (m, w) in enumerate(zip(meets, wide, strict=True)) if m.half and m.station - w <= cell.hi and m.station + w >= cell.lo
        )
        most = max(*self.problem.slack, 0)
        free = any(not m.half and cell.lo <= m.station + most and cell.hi >= m.station - most for m in (meets[0], meets[-1]))
        return _Part(cell, windows, touches, free)

    def cells_of(self, picks: tuple[int, ...], problem: Problem) -> tuple[tuple[Cell, ...], tuple[Scrap, ...]] | None:
        """Return the cells for other alternatives, made from these; None where it takes the whole face."""
        changed: list[Put] = []
        for choice, one, other in zip(problem.choices, self.picks, picks, strict=True):
            if one != other:
                changed += [*choice[one].puts, *choice[other].puts]
        if not changed:
            return self.cells, self.scraps
        puts = [p for g in groups(problem, picks) for p in g.puts]
        stations = (min(p.lo for p in changed), max(p.hi for p in changed))
        return spliced(problem, self.cells, self.scraps, blocks_of(problem, puts), blocks_of(problem, self.puts), stations)

    def cost(self, passes: Passes, shift: tuple[Nm, Nm]) -> int:
        """Return what the run costs: cuts, and much more for what cannot be laid or does not fit."""
        if not self.sound:
            return UNSOUND
        total = 0
        for k, row in enumerate(self.rows):
            on = [p[k] for p in passes]
            for part in row:
                key = (*[on[n] for n in part.touches], shift) if part.free else tuple([on[n] for n in part.touches])
                got = part.costs.get(key)
                if got is None:
                    got = part.costs[key] = self._cost(part, passes, shift)
                total += got
        return total + self._beyond(passes, shift)

    def _cost(self, part: _Part, passes: Passes, shift: tuple[Nm, Nm]) -> int:
        total = 0
        for span in self.spans(part, passes, shift):
            if span.hi - span.lo < self.problem.how.least or self.solver.fewest(span, ()) is None:
                total += SCRAP * max(0, (span.hi - span.lo) * (span.top - span.bottom) // 10**12)
                continue
            cuts = self.solver.fewest(span, part.windows)
            total += HOPELESS if cuts is None else cuts
        return total

    def spans(self, part: _Part, passes: Passes, shift: tuple[Nm, Nm]) -> list[Span]:
        lo, hi, gaps, butts = extent(self.problem, passes, part.cell.row, shift)
        return clipped(part.cell, lo, hi, gaps, butts)

    def _beyond(self, passes: Passes, shift: tuple[Nm, Nm]) -> int:
        """Return the cost of what lies beyond the ends, and of what is set aside."""
        key = (passes[0], passes[-1], shift)
        if key not in self.ends:
            levels = self.problem.levels
            ends = [extent(self.problem, passes, k, shift)[:2] for k in range(1, levels.count + 1)]
            first, last = min((lo for lo, _ in ends), default=0), max((hi for _, hi in ends), default=0)
            total = sum(
                SCRAP * ((min(s.hi, last) - max(s.lo, first)) * (s.top - s.bottom) // 10**12)
                for s in self.scraps
                if s.lo < last and s.hi > first
            )
            for p in self.puts:
                if p.unit:
                    for k, (lo, hi) in enumerate(ends, start=1):
                        if (p.lo < lo or p.hi > hi) and p.bottom < levels.top(k) and p.top > levels.bottom(k):
                            total += BEYOND
            self.ends[key] = total
        return self.ends[key]

    def outer(self, passes: Passes, side: int) -> list[Nm]:
        """Return the lengths of the first (side 0) or last span of each course, as drawn."""
        out: list[Nm] = []
        for row in self.rows:
            order = row if side == 0 else row[::-1]
            for part in order:
                spans = [s for s in self.spans(part, passes, (0, 0)) if s.hi - s.lo >= self.problem.how.least]
                if spans:
                    span = spans[0] if side == 0 else spans[-1]
                    out.append(span.hi - span.lo)
                    break
        return out


def _hard(ask: Ask) -> bool:
    return ask.of == "joint" and ask.yields == 0


def spliced(
    problem: Problem,
    cells: tuple[Cell, ...],
    scraps: tuple[Scrap, ...],
    blocks: Sequence[Block],
    before: Sequence[Block],
    stations: tuple[Nm, Nm],
) -> tuple[tuple[Cell, ...], tuple[Scrap, ...]] | None:
    """Return the face of `blocks`, made from the cells of the face of `before`, which differs between two stations only.

    None where the top is not level; the face is then to be made anew.
    """
    p, q = stations
    if len({z for _, z in problem.top}) > 1:
        return None
    edges = sorted({p, q, *(x for b in (*blocks, *before) for x in (b.lo, b.hi))})
    wide = 2 * problem.how.joint + 4
    left, m = _clear([x for x in edges if x <= p][::-1], wide, -1)
    right, n = _clear([x for x in edges if x >= q], wide, 1)
    near = tuple(b for b in blocks if b.lo < right and b.hi > left)
    fresh, small = face(problem.levels, problem.top, near, problem.how.joint)
    crossing = [{(c.row, c.bottom, c.top): c for c in cells if c.lo < x < c.hi} for x in (m, n)]
    out = [c for c in cells if c.hi <= m or c.lo >= n]
    for c in fresh:
        if c.hi <= m or c.lo >= n:
            continue
        key = (c.row, c.bottom, c.top)
        if c.lo < m:
            old = crossing[0].get(key)
            if old is None:
                return None
            c = replace(c, lo=old.lo, lapped_lo=old.lapped_lo, full_lo=old.lo)
        if c.hi > n:
            old = crossing[1].get(key)
            if old is None:
                return None
            c = replace(c, hi=old.hi, lapped_hi=old.lapped_hi, full_hi=old.hi)
        out.append(c)
    out.sort(key=lambda c: (c.row, c.lo, c.bottom))
    kept = [s for s in scraps if s.hi <= p or s.lo >= q]
    kept += [replace(s, hi=p) for s in scraps if s.lo < p < s.hi] + [replace(s, lo=q) for s in scraps if s.lo < q < s.hi]
    kept += [replace(s, lo=max(s.lo, p), hi=min(s.hi, q)) for s in small if s.lo < q and s.hi > p]
    return tuple(out), tuple(s for s in kept if -FAR <= s.lo < s.hi)


def _clear(edges: Sequence[Nm], wide: Nm, side: int) -> tuple[Nm, Nm]:
    """Return the first edge outwards behind a stretch that is wide enough to hold cells, and the middle of that stretch."""
    for a, b in itertools.pairwise(edges):
        if abs(b - a) > wide:
            return b, (a + b) // 2
    return edges[-1] + side * 2 * wide, edges[-1] + side * wide

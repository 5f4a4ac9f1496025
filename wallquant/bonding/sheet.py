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
from wallquant.bonding.intervals import Interval
from wallquant.bonding.problem import Passes, Problem, Put, blocks_of, extent, groups, spans_of
from wallquant.bonding.puts import sound
from wallquant.bonding.span import Span
from wallquant.bonding.stack import Solver
from wallquant.units import Nm

UNSOUND, BEYOND, HOPELESS, SCRAP = 10**9, 10**6, 10**4, 20
"""What fixed pieces that cannot lie cost, one beyond the run's end, a span that cannot be filled, a square millimetre set aside."""


Row = tuple[Cell, ...]
"""The cells of one course, from left to right."""
Fresh = tuple[dict[int, Row], tuple[Scrap, ...]]
"""A face by courses, and its scraps."""


@dataclass(slots=True, eq=False)
class _Part:
    """One cell of a course with the hard windows in it: what it cost so far, by who passes at the junctions that it touches."""

    cell: Cell
    windows: tuple[Interval, ...]
    touches: tuple[int, ...]
    free: bool
    costs: dict[tuple[object, ...], int] = field(default_factory=dict)


@dataclass(slots=True, eq=False)
class _Course:
    """The parts of one course, and what they cost so far, by who passes in it and the fit of the free ends."""

    cells: Row
    windows: tuple[Interval, ...]
    parts: list[_Part]
    costs: dict[tuple[object, ...], int] = field(default_factory=dict)


@dataclass(slots=True, eq=False)
class _Made:
    """What the sheets of one problem share: parts, faces of some blocks, the hard windows of each group by course, and the first and
    last station of each course by who passes at the ends and their fit."""

    parts: dict[tuple[Cell, tuple[Interval, ...]], _Part] = field(default_factory=dict)
    faces: dict[tuple[Block, ...], Fresh] = field(default_factory=dict)
    hard: dict[tuple[int, int], dict[int, set[Interval]]] = field(default_factory=dict)
    ends: dict[tuple[object, ...], list[tuple[Nm, Nm]]] = field(default_factory=dict)


class Sheet:
    """Cost of one problem for one set of alternatives."""

    def __init__(self, problem: Problem, picks: tuple[int, ...], solver: Solver, before: Sheet | None = None) -> None:
        self.problem, self.picks, self.solver = problem, picks, solver
        self.made: _Made = before.made if before is not None else _Made()
        self.puts = [p for g in groups(problem, picks) for p in g.puts]
        self.sound = sound(problem, picks)
        self.ends: dict[tuple[object, ...], int] = {}
        windows = self._windows(before)
        found = None if before is None else before.rows_of(picks, problem, self.made)
        if found is None:
            cells, self.scraps = face(problem.levels, problem.top, blocks_of(problem, self.puts), problem.how.joint)
            by_row = _by_row(cells)
            rows = [by_row.get(k, ()) for k in range(1, problem.levels.count + 1)]
        else:
            rows, self.scraps = found
        self.rows: list[_Course] = []
        for k, row in enumerate(rows, start=1):
            own, was = windows.get(k, ()), before.rows[k - 1] if before is not None else None
            self.rows.append(was if was is not None and was.cells is row and was.windows == own else self._course(row, own))

    def _windows(self, before: Sheet | None) -> dict[int, tuple[Interval, ...]]:
        """Return the hard windows of each course; only courses that other alternatives touch are looked at anew."""
        of_groups = [self._hard(-1, 0), *(self._hard(n, pick) for n, pick in enumerate(self.picks))]
        if before is None:
            touched = {k for one in of_groups for k in one}
            out: dict[int, tuple[Interval, ...]] = {}
        else:
            changed = [n for n, (a, b) in enumerate(zip(self.picks, before.picks, strict=True)) if a != b]
            touched = {k for n in changed for pick in (self.picks[n], before.picks[n]) for k in self._hard(n, pick)}
            out = {k: row.windows for k, row in enumerate(before.rows, start=1) if row.windows}
        for k in touched:
            out[k] = tuple(sorted({w for one in of_groups for w in one.get(k, ())}))
        return out

    def _hard(self, choice: int, pick: int) -> dict[int, set[Interval]]:
        got = self.made.hard.get((choice, pick))
        if got is None:
            got = self.made.hard[choice, pick] = {}
            group = self.problem.base if choice < 0 else self.problem.choices[choice][pick]
            for a in group.asks:
                if a.of == "joint" and a.yields == 0:
                    got.setdefault(a.course, set()).add((a.lo, a.hi + self.problem.how.joint))
        return got

    def _course(self, cells: Row, windows: tuple[Interval, ...]) -> _Course:
        joint, parts = self.problem.how.joint, []
        for cell in cells:
            own = tuple(w for w in windows if w[1] > cell.lo and w[0] < cell.hi + joint)
            found = self.made.parts.get((cell, own))
            if found is None:
                found = self.made.parts[cell, own] = self._part(cell, own)
            parts.append(found)
        return _Course(cells, windows, parts)

    def _part(self, cell: Cell, windows: tuple[Interval, ...]) -> _Part:
        meets = self.problem.meets
        wide = [m.half + self.problem.how.joint for m in meets]
        touches = tuple(
            n for n, (m, w) in enumerate(zip(meets, wide, strict=True)) if m.half and m.station - w <= cell.hi and m.station + w >= cell.lo
        )
        most = max(*self.problem.slack, 0)
        free = any(not m.half and cell.lo <= m.station + most and cell.hi >= m.station - most for m in (meets[0], meets[-1]))
        return _Part(cell, windows, touches, free)

    def rows_of(self, picks: tuple[int, ...], problem: Problem, made: _Made) -> tuple[list[Row], tuple[Scrap, ...]] | None:
        """Return the rows for other alternatives, made from these; None where it takes the whole face."""
        rows = [row.cells for row in self.rows]
        changed: list[Put] = []
        for choice, one, other in zip(problem.choices, self.picks, picks, strict=True):
            if one != other:
                changed += [*choice[one].puts, *choice[other].puts]
        if not changed:
            return rows, self.scraps
        puts = [p for g in groups(problem, picks) for p in g.puts]
        stations = (min(p.lo for p in changed), max(p.hi for p in changed))
        return spliced(problem, rows, self.scraps, blocks_of(problem, puts), blocks_of(problem, self.puts), stations, made.faces)

    def cost(self, passes: Passes, shift: tuple[Nm, Nm]) -> int:
        """Return what the run costs: cuts, and much more for what cannot be laid or does not fit."""
        if not self.sound:
            return UNSOUND
        total = 0
        for row, on in zip(self.rows, zip(*passes, strict=True), strict=True):
            got = row.costs.get((on, shift))
            if got is None:
                got = row.costs[on, shift] = sum(self._of_part(part, on, passes, shift) for part in row.parts)
            total += got
        return total + self._beyond(passes, shift)

    def _of_part(self, part: _Part, on: Sequence[bool], passes: Passes, shift: tuple[Nm, Nm]) -> int:
        key = (*[on[n] for n in part.touches], shift) if part.free else tuple([on[n] for n in part.touches])
        got = part.costs.get(key)
        if got is None:
            got = part.costs[key] = self._cost(part, passes, shift)
        return got

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
        return spans_of(self.problem, passes, part.cell, extent(self.problem, passes, part.cell.row, shift), part.windows)

    def _beyond(self, passes: Passes, shift: tuple[Nm, Nm]) -> int:
        """Return the cost of what lies beyond the ends, and of what is set aside."""
        key = (passes[0], passes[-1], shift)
        if key not in self.ends:
            levels = self.problem.levels
            ends = self.made.ends.get(key)
            if ends is None:
                ends = self.made.ends[key] = [extent(self.problem, passes, k, shift)[:2] for k in range(1, levels.count + 1)]
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
            order = row.parts if side == 0 else row.parts[::-1]
            for part in order:
                spans = [s for s in self.spans(part, passes, (0, 0)) if s.hi - s.lo >= self.problem.how.least]
                if spans:
                    span = spans[0] if side == 0 else spans[-1]
                    out.append(span.hi - span.lo)
                    break
        return out


def _by_row(cells: Sequence[Cell]) -> dict[int, Row]:
    out: dict[int, list[Cell]] = {}
    for c in cells:
        out.setdefault(c.row, []).append(c)
    return {k: tuple(sorted(row, key=lambda c: (c.lo, c.bottom))) for k, row in out.items()}


def spliced(
    problem: Problem,
    rows: Sequence[Row],
    scraps: tuple[Scrap, ...],
    blocks: Sequence[Block],
    before: Sequence[Block],
    stations: tuple[Nm, Nm],
    faces: dict[tuple[Block, ...], Fresh],
) -> tuple[list[Row], tuple[Scrap, ...]] | None:
    """Return the face of `blocks`, made from the rows of the face of `before`, which differs between two stations only.

    Rows that stay as they are come back as the same tuples.  None where the top is not level; the face is then to be made anew.
    """
    p, q = stations
    if len({z for _, z in problem.top}) > 1:
        return None
    edges = sorted({p, q, *(x for b in (*blocks, *before) for x in (b.lo, b.hi))})
    wide = 2 * problem.how.joint + 4
    left, m = _clear([x for x in edges if x <= p][::-1], wide, -1)
    right, n = _clear([x for x in edges if x >= q], wide, 1)
    fresh, small = _part_of(problem, blocks, left, right, faces)
    was, _ = _part_of(problem, before, left, right, faces)
    out: list[Row] = []
    for k, row in enumerate(rows, start=1):
        if fresh.get(k) == was.get(k):
            out.append(row)
            continue
        at_m, at_n = ({(c.bottom, c.top): c for c in row if c.lo < x < c.hi} for x in (m, n))
        new = [c for c in row if c.hi <= m or c.lo >= n]
        for c in fresh.get(k, ()):
            if c.hi <= m or c.lo >= n:
                continue
            if c.lo < m:
                old = at_m.get((c.bottom, c.top))
                if old is None:
                    return None
                c = replace(c, lo=old.lo, lapped_lo=old.lapped_lo, full_lo=old.lo)
            if c.hi > n:
                old = at_n.get((c.bottom, c.top))
                if old is None:
                    return None
                c = replace(c, hi=old.hi, lapped_hi=old.lapped_hi, full_hi=old.hi)
            new.append(c)
        new.sort(key=lambda c: (c.lo, c.bottom))
        out.append(tuple(new))
    kept = [s for s in scraps if s.hi <= p or s.lo >= q]
    kept += [replace(s, hi=p) for s in scraps if s.lo < p < s.hi] + [replace(s, lo=q) for s in scraps if s.lo < q < s.hi]
    kept += [replace(s, lo=max(s.lo, p), hi=min(s.hi, q)) for s in small if s.lo < q and s.hi > p]
    return out, tuple(s for s in kept if -FAR <= s.lo < s.hi)


def _part_of(problem: Problem, blocks: Sequence[Block], left: Nm, right: Nm, faces: dict[tuple[Block, ...], Fresh]) -> Fresh:
    """Return the face as if only those of the blocks were there that reach between two stations."""
    near = tuple(b for b in blocks if b.lo < right and b.hi > left)
    if near not in faces:
        cells, scraps = face(problem.levels, problem.top, near, problem.how.joint)
        faces[near] = _by_row(cells), scraps
    return faces[near]


def _clear(edges: Sequence[Nm], wide: Nm, side: int) -> tuple[Nm, Nm]:
    """Return the first edge outwards behind a stretch that is wide enough to hold cells, and the middle of that stretch."""
    for a, b in itertools.pairwise(edges):
        if abs(b - a) > wide:
            return b, (a + b) // 2
    return edges[-1] + side * 2 * wide, edges[-1] + side * wide

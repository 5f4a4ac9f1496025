"""A whole run: all its courses together.

Each course has a pool of layouts with few cuts; a shortest path from the bottom course to the top one picks one of each, so that
joints of neighbouring courses stand apart and cuts are few.  Pools grow by sweeps (a course solved exactly against the layout
below or above it) and by exact pairs.  The number of cuts comes with a proven lower bound: the best partition of the courses
into exact single courses and exact pairs.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from wallquant.bonding.pair import Half, least_two, two
from wallquant.bonding.span import Bonded, Interval, Span, even, layouts, reach
from wallquant.units import Nm

Layout = tuple[tuple[Nm, Nm], ...]
"""Pieces of one course, (start, end), from left to right."""

POOL = 64
"""Most layouts that a course keeps."""
ROUNDS = 6
"""Most rounds of refinement around the best path."""

VIOLATION, BEFORE, CUT, AFTER, PIECE, NEAR, SETTING = 10**10, 10**8, 10**6, 10**3, 40, 20, 2


@dataclass(frozen=True, kw_only=True, slots=True)
class Soft:
    """A window that may give way: no joint or no cut in the open interval of stations; `yields` as in `wallquant.rules.Window`."""

    lo: Nm
    hi: Nm
    of: Literal["joint", "cut"]
    yields: int


@dataclass(frozen=True, kw_only=True, slots=True)
class Row:
    """One course of a run.

    `windows` are open intervals of piece starts (see `wallquant.bonding.span.reach`), sorted; `offset` is the least distance of
    joint centres from those of the course below (0: none asked).
    """

    spans: tuple[Span, ...]
    windows: tuple[Interval, ...] = ()
    offset: Nm = 0
    soft: tuple[Soft, ...] = ()


@dataclass(frozen=True, kw_only=True, slots=True)
class Stack:
    """What was found: a layout a course, the cuts, their proven lower bound, and how often an offset or window gave way."""

    layouts: tuple[Layout, ...]
    cuts: int
    bound: int
    violations: int


@dataclass
class Solver:
    """Solves runs, each distinct problem once.  One solver serves one plan."""

    how: Bonded
    solved: dict[tuple[Row, ...], Stack] = field(default_factory=dict)
    fills: dict[tuple[object, ...], list[Layout]] = field(default_factory=dict)
    bounds: dict[tuple[object, ...], int | None] = field(default_factory=dict)

    def stack(self, rows: Sequence[Row]) -> Stack:
        """Return the layouts of all courses of a run, from the bottom up."""
        key = tuple(rows)
        if key not in self.solved:
            self.solved[key] = _Run(self, key).solve() if key else Stack(layouts=(), cuts=0, bound=0, violations=0)
        return self.solved[key]

    def fill(self, span: Span, windows: tuple[Interval, ...], limit: int) -> list[Layout]:
        """Return layouts of one span with fewest cuts that keep the windows; empty where there is none."""
        lo, hi = span.lo, span.hi + self.how.joint
        near = tuple(w for w in windows if w[1] > lo and w[0] < hi)
        key = (span, near, limit)
        if key not in self.fills:
            out: list[Layout] = []
            exact = even(span, self.how, near)
            if exact:
                out.append(tuple(zip(*exact, strict=True)))
            found = reach(span, self.how, near)
            if found and not (exact and found.cuts):
                for starts in layouts(span, self.how, found, limit):
                    ends = (*(s - self.how.joint for s in starts), span.hi)
                    one = tuple(zip((span.lo, *starts), ends, strict=True))
                    if one not in out:
                        out.append(one)
            self.fills[key] = out
        return self.fills[key]

    def fewest(self, span: Span, windows: tuple[Interval, ...]) -> int | None:
        """Return the fewest cuts of one span by itself, or None where it cannot be filled with the windows kept."""
        near = tuple(w for w in windows if w[1] > span.lo and w[0] < span.hi + self.how.joint)
        key = ("fewest", span, near)
        if key not in self.bounds:
            found = None if even(span, self.how, near) else reach(span, self.how, near)
            self.bounds[key] = 0 if even(span, self.how, near) else found.cuts if found else None
        return self.bounds[key]

    def least(self, span: Span, windows: tuple[Interval, ...]) -> int:
        """Return a lower bound for the cuts of one span (0 where it cannot be filled with the windows kept)."""
        slack = self.how.joint - self.how.joint_least
        near = tuple((a, b - slack) for a, b in windows if b > span.lo and a < span.hi + self.how.joint and b - slack > a)
        key = ("least", span, near)
        if key not in self.bounds:
            found = reach(span, self.how, near, ranged=self.how.joint_least < self.how.joint_most)
            self.bounds[key] = found.cuts if found else 0
        return self.bounds[key] or 0


def offset_windows(centres: Sequence[int], offset: Nm, joint: Nm) -> list[Interval]:
    """Return the open windows of piece starts that double joint centres of a neighbouring course forbid."""
    return [((c + joint - 2 * offset) // 2, -(-(c + joint + 2 * offset) // 2)) for c in centres] if offset > 0 else []


class _Run:
    """One run while it is solved."""

    def __init__(self, solver: Solver, rows: tuple[Row, ...]) -> None:
        self.solver, self.rows, self.how = solver, rows, solver.how
        n = len(rows)
        j = self.how.joint
        self.ends = [
            [c for s in r.spans for c, on in ((2 * s.lo - j, s.lapped_lo), (2 * s.hi + j, s.lapped_hi)) if on] for r in rows
        ]
        self.fixed: list[list[Interval]] = [
            [w for o, off in self.beside(k) for w in offset_windows(self.ends[o], off, j)] for k in range(n)
        ]
        self.kinds: dict[Row, int] = {}
        self.kind = [self.kinds.setdefault(r, len(self.kinds)) for r in rows]
        self.pool: list[dict[Layout, int]] = [{} for _ in self.kinds]
        self.clash: dict[tuple[int, int, Nm, int, int], NDArray[np.int64]] = {}
        self.single = [sum(solver.least(s, self.windows(k)) for s in rows[k].spans) for k in range(n)]

    def beside(self, k: int) -> list[tuple[int, Nm]]:
        """Return the neighbours of a course with the offset asked between them."""
        out = [(k - 1, self.rows[k].offset)] if k else []
        return out + ([(k + 1, self.rows[k + 1].offset)] if k + 1 < len(self.rows) else [])

    def windows(self, k: int, *more: Sequence[Interval], before: bool = False, after: bool = False) -> tuple[Interval, ...]:
        """Return hard windows of a course, those of lapped ends beside it, and soft ones on request, sorted."""
        row, j = self.rows[k], self.how.joint
        soft = [(s.lo, s.hi + j) for s in row.soft if s.of == "joint" and ((before and s.yields <= 4) or (after and s.yields > 4))]
        return tuple(sorted({*row.windows, *self.fixed[k], *(w for one in more for w in one), *soft}))

    def centres(self, k: int, layout: Layout) -> list[int]:
        """Return the double joint centres of a layout: between pieces that share a joint, not over openings."""
        widest = self.how.joint_most
        return [e + s for (_, e), (s, _) in zip(layout, layout[1:], strict=False) if 0 <= s - e <= widest]

    def candidates(self, k: int, near: Sequence[Interval], limit: int) -> list[Layout]:
        """Solve one course against given windows; where that is impossible windows give way, the offset first."""
        soft = bool(self.rows[k].soft)
        tries = [(near, True, True), (near, True, False), (near, False, False)] if soft else [(near, False, False)]
        tries += [((), False, False)]
        out: list[Layout] = []
        for more, before, after in tries:
            per = [self.solver.fill(s, self.windows(k, more, before=before, after=after), limit) for s in self.rows[k].spans]
            if all(per):
                out += _combined(per, limit)
                if not soft or not before:
                    break
        if not out:
            out = self._forced(k, near)
        self.keep(k, out)
        return out

    def _forced(self, k: int, near: Sequence[Interval]) -> list[Layout]:
        """Fill span by span with as many windows as each allows: all, without the neighbours' joints, the hard ones, none."""
        per: list[list[Layout]] = []
        for span in self.rows[k].spans:
            for windows in (self.windows(k, near), self.windows(k), self.rows[k].windows, ()):
                got = self.solver.fill(span, tuple(sorted(windows)), 4)
                if got:
                    per.append(got)
                    break
            else:
                raise ValueError(f"a stretch of {span.hi - span.lo} nm cannot be filled")
        return _combined(per, 4)

    def keep(self, k: int, found: Sequence[Layout]) -> None:
        pool = self.pool[self.kind[k]]
        for one in found:
            if one not in pool and len(pool) < POOL:
                pool[one] = self.cost(k, one)

    def cost(self, k: int, layout: Layout) -> int:
        """Return the cost of a layout by itself, in the order of goals."""
        row, unit, joint = self.rows[k], self.how.unit, self.how.joint
        cuts = [(a, b) for a, b in layout if b - a != unit or _raked(row.spans, a, b)]
        total = CUT * len(cuts) + PIECE * len(layout) + SETTING * len({b - a for a, b in cuts})
        for (_, e), (s, _) in zip(layout, layout[1:], strict=False):
            if 0 < s - e <= self.how.joint_most:
                if s - e != joint:
                    total += 1
                total += VIOLATION * 10 * sum(s > lo and e < hi - joint for lo, hi in row.windows)
                total += sum((BEFORE if w.yields <= 4 else AFTER) * (10 - w.yields) for w in row.soft if w.of == "joint" and s > w.lo and e < w.hi)
        for w in row.soft:
            if w.of == "cut":
                hit = sum(a < w.hi and b > w.lo for a, b in cuts)
                total += hit * (BEFORE if w.yields <= 4 else AFTER) * (10 - w.yields)
        return total

    def sweep(self, order: Sequence[int], pick: int) -> None:
        """Solve course after course, each against the layout chosen before it."""
        chosen: dict[int, Layout] = {}
        for k in order:
            near = [
                w for o, off in self.beside(k) if o in chosen for w in offset_windows(self.centres(o, chosen[o]), off, self.how.joint)
            ]
            found = self.candidates(k, near, 8)
            chosen[k] = found[min(pick, len(found) - 1)] if pick < 8 else found[len(found) // 2]

    def clashes(self, k: int) -> NDArray[np.int64]:
        """Return the cost between each layout of course k and each of course k + 1."""
        a, b, off = self.kind[k], self.kind[k + 1], self.rows[k + 1].offset
        key = (a, b, off, len(self.pool[a]), len(self.pool[b]))
        if key not in self.clash:
            x = _padded([self.centres(k, one) + self.ends[k] for one in self.pool[a]], -(10**15))
            y = _padded([self.centres(k + 1, one) + self.ends[k + 1] for one in self.pool[b]], 10**15)
            apart = np.abs(x[:, None, :, None] - y[None, :, None, :])
            own = len(self.ends[k]) and len(self.ends[k + 1])
            hit = (apart < 2 * off).sum(axis=(2, 3))
            if own:  # lapped ends on lapped ends cannot be helped here; they count the same for every layout
                ends = np.abs(np.array(self.ends[k])[:, None] - np.array(self.ends[k + 1])[None, :])
                hit = hit - int((ends < 2 * off).sum())
            half = self.how.unit
            least = np.minimum(apart.min(axis=(2, 3)), half)
            self.clash[key] = hit * VIOLATION + (NEAR * (half - least)) // half
        return self.clash[key]

    def path(self) -> tuple[int, list[Layout]]:
        """Return the cheapest choice of one layout a course."""
        cost = [np.fromiter(self.pool[kind].values(), np.int64) for kind in self.kind]
        best, back = cost[0], []
        for k in range(len(self.rows) - 1):
            total = best[:, None] + self.clashes(k)
            back.append(total.argmin(axis=0))
            best = total.min(axis=0) + cost[k + 1]
        at = int(best.argmin())
        total_cost = int(best[at])
        chosen = [at]
        for one in reversed(back):
            chosen.append(int(one[chosen[-1]]))
        chosen.reverse()
        return total_cost, [list(self.pool[kind])[c] for kind, c in zip(self.kind, chosen, strict=True)]

    def solve(self) -> Stack:
        n = len(self.rows)
        up, down = range(n), range(n - 1, -1, -1)
        bound = sum(self.single)
        best: tuple[int, list[Layout]] | None = None
        for order, pick in ((up, 0), (down, 0), (up, 7), (down, 7), (up, 8), (down, 8), (up, 1), (up, 2)):
            self.sweep(order, pick)
            best = self.path()
            if best[0] < (bound + 1) * CUT:
                return self.result(best[1], bound)
        bound = self.paired()
        for _ in range(ROUNDS):
            found = self.path()
            if best is not None and found[0] >= best[0] and _ > 0:
                break
            best = found
            if best[0] < (bound + 1) * CUT:
                break
            self.around(best[1])
        assert best is not None
        return self.result(best[1], bound)

    def paired(self) -> int:
        """Add the exact pairs to the pools; return the better lower bound."""
        n, how = len(self.rows), self.how
        pairs: list[int | None] = []
        slack = how.joint_most - how.joint_least
        for k in range(n - 1):
            halves = [Half(spans=self.rows[i].spans, windows=self.windows(i)) for i in (k, k + 1)]
            off = self.rows[k + 1].offset
            key = ("pair", halves[0], halves[1], off)
            if key not in self.solver.bounds:
                exact = two(halves[0], halves[1], how, off)
                least = exact.cuts if exact else None
                if exact:
                    for i, starts in ((k, exact.lower), (k + 1, exact.upper)):
                        self.keep(i, [_from_starts(self.rows[i].spans, starts, how.joint)])
                if slack and exact and exact.cuts > self.single[k] + self.single[k + 1]:
                    wide = [
                        Half(
                            spans=h.spans,
                            windows=tuple((a, b - (how.joint - how.joint_least)) for a, b in h.windows if b - a > how.joint - how.joint_least),
                        )
                        for h in halves
                    ]
                    least = least_two(wide[0], wide[1], how, off - slack)
                self.solver.bounds[key] = least
            pairs.append(self.solver.bounds[key])
        best = [0, self.single[0]]
        for k in range(1, n):
            pair = pairs[k - 1]
            best.append(max(best[k] + self.single[k], best[k - 1] + (pair if pair is not None else 0)))
        return best[n]

    def around(self, layouts_now: Sequence[Layout]) -> None:
        """Solve each course again between its neighbours on the best path, and the neighbours against the result."""
        n, j = len(self.rows), self.how.joint
        for k in range(n):
            for sides in ((k - 1, k + 1), (k - 1,), (k + 1,)):
                near = [
                    w
                    for o, off in self.beside(k)
                    if o in sides
                    for w in offset_windows(self.centres(o, layouts_now[o]), off, j)
                ]
                found = self.candidates(k, near, 12)
                for o, off in self.beside(k):
                    if o not in sides:
                        for one in (found[0], found[-1]):
                            self.candidates(o, offset_windows(self.centres(k, one), off, j), 4)

    def result(self, chosen: Sequence[Layout], bound: int) -> Stack:
        cuts = sum(
            b - a != self.how.unit or _raked(row.spans, a, b) for row, one in zip(self.rows, chosen, strict=True) for a, b in one
        )
        joints = [self.centres(k, one) for k, one in enumerate(chosen)]
        broken = 0
        for k in range(1, len(chosen)):
            off = self.rows[k].offset
            x = np.array(joints[k - 1] + self.ends[k - 1], np.int64)
            y = np.array(joints[k] + self.ends[k], np.int64)
            if off and len(x) and len(y):
                broken += int((np.abs(x[:, None] - y[None, :]) < 2 * off).sum())
        return Stack(layouts=tuple(chosen), cuts=cuts, bound=min(bound, cuts), violations=broken)


def _raked(spans: Sequence[Span], a: Nm, b: Nm) -> bool:
    return any(s.lo <= a and b <= s.hi and (a < s.full_lo or b > s.full_hi) for s in spans)


def _combined(per: Sequence[list[Layout]], limit: int) -> list[Layout]:
    """Return rows made of one layout a span: the first of each, the second of each, and so on."""
    most = min(limit, max(len(p) for p in per)) if per else 1
    seen: dict[Layout, None] = {}
    for k in range(most):
        seen[tuple(piece for p in per for piece in p[min(k, len(p) - 1)])] = None
    return list(seen)


def _from_starts(spans: Sequence[Span], starts: Sequence[Nm], joint: Nm) -> Layout:
    out: list[tuple[Nm, Nm]] = []
    for span in spans:
        inner = [y for y in starts if span.lo < y <= span.hi]
        out += list(zip([span.lo, *inner], [*(y - joint for y in inner), span.hi], strict=True))
    return tuple(out)


def _padded(rows: Sequence[Sequence[int]], fill: int) -> NDArray[np.int64]:
    width = max(1, max(len(r) for r in rows))
    return np.array([list(r) + [fill] * (width - len(r)) for r in rows], np.int64)

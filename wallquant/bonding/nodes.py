"""The spans of a run as a graph: each span a node, an edge where joints of two spans in neighbouring courses must stand apart.

Spans that are alike (same shape, same windows) share one `Kind` with its pool of layouts.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Literal, TypeVar

import numpy as np
from numpy.typing import NDArray

from wallquant.bonding.fills import (
    AFTER,
    BEFORE,
    NEAR,
    RANKED,
    VIOLATION,
    Fill,
    Fills,
    Shape,
    moved,
    near_windows,
    offset_windows,
    shape_of,
)
from wallquant.bonding.intervals import FAR, Interval
from wallquant.bonding.span import Span
from wallquant.units import Nm

POOL = 80
"""Most layouts that a kind of span keeps."""
KEPT = 16
"""So many of them are left when pools are thinned before they grow again."""


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


T = TypeVar("T", int, NDArray[np.int64])

SoftKey = tuple[Nm, Nm, str, int]


@dataclass(slots=True, eq=False)
class Kind:
    """Spans that are alike: shape, hard windows, those of lapped ends beside, both together, soft windows, lapped ends."""

    shape: Shape
    hard: tuple[Interval, ...]
    lapped: tuple[Interval, ...]
    windows: tuple[Interval, ...]
    soft: tuple[SoftKey, ...]
    ends: tuple[int, ...]
    least: int
    tries: tuple[tuple[Interval, ...], ...]
    """Windows with the soft ones for joints that are to be kept too: all of them, those that rank before cuts, none."""
    pool: dict[Fill, int] = field(default_factory=dict)
    version: int = 0
    padded: tuple[int, NDArray[np.int64]] | None = None
    hopeless: bool = False
    """It cannot be filled with all its windows kept."""


@dataclass(slots=True, eq=False)
class Node:
    """One span in its place: its number, course, start, kind, and the nodes below and above with the offset asked."""

    number: int
    row: int
    span: Span
    kind: Kind
    below: list[tuple[int, Nm]] = field(default_factory=list)
    above: list[tuple[int, Nm]] = field(default_factory=list)

    @property
    def beside(self) -> list[tuple[int, Nm]]:
        return self.below + self.above


class Net:
    """The nodes of a run, and what layouts of neighbours cost together."""

    def __init__(self, fills: Fills, rows: Sequence[Row]) -> None:
        self.fills, self.rows = fills, rows
        self.how = how = fills.how
        j = how.joint
        ends = [[c for s in r.spans for c, on in ((2 * s.lo - j, s.lapped_lo), (2 * s.hi + j, s.lapped_hi)) if on] for r in rows]
        self.nodes: list[Node] = []
        self.of_row: list[list[int]] = []
        kinds: dict[tuple[object, ...], Kind] = {}
        for k, row in enumerate(rows):
            near = [w for o, off in self.beside(k) for w in offset_windows(ends[o], off, j)]
            self.of_row.append([])
            for span in row.spans:
                lo, end = span.lo, span.hi + j
                shape = shape_of(span)
                hard = moved(row.windows, lo, end)
                windows = moved([*row.windows, *near], lo, end) if near else hard
                soft = tuple((s.lo - lo, s.hi - lo, s.of, s.yields) for s in row.soft if s.hi > lo and s.lo < end)
                own = tuple(c for c, on in ((-j, span.lapped_lo), (2 * shape[0] + j, span.lapped_hi)) if on)
                lapped = tuple((a - lo, b - lo) for a, b in near if b > lo and a < end)
                key = (shape, hard, lapped, soft, own)
                kind = kinds.get(key)
                if kind is None:
                    kind = Kind(shape, hard, lapped, windows, soft, own, fills.least(shape, windows), _tries(windows, soft, shape[0], j))
                    kind.hopeless = fills.fewest(shape, windows) is None
                    kinds[key] = kind
                self.of_row[-1].append(len(self.nodes))
                self.nodes.append(Node(len(self.nodes), k, span, kind))
        for k in range(1, len(rows)):
            if rows[k].offset:
                self._joined(self.of_row[k - 1], self.of_row[k], rows[k].offset)
        self.tables: dict[tuple[int, int, Nm, Nm, int, int], NDArray[np.int64]] = {}
        self.held: dict[tuple[int, int, Fill, Fill], int] = {}

    def _joined(self, lower: Sequence[int], upper: Sequence[int], offset: Nm) -> None:
        for u in upper:
            up = self.nodes[u]
            lo, hi = up.span.lo - offset, up.span.hi + offset
            for n in lower:
                low = self.nodes[n]
                if low.span.hi > lo and low.span.lo < hi:
                    up.below.append((n, offset))
                    low.above.append((u, offset))

    def beside(self, k: int) -> list[tuple[int, Nm]]:
        """Return the neighbours of a course with the offset asked between them."""
        out = [(k - 1, self.rows[k].offset)] if k else []
        return out + ([(k + 1, self.rows[k + 1].offset)] if k + 1 < len(self.rows) else [])

    def near(self, u: int, v: int, offset: Nm, fill: Fill) -> list[Interval]:
        """Return the windows that a layout of node v puts on node u, relative to u."""
        one, other = self.nodes[u], self.nodes[v]
        return near_windows(fill.joints, other.span.lo - one.span.lo, one.kind.shape[0], offset, self.how.joint)

    def candidates(self, u: int, near: Sequence[Interval], limit: int) -> tuple[Fill, ...]:
        """Solve one span against given windows and add what is found to its pool; where that is impossible windows give way."""
        kind = self.nodes[u].kind
        end = kind.shape[0] + self.how.joint
        out: list[Fill] = []
        for n, windows in enumerate(kind.tries):
            found = self.fills.fill(kind.shape, moved([*windows, *near], 0, end) if near else windows, limit)
            out += [f for f in found if f not in out]
            if found and (n or len(kind.tries) < 3):
                break
        if not out:
            giving = [moved([*kind.hard, *_shrunk([*near, *kind.lapped], n)], 0, end) for n in (3, 2, 1)]
            if not kind.hopeless:
                giving = [kind.windows, *giving]
            for windows in (*giving, kind.hard, ()):
                if found := self.fills.fill(kind.shape, windows, limit):
                    out += [f for f in found if f not in out]
                    if windows != kind.windows:
                        break
            if not out:
                raise ValueError(f"a stretch of {kind.shape[0]} nm cannot be filled")
        self.keep(kind, out)
        return tuple(out)

    def keep(self, kind: Kind, found: Sequence[Fill]) -> None:
        """Add layouts to a pool; a full pool takes no more."""
        pool = kind.pool
        for one in found:
            if one not in pool and len(pool) < POOL:
                pool[one] = self.cost(kind, one)
                kind.version += 1

    def thin(self, nodes: Sequence[int], picks: Mapping[int, Fill]) -> None:
        """Leave in the pools of these nodes what is picked, and what costs least between the neighbours as they lie."""
        of_kind: dict[int, list[int]] = {}
        for u in nodes:
            if len(self.nodes[u].kind.pool) > KEPT:
                of_kind.setdefault(id(self.nodes[u].kind), []).append(u)
        for own in of_kind.values():
            kind = self.nodes[own[0]].kind
            ranked: dict[Fill, int] = {}
            for u in own:
                totals = self.between(u, self.nodes[u].beside, picks)
                for f, total in zip(kind.pool, totals.tolist(), strict=True):
                    ranked[f] = min(-1 if picks[u] is f else total, ranked.get(f, total))
            kept = set(sorted(ranked, key=lambda f: (ranked[f], f.pieces))[:KEPT])
            kind.pool = {f: c for f, c in kind.pool.items() if f in kept}
            kind.version += 1

    def cost(self, kind: Kind, fill: Fill) -> int:
        """Return the cost of a layout by itself, in the order of goals."""
        total, joint = fill.cost, self.how.joint
        if kind.hard or kind.soft:
            gaps = [(a[1], b[0]) for a, b in zip(fill.pieces, fill.pieces[1:], strict=False)]
            total += 10 * VIOLATION * sum(s > lo and e < hi - joint for e, s in gaps for lo, hi in kind.hard)
            cuts = [(a, b) for a, b in fill.pieces if b - a != self.how.unit or a < kind.shape[1] or b > kind.shape[2]]
            for lo, hi, of, yields in kind.soft:
                hit = sum(s > lo and e < hi for e, s in gaps) if of == "joint" else sum(a < hi and b > lo for a, b in cuts)
                total += hit * (BEFORE if yields <= RANKED else AFTER) * (10 - yields)
        return total

    def costing(self, u: int, fill: Fill) -> int:
        kind = self.nodes[u].kind
        got = kind.pool.get(fill)
        return self.cost(kind, fill) if got is None else got

    def together(self, u: int, v: int, offset: Nm, one: Fill, other: Fill) -> int:
        """Return what two layouts of neighbours cost together: joints too near, and how near the nearest are."""
        key = (u, v, one, other)
        got = self.held.get(key)
        if got is None:
            got = self.held[key] = self._together(self.nodes[u], self.nodes[v], offset, one, other)
        return got

    def _together(self, a: Node, b: Node, offset: Nm, one: Fill, other: Fill) -> int:
        shift = 2 * (b.span.lo - a.span.lo)
        wide, two = self.how.unit, 2 * offset
        ys = other.joints
        least, total = wide, 0
        for x in one.joints:
            at = x - shift
            k = bisect_left(ys, at - two + 1)
            while k < len(ys) and ys[k] < at + two:
                total += _severity(abs(ys[k] - at), two)
                k += 1
            k = bisect_left(ys, at)
            if k < len(ys) and ys[k] - at < least:
                least = ys[k] - at
            if k and at - ys[k - 1] < least:
                least = at - ys[k - 1]
        for c in b.kind.ends:
            total += sum(_severity(gap, two) for x in one.joints if (gap := abs(x - c - shift)) < two)
        for c in a.kind.ends:
            total += sum(_severity(gap, two) for y in ys if (gap := abs(y + shift - c)) < two)
        return total + (NEAR * (wide - least)) // wide

    def total(self, picks: Sequence[Fill]) -> int:
        """Return the cost of all nodes with these layouts."""
        alone = sum(self.costing(n.number, picks[n.number]) for n in self.nodes)
        return alone + sum(self.together(n.number, v, off, picks[n.number], picks[v]) for n in self.nodes for v, off in n.above)

    def between(self, u: int, sides: Sequence[tuple[int, Nm]], picks: Mapping[int, Fill]) -> NDArray[np.int64]:
        """Return the cost of each layout in a node's pool, by itself and with the layouts of these neighbours."""
        kind = self.nodes[u].kind
        total = np.fromiter(kind.pool.values(), np.int64)
        for v, off in sides:
            other = self.nodes[v]
            shift = 2 * (other.span.lo - self.nodes[u].span.lo)
            y = np.array([picks[v].joints or (FAR,)], np.int64).T + shift
            total = total + self._costs(kind, self._joints(kind), other.kind.ends, y, shift, off)[:, 0]
        return total

    def table(self, u: int, v: int, offset: Nm) -> NDArray[np.int64]:
        """Return `together` for all layouts in the pools of two neighbours, shape (layouts of u, layouts of v)."""
        a, b = self.nodes[u], self.nodes[v]
        shift = 2 * (b.span.lo - a.span.lo)
        key = (id(a.kind), id(b.kind), shift, offset, a.kind.version, b.kind.version)
        if key not in self.tables:
            y = self._joints(b.kind)
            y = np.where(y < -FAR, FAR, y + shift)
            self.tables[key] = self._costs(a.kind, self._joints(a.kind), b.kind.ends, y, shift, offset)
        return self.tables[key]

    def _costs(
        self, kind: Kind, x: NDArray[np.int64], ends: Sequence[int], y: NDArray[np.int64], shift: Nm, offset: Nm
    ) -> NDArray[np.int64]:
        """Return joints too near and how near the nearest are, for layouts x of a kind and y of a neighbour with these lapped ends.

        x and y have a layout a column: numpy takes the least of all layouts at once.
        """
        wide, two = self.how.unit, 2 * offset
        apart = np.abs(x[:, None, :, None] - y[None, :, None, :]).reshape(-1, x.shape[1] * y.shape[1])
        least = np.minimum(apart.min(axis=0), wide)
        total = (NEAR * (wide - least)) // wide
        if least.min() < two:
            _, both = near = np.nonzero(apart < two)
            np.add.at(total, both, _severity(apart[near], two))
        out: NDArray[np.int64] = total.reshape(x.shape[1], y.shape[1])
        for c in ends:
            out += _severities(np.abs(x - (c + shift)), two)[:, None]
        for c in kind.ends:
            out += _severities(np.abs(y - c), two)
        return out

    def _joints(self, kind: Kind) -> NDArray[np.int64]:
        """Return the joints of a kind's layouts, one column each, filled up far to the left."""
        if kind.padded is None or kind.padded[0] != kind.version:
            kind.padded = kind.version, _padded([f.joints for f in kind.pool], -2 * FAR)
        return kind.padded[1]


def _severity(gap: T, two: int) -> T:
    """Return what two joints nearer than asked cost (twice their distance, twice the offset): one broken, and more the nearer."""
    return VIOLATION + VIOLATION // 1000 * ((two - gap) * 1000 // two)


def _severities(gaps: NDArray[np.int64], two: int) -> NDArray[np.int64]:
    """Return for each column what those of its distances cost that are less than asked."""
    near = gaps < two
    if not near.any():
        return np.zeros(gaps.shape[1], np.int64)
    out: NDArray[np.int64] = np.where(near, _severity(gaps, two), 0).sum(axis=0)
    return out


def _tries(windows: tuple[Interval, ...], soft: Sequence[SoftKey], length: Nm, joint: Nm) -> tuple[tuple[Interval, ...], ...]:
    kept = [(lo, hi + joint, yields) for lo, hi, of, yields in soft if of == "joint"]
    before = [(a, b) for a, b, yields in kept if yields <= RANKED]
    after = [(a, b) for a, b, yields in kept if yields > RANKED]
    more = [[*before, *after], before] if after else [before] if before else []
    return (*(moved([*windows, *one], 0, length + joint) for one in more), windows)


def _shrunk(windows: Sequence[Interval], share: int) -> list[Interval]:
    """Return windows about the same middles, so many quarters as wide."""
    return [((a + b) // 2 - (b - a) * share // 8, (a + b) // 2 + (b - a) * share // 8) for a, b in windows]


def _padded(layouts: Sequence[Sequence[int]], fill: int) -> NDArray[np.int64]:
    deep = max(1, max(len(r) for r in layouts))
    return np.array([[*r, *[fill] * (deep - len(r))] for r in layouts], np.int64).T.copy()

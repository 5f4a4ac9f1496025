"""Two neighbouring courses together: the fewest cuts, exactly, by reachable zones.

A state is (a, b): the last piece starts laid in the lower and the upper course.  A *zone* is a set of states given by an interval
for a, for b and for b - a.  Laying a whole unit shifts a zone, laying a cut piece smears it, an offset between joints cuts it in
two; zones stay zones, so the search over cuts is exact on whole nanometres.  The course that is behind moves.

The result is a lower bound for both courses within any stack, since the rest of the stack only adds demands, and its layout is
a candidate that the stack verifies.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Literal

from wallquant.bonding.intervals import FAR, Interval, free, holds, union
from wallquant.bonding.span import Bonded, Span, closed, relaxed
from wallquant.units import Nm

Zone = tuple[Nm, Nm, Nm, Nm, Nm, Nm]
"""Least and most a, least and most b, least and most b - a."""

MOST_NODES = 1_500
"""Give up beyond so many zones; what was proven by then is still a bound."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Half:
    """One of the two courses: its spans, and the open windows where no piece may start (sorted)."""

    spans: tuple[Span, ...]
    windows: tuple[Interval, ...]


@dataclass(frozen=True, kw_only=True, slots=True)
class Pair:
    """Fewest cuts of two courses together, and for each course the interior piece starts of all its spans."""

    cuts: int
    lower: tuple[Nm, ...]
    upper: tuple[Nm, ...]


@dataclass(frozen=True, slots=True)
class _Node:
    zone: Zone
    at: tuple[int, int]
    parent: int
    moved: int
    whole: bool | None
    cuts: int


def tight(a1: Nm, a2: Nm, b1: Nm, b2: Nm, d1: Nm, d2: Nm) -> Zone | None:
    """Return the zone with its bounds made as narrow as they imply, or None where it is empty."""
    d1, d2 = max(d1, b1 - a2), min(d2, b2 - a1)
    a1, a2, b1, b2 = max(a1, b1 - d2), min(a2, b2 - d1), max(b1, a1 + d1), min(b2, a2 + d2)
    if a1 > a2 or b1 > b2 or d1 > d2:
        return None
    return a1, a2, b1, b2, max(d1, b1 - a2), min(d2, b2 - a1)


def suffixes(span: Span, joint: Nm, windows: Sequence[Interval], whole: Interval, cut: Interval, most: int = 40) -> list[list[Interval]]:
    """Return the starts from which a span can be closed with at most 0, 1, 2 ... cuts, up to one cut more than its own least.

    Empty where the span cannot be filled.  `whole` and `cut` are the least and most that a piece with its joint takes up.
    """
    # mirrored: pieces are laid from the end to the start, and the start takes a piece whatever the windows say
    lo, end = span.lo, span.hi + joint
    inner = free(sorted((-b, -a) for a, b in windows), -end, -lo - 1)
    moving = (-FAR, FAR, *whole, -lo, whole[1])

    def landed(moved: Sequence[Interval]) -> list[Interval]:
        return union([*inner.within(moved), *([(-lo, -lo)] if holds(moved, -lo) else [])])

    def cuts_more(starts: Sequence[Interval]) -> list[Interval]:
        # the last piece has no joint after it: it takes up the least joint only
        moved = union([(a + cut[0], whole[0] - 1 - end if a == -end else b + cut[1]) for a, b in starts])
        return union([(-end, -end), *closed(union([*starts[1:], *landed(moved)]), inner, moving)])

    layers = [union([(-end, -end), *closed(landed([(whole[0] - end, whole[0] - end)]), inner, moving)])]
    while not holds(layers[-1], -lo):
        more = cuts_more(layers[-1])
        if len(layers) > most or more == layers[-1]:
            return []
        layers.append(more)
    layers.append(cuts_more(layers[-1]))
    return [[(-b, -a) for a, b in reversed(one)] for one in layers]


class _Search:
    """Best first: cuts laid so far and the fewest that each course by itself still needs."""

    def __init__(self, halves: tuple[Half, Half], how: Bonded, offset: Nm, ranged: bool) -> None:
        self.halves, self.offset = halves, offset
        self.joint = how.joint_least if ranged else how.joint
        self.whole = (how.unit + how.joint_least, how.unit + how.joint_most) if ranged else (how.pitch, how.pitch)
        self.cut = (how.least + self.joint, self.whole[1] - 1)
        self.nodes: list[_Node] = []
        self.seen: dict[tuple[int, int, bool], list[tuple[int, Zone]]] = {}
        windows = [sorted([*halves[i].windows, *self.beside(halves[1 - i])]) for i in (0, 1)]
        self.ahead = [[suffixes(s, self.joint, w, self.whole, self.cut) for s in h.spans] for h, w in zip(halves, windows, strict=True)]
        self.rest: list[list[int]] = []
        for ahead in self.ahead:
            rest = [0]
            for layers in reversed(ahead):
                rest.append(rest[-1] + max(0, len(layers) - 2))
            self.rest.append(rest[::-1])
        self.layers = [[[([a for a, _ in x], [b for _, b in x]) for x in layers] for layers in ahead] for ahead in self.ahead]
        self.free = [free(w, h.spans[0].lo, h.spans[-1].hi + self.joint) for h, w in zip(halves, windows, strict=True)]
        self.proven = 0

    def beside(self, half: Half) -> list[Interval]:
        """Return the windows that the lapped ends of one course put on the other: a zone knows only where a course stands last."""
        ends = [y for s in half.spans for y, on in ((s.lo, s.lapped_lo), (s.hi + self.joint, s.lapped_hi)) if on]
        return [(y - self.offset, y + self.offset) for y in ends] if self.offset > 0 else []

    def needs(self, zone: Zone, at: tuple[int, int]) -> int:
        """Return a lower bound for the cuts still to come."""
        total = 0
        for i in (0, 1):
            k, odd = divmod(at[i], 2)
            total += self.rest[i][k + 1]
            if not odd:
                lo, hi, layers = zone[2 * i], zone[2 * i + 1], self.layers[i][k]
                for firsts, lasts in layers:
                    n = bisect_left(lasts, lo)
                    if n < len(lasts) and firsts[n] <= hi:
                        break
                    total += 1
        return total

    def edges(self, i: int, k: int) -> tuple[Nm, Nm]:
        span = self.halves[i].spans[k]
        return span.lo, span.hi + self.joint

    def stands(self, i: int, at: int, zone: Zone) -> Literal["joint", "end", "jamb"]:
        """Say where course i stands: at a joint within a span, at an end that is a joint, or at one that is none."""
        span = self.halves[i].spans[at // 2]
        if at % 2:
            return "end" if span.lapped_hi else "jamb"
        if zone[2 * i] == zone[2 * i + 1] == span.lo:
            return "end" if span.lapped_lo else "jamb"
        return "joint"

    def add(self, node: _Node) -> int | None:
        """Keep a zone unless an earlier one with no more cuts holds it all; return its number."""
        zone = node.zone
        known = self.seen.setdefault((*node.at, zone[4] >= 0), [])
        for cuts, y in known:
            if (
                cuts <= node.cuts
                and y[0] <= zone[0]
                and zone[1] <= y[1]
                and y[2] <= zone[2]
                and zone[3] <= y[3]
                and y[4] <= zone[4]
                and zone[5] <= y[5]
            ):
                return None
        known.append((node.cuts, zone))
        self.nodes.append(node)
        return len(self.nodes) - 1

    def placed(self, zone: Zone, i: int, lo: Nm, hi: Nm, apart: bool) -> Iterator[Zone]:
        """Narrow the moved course to [lo, hi]; where both places are joints, split by the offset."""
        narrowed = (lo, hi, *zone[2:]) if i == 0 else (*zone[:2], lo, hi, *zone[4:])
        a1, a2, b1, b2, d1, d2 = narrowed
        if not apart or self.offset <= 0:
            choices = [(d1, min(d2, -1)), (max(d1, 0), d2)]
        else:
            choices = [(max(d1, self.offset), d2), (d1, min(d2, -self.offset))]
        for p, q in choices:
            if (one := tight(a1, a2, b1, b2, p, q)) is not None:
                yield one

    def moves(self, n: int) -> Iterator[tuple[Zone, tuple[int, int], int, bool | None]]:
        """Yield (zone, place, course moved, whole unit or cut or None for a jump over an opening)."""
        node = self.nodes[n]
        zone, at = node.zone, node.at
        last = tuple(2 * len(h.spans) - 1 for h in self.halves)
        done = (at[0] == last[0], at[1] == last[1])
        i = 0 if not done[0] and (done[1] or zone[4] >= 0) else 1
        other, here = self.stands(1 - i, at[1 - i], zone), at[i]
        # an end on an end cannot be helped here
        on_joint, on_any = other == "joint", other != "jamb"

        def place(k: int) -> tuple[int, int]:
            return (k, at[1]) if i == 0 else (at[0], k)

        if here % 2:
            x, span = self.edges(i, here // 2 + 1)[0], self.halves[i].spans[here // 2 + 1]
            moved = (x, x, zone[2], zone[3], zone[2] - x, zone[3] - x) if i == 0 else (zone[0], zone[1], x, x, x - zone[1], x - zone[0])
            for one in self.placed(moved, i, x, x, on_joint and span.lapped_lo):
                yield one, place(here + 1), i, None
            return
        end, span = self.edges(i, here // 2)[1], self.halves[i].spans[here // 2]
        for (short, long), whole in ((self.whole, True), (self.cut, False)):
            moved = _moved(zone, i, short, long)
            lo, hi = moved[2 * i], moved[2 * i + 1]
            top = min(hi, end - self.cut[0])
            if lo <= top:
                for p, q in self.free[i].within([(lo, top)]):
                    for one in self.placed(moved, i, p, q, on_any):
                        yield one, place(here), i, whole
            # the last piece has no joint after it: `end` is its end and the least joint
            most = self.whole[0] - (not whole)
            if lo <= end <= zone[2 * i + 1] + most:
                for one in self.placed(_moved(zone, i, short, most), i, end, end, on_joint and span.lapped_hi):
                    yield one, place(here + 1), i, whole

    def run(self, limit: int) -> int | None:
        """Return the number of the last zone with the fewest cuts, or None; `proven` is then what the search has proven."""
        if not all(layers for ahead in self.ahead for layers in ahead):
            return None
        a, b = self.edges(0, 0)[0], self.edges(1, 0)[0]
        first = self.add(_Node((a, a, b, b, b - a, b - a), (0, 0), -1, 0, None, 0))
        assert first is not None
        last = (2 * len(self.halves[0].spans) - 1, 2 * len(self.halves[1].spans) - 1)
        self.proven = self.needs(self.nodes[0].zone, (0, 0))
        waiting: dict[int, list[_Node]] = {}
        queue = [first]
        while True:
            while queue:
                n = queue.pop()
                if self.nodes[n].at == last:
                    return n
                cuts = self.nodes[n].cuts
                for zone, at, i, whole in self.moves(n):
                    node = _Node(zone, at, n, i, whole, cuts + (whole is False))
                    total = node.cuts + self.needs(zone, at)
                    if total > self.proven:
                        waiting.setdefault(total, []).append(node)
                    elif (k := self.add(node)) is not None:
                        queue.append(k)
                if len(self.nodes) > limit:
                    return None
            if not waiting:
                return None
            self.proven = min(waiting)
            found = (self.add(node) for node in waiting.pop(self.proven))
            queue = [k for k in found if k is not None]

    def trace(self, n: int) -> tuple[tuple[Nm, ...], tuple[Nm, ...]]:
        """Walk back from the last zone and choose one state in each; whole units keep the nominal joint where they can."""
        v = [self.nodes[n].zone[0], self.nodes[n].zone[2]]
        starts: tuple[list[Nm], list[Nm]] = ([], [])
        while self.nodes[n].parent >= 0:
            node = self.nodes[n]
            before = self.nodes[node.parent]
            i = node.moved
            if node.whole is None:
                v[i] = self.edges(i, before.at[i] // 2)[1]
            else:
                short, long = self.whole if node.whole else self.cut
                z = before.zone
                lo, hi = max(v[i] - long, z[2 * i]), min(v[i] - short, z[2 * i + 1])
                lo, hi = (max(lo, v[1] - z[5]), min(hi, v[1] - z[4])) if i == 0 else (max(lo, v[0] + z[4]), min(hi, v[0] + z[5]))
                v[i] = lo
                if v[i] != self.edges(i, before.at[i] // 2)[0]:
                    starts[i].append(v[i])
            n = node.parent
        return tuple(sorted(starts[0])), tuple(sorted(starts[1]))


def _moved(zone: Zone, i: int, short: Nm, long: Nm) -> Zone:
    """Move course i of a zone by at least and at most so much."""
    a1, a2, b1, b2, d1, d2 = zone
    return (a1 + short, a2 + long, b1, b2, d1 - long, d2 - short) if i == 0 else (a1, a2, b1 + short, b2 + long, d1 + short, d2 + long)


def two(lower: Half, upper: Half, how: Bonded, offset: Nm, limit: int = MOST_NODES) -> Pair | None:
    """Return the fewest cuts of two courses that lie on each other with nominal joints, or None (impossible, or given up)."""
    every = (*lower.spans, *upper.spans)
    if not lower.spans or not upper.spans or any(s.raked or (s.askew and s.hi - s.lo >= how.unit) for s in every):
        return None
    search = _Search((lower, upper), how, offset, ranged=False)
    found = search.run(limit)
    if found is None:
        return None
    a, b = search.trace(found)
    return Pair(cuts=search.nodes[found].cuts, lower=a, upper=b)


def least_two(lower: Half, upper: Half, how: Bonded, offset: Nm, limit: int = MOST_NODES) -> int:
    """Return a lower bound for the cuts of two courses with joints anywhere in their range (0 where they cannot be filled).

    `offset` and windows are those of nominal joints; they are relaxed by what a joint's range can move its centre and edges.
    """
    if not lower.spans or not upper.spans or any(s.raked for s in (*lower.spans, *upper.spans)):
        return 0
    wide = how.joint_most - how.joint_least
    halves = [Half(spans=h.spans, windows=relaxed(h.windows, how)) for h in (lower, upper)]
    search = _Search((halves[0], halves[1]), how, offset - (wide + 1) // 2, ranged=wide > 0)
    search.run(limit)
    return search.proven

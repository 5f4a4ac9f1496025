"""A proven lower bound for the cut pieces of a run: the least of each span by itself, and what exact searches prove beyond that.

A *star* is a few spans of two neighbouring courses that overlap.  An exact search (see `wallquant.bonding.pair`) may prove that
they need more cuts by length together than each by itself: its *gain*.  Stars that share no span add up.

A piece of a ripped span is cut whatever its length, so that span has as many cut pieces as pieces; a piece that is cut both in
length and in height counts once.  `Proof.bound` says why its sum never exceeds what can be laid.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from itertools import pairwise

from wallquant.bonding.fills import Fill, moved
from wallquant.bonding.intervals import Interval
from wallquant.bonding.nodes import Net
from wallquant.bonding.pair import Half, Pair, least_two, two
from wallquant.bonding.span import Span, fewest_pieces
from wallquant.units import Nm

Star = tuple[tuple[int, ...], tuple[int, ...]]
"""Spans of the lower and of the upper course."""

WHOLE = 8
"""Overlapping spans of two courses are searched together up to so many, beyond that each span with those that overlap it."""
PACKED = 14
"""Up to so many stars that share spans the best choice is found exactly."""


class Proof:
    """What is proven of a run so far."""

    def __init__(self, net: Net) -> None:
        self.net = net
        self.least = {n.number: n.kind.least for n in net.nodes}
        self.gains: dict[Star, int] = {}
        self.packed: list[tuple[Star, int]] = []

    def bound(self) -> int:
        """Return the least number of cut pieces, cut in length, by a rake or in height, that any layout of the run can have.

        *Proof.*  Let a layout keep the hard windows, the offsets and the joints' range.  Write c(s) for its pieces of span s that
        are cut by length or rake, n(s) for all its pieces there, and x(s) for those that are cut in any way: x(s) = n(s) where s
        is ripped, else c(s).  Always c(s) >= l(s), the least of the span by itself, and n(s) >= m(s), its fewest pieces; and since
        each piece cut by length is a piece, n(s) >= c(s).  So x(s) >= f(s), with f(s) = max(l(s), m(s)) where s is ripped, else
        l(s), and x(s) >= c(s) in any case.  A star S with gain g is proven to have sum c(s) >= sum l(s) + g over its spans, so
        sum x(s) over S is at least sum f(s) and at least sum l(s) + g: its gain beyond f is g - sum (f(s) - l(s)), where that is
        positive.  Stars that share no span are disjoint sums, and a span in no star has at least f(s); together they are the bound.
        """
        return sum(self.floors().values()) + sum(g for _, g in self.beyond())

    def floors(self) -> dict[int, int]:
        """Return f(s) of each span."""
        how, least = self.net.how, self.least
        return {n.number: max(least[n.number], fewest_pieces(n.span, how)) if n.span.ripped else least[n.number] for n in self.net.nodes}

    def beyond(self) -> list[tuple[Star, int]]:
        """Return stars that share no span, with what each gains beyond f."""
        more = {u: f - self.least[u] for u, f in self.floors().items() if f > self.least[u]}
        if not more:
            return self.packed
        beyond = {s: g - sum(more.get(u, 0) for course in s for u in course) for s, g in self.gains.items()}
        return packed({s: g for s, g in beyond.items() if g > 0})

    def excess(self, cuts: Mapping[int, int]) -> set[int]:
        """Return the nodes with more cuts than their least, less those that a gain explains."""
        over = {u: c - self.least[u] for u, c in cuts.items() if c > self.least[u]}
        for (lower, upper), gain in self.packed:
            for u in sorted((*lower, *upper)):
                used = min(gain, over.get(u, 0))
                if used:
                    gain -= used
                    over[u] -= used
        return {u for u, c in over.items() if c > 0}

    def pairs(self, stars: Sequence[Star]) -> None:
        """Search stars exactly: put their layouts into the pools, and count their gains."""
        for star in stars:
            if star not in self.gains:
                self.gains[star] = self.search(star)
        self.packed = packed({s: g for s, g in self.gains.items() if g > 0})

    def stars(self, region: Sequence[int]) -> list[Star]:
        """Return connected spans of two neighbouring courses, within a region."""
        inside, net = set(region), self.net
        out: dict[Star, None] = {}
        for row in sorted({net.nodes[u].row for u in region}):
            left = [u for u in net.of_row[row] if u in inside]
            while left:
                lower: list[int] = [left[0]]
                upper: list[int] = []
                edge = [left[0]]
                while edge:
                    node = net.nodes[edge.pop()]
                    for v, _ in node.above if node.row == row else node.below:
                        if v in inside and v not in lower and v not in upper:
                            (lower if net.nodes[v].row == row else upper).append(v)
                            edge.append(v)
                left = [u for u in left if u not in lower]
                if not upper:
                    continue
                if len(lower) + len(upper) <= WHOLE:
                    out[tuple(sorted(lower)), tuple(sorted(upper))] = None
                    continue
                for u in sorted(lower):
                    out[(u,), tuple(v for v, _ in net.nodes[u].above if v in inside)] = None
                for u in sorted(upper):
                    out[tuple(v for v, _ in net.nodes[u].below if v in inside), (u,)] = None
        return [s for s in out if s[0] and s[1] and self.orderly(s[0]) and self.orderly(s[1])]

    def orderly(self, course: Sequence[int]) -> bool:
        spans = [self.net.nodes[u].span for u in course]
        return all(a.hi < b.lo for a, b in pairwise(spans))

    def search(self, star: Star) -> int:
        """Return the gain of a star, and put its best layouts into the pools."""
        how = self.net.how
        lower, upper, offset = self.halves(star, {})
        alone = sum(self.least[u] for course in star for u in course)
        exact = self.exact(star, lower, upper, offset)
        if exact is not None and (exact.cuts <= alone or how.joint_least == how.joint_most):
            return exact.cuts - alone
        key = (lower, upper, offset)
        bounds = self.net.fills.bounds
        if key not in bounds:
            bounds[key] = least_two(lower, upper, how, offset)
        return max(0, bounds[key] - alone)

    def fitted(self, star: Star, picks: Mapping[int, Fill], *, below: bool, above: bool) -> dict[int, Fill]:
        """Return the best layouts of a star between what lies below and above it, none where there are none."""
        net = self.net
        near: dict[int, list[Interval]] = {}
        for u in star[0] if below else ():
            near[u] = [w for v, off in net.nodes[u].below for w in net.near(u, v, off, picks[v])]
        for u in star[1] if above else ():
            near[u] = [w for v, off in net.nodes[u].above for w in net.near(u, v, off, picks[v])]
        lower, upper, offset = self.halves(star, near)
        self.exact(star, lower, upper, offset)
        return dict(self.laid(star, lower, upper, self.net.fills.pairs[lower, upper, offset]))

    def exact(self, star: Star, lower: Half, upper: Half, offset: Nm) -> Pair | None:
        """Search a star with nominal joints, and put what is found into the pools."""
        net = self.net
        key = (lower, upper, offset)
        found = net.fills.pairs
        if key not in found:
            found[key] = two(lower, upper, net.how, offset)
        for u, fill in self.laid(star, lower, upper, found[key]):
            net.keep(net.nodes[u].kind, [fill])
        return found[key]

    def laid(self, star: Star, lower: Half, upper: Half, found: Pair | None) -> Iterator[tuple[int, Fill]]:
        """Yield each span of a star with its layout."""
        if found is not None:
            for course, half, starts in zip(star, (lower, upper), (found.lower, found.upper), strict=True):
                for u, span in zip(course, half.spans, strict=True):
                    inner = [y - span.lo for y in starts if span.lo < y <= span.hi]
                    yield u, self.net.fills.of_starts(self.net.nodes[u].kind.shape, inner)

    def halves(self, star: Star, near: Mapping[int, Sequence[Interval]]) -> tuple[Half, Half, Nm]:
        """Return the two courses of a star, from the start of its first span, with more windows for some spans; and the offset."""
        net = self.net
        origin = net.nodes[star[0][0]].span.lo
        out: list[Half] = []
        for course in star:
            spans: list[Span] = []
            windows: list[Interval] = []
            for u in course:
                node = net.nodes[u]
                lo, hi = node.span.lo - origin, node.span.hi - origin
                full_lo, full_hi = node.span.full_lo - origin, node.span.full_hi - origin
                spans.append(replace(node.span, lo=lo, hi=hi, bottom=0, top=0, full_lo=full_lo, full_hi=full_hi))
                end = node.kind.shape[0] + net.how.joint
                own = moved([*node.kind.windows, *near[u]], 0, end) if u in near else node.kind.windows
                windows += [(max(a, -1) + lo, min(b, end) + lo) for a, b in own]
            out.append(Half(spans=tuple(spans), windows=tuple(sorted(windows))))
        return out[0], out[1], net.rows[net.nodes[star[1][0]].row].offset


def packed(gains: Mapping[Star, int]) -> list[tuple[Star, int]]:
    """Return stars that share no span with as much gain together as can be found; exact up to `PACKED` that hang together."""
    left = sorted(gains)
    spans = {s: {*s[0], *s[1]} for s in left}
    out: list[tuple[Star, int]] = []
    while left:
        group, edge = [left[0]], [left[0]]
        while edge:
            one = edge.pop()
            for other in left:
                if other not in group and spans[one] & spans[other]:
                    group.append(other)
                    edge.append(other)
        left = [s for s in left if s not in group]
        group.sort(key=lambda s: (-gains[s], s))
        chosen = _best(group, gains, spans) if len(group) <= PACKED else _greedy(group, spans)
        out += [(s, gains[s]) for s in chosen]
    return sorted(out)


def _greedy(group: Sequence[Star], spans: Mapping[Star, set[int]]) -> list[Star]:
    used: set[int] = set()
    out = []
    for s in group:
        if not spans[s] & used:
            out.append(s)
            used |= spans[s]
    return out


def _best(group: Sequence[Star], gains: Mapping[Star, int], spans: Mapping[Star, set[int]]) -> list[Star]:
    if not group:
        return []
    first, rest = group[0], group[1:]
    with_it = [first, *_best([s for s in rest if not spans[s] & spans[first]], gains, spans)]
    if not any(spans[s] & spans[first] for s in rest):
        return with_it
    without = _best(rest, gains, spans)
    return with_it if sum(gains[s] for s in with_it) >= sum(gains[s] for s in without) else without

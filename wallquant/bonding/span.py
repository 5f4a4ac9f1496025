"""One span of one course: where its head joints can lie, exactly, by unions of intervals.

A *span* is a stretch of a course that is filled with pieces from `lo` to `hi`.  Positions here are *piece starts* y: the first
is `lo`, and `hi` + joint stands for the end.  A whole unit moves y by its length and a joint; a cut piece by anything from the
least piece to a unit, and a joint.  The positions reachable with q cuts are a union of closed intervals, so the search is exact
in whole nanometres and needs no grid.  Lengths are nanometres.

Where the top of the span is raked, pieces that reach beyond [`full_lo`, `full_hi`] are cut whatever their length.
"""

from __future__ import annotations

from bisect import bisect_left, insort
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from wallquant.bonding.intervals import FAR, Free, Interval, free, holds, union
from wallquant.graph.planes import least_askew
from wallquant.units import Nm

MOST_CUTS = 40
"""More cuts than this in one span are no bond; the span is then said to be impossible."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Span:
    """A stretch of one course to be filled.

    `lapped_lo`, `lapped_hi`: is that end a head joint from which the courses below and above must stand off (a butt, the end of
    a lintel), and not a jamb or a free end?  `bottom`, `top`: its levels; `full_lo`, `full_hi`: between them it has its full height.
    `ripped`: is it of another height than its unit, so that each of its pieces is cut, whatever its length?
    """

    lo: Nm
    hi: Nm
    bottom: Nm
    top: Nm
    lapped_lo: bool = False
    lapped_hi: bool = False
    full_lo: Nm
    full_hi: Nm
    ripped: bool = False
    lean_lo: Nm = 0
    lean_hi: Nm = 0
    """How far an end that is cut askew in plan reaches beyond its place on the centre line."""
    bent_lo: Nm = 0
    bent_hi: Nm = 0
    """Least length of a piece under the rake at an end, where the rake bends inwards (`wallquant.bonding.cells.bent`)."""

    @property
    def raked(self) -> bool:
        return self.full_lo > self.lo or self.full_hi < self.hi

    @property
    def askew(self) -> bool:
        return bool(self.lean_lo or self.lean_hi)

    @property
    def whole(self) -> tuple[Nm, Nm]:
        """Between which stations a unit is not cut."""
        return max(self.full_lo, self.lo + bool(self.lean_lo)), min(self.full_hi, self.hi - bool(self.lean_hi))

    @property
    def mean(self) -> tuple[Nm, Nm]:
        """Where it starts and ends on the centre line."""
        return self.lo + self.lean_lo, self.hi - self.lean_hi


@dataclass(frozen=True, kw_only=True, slots=True)
class Bonded:
    """Lengths that a span is filled with: unit, head joint, least piece (all actual)."""

    unit: Nm
    joint: Nm
    least: Nm
    joint_least: Nm
    joint_most: Nm

    @property
    def pitch(self) -> Nm:
        return self.unit + self.joint


@dataclass(frozen=True, slots=True)
class Reach:
    """Result of `reach`: fewest cuts, and the reachable starts for each number of cuts up to it."""

    cuts: int
    layers: tuple[tuple[Interval, ...], ...]


def fewest_pieces(span: Span, how: Bonded) -> int:
    """Return the least number of pieces that any layout of a span has.

    A piece is at most a unit long and a head joint at most `joint_most` wide, so n pieces reach over n units and n - 1 joints at
    most; the least n that reaches over the span is a lower bound whatever the windows, the rake and the joints are.
    """
    return max(1, -(-(span.hi - span.lo + how.joint_most) // (how.unit + how.joint_most)))


def relaxed(windows: Sequence[Interval], how: Bonded) -> tuple[Interval, ...]:
    """Return windows of piece starts that hold for a joint of any width in its range, where they were made for the nominal one."""
    right, left = how.joint - how.joint_least, (how.joint_most - how.joint + 1) // 2
    return tuple((a + left, b - right) for a, b in windows if b - right > a + left) if right or left else tuple(windows)


def _rake_least(least: Nm, rake: Nm) -> Nm:
    """Least length of a piece under a rake of that run-out, so that its mean length is at least the least piece."""
    return least if rake <= 0 else 2 * least if 2 * least <= rake else least + -(-rake // 2)


def _end_leasts(span: Span, how: Bonded) -> tuple[Nm, Nm, Nm]:
    """Return the least lengths of a first, a last and an only piece, over all."""
    first = max(_rake_least(how.least, span.full_lo - span.lo), span.bent_lo)
    last = max(_rake_least(how.least, span.hi - span.full_hi), span.bent_hi)
    first = max(first + span.lean_lo, least_askew(how.least, span.lean_lo))
    last = max(last + span.lean_hi, least_askew(how.least, span.lean_hi))
    return first, last, max(first, last, least_askew(how.least, span.lean_lo + span.lean_hi))


def reach(
    span: Span, how: Bonded, windows: Sequence[Interval], most: int = MOST_CUTS, *, ranged: bool = False, extra: int = 0
) -> Reach | None:
    """Find the fewest cuts of a span, or None where it cannot be filled.

    With `ranged`, joints may take any width of their range: the cuts are then a lower bound, and no layout is made of it.

    Parameters
    ----------
    span : Span
    how : Bonded
    windows : sequence of (lo, hi)
        Open intervals in which no piece may start (a head joint from x to x + joint starts a piece at x + joint), sorted.
    most : int
        Give up beyond so many cuts.
    extra : int
        Lay so many cuts more than the fewest.
    """
    joint = how.joint_least if ranged else how.joint
    end, shortest, pitch = span.hi + joint, how.unit + joint, how.unit + (how.joint_most if ranged else joint)
    first, last, only = _end_leasts(span, how)
    near = end - joint - last  # the last piece starts at or before this
    if span.hi - span.lo < min(first, how.least):
        return None
    full_lo, full_hi = span.whole[0], span.whole[1] + joint
    inner = free(windows, span.lo + 1, end - 1)

    whole = (full_lo, full_hi, shortest, pitch, end, shortest)
    # the last piece has no joint after it: `end` is its end and the least joint
    layers = [closed([(span.lo, span.lo)], inner, whole)]
    while extra > 0 or not holds(layers[-1], end):
        if len(layers) > most:
            return None
        if holds(layers[-1], end):
            extra -= 1
        starts: list[Interval] = []
        ends = False
        for a, b in layers[-1]:
            if a >= end:
                continue
            for p, q, least in _sorted_starts(a, min(b, end - 1), span, how, first):
                if q + shortest >= end and p <= near:
                    ends = ends or _ends(p, q, end, near, least, shortest, joint, only if p == span.lo else last)
                if p + least + joint < end:
                    starts.append((p + least + joint, min(q + pitch, end - 1, full_hi)))
                if full_hi < end - 1:  # it ends under the rake, and is not the last
                    starts.append((max(full_hi + 1, p + max(least, 2 * how.least, span.bent_hi) + joint), min(q + pitch, end - 1)))
        new = inner.within(union([s for s in starts if s[0] <= s[1]]))
        if ends:
            new.append((end, end))
            new = union(new)
        if not new:
            return None
        layers.append(closed(new, inner, whole))
    if not holds(layers[-1], end):
        return None
    return Reach(cuts=len(layers) - 1, layers=tuple(tuple(one) for one in layers))


def closed(starts: Sequence[Interval], inner: Free, whole: tuple[Nm, Nm, Nm, Nm, Nm, Nm]) -> list[Interval]:
    """Return the starts that whole units reach from some starts (a sorted disjoint union), these included.

    `whole`: from where to where a whole unit is no cut one, the least and most that it takes up, the end of the span, and the most
    that the unit at that end takes up.  A unit only moves to the right, so one pass from the left is enough: what moved waits in a
    queue that is sorted by itself.
    """
    full_lo, full_hi, short, long, end, closing = whole
    first, last = inner.first, inner.last
    count, known = len(first), len(starts)
    out: list[Interval] = []
    queue: list[Interval] = []
    i = j = k = 0  # next start, next in the queue, free stretch of the last move
    low, high = 0, -FAR  # the stretch that grows at the end of `out`
    ended = False
    while i < known or j < len(queue):
        if j >= len(queue) or (i < known and starts[i] <= queue[j]):
            a, b = starts[i]
            i += 1
        else:
            a, b = queue[j]
            j += 1
        while True:  # with all that touches it
            if i < known and starts[i][0] <= b + 1:
                if starts[i][1] > b:
                    b = starts[i][1]
                i += 1
            elif j < len(queue) and queue[j][0] <= b + 1:
                if queue[j][1] > b:
                    b = queue[j][1]
                j += 1
            else:
                break
        if a > high + 1:
            if high > -FAR:
                out.append((low, high))
            low, high = a, b
        elif b > high:
            a, high = max(a, high + 1), b
        else:
            continue
        if b < full_lo:
            continue
        p, q = (a if a > full_lo else full_lo) + short, b + long
        if q > full_hi:
            q = full_hi
        if p > q:
            continue
        if p <= end <= min(q, b + closing):
            ended = True
        while k < count and last[k] < p:
            k += 1
        m = k
        while m < count and first[m] <= q:
            x, y = first[m], last[m]
            one = (x if x > p else p, y if y < q else q)
            if queue and queue[-1] > one:  # joints of a range: what moved before may lie further to the right
                insort(queue, one, lo=j)
            else:
                queue.append(one)
            m += 1
    if high > -FAR:
        out.append((low, high))
    if ended and (not out or out[-1][1] < end):
        out = union([*out, (end, end)])
    return out


def _ends(p: Nm, q: Nm, end: Nm, near: Nm, least: Nm, pitch: Nm, joint: Nm, last: Nm) -> bool:
    """Say whether one cut piece from some start in [p, q] closes the span."""
    lo, hi = max(p, end - pitch), min(q, end - joint - max(last, least))
    return lo <= hi


def _sorted_starts(a: Nm, b: Nm, span: Span, how: Bonded, first: Nm) -> Iterator[tuple[Nm, Nm, Nm]]:
    """Split starts by the least length that a cut piece from there must have."""
    if a <= span.lo <= b:
        yield span.lo, span.lo, first
        a = span.lo + 1
    if span.full_lo > span.lo and a < span.full_lo and a <= b:
        yield a, min(b, span.full_lo - 1), max(2 * how.least, span.bent_lo)
        a = max(a, span.full_lo)
    if a <= b:
        yield a, b, how.least


def layouts(span: Span, how: Bonded, found: Reach, limit: int) -> list[tuple[Nm, ...]]:
    """Return up to `limit` different layouts with the fewest cuts, each the interior piece starts from left to right.

    The walk goes back from the end; at each start it tries a whole unit and a cut piece, as long and as short as it can be,
    so the cut is found in every place that it can have.
    """
    end, pitch, joint = span.hi + how.joint, how.pitch, how.joint
    first, last, only = _end_leasts(span, how)
    full_lo, full_hi = span.whole
    out: dict[tuple[Nm, ...], None] = {}
    first_of = [[a for a, _ in layer] for layer in found.layers]
    last_of = [[b for _, b in layer] for layer in found.layers]
    stack: list[tuple[Nm, int, tuple[Nm, ...]]] = [(end, found.cuts, ())]
    budget = 40 * limit + 400
    while stack and len(out) < limit and budget:
        budget -= 1
        y, q, tail = stack.pop()
        if y == span.lo:
            if q == 0:
                out[tail] = None
            continue
        here = () if y == end else (y,)
        options: set[tuple[Nm, int]] = set()
        back = y - pitch
        if q:
            los, his = first_of[q - 1], last_of[q - 1]
            k = bisect_left(his, back)
            while k < len(los) and los[k] <= y - joint:
                for lo, hi, least in _sorted_starts(los[k], his[k], span, how, first):
                    under = max(2 * how.least, span.bent_hi) if y - joint > span.full_hi else 0
                    most = (only if lo == span.lo else last) if y == end else under
                    p, r = max(lo, back), min(hi, y - joint - max(least, most))
                    if p <= r:
                        options |= {
                            (x, q - 1)
                            for x in (p, r, min(max(p, (span.lo + y) // 2), r))
                            if x != back or x < full_lo or y - joint > full_hi  # a whole length is cut there by the rake only
                        }
                k += 1
        if back >= full_lo and y - joint <= full_hi:
            k = bisect_left(last_of[q], back)
            if k < len(last_of[q]) and first_of[q][k] <= back:
                options.add((back, q))
        for x, rest in sorted(options):
            stack.append((x, rest, (*here, *tail)))
    return list(out)

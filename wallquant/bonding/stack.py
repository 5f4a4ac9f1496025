"""A whole run: all its courses together.  `Solver.stack` is the door to `settling`, `proving` and their rooms."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from itertools import pairwise

from wallquant.bonding.fills import RANKED, Fill, Fills, moved, shape_of
from wallquant.bonding.intervals import Interval
from wallquant.bonding.nodes import Net, Row, Soft
from wallquant.bonding.proving import Proof
from wallquant.bonding.settling import SMALL, Settling
from wallquant.bonding.span import Bonded, Span
from wallquant.units import Nm

__all__ = ["Layout", "Row", "Soft", "Solver", "Stack"]

Layout = tuple[tuple[Nm, Nm], ...]
"""Pieces of one course, (start, end), from left to right."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Stack:
    """What was found: a layout a course, the cut pieces (in length, by a rake, in height), their proven lower bound, and how often
    an offset or hard window gave way.

    The bound holds for layouts in which none gives way, and which keep the windows that rank before cuts as far as these do; where
    an offset or a hard window gives way, fewer cuts may be laid, and the bound is then these.
    """

    layouts: tuple[Layout, ...]
    cuts: int
    bound: int
    violations: int


@dataclass
class Solver:
    """Solves runs, each distinct problem once.  One solver serves one plan."""

    how: Bonded
    fills: Fills = field(init=False)
    solved: dict[tuple[Row, ...], Stack] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self.fills = Fills(self.how)

    def stack(self, rows: Sequence[Row]) -> Stack:
        """Return the layouts of all courses of a run, from the bottom up."""
        key = tuple(rows)
        if key not in self.solved:
            self.solved[key] = self._stack(key)
        return self.solved[key]

    def _stack(self, rows: tuple[Row, ...]) -> Stack:
        settling = Settling(self.fills, rows)
        chosen, net, proof = settling.settle(), settling.net, settling.proof
        # a window gave way: short runs are tried again as if none could; long ones would take too long
        if len(net.nodes) <= SMALL and _kept(net, chosen) != _kept(net):
            other = Settling(self.fills, _kept(net)).settle()
            if net.total(other) < net.total(chosen):
                chosen = other
        layouts = []
        for numbers in net.of_row:
            pieces = [(a + net.nodes[u].span.lo, b + net.nodes[u].span.lo) for u in numbers for a, b in chosen[u].pieces]
            layouts.append(tuple(pieces))
        cuts = sum(len(f.pieces) if n.span.ripped else f.cuts for n, f in zip(net.nodes, chosen, strict=True))
        kept = _kept(net, chosen)
        if proof.bound() < cuts and kept != rows:
            closer = Proof(Net(self.fills, kept))
            over = closer.excess({n.number: f.cuts for n, f in zip(net.nodes, chosen, strict=True)})
            closer.pairs([s for s in closer.stars(range(len(net.nodes))) if over & {*s[0], *s[1]}])
            proof = max(proof, closer, key=Proof.bound)
        return Stack(
            layouts=tuple(layouts),
            cuts=cuts,
            bound=min(proof.bound(), cuts),
            violations=_broken(net, chosen),
        )

    def fewest(self, span: Span, windows: Sequence[Interval]) -> int | None:
        """Return the fewest cuts of one span by itself, or None where it cannot be filled with the windows kept."""
        return self.fills.fewest(shape_of(span), moved(windows, span.lo, span.hi + self.how.joint) if windows else ())


def _kept(net: Net, chosen: Sequence[Fill] = ()) -> tuple[Row, ...]:
    """Return the rows in which windows for joints that rank before cuts never give way: all, or those that these layouts keep."""
    joint = net.how.joint
    out = []
    for row, numbers in zip(net.rows, net.of_row, strict=True):
        joints = []
        for span, fill in [(net.nodes[u].span, chosen[u]) for u in numbers] if chosen else []:
            joints += [(e + span.lo, s + span.lo) for (_, e), (s, _) in pairwise(fill.pieces)]
        hard = [w for w in row.soft if w.of == "joint" and w.yields <= RANKED and not any(s > w.lo and e < w.hi for e, s in joints)]
        windows = {*row.windows, *((w.lo, w.hi + joint) for w in hard)}
        out.append(replace(row, windows=tuple(sorted(windows)), soft=tuple(w for w in row.soft if w not in hard)) if hard else row)
    return tuple(out)


def _broken(net: Net, chosen: Sequence[Fill]) -> int:
    """Return how many joints stand nearer to one below than asked, and how many lie in hard windows.

    Ends on ends are none of these: who passes at a corner is settled before the joints.
    """
    joint = net.how.joint
    total = 0
    for node, fill in zip(net.nodes, chosen, strict=True):
        for (_, e), (s, _) in zip(fill.pieces, fill.pieces[1:], strict=False):
            total += sum(s > lo and e < hi - joint for lo, hi in node.kind.hard)
        for v, off in node.below:
            other = net.nodes[v]
            one, two = ([c + 2 * n.span.lo for c in f.joints] for n, f in ((node, fill), (other, chosen[v])))
            mine, its = ([c + 2 * n.span.lo for c in n.kind.ends] for n in (node, other))
            total += sum(abs(x - y) < 2 * off for x in one for y in (*two, *its)) + sum(abs(x - y) < 2 * off for x in mine for y in two)
    return total

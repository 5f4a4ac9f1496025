"""Lintels that nobody stocks, where virtual units are allowed: one is made to measure where no stock lintel can lie.

It is as long as the opening and its bearings need, and where the wall ends beside the opening it bears on what there is, never on less
than the rule's least.  Where the wall ends less than a course above the head it is as high as there is room.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from itertools import groupby, product
from typing import Protocol

from wallquant.layout import Courses, Run, RunOpening
from wallquant.units import INCH, MM, Nm
from wallquant_thinbed import lintels
from wallquant_thinbed.lintels import Bridging, Place

SIDES = 3
"""So many ends are tried on each side, the nearest to the jamb first."""


class Asked(lintels.Asked, Protocol):
    """The parameters of the rule that this module reads."""

    @property
    def assumed_width(self) -> Nm: ...
    @property
    def assumed_height(self) -> Nm: ...


def bridgings(run: Run, courses: Courses, asked: Asked) -> tuple[Bridging, ...]:
    """Return the bridgings of a run, by station: with stock lintels, and where these fail and the catalogue allows it with assumed ones."""
    found = lintels.bridgings(run, courses, asked)
    if not run.catalogue.to_measure or not any(one.problem for one in found):
        return found
    wide = [o for one in found if not one.small for o in one.openings]
    out = [one for one in found if not one.problem]
    for _, level in groupby(sorted((b for b in found if b.problem), key=lambda b: (b.head, b.start)), key=lambda b: b.head):
        chain: list[Bridging] = []
        for one in level:
            if chain and not lintels.near_by(run, chain[-1].openings[-1], one.openings[0], asked):
                out += _chain(run, chain, wide, asked)
                chain = []
            chain.append(one)
        out += _chain(run, chain, wide, asked)
    out = _of_two_heads(run, out, wide, asked)
    return tuple(sorted(out, key=lambda b: (b.start, b.head, b.openings[0].key)))


def _of_two_heads(run: Run, found: Sequence[Bridging], wide: Sequence[RunOpening], asked: Asked) -> list[Bridging]:
    """Bridge openings of heads less than a course apart that stand too near for a lintel each by one over the highest head."""
    out = [one for one in found if one.problem != "too-near"]
    near = sorted((b for b in found if b.problem == "too-near"), key=lambda b: (b.start, b.head))
    course = run.unit.height + run.catalogue.bed.nominal
    chain: list[Bridging] = []
    for one in near:
        last = chain[-1] if chain else None
        apart = last is None or abs(last.head - one.head) >= course or one.start < last.end or one.start - last.end >= 2 * one.full
        if chain and apart:
            out += _chain(run, chain, wide, asked)
            chain = []
        chain.append(one)
    return [*out, *_chain(run, chain, wide, asked)]


def _chain(run: Run, chain: Sequence[Bridging], wide: Sequence[RunOpening], asked: Asked) -> Iterator[Bridging]:
    """Bridge openings that stand too near each other: as many as one lintel may span together, else each by itself."""
    stock, at = lintels.stocked(run), 0
    while at < len(chain):
        for end in range(len(chain), at, -1):
            group = tuple(o for one in chain[at:end] for o in one.openings)
            failed = chain[at] if end == at + 1 else lintels.bridging(run, group, wide, stock, asked)
            one = _measured(run, failed, asked)
            if one.places or end == at + 1:
                yield one
                at = end
                break


def _measured(run: Run, failed: Bridging, asked: Asked) -> Bridging:
    """Return the bridging with the places of lintels made to measure, or as it is where there is none."""
    lo, hi = failed.limits
    left, right = (min(failed.full, room) for room in (failed.start - lo, hi - failed.end))
    if failed.end - failed.start > asked.assumed_width or min(left, right) < min(asked.least, failed.full):
        return failed
    one = replace(failed, left=left, right=right)
    found = [p for p in _places(run, one, asked) if lintels.holds(run, one, p.lo, p.hi)]
    clear = [p for p in found if not any(lintels.reaches(band, one, p) for _, band in one.zones)]
    return replace(one, places=tuple(clear or found), problem="", assumed=failed.problem or "none") if found else failed


def _places(run: Run, one: Bridging, asked: Asked) -> Iterator[Place]:
    grid = MM if run.catalogue.system == "mm" else INCH // 16
    (first, last), least = one.limits, run.catalogue.least_piece
    even = (one.start - one.left) // grid * grid, -(-(one.end + one.right) // grid) * grid
    los = [even[0] if even[0] >= first else one.start - one.left, first, first + least, *(band[1] for _, band in one.zones)]
    his = [even[1] if even[1] <= last else one.end + one.right, last, last - least, *(band[0] for _, band in one.zones)]
    left = sorted({at for at in los if first <= at <= one.start - one.left}, reverse=True)
    right = sorted({at for at in his if one.end + one.right <= at <= last})
    fit = run.catalogue.fit.top.plus
    good = [[at for at in left if at == first or at - first >= least], [at for at in right if at == last or last - at >= least]]
    for lo, hi in product(good[0][:SIDES], good[1][:SIDES]):
        top = lintels.levels(run, lo, hi)[0]
        height = run.unit.height if one.head + run.unit.height <= top + fit else top - one.head
        if height >= min(asked.assumed_height, run.unit.height):
            yield Place(unit=run.catalogue.lintel(hi - lo, height, run.unit.thickness), lo=lo, hi=hi)

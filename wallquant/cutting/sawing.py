"""Patterns to rows: which piece is cut from which unit, in which order, what each cut takes and what is left."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from wallquant.cutting.nesting import slant_kerf
from wallquant.cutting.pricing import Pattern
from wallquant.cutting.sizes import Sizes
from wallquant.units import Nm


@dataclass(kw_only=True, slots=True)
class Part:
    """A part that is cut free: one piece, or two with what the slanted cut between them takes of the length."""

    rows: tuple[int, ...]
    width: Nm
    between: Nm = 0


@dataclass(kw_only=True, slots=True)
class Block:
    """Strips of (height, parts) over one another."""

    length: Nm
    strips: list[tuple[Nm, list[Part]]] = field(default_factory=list)


@dataclass(kw_only=True, slots=True)
class Sawn:
    """Columns of the rows, in the order of cutting."""

    row: list[int] = field(default_factory=list)
    unit: list[int] = field(default_factory=list)
    order: list[int] = field(default_factory=list)
    kerf: list[int] = field(default_factory=list)
    offcut: list[int] = field(default_factory=list)


def units(
    given: Sizes, plan: Sequence[tuple[Pattern, int]], rows: Sequence[Sequence[int]], angle: NDArray[np.float64]
) -> Iterator[list[Block]]:
    """Give the pieces of each type to the places that the plan has for them; places too many stay empty.

    Parameters
    ----------
    given : Sizes
    plan : sequence of (Pattern, int)
    rows : sequence of sequence of int
        Pieces of each type.
    angle : (pieces,) float64
        Of each piece's flattest cut, degrees.

    Yields
    ------
    list of Block
        A unit that is cut; what is ripped comes first, so that the rest of the unit is left after its last piece.
    """
    queues = [list(reversed(r)) for r in rows]
    for pattern, times in plan:
        for _ in range(times):
            blocks = []
            for block in pattern:
                made = Block(length=0)
                for strip in block:
                    parts = []
                    for at in strip:
                        kinds = [k for k in (int(given.first[at]), int(given.second[at])) if k >= 0 and queues[k]]
                        here = sorted(queues[k].pop() for k in kinds if queues[k])
                        if len(here) == 2:
                            between = slant_kerf(given.kerf, float(angle[here].min()))
                            parts.append(Part(rows=tuple(here), width=int(given.width[at]), between=between))
                        elif here:
                            parts.append(Part(rows=tuple(here), width=int(given.width[kinds[0]])))
                    if parts:
                        made.strips.append((given.strip(strip), parts))
                if made.strips:
                    made.length = max(sum(p.width + given.kerf for p in parts) for _, parts in made.strips) - given.kerf
                    blocks.append(made)
            if blocks:
                yield sorted(blocks, key=lambda b: len(b.strips) == 1)


def saw(sawn: Sawn, blocks: Sequence[Block], number: int, length: Nm, height: Nm, kerf: Nm) -> None:
    """Add the rows of one unit: what each cut takes, and what is left where a strip or the unit ends."""
    left, order = length, 0
    for at, block in enumerate(blocks):
        last = at == len(blocks) - 1
        ripped = len(block.strips) > 1
        long = left if last and ripped else block.length
        up = height
        for n, (deep, parts) in enumerate(block.strips, 1):
            up -= deep
            rip = min(kerf, up)
            up -= rip
            rest = long if ripped else left
            whole = parts[-1].width == length and deep < height
            for part in parts:
                rest -= part.width
                end = min(kerf, max(0, rest))
                rest -= end
                # The first of two is freed by the slanted cut, the second by a square one.
                kerfs = [part.between, end] if len(part.rows) == 2 else [rip if whole else end]
                for row, saw_kerf in zip(part.rows, kerfs, strict=True):
                    order += 1
                    sawn.row.append(row)
                    sawn.unit.append(number)
                    sawn.order.append(order)
                    sawn.kerf.append(saw_kerf)
                    sawn.offcut.append(0)
            if ripped or last:
                above = up if n == len(block.strips) else 0
                sawn.offcut[-1] = above if whole else max(0, rest)
            if not ripped:
                left = rest
        if ripped and not last:
            left = max(0, left - block.length - kerf)

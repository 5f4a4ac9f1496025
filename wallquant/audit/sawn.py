"""Whether the pieces of one unit can be sawn from it in their order, each cut going straight through what is left together.

The pieces of a stretch of the order come from one block.  It is a piece's box; or two blocks side by side or over one another,
which one square cut with its kerf parts; or two raked or mitred pieces, any way turned, that one slanted cut with its kerf parts.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from wallquant.audit.cells import Floats

Box = tuple[float, float]
"""Length and height of a block, mm."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Sawn:
    """A piece as cut: its box, what more than the saw's kerf is said to be lost behind it, and its outline where it has slanted edges.

    `flat` tells an outline in plan.
    """

    length: float
    height: float
    lost: float = 0.0
    outline: Floats | None = None
    flat: bool = False


def fits(pieces: Sequence[Sawn], unit: Box, kerf: float, slack: float) -> bool:
    """Return whether there is a sequence of cuts that frees all pieces from the unit.

    Parameters
    ----------
    pieces : sequence of Sawn
        In the order of cutting.
    unit : (float, float)
        Length and height.
    kerf, slack : float
        The saw's kerf; what lengths may miss by rounding.
    """
    count = len(pieces)
    blocks: dict[tuple[int, int], list[Box]] = {}
    for many in range(1, count + 1):
        for first in range(count - many + 1):
            end = first + many
            found: list[Box] = [(pieces[first].length, pieces[first].height)] if many == 1 else []
            for middle in range(first + 1, end):
                behind = kerf + pieces[middle - 1].lost
                for a, b in blocks[first, middle]:
                    for c, d in blocks[middle, end]:
                        found += [(a + behind + c, max(b, d)), (max(a, c), b + kerf + d)]
            if many == 2:
                found += _nested(pieces[first], pieces[first + 1], unit, kerf)
            blocks[first, end] = _least(b for b in found if b[0] <= unit[0] + slack and b[1] <= unit[1] + slack)
    return bool(blocks[0, count]) if count else True


def _least(found: Iterable[Box]) -> list[Box]:
    """Those blocks that no other is within."""
    out: list[Box] = []
    for long, high in sorted(found):
        if not out or high < out[-1][1]:
            out.append((long, high))
    return out


def _nested(one: Sawn, other: Sawn, unit: Box, kerf: float) -> list[Box]:
    """Blocks of two pieces with a slanted cut between them, parallel to an edge of one of them."""
    if one.outline is None or other.outline is None or one.flat != other.flat:
        return []
    first, second = one.outline - one.outline.min(axis=0), other.outline - other.outline.min(axis=0)
    size, over = first.max(axis=0), second.max(axis=0)
    tall = max(one.height, other.height)
    rooms = [tall] if one.flat else sorted({tall, unit[1], min(unit[1], one.height + other.height)})
    edges = [e for ring in (first, second) for e in np.roll(ring, -1, axis=0) - ring if abs(e[0]) > 1e-6 and abs(e[1]) > 1e-6]
    out: list[Box] = []
    for edge in edges:
        for sign in (1.0, -1.0):
            across = np.array([abs(edge[1]), sign * abs(edge[0])]) / float(np.hypot(*edge))
            reach = _reach(first, across) + _reach(second, -across) + kerf
            for room in rooms:
                up, down = (0.0, 0.0) if one.flat else (room - over[1], room - size[1])
                shift = (reach - max(across[1] * up, -across[1] * down)) / across[0]
                out.append((max(float(size[0]), float(max(0.0, shift) + over[0])), room))
    return out


def _reach(ring: Floats, across: Floats) -> float:
    """How far an outline reaches beyond a cut in the attitude in which it reaches least."""
    wide, high = ring.max(axis=0)
    turned = [
        np.stack([wide - ring[:, 0] if a else ring[:, 0], high - ring[:, 1] if b else ring[:, 1]], axis=1) for a in (0, 1) for b in (0, 1)
    ]
    return float(min((points @ across).max() for points in turned))

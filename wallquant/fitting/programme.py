"""The least change as a mixed-integer programme: fewest cut pieces, then fewest things moved, then the least sum of moves.

Moves are whole steps, so that lengths stay whole nanometres; HiGHS (through scipy) solves it.  What shares no thing is solved apart;
where very many things hang together, walls are solved before the openings between them.
"""

from __future__ import annotations

from collections.abc import Container, Iterator, Mapping, Sequence
from dataclasses import dataclass, field

import networkx as nx
import numpy as np
from scipy.optimize import Bounds, LinearConstraint, milp
from scipy.sparse import csr_matrix

from wallquant.fitting.tables import Costs
from wallquant.fitting.things import Gap, Terms
from wallquant.units import Nm

MOST_NODES = 5_000
"""Branches after which the best found is taken: a count, not a time, so that every machine finds the same."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Limits:
    """What a move may be: whole multiples of `step`, at most `most` either way, and worth `worth` cut pieces at least."""

    step: Nm
    most: Nm
    worth: int

    @property
    def reach(self) -> int:
        """The most steps of one thing."""
        return self.most // self.step


SMALL = 40
"""Things up to which all that share one are solved together, which is exact."""
ROUNDS = 2
"""How often, where there are more, walls and then the openings of each run are solved in turn; each time nothing gets worse."""


def solve(costs: Sequence[Costs], gaps: Sequence[Gap], limits: Limits, *, walls: Container[int] = ()) -> dict[int, Nm]:
    """Return the moves of the things that move, in nanometres, by thing.

    Parameters
    ----------
    costs : sequence of Costs
        Their tables are in steps of `limits.step`.
    gaps : sequence of Gap
    limits : Limits
    walls : container of int
        The things that are walls and their ends; the rest are openings.
    """
    out: dict[int, Nm] = {}
    for part in _parts([*(c.terms for c in costs), *(g.terms for g in gaps)]):
        own = set(part)
        asked = [c for c in costs if c.terms[0][0] in own]
        kept = [g for g in gaps if g.terms and g.terms[0][0] in own]
        blocks = [part]
        if len(part) > SMALL:
            inner = [tuple(t for t in c.terms if t[0] not in walls) for c in asked]
            blocks = [[t for t in part if t in walls], *_parts([*inner, *(((t, 1),) for t in part if t not in walls)])]
        steps: dict[int, int] = {}
        for _ in range(ROUNDS if len(blocks) > 1 else 1):
            for block in blocks:
                free = set(block)
                fixed = {t: by for t, by in steps.items() if t not in free}
                mine = [c for c in asked if any(t in free for t, _ in c.terms)]
                near = [g for g in kept if any(t in free for t, _ in g.terms)]
                if mine:
                    steps = fixed | _Programme(block, mine, near, limits, fixed).solved()
        out |= {thing: by * limits.step for thing, by in steps.items()}
    return out


def _parts(several: Sequence[Terms]) -> list[list[int]]:
    """Group the things that terms share."""
    shared: nx.Graph[int] = nx.Graph()
    for terms in several:
        nx.add_path(shared, [thing for thing, _ in terms])
    return sorted(sorted(part) for part in nx.connected_components(shared))


@dataclass
class _Programme:
    """Columns: steps onward and back and whether it moves, of each thing; then what is chosen of each table."""

    part: Sequence[int]
    costs: Sequence[Costs]
    gaps: Sequence[Gap]
    limits: Limits
    fixed: Mapping[int, int]
    """Steps of things that stay where they are."""
    objective: list[float] = field(default_factory=list)
    upper: list[float] = field(default_factory=list)
    rows: list[tuple[Mapping[int, float], float, float]] = field(default_factory=list)

    def column(self, cost: float, upper: float = 1.0) -> int:
        self.objective.append(cost)
        self.upper.append(upper)
        return len(self.objective) - 1

    def solved(self) -> dict[int, int]:
        reach = self.limits.reach
        small = 0.5 / (1 + reach * len(self.part))  # all moves together count less than half a cut piece
        at = {thing: (self.column(small, reach), self.column(small, reach), self.column(self.limits.worth)) for thing in self.part}
        for onward, back, moved in at.values():
            self.rows.append(({onward: 1, back: 1, moved: -reach}, -np.inf, 0))
        turns: dict[str, int] = {}
        for one in self.costs:
            self._choose(one, at, turns)
        for gap in self.gaps:
            move, held = self._move(gap.terms, at)
            self.rows.append((move, -((gap.length - gap.least) // self.limits.step) - held, np.inf))
        values = self._values()
        if values is None:
            return {}
        moves = {thing: round(values[onward]) - round(values[back]) for thing, (onward, back, _) in at.items()}
        return {thing: steps for thing, steps in moves.items() if steps}

    def _move(self, terms: Terms, at: Mapping[int, tuple[int, int, int]]) -> tuple[dict[int, float], int]:
        """Return the columns that a place moves with, and the steps that it has moved already."""
        free = [(at[thing], float(sign)) for thing, sign in terms if thing in at]
        held = sum(sign * self.fixed.get(thing, 0) for thing, sign in terms if thing not in at)
        return {k: v for (onward, back, _), sign in free for k, v in ((onward, sign), (back, -sign))}, held

    def _choose(self, one: Costs, at: Mapping[int, tuple[int, int, int]], turns: dict[str, int]) -> None:
        """Choose one segment of a family's table; of two tables, that of who passes at its ends."""
        (move, held), half = self._move(one.terms, at), one.courses / 2
        picks = [(self.column(half * cost), lo, hi) for lo, hi, cost in one.plain]
        others = [(self.column(half * cost), lo, hi) for lo, hi, cost in one.alike]
        every = [*picks, *others]
        if not every:
            return
        self.rows.append(({k: 1.0 for k, _, _ in every}, 1, 1))
        self.rows.append((move | {k: -float(lo) for k, lo, _ in every}, -held, np.inf))
        self.rows.append((move | {k: -float(hi) for k, _, hi in every}, -np.inf, -held))
        if one.ends is None:
            return
        # `plain` holds where exactly one of the two ends passes in odd courses
        (a, p), (b, q) = ((self._turn(e.corner, turns), e.first) for e in one.ends)
        plain = {k: 1.0 for k, _, _ in picks}
        s, t = (1.0 if p else -1.0), (1.0 if q else -1.0)
        c, d = (0.0 if p else 1.0), (0.0 if q else 1.0)
        for f, g, const in ((1, -1, 0.0), (-1, 1, 0.0)):  # plain >= x - y and y - x
            self.rows.append((plain | {a: -f * s, b: -g * t}, f * c + g * d + const, np.inf))
        self.rows.append((plain | {a: -s, b: -t}, -np.inf, c + d))
        self.rows.append((plain | {a: s, b: t}, -np.inf, 2 - c - d))

    def _turn(self, corner: str, turns: dict[str, int]) -> int:
        if corner not in turns:
            turns[corner] = self.column(0.0)
        return turns[corner]

    def _values(self) -> list[float] | None:
        entries = list(self._entries())
        shape = (len(self.rows), len(self.objective))
        matrix = csr_matrix(([v for _, _, v in entries], ([r for r, _, _ in entries], [c for _, c, _ in entries])), shape=shape)
        found = milp(
            np.array(self.objective),
            integrality=np.ones(len(self.objective)),
            bounds=Bounds(np.zeros(len(self.upper)), np.array(self.upper)),
            constraints=LinearConstraint(matrix, np.array([lo for _, lo, _ in self.rows]), np.array([hi for _, _, hi in self.rows])),
            options={"mip_rel_gap": 0.0, "node_limit": MOST_NODES},
        )
        return None if found.x is None else [float(x) for x in found.x]

    def _entries(self) -> Iterator[tuple[int, int, float]]:
        for number, (row, _, _) in enumerate(self.rows):
            for column, value in row.items():
                if value:
                    yield number, column, value

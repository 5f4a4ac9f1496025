"""Corners: which runs meet there, and where they are tied and not bonded."""

from __future__ import annotations

import re
from collections import defaultdict
from dataclasses import dataclass

from wallquant.audit.read import Corner, Plan


@dataclass(frozen=True, slots=True)
class Junctions:
    """Corners by the runs that meet in them."""

    plan: Plan
    at_run: dict[str, tuple[Corner, ...]]
    index: dict[str, int]

    @classmethod
    def of(cls, plan: Plan) -> Junctions:
        """Return the junctions of a plan."""
        found: dict[str, list[Corner]] = defaultdict(list)
        for corner in plan.corners:
            for run in corner.runs:
                found[run].append(corner)
        return cls(plan, {run: tuple(rows) for run, rows in found.items()}, {name: at for at, name in enumerate(plan.runs.name)})

    def meeting(self, run: int) -> set[int]:
        """Return the runs (rows) that meet a run in a corner."""
        name = self.plan.runs.name[run]
        return {self.index[other] for corner in self.at_run.get(name, ()) for other in corner.runs if other in self.index} - {run}

    def between(self, a: int, b: int) -> Corner | None:
        """Return the corner in which the runs of two pieces meet, the nearest if there are several."""
        p, names = self.plan.pieces, self.plan.runs.name
        other = names[p.run[b]]
        shared = [corner for corner in self.at_run.get(names[p.run[a]], ()) if other in corner.runs]
        return min(shared, key=lambda corner: (corner.x - p.x[a]) ** 2 + (corner.y - p.y[a]) ** 2, default=None)

    def left_open(self, a: int, b: int) -> bool:
        """Return whether the runs of two pieces stop square at a corner that does not bond, and a finding names it."""
        corner = self.between(a, b)
        if corner is None or corner.kind != "angled" or corner.bonded:
            return False
        told = [one for one in self.plan.told if one.code == "bond.angled-corner"]
        return any(corner.name in (one.corner, *re.findall(r"\w+", one.text)) for one in told)

    def tied(self, a: int, b: int, course: int) -> bool:
        """Return whether the runs of two pieces are tied there in a course, and not bonded."""
        corner = self.between(a, b)
        if corner is None:
            return False
        return not corner.bonded or (0 < course <= len(corner.phase) and corner.phase[course - 1] == "-")

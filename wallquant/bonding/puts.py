"""Fixed pieces: whether they can lie where they are asked."""

from __future__ import annotations

from collections.abc import Sequence

from wallquant.bonding.problem import Problem, Put, groups
from wallquant.units import Nm


def hits(problem: Problem, put: Put) -> bool:
    """Say whether a fixed piece lies in a hole, or bears on nothing but a hole that it does not bridge."""
    under = put.bottom - problem.levels.joint - 1
    own = [problem.holes[k] for k in put.opening]
    for hole in problem.holes:
        if hole.lo < put.hi and hole.hi > put.lo:
            if hole.bottom < put.top and hole.top > put.bottom:
                return True
            if hole not in own and hole.bottom <= under < hole.top:
                return True
    return False


def parted(problem: Problem, put: Put, every: Sequence[Put]) -> bool:
    """Say whether one of these straight joints parts a fixed piece that neither stops at it nor passes it."""
    return any(_ends_in(put, one, problem.how.least) for one in every if not one.unit)


def _ends_in(put: Put, joint: Put, least: Nm) -> bool:
    """Say whether a fixed piece ends in a straight joint, or so near beyond it that it neither stops there nor passes it."""
    beside = put.hi <= joint.lo or put.lo >= joint.hi or put.bottom >= joint.top or put.top <= joint.bottom
    return not beside and not (put.lo <= joint.lo - least and put.hi >= joint.hi + least)


def sound(problem: Problem, picks: Sequence[int]) -> bool:
    """Say whether the fixed pieces keep off holes and each other, and lie on masonry, and no two groups want opposite phases."""
    said: dict[tuple[int, int], bool] = {}
    for must in (m for g in groups(problem, picks) for m in g.musts):
        if said.setdefault((must.junction, must.course), must.passes) != must.passes:
            return False
    every = [p for g in groups(problem, picks) for p in g.puts]
    puts = [p for p in every if p.unit]
    for n, put in enumerate(puts):
        if hits(problem, put) or parted(problem, put, every):
            return False
        for other in puts[:n]:
            if (
                other.lo < put.hi + problem.how.joint
                and other.hi > put.lo - problem.how.joint
                and other.bottom < put.top
                and other.top > put.bottom
            ):
                return False
    return True

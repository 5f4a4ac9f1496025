"""The designer's least change: what moves, proven by laying the walls again.

The programme proposes, the plan decides: the moved building is laid by the engine that lays every plan, and what does not pay there is
taken back.  Nothing of the model is changed.
"""

from __future__ import annotations

from collections.abc import Callable, Container, Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any, Generic, Protocol, TypeVar

import networkx as nx
import numpy as np

from wallquant.bonding import Bond
from wallquant.building import Building, SetAside, element_keys
from wallquant.catalogue import Catalogue
from wallquant.fitting import heights
from wallquant.fitting.modularity import sizes
from wallquant.fitting.moving import Level, levelled, moved
from wallquant.fitting.programme import Limits, solve
from wallquant.fitting.tables import Tables
from wallquant.fitting.things import Thing, Things
from wallquant.graph import Network
from wallquant.layout import Junction, Work
from wallquant.masonry import Face
from wallquant.units import Nm

MOST_LAID = 200_000
"""Pieces that are laid at most to try each move by itself; a count, so that every machine tries the same."""
SPECK = 0.05
"""Square metres: so much more may be set aside, where a wall grows that is so in part."""


class Laid(Protocol):
    """What is asked of a plan; `wallquant.writers.plan.Plan` is one."""

    @property
    def system(self) -> str: ...
    @property
    def catalogue(self) -> Catalogue: ...
    @property
    def building(self) -> Building: ...
    @property
    def network(self) -> Network: ...
    @property
    def bond(self) -> Bond: ...
    @property
    def work(self) -> Work: ...
    @property
    def set_aside(self) -> tuple[SetAside, ...]: ...
    def name_of(self) -> Mapping[str, str]: ...


P = TypeVar("P", bound=Laid)


@dataclass(frozen=True, kw_only=True, slots=True)
class Saving:
    """What a move brings: so many more pieces are cut without it, and so many square metres less are laid."""

    cuts: int
    lays: float = 0.0


@dataclass(frozen=True, kw_only=True, slots=True)
class Move:
    """A thing, how far it moves, and what that brings (None where that was not tried)."""

    number: int
    thing: Thing
    by: Nm
    saving: Saving | None

    @property
    def saves(self) -> int | None:
        """So many more pieces are cut without it."""
        return None if self.saving is None else self.saving.cuts


@dataclass(frozen=True, kw_only=True)
class Change(Generic[P]):
    """The least change: levels and thicknesses, then moves in plan, and the plans before and after.

    `laid` is the plan with thicknesses changed alone, with which cuts are compared: a wall that is laid at last is no loss.  `named` is
    the one whose names `things` and moves have.
    """

    before: P
    laid: P
    named: P
    after: P
    things: Things
    thicknesses: tuple[Level, ...] = ()
    levels: tuple[Level, ...] = ()
    moves: tuple[Move, ...] = ()
    building: Building = field(repr=False)
    """As drawn with the change."""


def least_change(
    building: Building,
    before: P,
    lay: Callable[[Building], P],
    limits: Limits,
    *,
    face: Face | None = None,
    widths: bool = False,
    held: Container[str] = (),
    hold: Container[str] = (),
    any_thickness: bool = False,
) -> Change[P]:
    """Find the least change of a drawing that saves cut pieces.

    Parameters
    ----------
    building : Building
        As read.
    before : Laid
        Of the building as read.
    lay : callable
        Plans a building.
    limits : Limits
    face : Face, optional
        Of the catalogue, as the job chooses.
    widths : bool
        Whether openings may change their widths.
    held : container of str
        Openings whose levels the job chooses.
    hold : container of str
        Walls that stay as drawn, with their openings.
    any_thickness : bool
        Whether every thickness is laid, so that none has to change.
    """
    laid = before
    thick = () if any_thickness else heights.thicknesses(building, before.catalogue, face, limits.most, hold)
    if thick:
        building = levelled(building, thick)
        laid = lay(building)
    now, level = laid, heights.levels(sizes(laid.work, laid.network, {}), building, held, limits.most, limits.worth, hold)
    building, now, level = _kept_levels(building, now, level, lay, limits)
    element = element_keys(now.building.walls, now.building.set_aside)
    things = Things(now.work, {w.guid for w in building.walls}, element, widths=widths, hold=hold)
    tables = Tables(work=now.work, things=things, offsets=now.bond.offsets, step=limits.step, reach=limits.reach)
    found = solve(tables.all(), list(things.gaps()), limits, walls=things.walls)
    trial = _Trial(building, now, things, lay, limits.worth)
    moves = trial.kept(found)
    after = trial.laid({m.number: m.by for m in moves})
    return Change(
        before=before, laid=laid, named=now, after=after, things=things, thicknesses=thick, levels=level, moves=moves,
        building=moved(building, now.work, things, {m.number: m.by for m in moves}),
    )  # fmt: skip


def cuts(plan: Laid, walls: Iterable[str] | None = None) -> int:
    """Return the cut pieces of a plan, or of some of its walls."""
    p = plan.work.pieces
    if walls is None:
        return int(np.count_nonzero(p.cut))
    rows = np.isin(p.wall, [n for n, wall in enumerate(p.walls) if wall in set(walls)])
    return int(np.count_nonzero(p.cut[rows]))


def _aside(plan: Laid, walls: Container[str]) -> float:
    """Return the area of these walls that is set aside, m2."""
    parts = sum(a.area["set_aside"] for a in plan.bond.accounts if a.wall in walls)
    return parts + sum(s.area_m2 for s in plan.set_aside if s.guid in walls)


def _pays(old: Laid, new: Laid, walls: frozenset[str], worth: int) -> bool:
    return cuts(old, walls) - cuts(new, walls) >= worth and _aside(new, walls) <= _aside(old, walls) + SPECK


def _kept_levels(
    building: Building, now: P, asked: tuple[Level, ...], lay: Callable[[Building], P], limits: Limits
) -> tuple[Building, P, tuple[Level, ...]]:
    """Keep the levels that pay, each storey and level by itself."""
    kept = asked
    while kept:
        made = levelled(building, kept)
        new = lay(made)
        pay = tuple(one for one in kept if _pays(now, new, _walls_of(one, building), limits.worth))
        if pay == kept:
            return made, new, kept
        kept = pay
    return building, now, ()


def _walls_of(one: Level, building: Building) -> frozenset[str]:
    names = set(one.names)
    return frozenset(w.guid for w in building.walls if w.guid in names or names & {o.key for o in w.openings})


class _Trial(Generic[P]):
    """Lays what is proposed, and takes back what does not pay; each set of moves is laid once."""

    def __init__(self, building: Building, now: P, things: Things, lay: Callable[[Building], P], worth: int) -> None:
        self.building, self.now, self.things, self.lay, self.worth = building, now, things, lay, worth
        self.known: dict[tuple[tuple[int, Nm], ...], P] = {(): now}

    def laid(self, moves: Mapping[int, Nm]) -> P:
        key = tuple(sorted(moves.items()))
        if key not in self.known:
            self.known[key] = self.lay(moved(self.building, self.now.work, self.things, moves))
        return self.known[key]

    def kept(self, found: dict[int, Nm]) -> tuple[Move, ...]:
        """Return the moves that pay: first those that touch common walls together, then each against all without it."""
        touched = {t: _touched(self.things.all[t], self.now, self.things.over) for t in found}
        while found:
            new = self.laid(found)
            parts = _parts({t: touched[t] for t in found})
            bad = {t for part in parts for t in part
                   if not _pays(self.now, new, frozenset().union(*(touched[t] for t in part)), self.worth)}  # fmt: skip
            if not bad:
                break
            found = {t: by for t, by in found.items() if t not in bad}
        if 3 * len(found) * len(self.now.work.pieces) > MOST_LAID:
            return tuple(self._move(t, by, None) for t, by in sorted(found.items()))
        saves, known = {t: self._saving(found, t) for t in found}, True
        again: Iterable[int]
        while True:
            poor = [t for t in found if saves[t].cuts < self.worth and not saves[t].lays]
            if poor:
                least = min(poor, key=lambda t: (saves[t].cuts, -abs(found[t]), t))
                found = {t: by for t, by in found.items() if t != least}
                known = len(poor) == 1
                again = found if known else [t for t in poor if t != least]
            elif not known:  # what the others save is of more moves than are left
                known, again = True, found
            else:
                return tuple(self._move(t, by, saves[t]) for t, by in sorted(found.items()))
            saves |= {t: self._saving(found, t) for t in again}

    def _saving(self, found: Mapping[int, Nm], thing: int) -> Saving:
        """Return what one thing's move brings beside the others."""
        new, old = self.laid(found), self.laid({t: by for t, by in found.items() if t != thing})
        walls = {w.guid for w in self.building.walls}
        more = _aside(old, walls) - _aside(new, walls)
        return Saving(cuts=cuts(old) - cuts(new), lays=more if more > SPECK else 0.0)

    def _move(self, number: int, by: Nm, saving: Saving | None) -> Move:
        return Move(number=number, thing=self.things.all[number], by=by, saving=saving)


def _touched(thing: Thing, plan: Laid, over: Mapping[str, tuple[str, Junction]]) -> frozenset[str]:
    """Return the walls of the runs whose lengths a thing changes."""
    work = plan.work
    runs: set[str] = set()
    for name, _ in thing.members:
        if thing.kind == "line":
            runs.update({name, *(j.other for j in work.runs[name].junctions if j.other)})
            runs.update(run for end, (_, j) in over.items() if j.other == name for run in work.corners[end].runs)
        elif thing.kind == "end":
            runs.update(work.corners[name].runs)
        else:
            runs.update(r.name for r in work.runs.values() if any(o.key == name for o in r.openings))
    return frozenset(p.wall for name in runs for p in work.runs[name].parts)


def _parts(touched: Mapping[int, frozenset[str]]) -> list[list[int]]:
    """Group the things that touch a common wall."""
    same: nx.Graph[Any] = nx.Graph()
    for thing, walls in touched.items():
        same.add_edges_from((("thing", thing), ("wall", wall)) for wall in walls)
    parts = nx.connected_components(same)
    return sorted(sorted(n for what, n in part if what == "thing") for part in parts)

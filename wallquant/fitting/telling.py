"""The least change in words: one sentence a move."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from wallquant.building import Building, Opening, Wall
from wallquant.fitting.change import Change, Move
from wallquant.fitting.moving import Level
from wallquant.layout import Junction, Run
from wallquant.units import Nm, text

FEW = 4
"""Names that a sentence lists; the rest is counted."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Told:
    """One move: its kind, what moves (GlobalIds, or the wall list's names), how far, its sentence, how many cuts it saves, and
    how many square metres more are laid with it."""

    kind: str
    keys: tuple[str, ...]
    by: Nm
    text: str
    saves: int | None
    lays_m2: float = 0.0


def told(change: Change[Any], drawn: Building) -> tuple[Told, ...]:
    """Return the moves of a change in the order thickness, levels, walls, ends, openings; `drawn` is the building as it was read."""
    return tuple(_told(change, drawn))


def _told(change: Change[Any], drawn: Building) -> Iterator[Told]:
    walls = {w.guid: w for w in drawn.walls}
    holes = {o.key: (w, o) for w in drawn.walls for o in w.openings}
    names, system = change.before.name_of(), change.before.system
    for one in change.thicknesses:
        said = f"make {_listed([names[w] for w in one.names])} {text(one.level + one.by, system)} thick, now {text(one.level, system)}"
        yield Told(kind="thickness", keys=one.names, by=one.by, text=said, saves=None)
    for one in change.levels:
        yield Told(kind=one.what, keys=one.names, by=one.by, text=_level(one, walls, holes, names, system), saves=None)
    say = _Moves(change, holes, names, system)
    for move in change.moves:
        lays = round(move.saving.lays, 6) if move.saving else 0.0
        yield Told(kind=say.kind(move), keys=say.keys(move), by=move.by, text=say.text(move), saves=move.saves, lays_m2=lays)


def _level(one: Level, walls: Mapping[str, Wall], holes: Mapping[str, tuple[Wall, Opening]], names: Mapping[str, str], system: str) -> str:
    way, far = "raise" if one.by > 0 else "lower", text(abs(one.by), system)
    wall = walls[one.names[0]] if one.what == "top" else holes[one.names[0]][0]
    above = text(one.level + one.by - wall.bottom, system)
    if one.what == "top":
        return f"{way} the top of {_listed([names[w] for w in one.names])} by {far}, to {above} above the underside"
    openings = [f"{_name(holes[key][1])} ({names[holes[key][0].guid]})" for key in one.names]
    return f"{way} the {one.what} of {_listed(openings)} by {far}, to {above} above the wall's underside"


def _listed(names: Sequence[str]) -> str:
    named = list(dict.fromkeys(names))
    if len(named) > FEW:
        return f"{', '.join(named[:FEW])} and {len(names) - FEW} more"
    if len(named) < len(names):
        return f"{', '.join(named)} ({len(names)} of that name)" if len(named) == 1 else f"{', '.join(named)} ({len(names)} in all)"
    return " and ".join([", ".join(named[:-1]), named[-1]]) if len(named) > 1 else named[0]


def _name(o: Opening) -> str:
    return o.name or (o.filling.name if o.filling else "") or o.key


class _Moves:
    """Sentences of moves in plan; directions are told by corners, as the plan names them."""

    def __init__(self, change: Change[Any], holes: Mapping[str, tuple[Wall, Opening]], names: Mapping[str, str], system: str) -> None:
        self.work, self.things, self.holes, self.names, self.system = change.named.work, change.things, holes, names, system

    def kind(self, move: Move) -> str:
        return {"line": "wall"}.get(move.thing.kind, move.thing.kind)

    def keys(self, move: Move) -> tuple[str, ...]:
        """What moves, by the model's keys: walls of runs and of free ends, else openings."""
        kind, out = move.thing.kind, []
        for name, _ in move.thing.members:
            if kind == "line":
                out += [p.wall for p in self.work.runs[name].parts]
            elif kind == "end":
                run, junction = self._ending(name)
                out.append((run.parts[0] if junction.role == "start" else run.parts[-1]).wall)
            else:
                out.append(name)
        return tuple(out)

    def text(self, move: Move) -> str:
        far = text(abs(move.by), self.system)
        name, sign = move.thing.members[0]
        by = sign * move.by
        if move.thing.kind == "line":
            said = self._line(self.work.runs[name], by, far, [n for n, _ in move.thing.members])
        elif move.thing.kind == "end":
            run, junction = self._ending(name)
            out = by > 0 if junction.role == "end" else by < 0
            wall = (run.parts[0] if junction.role == "start" else run.parts[-1]).wall
            said = f"{'lengthen' if out else 'shorten'} {self.names[wall]} ({run.name}) by {far} at its free end {name}"
        else:
            run = next(r for r in self.work.runs.values() if any(o.key == name for o in r.openings))
            around, hole = self.holes[name]
            what = f"opening {_name(hole)} in {self.names[around.guid]} ({run.name})"
            if move.thing.kind == "width":
                said = f"make {what} {far} {'wider' if by > 0 else 'narrower'}, at its jamb nearer to {run.last.corner}"
            else:
                said = f"move {what} by {far} toward {(run.last if by > 0 else run.first).corner}"
        more = move.thing.members[1:]
        return said + (f", and {_listed([n if move.thing.kind == 'line' else self._also(n) for n, _ in more])} with it" if more else "")

    def _also(self, name: str) -> str:
        return _name(self.holes[name][1]) if name in self.holes else name

    def _ending(self, corner: str) -> tuple[Run, Junction]:
        run = self.work.runs[self.work.corners[corner].runs[0]]
        return run, run.first if run.first.corner == corner else run.last

    def _line(self, run: Run, by: Nm, far: str, members: Sequence[str]) -> str:
        walls = _listed([self.names[p.wall] for p in run.parts])
        crossed = [j for j in run.junctions if j.other in self.work.runs]
        if not crossed:
            return f"move {walls} ({run.name}) by {far} to its {'left' if by > 0 else 'right'}, seen from {run.first.corner}"
        other = self.work.runs[crossed[0].other]
        here = next(j for j in other.junctions if j.corner == crossed[0].corner)
        (u, v), (a, b) = run.direction, other.direction
        onward = (-v * a + u * b > 0) == (by > 0)
        goal, behind = (other.last, other.first) if onward else (other.first, other.last)
        where = f"toward {goal.corner}" if goal.corner != here.corner else f"away from {behind.corner}"
        with_it = [j.corner for j in crossed] + [end for end, (_, j) in self.things.over.items() if j.other in members]
        corners = f"corner{'s' * (len(with_it) > 1)} {_listed(with_it)}"
        return f"move {walls} ({run.name}) by {far} along {other.name}, {where}; with it {corners}"

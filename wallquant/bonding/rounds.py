"""Solve a plan in rounds: what finds no bearing, or would hang, is left out, and what hangs together with it is solved again."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from wallquant.bonding.asking import Asked, Extras, ask
from wallquant.bonding.beds import Beds, beds
from wallquant.bonding.cells import Block
from wallquant.bonding.conflicts import LeftOut, left_out
from wallquant.bonding.corners import Pattern
from wallquant.bonding.coursing import chosen
from wallquant.bonding.forbidding import Forbidden, relieved, vet
from wallquant.bonding.problem import Ask
from wallquant.bonding.sharing import solve_all
from wallquant.bonding.solving import Engine, Solved
from wallquant.bonding.stamping import Pattern as Stamp
from wallquant.bonding.stamping import patterned, stamped
from wallquant.bonding.standing import unsupported, without
from wallquant.graph import Network
from wallquant.layout import Pieces, Run
from wallquant.masonry import Unit
from wallquant.rules import Rule
from wallquant.units import Nm


@dataclass(frozen=True, kw_only=True, slots=True)
class Laid:
    """All runs as asked and solved, with the patterns of the corners, the pieces, and what is left out over openings."""

    asked: Mapping[str, Asked]
    solved: Mapping[str, Solved]
    patterns: Mapping[str, Pattern]
    extras: Mapping[str, Extras]
    runs: tuple[Run, ...]
    pieces: Pieces
    left: tuple[LeftOut, ...]
    beds: Beds
    forbidden: Forbidden


def laid_out(network: Network, rules: Sequence[Rule], heads: Mapping[str, Nm], sills: Mapping[str, Nm], *, workers: int) -> Laid:
    """Ask the rules about every run and solve all runs, until nothing is laid that finds no bearing; see `wallquant.bonding.bond`."""
    ranked = sorted(rules, key=lambda r: r.code)
    corners = {c.name: c for c in network.corners}
    bondable = frozenset(c.name for c in network.corners if c.bondable)
    drawn = {r.name: r for r in network.runs}
    lines = beds(network, {name: chosen(run, heads, sills) for name, run in drawn.items()}, ranked)
    left: dict[LeftOut, None] = {}
    voids: dict[str, tuple[Block, ...]] = {}
    asked: dict[str, Asked] = {}
    solved: dict[str, Solved] = {}
    patterns: dict[str, Pattern] = {}
    forbidden: dict[tuple[str, int, str], tuple[Ask, ...]] = {}
    engine = Engine()
    changed = set(drawn)
    while True:
        held = {name: frozenset(k for one in left if one.run == name for k in one.openings) for name in drawn}
        for name in drawn:
            if name in changed:
                said = ask(drawn[name], ranked, heads, sills, bondable, held[name], lines.held[name], lines.wanted[name])
                said, never = relieved(said)
                forbidden |= never
                asked[name] = without(said, voids.get(name, ()))
        vet(asked.values(), forbidden)
        again = {name for part in network.parts if changed.intersection(part) for name in part}
        engine = Engine(solvers=engine.solvers)  # layouts are kept; what is known of runs and corners is not true any more
        done, found = solve_all(
            {name: one for name, one in asked.items() if name in again},
            {name: c for name, c in corners.items() if again.intersection(c.runs)},
            engine,
            workers=workers,
        )
        solved |= done
        patterns |= found
        more = [one for one in left_out(asked, solved, patterns, corners) if one not in left]
        changed = {one.run for one in more}
        if not more:
            runs = tuple(asked[r.name].fitted.run for r in network.runs)
            extras = {name: one.extras(solved[name].picks) for name, one in asked.items()}
            pieces = _stamped(runs, asked, solved, extras, engine, _units(network, extras, solved))
            open_, unborne = unsupported(pieces, runs, asked, solved, held)
            more = [one for one in unborne if one not in left]
            voids |= {name: (*voids.get(name, ()), *new) for name, new in open_.items()}
            changed = {one.run for one in more} | set(open_)
        left |= dict.fromkeys(more)
        if not changed:
            break
    patterns = {name: patterns[name] for name in corners if name in patterns}
    return Laid(
        asked=asked, solved=solved, patterns=patterns, extras=extras, runs=runs, pieces=pieces, left=tuple(left), beds=lines,
        forbidden=forbidden,
    )  # fmt: skip


def _stamped(
    runs: Sequence[Run],
    asked: Mapping[str, Asked],
    solved: Mapping[str, Solved],
    extras: Mapping[str, Extras],
    engine: Engine,
    units: Sequence[Unit],
) -> Pieces:
    """Return the pieces of all runs; runs that are alike are one pattern."""
    by_code = {u.code: u for u in units}
    made: dict[tuple[object, ...], Stamp] = {}
    stamps: dict[str, Stamp] = {}
    for name, one in asked.items():
        unit = one.fitted.run.unit
        uses = tuple((u.course, u.lo, u.hi, u.unit) for u in extras[name].uses)
        key = (engine.number(one.problem), solved[name].passes, solved[name].picks, solved[name].shift, uses, unit.code)
        if key not in made:
            made[key] = patterned(one.problem, solved[name], uses, unit, by_code)
        stamps[name] = made[key]
    return stamped(runs, asked, stamps, units)


def _units(network: Network, extras: Mapping[str, Extras], solved: Mapping[str, Solved]) -> tuple[Unit, ...]:
    codes = {r.unit.code for r in network.runs}
    codes |= {p.unit for s in solved.values() for p in s.face.puts if p.unit} | {u.unit for e in extras.values() for u in e.uses}
    return tuple(sorted((network.catalogue.unit(c) for c in codes), key=lambda u: u.code))

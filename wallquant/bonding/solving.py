"""Choose parities, alternatives and fits of the whole graph, then solve each run; equal problems once."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from itertools import product

from wallquant.bonding.asking import Asked
from wallquant.bonding.corners import Forced, Pattern, free_shift, passes_of, pattern, tied
from wallquant.bonding.phases import Factor, parities
from wallquant.bonding.problem import Face, Musts, Passes, Problem, laid_face, must_pass, musts_of
from wallquant.bonding.sheet import Sheet
from wallquant.bonding.span import Bonded
from wallquant.bonding.stack import Solver, Stack
from wallquant.layout import Corner
from wallquant.units import Nm
from wallquant.workers import spread

TIE = 1_000
"""What a course whose run passes twice in a row counts against cuts."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Solved:
    """A run as solved: its problem, phases, picks, fit of its free ends, face and stack."""

    passes: Passes
    picks: tuple[int, ...]
    shift: tuple[Nm, Nm]
    face: Face
    stack: Stack


@dataclass
class Engine:
    """Caches of one plan: one solver for each set of lengths."""

    solvers: dict[Bonded, Solver] = field(default_factory=dict)
    costs: dict[tuple[object, ...], int] = field(default_factory=dict)
    shifts: dict[tuple[object, ...], tuple[Nm, Nm]] = field(default_factory=dict)
    musts: dict[tuple[object, ...], tuple[tuple[bool | None, ...], ...]] = field(default_factory=dict)
    parts: dict[tuple[int, int, int], tuple[Musts, Musts]] = field(default_factory=dict)
    faces: dict[tuple[object, ...], Face] = field(default_factory=dict)
    sheets: dict[int, dict[tuple[int, ...], Sheet]] = field(default_factory=dict)
    last: dict[int, Sheet] = field(default_factory=dict)
    patterns: dict[tuple[object, ...], Pattern] = field(default_factory=dict)
    passing: dict[tuple[object, ...], tuple[Passes, tuple[Pattern | None, ...]]] = field(default_factory=dict)
    """By run and the patterns of its corners, which are held so that their numbers stay theirs."""
    numbers: dict[Problem, int] = field(default_factory=dict)
    known: dict[int, tuple[Problem, int]] = field(default_factory=dict)

    def number(self, problem: Problem) -> int:
        """Return the same number for equal problems; hashing a problem costs, so each object is hashed once."""
        held = self.known.get(id(problem))
        if held is None:
            held = (problem, self.numbers.setdefault(problem, len(self.numbers)))
            self.known[id(problem)] = held
        return held[1]

    def solver(self, problem: Problem) -> Solver:
        if problem.how not in self.solvers:
            self.solvers[problem.how] = Solver(problem.how)
        return self.solvers[problem.how]

    def cost(self, problem: Problem, passes: Passes, picks: tuple[int, ...]) -> int:
        """Return the estimate of a run with its best fit of free ends."""
        key = (self.number(problem), passes, picks)
        if key not in self.costs:
            shift = self.shift(problem, passes, picks)
            self.costs[key] = self.sheet(problem, picks).cost(passes, shift)
        return self.costs[key]

    def sheet(self, problem: Problem, picks: tuple[int, ...]) -> Sheet:
        """Return the sheet of a problem for these alternatives, made from the last one asked for."""
        number = self.number(problem)
        sheets = self.sheets.setdefault(number, {})
        made = sheets.get(picks)
        if made is None:
            made = sheets[picks] = Sheet(problem, picks, self.solver(problem), self.last.get(number))
        self.last[number] = made
        return made

    def shift(self, problem: Problem, passes: Passes, picks: tuple[int, ...]) -> tuple[Nm, Nm]:
        """Return how far the free ends are laid outwards of the drawn end: as little as saves the most cuts."""
        free = (not problem.meets[0].half, not problem.meets[-1].half)
        if not any(free):
            return 0, 0
        key = (self.number(problem), passes, picks)
        if key not in self.shifts:
            sheet = self.sheet(problem, picks)
            tries = list(product(*(self._tries(problem, passes, sheet, side) if free[side] else [0] for side in (0, 1))))
            ranked = sorted((sheet.cost(passes, (s, t)), abs(s) + abs(t), (s, t)) for s, t in tries)
            alike = [r for r in ranked if r[0] == ranked[0][0]]
            if len(alike) > 1:
                alike = sorted((self._uneven(problem, passes, picks, r[2]), r[1], r[2]) for r in alike)
            self.shifts[key] = alike[0][2]
        return self.shifts[key]

    def _uneven(self, problem: Problem, passes: Passes, picks: tuple[int, ...], shift: tuple[Nm, Nm]) -> int:
        """Return how many spans would need joints off nominal: an end is moved within its fit before joints are stretched."""
        how, solver = problem.how, self.solver(problem)
        spans = [s for row in self.face(problem, passes, picks, shift).rows for s in row.spans]
        return sum((s.hi - s.lo + how.joint) % how.pitch != 0 and solver.fewest(s, ()) == 0 for s in spans)

    def _tries(self, problem: Problem, passes: Passes, sheet: Sheet, side: int) -> list[Nm]:
        pitch, joint = problem.how.pitch, problem.how.joint
        rests = {(length + joint) % pitch for length in sheet.outer(passes, side)}
        return free_shift(problem.slack, sorted({w for rest in rests for w in (-rest, pitch - rest)}))

    def face(self, problem: Problem, passes: Passes, picks: tuple[int, ...], shift: tuple[Nm, Nm]) -> Face:
        key = (self.number(problem), passes, picks, shift)
        if key not in self.faces:
            self.faces[key] = laid_face(problem, passes, picks, shift, self.solver(problem))
        return self.faces[key]

    def stack_all(self, faces: Sequence[tuple[Problem, Face]], workers: int) -> None:
        """Solve the joints of runs by several processes, those with most spans first; `Solver.stack` then knows them."""
        solvers = {problem.how: self.solver(problem) for problem, _ in faces}
        found = dict.fromkeys((problem.how, tuple(face.rows)) for problem, face in faces)
        new = sorted((k for k in found if k[1] not in solvers[k[0]].solved), key=lambda k: -sum(len(row.spans) for row in k[1]))
        for (how, rows), stack in zip(new, spread(lambda k: solvers[k[0]].stack(k[1]), new, workers=workers), strict=True):
            solvers[how].solved[rows] = stack

    def must(self, problem: Problem, picks: tuple[int, ...]) -> tuple[tuple[bool | None, ...], ...]:
        """Return for each junction and course whether the run must pass; see `must_pass`."""
        number = self.number(problem)
        parts = [self._part(problem, number, -1, 0)]
        parts += [self._part(problem, number, c, a) for c, a in enumerate(picks)]
        told = [p for p in parts if p[0] or p[1]]
        key = (number, *(id(p) for p in told))
        if key not in self.musts:
            self.musts[key] = must_pass(problem, told)
        return self.musts[key]

    def _part(self, problem: Problem, number: int, choice: int, alternative: int) -> tuple[Musts, Musts]:
        key = (number, choice, alternative)
        if key not in self.parts:
            group = problem.base if choice < 0 else problem.choices[choice][alternative]
            self.parts[key] = musts_of(problem, group, holes=choice < 0)
        return self.parts[key]

    def passes(self, name: str, one: Asked, patterns: Mapping[str, Pattern]) -> Passes:
        """Return where a run passes; see `wallquant.bonding.corners.passes_of`."""
        met = tuple([patterns.get(j.corner) for j in one.fitted.run.junctions])
        key = (name, tuple(map(id, met)))
        if key not in self.passing:
            self.passing[key] = passes_of(name, one, patterns), met
        return self.passing[key][0]

    def pattern(self, corner: Corner, parity: int | None, asked: Mapping[str, Asked], must: Forced) -> Pattern:
        """Return the pattern of a corner; see `wallquant.bonding.corners.pattern`."""
        key = (corner.name, parity, tuple(sorted(must.get(corner.name, {}).items())))
        if key not in self.patterns:
            self.patterns[key] = pattern(corner, parity, asked, must)
        return self.patterns[key]


def forced(engine: Engine, asked: Mapping[str, Asked], picks: Mapping[str, tuple[int, ...]]) -> Forced:
    """Return what each run forces at its corners, by the alternatives picked."""
    out: dict[str, dict[str, tuple[bool | None, ...]]] = {}
    for name, one in asked.items():
        rows = engine.must(one.problem, picks[name])
        for junction, row in zip(one.fitted.run.junctions, rows, strict=True):
            if any(v is not None for v in row):
                out.setdefault(junction.corner, {})[name] = row
    return out


def solve(
    asked: Mapping[str, Asked], corners: Mapping[str, Corner], engine: Engine, *, workers: int = 1
) -> tuple[dict[str, Solved], dict[str, Pattern]]:
    """Solve all runs; the joints of different runs by up to so many processes.

    Returns
    -------
    runs, patterns
        By name; the pattern of each corner where runs meet.
    """
    live = {name: c for name, c in corners.items() if c.kind != "end"}
    bond = [name for name, c in live.items() if c.bondable and not tied(c, asked)]
    picks = {name: (0,) * len(one.problem.choices) for name, one in asked.items()}
    parity = dict.fromkeys(bond, 0)
    for _ in range(2):
        picks = _picked(engine, asked, live, parity, picks)
        parity = _parities(engine, asked, live, bond, picks)
    must = forced(engine, asked, picks)
    patterns = {name: engine.pattern(c, parity.get(name), asked, must) for name, c in live.items()}
    passes = {name: engine.passes(name, one, patterns) for name, one in asked.items()}
    shifts = {name: engine.shift(one.problem, passes[name], picks[name]) for name, one in asked.items()}
    faces = {name: engine.face(one.problem, passes[name], picks[name], shifts[name]) for name, one in asked.items()}
    if workers > 1:
        engine.stack_all([(one.problem, faces[name]) for name, one in asked.items()], workers)
    solved = {
        name: Solved(
            passes=passes[name],
            picks=picks[name],
            shift=shifts[name],
            face=faces[name],
            stack=engine.solver(one.problem).stack(faces[name].rows),
        )
        for name, one in asked.items()
    }
    return solved, patterns


def _picked(
    engine: Engine,
    asked: Mapping[str, Asked],
    corners: Mapping[str, Corner],
    parity: Mapping[str, int],
    now: Mapping[str, tuple[int, ...]],
) -> dict[str, tuple[int, ...]]:
    """Take the cheapest alternative of each choice, one choice after the other, with the parities as they are."""
    out = dict(now)
    for name, one in asked.items():
        if not one.problem.choices:
            continue
        own = {j.corner: corners[j.corner] for j in one.fitted.run.junctions if j.corner in corners}
        for n, choice in enumerate(one.problem.choices):
            ranked: list[tuple[int, int]] = []
            for a in range(len(choice)):
                trial = (*out[name][:n], a, *out[name][n + 1 :])
                must: dict[str, dict[str, tuple[bool | None, ...]]] = {}
                for junction, row in zip(one.fitted.run.junctions, engine.must(one.problem, trial), strict=True):
                    must.setdefault(junction.corner, {})[name] = row
                found = {c: engine.pattern(corner, parity.get(c), asked, must) for c, corner in own.items()}
                broken = sum(len(p.broken) + 5 * len(p.conflicts) for p in found.values())
                ranked.append((engine.cost(one.problem, engine.passes(name, one, found), trial) + TIE * broken, a))
            best = min(ranked)[1]
            out[name] = (*out[name][:n], best, *out[name][n + 1 :])
    return out


def _parities(
    engine: Engine,
    asked: Mapping[str, Asked],
    corners: Mapping[str, Corner],
    bond: Sequence[str],
    picks: Mapping[str, tuple[int, ...]],
) -> dict[str, int]:
    must = forced(engine, asked, picks)
    choice = set(bond)
    held: dict[tuple[str, int | None], Pattern] = {}

    def found(name: str, p: int | None) -> Pattern:
        if (name, p) not in held:
            held[name, p] = engine.pattern(corners[name], p, asked, must)
        return held[name, p]

    factors: list[Factor] = []
    for name, one in asked.items():
        met = [j.corner for j in one.fitted.run.junctions if j.corner in corners]
        own = tuple(dict.fromkeys(c for c in met if c in choice))
        if not own:
            continue

        def cost(values: tuple[int, ...], name: str = name, one: Asked = one, met: list[str] = met, own: tuple[str, ...] = own) -> int:
            at = dict(zip(own, values, strict=True))
            patterns = {c: found(c, at.get(c)) for c in met}
            broken = sum(len(patterns[c].broken) for c in own)
            return engine.cost(one.problem, engine.passes(name, one, patterns), picks[name]) + TIE * broken

        factors.append(Factor(corners=own, cost=cost))
    return parities(bond, factors)

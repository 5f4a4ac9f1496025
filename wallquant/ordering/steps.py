"""Cut the laid pieces into steps: corners, leads, line work, closures, lintels; and make steps of items that are work."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cache
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from wallquant.layout import Bridge, Step, Work
from wallquant.ordering.leads import Arm, level_of, middles, run_arms
from wallquant.ordering.pace import Pace
from wallquant.ordering.stretches import Columns, CourseRow, Stretch, course_rows
from wallquant.ordering.tasks import task_steps
from wallquant.ordering.wording import Say, Wording
from wallquant.units import Nm, mass_text, text

LONGEST = 4 * 3600
"""Line work that takes one mason longer, in seconds, is more than one step (common practice, no source: half a working day of 8 h).
A step is what one mason lays in one go; what would fill days has no day of its own, and neither have its pieces and mortar."""
KINDS = ("corner", "lead", "line", "closure", "lintel", "hold")
"""Kinds of step that lay pieces, and holds, in the order in which a course is begun; tasks of items come after them."""


def _millimetres(length: Nm) -> str:
    return text(length, "mm")


def _kilograms(kg: float) -> str:
    return mass_text(kg, "mm")


def make_steps(
    work: Work,
    leads: Mapping[str, int],
    *,
    laps: Mapping[str, Nm] | None = None,
    pace: Pace | None = None,
    say: Say = _millimetres,
    weigh: Callable[[float], str] = _kilograms,
) -> tuple[Step, ...]:
    """Cut all pieces into steps; each piece is in exactly one.  Items with a task have steps of their own.

    Parameters
    ----------
    work : Work
        The laid plan; its `steps` are not read.
    leads : mapping of str to int
        Courses a lead has at each corner; a corner that is missing has none (0), and all is laid to the line there.
    laps : mapping of str to int, optional
        For each run the least lap between joint edges (least offset less one joint), in nanometres; a quarter of its unit's
        length where missing.
    pace : Pace, optional
        How fast a mason lays.
    say : callable
        Words a length for people.
    weigh : callable
        Words a mass (kg) for people.

    Returns
    -------
    tuple of Step
        By connected part, course, kind and name.

    Raises
    ------
    RuntimeError
        If a piece would be in no step or in two: a fault of this module.
    """
    columns = Columns.of(work.pieces)
    part = {name: names[0] for names in work.parts for name in names}
    bridges: dict[int, list[Bridge]] = {}
    for bridge in work.bridges:
        for piece in bridge.lintel:
            bridges.setdefault(piece, []).append(bridge)
    words = Wording(names=work.pieces.names, c=columns, say=cache(say), weigh=weigh)
    shop = _Shop(work=work, c=columns, pace=pace or Pace(), words=words, part=part, bridges=bridges)
    by_run: dict[str, list[CourseRow]] = {}
    for row in course_rows(work, columns):
        by_run.setdefault(row.run.name, []).append(row)
    arms: list[Arm] = []
    counters: dict[tuple[str, int, str], int] = {}
    for rows in by_run.values():
        taken = run_arms(rows, leads, (laps or {}).get(rows[0].run.name, rows[0].run.unit.length // 4), columns)
        arms += taken
        held = {r for arm in taken for r in arm.rows}
        both = {(arm.course, arm.near) for arm in taken}
        marks = middles(work, rows, held, columns)
        arms += marks
        held.update(r for arm in marks for r in arm.rows)
        for row in rows:
            shop.course(row, held, both, counters)
    shop.corners(arms)
    parts = {part[0]: i for i, part in enumerate(work.parts)}
    place = {kind: n for n, kind in enumerate(KINDS)}

    def key(s: Step) -> tuple[object, ...]:
        return parts.get(s.part, len(parts)), s.part, s.course, place.get(s.kind, len(place)), s.kind, s.name

    out = tuple(sorted([*shop.out, *task_steps(work, part)], key=key))
    if sum(len(s.pieces) for s in out) != len(work.pieces) or (step_of(out, len(work.pieces)) < 0).any():
        raise RuntimeError("a piece is in no step, or in two")
    return out


def step_of(steps: Sequence[Step], pieces: int) -> NDArray[np.int32]:
    """Return the number of the step that lays each piece, -1 where none does.

    Parameters
    ----------
    steps : sequence of Step
        Steps; their numbers are their positions.
    pieces : int
        Number of pieces.

    Returns
    -------
    ndarray of int32, shape (pieces,)
    """
    out = np.full(pieces, -1, np.int32)
    rows = np.fromiter((r for s in steps for r in s.pieces), np.int64)
    out[rows] = np.repeat(np.arange(len(steps), dtype=np.int32), [len(s.pieces) for s in steps])
    return out


@dataclass(frozen=True, kw_only=True, slots=True)
class _Shop:
    """Makes steps and collects them in `out`."""

    work: Work
    c: Columns
    pace: Pace
    words: Wording
    part: Mapping[str, str]
    bridges: Mapping[int, list[Bridge]]
    out: list[Step] = field(default_factory=list)

    def course(self, row: CourseRow, held: set[int], leads: set[tuple[int, bool]], counters: dict[tuple[str, int, str], int]) -> None:
        """Make the line, closure and lintel steps of one course."""
        run, course = row.run, row.course
        # What lies on pieces of its own course may lie on the closure, and rules ask for all line work before the closure.
        layered = any(s.layer for s in row.stretches)
        for stretch in row.stretches:
            rest = [r for r in stretch.rows if r not in held]
            if not rest:
                continue
            near, far = stretch.near and (course, True) in leads, stretch.far and (course, False) in leads
            closure = self._closure(rest) if near and far and not layered else None
            if closure is not None:
                at = rest.index(closure)
                rest = rest[:at] + rest[:at:-1]
            elif far and not near:
                rest.reverse()
            if rest:
                self._line(row, stretch, rest, counters, closure)
            if closure is not None:
                self._of_run(row, "closure", [closure], self.words.closure(run, course, closure), counters)
        fixed: dict[int, list[int]] = {}
        for r in row.fixed:
            fixed.setdefault(self.c.fixed[r], []).append(r)
        for number in sorted(fixed, key=lambda k: fixed[k]):
            words = self.words.lintel(run, course, fixed[number], self.bridges.get(fixed[number][0], []))
            self._of_run(row, "lintel", fixed[number], words, counters)

    def _line(
        self, row: CourseRow, stretch: Stretch, rest: Sequence[int], counters: dict[tuple[str, int, str], int], closure: int | None
    ) -> None:
        """Make the line work of one stretch: one step, or several of about equal work, each from its lead outward."""
        if self._work(rest) <= LONGEST:
            words = self.words.line(row.run, row.course, stretch, rest, closed=closure is not None)
            self._of_run(row, "line", rest, words, counters)
            return
        sides = [rest] if closure is None else [[r for r in rest if r < closure], [r for r in rest if r > closure]]
        for side in filter(None, sides):
            back = side[0] > side[-1] if closure is None else side[0] > closure
            begin, before = self.words.end(row.run, stretch, far=back), ""
            for rows in self._shared(side):
                leave = closure is not None and rows[-1] == side[-1]
                words = self.words.part(row.run, row.course, stretch, rows, begin=begin, leave=leave)
                before = self._of_run(row, "line", rows, words, counters, follows=before)
                begin = f"{self.words.names[rows[-1]]} on"

    def _shared(self, rows: Sequence[int]) -> Iterator[Sequence[int]]:
        """Share rows out to steps of about equal work, none longer than `LONGEST`."""
        most = max(self._work([r]) for r in rows)
        count = -(-self._work(rows) // max(most, LONGEST - most))
        done, each = 0, self._work(rows) / count
        ends = [0]
        for n, row in enumerate(rows):
            if done >= each * len(ends):
                ends.append(n)
            done += self._work([row])
        for first, last in pairwise([*ends, len(rows)]):
            yield rows[first:last]

    def _work(self, rows: Sequence[int]) -> int:
        return self.pace.seconds("line", [self.c.mass[r] for r in rows])

    def _closure(self, rest: Sequence[int]) -> int:
        """Choose the piece that closes: the cut piece nearest to the middle, else the middle one."""
        middle = self.c.start[rest[0]] + self.c.end[rest[-1]]
        cut = [r for r in rest if self.c.cut[r] & 1]
        if not cut:
            return rest[(len(rest) - 1) // 2]
        return min(cut, key=lambda r: (abs(self.c.start[r] + self.c.end[r] - middle), r))

    def _of_run(
        self,
        row: CourseRow,
        kind: str,
        rows: Sequence[int],
        words: str,
        counters: dict[tuple[str, int, str], int],
        follows: str = "",
    ) -> str:
        """Make a step of a run's course, and return its name."""
        key = (row.run.name, row.course, kind)
        counters[key] = counters.get(key, 0) + 1
        name = f"{row.run.name}-C{row.course:02d}-{kind}{counters[key]}"
        self._add(name, kind, (row.run.name,), row.course, rows, words, follows=follows)
        return name

    def corners(self, arms: Iterable[Arm]) -> None:
        """Make the corner and lead steps: both arms in one where their courses have one number and level."""
        groups: dict[tuple[str, int, Nm, str], list[Arm]] = {}
        for arm in arms:
            level = level_of(self.work, arm, self.c)
            if arm.course == 1:
                groups.setdefault((arm.corner, arm.course, level, "corner"), []).append(arm)
            if arm.course > 1 or len(arm.rows) > 1:
                groups.setdefault((arm.corner, arm.course, level, "lead"), []).append(arm)
        used: set[str] = set()
        for (corner, course, _, kind), members in sorted(groups.items(), key=lambda g: g[0]):
            ordered = self._passing_first(corner, members)
            name = f"{corner}-C{course:02d}-{kind}"
            if name in used:
                name = f"{corner}-{ordered[0].run.name}-C{course:02d}-{kind}"
            used.add(name)
            begun = slice(0, 1) if kind == "corner" else slice(1, None)
            picked = [(a, a.rows[begun] if course == 1 else a.rows) for a in ordered]
            rows = [r for _, some in picked for r in some]
            # Both ends are set before either arm goes on.
            if kind == "lead" and course > 1:
                rows = [some[0] for _, some in picked] + [r for _, some in picked for r in some[1:]]
            words = (
                self.words.corner(course, corner, rows)
                if kind == "corner"
                else self.words.lead(course, corner, [(a.run.name, some) for a, some in picked])
            )
            runs = tuple(dict.fromkeys(a.run.name for a in ordered))
            self._add(name, kind, runs, course, rows, words, corner)

    def _passing_first(self, corner: str, arms: Sequence[Arm]) -> list[Arm]:
        order = self.work.corners[corner].runs if corner in self.work.corners else ()
        phase = self.work.phases.get(corner, ())

        def key(arm: Arm) -> tuple[bool, int, str, bool]:
            passes = arm.course <= len(phase) and phase[arm.course - 1] == arm.run.name
            place = order.index(arm.run.name) if arm.run.name in order else len(order)
            return not passes, place, arm.run.name, not arm.near

        return sorted(arms, key=key)

    def _add(
        self,
        name: str,
        kind: str,
        runs: tuple[str, ...],
        course: int,
        rows: Sequence[int],
        words: str,
        corner: str = "",
        follows: str = "",
    ) -> None:
        order = self.work.corners[corner].runs if corner in self.work.corners else ()
        panel = next((run for run in order if run in runs), runs[0])
        self.out.append(
            Step(
                name=name,
                kind=kind,
                runs=runs,
                course=course,
                corner=corner,
                pieces=tuple(rows),
                seconds=self.pace.seconds(kind, [self.c.mass[r] for r in rows]),
                text=words,
                part=self.part.get(panel, panel),
                panel=panel,
                follows=follows,
            )
        )

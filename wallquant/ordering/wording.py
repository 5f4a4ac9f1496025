"""What a step says to the foreman: one sentence each."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from wallquant.files import CUTS
from wallquant.layout import Bridge, Run
from wallquant.ordering.stretches import Columns, Stretch
from wallquant.units import MM, Nm

Say = Callable[[Nm], str]
"""Words a length for people, in the units they chose."""

_AT: Nm = MM
"""A piece that ends so near to an opening ends at its jamb."""
_WORKED = dict(zip(CUTS, ("cut to {length}", "ripped to {height}", "raked", "mitred", "notched"), strict=True))


def counted(number: int) -> str:
    """Return '1 piece', '2 pieces'."""
    return f"{number} piece" if number == 1 else f"{number} pieces"


@dataclass(frozen=True, kw_only=True, slots=True)
class Wording:
    """Sentences about pieces: their `names` and columns, and how a length and a mass (kg) are said."""

    names: Sequence[str]
    c: Columns
    say: Say
    weigh: Callable[[float], str]

    def piece(self, row: int) -> str:
        """Return a piece's name and what is done to it: 'R3-C05-07, cut to 309 mm'."""
        sizes = {"length": self.say(self.c.end[row] - self.c.start[row]), "height": self.say(self.c.top[row] - self.c.bottom[row])}
        done = [_WORKED[cut].format(**sizes) for bit, cut in enumerate(CUTS) if self.c.cut[row] >> bit & 1]
        return ", ".join((self.names[row], *done))

    def corner(self, course: int, corner: str, rows: Sequence[int]) -> str:
        """Sentence of a corner step."""
        return f"Course {course} at {corner}: set on the marks, level and plumb: {' and '.join(self.piece(r) for r in rows)}."

    def lead(self, course: int, corner: str, arms: Sequence[tuple[str, Sequence[int]]]) -> str:
        """Sentence of a lead step; an arm is its run and its pieces from the corner outward.

        How far it goes is said by a piece: the middle of a corner, from which stations count, is no place to hold a tape to.
        """
        parts = [
            f"{counted(len(rows))} along {run} up to {self.piece(rows[-1])}" if len(rows) > 1 else f"{self.piece(rows[0])} along {run}"
            for run, rows in arms
        ]
        return f"Course {course} at {corner}: lay the lead from the corner, {' and '.join(parts)}."

    def line(self, run: Run, course: int, stretch: Stretch, rows: Sequence[int], *, closed: bool) -> str:
        """Sentence of a line step; `closed` where a closure follows."""
        near, far = self.end(run, stretch, far=False), self.end(run, stretch, far=True)
        head = f"Course {course} of {run.name}: lay {counted(len(rows))}"
        if stretch.layer:
            return f"{head} on the row below, from {near} to {far}; the last is {self.piece(rows[-1])}."
        if closed:
            return f"{head} to the line between {near} and {far}, and leave the closure."
        begin, goal = (far, near) if stretch.far and not stretch.near else (near, far)
        whence = "" if begin == self.names[rows[-1]] else f" from {begin}"
        whither = "" if goal == self.names[rows[-1]] else f" towards {goal}"
        return f"{head} to the line{whence}{whither}; the last is {self.piece(rows[-1])}."

    def part(self, run: Run, course: int, stretch: Stretch, rows: Sequence[int], *, begin: str, leave: bool) -> str:
        """Sentence of one of several steps of the line work of a stretch: from where to where, since another may go on with it."""
        on = "on the row below" if stretch.layer else "to the line"
        last = f"; the last is {self.piece(rows[-1])}"
        left = ", then leave the closure" if leave else ""
        return f"Course {course} of {run.name}: lay {counted(len(rows))} {on} from {begin}{last}{left}."

    def end(self, run: Run, stretch: Stretch, *, far: bool) -> str:
        """Name what a stretch begins or ends at: its corner, else its jamb or last piece."""
        if far:
            return run.last.corner if stretch.far else self.jamb(run, stretch.rows[-1], at_start=False)
        return run.first.corner if stretch.near else self.jamb(run, stretch.rows[0], at_start=True)

    def jamb(self, run: Run, row: int, *, at_start: bool) -> str:
        """Name what a stretch ends at: the jamb of the opening there, else its last piece."""
        at, c = self.c.start[row] if at_start else self.c.end[row], self.c
        for o in run.openings:
            if abs((o.end if at_start else o.start) - at) <= _AT and o.sill < c.top[row] and c.bottom[row] < o.head:
                return f"the jamb of {o.name or o.key}"
        return self.names[row]

    def closure(self, run: Run, course: int, row: int) -> str:
        """Sentence of a closure step."""
        measure = "; measure the gap on site before it is cut" if self.c.cut[row] & 1 else ""
        return f"Course {course} of {run.name}: close with {self.piece(row)}{measure}."

    def lintel(self, run: Run, course: int, rows: Sequence[int], bridges: Sequence[Bridge]) -> str:
        """Sentence of a lintel step over the openings that it bridges, with its mass, since a lintel is seldom lifted by one."""
        pieces = " and ".join(self.piece(r) for r in rows)
        text = f"Course {course} of {run.name}: set {pieces} ({self.weigh(sum(self.c.mass[r] for r in rows))})"
        if bridges:
            names = {o.key: o.name or o.key for o in run.openings}
            over = [names.get(b.opening, b.opening) for b in sorted(bridges, key=lambda b: b.start)]
            text += f" over {' and '.join(dict.fromkeys(over))}"
            first, last = min(bridges, key=lambda b: b.start).bearing_start, max(bridges, key=lambda b: b.end).bearing_end
            if first is not None and last is not None:
                text += f", bearing {self.say(first)} and {self.say(last)}"
        return text + ". It is chosen by length only, not by capacity."

"""What a step says to the foreman: one sentence each."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from wallquant.files import CUTS
from wallquant.layout import Bridge, Run
from wallquant.ordering.stretches import Columns, Stretch
from wallquant.units import Nm

Say = Callable[[Nm], str]
"""Words a length for people, in the units they chose."""

_WORKED = dict(zip(CUTS, ("cut to {length}", "ripped to {height}", "raked", "mitred", "notched"), strict=True))


def counted(number: int) -> str:
    """Return '1 piece', '2 pieces'."""
    return f"{number} piece" if number == 1 else f"{number} pieces"


@dataclass(frozen=True, kw_only=True, slots=True)
class Wording:
    """Sentences about pieces: their `names` and columns, and how a length is said."""

    names: Sequence[str]
    c: Columns
    say: Say

    def piece(self, row: int) -> str:
        """Return a piece's name and what is done to it: 'R3-C05-07, cut to 309 mm'."""
        sizes = {"length": self.say(self.c.end[row] - self.c.start[row]), "height": self.say(self.c.top[row] - self.c.bottom[row])}
        done = [_WORKED[cut].format(**sizes) for bit, cut in enumerate(CUTS) if self.c.cut[row] >> bit & 1]
        return ", ".join((self.names[row], *done))

    def corner(self, course: int, corner: str, rows: Sequence[int]) -> str:
        """Sentence of a corner step."""
        return f"Course {course} at {corner}: set on the marks, level and plumb: {' and '.join(self.piece(r) for r in rows)}."

    def lead(self, course: int, corner: str, arms: Sequence[tuple[str, int, Nm]]) -> str:
        """Sentence of a lead step; an arm is its run, its number of pieces and how far it goes from the corner's node."""
        parts = [f"{counted(count)} along {run} to {self.say(reach)}" for run, count, reach in arms]
        return f"Course {course} at {corner}: lay the lead, {' and '.join(parts)} from the corner."

    def line(self, run: Run, course: int, stretch: Stretch, rows: Sequence[int], *, closed: bool) -> str:
        """Sentence of a line step; `closed` where a closure follows."""
        near = run.first.corner if stretch.near else self.say(self.c.start[stretch.rows[0]])
        far = run.last.corner if stretch.far else self.say(self.c.end[stretch.rows[-1]])
        head = f"Course {course} of {run.name}: lay {counted(len(rows))}"
        if stretch.layer:
            return f"{head} on the row below, from {near} to {far}; the last is {self.piece(rows[-1])}."
        if closed:
            return f"{head} to the line between {near} and {far}, and leave the closure."
        begin, goal = (far, near) if stretch.far and not stretch.near else (near, far)
        return f"{head} to the line from {begin} towards {goal}; the last is {self.piece(rows[-1])}."

    def closure(self, run: Run, course: int, row: int) -> str:
        """Sentence of a closure step."""
        measure = "; measure the gap on site before it is cut" if self.c.cut[row] & 1 else ""
        return f"Course {course} of {run.name}: close with {self.piece(row)}{measure}."

    def lintel(self, run: Run, course: int, rows: Sequence[int], bridge: Bridge | None) -> str:
        """Sentence of a lintel step, with its mass, since a lintel is seldom lifted by one."""
        pieces = " and ".join(self.piece(r) for r in rows)
        text = f"Course {course} of {run.name}: set {pieces} ({round(sum(self.c.mass[r] for r in rows))} kg)"
        if bridge is not None:
            text += f" over opening {bridge.opening}"
            if bridge.bearing_start is not None and bridge.bearing_end is not None:
                text += f", bearing {self.say(bridge.bearing_start)} and {self.say(bridge.bearing_end)}"
        return text + ". It is chosen by length only, not by capacity."

"""What the sheets show, put together once from a plan: pieces by run, steps by run and day, cuts by piece, bars by storey."""

from __future__ import annotations

import itertools
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from wallquant.files import CUTS
from wallquant.job import WEEKDAYS
from wallquant.layout import Bridge, Pieces, Run
from wallquant.ordering import Turn
from wallquant.rules import Item
from wallquant.survey.levelling import PieceBed
from wallquant.units import Nm
from wallquant.writers.pdf.paper import distinct
from wallquant.writers.saw_list import AHEAD, Setting, sawn

if TYPE_CHECKING:
    from wallquant.writers.plan import Plan

KINDS = {"standard": "", "core": "C", "U": "U", "lintel": "L"}
"""Letter of a kind of unit beside a piece's mark."""
MOVEMENT = "movement joint"
"""Kind of the items that are movement joints: drawn as a J, and told among the marks of the first course."""
OPEN_OVER = "open above it: close by hand"
"""What is said of an opening over which nothing is laid up to the top, or to another opening, because nothing bridges it."""
SAME: Nm = 1_000_000
"""Bars nearer to each other than this stand in one place."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Bar:
    """A bar that comes out of the slab: its number on all sheets, where it stands, and what is known of its first length."""

    number: int
    run: str
    station: Nm
    at: tuple[float, float]
    """Plan coordinates, nanometres, relative to the plan's origin."""
    size: Nm
    above: Nm
    """How far the first length stands out of the slab."""


@dataclass(frozen=True, kw_only=True)
class Facts:
    """A plan as the sheets need it."""

    plan: Plan

    @property
    def pieces(self) -> Pieces:
        return self.plan.work.pieces

    @cached_property
    def storeys(self) -> Mapping[str, tuple[Run, ...]]:
        """Runs by storey, storeys from the lowest up."""
        out: dict[str, list[Run]] = {}
        for run in self.plan.work.runs.values():
            out.setdefault(run.storey, []).append(run)
        return {name: tuple(out[name]) for name in sorted(out, key=lambda s: (min(r.bottom for r in out[s]), s))}

    @cached_property
    def rows(self) -> Mapping[str, range]:
        """Rows of the pieces by run."""
        pieces = self.pieces
        edges = np.searchsorted(pieces.run, np.arange(len(pieces.runs) + 1)).tolist()
        found = {name: range(a, b) for name, (a, b) in zip(pieces.runs, itertools.pairwise(edges), strict=True)}
        return {name: found.get(name, range(0)) for name in self.plan.work.runs}

    def first_course(self, run: str) -> list[int]:
        """Rows of a run's lowest course with whole pieces, by station."""
        rows, course = self.rows[run], self.pieces.course
        numbers = [int(course[r]) for r in rows]
        least = min((n for n in numbers if n >= 1), default=0)
        return [r for r, n in zip(rows, numbers, strict=True) if n == least]

    def extent(self, run: Run) -> tuple[Nm, Nm]:
        """Stations of a run's end faces as laid: least start and greatest end of its pieces."""
        rows, pieces = self.rows[run.name], self.pieces
        if not len(rows):
            return run.parts[0].start, run.parts[-1].end
        return int(pieces.start[rows.start : rows.stop].min()), int(pieces.end[rows.start : rows.stop].max())

    def crown(self, run: Run) -> Nm:
        """Level of the highest piece of a run: its last course may be ripped, and ends there."""
        rows = self.rows[run.name]
        return int(self.pieces.top[rows.start : rows.stop].max()) if len(rows) else run.bottom

    @cached_property
    def bridges(self) -> Mapping[str, tuple[Bridge, ...]]:
        """Openings as bridged, by run, by station."""
        out: dict[str, list[Bridge]] = {}
        for bridge in sorted(self.plan.work.bridges, key=lambda b: (b.start, b.sill, b.opening)):
            out.setdefault(bridge.run, []).append(bridge)
        return {name: tuple(some) for name, some in out.items()}

    @cached_property
    def bearings(self) -> Mapping[int, Nm]:
        """Least bearing asked of each lintel, by its row."""
        return {row: b.bearing_least for b in self.plan.work.bridges if b.bearing_least for row in b.lintel}

    @cached_property
    def beds(self) -> Mapping[str, tuple[PieceBed, ...]]:
        """Beds as surveyed, by run, by station; empty without a survey."""
        out: dict[str, list[PieceBed]] = {}
        slab = self.plan.survey
        for bed in (b for part in slab.levelled.parts for b in part.beds) if slab else ():
            out.setdefault(bed.footing.run, []).append(bed)
        return {name: tuple(sorted(some, key=lambda b: b.footing.start)) for name, some in out.items()}

    @cached_property
    def opening_names(self) -> Mapping[str, str]:
        """What the model calls an opening, by its key; empty where it has no name of its own."""
        return {o.key: distinct(o.name, o.key) if o.name != o.key else "" for run in self.plan.work.runs.values() for o in run.openings}

    @cached_property
    def items(self) -> Mapping[str, tuple[Item, ...]]:
        """Items by run, in the order of items.csv."""
        out: dict[str, list[Item]] = {}
        for item in self.plan.work.items:
            if isinstance(item, Item):
                out.setdefault(item.run, []).append(item)
        return {name: tuple(some) for name, some in out.items()}

    @cached_property
    def bars(self) -> Mapping[str, tuple[Bar, ...]]:
        """Bars that come out of what a run stands on, by storey; numbered storey by storey, run by run, by station."""
        out: dict[str, tuple[Bar, ...]] = {}
        number = 0
        for storey, runs in self.storeys.items():
            seen: dict[tuple[int, int], Bar] = {}
            for run in runs:
                found: dict[Nm, list[Item]] = {}
                for item in self.items.get(run.name, ()):
                    if item.kind == "bar" and item.start == item.end and item.bottom <= run.bottom < item.top:
                        found.setdefault(item.start, []).append(item)
                for station in sorted(found):
                    first = min(found[station], key=lambda i: (i.top, i.offset))
                    at = run.at(station, first.offset)
                    key = (round(at[0] / SAME), round(at[1] / SAME))
                    if key in seen:
                        continue
                    number += 1
                    seen[key] = Bar(number=number, run=run.name, station=station, at=at, size=first.size, above=first.top - run.bottom)
            if seen:
                out[storey] = tuple(seen.values())
        return out

    @cached_property
    def turns(self) -> tuple[Turn, ...]:
        """All steps in the order of work."""
        return self.plan.schedule.turns

    @cached_property
    def days(self) -> Mapping[int, tuple[Turn, ...]]:
        """Steps by day."""
        out: dict[int, list[Turn]] = {}
        for turn in self.turns:
            out.setdefault(turn.day, []).append(turn)
        return {day: tuple(out[day]) for day in sorted(out)}

    @cached_property
    def of_run(self) -> Mapping[str, tuple[Turn, ...]]:
        """Steps by run, in the order of work; a lead is of both its runs."""
        out: dict[str, list[Turn]] = {}
        for turn in self.turns:
            for name in dict.fromkeys(turn.step.runs):
                out.setdefault(name, []).append(turn)
        return {name: tuple(some) for name, some in out.items()}

    @cached_property
    def sawn(self) -> Mapping[int, Mapping[Setting, Sequence[tuple[int, str]]]]:
        """What is sawn ahead of each day, by setting of the saw: rows, each with the unit it is cut from."""
        out: dict[int, dict[Setting, Sequence[tuple[int, str]]]] = {}
        for setting, rows in sawn(self.plan).items():
            if setting.when == AHEAD:
                out.setdefault(setting.day, {})[setting] = rows
        return out

    @cached_property
    def cut_at(self) -> Mapping[int, int]:
        """Position in the cutting's arrays by row of the piece."""
        return {int(row): n for n, row in enumerate(self.plan.cutting.piece)}

    def weekday(self, day: int) -> str:
        """Day of the week of a day of the plan."""
        return WEEKDAYS[(self.plan.job.first_weekday + day - 1) % 7].capitalize()

    def clock(self, hours: float) -> str:
        """Time of day of an hour from the start of day 1."""
        seconds = self.plan.job.day_start_seconds + round(hours * 3600)
        minutes = round(seconds / 60) % (24 * 60)
        return f"{minutes // 60:02d}:{minutes % 60:02d}"

    def span(self, turn: Turn) -> str:
        """From when to when a hold lasts; one that ends at night is over when the next day begins, when somebody can look."""
        start, end = self.clock(turn.start_h), self.clock(turn.end_h)
        if self.at_night(turn):
            return f"day {int(turn.end_h // 24) + 2}, {self.clock(0)}"
        return start if start == end else f"{start} to {end}"

    def at_night(self, turn: Turn) -> bool:
        """Whether a step ends outside the working day, as a hold that waits for mortar may."""
        return turn.end_h % 24 > self.plan.job.day_hours + 1e-6

    def mark(self, row: int) -> str:
        """A piece's name without its run's."""
        name = self.pieces.names[row]
        return name.removeprefix(f"{self.pieces.runs[int(self.pieces.run[row])]}-")

    def mark_of(self, name: str) -> str:
        """A piece's name without its run's, from the name."""
        row = self.row_of.get(name)
        return name if row is None else self.mark(row)

    @cached_property
    def row_of(self) -> Mapping[str, int]:
        """The row of each piece by its name."""
        return {name: row for row, name in enumerate(self.pieces.names)}

    def cut_words(self, row: int) -> str:
        """What is done to a piece besides the square cuts that its size says: ``rake``, ``notch, drill``."""
        mask = int(self.pieces.cut[row])
        said = [word for bit, word in enumerate(CUTS) if mask >> bit & 1 and word not in ("length", "height")]
        work = self.pieces.work.get(row, "").split(", ")
        return ", ".join(dict.fromkeys(w for w in (*said, *work) if w))

    def size(self, row: int, figure: Callable[[float], str]) -> str:
        """Size of a cut piece: length, then height where it is ripped or raked, then both ends of a raked or mitred one."""
        p = self.pieces
        mask = int(p.cut[row])
        length, height = int(p.end[row] - p.start[row]), int(p.top[row] - p.bottom[row])
        unit = p.units[int(p.unit[row])]
        parts = [figure(length)]
        outline = p.elevation.get(row)
        if outline and mask >> CUTS.index("rake") & 1:
            ends = [[z for s, z in outline if s == at] for at in (int(p.start[row]), int(p.end[row]))]
            heights = [max(e) - min(e) if e else 0 for e in ends]
            parts.append(f"{figure(heights[0])} / {figure(heights[1])} high")
        elif height != unit.height:
            parts.append(figure(height))
        plan = p.plan.get(row)
        if plan and mask >> CUTS.index("mitre") & 1:
            left = [s for s, d in plan if d > 0]
            right = [s for s, d in plan if d < 0]
            if left and right:
                parts[0] = f"{figure(max(left) - min(left))} left face, {figure(max(right) - min(right))} right face"
        return " × ".join(parts)

"""Rule storey_order."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from wallquant.findings import Finding, Source
from wallquant.layout import Run, Work
from wallquant.rules import ParamInfo, Precedence, Rule, param
from wallquant.units import MM, Nm

BED: Nm = 40 * MM
"""Walls of one storey that stand on each other across no more than a bed have no floor between them."""
Box = tuple[float, float, float, float]


@dataclass(frozen=True, kw_only=True)
class Params:
    """Parameters of storey_order."""

    floor: float = param(
        0.0,
        ParamInfo(
            kind="number",
            text="From the last work on walls under a floor to the first on it: the floor is laid, tied, and carries",
            source=Source(basis="project"),
            unit="hours by the clock",
            least=0,
            most=4000,
        ),
    )


@dataclass(frozen=True, kw_only=True, slots=True)
class Deck:
    """A floor: runs under it, and those that are begun on it."""

    under: frozenset[str]
    over: frozenset[str]


class StoreyOrder(Rule):
    """Walls on a floor are begun when the walls under that floor are done and the floor is on.

    What it asks
    ------------
    Nothing of the layout.  Work on a connected part of walls stops until all walls are done that end under it, within the rectangle
    round it in plan, and the floor between has had its time, `floor`.  Walls of one storey that stand on each other across a bed alone
    wait for no floor.

    Why
    ---
    Nobody can stand on a floor that is not there, and a wall that is not done carries none.

    Source
    ------
    Nothing is built on a floor that is not there: common practice, no source.  How long a floor takes: project input.

    Example
    -------
    Two storeys of 2800 mm with 200 mm between them: no block of the upper one is set before the last of the lower one.
    """

    code = "storey_order"
    title = "Storey after storey"
    Params = Params

    def precede(self, work: Work) -> Iterable[Precedence]:
        """Say which floor the work on an upper part waits for."""
        of: dict[str, list[str]] = {}
        for step in work.steps:
            for run in step.runs:
                of.setdefault(run, []).append(step.name)
        for deck in decks(work):
            then = {name for run in deck.over for name in of.get(run, ())}
            first = {name for run in deck.under for name in of.get(run, ())} - then
            if first and then:
                yield Precedence(
                    first=tuple(sorted(first)),
                    then=tuple(sorted(then)),
                    hold=f"The floor over {_named(work, deck.under)} is on, tied and propped as the engineer says, and may be built on",
                    hold_seconds=round(self.params.floor * 3600),
                    reason=self.title,
                    rule=self.code,
                )

    def findings(self, work: Work) -> Iterable[Finding]:
        """Tell what time is counted for floors."""
        found = decks(work)
        if not found:
            return
        hours = self.params.floor
        counted = f"{hours:g} h by the clock are counted for each" if hours else "no time is counted for it"
        yield Finding(
            code="caution.floor",
            severity="note",
            text=f"Walls on a floor are begun when the walls under it are done and the floor is on; {counted}. "
            "Set storey_order.floor to what the floors of this project take; when a floor may be loaded is the engineer's to say.",
            times=len(found),
            measured=f"{hours:g} h",
            rules=(self.code,),
        )


def decks(work: Work) -> list[Deck]:
    """Return the floors between the walls of a plan, lowest first."""
    parts = [part for part in work.parts if part]
    bottom = {part: min(work.runs[r].bottom for r in part) for part in parts}
    head = {part: max(_head(work.runs[r]) for r in part) for part in parts}
    boxes = {part: _around([_box(work.runs[r]) for r in part]) for part in parts}
    over: dict[frozenset[str], list[str]] = {}
    for part in sorted(parts, key=lambda p: (bottom[p], p)):
        storeys = {work.runs[r].storey for r in part}
        ends = [
            run
            for other in parts
            if other != part
            for run in (work.runs[r] for r in other)
            if _meet(_box(run), boxes[part])
            and _head(run) <= bottom[part] + BED
            and (run.storey not in storeys or _head(run) < bottom[part] - BED)
        ]
        # What ends under a part that is under this one is waited for already.
        lower = [p for p in parts if p != part and _meet(boxes[p], boxes[part]) and head[p] <= bottom[part] + BED]
        floor = max((bottom[p] for p in lower), default=None)
        under = frozenset(run.name for run in ends if floor is None or _head(run) > floor + BED)
        if under:
            over.setdefault(under, []).extend(part)
    return [Deck(under=under, over=frozenset(runs)) for under, runs in over.items()]


def _head(run: Run) -> Nm:
    return max(level for _, level in run.top)


def _box(run: Run) -> Box:
    """The rectangle round a run in plan, along the axes, nanometres."""
    half, corners = run.thickness / 2, [run.at(run.first.station), run.at(run.last.station)]
    xs, ys = [x for x, _ in corners], [y for _, y in corners]
    return min(xs) - half, min(ys) - half, max(xs) + half, max(ys) + half


def _around(boxes: Iterable[Box]) -> Box:
    left, low, right, high = zip(*boxes, strict=True)
    return min(left), min(low), max(right), max(high)


def _meet(one: Box, other: Box) -> bool:
    return one[0] < other[2] and other[0] < one[2] and one[1] < other[3] and other[1] < one[3]


def _named(work: Work, runs: Iterable[str]) -> str:
    """The storeys of runs, or the runs where these have none."""
    storeys = sorted({work.runs[r].storey for r in runs} - {""})
    return ", ".join(storeys) if storeys else ", ".join(_in_order(runs))


def _in_order(runs: Iterable[str]) -> Iterator[str]:
    yield from sorted(runs, key=lambda name: (len(name), name))

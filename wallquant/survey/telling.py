"""What a survey has to tell: where to begin and why, which pieces are ripped or stripped, what no shot covers."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence

import numpy as np

from wallquant.findings import Finding, Place
from wallquant.survey.footings import Ground
from wallquant.survey.levelling import COVER, Levelled, PartBeds, PieceBed
from wallquant.survey.tying import Tied
from wallquant.units import mm, text

RULE = ("levelling_course",)
NAMED = 12
"""So many pieces are named in a sentence; all are in beds.csv."""
ELSEWHERE = 1000.0
"""A footprint further outside the shots than this, in millimetres, stands on another slab (project input): who shoots a slab stops
short of its edges, but by less than the metre or two between shots."""


def findings(found: Levelled, ground: Ground, system: str) -> Iterator[Finding]:
    """Yield what is worth telling of the slab, part by part."""
    said = _Said(ground, system)
    for names, off in found.odd:
        yield Finding(code="survey.odd-shot", severity="warning", text=disagree(names, off, system), measured=said.length(off), rules=RULE)
    if found.shift:
        yield Finding(
            code="survey.own-levels",
            severity="note",
            text=f"The survey has levels of its own; {said.length(found.shift)} is added, so that the highest point under the lowest walls "
            "is the underside that the model gives them",
            rules=RULE,
        )
    if found.skipped:
        yield Finding(
            code="survey.other-slab",
            severity="note",
            text=f"{found.skipped} connected parts of the plan do not stand on this slab; they are laid as drawn",
            rules=RULE,
        )
    for part in found.parts:
        yield from _of_part(part, said)


def disagree(names: Sequence[str], off: float, system: str) -> str:
    """Return the sentence of shots that do not agree with those beside them; `off` of the worst, millimetres."""
    much = text(mm(round(abs(off), 6)), system)
    if not names[1:]:
        where = "above" if off > 0 else "below"
        return f"Shot {names[0]} is {much} {where} what its neighbours say, and without it they agree; it counts as it is. Shoot it again"
    return (
        f"Shots {', '.join(names[:-1])} and {names[-1]} do not agree with their neighbours, by up to {much}, and no single one explains "
        "it; they count as they are. Shoot them and those beside them again"
    )


def elsewhere(found: Levelled, ground: Ground, shots: Tied, system: str) -> str:
    """Return one sentence where most pieces stand on a slab that was not shot, so that the shots are another site's; else nothing."""
    beds = [bed for part in found.parts for bed in part.beds]
    off = [bed for bed in beds if bed.beyond > ELSEWHERE]
    if 2 * len(off) <= len(beds):
        return ""
    said, worst = _Said(ground, system), max(off, key=lambda bed: bed.beyond)

    def reach(places: Sequence[tuple[float, ...]]) -> str:
        model = np.asarray(places, float)[:, :2] + ground.origin
        ends = zip("xy", model.min(axis=0).tolist(), model.max(axis=0).tolist(), strict=True)
        return ", ".join(f"{axis} {said.length(low)} to {said.length(high)}" for axis, low, high in ends)

    return (
        f"the shots are of another place: {len(off)} of the {len(beds)} pieces of course 1 lie more than {said.length(ELSEWHERE)} outside "
        f"them, {worst.footing.piece} by {said.length(worst.beyond)}; they lie at {reach(shots.points.tolist())}, the walls at "
        f"{reach([at for bed in beds for at in bed.footing.outline])}; name the shots of this site, say their unit (x_m), tie their "
        "axes to the plan by two corners with x and y, or shoot the rest of the slab too"
    )


class _Said:
    """Words for lengths."""

    def __init__(self, ground: Ground, system: str) -> None:
        self.ground, self.system = ground, system

    def length(self, value: float) -> str:
        return text(mm(round(value, 6)), self.system)


def _of_part(part: PartBeds, said: _Said) -> Iterator[Finding]:
    ground, length, kind = said.ground, said.length, part.decision.kind
    run = part.highest.piece.partition("-")[0]
    place = Place(run=run, corner=part.start, piece=part.highest.piece)
    beds = part.beds
    span = f"{length(min(b.least for b in beds))} to {length(max(b.most for b in beds))}"
    pieces, most = part.low_start
    low = (
        f" Starting at the lowest point with the usual bed of {length(ground.usual_bed)} would rip {pieces} pieces, the most by "
        f"{length(most)}."
        if pieces
        else ""
    )
    yield Finding(
        code="survey.bed",
        severity="note",
        text=f"The slab under the part of {part.part} varies by {length(part.range)}: highest under {part.highest.piece}, lowest under "
        f"{part.lowest.piece}. Begin at corner {part.start}, the nearest to the highest point, and work down; beds are {span}.{low}",
        place=place,
        measured=length(part.range),
        wanted=f"at most {length(ground.most_bed - ground.least_bed)}",
        rules=RULE,
    )
    thin = min(b.least for b in beds)
    if kind == "level" and thin < ground.usual_bed - 0.05:
        yield Finding(
            code="survey.under-usual",
            severity="note",
            text=f"The bed over the highest point of the part of {part.part} is {length(thin)}, under the usual {length(ground.usual_bed)},"
            " so that no bed is too thick at the lowest",
            place=place,
            measured=length(thin),
            wanted=length(ground.usual_bed),
            rules=RULE,
        )
    yield from _touched(part, said, place)
    bare = [b for b in beds if b.beyond > COVER]
    if bare:
        worst = max(bare, key=lambda b: b.beyond)
        yield Finding(
            code="survey.not-covered",
            severity="warning",
            text=f"{len(bare)} pieces of the part of {part.part} lie outside the shots, {worst.footing.piece} by {length(worst.beyond)};"
            " the level of the nearest place counts there. Shoot the slab up to its edges",
            place=Place(run=worst.footing.run, piece=worst.footing.piece),
            measured=length(worst.beyond),
            rules=RULE,
        )


def _touched(part: PartBeds, said: _Said, place: Place) -> Iterator[Finding]:
    """Yield what is done where beds cannot keep within their limits."""
    ground, length, done = said.ground, said.length, part.decision
    if done.kind == "level":
        return
    limits = f"{length(ground.least_bed)} to {length(ground.most_bed)}"
    why = f"the slab under the part of {part.part} varies by {length(part.range)}, more than the bed of {limits} takes up"
    if part.deep:
        why += (
            f" (from the highest point down {part.deep} pieces would stand too high, and {part.stripped} of them could take a strip of "
            f"{length(ground.least_strip)} or more)"
        )
    rips, strips, flat = (_listed(part.beds, key, said) for key in (lambda b: b.rip, lambda b: b.strip, lambda b: b.ground))
    if flat:
        yield Finding(
            code="survey.grind",
            severity="error",
            text=f"Grind the slab under {flat}, or pack the low places, before course 1 is laid: {why}, and no ripped or stripped piece "
            "would be large enough. Ask the engineer",
            place=place,
            measured=length(part.range),
            wanted=limits,
            rules=RULE,
        )
    if rips:
        yield Finding(
            code="survey.rip",
            severity="warning",
            text=f"Rip the foot of {rips}: {why}. All beds are then {limits}",
            place=place,
            measured=length(part.range),
            wanted=limits,
            rules=RULE,
        )
    if strips:
        yield Finding(
            code="survey.strip",
            severity="warning",
            text=f"Lay {strips} on strips of block, bonded under them in thin-bed mortar: {why}",
            place=place,
            measured=length(part.range),
            wanted=limits,
            rules=RULE,
        )


def _listed(beds: Sequence[PieceBed], size: Callable[[PieceBed], float], said: _Said) -> str:
    some = [(b.footing.piece, size(b)) for b in beds if size(b) > 0]
    if not some:
        return ""
    shown = ", ".join(f"{name} ({said.length(value)})" for name, value in some[:NAMED])
    more = f" and {len(some) - NAMED} more" if len(some) > NAMED else ""
    return f"{len(some)} pieces, {shown}{more}" if len(some) > 1 else shown

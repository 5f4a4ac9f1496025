"""Openings that no fixed piece bridges: a unit over them where one bears on both sides, else up to where nothing can be laid."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from wallquant.bonding.cells import level
from wallquant.bonding.coursing import Fitted
from wallquant.bonding.problem import Ask
from wallquant.layout import RunOpening
from wallquant.rules import Choice, Fixed, Sentence
from wallquant.units import MM, Nm

BEAR = 100 * MM
"""Least bearing of a unit that bridges a small opening by itself (4 in, as the least end support of lintels in IBC 2104.1.5)."""


def unbridged(fit: Fitted, spoken: Sequence[tuple[str, Sentence]], left: frozenset[str]) -> tuple[dict[str, Nm], list[Ask]]:
    """Return, for openings that no fixed piece bridges, up to where nothing can be laid, and windows for units that bridge.

    A unit bridges an opening where it bears on both sides; elsewhere, and over those in `left`, all above the opening is set aside,
    up to another opening that is bridged.
    """
    said = [s for _, s in spoken]
    fixed = {k for s in said if isinstance(s, Fixed) for k in s.opening}
    fixed |= {k for s in said if isinstance(s, Choice) for k in bridged(s)}
    open_ = [o for o in fit.openings if o.through and o.key not in fixed and o.head < _top_over(fit, o) - MM]
    borne = [o for o in fit.openings if o.through and o.key in fixed and o.key not in left]
    gaps = {o.key: _borne_over(fit, o, borne) for o in open_ if o.key in left}
    while True:
        # what lies over an opening that nothing bridges bears nothing beside it
        lost = {o.key: _borne_over(fit, o, borne) for o in open_ if o.key not in gaps and not _spanned(fit, o, gaps)}
        if not lost:
            break
        gaps |= lost
    asks: list[Ask] = []
    for o in open_:
        over = next((c for c in fit.courses.levels if c.bottom >= o.head), None)
        if over is not None and o.key not in gaps:
            asks.append(Ask(course=over.number, lo=o.start - _bear(o), hi=o.end + _bear(o), rule="engine"))
            if over.bottom > o.head:
                gaps[o.key] = over.bottom
    return gaps, asks


def raised(fit: Fitted, spoken: Sequence[tuple[str, Sentence]]) -> dict[str, Nm]:
    """Return, for openings whose fixed piece lies higher than their head, the level of its underside: nothing is laid below it."""
    catalogue = fit.run.catalogue
    head, out = {o.key: o.head + catalogue.fit.head.plus + catalogue.bed.most for o in fit.openings}, dict[str, Nm]()
    for _, one in spoken:
        for s in (f for a in one.alternatives for f in a) if isinstance(one, Choice) else (one,):
            if isinstance(s, Fixed) and s.unit and s.bottom is not None:
                out |= {k: max(s.bottom, out.get(k, s.bottom)) for k in s.opening if s.bottom > head.get(k, s.bottom)}
    return out


def _top_over(fit: Fitted, o: RunOpening) -> Nm:
    return max(level(fit.top, o.start, 1), level(fit.top, o.end, -1), *(z for s, z in fit.top if o.start < s < o.end), o.head)


def _borne_over(fit: Fitted, o: RunOpening, borne: Sequence[RunOpening]) -> Nm:
    """Return up to where nothing over an opening is carried: the next one above it as wide that is bridged, or the top."""
    over = (b.sill for b in borne if b.start <= o.start and o.end <= b.end and b.sill >= o.head)
    return min((*over, _top_over(fit, o)))


def _bear(opening: RunOpening) -> Nm:
    """Bearing of a unit over an opening on either side: together at least half of its length."""
    return max(BEAR, -(-opening.width // 2))


def _spanned(fit: Fitted, opening: RunOpening, gaps: Mapping[str, Nm]) -> bool:
    """Say whether a unit over an opening bears on masonry on both sides: no hole, no end, no run that always passes lies there."""
    over = next((c for c in fit.courses.levels if c.bottom >= opening.head), None)
    if over is None or opening.width + 2 * _bear(opening) > fit.run.unit.length or over.top > _top_over(fit, opening):
        return False
    lo, hi, joint = opening.start - _bear(opening), opening.end + _bear(opening), fit.run.catalogue.head_joint.nominal
    under = opening.head - fit.run.unit.height
    for other in fit.openings:
        head = gaps.get(other.key, other.head)
        if other is not opening and other.through and other.start < hi and other.end > lo and other.sill < over.top and head > under:
            return False
    for junction in fit.run.junctions:
        half = junction.thickness // 2
        if junction.plane is not None:
            first, last = (junction.plane.station + side * abs(junction.plane.lean) for side in (-1, 1))
        elif junction.loose and junction.taken:
            first, last = junction.taken
        elif junction.kind == "end" or junction.loose:
            first = last = {"start": fit.run.parts[0].start, "end": fit.run.parts[-1].end}.get(junction.role, hi)
        elif junction.bondable or junction.goes_first:
            continue
        else:
            first, last = junction.station - half - joint, junction.station + half + joint
        if (lo < last or junction.role == "end") and (hi > first or junction.role == "start"):
            return False
    return True


def bridged(choice: Choice) -> set[str]:
    """Return the keys of the openings that the fixed pieces of a choice bridge."""
    return {k for a in choice.alternatives for one in a if isinstance(one, Fixed) for k in one.opening}


def carried(fit: Fitted, tied: frozenset[str]) -> list[Ask]:
    """Return windows over runs that go through first and end below a course: no piece may end over what is left open there."""
    run, out = fit.run, []
    room = run.catalogue.fit.top.plus + run.catalogue.bed.most
    for junction in run.through:
        if junction.goes_first or junction.loose or (junction.bondable and junction.corner not in tied):
            continue
        over = next((c for c in fit.courses.levels if c.bottom > junction.top), None)
        if over is not None and over.number > 1 and over.bottom > junction.top + room:
            half = junction.thickness // 2 + run.catalogue.head_joint.nominal + BEAR // 2
            out.append(Ask(course=over.number, lo=junction.station - half, hi=junction.station + half, rule="engine"))
    return out

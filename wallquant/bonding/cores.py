"""Bars in their places: each piece that an upright bar crosses gets a core unit, turned where its core sits right the other way round,
or is drilled on site; a bar ends under what it cannot cross.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from math import hypot, pi

import numpy as np

from wallquant.bonding import bars
from wallquant.bonding.bars import places, rows_of
from wallquant.catalogue import Catalogue
from wallquant.files import CUTS
from wallquant.findings import Finding, Place
from wallquant.layout import Pieces, Run
from wallquant.masonry import Unit
from wallquant.rules import Item
from wallquant.units import MM, Nm, text

LENGTH, MITRE, NOTCH = (1 << CUTS.index(c) for c in ("length", "mitre", "notch"))
CLEAR: Nm = 6_350_000
"""Least clear distance of a bar to its unit in fine grout: 1/4 in (read in a trade journal; 1/2 in for coarse grout)."""
WEB: Nm = 25 * MM
"""Least that is left of a unit between a hole and its end or face (project input: the web of the catalogue's core units)."""
HOLE: Nm = 100 * MM
"""Diameter of a hole where the thickness has no core unit (project input)."""
Hole = tuple[Nm, Nm, Nm]
"""Station, offset, diameter."""


@dataclass(kw_only=True, slots=True)
class _Change:
    """What becomes of a piece."""

    unit: Unit | None = None
    turned: bool = False
    holes: list[Hole] = field(default_factory=list)
    notched: bool = False


@dataclass(frozen=True, kw_only=True, slots=True)
class _Cross:
    """A bar in a piece: which bar, and where in the piece's own run."""

    item: int
    row: int
    station: Nm
    offset: Nm


def cored(
    pieces: Pieces, items: Sequence[Item], runs: Mapping[str, Run], catalogue: Catalogue, system: str
) -> tuple[Pieces, tuple[Item, ...], tuple[Finding, ...]]:
    """Fit pieces to the upright bars that cross them.

    Parameters
    ----------
    pieces : Pieces
        As laid.
    items : sequence of Item
        Those of kind ``bar`` whose start is their end are upright.
    runs : mapping of str to Run
    catalogue : Catalogue
        For its core units.
    system : str
        ``mm`` or ``in``, for sentences.

    Returns
    -------
    pieces, items, findings
        Pieces with their units, work and holes; bars that end under a lintel or opening (`bars`); what does not fit.
    """
    if not any(bars.upright(i) for i in items):
        return pieces, tuple(items), ()
    rows = rows_of(pieces)
    parted, ended = bars.parted(items, pieces, rows, runs, system)
    findings = list(ended)
    changes: dict[int, _Change] = {}
    for n, item in enumerate(parted):
        if bars.upright(item):
            for cross in _crossed(n, item, pieces, rows, runs):
                findings += _fitted(cross, item, pieces, runs, catalogue, changes, system)
    _notches(parted, pieces, rows, runs, changes)
    return _changed(pieces, changes), tuple(parted), tuple(findings)


def _crossed(n: int, item: Item, pieces: Pieces, rows: Mapping[str, tuple[int, int]], runs: Mapping[str, Run]) -> Iterator[_Cross]:
    radius = item.size // 2
    for name, station, offset in places(item, runs):
        first, last = rows.get(name, (0, 0))
        inside = (pieces.start[first:last] < station + radius) & (pieces.end[first:last] > station - radius)
        inside &= (pieces.bottom[first:last] < item.top) & (pieces.top[first:last] > item.bottom)
        for row in (np.flatnonzero(inside) + first).tolist():
            yield _Cross(item=n, row=row, station=station, offset=offset)


def _fitted(
    cross: _Cross, item: Item, pieces: Pieces, runs: Mapping[str, Run], catalogue: Catalogue, changes: dict[int, _Change], system: str
) -> Iterator[Finding]:
    """Choose a core unit, its turn, or a hole for a piece at a bar."""
    row = cross.row
    run = runs[pieces.runs[pieces.run[row]]]
    unit = pieces.units[pieces.unit[row]]
    change = changes.setdefault(row, _Change())
    start, end = int(pieces.start[row]), int(pieces.end[row])
    whole = not pieces.cut[row] & (LENGTH | MITRE)
    now = change.unit or unit
    if any(_clear(h, cross, item.size) >= CLEAR for h in _holes(now, change, start, end, whole)):
        return
    if whole and unit.kind == "standard" and change.unit is None and not change.holes:
        for core in catalogue.of_kind("core", run.thickness):
            for turned in (False, True):
                holes = _holes(core, _Change(turned=turned), start, end, True)
                if (core.length, core.height) == (unit.length, unit.height) and any(_clear(h, cross, item.size) >= CLEAR for h in holes):
                    change.unit, change.turned = core, turned
                    return
    cores = [c.diameter for u in catalogue.of_kind("core", run.thickness) for c in u.cores]
    wide = max(min(cores, default=HOLE), item.size + 2 * CLEAR)
    change.holes.append((cross.station, cross.offset, wide))
    edge = min(cross.station - start, end - cross.station) - wide // 2
    face = run.thickness // 2 - abs(cross.offset) - wide // 2
    left = max(0, min(edge, face))
    if left < WEB:
        where = "end" if edge < face else "face"
        more = text(WEB - min(edge, face), system)
        yield Finding(
            code="bars.thin-web",
            severity="warning",
            text=f"The hole for the bar at {text(cross.station, system)} in {run.name} leaves {text(left, system)} to the {where} of "
            f"{pieces.names[row]}, {text(WEB, system)} is asked; a bar {more} farther from there has it: show it to the engineer",
            place=Place(
                run=run.name, storey=run.storey, piece=pieces.names[row], course=int(pieces.course[row]), start=cross.station,
                end=cross.station,
            ),
            measured=text(left, system),
            wanted=f"at least {text(WEB, system)}",
            rules=(item.rule,) if item.rule else (),
            cause=f"the hole for a bar lies near the {where} of a piece",
        )  # fmt: skip


def _holes(unit: Unit, change: _Change, start: Nm, end: Nm, whole: bool) -> list[Hole]:
    found = list(change.holes)
    if whole:
        for core in unit.cores:
            station = end - core.station if change.turned else start + core.station
            found.append((station, -core.offset if change.turned else core.offset, core.diameter))
    return found


def _clear(hole: Hole, cross: _Cross, size: Nm) -> float:
    """Return the clear distance of a bar to the side of a hole."""
    return hole[2] / 2 - hypot(hole[0] - cross.station, hole[1] - cross.offset) - size / 2


def _notches(
    items: Sequence[Item], pieces: Pieces, rows: Mapping[str, tuple[int, int]], runs: Mapping[str, Run], changes: dict[int, _Change]
) -> None:
    """Notch the foot of the lowest piece at each core that is filled, for inspection; a rule asks for it with an item ``inspection``."""
    for n, item in enumerate(items):
        if item.kind == "inspection":
            foot = replace(item, size=2 * MM, top=item.bottom + MM)
            low = min(_crossed(n, foot, pieces, rows, runs), key=lambda c: int(pieces.bottom[c.row]), default=None)
            if low is not None:
                changes.setdefault(low.row, _Change()).notched = True


def _changed(pieces: Pieces, changes: Mapping[int, _Change]) -> Pieces:
    """Return the pieces with their changes: units, cuts, work, holes, what is solid and what it weighs."""
    added = {c.unit.code: c.unit for c in changes.values() if c.unit is not None}
    units = tuple(sorted({**{u.code: u for u in pieces.units}, **added}.values(), key=lambda u: u.code))
    number = {u.code: n for n, u in enumerate(units)}
    unit = np.array([number[u.code] for u in pieces.units], np.int32)[pieces.unit]
    cut, solid, mass = pieces.cut.copy(), pieces.solid.copy(), pieces.mass.copy()
    work, holes = dict(pieces.work), dict(pieces.holes)
    for row, change in sorted(changes.items()):
        words = [work[row]] if row in work else []
        before = units[unit[row]]
        if change.unit is not None:
            unit[row] = number[change.unit.code]
            solid[row] *= (change.unit.solid_m3 / change.unit.volume_m3) / (before.solid_m3 / before.volume_m3)
            mass[row] *= (change.unit.solid_m3 * change.unit.density_kg_m3 / change.unit.volume_m3) / (
                before.solid_m3 * before.density_kg_m3 / before.volume_m3
            )
        if change.turned:
            words.append("turn")
        if change.holes:
            words.append("drill")
            holes[row] = tuple(sorted(change.holes))
            height = int(pieces.top[row]) - int(pieces.bottom[row])
            trough = units[unit[row]].trough
            deep = height - trough.depth if trough is not None else height  # a U unit is drilled through its base
            lost = sum(pi / 4 * d * d * deep for _, _, d in change.holes) / 1e27
            mass[row] *= max(0.0, 1 - lost / solid[row])
            solid[row] -= lost
        if change.notched:
            words.append("notch")
            cut[row] |= NOTCH
        if words:
            work[row] = ", ".join(words)
    return replace(pieces, units=units, unit=unit, cut=cut, solid=solid, mass=mass, work=work, holes=holes)

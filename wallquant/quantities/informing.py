"""Rows of materials.csv that inform and are not bought: laps in bars, what grout is mixed of, notches to close, a check of the mortar."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from itertools import pairwise
from math import fsum, pi

from wallquant.catalogue import Catalogue
from wallquant.layout import Work
from wallquant.quantities.rows import GROUTED, THIN_BED, Row
from wallquant.rules import Item
from wallquant.units import MM, text

WET_OF_DRY = 27 / 38
"""Volume of a mix over that of its dry parts, loose: 38 ft3 make a cubic yard (NAVEDTRA 14043, 'rule 38'; too much for large jobs)."""
GROUT = (1.0, 3.0)
"""Cement and fine sand of fine grout, loose volumes, within ASTM C476 as printed in NCMA TEK 59 (1974), Table II."""
SACK_M3 = 0.3048**3
"""Loose volume of a 94 lb sack of cement: one cubic foot, as rule 38 has it."""
STEEL = 7850.0
"""Density of steel, kg/m3 (common practice, no source)."""


def dry_parts(wet_m3: float, parts: Sequence[float]) -> tuple[float, ...]:
    """Return the loose volumes (m3) of the dry parts of a mortar or grout by rule 38.

    Examples
    --------
    One cubic yard of 1 : 3 takes nine and a half sacks (ft3) of cement and 28-1/2 ft3 of sand:

    >>> [round(v / 0.3048**3, 3) for v in dry_parts(27 * 0.3048**3, (1, 3))]
    [9.5, 28.5]
    """
    return tuple(wet_m3 / WET_OF_DRY * part / sum(parts) for part in parts)


def informing(work: Work, catalogue: Catalogue) -> Iterator[Row]:
    """Yield the rows, by group."""
    yield from _half_pallets(work)
    yield from _grout(work, catalogue)
    yield from _bars([i for i in work.items if isinstance(i, Item) and i.kind == "bar" and i.unit == "m"], catalogue.system)
    notched = sum("notch" in words for words in work.pieces.work.values())
    if notched:
        where = "the piece cut out is kept and put back after inspection (common practice, no source); what closes it is patch mortar above"
        yield Row(group=4, item="notches to close", net=float(notched), unit="pcs", where=where)


def _half_pallets(work: Work) -> Iterator[Row]:
    """The crews' rule of thumb beside the volume of the joints."""
    used = Counter(work.pieces.unit.tolist())
    pallets = fsum(n / u.pallet for k, n in sorted(used.items()) if (u := work.pieces.units[k]).pallet and u.kind != "lintel")
    if pallets:
        where = "check only: a bag for half a pallet of 8 in block (common practice, no source); bought is what the joints take"
        yield Row(group=4, item=f"{THIN_BED} by rule of thumb", net=2 * pallets, unit="bag", where=where)


def _grout(work: Work, catalogue: Catalogue) -> Iterator[Row]:
    wet = fsum(i.quantity for i in work.items if isinstance(i, Item) and i.kind in GROUTED and i.unit == "m3")
    if not wet:
        return
    wet *= 1 + catalogue.waste.grout
    cement, sand = dry_parts(wet, GROUT)
    where = (
        f"with {100 * catalogue.waste.grout:g} % waste, if mixed on site: fine grout 1 : 3 by loose volume (ASTM C476: 2-1/4 to 3 of fine "
        "sand, at most 1/10 of lime; coarse grout adds 1 to 2 of coarse aggregate), dry parts 38/27 of the mix"
    )
    yield Row(group=4, item="grout: cement", net=cement, unit="m3", where=where)
    yield Row(group=4, item="grout: cement in sacks of 94 lb", net=cement / SACK_M3, unit="sack", where="1 ft3 each, loose")
    yield Row(group=4, item="grout: fine sand", net=sand, unit="m3", where="loose and damp")


def _bars(long: Sequence[Item], system: str) -> Iterator[Row]:
    """Bars by size, steel by mass, laps: where two upright ones stand side by side, and what a lying one is longer than its place."""
    if not long:
        return
    for size in sorted({b.size for b in long}):
        own = [b for b in long if b.size == size]
        yield Row(
            group=4, item=f"bars of {text(size, system)}", net=fsum(b.quantity for b in own), unit="m", where=f"{len(own)} bars as placed"
        )
    laps: list[float] = []
    upright: dict[tuple[str, int, int], list[Item]] = {}
    for b in long:
        if b.start == b.end:
            upright.setdefault((b.run, b.start, b.offset), []).append(b)
        elif b.quantity * 1e9 - (b.end - b.start) > MM:
            laps.append(b.quantity - (b.end - b.start) / 1e9)
    for group in upright.values():
        group.sort(key=lambda b: (b.bottom, b.top))
        laps += [(low.top - high.bottom) / 1e9 for low, high in pairwise(group) if low.top - high.bottom > MM]
    mass = fsum(b.quantity * pi / 4 * (b.size / 1e9) ** 2 * STEEL for b in long)
    yield Row(group=4, item="steel in bars", net=mass, unit="kg", where="lengths as listed, laps included; L bars not counted")
    if laps:
        yield Row(group=4, item="laps of bars", net=fsum(laps), unit="m", where=f"{len(laps)} laps, in the length of the bars")

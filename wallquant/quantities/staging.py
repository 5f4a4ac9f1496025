"""staging.csv: which pallets come when, what each holds and serves, and where it stands; `spots` finds the places."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from math import ceil
from statistics import median
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from wallquant.building import SetAside, Wall
from wallquant.catalogue import Catalogue, Unit
from wallquant.files import SCHEDULES
from wallquant.findings import Finding
from wallquant.layout import Work
from wallquant.quantities.frames import Known
from wallquant.quantities.site import Ground
from wallquant.quantities.spots import Spot, Storeys
from wallquant.units import MM, mass_text, text

FILE = "staging.csv"
GRAVITY = 9.80665
"""Standard acceleration of free fall, m/s2 (exact by convention)."""
SERVED = 4
"""So many walls are named that a pallet serves; the rest is counted."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Load:
    """What is set down in one go: `serves` are walls and how many of its units lie in each, the most first."""

    unit: Unit
    name: str
    holds: int
    part: bool
    serves: tuple[tuple[str, int], ...]
    at: tuple[float, float]
    begin_h: float
    end_h: float
    day: int
    note: str = ""


def staging(
    table: pd.DataFrame,
    work: Work,
    materials: pd.DataFrame,
    catalogue: Catalogue,
    drawn: Iterable[Wall | SetAside],
    known: Mapping[str, Known],
    ground: Ground,
    system: str,
) -> tuple[pd.DataFrame, tuple[Finding, ...]]:
    """Return the content of staging.csv, and what is worth telling.

    Parameters
    ----------
    table : DataFrame
        As `wallquant.quantities.frames.piece_table` makes it.
    work : Work
    materials : DataFrame
        What is bought of each unit.
    catalogue : Catalogue
    drawn : iterable of Wall and SetAside
        All that stands on a storey's floor.
    known : mapping of key to Known
    ground : Ground
    system : str
        Units of sentences.

    Returns
    -------
    DataFrame
        Rows in the order of delivery, which is that of the first piece laid from each.  All pallets of a unit are full but the last;
        their number is that of materials.csv, waste spread over them.  `wall` is the wall that most of a pallet's units are for, and
        the pallet stands near the middle of these.  Lintels come apart, wall by wall: their place is that where they are laid.
    tuple of Finding
    """
    loads = sorted([*_pallets(table, work, materials, catalogue), *_lintels(table, work)], key=lambda one: (one.begin_h, one.name))
    places = Storeys.of(drawn, ground)
    floor = ground.pallet_length * ground.pallet_width / 1e18
    rows, homeless, far = [], 0, 0
    for order, load in enumerate(loads, 1):
        key = load.serves[0][0]
        k = known[key]
        mass = load.holds * catalogue.delivered_kg(load.unit)
        notes = [load.note] if load.note else []
        spot: Spot | None = None
        if load.unit.kind != "lintel":
            spot = places.find(k.storey, key, load.at, (load.day - 1) * 24.0, load.end_h)
            if spot is None:
                homeless += 1
                notes.append("no place is free: keep it away from the work until one is")
            elif spot.off_wall > ground.reach / MM:
                far += 1
                notes.append("out of reach: units are carried")
            if spot is not None and spot.off_edge is None:
                notes.append("on the ground outside the walls")
            notes += _elsewhere(load, k.storey, known)
        rows.append(_row(order, load, k, known, mass, spot, floor, "; ".join(notes)))
    frame = pd.DataFrame(rows, columns=list(SCHEDULES[FILE]))
    return frame, tuple(_told(frame, homeless, far, ground, system))


def _elsewhere(load: Load, storey: str, known: Mapping[str, Known]) -> list[str]:
    """What of a pallet is for another storey than that on which it stands."""
    others: Counter[str] = Counter()
    for key, count in load.serves:
        if known[key].storey != storey:
            others[known[key].storey] += count
    return [f"{count} of its units are for {other}" for other, count in sorted(others.items())]


def _row(
    order: int, load: Load, k: Known, known: Mapping[str, Known], mass: float, spot: Spot | None, floor: float, note: str
) -> tuple[object, ...]:
    served = [f"{known[key].name}: {count}" for key, count in load.serves[:SERVED]]
    if len(load.serves) > SERVED:
        more = len(load.serves) - SERVED
        served.append(f"{more} more wall{'' if more == 1 else 's'}: {sum(count for _, count in load.serves[SERVED:])}")
    place: tuple[float | None, ...] = (None,) * 5
    if load.unit.kind == "lintel":
        place = (*load.at, None, None, None)
    elif spot is not None:
        place = (spot.x, spot.y, spot.angle, spot.off_edge, spot.off_wall)
    pressed = mass * GRAVITY / 1000 / floor if load.unit.kind != "lintel" else None
    return (
        order, load.day, k.storey, load.name, load.unit.code, load.holds, "part" if load.part else "", round(mass, 3), k.wall, k.name,
        "; ".join(served), *(None if v is None else round(v, 1) for v in place), None if pressed is None else round(pressed, 3), note,
    )  # fmt: skip


def _pallets(table: pd.DataFrame, work: Work, materials: pd.DataFrame, catalogue: Catalogue) -> Iterator[Load]:
    """Yield the pallets of each unit: the units in laying order, a cut one where its first piece is laid."""
    bought = materials[materials["unit"] == "pcs"].set_index("item")["buy"]
    units = {u.code: u for u in work.pieces.units}
    usual = _usual(catalogue)
    laid = table.sort_values(["start_h", "step"], kind="stable")
    laid = laid[(laid["kind"] != "lintel") & (~laid["sawn"] | ~laid.duplicated("stock"))]
    for code, rows in laid.groupby("unit", observed=True, sort=True):
        unit = units[str(code)]
        each = unit.pallet or max(1, round(usual / unit.volume_m3))
        buy = int(bought[code])
        count = ceil(buy / each)
        number = np.minimum(np.arange(len(rows)) * buy // (len(rows) * each), count - 1)
        first = np.searchsorted(number, np.arange(count + 1))
        own = _Columns.of(rows)
        note = "" if unit.pallet else f"the catalogue has no pallet of it; taken as {each}"
        last = slice(0, 0)
        for at in range(count):
            last = (
                slice(first[at], first[at + 1]) if first[at] < first[at + 1] else last
            )  # one that holds only waste goes with the one before
            holds = min(each, buy - at * each)
            yield own.load(last, unit, f"pallet {at + 1} of {count}", holds, part=holds < each, note=note)


def _usual(catalogue: Catalogue) -> float:
    """Outer volume (m3) of the units on a pallet, as the catalogue's pallets have it in the middle."""
    return median([u.pallet * u.volume_m3 for u in catalogue.units if u.pallet] or [1.16])


def _lintels(table: pd.DataFrame, work: Work) -> Iterator[Load]:
    units = {u.code: u for u in work.pieces.units}
    for (_, code), rows in table[table["kind"] == "lintel"].groupby(["wall", "unit"], observed=True, sort=True):
        note = "on battens beside the openings, as the supplier says"
        yield _Columns.of(rows).load(slice(None), units[str(code)], "lintels", len(rows), part=False, note=note)


@dataclass(frozen=True, kw_only=True)
class _Columns:
    """Columns of the table of pieces, as arrays."""

    wall: NDArray[Any]
    x: NDArray[Any]
    y: NDArray[Any]
    start: NDArray[Any]
    end: NDArray[Any]
    day: NDArray[Any]

    @classmethod
    def of(cls, rows: pd.DataFrame) -> _Columns:
        names = {"wall": "wall", "x": "x_mm", "y": "y_mm", "start": "start_h", "end": "end_h", "day": "day"}
        return cls(**{key: rows[name].to_numpy() for key, name in names.items()})

    def load(self, rows: slice, unit: Unit, name: str, holds: int, *, part: bool, note: str) -> Load:
        walls = self.wall[rows]
        serves = sorted(Counter(walls.tolist()).items(), key=lambda pair: (-pair[1], pair[0]))
        mine = walls == serves[0][0]
        return Load(
            unit=unit,
            name=name,
            holds=holds,
            part=part,
            serves=tuple(serves),
            at=(float(self.x[rows][mine].mean()), float(self.y[rows][mine].mean())),
            begin_h=float(self.start[rows].min()),
            end_h=float(self.end[rows].max()),
            day=int(self.day[rows].min()),
            note=note,
        )


def _told(frame: pd.DataFrame, homeless: int, far: int, ground: Ground, system: str) -> Iterator[Finding]:
    pressed = frame["floor_kn_m2"].dropna().astype(float)
    if not len(pressed):
        return
    heaviest = frame.loc[pressed.index, "mass_kg"].max()
    mass = mass_text(heaviest, system)
    press = f"{pressed.max() * 20.88543:,.0f} lb/ft2" if system == "in" else f"{pressed.max():.1f} kN/m2"
    yield Finding(
        code="caution.pallets",
        severity="note",
        text=f"A pallet weighs up to {mass} and presses on the slab under it with up to {press}. Whether the slab, and what props it, "
        f"carries that is the engineer's to say, before the first delivery. One high, never two; at least "
        f"{text(ground.off_edge, system)} off the edge, and clear of floor openings.",
        measured=press,
    )
    if homeless or far:
        parts = []
        if homeless:
            parts.append(f"{homeless} of {len(frame)} loads find no place that is free when they are needed")
        if far:
            parts.append(f"{far} stand farther than {text(ground.reach, system)} from the wall that they are for")
        yield Finding(
            code="staging.place",
            severity="note",
            text=f"{'; '.join(parts)} (staging.csv). Bring these later or in smaller loads, or change staging in the job.",
            times=homeless + far,
        )

"""The pieces of a plan as a table: of which wall and storey each is, from which bought unit it comes, when it is laid."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from wallquant.bonding import Account
from wallquant.building import SetAside, Wall, element_keys
from wallquant.cutting import Cutting, cut_rows
from wallquant.layout import Run, Work
from wallquant.ordering import Schedule, step_of
from wallquant.units import MM, Nm

Ints = NDArray[Any]


@dataclass(frozen=True, kw_only=True, slots=True)
class Known:
    """A wall of the model as people look for it: its GlobalId, storey, name, and thickness as drawn."""

    wall: str
    storey: str
    name: str
    thickness: Nm


def known_walls(walls: Iterable[Wall], aside: Iterable[SetAside]) -> dict[str, Known]:
    """Return the model's wall by the key of each wall that is read as it, or as a part of it."""
    read, left = tuple(walls), tuple(aside)
    element = element_keys(read, left)
    out: dict[str, Known] = {}
    every: tuple[Wall | SetAside, ...] = (*read, *left)
    for one in every:
        key = element.get(one.guid, one.guid)
        out[one.guid] = Known(wall=key, storey=one.storey, name=one.name or key, thickness=one.thickness)
    return out


def piece_table(work: Work, cutting: Cutting, schedule: Schedule) -> pd.DataFrame:
    """Return one row a piece, in the order of the pieces.

    Returns
    -------
    DataFrame
        `run`, `wall` (key of the wall as read), `unit`, `kind`, `sawn` (whether it is cut from a unit), `stock` (number of that unit,
        -1), `units` (1 for a whole unit and for the first piece of a unit that is cut, so that their sum is what is used up),
        `share` (its part of that unit, offcut and kerfs shared by volume), `volume_m3`, `mass_kg`, `face_m2`, `x_mm`, `y_mm` (its
        middle), `low_mm` (over its run's underside),
        `step` (number), `start_h`, `end_h`, `day`.
    """
    p, n = work.pieces, len(work.pieces)
    runs = [work.runs[name] for name in p.runs]
    sawn = np.zeros(n, dtype=bool)
    sawn[cut_rows(p)] = True
    stock = cutting.stock_of(p)
    units = np.where(sawn, 0, 1)
    if len(cutting):
        first = cutting.order == 1
        units[cutting.piece[first]] = 1
    share = np.ones(n)
    if len(cutting):
        own = p.volume[cutting.piece]
        share[cutting.piece] = own / np.bincount(cutting.stock, weights=own)[cutting.stock]
    step = step_of(schedule.graph.steps, n)
    start, end = schedule.start[step], schedule.end[step]
    middle = (p.start + p.end) / 2
    direction = _of_run([r.direction for r in runs] or [(0.0, 0.0)], p.run)
    origin = _of_run([(float(r.start[0]), float(r.start[1])) for r in runs] or [(0.0, 0.0)], p.run)
    thick = _of_run([r.thickness for r in runs], p.run)
    return pd.DataFrame(
        {
            "run": _picked(p.runs, p.run),
            "wall": _picked(p.walls, p.wall),
            "unit": _picked(tuple(u.code for u in p.units), p.unit),
            "kind": _picked(tuple(u.kind for u in p.units), p.unit),
            "sawn": sawn,
            "stock": stock,
            "units": units,
            "share": share,
            "volume_m3": p.volume,
            "mass_kg": p.mass,
            "face_m2": p.volume / np.maximum(thick, 1) * 1e9,
            "x_mm": (origin[:, 0] + direction[:, 0] * middle) / MM,
            "y_mm": (origin[:, 1] + direction[:, 1] * middle) / MM,
            "low_mm": (p.bottom - _of_run([r.bottom for r in runs], p.run)) / MM,
            "step": step,
            "start_h": start / 3600,
            "end_h": end / 3600,
            "day": start // 86400 + 1,
        }
    )


def _picked(names: Sequence[str], index: Ints) -> Any:
    return np.array([*names, ""], dtype=object)[index] if len(index) else np.array([], dtype=object)


def _of_run(values: Sequence[Any], index: Ints) -> Any:
    return np.array(values)[index] if len(index) else np.zeros((0, 2) if values and isinstance(values[0], tuple) else 0)


def edges(run: Run) -> list[tuple[str, float, float]]:
    """Return the walls of a run with the stations (nm) between which each is accounted for: they part at their drawn boundary."""
    inner = [(a.end + b.start) / 2 for a, b in zip(run.parts, run.parts[1:], strict=False)]
    between = [float("-inf"), *inner, float("inf")]
    return [(part.wall, between[n], between[n + 1]) for n, part in enumerate(run.parts)]


def inside(work: Work) -> dict[str, dict[str, float]]:
    """Return for each run the volume (m3) of its pieces in each of its walls; a piece over a boundary is divided there."""
    p, out = work.pieces, dict[str, dict[str, float]]()
    order = np.argsort(p.run, kind="stable")
    bounds = np.searchsorted(p.run[order], np.arange(len(p.runs) + 1))
    for n, name in enumerate(p.runs):
        rows = order[bounds[n] : bounds[n + 1]]
        start, end, volume = p.start[rows], p.end[rows], p.volume[rows]
        out[name] = {wall: float((volume * within(start, end, lo, hi)).sum()) for wall, lo, hi in edges(work.runs[name])}
    return out


def shares(work: Work) -> dict[str, dict[str, float]]:
    """Return for each run the part of its pieces' volume that lies in each of its walls; the parts of one run sum to 1."""
    out: dict[str, dict[str, float]] = {}
    for run, volumes in inside(work).items():
        whole = sum(volumes.values())
        out[run] = {wall: volume / whole for wall, volume in volumes.items()} if whole else {}
    return out


def within(start: Ints, end: Ints, lo: float, hi: float) -> Any:
    """Return the part of each interval that lies between two stations."""
    return np.clip(np.minimum(end, hi) - np.maximum(start, lo), 0, None) / np.maximum(end - start, 1)


def at_station(run: Run, station: float) -> str:
    """Return the wall of a run to which a station belongs; '' where it has none."""
    return next((wall for wall, lo, hi in edges(run) if lo <= station <= hi), "")


def laid_accounts(accounts: Iterable[Account]) -> Iterator[Account]:
    """Yield the accounts in the order of their walls' names."""
    yield from sorted(accounts, key=lambda a: (len(a.wall), a.wall))

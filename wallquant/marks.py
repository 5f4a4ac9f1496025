"""Marks of an older plan that are kept: its origin, and the names of its runs, corners and pieces, by where they are.

Pallets carry the names of pieces.  A thing keeps its name where the older plan has the same thing in the same place; what is new gets
a name that the older plan does not have, so that no mark ever means two things.
"""

from __future__ import annotations

import csv
import hashlib
import re
from collections.abc import Hashable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from math import cos, radians, sin
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from wallquant.files import SCHEMA, SUMMARY, read_json
from wallquant.units import MM, Nm, mm

SAME: Nm = MM
"""A piece is in its old place where no edge of its box is farther from it (project input)."""
NEAR: Nm = 100 * MM
"""A corner is the old one within this, where it is on one of its runs (project input)."""
ASKEW = 0.02
"""Sine of the angle between two runs from which on they are not one."""
_NAMES = {"runs.csv": ("run", "R"), "corners.csv": ("corner", "K"), "pieces.csv": ("piece", "")}


@dataclass(frozen=True, kw_only=True, slots=True)
class Stretch:
    """A run as it lies: where it starts and how it goes in plan, its length and thickness, and its lowest and highest level."""

    name: str
    start: tuple[float, float]
    direction: tuple[float, float]
    length: Nm
    thickness: Nm
    bottom: Nm
    top: Nm

    def shared(self, other: Stretch) -> float:
        """Return how long two runs lie in each other; 0 where they are not one."""
        (u, v), (a, b) = self.direction, other.direction
        if abs(u * b - v * a) > ASKEW or min(self.top, other.top) - max(self.bottom, other.bottom) < min(self._high, other._high) / 2:
            return 0.0
        x, y = other.start[0] - self.start[0], other.start[1] - self.start[1]
        if abs(y * u - x * v) > max(self.thickness, other.thickness) / 2:
            return 0.0
        first, sign = x * u + y * v, 1 if u * a + v * b > 0 else -1
        lo, hi = sorted((first, first + sign * other.length))
        return max(0.0, min(float(self.length), hi) - max(0.0, lo))

    @property
    def _high(self) -> Nm:
        return self.top - self.bottom


@dataclass(frozen=True, kw_only=True, slots=True)
class Spot:
    """A corner: its name, where it is, and the runs that meet there."""

    name: str
    at: tuple[float, float]
    runs: tuple[str, ...]


@dataclass(frozen=True, kw_only=True)
class Marks:
    """What an older plan has names for.  `boxes` holds for each piece x and y of its start and end, bottom and top, nanometres."""

    origin: tuple[Nm, Nm]
    runs: tuple[Stretch, ...]
    corners: tuple[Spot, ...]
    pieces: tuple[str, ...]
    kinds: tuple[Hashable, ...]
    boxes: NDArray[np.float64]

    def run_names(self, new: Sequence[Stretch]) -> dict[str, str]:
        """Return the name of each new run: that of the old run in which it lies longest, else a number that the old plan has not."""
        found = [(-old.shared(one), n, m) for n, one in enumerate(new) for m, old in enumerate(self.runs)]
        pairs = _pairs(sorted(f for f in found if f[0] < 0))
        kept = {new[n].name: self.runs[m].name for n, m in pairs.items()}
        return _with_new(kept, [r.name for r in new], [r.name for r in self.runs], "R")

    def corner_names(self, new: Sequence[Spot], runs: Mapping[str, str]) -> dict[str, str]:
        """Return the name of each new corner; `runs` are the names of its runs by the names that they have now."""
        found = []
        for n, one in enumerate(new):
            own = {runs[r] for r in one.runs}
            for m, old in enumerate(self.corners):
                far = max(abs(a - b) for a, b in zip(one.at, old.at, strict=True))
                if far <= NEAR and own & set(old.runs):
                    found.append((far, n, m))
        kept = {new[n].name: self.corners[m].name for n, m in _pairs(sorted(found)).items()}
        return _with_new(kept, [c.name for c in new], [c.name for c in self.corners], "K")

    def piece_names(
        self, names: Sequence[str], kinds: Sequence[Hashable], boxes: NDArray[np.float64], row: Iterable[str]
    ) -> tuple[str, ...]:
        """Return the names of new pieces.

        Parameters
        ----------
        names : sequence of str
            As they are without marks.
        kinds : sequence
            What has to be the same: the unit, and how it is cut.
        boxes : float64 array, shape (n, 6)
            As `boxes` of this.
        row : iterable of str
            The name of each piece's course, to which a number is added where a new piece needs another name.
        """
        kept: dict[int, int] = {}
        if len(self.pieces) and len(names):
            far, near = cKDTree(self.boxes).query(boxes, k=1, p=np.inf, distance_upper_bound=float(SAME) + 1)
            asked = ((float(far[n]), n, int(near[n])) for n in np.flatnonzero(np.isfinite(far)).tolist())
            kept = _pairs(sorted(a for a in asked if kinds[a[1]] == self.kinds[a[2]]))
        taken, last = set(self.pieces), dict[str, int]()
        out = []
        for n, (name, course) in enumerate(zip(names, row, strict=True)):
            if n in kept:
                out.append(self.pieces[kept[n]])
                continue
            while name in taken:
                last[course] = last.get(course, 0) + 1
                name = f"{course}-{last[course]:02d}"
            taken.add(name)
            out.append(name)
        return tuple(out)


def _pairs(found: Iterable[tuple[float, int, int]]) -> dict[int, int]:
    """Give each new thing the best old one that is left."""
    out: dict[int, int] = {}
    gone: set[int] = set()
    for _, n, m in found:
        if n not in out and m not in gone:
            out[n] = m
            gone.add(m)
    return out


def _with_new(kept: Mapping[str, str], new: Sequence[str], old: Sequence[str], letter: str) -> dict[str, str]:
    number = max((int(name.removeprefix(letter)) for name in old), default=0)
    out = dict(kept)
    for name in new:
        if name not in out:
            number += 1
            out[name] = f"{letter}{number}"
    return out


def read(out: Path) -> Marks:
    """Read the marks of a plan's folder.

    Raises
    ------
    ValueError
        One sentence, where it is no plan or is damaged.
    """
    try:
        head = read_json(out / SUMMARY)
        schema, origin, sums = head["schema"], head["origin_mm"], head["files"]
    except (OSError, ValueError, KeyError, TypeError) as error:
        raise ValueError(f"{out} is no plan whose marks could be kept; name the folder of one with --marks") from error
    if schema != SCHEMA:
        raise ValueError(f"the plan in {out} is of another version ({schema}); its marks cannot be kept")
    try:
        tables = {name: _table(out / name, sums[name]) for name in _NAMES}
        return _marks(origin, tables)
    except (OSError, ValueError, KeyError, TypeError, IndexError, OverflowError) as error:
        raise ValueError(f"the plan in {out} is damaged, so that its marks cannot be kept; name the folder of a whole one") from error


def _table(file: Path, wanted: str) -> list[dict[str, str]]:
    data = file.read_bytes()
    column, letter = _NAMES[file.name]
    if hashlib.sha256(data).hexdigest() != wanted:
        raise ValueError("its bytes are others")
    rows = list(csv.DictReader(data.decode("utf-8").splitlines()))
    names = [row[column] for row in rows]
    if len(set(names)) < len(names) or not all(re.fullmatch(rf"{letter}[0-9]+", n) if letter else n for n in names):
        raise ValueError("its names are none")
    return rows


def _marks(origin: Sequence[float], tables: Mapping[str, list[dict[str, str]]]) -> Marks:
    pieces = tables["pieces.csv"]
    x, y, angle, start, end, bottom, top = (
        np.array([float(row[key]) for row in pieces]) for key in ("x_mm", "y_mm", "angle_deg", "start_mm", "end_mm", "bottom_mm", "top_mm")
    )
    u, v = np.cos(np.radians(angle)), np.sin(np.radians(angle))
    boxes = np.stack([x, y, x + u * (end - start), y + v * (end - start), bottom, top], axis=1) * MM
    return Marks(
        origin=(mm(origin[0]), mm(origin[1])),
        runs=tuple(_stretch(row) for row in tables["runs.csv"]),
        corners=tuple(
            Spot(name=c["corner"], at=(float(c["x_mm"]) * MM, float(c["y_mm"]) * MM), runs=tuple(c["runs"].split()))
            for c in tables["corners.csv"]
        ),
        pieces=tuple(row["piece"] for row in pieces),
        kinds=tuple((row["unit"], row["cut"]) for row in pieces),
        boxes=boxes,
    )


def _stretch(row: Mapping[str, Any]) -> Stretch:
    angle = radians(float(row["angle_deg"]))
    levels = [float(pair.split()[1]) for pair in row["top"].partition("(")[2].rstrip(")").split(",")]
    return Stretch(
        name=row["run"], start=(float(row["x_mm"]) * MM, float(row["y_mm"]) * MM), direction=(cos(angle), sin(angle)),
        length=mm(row["length_mm"]), thickness=mm(row["thickness_mm"]), bottom=mm(row["bottom_mm"]), top=round(max(levels) * MM),
    )  # fmt: skip

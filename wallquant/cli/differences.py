"""What differs between two plans, from their files alone.

Runs are matched by place: on one line and underside, overlapping most.  Pieces of a matched run are matched by shape and unit;
of what is left, two that have an end and an underside in common are one piece that changed, the rest was added or removed.
"""

from __future__ import annotations

import csv
import re
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from math import cos, hypot, isfinite, radians, sin
from pathlib import Path
from typing import Any

from wallquant.cli import Sentence
from wallquant.files import COLUMNS, SCHEMA, SUMMARY, read_json, vetted

NEAR = 1.0
"""Millimetres within which two ends or levels are one."""
OFF_LINE = 50.0
"""Millimetres by which a run may have moved aside and still be the same run."""
COUNTS = (
    ("walls", "counts", "walls"),
    ("walls laid", "counts", "walls_laid"),
    ("walls set aside", "counts", "walls_set_aside"),
    ("runs", "counts", "runs"),
    ("pieces", "counts", "pieces"),
    ("cuts", "counts", "cuts"),
    ("cuts, proven least", "totals", "cuts_bound"),
    ("units to buy, before waste", "counts", "units_bought"),
    ("masonry, m3", "totals", "pieces_m3"),
    ("mass as delivered, kg", "totals", "mass_kg"),
    ("hours", "totals", "hours"),
)

WORDS = ("added", "removed", "changed")
"""What can have happened to a piece."""
NUMBER = re.compile(r"-?\d+(?:\.\d+)?(?:[eE][-+]?\d+)?")

Row = Mapping[str, str]
Shape = tuple[object, ...]


@dataclass(frozen=True, kw_only=True)
class Piece:
    """A piece on its run: stations and levels in millimetres, outlines as numbers, stations first."""

    wall: str
    unit: str
    cut: str
    start: float
    end: float
    bottom: float
    top: float
    thickness: float
    outlines: tuple[tuple[float, ...], ...]

    def moved(self, shift: float) -> Piece:
        """Return the piece with its stations counted from elsewhere."""
        if not shift:
            return self
        outlines = tuple(tuple(n + shift if k % 2 == 0 else n for k, n in enumerate(line)) for line in self.outlines)
        return replace(self, start=self.start + shift, end=self.end + shift, outlines=outlines)

    @property
    def shape(self) -> Shape:
        """All that makes two pieces equal."""
        box = tuple(round(v, 2) for v in (self.start, self.end, self.bottom, self.top, self.thickness))
        return self.unit, self.cut, box, tuple(tuple(round(n, 2) for n in line) for line in self.outlines)


@dataclass(frozen=True, kw_only=True)
class Run:
    """A run in the model's own plan coordinates (millimetres), with its walls' names."""

    name: str
    at: tuple[float, float]
    angle: float
    low: float
    high: float
    bottom: float
    walls: tuple[str, ...]


@dataclass(frozen=True, kw_only=True)
class Files:
    """What is compared of a plan: totals by name, net units by code, walls (name, and whether laid) by key, runs and their pieces."""

    catalogue: str
    totals: Mapping[str, float]
    units: Mapping[str, float]
    walls: Mapping[str, tuple[str, str]]
    runs: tuple[Run, ...]
    pieces: Mapping[str, tuple[Piece, ...]]


def read(folder: Path) -> Files:
    """Read what is compared of the plan in a folder.

    Raises
    ------
    Sentence
        If the folder holds no plan, or a file of it is missing or malformed.
    """
    if not (folder / SUMMARY).is_file():
        raise Sentence(f"{folder} holds no plan (no {SUMMARY}); name a folder that 'wallquant plan' wrote")
    try:
        summary = read_json(folder / SUMMARY)
        if summary["schema"] != SCHEMA:
            raise Sentence(f"{folder} has the version {summary['schema']}, this wallquant reads {SCHEMA}; plan the model again")
        pieces: dict[str, list[Piece]] = {}
        for row in _rows(folder, "pieces.csv"):
            pieces.setdefault(row["run"], []).append(_piece(row))
        codes = {u["code"] for u in summary["catalogue"]["units"]}
        return Files(
            catalogue=str(summary["catalogue"]["code"]),
            totals={name: _number(summary[part][key]) for name, part, key in COUNTS},
            units={row["item"]: _number(row["net"]) for row in _rows(folder, "materials.csv") if row["item"] in codes},
            walls={w["guid"]: (w["name"], "laid" if w["area_m2"]["laid"] > 0 else "set aside") for w in summary["walls"]},
            runs=tuple(_run(row, summary) for row in _rows(folder, "runs.csv")),
            pieces={name: tuple(several) for name, several in pieces.items()},
        )
    except (OSError, LookupError, TypeError, ValueError, AttributeError, csv.Error) as error:
        if isinstance(error, Sentence):
            raise
        what = error.strerror if isinstance(error, OSError) else f"{type(error).__name__}: {error}"
        raise Sentence(f"the plan in {folder} cannot be read ({what}); plan the model again") from error


def _rows(folder: Path, name: str) -> Iterator[dict[str, str]]:
    with vetted(folder / name).open(encoding="utf-8", newline="") as file:
        reader = csv.DictReader(file)
        if tuple(reader.fieldnames or ()) != COLUMNS[name]:
            raise Sentence(f"{folder / name} does not have the columns of a plan; plan the model again")
        yield from reader


def _number(text: str | float) -> float:
    value = text if isinstance(text, int) else float(text)
    if not isfinite(value):
        raise ValueError(f"{text} is no number")
    return value


def _run(row: Row, summary: Mapping[str, Any]) -> Run:
    x0, y0, _ = summary["origin_mm"]
    stations = [_number(pair.split()[0]) for pair in row["top"].partition("(")[2].rstrip(")").split(",")]
    walls = [w["name"] or w["guid"] for w in summary["walls"] if row["run"] in w["runs"]]
    return Run(
        name=row["run"],
        at=(_number(row["x_mm"]) + x0, _number(row["y_mm"]) + y0),
        angle=_number(row["angle_deg"]),
        low=min(stations),
        high=max(stations),
        bottom=_number(row["bottom_mm"]),
        walls=tuple(walls),
    )


def compared(one: Files, two: Files) -> dict[str, Any]:
    """Return totals, units, runs and walls of two plans side by side, ready for JSON."""
    walls = {key: Counter[str]() for key in sorted({*one.walls, *two.walls})}
    runs = [_changes(a, b, shift, one, two, walls) for a, b, shift in matched(one.runs, two.runs)]
    return {
        "catalogues": [one.catalogue, two.catalogue],
        "totals": [_side(name, one.totals[name], two.totals[name]) for name, _, _ in COUNTS],
        "units": [_side(code, one.units.get(code, 0), two.units.get(code, 0)) for code in sorted({*one.units, *two.units})],
        "runs": runs,
        "walls": [_wall(key, one.walls.get(key), two.walls.get(key), counts) for key, counts in walls.items()],
    }


def _wall(key: str, one: tuple[str, str] | None, two: tuple[str, str] | None, counts: Mapping[str, int]) -> dict[str, Any]:
    name = (two or one or ("", ""))[0]
    state = {"one": one[1] if one else "", "two": two[1] if two else ""}
    return {"wall": key, "name": name, **state, **{word: counts[word] for word in WORDS}}


def _side(name: str, one: float, two: float) -> dict[str, Any]:
    return {"name": name, "one": one, "two": two, "difference": round(two - one, 9)}


def matched(ones: Sequence[Run], twos: Sequence[Run]) -> list[tuple[Run | None, Run | None, float]]:
    """Pair the runs of two plans, each once, those that overlap most first; the number is the second's station of the first's 0."""
    found = []
    for i, a in enumerate(ones):
        for j, b in enumerate(twos):
            place = _place(a, b)
            if place is not None:
                shift, aside, overlap = place
                found.append((-overlap, aside, abs(shift), i, j, shift))
    pairs: dict[int, tuple[int, float]] = {}
    taken: set[int] = set()
    for *_, i, j, shift in sorted(found):
        if i not in pairs and j not in taken:
            pairs[i] = (j, shift)
            taken.add(j)
    out: list[tuple[Run | None, Run | None, float]] = []
    for i, a in enumerate(ones):
        out.append((a, twos[pairs[i][0]], pairs[i][1]) if i in pairs else (a, None, 0.0))
    return out + [(None, b, 0.0) for j, b in enumerate(twos) if j not in taken]


def _place(a: Run, b: Run) -> tuple[float, float, float] | None:
    """Return shift, distance aside and overlap of two runs on one line, or None where they are not."""
    turn = (a.angle - b.angle + 180.0) % 360.0 - 180.0
    reach = max(a.high - a.low, b.high - b.low)
    if abs(a.bottom - b.bottom) > NEAR or abs(turn) > 90 or abs(sin(radians(turn))) * reach > OFF_LINE:
        return None
    u, v = cos(radians(b.angle)), sin(radians(b.angle))
    dx, dy = a.at[0] - b.at[0], a.at[1] - b.at[1]
    shift, aside = dx * u + dy * v, abs(dy * u - dx * v)
    overlap = min(a.high + shift, b.high) - max(a.low + shift, b.low)
    if aside > OFF_LINE or overlap <= NEAR:
        return None
    return (0.0 if hypot(dx, dy) < NEAR else shift), aside, overlap


def _changes(a: Run | None, b: Run | None, shift: float, one: Files, two: Files, walls: Mapping[str, Counter[str]]) -> dict[str, Any]:
    """Say how many pieces of two matched runs differ, and count them for their walls too."""
    old = [p.moved(shift) for p in one.pieces.get(a.name, ())] if a else []
    new = two.pieces.get(b.name, ()) if b else ()
    left = Counter(p.shape for p in new)
    gone = []
    for p in old:
        if left[p.shape]:
            left[p.shape] -= 1
        else:
            gone.append(p)
    come = []
    for p in new:
        if left[p.shape]:
            left[p.shape] -= 1
            come.append(p)
    pairs = _partners(gone, come)
    changed = set(pairs.values())
    told = [(p, "removed") for k, p in enumerate(gone) if k not in pairs]
    told += [(p, "changed" if k in changed else "added") for k, p in enumerate(come)]
    for p, word in told:
        if p.wall in walls:
            walls[p.wall][word] += 1
    counts = Counter(word for _, word in told)
    names = sorted({*(a.walls if a else ()), *(b.walls if b else ())})
    return {"one": a.name if a else "", "two": b.name if b else "", "walls": names, **{word: counts[word] for word in WORDS}}


def _partners(gone: Sequence[Piece], come: Sequence[Piece]) -> dict[int, int]:
    """Pair pieces that stand with one end and their underside where one of the other plan stood, each once; indices."""
    ends: dict[tuple[str, int, int], list[int]] = {}
    for k, p in enumerate(come):
        for key in _ends(p):
            ends.setdefault(key, []).append(k)
    pairs: dict[int, int] = {}
    taken: set[int] = set()
    for i, p in enumerate(gone):
        partner = next((k for key in _ends(p) for k in ends.get(key, ()) if k not in taken), None)
        if partner is not None:
            pairs[i] = partner
            taken.add(partner)
    return pairs


def _ends(p: Piece) -> tuple[tuple[str, int, int], ...]:
    return (("start", round(p.start), round(p.bottom)), ("end", round(p.end), round(p.bottom)))


def _piece(row: Row) -> Piece:
    start, end, bottom, top, thickness = (_number(row[key]) for key in ("start_mm", "end_mm", "bottom_mm", "top_mm", "thickness_mm"))
    return Piece(
        wall=row["wall"],
        unit=row["unit"],
        cut=row["cut"],
        start=start,
        end=end,
        bottom=bottom,
        top=top,
        thickness=thickness,
        outlines=(_numbers(row["elevation"]), _numbers(row["plan"])),
    )


def _numbers(wkt: str) -> tuple[float, ...]:
    return tuple(float(n) for n in NUMBER.findall(wkt))

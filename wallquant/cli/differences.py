"""What differs between two plans, from their files alone.

Runs are matched by place: on one line and underside, overlapping most.  Pieces of a matched run are matched by shape and unit;
of what is left, two that have an end and an underside in common are one piece that changed, the rest was added or removed.
"""

from __future__ import annotations

import csv
import json
import re
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from math import cos, hypot, radians, sin
from pathlib import Path
from typing import Any

from wallquant.cli import Sentence
from wallquant.files import COLUMNS, SCHEMA, SUMMARY

NEAR = 1.0
"""Millimetres within which two ends or levels are one."""
OFF_LINE = 50.0
"""Millimetres by which a run may have moved aside and still be the same run."""
COUNTS = (
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

Row = Mapping[str, str]
Shape = tuple[object, ...]


@dataclass(frozen=True, kw_only=True)
class Piece:
    """A piece on its run: stations and levels in millimetres; `shape` is all that makes two pieces equal."""

    start: float
    end: float
    bottom: float
    shape: Shape


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
    """What is compared of a plan: its summary, runs, pieces and materials."""

    summary: Mapping[str, Any]
    runs: tuple[Run, ...]
    pieces: Mapping[str, tuple[Row, ...]]
    materials: tuple[Row, ...]


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
        summary = json.loads((folder / SUMMARY).read_text(encoding="utf-8"))
        if summary["schema"] != SCHEMA:
            raise Sentence(f"{folder} has the version {summary['schema']}, this wallquant reads {SCHEMA}; plan the model again")
        pieces: dict[str, list[Row]] = {}
        for row in _rows(folder, "pieces.csv"):
            pieces.setdefault(row["run"], []).append(row)
        return Files(
            summary=summary,
            runs=tuple(_run(row, summary) for row in _rows(folder, "runs.csv")),
            pieces={name: tuple(rows) for name, rows in pieces.items()},
            materials=tuple(_rows(folder, "materials.csv")),
        )
    except (OSError, KeyError, TypeError, ValueError) as error:
        if isinstance(error, Sentence):
            raise
        what = error.strerror if isinstance(error, OSError) else f"{type(error).__name__}: {error}"
        raise Sentence(f"the plan in {folder} cannot be read ({what}); plan the model again") from error


def _rows(folder: Path, name: str) -> Iterator[dict[str, str]]:
    with (folder / name).open(encoding="utf-8", newline="") as file:
        reader = csv.DictReader(file)
        if tuple(reader.fieldnames or ()) != COLUMNS[name]:
            raise Sentence(f"{folder / name} does not have the columns of a plan; plan the model again")
        yield from reader


def _run(row: Row, summary: Mapping[str, Any]) -> Run:
    x0, y0, _ = summary["origin_mm"]
    stations = [float(pair.split()[0]) for pair in row["top"].partition("(")[2].rstrip(")").split(",")]
    walls = [w["name"] or w["guid"] for w in summary["walls"] if row["run"] in w["runs"]]
    return Run(
        name=row["run"],
        at=(float(row["x_mm"]) + x0, float(row["y_mm"]) + y0),
        angle=float(row["angle_deg"]),
        low=min(stations),
        high=max(stations),
        bottom=float(row["bottom_mm"]),
        walls=tuple(walls),
    )


def compared(one: Files, two: Files) -> dict[str, Any]:
    """Return totals, units and runs of two plans side by side, ready for JSON."""
    pairs = matched(one.runs, two.runs)
    totals = [_side(name, one.summary[part][key], two.summary[part][key]) for name, part, key in COUNTS]
    return {"catalogues": [f.summary["catalogue"]["code"] for f in (one, two)], "totals": totals, "units": _units(one, two)} | {
        "runs": [_changes(a, b, shift, one, two) for a, b, shift in pairs]
    }


def _side(name: str, one: float, two: float) -> dict[str, Any]:
    return {"name": name, "one": one, "two": two, "difference": round(two - one, 9)}


def _units(one: Files, two: Files) -> list[dict[str, Any]]:
    nets = []
    for files in (one, two):
        codes = {u["code"] for u in files.summary["catalogue"]["units"]}
        nets.append({r["item"]: float(r["net"]) for r in files.materials if r["item"] in codes})
    return [_side(code, nets[0].get(code, 0.0), nets[1].get(code, 0.0)) for code in sorted({*nets[0], *nets[1]})]


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
    turn = (a.angle - b.angle + 90.0) % 180.0 - 90.0
    reach = max(a.high - a.low, b.high - b.low)
    if abs(a.bottom - b.bottom) > NEAR or abs(sin(radians(turn))) * reach > OFF_LINE or abs(a.angle - b.angle) % 360 > 90:
        return None
    u, v = cos(radians(b.angle)), sin(radians(b.angle))
    dx, dy = a.at[0] - b.at[0], a.at[1] - b.at[1]
    shift, aside = dx * u + dy * v, abs(dy * u - dx * v)
    overlap = min(a.high + shift, b.high) - max(a.low + shift, b.low)
    if aside > OFF_LINE or overlap <= NEAR:
        return None
    return (0.0 if hypot(dx, dy) < NEAR else shift), aside, overlap


def _changes(a: Run | None, b: Run | None, shift: float, one: Files, two: Files) -> dict[str, Any]:
    old = [_piece(r, shift) for r in one.pieces.get(a.name, ())] if a else []
    new = [_piece(r, 0.0) for r in two.pieces.get(b.name, ())] if b else []
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
    changed = _partners(gone, come)
    walls = sorted({*(a.walls if a else ()), *(b.walls if b else ())})
    return {
        "one": a.name if a else "",
        "two": b.name if b else "",
        "walls": walls,
        "added": len(come) - changed,
        "removed": len(gone) - changed,
        "changed": changed,
    }


def _partners(gone: Sequence[Piece], come: Sequence[Piece]) -> int:
    """Count pieces that stand with one end and their underside where one of the other plan stood, each once."""
    ends: dict[tuple[str, int, int], list[int]] = {}
    for k, p in enumerate(come):
        for key in _ends(p):
            ends.setdefault(key, []).append(k)
    taken: set[int] = set()
    for p in gone:
        partner = next((k for key in _ends(p) for k in ends.get(key, ()) if k not in taken), None)
        if partner is not None:
            taken.add(partner)
    return len(taken)


def _ends(p: Piece) -> tuple[tuple[str, int, int], ...]:
    return (("start", round(p.start), round(p.bottom)), ("end", round(p.end), round(p.bottom)))


def _piece(row: Row, shift: float) -> Piece:
    start, end = float(row["start_mm"]) + shift, float(row["end_mm"]) + shift
    box = tuple(round(v, 2) for v in (start, end, float(row["bottom_mm"]), float(row["top_mm"]), float(row["thickness_mm"])))
    outlines = (_moved(row["elevation"], shift), _moved(row["plan"], shift))
    return Piece(start=start, end=end, bottom=float(row["bottom_mm"]), shape=(row["unit"], row["cut"], box, outlines))


def _moved(wkt: str, shift: float) -> tuple[float, ...]:
    """Return the numbers of a WKT outline, stations moved."""
    numbers = [float(n) for n in re.findall(r"-?\d+(?:\.\d+)?(?:e-?\d+)?", wkt)]
    return tuple(round(n + shift if k % 2 == 0 else n, 2) for k, n in enumerate(numbers))

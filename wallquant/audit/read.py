"""A plan as its files tell it: one record a file, columns as arrays, lengths in millimetres as written."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Any

import numpy as np

from wallquant.audit.cells import Floats, Ints, Table, Trouble, Value, json_file, table
from wallquant.audit.header import Header, header
from wallquant.files import COLUMNS, FINDINGS, SAW_LIST, SCHEDULES, SUMMARY

MM = 1e-3
"""Lengths that differ by no more than this are the same (rounding of the files), mm."""


@dataclass(frozen=True, kw_only=True)
class Pieces:
    """Columns of pieces.csv; `run` and `unit` are rows of runs.csv and of the catalogue's units (-1: unknown)."""

    name: tuple[str, ...]
    run: Ints
    course: Ints
    unit: Ints
    cut: tuple[str, ...]
    work: tuple[str, ...]
    holes: tuple[str, ...]
    start: Floats
    end: Floats
    bottom: Floats
    top: Floats
    thickness: Floats
    x: Floats
    y: Floats
    angle: Floats
    elevation: dict[int, Any]
    plan: dict[int, Any]
    volume: Floats
    solid: Floats
    mass: Floats
    wall: tuple[str, ...]
    step: tuple[str, ...]
    stock: tuple[str, ...]

    @property
    def count(self) -> int:
        """Return the number of pieces."""
        return len(self.name)

    @cached_property
    def row(self) -> dict[str, int]:
        """Return the row of each piece name."""
        return {name: at for at, name in enumerate(self.name)}


@dataclass(frozen=True, kw_only=True, slots=True)
class Runs:
    """Columns of runs.csv."""

    name: tuple[str, ...]
    x: Floats
    y: Floats
    angle: Floats
    length: Floats
    thickness: Floats
    bottom: Floats
    top: dict[int, Any]
    start_corner: tuple[str, ...]
    end_corner: tuple[str, ...]


@dataclass(frozen=True, kw_only=True, slots=True)
class Corner:
    """A row of corners.csv."""

    name: str
    kind: str
    x: float
    y: float
    runs: tuple[str, ...]
    bonded: bool
    phase: tuple[str, ...]


@dataclass(frozen=True, kw_only=True, slots=True)
class Told:
    """A finding of findings.json, as far as the audit asks for it."""

    code: str
    text: str
    run: str
    corner: str
    opening: str
    piece: str
    course: int | None
    times: int
    rules: tuple[str, ...]


@dataclass(frozen=True, kw_only=True, slots=True)
class Plan:
    """The files of a plan folder; `table` is pieces.csv as text."""

    header: Header
    table: Table
    pieces: Pieces
    runs: Runs
    corners: tuple[Corner, ...]
    courses: Table
    openings: Table
    items: Table
    steps: Table
    precedences: Table
    materials: Table
    cuts: Table
    told: tuple[Told, ...]
    schedules: Mapping[str, Table | Trouble]
    """Files that are made from the others, as far as the plan has them, or why one cannot be read."""

    def schedule(self, name: str) -> Table | None:
        """Return a file that is made from the others, None where the plan has it not; raise the `Trouble` that it is in."""
        found = self.schedules.get(name)
        if isinstance(found, Trouble):
            raise found
        return found


def read(folder: Path) -> Plan:
    """Read a plan folder.

    Raises
    ------
    Trouble
        If a file is missing or cannot be read, or names a run or unit that is not there.
    """
    head = header(Value(json_file(folder, SUMMARY), SUMMARY))
    tables = {name: table(folder, name, columns) for name, columns in COLUMNS.items()}
    runs = _runs(tables["runs.csv"])
    codes = {unit.code: at for at, unit in enumerate(head.units)}
    made = {**SCHEDULES, "saw_list.csv": SAW_LIST}
    return Plan(
        header=head,
        table=tables["pieces.csv"],
        pieces=_pieces(tables["pieces.csv"], {name: at for at, name in enumerate(runs.name)}, codes),
        runs=runs,
        corners=_corners(tables["corners.csv"]),
        courses=tables["courses.csv"],
        openings=tables["openings.csv"],
        items=tables["items.csv"],
        steps=tables["steps.csv"],
        precedences=tables["precedences.csv"],
        materials=tables["materials.csv"],
        cuts=tables["cuts.csv"],
        told=_told(Value(json_file(folder, FINDINGS), FINDINGS)),
        schedules={name: _made(folder, name, columns) for name, columns in made.items() if (folder / name).is_file()},
    )


def _made(folder: Path, name: str, columns: Iterable[str]) -> Table | Trouble:
    """Read a file that is made from the others; what is wrong with it keeps no check of these from being made."""
    try:
        return table(folder, name, columns)
    except Trouble as trouble:
        return trouble


def _unique(rows: Table, column: str) -> tuple[str, ...]:
    names = rows.texts(column)
    seen: set[str] = set()
    for at, name in enumerate(names):
        if name in seen:
            raise Trouble(f"{rows.name}, line {at + 2}: {column} {name} is there twice; write the plan anew")
        seen.add(name)
    return names


def _rows(rows: Table, column: str, known: dict[str, int], file: str) -> Ints:
    cells = rows.texts(column)
    found = np.array([known.get(cell, -1) for cell in cells], dtype=np.int64)
    if (found < 0).any():
        at = int(np.flatnonzero(found < 0)[0])
        raise Trouble(f"{rows.name}, line {at + 2}: {column} '{cells[at]}' is not in {file}; write the plan anew or mend the cell")
    return found


def _pieces(rows: Table, runs: dict[str, int], units: dict[str, int]) -> Pieces:
    number = rows.numbers
    pieces = Pieces(
        name=_unique(rows, "piece"),
        run=_rows(rows, "run", runs, "runs.csv"),
        course=rows.wholes("course"),
        unit=np.array([units.get(code, -1) for code in rows.texts("unit")], dtype=np.int64),
        cut=rows.texts("cut"),
        work=rows.texts("work"),
        holes=rows.texts("holes"),
        start=number("start_mm"),
        end=number("end_mm"),
        bottom=number("bottom_mm"),
        top=number("top_mm"),
        thickness=number("thickness_mm"),
        x=number("x_mm"),
        y=number("y_mm"),
        angle=number("angle_deg"),
        elevation=rows.shapes("elevation", "Polygon"),
        plan=rows.shapes("plan", "Polygon"),
        volume=number("volume_m3"),
        solid=number("solid_m3"),
        mass=number("mass_kg"),
        wall=rows.texts("wall"),
        step=rows.texts("step"),
        stock=rows.texts("stock"),
    )
    flat = np.flatnonzero((pieces.end <= pieces.start) | (pieces.top <= pieces.bottom))
    if flat.size:
        raise Trouble(
            f"pieces.csv, line {flat[0] + 2}: start_mm to end_mm or bottom_mm to top_mm of {pieces.name[flat[0]]} is nothing; "
            "write the plan anew or mend the cell"
        )
    return pieces


def _runs(rows: Table) -> Runs:
    tops = rows.shapes("top", "LineString")
    bare = [at for at in range(rows.count) if at not in tops]
    if bare:
        raise Trouble(f"runs.csv, line {bare[0] + 2}: top is empty; write the plan anew or mend the cell")
    return Runs(
        name=_unique(rows, "run"),
        x=rows.numbers("x_mm"),
        y=rows.numbers("y_mm"),
        angle=rows.numbers("angle_deg"),
        length=rows.numbers("length_mm"),
        thickness=rows.numbers("thickness_mm"),
        bottom=rows.numbers("bottom_mm"),
        top=tops,
        start_corner=rows.texts("start_corner"),
        end_corner=rows.texts("end_corner"),
    )


def _corners(rows: Table) -> tuple[Corner, ...]:
    x, y = rows.numbers("x_mm"), rows.numbers("y_mm")
    names, kinds, bonded = _unique(rows, "corner"), rows.texts("kind"), rows.texts("bonded")
    runs, phases = rows.lists("runs"), rows.lists("phase")
    for at, cell in enumerate(bonded):
        if cell not in ("true", "false", ""):
            raise Trouble(f"corners.csv, line {at + 2}: bonded '{cell}' is neither true nor false; mend the cell")
    return tuple(
        Corner(name=names[at], kind=kinds[at], x=float(x[at]), y=float(y[at]), runs=runs[at], bonded=bonded[at] == "true", phase=phases[at])
        for at in range(rows.count)
    )


def _told(raw: Value) -> tuple[Told, ...]:
    found = []
    for one in raw["findings"].items():
        place = one["place"]
        words = {}
        for key in ("run", "corner", "opening", "piece"):
            value = place.maybe(key)
            words[key] = value.text() if value else ""
        course = place.maybe("course")
        found.append(
            Told(
                code=one["code"].text(),
                text=one["text"].text(),
                course=round(course.number()) if course else None,
                times=round(one["times"].number()),
                rules=tuple(rule.text() for rule in one["rules"].items()),
                **words,
            )
        )
    return tuple(found)

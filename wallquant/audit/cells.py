"""Cells of a plan's files: CSV columns as text or numbers, JSON values by their path; one sentence where one is wrong."""

from __future__ import annotations

import csv
import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
import shapely

from wallquant.files import read_json, vetted

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]


class Trouble(Exception):
    """A file of the plan that cannot be read; its text is one sentence: what, where, what to do."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Table:
    """One CSV file.

    Attributes
    ----------
    name : str
        File name.
    columns : dict
        Column name to its cells, from the second line of the file on.
    count : int
        Number of rows.
    """

    name: str
    columns: dict[str, tuple[str, ...]]
    count: int

    def texts(self, column: str) -> tuple[str, ...]:
        """Return the cells of a column as they stand."""
        return self.columns[column]

    def numbers(self, column: str, *, blank: float | None = None) -> Floats:
        """Return a column as finite numbers; empty cells become `blank`, or are trouble where that is None."""
        cells = self.columns[column]
        if blank is not None:
            cells = tuple(cell or repr(blank) for cell in cells)
        try:
            values = np.array(cells, dtype=np.float64)
        except ValueError:
            values = np.full(len(cells), np.inf)
        if not (np.isfinite(values) | (np.isnan(values) & (blank is not None))).all():
            for row, cell in enumerate(self.columns[column]):
                if not _is_number(cell) and not (blank is not None and not cell):
                    raise Trouble(f"{self.name}, line {row + 2}: {column} '{cell}' is no number; write the plan anew or mend the cell")
        return values

    def wholes(self, column: str, *, blank: int | None = None) -> Ints:
        """Return a column as whole numbers."""
        values = self.numbers(column, blank=None if blank is None else float(blank))
        if (values != np.round(values)).any():
            row = int(np.flatnonzero(values != np.round(values))[0])
            raise Trouble(f"{self.name}, line {row + 2}: {column} '{self.columns[column][row]}' is no whole number; mend the cell")
        return values.astype(np.int64)

    def lists(self, column: str) -> tuple[tuple[str, ...], ...]:
        """Return cells that are lists separated by spaces."""
        return tuple(tuple(cell.split()) for cell in self.columns[column])

    def shapes(self, column: str, kind: str) -> dict[int, Any]:
        """Return the cells that hold WKT of one kind (``Polygon``, ``LineString``), by row; empty cells are left out."""
        found: dict[int, Any] = {}
        for row, cell in enumerate(self.columns[column]):
            if not cell:
                continue
            try:
                shape = shapely.from_wkt(cell)
            except shapely.errors.ShapelyError:
                shape = None
            if shape is None or shape.geom_type != kind or shape.is_empty:
                raise Trouble(f"{self.name}, line {row + 2}: {column} '{cell[:60]}' is no WKT {kind}; write the plan anew or mend the cell")
            found[row] = shape
        return found


def _is_number(cell: str) -> bool:
    try:
        return math.isfinite(float(cell))
    except ValueError:
        return False


def table(folder: Path, name: str, wanted: Iterable[str]) -> Table:
    """Read one CSV file of the plan and check that it has the columns that are `wanted`.

    Raises
    ------
    Trouble
        If the file is missing, is no UTF-8, lacks a column, or has a row of another length than its header.
    """
    try:
        with vetted(folder / name).open(encoding="utf-8", newline="") as stream:
            rows = list(csv.reader(stream))
    except FileNotFoundError as error:
        raise Trouble(f"{name} is missing in {folder.name}; write the plan anew") from error
    except (OSError, UnicodeDecodeError, csv.Error) as error:
        raise Trouble(f"{name} cannot be read ({getattr(error, 'strerror', None) or error}); write the plan anew") from error
    header = rows[0] if rows else []
    lacking = [column for column in wanted if column not in header]
    if lacking:
        raise Trouble(f"{name} lacks the column {lacking[0]}; write the plan anew")
    for line, row in enumerate(rows, start=1):
        if len(row) != len(header):
            raise Trouble(f"{name}, line {line}: {len(row)} cells where the header has {len(header)}; mend the line")
    body = rows[1:]
    columns = list(zip(*body, strict=True)) if body else [()] * len(header)
    return Table(name=name, columns={title: tuple(cells) for title, cells in zip(header, columns, strict=True)}, count=len(body))


def json_file(folder: Path, name: str) -> Any:
    """Read one JSON file of the plan."""
    try:
        return read_json(folder / name)
    except FileNotFoundError as error:
        raise Trouble(f"{name} is missing in {folder.name}; write the plan anew") from error
    except (OSError, ValueError) as error:
        raise Trouble(f"{name} cannot be read ({getattr(error, 'strerror', None) or error}); write the plan anew") from error


@dataclass(frozen=True, slots=True)
class Value:
    """A value of a JSON file that knows its path, so that a wrong one can be named."""

    raw: Any
    path: str

    def __getitem__(self, key: str) -> Value:
        if not isinstance(self.raw, dict) or key not in self.raw:
            raise Trouble(f"{self.path} has no '{key}'; write the plan anew")
        return Value(self.raw[key], f"{self.path}, {key}")

    def maybe(self, key: str) -> Value | None:
        """Return the value under `key`, or None where it is absent or null."""
        return self[key] if isinstance(self.raw, dict) and self.raw.get(key) is not None else None

    def number(self) -> float:
        """Return a finite number."""
        if isinstance(self.raw, bool) or not isinstance(self.raw, int | float) or not math.isfinite(self.raw):
            raise Trouble(f"{self.path}: {self.raw!r:.60} is no number; write the plan anew")
        return float(self.raw)

    def text(self) -> str:
        """Return a text."""
        if not isinstance(self.raw, str):
            raise Trouble(f"{self.path}: {self.raw!r:.60} is no text; write the plan anew")
        return self.raw

    def items(self) -> Sequence[Value]:
        """Return the members of a list."""
        if not isinstance(self.raw, list):
            raise Trouble(f"{self.path}: a list is wanted; write the plan anew")
        return [Value(one, f"{self.path}[{at}]") for at, one in enumerate(self.raw)]

    def each(self, read: Callable[[Value], float]) -> dict[str, float]:
        """Return a mapping with `read` applied to its values."""
        if not isinstance(self.raw, dict):
            raise Trouble(f"{self.path}: a mapping is wanted; write the plan anew")
        return {str(key): read(self[key]) for key in self.raw}

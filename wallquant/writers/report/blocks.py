"""The plan's tables as compact JSON for the page: columns, not rows; repeated words and numbers by their index."""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Iterable, Iterator, Mapping
from typing import Any

import numpy as np
import pandas as pd

from wallquant.writers.report.words import first_weekday

_RING = re.compile(r"\(([^()]+)\)")
Json = Any


def json_text(value: Json) -> str:
    """Return `value` as JSON that is safe inside a script element: no ``<``, no ``>``, no ``&``."""
    text = json.dumps(value, ensure_ascii=False, separators=(",", ":"), allow_nan=False)
    for sign in "<>&\u2028\u2029":
        if sign in text:
            text = text.replace(sign, f"\\u{ord(sign):04x}")
    return text


def building_block(summary: Mapping[str, Any], tables: Mapping[str, pd.DataFrame]) -> dict[str, Json]:
    """Return what the page needs at once: runs, corners, openings, walls' outlines, steps, reasons and the saw list.

    Parameters
    ----------
    summary : mapping
        As in summary.json.
    tables : mapping of str to DataFrame
        The plan's CSV files.

    Returns
    -------
    dict
        JSON values only.  Lengths in millimetres, to 0.001 mm.
    """
    pieces, runs, steps = tables["pieces.csv"], tables["runs.csv"], tables["steps.csv"]
    step_of = {name: i for i, name in enumerate(_texts(steps["step"]))}
    return {
        "unit": summary["people_unit"],
        "weekday": first_weekday(summary),
        "units": _units(summary, tables),
        "cuts": sorted(set(_texts(pieces["cut"]))),
        "works": sorted(set(_texts(pieces["work"]))),
        "masses": sorted(set(_rounded(pieces["mass_kg"], 2))),
        "runs": _runs(runs, pieces, step_of),
        "corners": _records(tables["corners.csv"], ("corner", "kind", "x_mm", "y_mm", "runs", "bonded")),
        "openings": _records(tables["openings.csv"], tuple(tables["openings.csv"].columns)),
        "walls": [_wall(wall) for wall in summary["walls"]],
        "steps": _columns(steps, ("step", "kind", "run", "course", "corner", "crew", "start_h", "end_h", "day", "text")),
        "why": _why(tables["precedences.csv"], step_of),
        "saw": _columns(tables["cuts.csv"], ("stock", "unit", "piece", "length_mm", "height_mm", "angle_deg", "offcut_mm")),
    }


def run_blocks(tables: Mapping[str, pd.DataFrame], building: Mapping[str, Json]) -> Iterator[str]:
    """Yield, for each row of runs.csv, its pieces, courses and items as JSON text.

    Columns are made once for all runs and then shared out, because a table's own slices cost more than the writing.
    """
    pieces = tables["pieces.csv"]
    boxes = pieces[["bottom_mm", "top_mm"]].to_numpy(dtype=float).round(3)
    levels, level = np.unique(boxes, axis=0, return_inverse=True) if len(boxes) else (boxes, np.empty(0, dtype=np.intp))
    columns = {
        "c": pieces["course"].to_numpy(),
        "s": _objects(_rounded(pieces["start_mm"])),
        "e": _objects(_rounded(pieces["end_mm"])),
        "u": _codes(pieces["unit"], [unit["name"] for unit in building["units"]]),
        "k": _codes(pieces["cut"], building["cuts"]),
        "w": _codes(pieces["work"], building["works"]),
        "m": _codes(pd.Series(_rounded(pieces["mass_kg"], 2)), building["masses"]),
        "t": _codes(pieces["step"], building["steps"]["step"]),
    }
    names = pieces["piece"].to_numpy(dtype=object)
    lintels = np.isin(names.astype(str), sorted(_lintels(tables)))
    outlines = {"shape": pieces["elevation"].to_numpy(dtype=object), "plan": pieces["plan"].to_numpy(dtype=object)}
    courses = _shared(tables["courses.csv"], ("course", "bottom_mm", "top_mm", "offset_mm"))
    items = _shared(tables["items.csv"], ("kind", "start_mm", "end_mm", "bottom_mm", "top_mm", "size_mm", "piece"))
    at, nothing = _places(pieces["run"]), np.empty(0, dtype=np.intp)
    for run in (record["run"] for record in building["runs"]):
        rows = at.get(run, nothing)
        used, of = np.unique(level.reshape(-1)[rows], return_inverse=True)
        block: dict[str, Json] = {key: column[rows].tolist() for key, column in columns.items()}
        block |= _named([str(name) for name in names[rows]], f"{run}-")
        block |= {"levels": [_short(levels[one]) for one in used], "l": of.tolist(), "lintels": np.flatnonzero(lintels[rows]).tolist()}
        for key, texts in outlines.items():
            block[key] = {str(i): rings(str(texts[rows[i]])) for i in np.flatnonzero(texts[rows].astype(bool)).tolist()}
        yield json_text({**block, "courses": courses(run), "items": items(run)})


def rings(wkt: str) -> list[list[float]]:
    """Return the rings of WKT polygons as flat lists of coordinates; an empty text has none.

    Examples
    --------
    >>> rings("POLYGON ((0 0, 5 0, 5 2.5, 0 0))")
    [[0, 0, 5, 0, 5, 2.5, 0, 0]]
    """
    return [_short(np.array(ring.replace(",", " ").split(), dtype=float)) for ring in _RING.findall(wkt)]


def _named(names: list[str], prefix: str) -> dict[str, str]:
    """Names in one text; what all of them start with is said once."""
    shared = prefix if all(name.startswith(prefix) for name in names) else ""
    return {"prefix": shared, "names": " ".join(name[len(shared) :] for name in names)}


def _shared(table: pd.DataFrame, names: tuple[str, ...]) -> Callable[[str], dict[str, list[Json]]]:
    """Return what gives a run's rows of a table, column by column."""
    at, columns = _places(table["run"]), {name: _objects(_plain(table[name])) for name in names}

    def of(run: str) -> dict[str, list[Json]]:
        rows = at.get(run, np.empty(0, dtype=np.intp))
        return {name: column[rows].tolist() for name, column in columns.items()}

    return of


def _objects(values: list[Json]) -> np.ndarray[Any, np.dtype[np.object_]]:
    """A column that keeps whole numbers whole and nothing None."""
    column = np.empty(len(values), dtype=object)
    column[:] = values
    return column


def _runs(runs: pd.DataFrame, pieces: pd.DataFrame, step_of: Mapping[str, int]) -> list[dict[str, Json]]:
    """Runs with their extent as laid and the number of pieces that each step lays in them."""
    at = _places(pieces["run"])
    steps = pieces["step"].map(step_of).fillna(-1).to_numpy(dtype=int)
    starts, ends = pieces["start_mm"].to_numpy(dtype=float), pieces["end_mm"].to_numpy(dtype=float)
    courses = pieces["course"].to_numpy()
    cut = pieces["cut"].to_numpy(dtype=object).astype(bool)
    found = _records(runs, tuple(runs.columns))
    for record in found:
        rows = at.get(record["run"], np.empty(0, dtype=np.intp))
        which, counts = np.unique(steps[rows], return_counts=True)
        record["top"] = rings(record["top"])[0] if record["top"] else []
        record["lo"] = float(starts[rows].min().round(3)) if len(rows) else 0
        record["hi"] = float(ends[rows].max().round(3)) if len(rows) else record["length_mm"]
        record["courses"] = np.unique(courses[rows]).tolist()
        record["pieces"], record["cuts"] = len(rows), int(cut[rows].sum())
        record["at"], record["counts"] = which.tolist(), counts.tolist()
    return found


def _units(summary: Mapping[str, Any], tables: Mapping[str, pd.DataFrame]) -> list[dict[str, str]]:
    """Units that have pieces, each with what it is to the eye: standard, core, U or lintel."""
    known = summary["catalogue"].get("units", [])
    entries = known if isinstance(known, list) else [{"code": code, **entry} for code, entry in known.items()]
    kinds = {str(entry.get("code", "")): unit_kind(entry) for entry in entries}
    names = sorted(set(_texts(tables["pieces.csv"]["unit"])))
    return [{"name": name, "kind": kinds.get(name, "standard")} for name in names]


def unit_kind(entry: Mapping[str, Any]) -> str:
    """Return what a catalogue's unit is to the eye: ``lintel``, ``U``, ``core`` or ``standard``."""
    kind = str(entry.get("kind", ""))
    if kind in ("lintel", "U", "core", "standard"):
        return kind
    if entry.get("trough") or entry.get("troughs"):
        return "U"
    return "core" if entry.get("cores") else "standard"


def _lintels(tables: Mapping[str, pd.DataFrame]) -> set[str]:
    openings = tables["openings.csv"]
    bridged = openings[openings["bridged"] == "lintel"]
    return {name for cell in _texts(bridged["lintel"]) for name in cell.split()}


def _wall(wall: Mapping[str, Any]) -> dict[str, Json]:
    return {
        "guid": wall["guid"],
        "name": wall["name"],
        "storey": wall["storey"],
        "runs": list(wall["runs"].split() if isinstance(wall["runs"], str) else wall["runs"]),
        "outline": [[round(float(x), 1), round(float(y), 1)] for x, y in wall.get("footprint_mm") or []],
        "laid": wall["area_m2"]["laid"] > 0,
        "reasons": list(wall["reasons"]),
    }


def _why(table: pd.DataFrame, step_of: Mapping[str, int]) -> dict[str, Json]:
    """What comes before each step, and the reason; rows that name no step of this plan are kept by name."""
    reasons, rules = sorted(set(_texts(table["reason"]))), sorted(set(_texts(table["rule"])))
    return {
        "first": [step_of.get(name, name) for name in _texts(table["first"])],
        "then": [step_of.get(name, -1) for name in _texts(table["then"])],
        "lag_h": _rounded(table["lag_h"]),
        "reason": _codes(table["reason"], reasons).tolist(),
        "rule": _codes(table["rule"], rules).tolist(),
        "reasons": reasons,
        "rules": rules,
    }


def _places(column: pd.Series[Any]) -> dict[str, np.ndarray[Any, np.dtype[np.intp]]]:
    """Row numbers by value, each in the file's order."""
    codes, values = pd.factorize(column)
    order = np.argsort(codes, kind="stable")
    edges = np.searchsorted(codes[order], np.arange(len(values) + 1))
    return {str(value): order[edges[i] : edges[i + 1]] for i, value in enumerate(values)}


def _codes(column: pd.Series[Any], words: list[Any]) -> np.ndarray[Any, np.dtype[np.intp]]:
    """Each value's place in `words`; -1 where it is not among them."""
    found: np.ndarray[Any, np.dtype[np.intp]] = pd.Index(words, dtype=column.dtype if words else None).get_indexer(pd.Index(column))
    return found


def _texts(column: pd.Series[Any]) -> list[str]:
    return [str(value) for value in column.tolist()]


def _rounded(column: pd.Series[Any], digits: int = 3) -> list[float]:
    return _short(column.to_numpy(dtype=float), digits)


def _short(values: np.ndarray[Any, Any], digits: int = 3) -> list[Any]:
    """Numbers as short as they are exact enough; whole ones without a point, missing ones as None."""
    return [None if v != v else int(v) if v == int(v) else v for v in values.round(digits).tolist()]


def _columns(table: pd.DataFrame, names: Iterable[str]) -> dict[str, list[Json]]:
    return {name: _plain(table[name]) for name in names}


def _records(table: pd.DataFrame, names: tuple[str, ...]) -> list[dict[str, Json]]:
    columns = [_plain(table[name]) for name in names]
    return [dict(zip(names, row, strict=True)) for row in zip(*columns, strict=True)]


def _plain(column: pd.Series[Any]) -> list[Json]:
    if pd.api.types.is_bool_dtype(column):
        return [bool(value) for value in column]
    if pd.api.types.is_numeric_dtype(column):
        return _rounded(column)
    return ["" if value is None or value != value else value if isinstance(value, (bool, int, float)) else str(value) for value in column]

"""What stands on the slab: the pieces of course 1, with their footprints, from a plan in memory or from its files."""

from __future__ import annotations

import csv
from dataclasses import dataclass
from math import cos, radians, sin
from pathlib import Path

import numpy as np

from wallquant.files import SUMMARY, read_json, vetted
from wallquant.layout import Work
from wallquant.survey.shots import SurveyError
from wallquant.units import MM

XY = tuple[float, float]


@dataclass(frozen=True, kw_only=True, slots=True)
class Footing:
    """A piece of course 1: its run, connected part, stations, footprint and height; millimetres.

    `part` is the part's first run and `bottom` the level of the run's underside; `gap` is the bedded joint behind the piece.
    """

    piece: str
    run: str
    part: str
    bottom: float
    start: float
    end: float
    height: float
    gap: float
    ends: tuple[XY, XY]
    outline: tuple[XY, ...]


@dataclass(frozen=True, kw_only=True, slots=True)
class Mark:
    """A corner of the plan: its place, and the stations at which the runs that are set there meet it; millimetres."""

    corner: str
    at: XY
    stations: tuple[tuple[str, float], ...]


@dataclass(frozen=True, kw_only=True, slots=True)
class Ground:
    """All that the survey needs of a plan."""

    footings: tuple[Footing, ...]
    marks: tuple[Mark, ...]
    origin: XY
    least_bed: float
    usual_bed: float
    most_bed: float
    joint: float
    least_rip: float
    least_strip: float
    system: str


def footings(work: Work, origin: XY) -> Ground:
    """Return the ground of a laid plan; `origin` in millimetres."""
    p, book = work.pieces, work.catalogue
    part = {name: names[0] for names in work.parts for name in names}
    rows = np.flatnonzero((p.course == 1) & (p.fixed < 0))
    first: dict[int, int] = {}
    for row in rows.tolist():
        at = int(p.run[row])
        first[at] = min(first.get(at, int(p.bottom[row])), int(p.bottom[row]))
    laid = [r for r in rows.tolist() if int(p.bottom[r]) == first[int(p.run[r])]]
    out = []
    for n, row in enumerate(laid):
        run = work.runs[p.runs[p.run[row]]]
        after = laid[n + 1] if n + 1 < len(laid) and p.run[laid[n + 1]] == p.run[row] else None
        gap = int(p.start[after]) - int(p.end[row]) if after is not None else 0
        out.append(
            _footing(
                p.names[row], run.name, part.get(run.name, run.name), run.bottom / MM, (p.start[row] / MM, p.end[row] / MM),
                (p.top[row] - p.bottom[row]) / MM, gap / MM if 0 < gap <= book.head_joint.most else 0.0,
                (run.start[0] / MM, run.start[1] / MM), run.direction, run.thickness / MM,
            )
        )  # fmt: skip
    marks = tuple(
        Mark(
            corner=c.name,
            at=(c.at[0] / MM, c.at[1] / MM),
            stations=_set_there(
                [
                    ((n, j.station / MM), j.role != "through")
                    for n in c.runs
                    if n in work.runs
                    for j in work.runs[n].junctions
                    if j.corner == c.name
                ]
            ),
        )
        for c in work.corners.values()
    )
    bed = book.levelling_bed
    return Ground(
        footings=tuple(out), marks=marks, origin=origin, least_bed=bed.least / MM, usual_bed=bed.nominal / MM, most_bed=bed.most / MM,
        joint=book.bed.nominal / MM, least_rip=book.least_rip / MM, least_strip=book.least_strip / MM, system=book.system,
    )  # fmt: skip


def _footing(
    piece: str, run: str, part: str, bottom: float, span: XY, height: float, gap: float, origin: XY, along: XY, thick: float
) -> Footing:
    def at(station: float, offset: float) -> XY:
        return origin[0] + along[0] * station - along[1] * offset, origin[1] + along[1] * station + along[0] * offset

    half = thick / 2
    return Footing(
        piece=piece, run=run, part=part, bottom=bottom, start=float(span[0]), end=float(span[1]), height=float(height), gap=float(gap),
        ends=(at(span[0], 0), at(span[1], 0)),
        outline=(at(span[0], -half), at(span[1], -half), at(span[1], half), at(span[0], half)),
    )  # fmt: skip


def of_folder(out: Path) -> Ground:
    """Return the ground of a plan that is written.

    Raises
    ------
    SurveyError
        If the folder is no plan.
    """
    try:
        head = read_json(out / SUMMARY)
        table = {name: _rows(out / f"{name}.csv") for name in ("pieces", "runs", "corners")}
        book = head["catalogue"]
        runs = {r["run"]: r for r in table["runs"]}
        part = _parts(table["corners"], list(runs))
        first: dict[str, float] = {}
        for r in table["pieces"]:
            if r["course"] == "1":
                first[r["run"]] = min(first.get(r["run"], float("inf")), float(r["bottom_mm"]))
        rows = [r for r in table["pieces"] if r["course"] == "1" and float(r["bottom_mm"]) == first[r["run"]]]
        made = []
        for n, r in enumerate(rows):
            run = runs[r["run"]]
            nxt = rows[n + 1] if n + 1 < len(rows) and rows[n + 1]["run"] == r["run"] else None
            gap = float(nxt["start_mm"]) - float(r["end_mm"]) if nxt else 0.0
            turn = radians(float(run["angle_deg"]))
            made.append(
                _footing(
                    r["piece"], r["run"], part[r["run"]], float(run["bottom_mm"]), (float(r["start_mm"]), float(r["end_mm"])),
                    float(r["top_mm"]) - float(r["bottom_mm"]), gap if 0 < gap <= book["head_joint_mm"]["most"] else 0.0,
                    (float(run["x_mm"]), float(run["y_mm"])), (cos(turn), sin(turn)), float(run["thickness_mm"]),
                )
            )  # fmt: skip
        marks = tuple(_mark(c, runs) for c in table["corners"])
        bed = book["levelling_bed_mm"]
        return Ground(
            footings=tuple(made), marks=marks, origin=(head["origin_mm"][0], head["origin_mm"][1]), least_bed=bed["least"],
            usual_bed=bed["nominal"], most_bed=bed["most"], joint=book["bed_mm"]["nominal"], least_rip=book["least_rip_mm"],
            least_strip=book["least_strip_mm"], system=head["people_unit"],
        )  # fmt: skip
    except (OSError, ValueError, KeyError, TypeError, IndexError) as error:
        raise SurveyError(f"{out} is no plan that can be read; name the folder that 'wallquant plan' wrote") from error


def _rows(path: Path) -> list[dict[str, str]]:
    with vetted(path).open(newline="", encoding="utf-8") as file:
        return list(csv.DictReader(file))


def _mark(row: dict[str, str], runs: dict[str, dict[str, str]]) -> Mark:
    x, y = float(row["x_mm"]), float(row["y_mm"])
    stations = []
    for name in row["runs"].split():
        if name in runs:
            turn = radians(float(runs[name]["angle_deg"]))
            station = (x - float(runs[name]["x_mm"])) * cos(turn) + (y - float(runs[name]["y_mm"])) * sin(turn)
            stations.append(((name, station), row["corner"] in (runs[name]["start_corner"], runs[name]["end_corner"])))
    return Mark(corner=row["corner"], at=(x, y), stations=_set_there(stations))


def _set_there(meeting: list[tuple[tuple[str, float], bool]]) -> tuple[tuple[str, float], ...]:
    """Return the runs whose pieces are set at a corner before line work: those that end there, where any does."""
    ending = [place for place, ends in meeting if ends]
    return tuple(ending or (place for place, _ in meeting))


def _parts(corners: list[dict[str, str]], names: list[str]) -> dict[str, str]:
    """Return each run's connected part, by its first run."""
    part = {n: n for n in names}
    order = {n: k for k, n in enumerate(names)}

    def top(n: str) -> str:
        while part[n] != n:
            n = part[n]
        return n

    for corner in corners:
        met = [top(n) for n in corner["runs"].split() if n in part]
        for n in met[1:]:
            one, other = sorted((top(met[0]), top(n)), key=order.__getitem__)
            part[other] = one
    return {n: top(n) for n in names}

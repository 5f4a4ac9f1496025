"""What summary.json says of the plan: catalogue as used, tolerances, walls with their ledgers, counts, totals."""

from __future__ import annotations

from dataclasses import dataclass

import shapely

from wallquant.audit.cells import Trouble, Value
from wallquant.files import LEDGER

FITS = ("free_end", "joined_end", "thickness", "top", "head", "sill", "jamb")


@dataclass(frozen=True, kw_only=True, slots=True)
class Core:
    """A vertical hole of a unit: station from its start, offset from its centre line, mm."""

    station: float
    offset: float
    diameter: float


@dataclass(frozen=True, kw_only=True, slots=True)
class Unit:
    """A unit of the catalogue, mm; `trough` is (width, depth), both 0 where it has none."""

    code: str
    kind: str
    length: float
    height: float
    thickness: float
    cores: tuple[Core, ...]
    trough: tuple[float, float]
    density: float


@dataclass(frozen=True, kw_only=True, slots=True)
class Range:
    """A joint: least, nominal and most, mm."""

    least: float
    nominal: float
    most: float


@dataclass(frozen=True, kw_only=True, slots=True)
class Part:
    """The drawn extent of a wall on the stations of a run, mm; thickness and fits are those of the wall, or the part's own."""

    run: str
    start: float
    end: float
    thickness: float
    fit: dict[str, float]


@dataclass(frozen=True, kw_only=True, slots=True)
class Wall:
    """A wall of the summary."""

    name: str
    thickness: float
    parts: tuple[Part, ...]
    fit: dict[str, float]
    area: dict[str, float]
    ledger: dict[str, float]


@dataclass(frozen=True, kw_only=True, slots=True)
class Header:
    """summary.json."""

    units: tuple[Unit, ...]
    bed: Range
    head: Range
    levelling: Range
    least_piece: float
    least_rip: float
    least_strip: float
    kerf: float
    delivered: float
    fit: dict[str, tuple[float, float]]
    walls: tuple[Wall, ...]
    counts: dict[str, float]
    totals: dict[str, float]
    lead_courses: float | None
    masons: float | None
    day_hours: float | None
    rest_days: frozenset[int]
    days_off: frozenset[int]
    files: dict[str, str]


WEEK = ("monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday")


def header(raw: Value) -> Header:
    """Read summary.json.

    Raises
    ------
    Trouble
        If a key is missing or of another kind; the sentence says which.
    """
    book = raw["catalogue"]
    leads = [rule["params"].maybe("courses") for rule in raw["rules"].items() if rule["code"].text() == "corner_leads"]
    site = raw.maybe("site")
    return Header(
        units=tuple(_unit(one) for one in book["units"].items()),
        bed=_range(book["bed_mm"]),
        head=_range(book["head_joint_mm"]),
        levelling=_range(book["levelling_bed_mm"]),
        least_piece=book["least_piece_mm"].number(),
        least_rip=book["least_rip_mm"].number(),
        least_strip=book["least_strip_mm"].number(),
        kerf=book["kerf_mm"].number(),
        delivered=book["delivered_factor"].number(),
        fit={key: (raw["fit"][key]["minus_mm"].number(), raw["fit"][key]["plus_mm"].number()) for key in FITS},
        walls=tuple(_wall(one) for one in raw["walls"].items()),
        counts=raw["counts"].each(Value.number),
        totals=raw["totals"].each(_or_zero),
        lead_courses=leads[0].number() if leads and leads[0] else None,
        masons=site["masons"].number() if site else None,
        day_hours=site["day_hours"].number() if site else None,
        rest_days=_rest_days(site) if site else frozenset(),
        days_off=frozenset(round(day.number()) for day in days.items()) if site and (days := site.maybe("days_off")) else frozenset(),
        files={key: raw["files"][key].text() for key in sorted(raw["files"].each(lambda _: 0.0))},
    )


def _rest_days(site: Value) -> frozenset[int]:
    """Return the days without work in each week of the plan, day 1 being 1; 0 is the seventh."""
    named = site.maybe("rest_days")
    if named is None:
        return frozenset()
    first = WEEK.index(site["start_weekday"].text())
    return frozenset((WEEK.index(day.text()) - first + 1) % 7 for day in named.items())


def _or_zero(value: Value) -> float:
    return 0.0 if value.raw is None else value.number()


def _range(raw: Value) -> Range:
    return Range(least=raw["least"].number(), nominal=raw["nominal"].number(), most=raw["most"].number())


def _unit(raw: Value) -> Unit:
    cores, trough = raw.maybe("cores"), raw.maybe("trough")
    return Unit(
        code=raw["code"].text(),
        kind=raw["kind"].text(),
        length=raw["length_mm"].number(),
        height=raw["height_mm"].number(),
        thickness=raw["thickness_mm"].number(),
        cores=tuple(
            Core(station=one["station_mm"].number(), offset=one["offset_mm"].number(), diameter=one["diameter_mm"].number())
            for one in (cores.items() if cores else ())
        ),
        trough=(trough["width_mm"].number(), trough["depth_mm"].number()) if trough else (0.0, 0.0),
        density=raw["density_kg_m3"].number(),
    )


def _wall(raw: Value) -> Wall:
    name = raw["guid"].text() or raw["name"].text()
    thickness, fit = raw["thickness_mm"].number(), _fit(raw["fit_mm"])
    parts = tuple(_part(one, thickness, fit) for one in raw["parts"].items())
    ledger = raw["ledger_m3"]
    return Wall(
        name=name,
        thickness=thickness,
        parts=parts,
        fit=fit,
        area={key: raw["area_m2"][key].number() for key in ("wall", "openings", "laid", "set_aside")},
        ledger={key: ledger[key].number() for key in LEDGER},
    )


def _fit(raw: Value) -> dict[str, float]:
    return {key: _or_zero(raw[key]) for key in ("start", "end", "top", "thickness")}


def _part(raw: Value, thickness: float, fit: dict[str, float]) -> Part:
    wkt = raw["top"].text()
    try:
        shape = shapely.from_wkt(wkt)
    except shapely.errors.ShapelyError as error:
        raise Trouble(f"{raw.path}, top: '{wkt[:60]}' is no WKT LINESTRING; write the plan anew") from error
    if shape.geom_type != "LineString":
        raise Trouble(f"{raw.path}, top: '{wkt[:60]}' is no WKT LINESTRING; write the plan anew")
    own, fits = raw.maybe("thickness_mm"), raw.maybe("fit_mm")
    return Part(
        run=raw["run"].text(),
        start=raw["start_mm"].number(),
        end=raw["end_mm"].number(),
        thickness=own.number() if own else thickness,
        fit=_fit(fits) if fits else fit,
    )

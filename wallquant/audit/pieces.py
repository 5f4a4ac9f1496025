"""I3: every piece comes from its unit, and none is smaller than the least piece, rip or strip."""

from __future__ import annotations

from itertools import pairwise
from math import pi

import numpy as np
import shapely

from wallquant.audit.broken import broken, mm
from wallquant.audit.cells import Floats
from wallquant.audit.read import MM, Plan
from wallquant.files import CUTS
from wallquant.findings import Finding

VOLUME_M3 = 2e-6
MASS_KG = 2e-3


def check(plan: Plan) -> list[Finding]:
    """Return pieces that their units cannot give, that are too small, or whose volume or mass is not theirs."""
    p, head = plan.pieces, plan.header
    found: list[Finding] = []

    def tell(rows: np.ndarray[tuple[int, ...], np.dtype[np.bool_]], sentence: str, values: Floats, wanted: Floats) -> None:
        for at in np.flatnonzero(rows).tolist():
            values_text, wanted_text = mm(float(values[at])), mm(float(wanted[at]))
            text = f"pieces.csv, {p.name[at]}: {sentence.format(values_text, wanted_text)}"
            place = plan.runs.name[p.run[at]]
            found.append(
                broken("I3", text, piece=p.name[at], run=place, course=int(p.course[at]), measured=values_text, wanted=wanted_text)
            )

    known = p.unit >= 0
    for at in np.flatnonzero(~known).tolist():
        found.append(broken("I3", f"pieces.csv, {p.name[at]}: its unit is not in the catalogue of summary.json", piece=p.name[at]))
    if not head.units:
        return found
    cuts = [frozenset(cell.split("+")) - {""} for cell in p.cut]
    for at, cut in enumerate(cuts):
        if cut - set(CUTS):
            found.append(
                broken("I3", f"pieces.csv, {p.name[at]}: cut '{p.cut[at]}' is none of {', '.join(CUTS)}; mend the cell", piece=p.name[at])
            )
    shorter, lower, raked, bevelled = (
        np.array([word in cut for cut in cuts], dtype=bool) for word in ("length", "height", "rake", "mitre")
    )
    length, height = p.end - p.start, p.top - p.bottom
    unit = np.array([(one.length, one.height, one.thickness, one.density) for one in head.units])[p.unit]
    whole = ~(shorter | raked | bevelled)
    tell(known & whole & (np.abs(length - unit[:, 0]) > MM), "is {} long and not cut in length, its unit is {}", length, unit[:, 0])
    tell(known & ~whole & (length > unit[:, 0] + MM), "is {} long, longer than its unit, {}", length, unit[:, 0])
    tell(
        known & shorter & (length > unit[:, 0] - MM) & ~raked & ~bevelled,
        "is cut in length, yet {} long like its unit, {}",
        length,
        unit[:, 0],
    )
    tell(
        known & ~lower & ~raked & (np.abs(height - unit[:, 1]) > MM), "is {} high and not cut in height, its unit is {}", height, unit[:, 1]
    )
    tell(known & (lower | raked) & (height > unit[:, 1] + MM), "is {} high, higher than its unit, {}", height, unit[:, 1])
    tell(known & (np.abs(p.thickness - unit[:, 2]) > MM), "is {} thick, its unit is {}", p.thickness, unit[:, 2])
    band = plan.runs.thickness[p.run]
    tell(p.thickness > band + MM, "is {} thick, its run is laid {} thick", p.thickness, band)
    area = shape_areas(plan)
    mean = np.where(raked, area / height, np.where(bevelled, plan_means(plan), length))
    least = np.full(p.count, head.least_piece - head.head.nominal)
    tell(mean < least - MM, "is {} long, the least piece is {} without its joint", mean, least)
    rip = np.where(p.course < 1, head.least_strip, head.least_rip)
    tell((lower | raked) & (height < rip - MM), "is {} high, the least is {}", height, rip)
    found.extend(_amounts(plan, volumes(plan, area), unit[:, 3], cuts))
    return found


def shape_areas(plan: Plan) -> Floats:
    """Return each piece's area in elevation, mm2."""
    p = plan.pieces
    area = (p.end - p.start) * (p.top - p.bottom)
    for at, shape in p.elevation.items():
        area[at] = shape.area
    return area


def plan_means(plan: Plan) -> Floats:
    """Return each piece's mean length in plan, mm."""
    p = plan.pieces
    mean = p.end - p.start
    for at, shape in p.plan.items():
        mean[at] = shape.area / p.thickness[at]
    return mean


def volumes(plan: Plan, area: Floats) -> Floats:
    """Return each piece's volume by its shape, m3; where elevation and plan are both given, their common body."""
    p = plan.pieces
    volume = area * p.thickness
    for at, shape in p.plan.items():
        if at not in p.elevation:
            volume[at] = shape.area * (p.top[at] - p.bottom[at])
            continue
        stations = np.unique(np.concatenate([shapely.get_coordinates(shape)[:, 0], shapely.get_coordinates(p.elevation[at])[:, 0]]))
        total = 0.0
        for low, high in pairwise(stations):
            # between two corners both widths are linear, so Simpson's rule is exact for their product
            heads = [_width(shape, s) * _width(p.elevation[at], s) for s in (low + 1e-9, (low + high) / 2, high - 1e-9)]
            total += (heads[0] + 4 * heads[1] + heads[2]) * (high - low) / 6
        volume[at] = total
    return volume * 1e-9


def _width(shape: object, station: float) -> float:
    return float(shapely.length(shapely.intersection(shape, shapely.LineString([(station, -1e7), (station, 1e7)]))))


def _amounts(plan: Plan, volume: Floats, density: Floats, cuts: list[frozenset[str]]) -> list[Finding]:
    p, found = plan.pieces, []
    notched = np.array(["notch" in cut for cut in cuts], dtype=bool)
    drilled = np.array([bool(cell) for cell in p.holes], dtype=bool)
    off = (np.abs(p.volume - volume) > VOLUME_M3) & ~notched | (p.volume > volume + VOLUME_M3)
    for at in np.flatnonzero(off).tolist():
        text = f"pieces.csv, {p.name[at]}: volume_m3 {p.volume[at]:.7f} is not that of its shape, {volume[at]:.7f}; mend the row"
        found.append(broken("I3", text, piece=p.name[at], measured=f"{p.volume[at]:.7f} m3", wanted=f"{volume[at]:.7f} m3"))
    hollow = np.array([_hollow_m3(plan, at) for at in range(len(plan.header.units))])
    solid = p.volume - hollow[p.unit]
    uncut = np.array([not cut for cut in cuts], dtype=bool) & ~drilled & np.array([not work for work in p.work], dtype=bool) & (p.unit >= 0)
    off = (p.solid > p.volume + VOLUME_M3) | (p.solid <= 0) | uncut & (np.abs(p.solid - solid) > VOLUME_M3)
    for at in np.flatnonzero(off).tolist():
        text = f"pieces.csv, {p.name[at]}: solid_m3 {p.solid[at]:.7f} is not its volume less its cores and troughs; mend the row"
        found.append(broken("I3", text, piece=p.name[at], measured=f"{p.solid[at]:.7f} m3"))
    mass = p.solid * density * plan.header.delivered
    for at in np.flatnonzero((np.abs(p.mass - mass) > MASS_KG + 1e-4 * mass) & (p.unit >= 0)).tolist():
        text = f"pieces.csv, {p.name[at]}: mass_kg {p.mass[at]:.4f} is not solid_m3 by density as delivered, {mass[at]:.4f}; mend the row"
        found.append(broken("I3", text, piece=p.name[at], measured=f"{p.mass[at]:.4f} kg", wanted=f"{mass[at]:.4f} kg"))
    return found


def _hollow_m3(plan: Plan, at: int) -> float:
    unit = plan.header.units[at]
    cores = sum(pi / 4 * core.diameter**2 * unit.height for core in unit.cores)
    return (cores + unit.trough[0] * unit.trough[1] * unit.length) * 1e-9

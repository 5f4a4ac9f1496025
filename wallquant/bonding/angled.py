"""What is told of corners that are not square: mitre planes, oblique butts, and wedges that stay open."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from itertools import pairwise
from math import atan2, degrees

import shapely

from wallquant.bonding.asking import Asked
from wallquant.bonding.cells import level
from wallquant.findings import Finding, Place
from wallquant.layout import Corner, Junction, Plane, Run
from wallquant.units import MM, Nm, text

STRAIGHT = 0.02
"""Runs that turn by less than this (sine, about a degree) meet end to end."""


def of_angled(corners: Mapping[str, Corner], asked: Mapping[str, Asked], system: str) -> Iterator[Finding]:
    """Tell of the corners that are not square, once for all that are cut alike."""
    mitres: dict[tuple[object, ...], list[Corner]] = {}
    for corner in sorted((c for c in corners.values() if c.kind == "angled"), key=lambda c: int(c.name[1:])):
        planes = [(n, j, j.plane) for n in corner.runs for j in asked[n].fitted.run.junctions if j.corner == corner.name and j.plane]
        if not planes:
            yield _left_open(corner, asked)
            continue
        key = tuple((round(_saw(asked, n, p), 2), _legs(asked, n, j), p.shared) for n, j, p in planes)
        mitres.setdefault((*sorted(key), corner.storey), []).append(corner)
    for group in mitres.values():
        yield _plane(group, asked, system)


def wedges(corner: Corner, asked: Mapping[str, Asked]) -> Iterator[tuple[str, Nm, Nm, float]]:
    """Yield, at a corner that no cut closes, where each run stops square before the others: run, stations, and m3 left open there.

    That is what lies beside those before it where they stand, and over one that is lower what is drawn of the run.
    """
    bodies: list[tuple[shapely.Polygon, Nm, Nm]] = []
    for name in corner.runs:
        run = asked[name].fitted.run
        junction = next(j for j in run.junctions if j.corner == corner.name)
        top = max(z for _, z in run.top)
        if junction.taken is not None and junction.plane is None:
            lo, hi = junction.taken
            low, high = max(run.bottom, junction.bottom), min(top, junction.top)
            beside = shapely.difference(_strip(run, lo, hi), shapely.union_all([shape for shape, _, _ in bodies])).area * max(0, high - low)
            drawn = _strip(run, max(lo, run.parts[0].start), min(hi, run.parts[-1].end)) if lo < run.parts[-1].end else shapely.Polygon()
            levels = sorted({z for _, *ends in bodies for z in ends if high < z < top} | {max(high, run.bottom), top})
            over = sum(
                shapely.difference(drawn, shapely.union_all([shape for shape, p, q in bodies if p < z and q > y])).area * (z - y)
                for y, z in pairwise(levels)
            )
            yield name, lo, hi, (beside + over) / MM * 1e-9
        start, end = (junction.taken[1] if junction.role == "start" and junction.taken else run.parts[0].start), run.parts[-1].end
        body = _strip(run, start, junction.taken[0] if junction.role == "end" and junction.taken else end)
        bodies.append((body, run.bottom, _top_at(run, junction)))


def _top_at(run: Run, junction: Junction) -> Nm:
    return max(level(run.top, junction.station, side) for side in (-1, 1))


def _strip(run: Run, start: Nm, end: Nm) -> shapely.Polygon:
    half = run.thickness // 2
    points = (run.at(start, -half), run.at(end, -half), run.at(end, half), run.at(start, half))
    return shapely.Polygon([(x / MM, y / MM) for x, y in points])


def _left_open(corner: Corner, asked: Mapping[str, Asked]) -> Finding:
    runs = [asked[n].fitted.run for n in corner.runs]
    (a, b), (c, d) = runs[0].direction, runs[-1].direction
    if len(runs) == 2 and abs(a * d - b * c) < STRAIGHT:
        said = (
            f"Corner {corner.name}: {' and '.join(corner.runs)} go on in each other's direction and are no one run (other thickness, unit "
            "or level); they meet end to end in a straight joint: the engineer says whether ties hold them together."
        )
        size = 0.0
    else:
        size = sum(m3 for *_, m3 in wedges(corner, asked))
        left = f"about {size:.3f} m3" if size >= 0.0005 else "less than 0.001 m3"
        why = "more than two runs meet there" if len(runs) > 2 else "no unit can be cut to close it"
        said = (
            f"Corner {corner.name} is not square and {why}: {corner.runs[0]} goes on, the others stop square before it, and "
            f"{left} beside them is left open. Close it by hand as the engineer says, or draw the corner less sharp."
        )
    return Finding(
        code="bond.angled-corner",
        severity="warning",
        text=said,
        place=Place(corner=corner.name, storey=corner.storey),
        measured=f"{size:.3f} m3" if size else "",
    )


def _plane(group: list[Corner], asked: Mapping[str, Asked], system: str) -> Finding:
    corner = group[0]
    planes = [(n, j, j.plane) for n in corner.runs for j in asked[n].fitted.run.junctions if j.corner == corner.name and j.plane]
    saws = sorted({f"{_saw(asked, n, p):.4g}" for n, _, p in planes})
    legs = min(_legs(asked, n, j) for n, j, _ in planes)
    names = ", ".join(c.name for c in group)
    start = f"Corner{'s' if len(group) > 1 else ''} {names}: "
    if planes[0][2].shared:
        cut = f"both runs are cut {' and '.join(saws)} degrees from square and meet in a mitre plane"
        if legs[0]:
            long, short = (text(leg, system) for leg in legs)
            cut += f"; one cut of a unit makes both legs, {long} and {short} on the centre line, swapped each course"
    else:
        cut = f"{planes[0][0]} is cut {saws[0]} degrees from square along the face of {planes[0][1].other}"
    return Finding(
        code="bond.mitre",
        severity="warning",
        text=f"{start}{cut}. The joint stands in the same place in every course (offset 0): the engineer says whether bars or ties "
        "hold the two together.",
        place=Place(corner=corner.name, storey=corner.storey),
        measured="offset 0",
        times=len(group),
    )


def _saw(asked: Mapping[str, Asked], run: str, plane: Plane) -> float:
    """Return the angle of the cut from square, degrees."""
    return degrees(atan2(abs(plane.lean), asked[run].fitted.run.thickness / 2))


def _legs(asked: Mapping[str, Asked], run: str, junction: Junction) -> tuple[int, int]:
    """Return the legs of a corner's unit; none where the run is so short, as a chord of a curve is, that one piece fills it."""
    one = asked[run]
    body = one.fitted.run
    found = next(m.askew for j, m in zip(one.fitted.run.junctions, one.problem.meets, strict=True) if j.corner == junction.corner)
    room = body.parts[-1].end - body.parts[0].start - body.catalogue.head_joint.nominal - body.catalogue.least_actual
    return found.legs if found and found.legs[0] <= room else (0, 0)

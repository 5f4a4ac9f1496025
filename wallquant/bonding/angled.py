"""What is told of corners that are not square: mitre planes, oblique butts, and wedges that stay open."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from math import atan2, degrees

from wallquant.bonding.asking import Asked
from wallquant.findings import Finding, Place
from wallquant.layout import Corner, Junction, Plane
from wallquant.units import text


def of_angled(corners: Mapping[str, Corner], asked: Mapping[str, Asked], system: str) -> Iterator[Finding]:
    """Tell of the corners that are not square, once for all that are cut alike."""
    mitres: dict[tuple[object, ...], list[Corner]] = {}
    for corner in sorted((c for c in corners.values() if c.kind == "angled"), key=lambda c: int(c.name[1:])):
        planes = [(n, j, j.plane) for n in corner.runs for j in asked[n].fitted.run.junctions if j.corner == corner.name and j.plane]
        if not planes:
            yield Finding(
                code="bond.angled-corner",
                severity="warning",
                text=f"Corner {corner.name} is not square and no unit can be cut to close it: {corner.runs[0]} goes on, the others stop "
                "square before it, and the wedge between them is left open. Close it by hand as the engineer says, or draw the corner "
                "less sharp.",
                place=Place(corner=corner.name, storey=corner.storey),
            )
            continue
        key = tuple((round(_saw(asked, n, p), 2), _legs(asked, n, j), p.shared) for n, j, p in planes)
        mitres.setdefault((*sorted(key), corner.storey), []).append(corner)
    for group in mitres.values():
        yield _plane(group, asked, system)


def _plane(group: list[Corner], asked: Mapping[str, Asked], system: str) -> Finding:
    corner = group[0]
    planes = [(n, j, j.plane) for n in corner.runs for j in asked[n].fitted.run.junctions if j.corner == corner.name and j.plane]
    saws = sorted({f"{_saw(asked, n, p):.4g}" for n, _, p in planes})
    legs = next((_legs(asked, n, j) for n, j, _ in planes if _legs(asked, n, j)[0]), (0, 0))
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
    one = asked[run]
    found = next(m.askew for j, m in zip(one.fitted.run.junctions, one.problem.meets, strict=True) if j.corner == junction.corner)
    return found.legs if found else (0, 0)

"""The graph of corners and runs: nodes are corners, edges the stretches of runs between them."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass
from math import atan2, degrees

import networkx as nx

from wallquant.building import Building, Profile, SetAside, Wall
from wallquant.catalogue import Catalogue
from wallquant.findings import Finding, Place
from wallquant.graph.corners import Node, by_line, nodes
from wallquant.graph.flush import flush
from wallquant.graph.infills import Filled, infills
from wallquant.graph.lines import snapped
from wallquant.graph.merging import Strip, set_aside, strips
from wallquant.graph.naming import number, renamed
from wallquant.graph.overlaps import overlapping
from wallquant.graph.planes import EndPlane
from wallquant.layout import Corner, Infill, Jamb, Junction, Part, Plane, Role, Run, RunOpening
from wallquant.marks import Marks
from wallquant.masonry import KINDS, Face, Unit
from wallquant.units import MM, Nm, mm_text

HAIR: Nm = MM // 100
"""Points of a top that are nearer to each other than this are one."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Network:
    """Corners and runs of a building, and what could not be made a run.

    `graph` is a networkx MultiGraph.  A node is a corner's name, with ``kind``, ``at`` (x and y in plan, nanometres, relative to the
    building's origin) and ``storey``.  An edge is a run's stretch between two neighbouring corners, with ``run``, ``start`` and ``end``
    (stations), ``thickness`` (nanometres), ``storey`` and ``openings`` (the keys of those that lie in it, wholly or in part).
    `parts` are its connected parts as tuples of run names.
    """

    runs: tuple[Run, ...]
    corners: tuple[Corner, ...]
    parts: tuple[tuple[str, ...], ...]
    graph: nx.MultiGraph[str]
    set_aside: tuple[SetAside, ...]
    catalogue: Catalogue
    """The catalogue given, with the virtual units that were made."""


def build(
    building: Building, catalogue: Catalogue, *, face: Face | None = None, any_thickness: bool = False, marks: Marks | None = None
) -> tuple[Network, tuple[Finding, ...]]:
    """Turn walls into corners and runs.

    Parameters
    ----------
    building : Building
        As read.
    catalogue : Catalogue
        Its units decide what thickness is laid.
    face : Face, optional
        Of the catalogue; its default otherwise.
    any_thickness : bool
        Make a virtual unit of the drawn thickness where no unit of the catalogue fits, and let rules ask for lintels made to measure.
    marks : Marks, optional
        Of an older plan whose names are kept.

    Returns
    -------
    Network, tuple of Finding
    """
    fitted, aside, findings = _units(building, catalogue, face, any_thickness)
    join = max(catalogue.fit.joined_end.minus, catalogue.fit.joined_end.plus)
    fitted, thinned = flush(fitted, catalogue, join, face)
    virtual = sorted({u.thickness for _, u in fitted if u.virtual})
    catalogue = catalogue.including(u for t in virtual for kind in KINDS for u in catalogue.of_kind(kind, t, face))
    catalogue = catalogue.model_copy(update={"to_measure": any_thickness})
    stub = catalogue.least_piece
    least = catalogue.least_piece + catalogue.head_joint.nominal
    fitted, filled, told = infills(fitted, join, stub)
    made, overlapped, more = strips(fitted, join, stub)
    found = nodes(made, join, stub, least)
    while clashes := list(overlapping(made, found)):
        # corners are others without a wall, so all is joined anew
        gone = {wall.guid for wall, _, _ in clashes}
        aside += [s for _, s, _ in clashes]
        findings += [f for _, _, f in clashes]
        fitted = [one for one in fitted if one[0].guid not in gone]
        made, overlapped, more = strips(fitted, join, stub)
        found = nodes(made, join, stub, least)
    aside += overlapped
    gone = {s.guid for s in aside}
    for one in (one for one in filled if one.host in gone):
        reason = "it fills a hole of a wall that is set aside"
        aside.append(set_aside(one.wall, reason))
        findings.append(_aside(one.wall, "graph.infill", reason))
    runs, corners = _records(made, found, [one for one in filled if one.host not in gone], catalogue)
    if marks is not None:
        runs, corners = renamed(runs, corners, marks)
    graph = _graph(runs, corners)
    parts = tuple(
        sorted(
            (
                tuple(sorted({d["run"] for _, _, d in graph.subgraph(c).edges(data=True)}, key=number))
                for c in nx.connected_components(graph)
            ),
            key=lambda p: number(p[0]),
        )
    )
    return Network(runs=runs, corners=corners, parts=parts, graph=graph, set_aside=tuple(aside), catalogue=catalogue), (
        *findings,
        *more,
        *(f for f in (*thinned, *told) if f.place.wall not in gone),
    )


def _units(
    building: Building, catalogue: Catalogue, face: Face | None, any_thickness: bool
) -> tuple[list[tuple[Wall, Unit]], list[SetAside], list[Finding]]:
    """Give each wall the unit it is laid with."""
    fitted: list[tuple[Wall, Unit]] = []
    aside: list[SetAside] = []
    findings: list[Finding] = []
    thick: dict[Nm, list[Wall]] = {}
    for wall in building.walls:
        unit = catalogue.standard(wall.thickness, face)
        if unit is None and any_thickness:
            unit = catalogue.virtual(max(MM, round(wall.thickness / (MM // 10)) * (MM // 10)), face)
        if why := _nothing(wall, catalogue):
            code, reason = why
            aside.append(set_aside(wall, reason))
            findings.append(_aside(wall, code, reason))
        elif unit is None:
            thick.setdefault(wall.thickness, []).append(wall)
            reason = f"no unit of catalogue {catalogue.code} fits a thickness of {mm_text(wall.thickness)} mm"
            aside.append(set_aside(wall, reason))
        else:
            fitted.append((wall, unit))
    for thickness, walls in sorted(thick.items()):
        one = walls[0]
        findings.append(
            Finding(
                code="graph.no-unit",
                severity="warning",
                text=(
                    f"{len(walls)} wall{'s' if len(walls) > 1 else ''} of {mm_text(thickness)} mm: no unit of catalogue "
                    f"{catalogue.code} fits; "
                    "change the thickness, choose another catalogue, or lay a virtual unit with --any-thickness."
                ),
                place=Place(wall=one.guid, storey=one.storey),
                measured=f"{mm_text(thickness)} mm",
                wanted=", ".join(mm_text(t) for t in sorted(catalogue.thicknesses.values())) + " mm",
                times=len(walls),
            )
        )
    return fitted, aside, findings


def _nothing(wall: Wall, catalogue: Catalogue) -> tuple[str, str] | None:
    """Return why no piece of a wall can be laid, whatever its unit: code and reason; None where one may."""
    high = max(level for _, level in wall.top) - wall.bottom
    if wall.length < catalogue.least_piece:
        return "graph.too-short", f"it is {mm_text(wall.length)} mm long, less than the least piece"
    if high <= catalogue.levelling_bed.nominal:
        return "graph.too-low", f"it is {mm_text(high)} mm high, no more than the levelling bed"
    for o in wall.openings:
        if o.through and o.start <= 0 and o.end >= wall.length and o.sill <= wall.bottom and o.head >= wall.bottom + high:
            return "graph.all-opening", f"its opening {o.name or o.key} takes all of it"
    return None


def _aside(wall: Wall, code: str, reason: str) -> Finding:
    text = f"Wall {wall.name or wall.guid} is set aside: {reason}."
    return Finding(code=code, severity="warning", text=text, place=Place(wall=wall.guid, storey=wall.storey))


def _records(
    made: Sequence[Strip], found: Sequence[Node], filled: Sequence[Filled], catalogue: Catalogue
) -> tuple[tuple[Run, ...], tuple[Corner, ...]]:
    """Make the records that everyone else sees; free ends become corners of kind end."""
    names = [f"R{k + 1}" for k in range(len(made))]
    lined = by_line(found)
    spots: list[tuple[tuple[object, ...], Node | None, int, Role]] = []
    for node in found:
        bottom = min(made[k].line.bottom for k, _, _ in node.lines)
        spots.append(((bottom, round(node.point[0]), round(node.point[1]), 0), node, -1, "through"))
    for k, strip in enumerate(made):
        held = {role for _, role, _ in lined.get(k, [])}
        for role, at in (("start", 0.0), ("end", strip.line.length)):
            if role not in held:
                x, y = strip.line.at(at)
                spots.append(((strip.line.bottom, round(x), round(y), k + 1), None, k, role))  # type: ignore[arg-type]
    spots.sort(key=lambda s: s[0])
    corners: list[Corner] = []
    joined: dict[int, list[tuple[str, Node | None, Role, float]]] = {k: [] for k in range(len(made))}
    for n, (_, spot, index, role) in enumerate(spots):
        name = f"K{n + 1}"
        if spot is None:
            at = 0.0 if role == "start" else made[index].line.length
            point = made[index].line.at(at)
            lines: tuple[int, ...] = (index,)
            joined[index].append((name, None, role, at))
        else:
            point, lines = spot.point, tuple(k for k, _, _ in spot.lines)
            for k, line_role, line_at in spot.lines:
                joined[k].append((name, spot, line_role, line_at))
        corners.append(
            Corner(
                name=name,
                kind=spot.kind if spot else "end",
                at=(round(point[0]), round(point[1])),
                runs=tuple(names[k] for k in lines),
                bondable=spot.bondable if spot else False,
                storey=made[lines[0]].walls[0].storey,
            )
        )
    runs = tuple(_run(k, made, names, joined[k], filled, catalogue) for k in range(len(made)))
    return runs, tuple(corners)


def _run(
    k: int,
    made: Sequence[Strip],
    names: Sequence[str],
    joined: Sequence[tuple[str, Node | None, Role, float]],
    filled: Sequence[Filled],
    catalogue: Catalogue,
) -> Run:
    strip = made[k]
    line = strip.line
    zero = next(at for _, _, role, at in joined if role == "start")
    far = next(at for _, _, role, at in joined if role == "end")
    parts = tuple(_part(wall, strip, zero) for wall in strip.walls)
    top = _top(parts)
    junctions: list[Junction] = []
    for name, node, role, at in joined:
        station = snapped(at - zero)
        if node is None:
            junctions.append(Junction(corner=name, kind="end", role=role, station=station))
            continue
        other, other_role, other_at = next(e for e in node.lines if e[0] != k)
        there = made[other]
        junctions.append(
            Junction(
                corner=name,
                kind=node.kind,
                role=role,
                station=station,
                other=names[other],
                other_role=other_role,
                thickness=there.unit.thickness,
                bottom=there.line.bottom,
                top=level_at(_top(tuple(_part(w, there, 0.0) for w in there.walls)), snapped(other_at)),
                turn=node.turn,
                bearing=_bearing(there),
                goes_first=node.lines[0][0] == k,
                bondable=node.bondable,
                loose=node.loose,
                taken=_moved(node.taken.get(k), zero),
                plane=_plane(node.planes.get(k), strip, role, zero, catalogue),
                jambs=_jambs(there, other_role, other_at),
            )
        )
    junctions.sort(key=lambda j: (j.station, j.corner))
    x, y = line.at(zero)
    return Run(
        name=names[k],
        storey=next((w.storey for w in strip.walls if w.storey), ""),
        start=(round(x), round(y)),
        angle_deg=round(degrees(atan2(line.v, line.u)), 9),
        direction=(line.u, line.v),
        length=snapped(far - zero),
        thickness=strip.unit.thickness,
        bottom=line.bottom,
        top=top,
        parts=parts,
        junctions=tuple(junctions),
        openings=tuple(sorted((o for w in strip.walls for o in _openings(w, strip, zero)), key=lambda o: (o.start, o.sill, o.key))),
        unit=strip.unit,
        catalogue=catalogue,
        bearing=_bearing(strip),
        foot=min((w.foot for w in strip.walls if w.foot is not None), default=None),
        infills=tuple(_infill(one, w, strip, zero) for w in strip.walls for one in filled if one.host == w.guid),
    )


def _jambs(strip: Strip, role: Role, at: float) -> tuple[Jamb, ...]:
    """The openings of a run that ends at a corner that are nearer to it than its unit is long."""
    if role == "through":
        return ()
    there = [o for w in strip.walls for o in _openings(w, strip, at) if o.through]
    found = {Jamb(near=o.start if role == "start" else -o.end, sill=o.sill, head=o.head) for o in there}
    return tuple(sorted((j for j in found if j.near < strip.unit.length), key=lambda j: (j.near, j.sill, j.head)))


def _infill(one: Filled, host: Wall, strip: Strip, zero: float) -> Infill:
    start, end = _stations(host, strip, zero, one.start, one.end)
    return Infill(wall=one.wall.guid, host=one.host, start=start, end=end, sill=one.sill, head=one.head)


def _moved(taken: tuple[float, float] | None, zero: float) -> tuple[Nm, Nm] | None:
    return None if taken is None else (snapped(taken[0] - zero), snapped(taken[1] - zero))


def _plane(plane: EndPlane | None, strip: Strip, role: Role, zero: float, catalogue: Catalogue) -> Plane | None:
    if plane is None:
        return None
    joint = round(plane.joint(strip.line.width, catalogue.head_joint.nominal))
    station = snapped(plane.at - zero) + (joint if role == "start" else -joint)
    return Plane(station=station, lean=round(plane.lean), shared=plane.shared, joint=joint, reach=round(plane.reach))


def _bearing(strip: Strip) -> bool | None:
    said = {w.bearing for w in strip.walls}
    return True if True in said else False if said == {False} else None


def _part(wall: Wall, strip: Strip, zero: float) -> Part:
    """Place a wall on its run's stations; a wall that was drawn the other way round is turned."""
    a, b = (snapped(strip.line.station(p) - zero) for p in (wall.start, wall.end))
    reverse = b < a
    top: Profile = tuple((a - s if reverse else a + s, level) for s, level in wall.top)
    if reverse:
        top = tuple(reversed(top))
    lo, hi = min(a, b), max(a, b)
    top = tuple((min(hi, max(lo, snapped(s))), level) for s, level in top)
    top = ((lo, top[0][1]), *top[1:-1], (hi, top[-1][1]))
    return Part(wall=wall.guid, start=lo, end=hi, bottom=wall.bottom, top=top, thickness=wall.thickness, reverse=reverse)


def _stations(wall: Wall, strip: Strip, zero: float, start: Nm, end: Nm) -> tuple[Nm, Nm]:
    """Return two stations of a wall as stations of its run, by size."""
    a, b = (strip.line.station(p) - zero for p in (wall.start, wall.end))
    sign = -1 if b < a else 1
    one, two = snapped(a + sign * start), snapped(a + sign * end)
    return min(one, two), max(one, two)


def _openings(wall: Wall, strip: Strip, zero: float) -> list[RunOpening]:
    out: list[RunOpening] = []
    for o in wall.openings:
        s, e = _stations(wall, strip, zero, o.start, o.end)
        out.append(
            RunOpening(
                key=o.key, wall=wall.guid, start=s, end=e, sill=o.sill, head=o.head, through=o.through, filling=o.filling, name=o.name
            )
        )
    return out


def _top(parts: Sequence[Part]) -> Profile:
    """Join the tops of a run's walls; between two walls the step lies in the middle of their gap or overlap."""
    out: list[tuple[Nm, Nm]] = []
    for n, part in enumerate(parts):
        lo = (parts[n - 1].end + part.start) // 2 if n else part.start
        hi = (part.end + parts[n + 1].start) // 2 if n + 1 < len(parts) else part.end
        inner = [(s, z) for s, z in part.top if lo < s < hi]
        out += [(lo, level_at(part.top, lo)), *inner, (hi, level_at(part.top, hi))]
    return _without_hairs(out)


def _without_hairs(points: Sequence[tuple[Nm, Nm]]) -> Profile:
    """Leave out points a hair from the one before, which floats of a model make; both ends stay."""
    out = [points[0]]
    for n, (s, z) in enumerate(points[1:], start=1):
        if max(s - out[-1][0], abs(z - out[-1][1])) > HAIR:
            out.append((s, z))
        elif n == len(points) - 1 and len(out) > 1:
            out[-1] = (s, z)
    return tuple(out)


def level_at(top: Profile, station: Nm) -> Nm:
    """Return the level of a profile at a station (the lower one at a step); beyond its ends that of the end."""
    if station <= top[0][0]:
        return min(z for s, z in top if s == top[0][0])
    if station >= top[-1][0]:
        return min(z for s, z in top if s == top[-1][0])
    exact = [z for s, z in top if s == station]
    if exact:
        return min(exact)
    for (a, p), (b, q) in itertools.pairwise(top):
        if a < station < b:
            return p + round((q - p) * (station - a) / (b - a))
    raise AssertionError("a profile covers all stations between its ends")


def _graph(runs: Sequence[Run], corners: Sequence[Corner]) -> nx.MultiGraph[str]:
    graph: nx.MultiGraph[str] = nx.MultiGraph()
    for corner in corners:
        graph.add_node(corner.name, kind=corner.kind, at=corner.at, storey=corner.storey)
    for run in runs:
        for a, b in zip(run.junctions, run.junctions[1:], strict=False):
            within = tuple(o.key for o in run.openings if o.start < b.station and o.end > a.station)
            carried = {"run": run.name, "start": a.station, "end": b.station, "thickness": run.thickness, "storey": run.storey}
            graph.add_edge(a.corner, b.corner, **carried, openings=within)
    return graph

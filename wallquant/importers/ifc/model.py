"""Assemble the building: walls and what is set aside, in whole nanometres about an origin near by."""

from __future__ import annotations

import pathlib
from contextlib import suppress
from typing import TYPE_CHECKING

import numpy as np

from wallquant.building import Building, Point, SetAside, Wall
from wallquant.findings import Finding, Place, merged
from wallquant.importers import InputError
from wallquant.importers.ifc import places
from wallquant.importers.ifc.choice import about_choice
from wallquant.importers.ifc.chord_records import chord_walls
from wallquant.importers.ifc.chords import Limits
from wallquant.importers.ifc.curves import Curves
from wallquant.importers.ifc.fillings import about_leaves, about_sizes, listed
from wallquant.importers.ifc.frames import Entity, Frames, Unreadable, angle_unit, length_unit, world_frame
from wallquant.importers.ifc.kernel import Kernel
from wallquant.importers.ifc.labels import called, label
from wallquant.importers.ifc.nested import apart
from wallquant.importers.ifc.records import KM, footprint, leaf_walls, make_wall, opening_keys
from wallquant.importers.ifc.relations import Relations, gather
from wallquant.importers.ifc.storeys import read_storeys, storey_at, storey_of
from wallquant.importers.ifc.vet import open_model
from wallquant.importers.ifc.walls import MALFORMED, WallAsRead, WallReader, has_body
from wallquant.units import MM

if TYPE_CHECKING:
    from wallquant.job import Select


def read_model(path: pathlib.Path, select: Select | None, limits: Limits) -> tuple[Building, tuple[Finding, ...]]:
    """Read an IFC file; see `wallquant.importers.ifc.read`."""
    model, schema, complaints = open_model(path)
    try:
        scale, unit = length_unit(model, path.name)
        frames = Frames(scale)
        frames.world = world_frame(model, frames)
        relations = gather(model)
        storeys, names = read_storeys(model, frames)
        kernel = Kernel(path, scale)
        reader = WallReader(frames, Curves(frames, angle_unit(model)), relations, kernel, select, limits)
        elements, wholes, findings = _elements(model, relations)
        on_map = None
        with suppress(Unreadable, *MALFORMED):
            on_map = places.map_place(model, frames, unit)
        findings += [*complaints, *places.findings(model, unit, on_map)]
    except InputError:
        raise
    except (Unreadable, *MALFORMED) as error:
        raise InputError(f"{path.name}: the units, contexts or relations of the model are broken; export it again") from error
    if not elements:
        raise InputError(f"{path.name}: there is no wall in it (IfcWall); check what was exported")
    read: list[WallAsRead] = []
    for guid, element in elements:
        try:
            storey = storey_of(element, relations, names)
        except MALFORMED:
            storey = ""
        read.append(reader.read(element, guid, storey))
    kernel.close()
    read, told = apart(sorted(read, key=lambda w: w.guid), wholes)
    findings += told
    origin = _origin(read)
    walls: list[Wall] = []
    aside: list[SetAside] = []
    keys = opening_keys([part for one in read for part in one.leaves or one.chords or (one,)])
    for one in read:
        if not one.storey:
            body = one.chords[0].body if one.chords else one.body
            level = one.at[2] + (body.bottom if body is not None else 0.0)
            one.storey = storey_at(round(float(level) * MM), storeys)
        for part in (*one.leaves, *one.chords):
            part.storey = one.storey
        if one.leaves:
            several, told = leaf_walls(one, origin, keys, scale)
            walls += several
            findings += told
        elif one.chords:
            several, told = chord_walls(one, origin, keys, scale)
            walls += several
            findings += told
        elif one.body is not None:
            wall, told = make_wall(one, origin, keys, scale)
            walls.append(wall)
            findings += told
        else:
            aside.append(_set_aside(one, origin, keys))
            findings.append(_told(one))
    walls.sort(key=lambda w: w.guid)
    findings += about_choice([(one.guid, one.storey, one.layers, one.chosen) for one in read if one.chosen is not None], scale)
    findings += about_sizes(walls) + about_leaves(model, reader, walls, origin)
    project = next(iter(model.by_type("IfcProject")), None)
    building = next(iter(sorted(model.by_type("IfcBuilding"), key=lambda b: str(b.GlobalId or ""))), None)
    return Building(
        walls=tuple(walls), set_aside=tuple(aside), storeys=storeys, origin=origin,
        name=label((building.Name if building is not None else "") or (project.Name if project is not None else "")),
        ifc_schema=schema, unit=unit, project_guid=label(project.GlobalId) if project is not None else "", sources={"model": path.name},
        map_place=on_map,
    ), merged(findings)  # fmt: skip


def _elements(model: Entity, relations: Relations) -> tuple[list[tuple[str, Entity]], dict[str, str], list[Finding]]:
    """The walls that count, with unique keys; those that are parts of another with a body, and which; findings."""
    findings: list[Finding] = []
    chosen: list[tuple[str, str, Entity]] = []
    within: dict[int, int] = {}
    walls = {w.id(): w for w in model.by_type("IfcWall")}
    for wall in walls.values():
        above = relations.ancestors(wall)
        guid, name = called(wall)
        if not has_body(wall) and any(part.id() in walls for part in relations.parts.get(wall.id(), ())):
            text = "A wall element has no body of its own; the walls that are its parts are read instead."
            findings.append(Finding(code="reading.wall-of-walls", severity="note", place=Place(wall=guid), text=text))
            continue
        if any(a.is_a("IfcCurtainWall") for a in above):
            findings.append(Finding(
                code="reading.curtain-wall", severity="note", place=Place(wall=guid),
                text="A wall element is a part of a curtain wall; it is not masonry and is left out.",
            ))  # fmt: skip
            continue
        within[wall.id()] = next((a.id() for a in above if a.id() in walls and has_body(a)), 0)
        chosen.append((guid, name, wall))
    chosen.sort(key=lambda c: c[:2])
    used: dict[str, int] = {}
    result: list[tuple[str, Entity]] = []
    for guid, _, wall in chosen:
        key = guid or "wall"
        used[key] = used.get(key, 0) + 1
        if not guid or used[key] > 1:
            text = "Two walls of the model have the same GlobalId" if guid else "A wall of the model has no GlobalId"
            unique = f"{key}#{used[key]}"
            key = unique
            text = f"{text}; it is called {unique} here."
            findings.append(Finding(code="reading.guid", severity="warning", text=text, place=Place(wall=unique)))
        result.append((key, wall))
    keys = {wall.id(): key for key, wall in result}
    return result, {key: keys[within[wall.id()]] for key, wall in result if within[wall.id()] in keys}, findings


def _origin(read: list[WallAsRead]) -> Point:
    """Middle of the box about all walls, in whole kilometres."""
    points = [p for one in read for p in footprint(one)]
    if not points:
        return 0, 0
    every = np.array(points)
    middle = (every.min(axis=0) + every.max(axis=0)) / 2
    return round(float(middle[0]) / 1e6) * KM, round(float(middle[1]) / 1e6) * KM


def _set_aside(one: WallAsRead, origin: Point, keys: dict[tuple[str, int], str]) -> SetAside:
    mass = one.mass
    return SetAside(
        guid=one.guid, name=one.name, storey=one.storey, reason=one.reason,
        area_m2=float(mass.area * 1e-6), volume_m3=float(mass.volume * 1e-9),
        openings_m3=float(mass.openings_volume * 1e-9), openings_m2=float(mass.openings_area * 1e-6), thickness=round(mass.thickness * MM),
        footprint=tuple((round(x * MM) - origin[0], round(y * MM) - origin[1]) for x, y in footprint(one)),
        openings=tuple(keys[one.guid, i] for i in range(len(one.openings))),
    )  # fmt: skip


def _told(one: WallAsRead) -> Finding:
    name = one.name or one.guid
    names = [o.name or o.guid for o in one.openings]
    lost = f" {'Its openings go' if len(names) > 1 else 'Its opening goes'} with it: {listed(names)}." if names else ""
    return Finding(
        code="reading.set-aside", severity="warning", place=Place(wall=one.guid, storey=one.storey),
        text=f"Wall {name} is set aside: {one.reason}.{lost}", cause=one.reason,
    )  # fmt: skip

"""Storeys of a model, and the storey of each wall."""

from __future__ import annotations

from contextlib import suppress

from wallquant.building import Storey
from wallquant.importers.ifc.frames import Entity, Frames, Unreadable
from wallquant.importers.ifc.labels import label
from wallquant.importers.ifc.relations import Relations
from wallquant.units import MM


def read_storeys(model: Entity, frames: Frames) -> tuple[tuple[Storey, ...], dict[int, str]]:
    """Return the storeys by level, and their names by instance number; equal names get a count, so that names are unique."""
    found: list[tuple[int, str, str, int]] = []
    for entity in model.by_type("IfcBuildingStorey"):
        level = 0.0
        with suppress(Unreadable):
            level = frames.length(entity.Elevation or 0.0)
        if entity.ObjectPlacement is not None:
            with suppress(Unreadable):  # else the stated elevation serves
                level = float(frames.placement(entity.ObjectPlacement)[2, 3])
        guid = label(entity.GlobalId)
        found.append((round(level * MM), guid, label(entity.Name or entity.LongName), entity.id()))
    found.sort()
    names: dict[int, str] = {}
    used: set[str] = set()
    storeys: list[Storey] = []
    for level, guid, name, number in found:
        name = name.strip() or "storey"
        unique, count = name, 1
        while unique in used:
            count += 1
            unique = f"{name} ({count})"
        used.add(unique)
        names[number] = unique
        storeys.append(Storey(guid=guid, name=unique, level=level))
    return tuple(storeys), names


def storey_of(wall: Entity, relations: Relations, names: dict[int, str]) -> str:
    """Return the name of the storey that contains a wall, directly or through what it is part of; '' where none does."""
    chain = [wall, *relations.ancestors(wall)]
    for one in chain:
        structure = relations.structure.get(one.id())
        for place in [structure, *relations.ancestors(structure)] if structure is not None else []:
            if place.id() in names:
                return names[place.id()]
    return next((names[one.id()] for one in chain if one.id() in names), "")


def storey_at(level: int, storeys: tuple[Storey, ...]) -> str:
    """Return the name of the highest storey that is not above a level (1 mm to spare), '' where there is none."""
    below = [s for s in storeys if s.level <= level + MM]
    return max(below, key=lambda s: (s.level, s.name)).name if below else ""

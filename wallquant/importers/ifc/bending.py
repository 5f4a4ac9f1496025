"""Bent walls: the pieces of one as walls as read, and the part of an opening that each has."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import TYPE_CHECKING

from wallquant.importers.ifc.choice import selected
from wallquant.importers.ifc.masses import Mass
from wallquant.importers.ifc.plan import CLOSE
from wallquant.importers.ifc.relations import Layer

if TYPE_CHECKING:
    from wallquant.importers.ifc.chords import Bent
    from wallquant.importers.ifc.walls import WallAsRead
    from wallquant.job import Select

SKEW = 0.005
"""The part by which what an opening takes out of a chord may differ from its rectangle and still be one."""


def bend(found: WallAsRead, select: Select | None, scale: float, openings: Callable[[WallAsRead], None]) -> None:
    """Give a bent wall its pieces, each with the part of an opening that lies in it; or the reason why the job selects nothing of it.

    Parameters
    ----------
    found : WallAsRead
        Changed: `chords` and `openings`, or `reason`.
    select : Select or None
        What the job selects.
    scale : float
        Millimetres in one length unit of the model.
    openings : callable
        Reads the openings of one piece.
    """
    bent = found.bent
    assert bent is not None
    if not _selects(found, bent, select, scale):
        return
    found.reason, found.mass = "", Mass(outline=bent.outline)
    # the faces of a curved opening leave the chord by more than the centre line does
    rise = max((arc.gap * (1 + bent.thickness / arc.radius) for arc in bent.arcs), default=0.0)
    inset = min(rise + CLOSE, bent.thickness / 4) if bent.arcs else 0.0
    for n, body in enumerate(bent.bodies):
        part = replace(
            found, guid=f"{found.guid}/{n + 1}", body=body, openings=[], bent=None, chords=[], mass=Mass(), inset=inset, axis=True
        )  # fmt: skip
        openings(part)
        for hole in (h for o in part.openings for h in o.holes):
            hole.volume *= bent.thickness / (bent.thickness - 2 * inset)
            plain = hole.area * bent.thickness
            if hole.through and abs(hole.volume - plain) <= SKEW * plain:
                hole.volume = plain  # it does not stand quite square to the chord
        found.chords.append(part)
    found.openings = list(found.chords[0].openings)
    kept: list[list[int]] = [[] for _ in found.chords]
    for k in range(len(found.openings)):
        every = [part.openings[k] for part in found.chords]
        cut = [n for n, one in enumerate(every) if one.holes or one.top]
        most = max(cut, key=lambda n: (round(sum(h.area for h in every[n].holes)), -n), default=0)
        found.openings[k] = every[most]
        for n in cut or [0]:
            kept[n].append(k)
        for count, n in enumerate((n for n in cut if n != most), start=2):
            every[n].fillings, every[n].more = {}, []  # what fills it stands where most of it lies
            every[n].guid = f"{every[n].guid}~{count}" if every[n].guid else ""
    for part, mine in zip(found.chords, kept, strict=True):
        part.openings = [part.openings[k] for k in mine]


def _selects(found: WallAsRead, bent: Bent, select: Select | None, scale: float) -> bool:
    """Say whether the job's word lets the body be laid; the layers of a bent wall are not told apart."""
    layers = [one for one in found.layers.each if one.thickness > 0]
    if select is None:
        found.loose = "it is bent, and its layers are not told apart" if len(layers) > 1 else ""
        return True
    if len(layers) > 1:
        found.reason = "it is bent, and layers of bent walls are not told apart, as the job's select asks"
        return False
    if not found.layers.name:
        found.loose = "it has no material"
        return True
    one = Layer(name=found.layers.name, thickness=bent.thickness / scale, function=next((x.function for x in found.layers.each), ""))
    if not selected(one, scale, select):
        found.reason = "the job selects none of its layers"
        return False
    return True

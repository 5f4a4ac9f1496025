"""Which layers of a wall are its masonry: by the job's word, or by a default that is told."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass
from fnmatch import fnmatchcase
from typing import TYPE_CHECKING

from wallquant.findings import Finding, Place
from wallquant.importers.ifc.relations import Layer, Layers
from wallquant.units import MM, mm_text

if TYPE_CHECKING:
    from wallquant.job import Select

MASONRY = (
    "masonry", "brick", "block", "cmu", "aac", "aerated concrete", "mauer", "ziegel", "kalksand", "porenbeton", "brique", "parpaing",
    "ladrillo", "bloque", "laterizio", "mattone", "baksteen", "tegl",
)  # fmt: skip
"""Words in a material's name that say masonry: common practice, no source; `select` in the job overrides them."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Chosen:
    """What is laid of a layered wall: indices of the first and last layer of each leaf, and why; `lost`: no layer is selected."""

    leaves: tuple[tuple[int, int], ...]
    why: str
    lost: bool = False


def choose(layers: Layers, scale: float, select: Select | None) -> Chosen:
    """Return the leaves of a wall.

    Parameters
    ----------
    layers : Layers
        Of which at least two have a thickness.
    scale : float
        Millimetres in one length unit of the model.
    select : Select or None
        What the job selects.
    """
    every = layers.each
    if select is not None:
        kept = [k for k, one in enumerate(every) if one.thickness > 0 and selected(one, scale, select)]
        return Chosen(leaves=_leaves(every, kept), why="the job selects it", lost=not kept)
    bearing = [k for k, one in enumerate(every) if one.thickness > 0 and one.function.casefold() == "loadbearing"]
    named = [k for k, one in enumerate(every) if one.thickness > 0 and any(word in one.name.casefold() for word in MASONRY)]
    shut = [k for k, one in enumerate(every) if one.thickness > 0 and not one.ventilated]
    for found, why in ((bearing, "the thickest that the model calls load-bearing"), (named, "the thickest whose name says masonry")):
        if found:
            return Chosen(leaves=_leaves(every, _thickest(every, found)), why=why)
    thickest = _thickest(every, shut or range(len(every)))
    return Chosen(leaves=_leaves(every, thickest[:1]), why="the thickest, since no layer is called load-bearing or masonry")


def selected(one: Layer, scale: float, select: Select) -> bool:
    """Return whether a layer is what the job selects: all that is given must hold."""
    size = round(one.thickness * scale * MM)
    return (
        (select.material is None or fnmatchcase(one.name.casefold(), select.material.casefold()))
        and (select.function is None or one.function.casefold() == select.function.casefold())
        and (select.least_thickness is None or size >= select.least_thickness)
        and (select.most_thickness is None or size <= select.most_thickness)
    )


def _thickest(every: Sequence[Layer], among: Sequence[int]) -> list[int]:
    most = max(every[k].thickness for k in among)
    return [k for k in among if abs(every[k].thickness - most) <= 1e-6 * most]


def _leaves(every: Sequence[Layer], kept: Sequence[int]) -> tuple[tuple[int, int], ...]:
    """Selected layers that lie on each other and are of one material are one leaf."""
    found: list[tuple[int, int]] = []
    for k in kept:
        if found and found[-1][1] == k - 1 and every[k].name == every[k - 1].name:
            found[-1] = (found[-1][0], k)
        else:
            found.append((k, k))
    return tuple(found)


def about_choice(walls: Sequence[tuple[str, str, Layers, Chosen]], scale: float) -> list[Finding]:
    """Tell once for each layer set what is laid of it and why.

    Parameters
    ----------
    walls : sequence of (GlobalId, storey, Layers, Chosen)
        Walls of which layers are laid.
    scale : float
        Millimetres in one length unit of the model.
    """
    told = []
    ordered = sorted(walls, key=lambda w: (w[2].title, w[2].each, w[3].leaves, w[0]))
    for _, group in itertools.groupby(ordered, key=lambda w: (w[2].title, w[2].each, w[3])):
        same = list(group)
        _, _, layers, chosen = same[0]
        laid = " and ".join(_leaf(layers.each[a : b + 1], a, scale) for a, b in chosen.leaves)
        rest = sum(one.thickness for k, one in enumerate(layers.each) if not any(a <= k <= b for a, b in chosen.leaves))
        leaves = " They are leaves, each a run of its own." if len(chosen.leaves) > 1 else ""
        text = (
            f"{len(same)} wall{'s' if len(same) > 1 else ''} of layers {layers.title or layers.name or 'without a name'}: laid is {laid}, "
            f"{chosen.why}; the other layers, {_size(rest, scale)} mm, are finishes.{leaves} Say another with select in the job."
        )
        place = Place(wall=same[0][0], storey=same[0][1])
        told.append(Finding(code="reading.layer-chosen", severity="note", text=text, place=place, times=len(same)))
    return told


def _leaf(leaf: Sequence[Layer], first: int, scale: float) -> str:
    which = f"layer {first + 1}" if len(leaf) == 1 else f"layers {first + 1} to {first + len(leaf)}"
    return f"{which}, {leaf[0].name or 'without a name'}, {_size(sum(one.thickness for one in leaf), scale)} mm"


def _size(thickness: float, scale: float) -> str:
    return mm_text(round(thickness * scale * 1000) * MM // 1000)

"""Walls, openings and storeys of an IFC model (IFC2X3, IFC4, IFC4X3_ADD2), read analytically: no geometry kernel.

Inside this package lengths are floats of millimetres, in world orientation but relative to the wall's own placement, so that
a model far from its origin keeps its precision; each number is rounded to whole nanometres once, when the record is made.
"""

from __future__ import annotations

import pathlib
from typing import TYPE_CHECKING

from wallquant.building import Building
from wallquant.findings import Finding
from wallquant.units import MM, Nm

if TYPE_CHECKING:
    from wallquant.job import Select

suffixes = (".ifc",)
"""File names that this importer reads."""


CHORD_GAP: Nm = 10 * MM
"""Most rise of a curved wall's centre line over a chord: project input."""
LEAST_CHORD: Nm = 200 * MM
"""Least length of a chord, for which two mitred legs of the usual least piece have room: project input."""


def read(
    path: pathlib.Path, *, select: Select | None = None, chord_gap: Nm | None = None, least_chord: Nm | None = None
) -> tuple[Building, tuple[Finding, ...]]:
    """Read an IFC file.

    Parameters
    ----------
    path : pathlib.Path
        A STEP physical file (ISO 10303-21) of schema IFC2X3, IFC4 or IFC4X3_ADD2.
    select : wallquant.job.Select, optional
        Which layer of a layered wall is its masonry; without it the rule of `choice.choose` serves, and is told.
    chord_gap, least_chord : int, optional
        How curved walls are cut into chords: most rise of the centre line's arc over one, and its least length; nanometres.

    Returns
    -------
    tuple
        The building (lengths in nanometres, volumes in m3) and the findings.

    Raises
    ------
    wallquant.importers.InputError
        If the file is missing, is no IFC, is cut off, has an unsupported schema, no length unit or no wall.
    """
    from wallquant.importers.ifc.chords import Limits
    from wallquant.importers.ifc.model import read_model  # ifcopenshell takes a second to load

    return read_model(path, select, Limits(gap=(chord_gap or CHORD_GAP) / MM, least=(least_chord or LEAST_CHORD) / MM))

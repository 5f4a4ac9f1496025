"""What the site gives: working strips, pallets, rates of labour; each default with its source, and the job may say otherwise."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields
from typing import Any

from wallquant.findings import Source
from wallquant.job import Job
from wallquant.units import FOOT, INCH, MM, POUND, Nm

M2_PER_1000_FT2 = 92.90304
"""Exact (international foot, 1959)."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Ground:
    """How pallets stand on the slab.  Lengths are nanometres."""

    pallet_length: Nm = 1200 * MM
    pallet_width: Nm = 1000 * MM
    off_edge: Nm = 1000 * MM
    strip: Nm = 600 * MM
    reach: Nm = 3000 * MM

    @classmethod
    def of(cls, job: Job, system: str) -> Ground:
        """Return what the job says, else the defaults, in whole feet where people read inches."""
        us = {"pallet_length": 48 * INCH, "pallet_width": 40 * INCH, "off_edge": 3 * FOOT, "strip": 2 * FOOT, "reach": 10 * FOOT}
        return cls(**((us if system == "in" else {}) | _given(job.staging, cls)))


@dataclass(frozen=True, kw_only=True, slots=True)
class Rates:
    """How labour is told apart.

    Attributes
    ----------
    alone, two : float
        Mass as delivered (kg) up to which one person, and up to which two, lift a piece.
    band : int
        Height of a band, nanometres: what is reached from one scaffold lift.
    above : float
        Part by which work takes longer for each band above the first.
    batch_bags : float
        Bags that are mixed in one go.
    """

    alone: float = 51 * POUND
    two: float = 102 * POUND
    band: Nm = 1500 * MM
    above: float = 0.0
    batch_bags: float = 1.0

    @classmethod
    def of(cls, job: Job, system: str) -> Rates:
        """Return what the job says, else the defaults; a band is 5 ft where people read inches."""
        return cls(**(({"band": 5 * FOOT} if system == "in" else {}) | _given(job.labour, cls)))


def _given(said: object, kind: type) -> dict[str, Any]:
    """What a job says of the fields of a kind; a mapping without what it leaves out."""
    keys = [f.name for f in fields(kind)]
    return {key: value for key in keys if said is not None and (value := getattr(said, key)) is not None}


AREA_HOURS = 160.0 / M2_PER_1000_FT2
"""Man-hours for a square metre of wall: 160 for 1,000 ft2 of 8 x 8 x 16 block."""

SOURCES: Mapping[str, Source] = {
    "pallet_length": Source(basis="project", text="ground plan of a pallet 1200 x 1000 mm, or 48 x 40 in"),
    "pallet_width": Source(basis="project", text="ground plan of a pallet 1200 x 1000 mm, or 48 x 40 in"),
    "off_edge": Source(basis="project", text="1 m or 3 ft from the edge; the engineer's value where the slab bears little there"),
    "strip": Source(basis="project", text="600 mm or 2 ft beside the wall are for the mason and the mortar"),
    "reach": Source(basis="project", text="3 m or 10 ft from the wall at most, else units are carried"),
    "alone": Source(basis="read", text="load constant of the NIOSH lifting equation, 51 lb or 23 kg, NIOSH 94-110"),
    "two": Source(basis="project", text="twice what one lifts, and no more"),
    "band": Source(basis="practice", text="a scaffold lift at about 1.5 m or 5 ft"),
    "above": Source(basis="project", text="0: no figure is published for thin-bed block; measure your own"),
    "batch_bags": Source(basis="project", text="one bag in one go; mixed 5 min, rested 5 min, mixed 5 min (common practice, no source)"),
    "AREA_HOURS": Source(basis="read", text="NAVFAC P-405, in NAVEDTRA 14045, Table 4-4: 160 man-hours for 1,000 ft2 of 8 x 8 x 16"),
    "BY_WEIGHT": Source(basis="read", text="Schierhorn 1995, Table 1: units a mason-day by mass; masons only, helpers not counted"),
}

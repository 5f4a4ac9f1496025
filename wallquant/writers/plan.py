"""A finished plan, as writers and observers see it: read-only."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from wallquant.bonding import Bond
from wallquant.building import Building, SetAside, element_keys
from wallquant.catalogue import Catalogue
from wallquant.cutting import Cutting
from wallquant.findings import Finding
from wallquant.graph import Network
from wallquant.job import Job
from wallquant.layout import Work
from wallquant.ordering import Schedule
from wallquant.rules import Rule
from wallquant.survey import Survey

if TYPE_CHECKING:
    import pandas as pd


@dataclass(frozen=True, kw_only=True)
class Plan:
    """All of a plan.

    Attributes
    ----------
    model : str
        Name of the model's file.
    system : str
        ``mm`` or ``in``: what people read.
    set_aside : tuple of SetAside
        Walls that are not laid: those that could not be read, and those that no run could be made of.
    bond : Bond
        `bond.work` with its steps.
    schedule : Schedule
    cutting : Cutting
    materials : DataFrame
        The content of materials.csv.
    schedules : mapping of str to DataFrame
        The content of the files of `wallquant.files.SCHEDULES`.
    notes : tuple of str
        What was chosen without being asked: catalogue, start.
    survey : Survey, optional
        The slab, where it was surveyed.
    """

    model: str
    job: Job
    system: str
    catalogue: Catalogue
    building: Building
    network: Network
    rules: tuple[Rule, ...]
    set_aside: tuple[SetAside, ...]
    bond: Bond
    work: Work
    schedule: Schedule
    cutting: Cutting
    materials: pd.DataFrame
    findings: tuple[Finding, ...]
    schedules: Mapping[str, pd.DataFrame] = field(default_factory=dict)
    notes: tuple[str, ...] = ()
    survey: Survey | None = None

    def name_of(self) -> Mapping[str, str]:
        """Return the name of each wall by its GlobalId; the GlobalId where it has none."""
        named = {w.guid: w.name or w.guid for w in self.building.walls}
        return named | {s.guid: s.name or s.guid for s in self.set_aside}

    def element_of(self) -> Mapping[str, str]:
        """Return the GlobalId of the model's wall by the key of each wall that is read or set aside as a part of it."""
        return element_keys(self.building.walls, self.set_aside)

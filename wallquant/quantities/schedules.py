"""All schedules of a plan, by file name; each is made from the same table of pieces."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import pandas as pd

from wallquant.bonding import Bond
from wallquant.building import Building, SetAside
from wallquant.catalogue import Catalogue
from wallquant.cutting import Cutting
from wallquant.findings import Finding
from wallquant.job import Job
from wallquant.ordering import Schedule
from wallquant.quantities import bars, bill, bought, by_wall, labour, staging
from wallquant.quantities.frames import known_walls, piece_table
from wallquant.quantities.joints import JointVolumes, joint_volumes
from wallquant.quantities.materials import materials
from wallquant.quantities.site import Ground, Rates
from wallquant.rules import Amount


@dataclass(frozen=True, kw_only=True)
class Counted:
    """What a plan takes: the material schedule, the other schedules by file name, and what is worth telling of them."""

    materials: pd.DataFrame
    schedules: Mapping[str, pd.DataFrame]
    findings: tuple[Finding, ...]


def counted(
    laid: Bond,
    building: Building,
    aside: Sequence[SetAside],
    schedule: Schedule,
    cutting: Cutting,
    amounts: Sequence[Amount],
    catalogue: Catalogue,
    job: Job,
    system: str,
) -> Counted:
    """Count a plan.

    Parameters
    ----------
    laid : Bond
        With its steps.
    building : Building
    aside : sequence of SetAside
        All walls that are not laid.
    schedule : Schedule
    cutting : Cutting
    amounts : sequence of Amount
        What rules measure.
    catalogue : Catalogue
    job : Job
        Staging, labour, bill.
    system : str
        Units of sentences, ``mm`` or ``in``.
    """
    work = laid.work
    mortar: Mapping[str, JointVolumes] = joint_volumes(work.pieces, work.runs, work.courses)
    listed, by_bar = bars.bars(work, schedule)
    bought_of = materials(work, cutting, amounts, mortar, catalogue, listed)
    known = known_walls(building.walls, aside)
    table = piece_table(work, cutting, schedule)
    placed, told = staging.staging(table, work, bought_of, catalogue, (*building.walls, *aside), known, Ground.of(job, system), system)
    rates = Rates.of(job, system)
    return Counted(
        materials=bought_of,
        schedules={
            by_wall.FILE: by_wall.by_wall(table, work, mortar, amounts, known),
            bought.FILE: bought.ledger(laid.accounts, aside, table, work, mortar, bought_of, known),
            staging.FILE: placed,
            labour.LABOUR: labour.labour(table, work, schedule, rates),
            labour.MIXING: labour.mixing(table, work, schedule, mortar, amounts, catalogue, rates),
            bars.FILE: by_bar,
            bill.FILE: bill.bill(laid.accounts, {w.guid: w for w in building.walls}, known, job.bill),
        },
        findings=told,
    )

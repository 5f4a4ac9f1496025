"""layout.ifc: the plan as an IFC model that lies in place over the model it was made from.

An assembly a run, its pieces as typed parts with mapped outer shapes, items as their own classes, each linked to the design wall; a
work schedule with a task a step.  Rooms: `spf` (lines of the file), `shapes` (types), `frame` (project, storeys, design walls), `laid`
(runs, pieces, items), `sequence` (tasks).  Lines are written as they come, so that a plan of 100,000 pieces takes little memory.

Source: IFC4 ADD2 TC1 (ISO 16739-1:2018), IFC4X3 ADD2 (ISO 16739-1:2024), ISO 10303-21.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from wallquant.writers.ifc.frame import Frame
from wallquant.writers.ifc.laid import items, runs
from wallquant.writers.ifc.sequence import sequence
from wallquant.writers.ifc.spf import TAIL, Lines, head

if TYPE_CHECKING:
    from wallquant.writers.plan import Plan

FILE = "layout.ifc"


def write(plan: Plan, folder: Path) -> None:
    """Write layout.ifc, in millimetres.

    Parameters
    ----------
    plan : Plan
        `plan.job.ifc_schema` chooses the schema.
    folder : Path
    """
    with (folder / FILE).open("w", encoding="ascii", newline="\n") as out:
        out.write(head(FILE, plan.job.ifc_schema))
        frame = Frame.of(plan, Lines(out=out))
        laid = runs(plan, frame)
        built = items(plan, frame, laid)
        frame.close(laid.assemblies, laid.of_wall)
        sequence(plan, frame, laid.parts, built)
        out.write(TAIL)

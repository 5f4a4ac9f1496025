"""A survey on a plan: what the pipeline and the command ask for."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

from wallquant.findings import Finding
from wallquant.layout import Work
from wallquant.survey.footings import Ground, footings
from wallquant.survey.levelling import Levelled, levelled
from wallquant.survey.shots import SurveyError, read_shots
from wallquant.survey.telling import elsewhere, findings
from wallquant.survey.tying import tied
from wallquant.units import MM, Nm


@dataclass(frozen=True, kw_only=True)
class Survey:
    """The slab of a plan as surveyed."""

    ground: Ground
    levelled: Levelled
    findings: tuple[Finding, ...]


def surveyed(path: Path, work: Work, origin: tuple[Nm, Nm], system: str) -> Survey:
    """Read shots and lay the beds of a plan's course 1 on them.

    Raises
    ------
    SurveyError
        One sentence.
    """
    return on_ground(path, footings(work, (origin[0] / MM, origin[1] / MM)), system)


def on_ground(path: Path, ground: Ground, system: str) -> Survey:
    """Lay the beds of a plan's course 1 on the shots of a file; `ground` is what stands on the slab.

    Raises
    ------
    SurveyError
        One sentence, also where the shots are those of another site.
    """
    try:
        shots, told = tied(read_shots(path), {m.corner: m.at for m in ground.marks}, ground.origin)
        found = levelled(ground, shots)
        if wrong := elsewhere(found, ground, shots, system):
            raise SurveyError(wrong)
    except SurveyError as error:
        said = str(error)
        raise error if said.startswith(path.name) else SurveyError(f"{path.name}, {said}") from error
    return Survey(ground=ground, levelled=found, findings=(*told, *findings(found, ground, system)))


def begun(work: Work, slab: Survey) -> Work:
    """Return the work with the start corners and the mortar that the slab asks for."""
    volumes: dict[str, float] = {}
    for part in slab.levelled.parts:
        for bed in part.beds:
            volumes[bed.footing.run] = volumes.get(bed.footing.run, 0.0) + bed.litres / 1000
    corners = {p.part: p.start for p in slab.levelled.parts if p.start}
    return replace(work, start_corner={**work.start_corner, **corners}, bed_m3=volumes)

"""Beds that are held: where a rule's bed does not yield, the courses under it are ripped, in all runs that share course lines."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from wallquant.bonding.coursing import courses, heights
from wallquant.findings import Finding, Place
from wallquant.graph import Network
from wallquant.layout import Run
from wallquant.rules import Bed, Rule
from wallquant.units import Nm, text


@dataclass(frozen=True, kw_only=True, slots=True)
class Refused:
    """A bed that is not held, and the held bed beside which it cannot be ('' and 0: the wall's own bottom)."""

    run: str
    level: Nm
    rule: str
    beside: Nm
    by: str


@dataclass(frozen=True, kw_only=True, slots=True)
class Beds:
    """What beds rules want in each run with nominal courses, which of them are held, and which are refused."""

    wanted: Mapping[str, Mapping[Nm, int]]
    held: Mapping[str, tuple[Nm, ...]]
    refused: tuple[Refused, ...]


def beds(network: Network, runs: Mapping[str, Run], rules: Sequence[Rule]) -> Beds:
    """Ask all rules what beds they want, and hold those that do not yield.

    Parameters
    ----------
    network : Network
        For its connected parts: their runs of one underside share course lines.
    runs : mapping of name to Run
        With heads and sills as the job chose them.
    rules : sequence of Rule
        In order of code.

    Returns
    -------
    Beds
        Where two beds cannot both be held, that of the longer runs is; of equal ones the lower.
    """
    asked = {name: [(r.code, s) for r in rules for s in r.demand(run, courses(run)) if isinstance(s, Bed)] for name, run in runs.items()}
    held: dict[str, tuple[Nm, ...]] = {}
    refused: list[Refused] = []
    for part in network.parts:
        lines: dict[tuple[Nm, Nm], list[str]] = {}
        for name in part:
            lines.setdefault((runs[name].bottom, runs[name].unit.height), []).append(name)
        for names in lines.values():
            kept, lost = _kept([(runs[n], code, bed) for n in names for code, bed in asked[n] if bed.yields == 0])
            refused += lost
            held |= dict.fromkeys(names, kept)
    wanted = {name: {bed.level: bed.yields for _, bed in some} for name, some in asked.items()}
    return Beds(wanted=wanted, held=held, refused=tuple(sorted(refused, key=lambda r: (int(r.run[1:]), r.level, r.rule))))


def _kept(hard: Sequence[tuple[Run, str, Bed]]) -> tuple[tuple[Nm, ...], list[Refused]]:
    length: dict[Nm, Nm] = {}
    rule: dict[Nm, str] = {}
    for run, code, bed in hard:
        length[bed.level] = length.get(bed.level, 0) + run.length
        rule[bed.level] = min(code, rule.get(bed.level, code))
    kept: list[Nm] = []
    lost: dict[Nm, Nm] = {}
    for level in sorted(length, key=lambda z: (-length[z], z)):
        run = hard[0][0]
        book = run.catalogue
        lines = [z - run.bottom for z in (*kept, level)]
        sizes = {"bed": book.levelling_bed.nominal, "joint": book.bed.nominal, "height": run.unit.height, "rip": book.least_rip}
        if heights(**sizes, held=lines) is None:
            lost[level] = min(kept, key=lambda z: (abs(z - level), z), default=run.bottom)
        else:
            kept.append(level)
    refused = [
        Refused(run=run.name, level=bed.level, rule=code, beside=lost[bed.level], by=rule.get(lost[bed.level], ""))
        for run, code, bed in hard
        if bed.level in lost
    ]
    return tuple(sorted(kept)), refused


def of_beds(found: Beds, runs: Mapping[str, Run], system: str) -> Iterator[Finding]:
    """Tell the beds that are not held."""
    for one in found.refused:
        run = runs[one.run]
        level, beside = text(one.level, system), text(one.beside, system)
        near = (
            f"the bed at {beside} that {one.by} holds in a run with the same course lines" if one.by else f"the bottom of the run, {beside}"
        )
        yield Finding(
            code="bond.bed",
            severity="warning",
            text=f"{one.run}: {one.rule} wants a bed at {level}, and it is not laid there: between it and {near}, there is no "
            "room for whole courses and a rip. Move one of both levels until whole courses, or courses and a rip, lie between them",
            place=Place(run=one.run, storey=run.storey, level=one.level),
            measured=level,
            rules=tuple(sorted({one.rule, one.by} - {""})),
        )

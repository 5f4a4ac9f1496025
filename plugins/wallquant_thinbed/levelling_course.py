"""Rule levelling_course."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from wallquant.findings import Finding, Place, Source
from wallquant.layout import Run, Work
from wallquant.rules import Amount, ParamInfo, Rule, param
from wallquant.units import Nm, text

ITEM = "levelling mortar"


@dataclass(frozen=True, kw_only=True)
class Params:
    """Parameters of levelling_course."""

    mortar: str = param(
        "S",
        ParamInfo(
            kind="choice",
            text="Type of the levelling mortar",
            source=Source(basis="read", text="ASTM C270 type M or S: Klingner, Masonry Magazine, June 2008; ASTM C1692-11, 7.2, has N too"),
            choices=("M", "S", "N"),
        ),
    )


class LevellingCourse(Rule):
    """Course 1 is laid level in a bed of levelling mortar, within the bed's least and most thickness.

    What it asks
    ------------
    Levelling mortar under course 1 of each run, of the bed's thickness.  The bed stays between the catalogue's least and
    most, so a slab that varies more than their difference asks for ripped pieces, strips, or grinding.  With a slab survey the bed
    of each piece, the mortar, the start corner and the pieces to rip come from the shots.

    Why
    ---
    Thin-bed joints take up no unevenness: what course 1 is out, every course above is out.

    Source
    ------
    Bed of the starting course 1/4 to 3/4 in: IBC 2104.1.2.1 (read).  About 3/8 in at the highest point, and starting
    there: common practice, no source.  A slab on grade within its own tolerance may vary by 3/4 in either way: ACI 117,
    printed in UFGS 03700 (read).  Mortar: Klingner, Masonry Magazine, June 2008 (read).

    Example
    -------
    A run of 100 ft, 7.875 in thick, on a bed of 1/2 in: 2.734 ft3, or 0.0774 m3.
    """

    code = "levelling_course"
    title = "Levelling course"
    Params = Params

    def measure(self, work: Work) -> Iterable[Amount]:
        """Volume of the levelling bed of each run, cubic metres: bedded length x thickness x bed."""
        pieces = work.pieces
        for at, name in enumerate(pieces.runs):
            run, courses = work.runs[name], work.courses[name]
            if name in work.bed_m3:
                yield Amount(item=ITEM, quantity=work.bed_m3[name], unit="m3", where=name, rule=self.code)
                continue
            if not len(courses) or courses.bed <= 0:
                continue
            first = courses.levels[0]
            rows = np.flatnonzero((pieces.run == at) & (pieces.bottom == first.bottom))
            starts, ends = pieces.start[rows], pieces.end[rows]
            length = _bedded(sorted(zip(starts.tolist(), ends.tolist(), strict=True)), run.catalogue.head_joint.most)
            if length:
                volume = length * run.thickness * courses.bed / 1e27
                yield Amount(item=ITEM, quantity=volume, unit="m3", where=name, rule=self.code)

    def findings(self, work: Work) -> Iterable[Finding]:
        """Tell a bed out of its range, and what the slab has to keep to."""
        bed = work.catalogue.levelling_bed
        system = work.catalogue.system
        least, most = text(bed.least, system), text(bed.most, system)
        for run in sorted(work.runs.values(), key=lambda r: r.name):
            laid = work.courses[run.name].bed if run.name in work.courses else bed.nominal
            if not bed.least <= laid <= bed.most:
                yield self._out_of_range(run, laid, least, most)
        if work.runs and not work.bed_m3:
            room = text(bed.most - bed.least, system)
            yield Finding(
                code="levelling_course.check-slab",
                severity="note",
                text=f"Shoot the slab before course 1: under connected walls it may vary by {room} at most, the levelling bed being "
                f"{least} to {most}; grind, pack or strip it where it varies more. Start at the highest shot. Levelling mortar type "
                f"{self.params.mortar} (ASTM C270)",
                wanted=room,
                rules=(self.code,),
            )

    def _out_of_range(self, run: Run, laid: Nm, least: str, most: str) -> Finding:
        shown = text(laid, run.catalogue.system)
        return Finding(
            code="levelling_course.bed",
            severity="warning",
            text=f"The levelling bed of run {run.name} is {shown}, outside {least} to {most}; change the level of its courses, or rip "
            "or strip course 1",
            place=Place(run=run.name, storey=run.storey),
            measured=shown,
            wanted=f"{least} to {most}",
            rules=(self.code,),
        )


def _bedded(spans: list[tuple[Nm, Nm]], joint: Nm) -> Nm:
    """Length of the bed under pieces: the pieces, and between neighbours the joint, which is bedded too."""
    length, last = 0, None
    for start, end in spans:
        length += end - start
        if last is not None and 0 < start - last <= joint:
            length += start - last
        last = end
    return length

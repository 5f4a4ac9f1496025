"""What is checked at the wall, to what tolerance and by which source; and which cautions a day asks for."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from wallquant.findings import Finding
from wallquant.ordering import Turn
from wallquant.writers.pdf.facts import Facts
from wallquant.writers.pdf.paper import Book

LAYING = ("corner", "lead", "line", "closure", "lintel")
GROUT = ("grout", "fill")
MSJC = "MSJC Specification, as printed in Masonry Magazine, December 1993, p. 32"
DIN = "DIN 18202 Table 3 row 5, as printed by the ZDB"
ANGLE = "DIN 18202, angles"
PROJECT = "The project's own specification comes first; for AAC the general tolerances of bed joints do not apply (MCAA)."


@dataclass(frozen=True, kw_only=True, slots=True)
class Check:
    """One thing to check."""

    what: str
    tolerance: str
    source: str


INCH_WALL = (
    Check(what="Plumb, and true to the line", tolerance="±1/4 in in 10 ft, ±3/8 in in 20 ft, ±1/2 in at most", source=MSJC),
    Check(what="Level of the top of a bearing wall", tolerance="±1/4 in in 10 ft, ±1/2 in at most", source=MSJC),
    Check(what="Place in plan", tolerance="±1/2 in in 20 ft, ±3/4 in at most", source=MSJC),
)
MM_WALL = (
    Check(what="Flatness of the raw wall", tolerance="5 mm in 0.1 m, 10 in 1 m, 15 in 4 m, 25 in 10 m", source=DIN),
    Check(what="Plumb and square", tolerance="3 mm to 0.5 m, 6 to 1 m, 8 to 3 m, 12 to 6 m, 16 to 15 m", source=ANGLE),
    Check(what="Plumb over a storey", tolerance="±20 mm", source="EN 1996-2 Table 3.1, from memory"),
)


def checks(book: Book, facts: Facts, turns: Sequence[Turn]) -> Iterator[Check]:
    """Yield what is checked on a day with these steps."""
    kinds = {t.step.kind for t in turns}
    catalogue = facts.plan.catalogue
    if "bar stub" in kinds:
        tolerance = "within 2 in (50.8 mm) along the wall" if book.system == "mm" else "within 2 in along the wall"
        source = "ACI 530, by a study card; the engineer decides"
        yield Check(what="Bars out of the slab, from two edges", tolerance=tolerance, source=source)
    if any(t.step.course == 1 and t.step.kind in LAYING for t in turns):
        bed = catalogue.levelling_bed
        yield Check(
            what="Bed of course 1",
            tolerance=f"{book.length(bed.least)} to {book.length(bed.most)}",
            source=f"catalogue {catalogue.code}; IBC 2104.1.2.1 has 1/4 in to 3/4 in",
        )
        what = "Tops of all corner blocks, by level from the bench mark"
        yield Check(what=what, tolerance="one level", source="common practice, no source")
    if kinds & set(LAYING):
        joint = catalogue.head_joint
        yield from INCH_WALL if book.system == "in" else MM_WALL
        yield Check(
            what="Head joints", tolerance=f"{book.length(joint.least)} to {book.length(joint.most)}", source=f"catalogue {catalogue.code}"
        )
    if "lintel" in kinds:
        least = [facts.bearings[r] for t in turns for r in t.step.pieces if r in facts.bearings]
        if least:
            tolerance = f"at least {book.length(max(least))}"
            yield Check(what="Bearing of each lintel", tolerance=tolerance, source="rule lintel_bearing of this plan")
    if any(word in kind for kind in kinds for word in GROUT):
        slump = "8 to 11 in (203 to 279 mm)" if book.system == "mm" else "8 to 11 in"
        yield Check(what="Slump of the grout", tolerance=slump, source="TMS 602 2.6 B")
        yield Check(what="Grout placed", tolerance="within 1 h 30 min of adding water", source="TMS 602 3.5 A")


@dataclass(frozen=True, kw_only=True, slots=True)
class Doing:
    """What a day holds that asks for a caution."""

    runs: frozenset[str]
    saws: bool
    lifts: bool
    props: bool
    scaffold: bool
    lays: bool


def doing(facts: Facts, turns: Sequence[Turn], sawn: bool) -> Doing:
    """Return what is done on a day; `sawn`: pieces are cut today for tomorrow."""
    p = facts.pieces
    rows = [r for t in turns for r in t.step.pieces]
    needs = " ".join(need for t in turns for need in t.step.resources)
    kinds = {t.step.kind for t in turns}
    return Doing(
        runs=frozenset(name for t in turns for name in t.step.runs),
        saws=sawn or any(p.cut[r] or p.work.get(r) for r in rows),
        lifts="people" in needs or "hoist" in needs or "lintel" in kinds,
        props=any(word in kind for kind in kinds for word in ("lintel", "prop", "beam", *GROUT)),
        scaffold="scaffold" in needs,
        lays=bool(rows),
    )


def cautions(facts: Facts, day: Doing) -> Iterator[Finding]:
    """Yield the cautions of a day; one that this does not know is always told."""
    for f in facts.plan.findings:
        title = f.code.partition(".")[2]
        if not f.code.startswith("caution."):
            continue
        told = {"silica": day.saws, "lifting": day.lifts, "props": day.props, "scaffold": day.scaffold, "slab": day.lays}
        if title in ("bracing", "gable") and f.place.run:
            told[title] = f.place.run in day.runs
        if told.get(title, True):
            yield f

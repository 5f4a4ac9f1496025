"""sheets.pdf: what the crew takes to the wall, on paper that a site printer has, readable in black and white.

For each storey the plan of its first course, of its bars for the slab crew, and of its pallets; how bars are cut; the slab as surveyed;
for each run its elevation and its schedules; for each day its order of work.  A page is drawn when it comes and not kept in parts, so
that a large plan takes the time of its pieces and no more.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from wallquant.writers.pdf import elevation, plans, steel, yard
from wallquant.writers.pdf.days import days
from wallquant.writers.pdf.facts import Facts
from wallquant.writers.pdf.paper import Book
from wallquant.writers.pdf.runs import schedules
from wallquant.writers.pdf.slab import survey

if TYPE_CHECKING:
    from wallquant.writers.plan import Plan

FILE = "sheets.pdf"


def write(plan: Plan, folder: Path) -> None:
    """Write sheets.pdf.

    Parameters
    ----------
    plan : Plan
    folder : Path
    """
    facts = Facts(plan=plan)
    book = Book.at(folder / FILE, system=plan.system, model=plan.model)
    for storey, runs in facts.storeys.items():
        plans.first_course(book, facts, storey, runs)
        plans.bar_plan(book, facts, storey, runs)
        yard.pallets(book, facts, storey, runs)
    steel.cutting_list(book, facts)
    survey(book, facts)
    for runs in facts.storeys.values():
        for run in runs:
            title, high = elevation.draw(book, facts, run)
            schedules(book, facts, run, title, high)
    days(book, facts)
    if not book.page:
        book.sheet("Nothing is laid", listed=False)
        book.text(book.left, book.high - 20, "This plan has no pieces; its findings say why.", 10)
    book.close()

"""schedules.xlsx: materials, saw list, sequence, pieces, openings, items, ledger, findings and sources as sheets of one workbook.

Rows are written as they come and not kept.  What a model calls its walls is text whatever it looks like: nothing becomes a formula
or a link.  Lengths are in millimetres, or in decimal inches where the plan speaks feet and inches; headers say which.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import xlsxwriter

from wallquant.files import LEDGER
from wallquant.findings import by_cause
from wallquant.job import Labour, Staging
from wallquant.ordering.pace import BY_WEIGHT
from wallquant.quantities.bill import DEDUCTIONS
from wallquant.quantities.site import AREA_HOURS, SOURCES, Ground, Rates
from wallquant.rules import infos
from wallquant.writers.saw_list import saw_list
from wallquant.writers.summary import summary
from wallquant.writers.tables import tables

if TYPE_CHECKING:
    import pandas as pd

    from wallquant.writers.plan import Plan

FILE = "schedules.xlsx"
INCH_MM = 25.4
WIDEST, NARROWEST = 70, 8
UNITS = {"_kn_m2": "kN/m²", "_l": "l", "_mm": "mm", "_m3": "m³", "_m2": "m²", "_kg": "kg", "_h": "h", "_deg": "°"}
TABLES = (
    ("Materials", "materials.csv", "What to buy: net, waste and buy apart."),
    ("By wall", "schedule.csv", "What each wall of each storey takes, before waste."),
    ("Deliveries", "staging.csv", "Pallets and lintels in the order of delivery, and where they stand."),
    ("Bars", "bars.csv", "How bars are cut, bought bar by bought bar, and where each length goes."),
    ("Labour", "labour.csv", "Hours by step, lift and height, beside two published rates."),
    ("Mixing", "mixing.csv", "Mortar and grout by day."),
    ("To bought", "ledger.csv", "Each wall from drawn to laid to bought."),
    ("Bill", "bill.csv", "Areas by published rules for openings that are left in; nothing is bought by them."),
    ("Saw list", "saw_list.csv", "What to saw by day and setting of the saw: ahead, or on site once the place is measured."),
    ("Cut units", "cuts.csv", "Every cut piece and the unit it is sawn from, unit by unit."),
    ("Sequence", "steps.csv", "The steps in laying order, with crews and hours."),
    ("Openings", "openings.csv", "Openings as laid, what bridges them, and on what length it bears."),
    ("Items", "items.csv", "Ties, bars, fills, joints and what else is built in."),
    ("Courses", "courses.csv", "Levels of each run's courses."),
    ("Pieces", "pieces.csv", "Every piece in its place."),
)


@dataclass(frozen=True, kw_only=True, slots=True)
class _Book:
    """A workbook with its formats."""

    book: Any
    head: Any
    wrap: Any
    plain: Any
    system: str
    model: str

    def sheet(self, name: str, header: Sequence[str], rows: Iterable[Sequence[Any]], widths: Sequence[int]) -> None:
        """Write a sheet: header frozen and repeated on paper, a filter on every column."""
        sheet = self.book.add_worksheet(name)
        for n, width in enumerate(widths):
            sheet.set_column(n, n, max(NARROWEST, min(WIDEST, width + 2)), self.wrap if width > WIDEST else self.plain)
        for n, word in enumerate(header):
            sheet.write_string(0, n, word, self.head)
        last = 0
        for last, row in enumerate(rows, 1):
            for n, value in enumerate(row):
                if isinstance(value, (bool, np.bool_)):
                    sheet.write_string(last, n, "yes" if value else "no")
                elif isinstance(value, (int, float, np.integer, np.floating)):
                    if value == value and abs(value) != float("inf"):
                        sheet.write_number(last, n, value)
                elif value not in ("", None):
                    sheet.write_string(last, n, str(value)[:32_000], self.wrap if widths[n] > WIDEST else self.plain)
        sheet.freeze_panes(1, 1)
        sheet.autofilter(0, 0, max(1, last), len(header) - 1)
        sheet.set_landscape()
        sheet.set_paper(1 if self.system == "in" else 9)
        sheet.fit_to_pages(1, 0)
        sheet.repeat_rows(0)
        sheet.print_area(0, 0, max(1, last), len(header) - 1)
        sheet.set_header(f"&L{self.model.replace('&', '&&')[:120]}&R{name}")
        sheet.set_footer("&LLayout only, no structural design; local codes and licensed practice come first.&R&P of &N")

    def frame(self, name: str, frame: pd.DataFrame) -> None:
        """Write a table; lengths in the plan's unit."""
        scale = {c: 1 / INCH_MM if self.system == "in" and c.endswith("_mm") else 1 for c in frame.columns}
        header = [self.word(c) for c in frame.columns]
        told = frame.map(str) if len(frame) < 2000 else frame.sample(2000, random_state=1).map(str)
        widths = [max([len(h) + 3, *(len(x) if scale[c] == 1 else 8 for x in told[c])]) for h, c in zip(header, frame.columns, strict=True)]

        def rows() -> Iterable[list[Any]]:
            columns = [frame[c].astype(object).where(frame[c].notna(), "").tolist() for c in frame.columns]
            factors = [scale[c] for c in frame.columns]
            for values in zip(*columns, strict=True):
                yield [v if f == 1 or isinstance(v, str) else round(v * f, 4) for v, f in zip(values, factors, strict=True)]

        self.sheet(name, header, rows(), widths)

    def word(self, column: str) -> str:
        """Return a column's name for people, with its unit."""
        for end, unit in UNITS.items():
            if column.endswith(end):
                return f"{column.removesuffix(end).replace('_', ' ')} ({'in' if end == '_mm' and self.system == 'in' else unit})"
        return column.replace("_", " ")


def write(plan: Plan, folder: Path) -> None:
    """Write schedules.xlsx.

    Parameters
    ----------
    plan : Plan
    folder : Path
    """
    options = {"constant_memory": True, "strings_to_formulas": False, "strings_to_urls": False, "strings_to_numbers": False}
    book = xlsxwriter.Workbook(str(folder / FILE), options)
    # a fixed time, since equal plans give equal files
    book.set_properties({"title": "Schedules", "author": "wallquant", "created": datetime(2000, 1, 1)})
    made, head = tables(plan) | {"saw_list.csv": saw_list(plan)}, summary(plan)
    top = {"valign": "top"}
    one = _Book(
        book=book,
        head=book.add_format({"bold": True, "text_wrap": True, "bottom": 2, "bg_color": "#EDEDE8", **top}),
        wrap=book.add_format({"text_wrap": True, **top}),
        plain=book.add_format(top),
        system=plan.system,
        model=plan.model,
    )
    _first(one, plan, head)
    for name, file, _ in TABLES:
        one.frame(name, made[file])
    _ledger(one, head)
    _findings(one, plan)
    _sources(one, plan)
    book.close()


def _first(one: _Book, plan: Plan, head: Mapping[str, Any]) -> None:
    counts, totals = head["counts"], head["totals"]
    rows: list[tuple[Any, ...]] = [
        ("Model", plan.model),
        ("Catalogue", plan.catalogue.title),
        ("Walls laid", f"{counts['walls_laid']} of {counts['walls']}"),
        ("Pieces", counts["pieces"]),
        ("Cut pieces", counts["cuts"]),
        ("Proven least of cut pieces", totals["cuts_bound"]),
        ("Units to buy before waste", counts["units_bought"]),
        ("Mass as delivered (kg)", round(totals["mass_kg"])),
        ("Working hours", round(totals["hours"], 1)),
        ("Hours of laying units, all masons", round(head["labour"]["hours_plan"], 1)),
        (f"The same by area: {SOURCES['AREA_HOURS']}", round(head["labour"]["hours_by_area"], 1)),
        (f"The same by mass: {SOURCES['BY_WEIGHT']}", round(head["labour"]["hours_by_mass"], 1)),
        ("These two rates", "differ, and neither was measured on thin-bed block: measure your own"),
        *((f"Sheet {name}", said) for name, _, said in TABLES),
        ("Sheet Ledger", "Each wall from drawn to laid; every difference named."),
        ("Sheet Findings", "What does not fit, gave way or could not be read."),
        ("Sheet Sources", "Every number that is a rule, and where it comes from."),
        *(("Caution", f.text) for f in plan.findings if f.code.startswith("caution.")),
    ]
    one.sheet("Overview", ("What", "Value"), rows, (28, WIDEST + 1))


def _ledger(one: _Book, head: Mapping[str, Any]) -> None:
    terms = [f"{t.replace('_', ' ')} (m³)" for t in LEDGER]
    header = ("wall", "storey", "runs", "area (m²)", "openings (m²)", "laid (m²)", "set aside (m²)", *terms, "reasons")
    rows = (
        (
            w["name"] or w["guid"], w["storey"], " ".join(w["runs"]),
            *(round(w["area_m2"][k], 6) for k in ("wall", "openings", "laid", "set_aside")),
            *(round(w["ledger_m3"][t], 9) for t in LEDGER), "; ".join(w["reasons"]),
        )
        for w in head["walls"]
    )  # fmt: skip
    one.sheet("Ledger", header, rows, (30, 16, 10, *(10,) * (4 + len(LEDGER)), WIDEST + 1))


def _findings(one: _Book, plan: Plan) -> None:
    header = ("severity", "code", "what, where, what to do", "measured", "wanted", "times", "wall", "run", "corner", "course", "rules")
    names = plan.name_of()
    rows = (
        (
            f.severity, f.code, f.text, f.measured, f.wanted, f.times, names.get(f.place.wall, f.place.wall), f.place.run, f.place.corner,
            f.place.course or "", ", ".join(f.rules),
        )
        for group in by_cause(plan.findings)
        for f in group
    )  # fmt: skip
    one.sheet("Findings", header, rows, (9, 26, WIDEST + 1, 14, 14, 7, 24, 7, 7, 7, 26))


def _sources(one: _Book, plan: Plan) -> None:
    rules = (
        (rule.code, key.replace("_", " "), _value(getattr(rule.params, key), info.kind, one.system), info.unit, info.text, str(info.source))
        for rule in plan.rules
        for key, (info, _) in infos(type(rule)).items()
    )
    one.sheet(
        "Sources",
        ("rule", "parameter", "value", "unit", "what it says", "source"),
        (*_site(plan), *rules),
        (20, 20, 14, 8, WIDEST + 1, WIDEST + 1),
    )


def _site(plan: Plan) -> Iterable[tuple[Any, ...]]:
    """Settings of the site, as rows of the sources: lengths in the plan's unit."""
    ground, rates = Ground.of(plan.job, plan.system), Rates.of(plan.job, plan.system)
    for group, kind, one in (("staging", Staging, ground), ("labour", Labour, rates)):
        for key, info in kind.model_fields.items():
            length = isinstance(getattr(one, key), int)
            yield f"job: {group}", key.replace("_", " "), _value(getattr(one, key), "length" if length else "number", plan.system), "", str(
                info.description
            ).partition(";")[0], str(SOURCES[key])  # fmt: skip
    yield "job: labour", "rate by area", round(AREA_HOURS, 6), "h/m²", "Man-hours for a square metre of wall", str(SOURCES["AREA_HOURS"])
    for most, rate in BY_WEIGHT:
        up_to = f"Units a mason lays in 8 h, up to {most:.4g} kg" if most < 1e6 else "Units a mason lays in 8 h, heavier ones"
        yield "job: labour", "rate by mass", rate, "units/day", up_to, str(SOURCES["BY_WEIGHT"])
    yield "job", "bill", plan.job.bill, "", "Openings that a bill deducts", str(DEDUCTIONS[plan.job.bill].source)


def _value(value: Any, kind: str, system: str) -> Any:
    from wallquant.units import text

    if kind == "length" and isinstance(value, int):
        return text(value, system)
    return round(value, 6) if isinstance(value, float) else value if isinstance(value, (int, str)) else str(value)

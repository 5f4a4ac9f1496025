"""What two plans were made with and what they ask of the site: settings, findings, time and hands, offcuts, money."""

from __future__ import annotations

import csv
from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from math import isfinite
from pathlib import Path
from typing import Any

from wallquant import strictyaml
from wallquant.cli import Sentence
from wallquant.files import COLUMNS, FINDINGS, SUMMARY, read_json, vetted
from wallquant.job import WEEKDAYS
from wallquant.units import mm, text

METRES = "bar"
"""The item of materials.csv that has all bars by the metre; whole ones have rows of their own."""
HOUR = "mason hour"
"""The item of a price list that is an hour of a mason on site, waiting included."""
OFFCUTS = "offcuts and kerfs "
_WHOLE = ("pcs", "bag", "pallet")


@dataclass(frozen=True, kw_only=True)
class Site:
    """What is told of one plan: settings by name, findings, and numbers.

    `weekday` is the last day's, '' where the plan does not say; `asked` has how many courses ask for which offset (mm) of their head
    joints from those below; `bought` is by item and unit, None where not bought.
    """

    settings: Mapping[str, str]
    findings: Counter[tuple[str, str, str]]
    system: str
    masons: int
    days: int
    weekday: str
    asked: Mapping[float, int]
    hours: float
    hands: float | None
    offcuts: float
    pallets: Mapping[int, int]
    bought: Mapping[tuple[str, str], float | None]


@dataclass(frozen=True, kw_only=True)
class Prices:
    """A price list: item to unit ('' where it says none) and price."""

    currency: str
    of: Mapping[str, tuple[str, float]]


def site(folder: Path) -> Site:
    """Read what is told of the plan in a folder; `wallquant.cli.differences.read` has vetted it.

    Raises
    ------
    Sentence
        If a file is missing or malformed.
    """
    try:
        summary = read_json(folder / SUMMARY)
        told = read_json(folder / FINDINGS)["findings"]
        steps = list(_rows(folder / "steps.csv"))
        materials = list(_rows(folder / "materials.csv"))
        labour = list(_rows(folder / "labour.csv")) if (folder / "labour.csv").is_file() else None
        loads = list(_rows(folder / "staging.csv")) if (folder / "staging.csv").is_file() else []
        courses = [float(row["offset_mm"]) for row in _rows(folder / "courses.csv") if row["offset_mm"]]
        days = max((int(float(row["end_h"]) // 24) + 1 for row in steps), default=0)
        crews = {name for row in steps for name in row["crew"].split()}
        return Site(
            settings=({"masons": str(len(crews))} if crews else {}) | dict(_settings(summary)),
            findings=Counter((str(f["severity"]), str(f["code"]), str(f["text"])) for f in told),
            system=str(summary.get("people_unit", "mm")),
            masons=len(crews),
            days=days,
            weekday=_weekday(str(summary.get("site", {}).get("start_weekday", "")), days),
            asked=Counter(courses),
            hours=float(summary["totals"]["hours"]),
            hands=None if labour is None else sum(float(row["hours_plan"]) for row in labour),
            offcuts=sum(float(row["net"]) for row in materials if row["item"].startswith(OFFCUTS)),
            pallets=Counter(int(row["day"]) for row in loads if row["load"].startswith("pallet")),
            bought={(row["item"], row["unit"]): _number(row["buy"]) for row in materials},
        )
    except (OSError, LookupError, TypeError, ValueError, AttributeError, csv.Error) as error:
        what = error.strerror if isinstance(error, OSError) else f"{type(error).__name__}: {error}"
        raise Sentence(f"the plan in {folder} cannot be read ({what}); plan the model again") from error


def _rows(file: Path) -> Iterator[dict[str, str]]:
    with vetted(file).open(encoding="utf-8", newline="") as lines:
        reader = csv.DictReader(lines)
        if tuple(reader.fieldnames or ()) != COLUMNS.get(file.name, tuple(reader.fieldnames or ())):
            raise ValueError(f"{file.name} does not have the columns of a plan")
        yield from reader


def _weekday(first: str, day: int) -> str:
    return WEEKDAYS[(WEEKDAYS.index(first) + day - 1) % 7].capitalize() if first in WEEKDAYS and day else ""


def _number(cell: str) -> float | None:
    return float(cell) if cell else None


def _settings(summary: Mapping[str, Any]) -> Iterator[tuple[str, str]]:
    """Yield all that a plan was made with, by name, as people write it."""
    system = "in" if summary.get("people_unit") == "in" else "mm"
    yield "model", str(summary.get("model", ""))
    yield "any thickness", _said(summary.get("any_thickness", False), "", system)
    for name in ("catalogue", "fit", "site"):
        for path, value in _flat({k: v for k, v in summary.get(name, {}).items() if k not in ("units", "title", "system", "sources")}):
            yield (
                f"{name} {path}".removeprefix("site ").removesuffix(" code").removesuffix("_mm").replace("_mm ", " ").replace("_", " "),
                _said(value, path, system),
            )
    for rule in summary.get("rules", ()):
        yield f"rule {rule['code']}", "applies"
        for key, value in rule["params"].items():
            yield f"{rule['code']}.{key.removesuffix('_mm')}", _said(value, key, system)


def _flat(values: Mapping[str, Any], before: str = "") -> Iterator[tuple[str, Any]]:
    for key, value in values.items():
        if isinstance(value, Mapping):
            yield from _flat(value, f"{before}{key} ")
        else:
            # a range's own key bears the unit of what it holds
            yield f"{before}{key}", value


def _said(value: object, path: str, system: str) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, (int, float)):
        return text(mm(value), "in" if system == "in" else "mm") if "_mm" in path else f"{value:g}"
    return str(value)


def told(one: Site, two: Site, prices: Prices | None = None) -> dict[str, Any]:
    """Return what differs besides pieces, ready for JSON."""
    names = [*one.settings, *(k for k in two.settings if k not in one.settings)]
    settings = [
        {"name": name, "one": one.settings.get(name, ""), "two": two.settings.get(name, "")}
        for name in names
        if one.settings.get(name) != two.settings.get(name)
    ]
    return {
        "people_unit": two.system,
        "settings": settings,
        "time": {
            "masons": [one.masons, two.masons],
            "days": [one.days, two.days],
            "last_weekday": [one.weekday, two.weekday],
            "hours": [one.hours, two.hours],
            "hours_of_all_masons": [one.hands, two.hands],
            "pallets_by_day": [dict(sorted(s.pallets.items())) for s in (one, two)],
        },
        "offset_asked_mm": [_usual(one.asked), _usual(two.asked)],
        "offcuts_m3": [round(one.offcuts, 9), round(two.offcuts, 9)],
        "findings": _findings(one.findings, two.findings),
        **({"money": _money(one, two, prices)} if prices is not None else {}),
    }


def _usual(asked: Mapping[float, int]) -> float | None:
    """The offset that most courses ask for; None where none does."""
    return min(asked, key=lambda mm_: (-asked[mm_], mm_), default=None)


def _findings(one: Counter[tuple[str, str, str]], two: Counter[tuple[str, str, str]]) -> list[dict[str, Any]]:
    """Findings by severity and code, where those of the two plans differ; what is in one plan only, with its text."""
    gone, come = one - two, two - one
    out = []
    for severity, code in sorted({key[:2] for key in (gone + come)}, key=lambda key: (("error", "warning", "note").index(key[0]), key[1])):
        mine = [[t for (s, c, t), n in sorted(side.items()) if (s, c) == (severity, code) for _ in range(n)] for side in (gone, come)]
        counts = [sum(n for (s, c, _), n in side.items() if (s, c) == (severity, code)) for side in (one, two)]
        out.append({"severity": severity, "code": code, "one": counts[0], "two": counts[1], "gone": mine[0], "new": mine[1]})
    return out


def _money(one: Site, two: Site, prices: Prices) -> dict[str, Any]:
    """Price what is bought: quantity to buy x price; hours of masons are those on site."""
    rows: list[dict[str, Any]] = []
    unknown: list[str] = []
    for item, (unit, price) in prices.of.items():
        if item == HOUR:
            amounts = [s.masons * s.hours for s in (one, two)]
            rows.append({"item": HOUR, "unit": "h", "price": price, "quantity": amounts, "money": [round(a * price, 2) for a in amounts]})
            continue
        said = unit or _unit(item, one, two)
        found = [s.bought.get((item, said)) for s in (one, two)]
        if all(f is None for f in found):
            unknown.append(item)
            continue
        quantity = [f or 0.0 for f in found]
        money = [round(q * price, 2) for q in quantity]
        rows.append({"item": item, "unit": said, "price": price, "quantity": quantity, "money": money})
    priced = {row["item"] for row in rows}
    bought = {item for s in (one, two) for (item, _), buy in s.bought.items() if buy}
    whole = {item for item in bought if item.endswith(" long") and ", " in item}  # "bar" by the metre and whole bars are the same steel
    if METRES in priced and whole & priced:
        raise Sentence(
            f"the price list has '{METRES}' by the metre and '{min(whole & priced)}', which are the same steel; keep one of them"
        )
    same = whole if METRES in priced else {METRES} if whole and whole <= priced else set()
    return {
        "currency": prices.currency,
        "rows": rows,
        "total": [round(sum(row["money"][side] for row in rows), 2) for side in (0, 1)],
        "without_price": sorted(item for item in bought - priced - same if not item.startswith("pallets ")),
        "not_bought": unknown,
    }


def _unit(item: str, one: Site, two: Site) -> str:
    """The unit that a price without one is for: the whole things that are bought, else the only unit there is."""
    units = sorted({u for s in (one, two) for (i, u), buy in s.bought.items() if i == item and buy is not None})
    whole = [u for u in units if u in _WHOLE]
    if len(units) > 1 and len(whole) != 1:
        raise Sentence(f"{item} is bought in {' and '.join(units)}; give the unit that its price is for")
    return (whole or units or [""])[0]


def prices_of(file: Path) -> Prices:
    """Read a price list: YAML (`currency`, `prices`: item to price, or to unit and price) or CSV (item, unit, price).

    Raises
    ------
    Sentence, wallquant.strictyaml.YamlError
        One sentence: what is wrong, and where.
    """
    if file.suffix.lower() == ".csv":
        return _prices_csv(file)
    document = strictyaml.load_file(file)
    data = document.data
    if not isinstance(data, dict) or not isinstance(data.get("prices"), dict):
        raise document.error((), "a price list has 'prices', a mapping of items of materials.csv to prices; write it so")
    of: dict[str, tuple[str, float]] = {}
    for item, value in data["prices"].items():
        path = ("prices", str(item))
        given = value if isinstance(value, dict) else {"price": value}
        price, unit = given.get("price"), given.get("unit", "")
        if isinstance(price, bool) or not isinstance(price, (int, float)) or price < 0 or set(given) - {"price", "unit"}:
            raise document.error(path, "write a price, like 3.10, or {unit: bag, price: 12.50}")
        of[str(item)] = (str(unit), float(price))
    return Prices(currency=str(data.get("currency") or ""), of=of)


def _prices_csv(file: Path) -> Prices:
    try:
        with file.open(encoding="utf-8-sig", newline="") as lines:
            reader = csv.DictReader(lines)
            if not {"item", "price"} <= set(reader.fieldnames or ()):
                raise Sentence(f"{file} has no columns item and price (and, if it likes, unit); its first line names them")
            of: dict[str, tuple[str, float]] = {}
            for row in reader:
                try:
                    price = float(row["price"])
                except (TypeError, ValueError):
                    price = -1.0
                if not isfinite(price) or price < 0:
                    raise Sentence(f"{file}, line {reader.line_num}: '{row['price']}' is no price; write a number, like 3.10")
                of[row["item"].strip()] = ((row.get("unit") or "").strip(), price)
            return Prices(currency="", of=of)
    except (OSError, UnicodeDecodeError, csv.Error) as error:
        raise Sentence(f"{file} cannot be read ({error}); give a CSV file in UTF-8") from error

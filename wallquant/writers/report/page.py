"""What the page says in words and tables; the drawings are the script's."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import TYPE_CHECKING, Any

from wallquant.findings import SEVERITIES
from wallquant.writers.report import sawing, schedules
from wallquant.writers.report.words import Words, first_weekday

if TYPE_CHECKING:
    import pandas as pd

_FITS = ("fit_length", "fit_height", "fit_thickness")


def context(
    *,
    summary: Mapping[str, Any],
    tables: Mapping[str, pd.DataFrame],
    findings: Iterable[Mapping[str, Any]],
    cautions: Iterable[Mapping[str, str]],
) -> dict[str, Any]:
    """Return the names that the template uses; parameters as in `wallquant.writers.report.write`."""
    words = Words(system=summary["people_unit"], weekday=first_weekday(summary))
    catalogue = summary["catalogue"]
    materials = [_material(row, words) for row in tables["materials.csv"].to_dict("records")]
    causes = _causes([_finding(one, words) for one in sorted(findings, key=lambda one: SEVERITIES.index(one["severity"]))])
    return {
        "words": words,
        "model": summary.get("model") or "Plan",
        "unit": summary["people_unit"],
        "schema": summary.get("ifc_schema", ""),
        "catalogue_name": " · ".join(str(catalogue[k]) for k in ("title", "code") if catalogue.get(k)),
        "any_thickness": any(unit.get("virtual") for unit in catalogue["units"]),
        "notes": list(summary.get("notes", ())),
        "figures": _figures(summary, tables, words),
        "findings": causes,
        "severities": [(name, sum(group[0]["severity"] == name for group in causes)) for name in SEVERITIES],
        "ledger": [_ledger(wall, words) for wall in summary["walls"]],
        "ledger_sum": _ledger_sum(summary["walls"], words),
        **schedules.context(summary, tables, words),
        "materials": [row for row in materials if row["buy"] != "–"],
        "informing": [row for row in materials if row["buy"] == "–"],
        "saw_count": int(tables["cuts.csv"]["stock"].nunique()),
        "cut_count": len(tables["cuts.csv"]),
        "sawing": sawing.by_day(tables["saw_list.csv"], words) if "saw_list.csv" in tables else None,
        "rules": [_rule(rule, words) for rule in summary["rules"]],
        "catalogue": _facts(catalogue, words, skip=("units", "title", "code")),
        "units": _unit_table(catalogue.get("units", []), words),
        "fit": _facts(summary.get("fit", {}), words),
        "site": _facts(summary.get("site", {}), words, skip=("sources",)),
        "cautions": list(cautions),
        "runs": tables["runs.csv"]["run"].tolist(),
        "step_count": len(tables["steps.csv"]),
    }


def _figures(summary: Mapping[str, Any], tables: Mapping[str, pd.DataFrame], words: Words) -> list[dict[str, str]]:
    """The numbers that matter, each with what bounds it."""
    counts, totals = summary["counts"], summary["totals"]
    area = {key: sum(wall["area_m2"][key] for wall in summary["walls"]) for key in ("wall", "openings", "laid", "set_aside")}
    sawn = int(tables["cuts.csv"]["stock"].nunique())
    away, least = counts["walls_set_aside"], totals.get("hours_bound")
    return [
        {
            "name": "Walls laid",
            "value": f"{counts['walls_laid']:,} of {counts['walls']:,}",
            "more": f"{away:,} set aside" if away else "none set aside",
        },
        {
            "name": "Face area laid",
            "value": words.area(area["laid"]),
            "more": f"of {words.area(area['wall'])}; openings {words.area(area['openings'])}, set aside {words.area(area['set_aside'])}",
        },
        {"name": "Pieces", "value": f"{counts['pieces']:,}", "more": f"in {counts['runs']:,} runs, {counts['steps']:,} steps"},
        {"name": "Cuts", "value": f"{counts['cuts']:,}", "more": _bound(totals.get("cuts_bound"), "proven least")},
        {
            "name": "Units to buy",
            "value": f"{counts['units_bought']:,}",
            "more": f"{sawn:,} of them to saw; " + _bound(totals.get("cut_units_bound"), "proven least to saw"),
        },
        {"name": "Mass as delivered", "value": words.mass(totals["mass_kg"]), "more": "pieces as laid"},
        {
            "name": "Work",
            "value": words.hours(totals["hours"]),
            "more": "from first to last step" + (f"; proven least: {words.hours(least)}" if least else ""),
        },
    ]


def _bound(value: float | None, text: str) -> str:
    return "no bound proven" if value is None else f"{text}: {value:,.0f}"


def _finding(finding: Mapping[str, Any], words: Words) -> dict[str, Any]:
    """A finding with its place both in words and as what a click needs."""
    place = {key: value for key, value in finding["place"].items() if value not in ("", None)}
    said = [f"{key} {place[key]}" for key in ("storey", "run", "corner", "opening", "piece", "course") if key in place]
    if "start_mm" in place:
        end = f" to {words.length(place['end_mm'])}" if place.get("end_mm", place["start_mm"]) != place["start_mm"] else ""
        said.append(f"station {words.length(place['start_mm'])}{end}")
    if "level_mm" in place:
        said.append(f"level {words.length(place['level_mm'])}")
    where = any(key in place for key in ("run", "corner", "opening", "piece", "wall"))
    return {**finding, "place": place, "said": ", ".join(said) or (f"wall {place['wall']}" if "wall" in place else ""), "where": where}


def _causes(findings: Iterable[dict[str, Any]]) -> list[list[dict[str, Any]]]:
    """Findings of one severity, code, rules and cause together, as `wallquant.findings.by_cause` does."""
    groups: dict[tuple[Any, ...], list[dict[str, Any]]] = {}
    for one in findings:
        groups.setdefault((one["severity"], one["code"], tuple(one["rules"]), one.get("cause", "")), []).append(one)
    return list(groups.values())


def _ledger(wall: Mapping[str, Any], words: Words) -> dict[str, Any]:
    terms = wall["ledger_m3"]
    fit = [f"{key} {words.signed(value)}" for key, value in (wall.get("fit_mm") or {}).items() if value]
    return {
        "name": wall["name"] or wall["guid"],
        "guid": wall["guid"],
        "storey": wall["storey"],
        "laid": wall["area_m2"]["laid"] > 0,
        "fit_text": ", ".join(fit),
        "reasons": wall["reasons"],
        "terms": _terms(terms, words),
    }


def _ledger_sum(walls: Iterable[Mapping[str, Any]], words: Words) -> list[str]:
    total: dict[str, float] = {}
    for wall in walls:
        for key, value in wall["ledger_m3"].items():
            total[key] = total.get(key, 0.0) + value
    return _terms(total, words) if total else []


def _terms(terms: Mapping[str, float], words: Words) -> list[str]:
    """The terms in the order of the page's columns, the three fits in one."""
    plain = [words.volume(terms[key]) for key in ("drawn", "openings", "finishes", "set_aside", "lent", "borrowed")]
    return [*plain, words.volume(sum(terms[key] for key in _FITS)), words.volume(terms["laid"])]


def _material(row: Mapping[Any, Any], words: Words) -> dict[str, Any]:
    """A row of materials.csv for people, in their units; the waste with what it is of net."""
    numbers = {key: value for key in ("net", "waste", "buy") if isinstance(value := row[key], (int, float))}
    told = {key: schedules.in_words(value, row["unit"], words)[0] for key, value in numbers.items()}
    said = {**row, **{key: _quantity(told.get(key, row[key])) for key in ("net", "waste", "buy")}}
    said["unit"] = schedules.in_words(0.0, row["unit"], words)[1]
    waste, net = row["waste"], row["net"]
    if isinstance(waste, (int, float)) and waste > 0 and net > 0:
        said["waste"] += f" ({100 * waste / net:.3g} %)"
    return said


def _quantity(value: object) -> str:
    if isinstance(value, (int, float)):
        return "–" if value != value else f"{value:,.3f}".rstrip("0").rstrip(".")
    return str(value)


def _rule(rule: Mapping[str, Any], words: Words) -> dict[str, Any]:
    """A rule with its parameters and their sources, whether the sources come by parameter or as a list."""
    sources = rule.get("sources") or {}
    by_name = sources if isinstance(sources, Mapping) else {}
    params = [
        {"name": words.label(key), "value": words.value(key, value), "source": words.value("", by_name.get(key, ""))}
        for key, value in rule.get("params", {}).items()
    ]
    rest = [words.value("", source) for source in sources] if not isinstance(sources, Mapping) else []
    rest += [words.value("", text) for key, text in by_name.items() if key not in rule.get("params", {})]
    return {"code": rule["code"], "title": rule.get("title", ""), "params": params, "sources": rest}


def _facts(value: Mapping[str, Any], words: Words, *, skip: tuple[str, ...] = (), before: str = "") -> list[tuple[str, str]]:
    """A nested mapping as (words, value) pairs."""
    found: list[tuple[str, str]] = []
    for key, entry in value.items():
        label = f"{before}{words.label(key)}"
        if key in skip:
            continue
        if isinstance(entry, Mapping):
            found += _facts(entry, words, before=f"{label}: ")
        elif isinstance(entry, (list, tuple)) and any(isinstance(one, Mapping) for one in entry):
            for one in entry:
                if isinstance(one, Mapping):
                    found.append((label, "; ".join(f"{name} {text}" for name, text in _facts(one, words))))
        else:
            found.append((label, words.value(key, entry)))
    return found


def _unit_table(units: object, words: Words) -> dict[str, list[Any]]:
    """The catalogue's units as a table of whatever they state."""
    entries = [entry for entry in units if isinstance(entry, Mapping)] if isinstance(units, (list, tuple)) else []
    keys = list(dict.fromkeys(key for entry in entries for key in entry))
    rows = [[_cell(key, entry.get(key), words) for key in keys] for entry in entries]
    return {"head": [words.label(key) for key in keys], "rows": rows}


def _cell(key: str, value: object, words: Words) -> str:
    if isinstance(value, Mapping):
        return "; ".join(f"{name} {text}" for name, text in _facts(value, words))
    if isinstance(value, (list, tuple)) and any(isinstance(one, Mapping) for one in value):
        return " | ".join(_cell(key, one, words) for one in value)
    return words.value(key, value)

"""wallquant compare: two plans side by side."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any

import click

from wallquant.cli import counted, wrapped
from wallquant.units import mm, text

MOST = 40
"""Walls that are listed; the rest is counted."""
FEW = 12
"""Settings, kinds of findings and priced items that are listed."""
_ALIKE = ("pieces", "cuts", "units to buy, before waste")


@click.command(name="compare")
@click.argument("one", metavar="OUT1", type=click.Path(path_type=Path))
@click.argument("two", metavar="OUT2", type=click.Path(path_type=Path))
@click.option("--prices", metavar="FILE", type=click.Path(path_type=Path), help="Price list, YAML or CSV: tells what each plan costs.")
@click.option("--format", "form", type=click.Choice(["text", "json"]), default="text", help="Form of the result on the screen.")
def command(one: Path, two: Path, prices: Path | None, form: str) -> None:
    """Tell what differs between the plans in OUT1 and OUT2: settings, time, blocks, money, findings, and the walls that changed.

    Runs are matched by their place and pieces by their shape and unit, so new names alone are no difference.
    """
    from wallquant.cli.circumstances import prices_of, site, told
    from wallquant.cli.differences import compared, read

    found = compared(read(one), read(two))
    found |= told(site(one), site(two), prices_of(prices) if prices is not None else None)
    if form == "json":
        click.echo(json.dumps({"one": str(one), "two": str(two), **found}, ensure_ascii=False, indent=1))
        return
    click.echo(f"First: {one}\nSecond: {two}\n")
    for line in _lines(found):
        click.echo(line)


def _lines(found: dict[str, Any]) -> Iterator[str]:
    yield from _settings(found["settings"])
    yield from _bond(found["offset_asked_mm"], found["people_unit"])
    yield from _time(found["time"])
    yield from _blocks(found)
    yield from _pallets(found["time"]["pallets_by_day"])
    if "money" in found:
        yield from _money(found["money"])
    else:
        yield "Money: not told; --prices FILE gives a price list."
    yield from _findings(found["findings"])
    yield ""
    yield from _table("", [t for t in found["totals"] if _number(t["difference"]) != "0"])
    yield from _table("Units to buy, before waste", [u for u in found["units"] if u["difference"]])
    runs = [r for r in found["runs"] if r["added"] or r["removed"] or r["changed"]]
    if not runs:
        yield "Every piece of one plan is in the other."
    walls = [w for w in found["walls"] if w["one"] != w["two"] or _counts(w)]
    alike = [w["name"] or w["wall"] for w in found["walls"] if w not in walls]
    if walls:
        yield f"Walls that differ: {len(walls)} of {len(found['walls'])}"
        walls.sort(key=lambda w: (-(w["added"] + w["removed"] + w["changed"]), w["name"], w["wall"]))
        yield from wrapped([_wall(w, runs) for w in walls], MOST)
        if alike:
            more = f" and {len(alike) - FEW} more" if len(alike) > FEW else ""
            yield f"As before: {', '.join(alike[:FEW])}{more}."


def _settings(rows: Sequence[Mapping[str, str]]) -> Iterator[str]:
    if not rows:
        yield "Set alike: nothing that the plans were made with differs."
        return
    lone = {name for row in rows if (name := row["name"].removeprefix("rule ")) != row["name"]}
    own = [row for row in rows if row["name"].partition(".")[0] not in lone]
    said = [_setting(row) for row in own]
    if len(said) == 1:
        yield f"Set differently: {said[0]}."
        return
    yield "Set differently:"
    yield from wrapped([f"  {one}" for one in said], FEW)


def _setting(row: Mapping[str, str]) -> str:
    if row["name"].startswith("rule "):
        return f"{row['name']} applies in the {'first' if row['one'] else 'second'} plan only"
    return f"{row['name']} {row['one'] or 'none'} -> {row['two'] or 'none'}"


def _bond(asked: Sequence[float | None], system: str) -> Iterator[str]:
    one, two = ("nothing" if mm_ is None else text(mm(mm_), "in" if system == "in" else "mm") for mm_ in asked)
    if one != two:
        yield f"Bond: most courses ask for head joints at least {two} from those below, instead of {one}."


def _time(time: Mapping[str, Any]) -> Iterator[str]:
    (one, two), masons, hands = time["hours"], time["masons"], time["hours_of_all_masons"]
    days = [f"day {n}" + (f", a {name}" if name else "") for n, name in zip(time["days"], time["last_weekday"], strict=True)]
    if abs(two - one) < 0.05 and days[0] == days[1]:
        yield f"Time: as before, {_hours(two)} on site with {counted(masons[1], 'mason')}, done on {days[1]}."
    else:
        word = f"{_hours(abs(two - one))} {'more' if two > one else 'less'}"
        day = f"done on {days[1]}, instead of {days[0]}" if days[0] != days[1] else f"done on {days[1]}, all the same"
        yield f"Time: {_hours(two)} on site instead of {_hours(one)}, {word}; {day}."
    if None not in hands and one and two and all(masons):
        paid = [m * t for m, t in zip(masons, time["hours"], strict=True)]
        busy = [100 * h / p for h, p in zip(hands, paid, strict=True)]
        if masons[0] == masons[1] and abs(busy[1] - busy[0]) < 1:
            return
        work = f"{_hours(hands[1])} in both" if abs(hands[1] - hands[0]) < 0.05 else f"{_hours(hands[1])} instead of {_hours(hands[0])}"
        yield (
            f"Hands: the work of all masons is {work}; they are on site for {_hours(paid[1])} instead of {_hours(paid[0])}, "
            f"at work {busy[1]:.0f} % of it, before {busy[0]:.0f} %."
        )


def _pallets(pallets: Sequence[Mapping[int, int]]) -> Iterator[str]:
    if not all(pallets):
        return
    one, two = (sum(by.values()) for by in pallets)
    many = f"{two} as before" if one == two else f"{two} instead of {one}"
    if pallets[0] == pallets[1]:
        yield f"Pallets: {many}, on the same days."
    else:
        yield f"Pallets: {many}; {_by_day(pallets[1])}; before: {_by_day(pallets[0])}."


def _by_day(pallets: Mapping[int, int]) -> str:
    days = sorted(pallets)
    some = ", ".join(f"{pallets[day]} on day {day}" for day in days[:8])
    return some + (f", {sum(pallets[d] for d in days[8:])} later" if len(days) > 8 else "")


def _hours(hours: float) -> str:
    return f"{hours:.1f}".removesuffix(".0") + " h"


def _blocks(found: Mapping[str, Any]) -> Iterator[str]:
    totals = {t["name"]: t for t in found["totals"]}
    pieces, cuts, units = (totals[name] for name in _ALIKE)
    one, two = found["offcuts_m3"]
    if not any(t["difference"] for t in (pieces, cuts, units)) and not any(u["difference"] for u in found["units"]):
        yield (
            f"Blocks: as before, {counted(int(pieces['two']), 'piece')}, {int(cuts['two']):,} of them cut, "
            f"{counted(int(units['two']), 'unit')} to buy before waste."
        )
        return
    said = [_more(units, "unit", "to buy before waste"), _more(cuts, "cut", "to saw")]
    moved = [f"{u['difference']:+,.0f} {u['name']}" for u in found["units"] if u["difference"]]
    if moved:
        said[0] += f" ({', '.join(moved[:6])}{', ...' if len(moved) > 6 else ''})"
    word = "as before" if abs(two - one) < 5e-4 else f"{abs(two - one):.3f} m3 {'more' if two > one else 'less'}"
    yield f"Blocks: {said[0]}; {said[1]}; offcuts and kerfs {word} ({one:.3f} -> {two:.3f} m3)."


def _more(total: Mapping[str, Any], noun: str, what: str) -> str:
    one, two, difference = int(total["one"]), int(total["two"]), int(total["difference"])
    if not difference:
        return f"{counted(two, noun)} {what} as before"
    return f"{counted(abs(difference), noun)} {'more' if difference > 0 else 'fewer'} {what}, {one:,} -> {two:,}"


def _money(money: Mapping[str, Any]) -> Iterator[str]:
    one, two = money["total"]
    unit = f" {money['currency']}" if money["currency"] else ""
    if one == two:
        yield f"Money: {two:,.2f}{unit}, as before."
    else:
        yield f"Money: {two:,.2f}{unit} instead of {one:,.2f}{unit}, {abs(two - one):,.2f}{unit} {'more' if two > one else 'less'}."
    moved = [row for row in money["rows"] if row["money"][0] != row["money"][1]]
    moved.sort(key=lambda row: -abs(row["money"][1] - row["money"][0]))
    yield from wrapped([f"  {row['item']}: {row['money'][1] - row['money'][0]:+,.2f}{unit}" for row in moved], FEW)
    if money["without_price"]:
        some = money["without_price"]
        more = f" and {len(some) - 8} more" if len(some) > 8 else ""
        yield f"  Not in the sum, having no price: {', '.join(some[:8])}{more}."
    if money["not_bought"]:
        yield f"  In the price list and bought in neither plan: {', '.join(money['not_bought'])}."


def _findings(rows: Sequence[Mapping[str, Any]]) -> Iterator[str]:
    if not rows:
        yield "Findings: the same in both."
        return
    yield "Findings that differ:"
    lines = []
    for row in rows:
        new, gone = len(row["new"]), len(row["gone"])
        both = min(new, gone)
        parts = [f"{n} {word}" for n, word in ((both, "changed"), (new - both, "new"), (gone - both, "gone")) if n]
        example = (row["new"] or row["gone"])[0]
        short = example if len(example) <= 150 else example[:150].rpartition(" ")[0] + " ..."
        lines.append(f"  {row['severity']} {row['code']}: {', '.join(parts)}. {'Now' if both else 'New' if new else 'Gone'}: {short}")
    yield from wrapped(lines, FEW)


def _wall(w: dict[str, Any], runs: Sequence[Mapping[str, Any]]) -> str:
    parts = []
    if w["one"] != w["two"]:
        parts.append(f"{w['one'] or 'not there'} -> {w['two'] or 'not there'}")
    if _counts(w):
        parts.append(f"pieces {_counts(w)}")
    name = w["name"] or w["wall"]
    own = [r["one"] if r["one"] == r["two"] else f"{r['one'] or 'none'} -> {r['two'] or 'none'}" for r in runs if name in r["walls"]]
    return f"  {name}: {'; '.join(parts)}" + (f" ({', '.join(own)})" if own else "")


def _counts(one: Mapping[str, Any]) -> str:
    return ", ".join(f"{one[word]} {word}" for word in ("added", "removed", "changed") if one[word])


def _table(title: str, rows: list[dict[str, Any]]) -> Iterator[str]:
    """Yield a table of name, first, second and difference."""
    if not rows:
        return
    cells = [(r["name"], _number(r["one"]), _number(r["two"]), _number(r["difference"], signed=True)) for r in rows]
    cells = [(title, "first", "second", "difference"), *cells]
    wide = [max(len(c[k]) for c in cells) for k in range(4)]
    for name, *numbers in cells:
        yield (name.ljust(wide[0]) + "".join("  " + n.rjust(w) for n, w in zip(numbers, wide[1:], strict=True))).rstrip()
    yield ""


def _number(value: float, *, signed: bool = False) -> str:
    text = f"{value:+,.2f}" if signed else f"{value:,.2f}"
    text = text.rstrip("0").rstrip(".")
    return "0" if text in ("-0", "+0") else text

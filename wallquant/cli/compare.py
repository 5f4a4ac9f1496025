"""wallquant compare: two plans side by side."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import click

from wallquant.cli import wrapped

MOST = 40
"""Runs that are listed; the rest is counted."""


@click.command(name="compare")
@click.argument("one", metavar="OUT1", type=click.Path(path_type=Path))
@click.argument("two", metavar="OUT2", type=click.Path(path_type=Path))
@click.option("--format", "form", type=click.Choice(["text", "json"]), default="text", help="Form of the result on the screen.")
def command(one: Path, two: Path, form: str) -> None:
    """Tell what differs between the plans in OUT1 and OUT2: pieces, cuts, units, and the runs and walls where they changed.

    Runs are matched by their place and pieces by their shape and unit, so new names alone are no difference.
    """
    from wallquant.cli.differences import compared, read

    found = compared(read(one), read(two))
    if form == "json":
        click.echo(json.dumps({"one": str(one), "two": str(two), **found}, ensure_ascii=False, indent=1))
        return
    click.echo(f"First: {one}\nSecond: {two}\n")
    for line in _lines(found):
        click.echo(line)


def _lines(found: dict[str, Any]) -> Iterator[str]:
    yield from _table("", found["totals"])
    yield from _table("Units to buy, before waste", found["units"])
    changed = [r for r in found["runs"] if r["added"] or r["removed"] or r["changed"]]
    if not changed:
        yield "Every piece of one plan is in the other."
    else:
        yield f"Runs that differ: {len(changed)} of {len(found['runs'])}"
        yield from wrapped([_run(r) for r in changed], MOST)
    walls = [w for w in found["walls"] if w["one"] != w["two"] or _counts(w)]
    if walls:
        yield f"Walls that differ: {len(walls)} of {len(found['walls'])}"
        yield from wrapped([_wall(w) for w in walls], MOST)


def _run(r: dict[str, Any]) -> str:
    names = r["one"] if r["one"] == r["two"] else f"{r['one'] or 'none'} -> {r['two'] or 'none'}"
    walls = f" ({', '.join(r['walls'])})" if r["walls"] else ""
    return f"  {names}{walls}: pieces {_counts(r)}"


def _wall(w: dict[str, Any]) -> str:
    parts = []
    if w["one"] != w["two"]:
        parts.append(f"{w['one'] or 'not there'} -> {w['two'] or 'not there'}")
    if _counts(w):
        parts.append(f"pieces {_counts(w)}")
    return f"  {w['name'] or w['wall']}: {'; '.join(parts)}"


def _counts(one: dict[str, Any]) -> str:
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

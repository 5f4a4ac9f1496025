"""wallquant check: findings only."""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from wallquant.cli import counted, told_by_cause, wrapped
from wallquant.cli.options import exit_code, job_of, planned, plugins_of, shared

if TYPE_CHECKING:
    from wallquant.findings import Finding
    from wallquant.fitting.modularity import Size

MOST = 60
"""Causes that are listed; the rest is counted."""


@click.command(name="check")
@shared
def command(model: Path, form: str, **options: Any) -> int:
    """Tell whether MODEL fits the block: what misses the module, corners and bearings in trouble, what cannot be read.

    Nothing is written.  Each run, pier, opening, sill, head and top that misses the module is listed with the nearest modular
    sizes and what it costs in cuts.  Where ifctester is installed, an IFC model is checked against schemas/wall-model.ids too.
    """
    job = job_of(**options)
    plan = planned(model, job, plugins_of(job))
    from wallquant.findings import merged
    from wallquant.fitting import modularity
    from wallquant.writers.folder import finding_dict

    sizes = modularity.sizes(plan.work, plan.network, plan.name_of())
    ready = _ready(model)
    told = merged([*(f for f in plan.findings if not f.code.startswith("caution.")), *ready])
    findings = merged([*told, *modularity.findings(sizes, plan.system)])
    if form == "json":
        said = {
            "model": plan.model,
            "notes": plan.notes,
            "module": {what: dict(counts) for what, counts in _tally(sizes).items()},
            "findings": [finding_dict(f) for f in findings],
        }
        click.echo(json.dumps(said, ensure_ascii=False, indent=1))
        return exit_code(findings, job.fail_on)
    walls, runs = counted(len(plan.building.walls), "wall"), counted(len(plan.work.runs), "run")
    click.echo(f"{plan.model}: {walls} read, {len(plan.set_aside)} set aside, {runs}")
    for note in plan.notes[:1]:
        click.echo(note)
    click.echo("")
    for line in _module(sizes, plan.system):
        click.echo(line)
    lines = told_by_cause(told)
    click.echo(f"Other findings: {len(lines) or 'none'}")
    for line in wrapped(lines, MOST):
        click.echo(line)
    return exit_code(findings, job.fail_on)


def _ready(model: Path) -> tuple[Finding, ...]:
    """Return what an IFC model lacks of what `schemas/wall-model.ids` asks for; nothing for other files."""
    from wallquant.importers import ifc
    from wallquant.importers.ifc.readiness import readiness

    return readiness(model) if model.name.lower().endswith(ifc.suffixes) else ()


def _tally(sizes: Sequence[Size]) -> dict[str, Counter[str]]:
    """Count for each kind of size how many are met with whole units, with a half unit, or missed."""
    from wallquant.fitting.modularity import WHATS

    words = {"full": "whole units", "half": "a half unit", "": "missed"}
    return {what: Counter(words[s.met] for s in sizes if s.what == what) for what in WHATS}


def _module(sizes: Sequence[Size], system: str) -> Iterator[str]:
    """Yield what misses the module as a table, and one line about what meets it."""
    from wallquant.units import text

    def say(length: int | None) -> str:
        return "-" if length is None else text(length, system)

    missed = [s for s in sizes if not s.met]
    if missed:
        head = ("what misses the module", "where", "measured", "nearest below", "nearest above", "with a half unit", "cuts now")
        rows = [
            (s.what, f"{s.place.run}: {s.where}", say(s.measured), say(s.below), say(s.above), say(s.half), str(s.cuts)) for s in missed
        ]
        wide = [max(len(r[k]) for r in [head, *rows]) for k in range(len(head))]
        for r in [head, *rows]:
            cells = [c.ljust(w) if k < 2 else c.rjust(w) for k, (c, w) in enumerate(zip(r, wide, strict=True))]
            yield "  ".join(cells).rstrip()
        yield "Sills, heads and tops are measured from the underside of the run."
        yield ""
    parts = []
    for what, counts in _tally(sizes).items():
        total = counts.total()
        if total:
            halves = f" ({counts['a half unit']} with a half unit)" if counts["a half unit"] else ""
            parts.append(f"{total - counts['missed']} of {counted(total, what)}{halves}")
    yield f"On the module: {', '.join(parts) or 'nothing to measure'}."
    yield ""

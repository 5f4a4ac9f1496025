"""wallquant plan: the main job."""

from __future__ import annotations

import json
import sys
from collections import Counter
from collections.abc import Callable, Iterator
from os.path import realpath
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from wallquant.cli import Sentence, counted, told_by_cause, wrapped
from wallquant.cli.options import exit_code, job_of, planned, plugins_of, shared
from wallquant.files import REPORT, RUN_SCHEMA, SUMMARY
from wallquant.findings import SEVERITIES, by_cause

if TYPE_CHECKING:
    from wallquant.job import Job
    from wallquant.plugins import Plugins
    from wallquant.writers.plan import Plan

MOST = 10
"""Walls and findings that are listed; the rest is counted."""


@click.command(name="plan")
@shared
@click.option("-o", "--out", type=click.Path(path_type=Path), required=True, help="Folder for the plan; an older plan there is replaced.")
@click.option("--write", "extra", metavar="NAME,...", help="Further files to write: bcf, dxf, ifc, pdf, xlsx, and what plugins add.")
def command(model: Path, out: Path, extra: str | None, form: str, **options: Any) -> int:
    """Lay, order and count the walls of MODEL, an IFC file or a wall list.

    Writes a folder with a page to look at (report.html), every piece, the laying sequence, materials, cuts and findings.
    """
    job = job_of(**options, write=listed(extra))
    plugins = plugins_of(job)
    vet_writers(job, plugins)
    from wallquant.writers import folder

    if Path(realpath(model)).is_relative_to(realpath(out)):
        raise Sentence(f"{model} lies in {out}, which would be replaced; name another folder with -o")
    folder.vet(out)
    plan = write(model, out, job, plugins)
    if form == "json":
        head = json.loads((out / SUMMARY).read_text(encoding="utf-8"))
        by = Counter(f.severity for f in plan.findings)
        click.echo(json.dumps({**head, "findings": {s: by[s] for s in SEVERITIES}, "out": str(out)}, ensure_ascii=False, indent=1))
    else:
        for line in _lines(plan, out):
            click.echo(line)
    return exit_code(plan.findings, job.fail_on)


def listed(extra: str | None) -> tuple[str, ...]:
    """Return the writers that --write names."""
    return tuple(w.strip() for w in extra.split(",") if w.strip()) if extra else ()


def vet_writers(job: Job, plugins: Plugins) -> None:
    """Refuse a writer that is not known.

    Raises
    ------
    Sentence
        It names those there are.
    """
    from wallquant.writers import BUILT_IN

    known = sorted({*BUILT_IN, *plugins.writers})
    unknown = [w for w in job.write if w not in known]
    if unknown:
        raise Sentence(f"no writer is called '{unknown[0]}'; there are: {', '.join(known)}")


def write(model: Path, out: Path, job: Job, plugins: Plugins) -> Plan:
    """Plan a model and write the plan's folder."""
    from wallquant.writers import BUILT_IN, built_in, folder

    plan = planned(model, job, plugins)
    writers = {w: built_in(w) if w in BUILT_IN else _named(w, plugins) for w in job.write}
    folder.write(plan, out, run=_run(model, plugins), writers=writers)
    return plan


def _named(name: str, plugins: Plugins) -> Callable[[Plan, Path], None]:
    """Return a plugin's writer; what it raises becomes one sentence that names it."""

    def made(plan: Plan, folder: Path) -> None:
        try:
            plugins.writers[name](plan, folder)
        except Exception as error:
            said = " ".join(f"{type(error).__name__}: {error}".split())
            who = plugins.owners.get(f"writer {name}", "")
            raise Sentence(f"writer {name} of plugin {who} failed ({said}); leave it out of --write, or repair the plugin") from error

    return made


def _run(model: Path, plugins: Plugins) -> dict[str, Any]:
    """Return what differs from run to run: path and checksum of the model, time, versions, command."""
    import hashlib
    import platform
    from datetime import UTC, datetime
    from importlib.metadata import entry_points, version

    from wallquant import __version__
    from wallquant.hookspecs import PROJECT

    installed = {e.name: e.dist.version for e in entry_points(group=PROJECT) if e.dist is not None}
    return {
        "schema": RUN_SCHEMA,
        "model": str(model),
        "sha256": hashlib.sha256(model.read_bytes()).hexdigest(),
        "time": datetime.now(UTC).isoformat(timespec="seconds"),
        "versions": {
            "wallquant": __version__,
            "python": platform.python_version(),
            **{name: version(name) for name in ("ifcopenshell", "networkx", "numpy", "pandas", "scipy", "shapely")},
        },
        "plugins": {name: installed.get(name, "") for name in plugins.names},
        "command": sys.argv,
    }


def _lines(plan: Plan, out: Path) -> Iterator[str]:
    from wallquant.units import mass_text
    from wallquant.writers.summary import summary

    head = summary(plan)
    counts, totals = head["counts"], head["totals"]
    mass = totals["mass_kg"]
    weight = mass_text(mass, plan.system)
    laid = f"{counts['walls_laid']} of {counted(counts['walls'], 'wall')} laid"
    yield f"{plan.model}: {laid} in {counted(counts['runs'], 'run')}, {counted(counts['corners'], 'corner')}"
    if plan.job.catalogue is not None:
        yield f"Catalogue {plan.catalogue.code}, as the job asks."
    yield from wrapped(plan.notes, 3)
    if plan.set_aside:
        yield f"Set aside: {counted(len(plan.set_aside), 'wall')}"
        yield from wrapped([f"  {s.name or s.guid}: {s.reason}" for s in sorted(plan.set_aside, key=lambda s: s.guid)], MOST)
    yield f"{counted(counts['pieces'], 'piece')}, {counts['cuts']:,} of them cut (proven least {totals['cuts_bound']:,})"
    yield f"{counted(counts['units_bought'], 'unit')} to buy before waste, {weight} as delivered"
    masons = counted(plan.job.masons, "mason")
    yield f"{counted(counts['steps'], 'step')}, {totals['hours']:.1f} h with {masons} (proven least {totals['hours_bound']:.1f} h)"
    told = [f for f in plan.findings if not f.code.startswith("caution.")]
    by = Counter(group[0].severity for group in by_cause(told))
    yield "Findings: " + (", ".join(counted(by[s], s) for s in SEVERITIES if by[s]) or "none")
    yield from wrapped(told_by_cause(told), MOST)
    yield f"Look at {out / REPORT}; the other files of {out} are for spreadsheets and programs."
    yield "Layout only, no structural design: local codes and licensed practice come first; the page has the cautions."

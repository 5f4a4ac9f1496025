"""wallquant plan: the main job."""

from __future__ import annotations

import sys
from collections import Counter
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from wallquant.cli import Sentence, wrapped
from wallquant.cli.options import exit_code, job_of, planned, plugins_of, shared

if TYPE_CHECKING:
    from wallquant.plugins import Plugins
    from wallquant.writers.plan import Plan


@click.command(name="plan")
@shared
@click.option("-o", "--out", type=click.Path(path_type=Path), required=True, help="Folder for the plan; an older plan there is replaced.")
@click.option("--write", "extra", metavar="NAME,...", help="Further files to write, by the names that plugins give them.")
def command(model: Path, out: Path, extra: str | None, form: str, **options: Any) -> int:
    """Lay, order and count the walls of MODEL, an IFC file or a wall list.

    Writes a folder with a page to look at (report.html), every piece, the laying sequence, materials, cuts and findings.
    """
    job = job_of(
        options["job_file"],
        options["settings"],
        options["plugin_paths"],
        **{k: options[k] for k in ("catalogue", "any_thickness", "masons", "units", "fail_on")},
        write=tuple(w.strip() for w in extra.split(",") if w.strip()) if extra else (),
    )
    plugins = plugins_of(job)
    unknown = [w for w in job.write if w not in plugins.writers]
    if unknown:
        known = ", ".join(sorted(plugins.writers)) or "none is installed"
        raise Sentence(f"no writer is called '{unknown[0]}'; there are: {known}")
    plan = planned(model, job, plugins)
    from wallquant.writers import folder

    folder.write(plan, out, run=_run(model, plugins), writers={w: plugins.writers[w] for w in job.write})
    if form == "json":
        click.echo((out / "summary.json").read_text(encoding="utf-8"), nl=False)
    else:
        for line in _lines(plan, out):
            click.echo(line)
    return exit_code(plan.findings, job.fail_on)


def _run(model: Path, plugins: Plugins) -> dict[str, Any]:
    """Return what differs from run to run: path and checksum of the model, time, versions, command."""
    import hashlib
    import platform
    from datetime import UTC, datetime
    from importlib.metadata import version

    from wallquant import __version__

    return {
        "model": str(model),
        "sha256": hashlib.sha256(model.read_bytes()).hexdigest(),
        "time": datetime.now(UTC).isoformat(timespec="seconds"),
        "versions": {
            "wallquant": __version__,
            "python": platform.python_version(),
            **{name: version(name) for name in ("ifcopenshell", "networkx", "numpy", "pandas", "scipy", "shapely")},
        },
        "plugins": list(plugins.names),
        "command": sys.argv,
    }


def _lines(plan: Plan, out: Path) -> list[str]:
    from wallquant.writers.summary import summary

    head = summary(plan)
    counts, totals = head["counts"], head["totals"]
    mass = totals["mass_kg"]
    weight = f"{mass / 0.45359237:,.0f} lb" if plan.system == "in" else f"{mass:,.0f} kg"
    lines = [
        f"{plan.model}: {counts['walls_laid']} of {counts['walls']} walls laid in {counts['runs']} runs, {counts['corners']} corners",
        *plan.notes[:3],
        f"{counts['pieces']:,} pieces, {counts['cuts']:,} cut (proven least {totals['cuts_bound']:,}); "
        f"{counts['units_bought']:,} units to buy before waste; {weight} as delivered",
        f"{counts['steps']:,} steps, {totals['hours']:.1f} h with {plan.job.masons} masons (proven least {totals['hours_bound']:.1f} h)",
    ]
    if plan.set_aside:
        lines.append(f"Set aside: {len(plan.set_aside)} walls")
        lines += wrapped([f"  {s.name or s.guid}: {s.reason}" for s in sorted(plan.set_aside, key=lambda s: s.guid)], 10)
    told = [f for f in plan.findings if not f.code.startswith("caution.")]
    by = Counter(f.severity for f in told)
    lines.append("Findings: " + (", ".join(f"{by[s]} {s}s" for s in ("error", "warning", "note") if by[s]) or "none"))
    lines += wrapped([f"  {f.severity}: {f.text}" for f in told if f.severity != "note"], 10)
    lines += [f"Look at {out / 'report.html'}", "Layout only: local codes and licensed practice come first; the page has the cautions."]
    return lines

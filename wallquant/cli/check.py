"""wallquant check: findings only."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import click

from wallquant.cli import wrapped
from wallquant.cli.options import exit_code, job_of, planned, plugins_of, shared


@click.command(name="check")
@shared
def command(model: Path, form: str, **options: Any) -> int:
    """Tell whether MODEL fits the block: what misses the module, corners and bearings in trouble, what cannot be read.

    Nothing is written.  Each run, pier, opening, sill, head and top that misses the module is listed with the nearest modular
    sizes and what it costs in cuts.
    """
    job = job_of(
        options["job_file"],
        options["settings"],
        options["plugin_paths"],
        **{k: options[k] for k in ("catalogue", "any_thickness", "masons", "units", "fail_on")},
    )
    plan = planned(model, job, plugins_of(job))
    from wallquant.findings import merged
    from wallquant.fitting import modularity
    from wallquant.writers.folder import finding_dict

    misses = modularity.modularity(plan.work, plan.system)
    findings = merged([*(f for f in plan.findings if not f.code.startswith("caution.")), *modularity.findings(misses, plan.system)])
    if form == "json":
        said = {"model": plan.model, "notes": plan.notes, "findings": [finding_dict(f) for f in findings]}
        click.echo(json.dumps(said, ensure_ascii=False, indent=1))
        return exit_code(findings, job.fail_on)
    click.echo(f"{plan.model}: {len(plan.building.walls)} walls read, {len(plan.set_aside)} set aside, {len(plan.work.runs)} runs")
    for note in plan.notes[:1]:
        click.echo(note)
    click.echo("")
    for line in modularity.lines(misses, plan.system):
        click.echo(line)
    told = [f for f in findings if not f.code.startswith("module.")]
    click.echo("")
    click.echo(f"Other findings: {len(told) or 'none'}")
    for line in wrapped([f"  {f.severity}: {f.text}" for f in told], 60):
        click.echo(line)
    return exit_code(findings, job.fail_on)

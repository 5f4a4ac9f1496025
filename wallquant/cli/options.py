"""Options that plan, check and fit share, and the plan that they ask for."""

from __future__ import annotations

import sys
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

from wallquant.cli import Sentence, told, vetted

if TYPE_CHECKING:
    from wallquant.building import Building
    from wallquant.findings import Finding
    from wallquant.job import Job
    from wallquant.plugins import Plugins
    from wallquant.writers.plan import Plan

T = TypeVar("T")
F = TypeVar("F", bound=Callable[..., Any])

MODEL = click.argument("model", type=click.Path(path_type=Path))
SURVEY = click.option("--survey", metavar="SHOTS.csv", help="Slab shots: x, y and level or rod reading, or the name of a corner.")
MARKS = click.option("--marks", metavar="OLD_OUT", help="Folder of an older plan whose names of runs, corners and pieces are kept.")
SHARED = (
    click.option("--job", "job_file", type=click.Path(path_type=Path), help="Job file with settings; the options below go before it."),
    click.option("--catalogue", metavar="NAME|FILE", help="Catalogue of units; without it the one whose thicknesses fit most wall area."),
    click.option(
        "--any-thickness",
        is_flag=True,
        help="Lay virtual units where no thickness fits, and lintels made to measure where no stock one does.",
    ),
    click.option("--masons", type=click.IntRange(1, 1000), help="Masons on site (2)."),
    click.option("--set", "settings", multiple=True, metavar="RULE.PARAM=VALUE", help="Set a parameter of a rule; may be repeated."),
    click.option("--plugin", "plugin_paths", multiple=True, metavar="PATH", help="Load a plugin from a file or folder; may be repeated."),
    click.option("--units", type=click.Choice(["mm", "in"]), help="Units of sentences and pages; without it the catalogue's."),
    click.option("--fail-on", type=click.Choice(["error", "warning"]), help="Findings from which on the exit code is 1 (error)."),
    click.option("--format", "form", type=click.Choice(["text", "json"]), default="text", help="Form of the result on the screen."),
)


def shared(function: F) -> F:
    """Add the options that plan, check and fit share."""
    return MODEL(SURVEY(MARKS(settings(function))))


def settings(function: F) -> F:
    """Add the options that do not belong to one model alone: the job's."""
    for option in reversed(SHARED):
        function = option(function)
    return function


def job_of(*, job_file: Path | None, settings: Sequence[str], plugin_paths: Sequence[str], **options: Any) -> Job:
    """Return the job: the file's settings, then the options."""
    from wallquant import job as jobs

    if job_file is not None and not job_file.is_file():
        raise Sentence(f"there is no job file {job_file}; 'wallquant job new' writes one")
    base = told(lambda: jobs.load(job_file)) if job_file else jobs.Job()
    found: Job = told(lambda: jobs.with_options(base, settings=settings, plugins=plugin_paths, **options))
    return found


def plugins_of(job: Job) -> Plugins:
    """Load the installed plugins and those that the job names."""
    from wallquant import plugins

    return vetted(plugins.load([Path(p) for p in job.plugins], on_error=job.on_plugin_error))


def planned(model: Path, job: Job, plugins: Plugins) -> Plan:
    """Plan the model; progress on the screen only where someone looks."""
    building, read = opened(model, job, plugins)
    from wallquant import pipeline

    return observed(lambda: pipeline.plan_of(building, read, model.name, job, plugins), plugins)


def opened(model: Path, job: Job, plugins: Plugins) -> tuple[Building, Sequence[Finding]]:
    """Read the model: the building, and what its reader found."""
    from wallquant import pipeline

    if model.is_dir():
        raise Sentence(f"{model} is a folder; name a model file in it")
    if model.exists() and not model.is_file():
        raise Sentence(f"{model} is no file but a device or pipe; name a model file")
    try:
        model.open("rb").close()
    except OSError as error:
        raise Sentence(f"{model} cannot be opened ({error.strerror or error}); name a model file") from error
    if sys.stderr is not None and sys.stderr.isatty():
        click.echo(f"reading and laying {model.name} ...", err=True)
    return _guarded(lambda: pipeline.drawn(model, job, plugins))


def observed(make: Callable[[], Plan], plugins: Plugins) -> Plan:
    """Make a plan, and show it to the plugins that want to see it."""

    def made() -> Plan:
        plan = make()
        for observer in plugins.observers:
            observer(plan)
        return plan

    return _guarded(made)


def _guarded(make: Callable[[], T]) -> T:
    try:
        return make()
    except SystemExit as error:
        raise Sentence("a plugin ended the program before the plan was made; leave out the plugins one by one to find it") from error


def exit_code(findings: Sequence[Finding], fail_on: str) -> int:
    """Return 1 where a finding is as bad as `fail_on` or worse, else 0."""
    bad = ("error",) if fail_on == "error" else ("error", "warning")
    return int(any(f.severity in bad for f in findings))

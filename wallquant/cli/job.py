"""wallquant job: a new job file, and its schema."""

from __future__ import annotations

import json
from pathlib import Path

import click


@click.group(name="job", no_args_is_help=False)
def command() -> None:
    """Write a new job file, or the JSON Schema of job files."""


@command.command(name="new")
@click.option("--plugin", "plugin_paths", multiple=True, metavar="PATH", help="Load a plugin from a file or folder; may be repeated.")
def new(plugin_paths: tuple[str, ...]) -> None:
    """Print a commented job file with every setting and every rule's parameters at their defaults."""
    from wallquant import job, plugins

    click.echo(job.new(plugins.load([Path(p) for p in plugin_paths]).rules.values()), nl=False)


@command.command(name="schema")
def schema() -> None:
    """Print the JSON Schema of job files."""
    from wallquant import job

    click.echo(json.dumps(job.schema(), ensure_ascii=False, indent=2))

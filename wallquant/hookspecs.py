"""Every hook that a plugin can implement; no logic.  Project and entry-point group: ``wallquant``."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pluggy

if TYPE_CHECKING:
    from wallquant.rules import Rule

PROJECT = "wallquant"
hookspec = pluggy.HookspecMarker(PROJECT)
hookimpl = pluggy.HookimplMarker(PROJECT)


@hookspec
def wallquant_rules() -> Iterable[type[Rule]]:
    """Return the rule classes of this plugin."""
    raise NotImplementedError


@hookspec
def wallquant_importers() -> Mapping[str, Any]:
    """Return importers: name to an object with ``suffixes`` (tuple of str) and ``read(path) -> (Building, findings)``."""
    raise NotImplementedError


@hookspec
def wallquant_catalogues() -> Iterable[Path]:
    """Return catalogue files (YAML) that this plugin brings, as paths of its package's resources."""
    raise NotImplementedError


@hookspec
def wallquant_writers() -> Mapping[str, Any]:
    """Return writers: name (as in ``--write``) to a function ``write(plan, folder) -> None`` that adds files to a plan."""
    raise NotImplementedError


@hookspec
def wallquant_commands() -> Mapping[str, Any]:
    """Return click commands to add, by name; a name that wallquant has is refused."""
    raise NotImplementedError


@hookspec
def wallquant_planned(plan: Any) -> None:
    """Observe a finished plan, read-only, before it is written."""

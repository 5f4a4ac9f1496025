"""Walls to corners and runs.  `build` is the door, after `stepped` and `parted`; `lines` has the glossary."""

from wallquant.graph.doubled import parted
from wallquant.graph.network import Network, build, level_at
from wallquant.graph.steps import stepped

__all__ = ["Network", "build", "level_at", "parted", "stepped"]

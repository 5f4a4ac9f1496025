"""Walls to corners and runs.  `build` is the door; `lines` has the glossary."""

from wallquant.graph.network import Network, build, level_at

__all__ = ["Network", "build", "level_at"]

"""Read a building from a file: an IFC model, or a wall list for whoever has no model.

Each importer has ``read(path)``, which returns the building and findings, or raises `InputError` with one sentence.
"""

from __future__ import annotations


class InputError(ValueError):
    """A file that cannot serve at all: one sentence says what is wrong, where, and what to do."""

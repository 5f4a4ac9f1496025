"""What comes out of a plan: one module a format.  The page, tables and summary are always written, others as ``--write`` asks."""

from __future__ import annotations

from collections.abc import Callable
from importlib import import_module
from typing import Any

BUILT_IN = ("bcf", "dxf", "ifc", "pdf", "xlsx")
"""Formats that ``--write`` knows besides those of plugins; each is a module here with a function ``write(plan, folder)``."""


def built_in(name: str) -> Callable[..., None]:
    """Return the function that writes a format; its library is loaded only now."""
    writer: Any = import_module(f"{__name__}.{name}").write
    return writer  # type: ignore[no-any-return]

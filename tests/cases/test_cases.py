"""Every rule against the cases written beside it: what it says of a small wall, and what it does not say."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
import wallquant_thinbed

from wallquant import plugins
from wallquant.testing import cases

FOLDER = Path(wallquant_thinbed.__file__).parent / "cases"
RULES = plugins.load().rules


def _cases() -> Iterator[Any]:
    for file in sorted(FOLDER.glob("*.yaml")):
        for case in cases.load(file):
            yield pytest.param(file.stem, case, id=f"{file.stem}-{case['name']}")


@pytest.mark.parametrize(("code", "case"), list(_cases()))
def test_case(code: str, case: dict[str, Any]) -> None:
    cases.check(RULES[code], case)

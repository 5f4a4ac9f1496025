"""The firm's rules against their cases, and against what must hold of every rule."""

from __future__ import annotations

from pathlib import Path

import example_firm
import pytest
from example_firm.grout_days import GroutDays
from example_firm.whole_jambs import WholeJambs

from wallquant.testing import cases, complaints

CASES = Path(example_firm.__file__).parent / "cases"
RULES = {"whole_jambs": WholeJambs, "grout_days": GroutDays}


@pytest.mark.parametrize("code", sorted(RULES))
def test_cases(code: str) -> None:
    for case in cases.load(CASES / f"{code}.yaml"):
        cases.check(RULES[code], case)


@pytest.mark.parametrize("code", sorted(RULES))
def test_conforms(code: str) -> None:
    assert not complaints(RULES[code])

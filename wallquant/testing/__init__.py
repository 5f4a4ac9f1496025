"""For authors of rules: cases in YAML, small walls and random houses, and a suite that says what is wrong with a rule.

from wallquant.testing import cases, complaints

@pytest.mark.parametrize("case", cases.load(FILE), ids=lambda case: case["name"])
def test_case(case):
    cases.check(OurRule, case)

def test_conforms():
    assert not complaints(OurRule)
"""

from __future__ import annotations

from wallquant.testing import cases, houses, walls
from wallquant.testing.conformance import complaints

__all__ = ["cases", "complaints", "houses", "walls"]

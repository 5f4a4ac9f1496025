"""The audit finds nothing in a plan that holds, and exactly the invariant that one changed cell breaks."""

from __future__ import annotations

from pathlib import Path

from tests.unit import audit_plan as made
import pytest

from wallquant.audit import INVARIANTS, audit


@pytest.fixture
def plan(tmp_path: Path) -> Path:
    return made.build(tmp_path / "out")


def codes(folder: Path) -> set[str]:
    return {one.code.removeprefix("audit.") for one in audit(folder)}


def test_a_plan_that_holds_has_no_findings(plan: Path) -> None:
    assert audit(plan) == ()

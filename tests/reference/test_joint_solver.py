"""The joint solver against an exact model: CP-SAT of Google's OR-tools, a general-purpose solver.

`joint_model.py` states the same problem for CP-SAT; `joint_optima.csv` holds what it proved of 300 random runs (`joint_runs.py`), and
some are solved again here.
"""

from __future__ import annotations

import csv
from pathlib import Path

import pytest

from tests.reference.joint_model import optimum
from tests.reference.joint_runs import case
from wallquant.bonding.stack import Solver, Stack

OPTIMA = Path(__file__).with_name("joint_optima.csv")


@pytest.fixture(scope="module")
def solved() -> dict[int, tuple[Stack, str, int | None]]:
    out = {}
    with OPTIMA.open(newline="", encoding="utf-8") as file:
        for row in csv.DictReader(file):
            run = case(int(row["run"]))
            out[int(row["run"])] = (Solver(run.how).stack(run.rows), row["status"], int(row["cuts"]) if row["cuts"] else None)
    return out


def test_all_runs_were_tried(solved: dict[int, tuple[Stack, str, int | None]]) -> None:
    assert len(solved) == 300
    assert sum(status == "OPTIMAL" for _, status, _ in solved.values()) >= 250


def test_cuts_within_one_percent_of_the_optimum(solved: dict[int, tuple[Stack, str, int | None]]) -> None:
    proven = [(s.cuts, cuts) for s, status, cuts in solved.values() if status == "OPTIMAL" and cuts is not None]
    ours, theirs = sum(a for a, _ in proven), sum(b for _, b in proven)
    assert ours <= 1.01 * theirs, (ours, theirs)


def test_never_infeasible_where_the_model_is_feasible(solved: dict[int, tuple[Stack, str, int | None]]) -> None:
    assert [n for n, (s, _, cuts) in solved.items() if cuts is not None and s.violations] == []


def test_bound_never_exceeds_the_optimum(solved: dict[int, tuple[Stack, str, int | None]]) -> None:
    assert [n for n, (s, status, cuts) in solved.items() if status == "OPTIMAL" and cuts is not None and s.bound > cuts] == []


@pytest.mark.parametrize("number", [1, 3, 5])
def test_the_stored_optimum_is_proved_again(solved: dict[int, tuple[Stack, str, int | None]], number: int) -> None:
    _, status, cuts = solved[number]
    found, said = optimum(case(number), 60)
    assert said == status
    assert found == cuts

"""Schedules of published projects against the best known makespans, by the functions that order the work of walls.

Source: PSPLIB (Kolisch and Sprecher 1997), best known values of its sets j30, j60 and j120.  The instances are looked for in
``shared/benchmarks/scheduling`` beside the project, and the test is skipped where they are not.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.benchmarks import projects

LITTLE = """\
PRECEDENCE RELATIONS:
jobnr.    #modes  #successors   successors
   1        1          2           2   3
   2        1          1           4
   3        1          1           4
   4        1          0
****
REQUESTS/DURATIONS:
jobnr. mode duration  R 1  R 2
------------------------------
  1      1     0       0    0
  2      1     3       2    1
  3      1     4       2    0
  4      1     1       0    3
****
RESOURCEAVAILABILITIES:
  R 1  R 2
    3    3
"""


def test_amounts_of_a_resource_are_kept(tmp_path: Path) -> None:
    """Two activities of 2 each out of 3 come one after the other: 3 + 4 + 1."""
    (tmp_path / "own.sm").write_text(LITTLE, encoding="ascii")
    project = projects.read(tmp_path / "own.sm")
    assert (project.stock, project.takes[2], project.after[1]) == ([3, 3], [2, 1], [2, 3])
    made = projects.planned(project)
    assert made.seconds == made.bound == 8
    assert not projects.faults(project, made)
    roomy = projects.Project(seconds=project.seconds, after=project.after, takes=project.takes, stock=[4, 3])
    assert projects.planned(roomy).seconds == 5


def test_means_over_the_best_known() -> None:
    at = projects.folder()
    if at is None:
        pytest.skip("the published instances are not beside the project")
    rows = projects.table(at)
    assert {kind: sum(row[0] == kind for row in rows) for kind in projects.LIMITS} == dict.fromkeys(projects.LIMITS, 10)
    for kind, limit in projects.LIMITS.items():
        ratios = [seconds / best for which, _, best, seconds, _, _ in rows if which == kind]
        assert min(ratios) >= 1, "no schedule is shorter than the best known"
        assert sum(ratios) / len(ratios) <= limit, kind
    assert all(bound <= best for _, _, best, _, bound, _ in rows), "no bound is above what is known to be possible"

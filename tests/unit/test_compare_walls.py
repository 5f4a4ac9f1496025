"""Two plans side by side through the command: walls, plans that are turned or broken, and pandas' merge as an oracle."""

from __future__ import annotations

import csv
import json
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pandas as pd
import pytest

from tests.unit.command_line import Run, caller, refused, wall, wall_list
from wallquant.cli.differences import COUNTS

SHED = Path(__file__).parents[2] / "sample_models" / "seedling_shed.yaml"
WORDS = ("added", "removed", "changed")


@pytest.fixture
def run(capsys: pytest.CaptureFixture[str]) -> Run:
    return caller(capsys)


def planned(run: Run, folder: Path, name: str, *walls: str) -> Path:
    out = folder / name
    assert run("plan", wall_list(folder, *walls, name=f"{name}.walls.yaml"), "-o", out, "--catalogue", "aac-metric")[0] == 0
    return out


def compared(run: Run, one: Path, two: Path) -> dict[str, Any]:
    code, said, err = run("compare", one, two, "--format", "json")
    assert (code, err) == (0, "")
    found: dict[str, Any] = json.loads(said)
    return found


def counts(row: dict[str, Any]) -> tuple[int, ...]:
    return tuple(row[word] for word in WORDS)


def test_walls_new_lost_and_set_aside(tmp_path: Path, run: Run) -> None:
    one = planned(run, tmp_path, "one", wall("A"), wall("B", 9000, thickness=1234))
    two = planned(run, tmp_path, "two", wall("A"), wall("B", 9000), wall("C", -9000))
    found = compared(run, one, two)
    by = {w["wall"]: w for w in found["walls"]}
    assert [(by[k]["one"], by[k]["two"]) for k in "ABC"] == [("laid", "laid"), ("set aside", "laid"), ("", "laid")]
    assert counts(by["A"]) == (0, 0, 0)
    assert by["B"]["added"] == by["C"]["added"] > 0
    text = run("compare", one, two)[1]
    assert "Walls that differ: 2 of 3" in text
    assert "  B: set aside -> laid; pieces " in text and "  C: not there -> laid; pieces " in text
    assert "  C: laid -> not there; pieces " in run("compare", two, one)[1]


def test_totals_are_those_of_the_plans(tmp_path: Path, run: Run) -> None:
    """Four courses of four units' length: one unit more in each makes four units more to buy, cut ones being the same."""
    outs = [planned(run, tmp_path, name, wall("A", length=length)) for name, length in (("one", 2399), ("two", 2999))]
    found = compared(run, *outs)
    totals = {r["name"]: r for r in found["totals"]}
    for name, part, key in COUNTS:
        for side, out in zip(("one", "two"), outs, strict=True):
            assert totals[name][side] == json.loads((out / "summary.json").read_text(encoding="utf-8"))[part][key]
    (unit,) = found["units"]
    assert (unit["name"], unit["difference"]) == ("std-600x200x200", 4)
    assert {"walls", "walls laid", "walls set aside", "pieces", "cuts", "hours", "mass as delivered, kg"} <= set(totals)


def test_backwards_is_the_opposite(tmp_path: Path, run: Run) -> None:
    one = planned(run, tmp_path, "one", wall("A"))
    two = planned(run, tmp_path, "two", wall("A", length=2250), wall("B", 9000))
    there, back = compared(run, one, two), compared(run, two, one)
    assert [r["difference"] for r in there["totals"]] == [-r["difference"] for r in back["totals"]]
    sums = [[sum(r[word] for r in found["runs"]) for word in WORDS] for found in (there, back)]
    assert sums[0] == [sums[1][1], sums[1][0], sums[1][2]] and sums[0][2] > 0


def test_against_a_merge_of_the_tables(tmp_path: Path, run: Run) -> None:
    """pandas' outer merge on shape and unit finds the same rows; runs have the same names and stations in both plans."""
    outs = [tmp_path / "a", tmp_path / "b"]
    for out, more in zip(outs, ([], ["--set", "running_bond.preset=four_inch"]), strict=True):
        assert run("plan", SHED, "-o", out, *more)[0] in (0, 1)
    found = compared(run, *outs)
    keys = ["run", "unit", "cut", "start_mm", "end_mm", "bottom_mm", "top_mm", "thickness_mm", "elevation", "plan"]
    tables = [pd.read_csv(out / "pieces.csv", dtype=str, keep_default_na=False)[keys] for out in outs]
    merged = tables[0].merge(tables[1], how="outer", indicator=True)
    assert not merged.duplicated(keys).any()
    only = merged.groupby("run")["_merge"].value_counts()
    assert sum(sum(counts(r)) for r in found["runs"]) > 0
    for r in found["runs"]:
        assert r["removed"] + r["changed"] == only[r["one"], "left_only"]
        assert r["added"] + r["changed"] == only[r["one"], "right_only"]
    for word in WORDS:
        assert sum(w[word] for w in found["walls"]) == sum(r[word] for r in found["runs"])


@pytest.mark.parametrize("angle", ["0.001", "-0.001", "359.999"])
def test_a_hair_to_either_side_of_zero_is_one_direction(angle: str, tmp_path: Path, run: Run) -> None:
    one = planned(run, tmp_path, "one", wall("A"))
    two = tmp_path / "two"
    shutil.copytree(one, two)
    with (two / "runs.csv").open(encoding="utf-8", newline="") as file:
        (row,) = csv.DictReader(file)
    with (two / "runs.csv").open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, list(row), lineterminator="\n")
        writer.writeheader()
        writer.writerow({**row, "angle_deg": angle})
    assert [(r["one"], r["two"], *counts(r)) for r in compared(run, one, two)["runs"]] == [("R1", "R1", 0, 0, 0)]


BREAK: dict[str, Callable[[Path], object]] = {
    "a number": lambda out: (out / "summary.json").write_text("7", encoding="utf-8"),
    "no text": lambda out: (out / "summary.json").write_bytes(b"\xff\xfe{"),
    "without totals": lambda out: (out / "summary.json").write_text('{"schema": "wallquant.plan/1"}', encoding="utf-8"),
    "a total of words": lambda out: replaced(out / "summary.json", '"pieces": ', '"pieces": "many", "old": '),
    "not a number": lambda out: replaced(out / "pieces.csv", ",0.0,", ",nan,"),
    "endless": lambda out: replaced(out / "runs.csv", ",0.0,", ",inf,"),
    "a short row": lambda out: (out / "pieces.csv").open("a", encoding="utf-8").write("R1-C99-01,R1\n"),
    "no line": lambda out: replaced(out / "runs.csv", "LINESTRING (0", "LINESTRING (a"),
}


def replaced(file: Path, old: str, new: str) -> None:
    text = file.read_text(encoding="utf-8")
    assert old in text
    file.write_text(text.replace(old, new, 1), encoding="utf-8")


@pytest.mark.parametrize("what", BREAK)
def test_a_broken_plan_is_one_sentence(what: str, tmp_path: Path, run: Run) -> None:
    good, bad = planned(run, tmp_path, "one", wall("A")), tmp_path / "bad"
    shutil.copytree(good, bad)
    BREAK[what](bad)
    for pair in ((good, bad), (bad, good)):
        sentence = refused(run("compare", *pair))
        assert str(bad) in sentence and "plan the model again" in sentence

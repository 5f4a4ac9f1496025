"""Marks of an older plan: what is in its old place keeps its name, and no name of the older plan means another thing."""

from __future__ import annotations

import csv
import hashlib
import json
from pathlib import Path

import numpy as np
import pytest

from tests.unit.command_line import Run, caller
from wallquant.marks import Marks, Spot, Stretch
from wallquant.units import MM, M

SAMPLES = Path(__file__).parents[2] / "sample_models"
HEAD = "unit: mm\nstoreys:\n  - {name: G, level: 0}\nwalls:\n"
SAME = ("unit", "cut", "x_mm", "y_mm", "bottom_mm", "top_mm", "angle_deg")


@pytest.fixture
def run(capsys: pytest.CaptureFixture[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Run:
    monkeypatch.chdir(tmp_path)
    return caller(capsys)


def wall(name: str, start: tuple[int, int], end: tuple[int, int], height: int = 1000) -> str:
    return f"  - {{name: {name}, storey: G, from: {list(start)}, to: {list(end)}, thickness: 200, height: {height}, bearing: true}}\n"


LONG, CROSS, FAR = wall("Long", (0, 0), (6000, 0)), wall("Cross", (3000, 100), (3000, 2500)), wall("Far", (0, 4000), (3000, 4000))


def model(*walls: str, name: str = "m.yaml") -> str:
    Path(name).write_text(HEAD + "".join(walls), encoding="utf-8")
    return name


def rows(out: str, file: str) -> dict[str, dict[str, str]]:
    with (Path(out) / file).open(encoding="utf-8", newline="") as one:
        found = list(csv.DictReader(one))
    named = {row[next(iter(row))]: row for row in found}
    assert len(named) == len(found)
    return named


def prints(out: str) -> dict[str, str]:
    files = (p for p in sorted(Path(out).rglob("*")) if p.is_file() and p.name != "run.json")
    return {p.relative_to(out).as_posix(): hashlib.sha256(p.read_bytes()).hexdigest() for p in files}


def planned(run: Run, source: object, out: str, *more: object) -> None:
    code, _, err = run("plan", source, "-o", out, *more)
    assert code == 0, err


def kept(one: str, two: str) -> set[str]:
    """Return the piece names that two plans share, after a check that each means one thing."""
    old, new = rows(one, "pieces.csv"), rows(two, "pieces.csv")
    for name in old.keys() & new.keys():
        assert all(old[name][k] == new[name][k] for k in SAME), name
    return set(old.keys() & new.keys())


@pytest.mark.parametrize("sample", ["seedling_shed.yaml", "landing_tool_store_mm.ifc"])
def test_the_same_model_gives_the_same_bytes(run: Run, sample: str) -> None:
    job = SAMPLES / "landing_tool_store.job.yaml"
    more = ("--job", job) if sample.endswith("ifc") else ()
    planned(run, SAMPLES / sample, "one", *more)
    planned(run, SAMPLES / sample, "two", *more, "--marks", "one")
    assert prints("one") == prints("two")


def test_what_stays_keeps_its_name_and_what_is_new_has_a_new_one(run: Run) -> None:
    planned(run, model(LONG, CROSS, FAR), "one")
    planned(run, model(wall("New", (-4000, -3000), (-1000, -3000)), LONG, CROSS, FAR, name="n.yaml"), "two", "--marks", "one")
    old, new = rows("one", "runs.csv"), rows("two", "runs.csv")
    assert list(old) == ["R1", "R2", "R3"] and list(new) == ["R1", "R2", "R3", "R4"]
    assert all(old[name] == new[name] for name in old) and new["R4"]["x_mm"] == "-4000.0"
    before, after = rows("one", "corners.csv"), rows("two", "corners.csv")
    assert all(before[name] == after[name] for name in before) and len(after) == len(before) + 2
    assert kept("one", "two") == set(rows("one", "pieces.csv"))
    assert run("audit", "two")[0] == 0
    code, out, _ = run("compare", "one", "two")
    assert code == 0 and "  New: not there -> laid" in out


def test_a_name_that_is_gone_is_not_used_again(run: Run) -> None:
    planned(run, model(LONG, CROSS, FAR), "one")
    gone = next(n for n, row in rows("one", "runs.csv").items() if row["y_mm"] == "4000.0")
    planned(run, model(LONG, CROSS, wall("New", (0, -5000), (3000, -5000))), "two", "--marks", "one")
    assert gone not in rows("two", "runs.csv") and not any(n.startswith(f"{gone}-") for n in rows("two", "pieces.csv"))
    assert "R4" in rows("two", "runs.csv")


def test_pieces_are_told_by_their_place_not_by_their_number(run: Run) -> None:
    """The wall is 600 longer at its start: stations and places shift by one unit, names stay with the pieces."""
    planned(run, model(wall("A", (0, 0), (5999, 0))), "one")
    planned(run, model(wall("A", (-600, 0), (5999, 0))), "two", "--marks", "one")
    assert len(kept("one", "two")) > 20
    old, new = rows("one", "pieces.csv"), rows("two", "pieces.csv")
    fresh = new.keys() - old.keys()
    assert fresh and all(n.startswith("R1-C") for n in fresh)
    first = next(row for row in new.values() if row["course"] == "1" and row["place"] == "1")
    assert first["piece"] == "R1-C01-11" and old["R1-C01-01"]["x_mm"] == new["R1-C01-01"]["x_mm"]
    assert run("audit", "two")[0] == 0


def test_pieces_of_a_run_that_is_now_two_keep_their_names_everywhere(run: Run) -> None:
    planned(run, model(wall("A", (0, 0), (9599, 0))), "one")
    planned(
        run,
        model(wall("A", (0, 0), (2999, 0)), wall("B", (5400, 0), (9599, 0))),
        "two",
        "--marks",
        "one",
        "--write",
        "pdf,xlsx,ifc,dxf,bcf",
    )
    found = rows("two", "pieces.csv")
    moved = [n for n, row in found.items() if not n.startswith(f"{row['run']}-")]
    assert kept("one", "two") and moved and len(rows("two", "runs.csv")) == 2
    page = (Path("two") / "report.html").read_text(encoding="utf-8")
    assert all(n in page for n in moved[:3])
    assert run("audit", "two")[0] == 0 and run("compare", "one", "two")[0] == 0


def test_a_piece_that_is_another_unit_or_cut_is_another_piece(run: Run) -> None:
    planned(run, model(wall("A", (0, 0), (5999, 0))), "one")
    planned(run, model(wall("A", (0, 0), (5999, 0)).replace("thickness: 200", "thickness: 240")), "two", "--marks", "one")
    assert not kept("one", "two") and list(rows("two", "runs.csv")) == ["R1"]


def test_the_origin_is_kept(run: Run) -> None:
    planned(run, model(LONG, CROSS), "one")
    far = wall("Far", (9_000_000, 0), (9_003_000, 0))
    planned(run, model(LONG, CROSS, far), "free")
    planned(run, model(LONG, CROSS, far), "two", "--marks", "one")
    origins = [json.loads((Path(o) / "summary.json").read_text(encoding="utf-8"))["origin_mm"] for o in ("one", "free", "two")]
    assert origins[0] == origins[2] != origins[1]
    assert kept("one", "two") == set(rows("one", "pieces.csv")) and run("audit", "two")[0] == 0


def test_order_of_walls_changes_nothing(run: Run) -> None:
    planned(run, model(LONG, CROSS, FAR), "one")
    more = [wall("New", (-4000, -3000), (-1000, -3000)), wall("Long", (0, 0), (6600, 0)), CROSS, FAR]
    planned(run, model(*more), "two", "--marks", "one")
    planned(run, model(*reversed(more)), "three", "--marks", "one")
    assert prints("two") == prints("three")


def test_the_folder_itself_may_be_written_anew_and_the_job_may_name_it(run: Run) -> None:
    planned(run, model(LONG, CROSS), "out")
    old = set(rows("out", "pieces.csv"))
    planned(run, model(LONG, CROSS, wall("New", (-4000, -3000), (-1000, -3000))), "out", "--marks", "out")
    assert old < set(rows("out", "pieces.csv"))
    Path("job.yaml").write_text("marks: out\n", encoding="utf-8")
    planned(run, model(LONG, CROSS), "two", "--job", "job.yaml")
    assert set(rows("two", "pieces.csv")) == old


def test_check_and_fit_name_runs_as_the_older_plan(run: Run) -> None:
    planned(run, model(wall("A", (0, 0), (6049, 0))), "one")
    later = model(wall("New", (-4000, -3000), (-1001, -3000)), wall("A", (0, 0), (6049, 0)))
    assert "R1: A, the free end" in run("check", later, "--marks", "one")[1] and "R2: A" in run("check", later)[1]
    assert "A (R1) by" in run("fit", later, "--marks", "one")[1]


@pytest.mark.parametrize("harm", ["missing", "file", "empty", "head", "version", "bytes", "gone", "names"])
def test_what_is_no_whole_plan_is_refused_in_one_sentence(run: Run, harm: str) -> None:
    planned(run, model(LONG, CROSS), "out")
    planned(run, "m.yaml", "one")
    before, one = prints("out"), Path("one")
    head = json.loads((one / "summary.json").read_text(encoding="utf-8"))
    if harm in ("missing", "file", "empty"):
        one.rename("old")
        if harm == "file":
            one.write_text("no", encoding="utf-8")
        if harm == "empty":
            one.mkdir()
    elif harm == "head":
        (one / "summary.json").write_text("[1", encoding="utf-8")
    elif harm == "version":
        (one / "summary.json").write_text(json.dumps(head | {"schema": "wallquant.plan/9"}), encoding="utf-8")
    elif harm == "bytes":
        with (one / "pieces.csv").open("a", encoding="utf-8") as file:
            file.write("R1-C01-01\n")
    elif harm == "gone":
        (one / "corners.csv").unlink()
    else:
        data = (one / "runs.csv").read_bytes().replace(b"R1,", b"Wall,")
        (one / "runs.csv").write_bytes(data)
        head["files"]["runs.csv"] = hashlib.sha256(data).hexdigest()
        (one / "summary.json").write_text(json.dumps(head), encoding="utf-8")
    code, out, err = run("plan", "m.yaml", "-o", "out", "--marks", "one")
    assert code == 2 and not out and len(err.strip().splitlines()) == 1 and "one" in err and "marks" in err
    assert prints("out") == before


def test_runs_and_corners_by_hand() -> None:
    """A run is the one in which it lies longest; each name is given once; numbers go on after the greatest."""

    def line(name: str, x: float, length: int, y: float = 0, bottom: int = 0) -> Stretch:
        return Stretch(
            name=name, start=(x * M, y * M), direction=(1.0, 0.0), length=length * M, thickness=200 * MM, bottom=bottom * M,
            top=(bottom + 2) * M,
        )  # fmt: skip

    old = Marks(
        origin=(0, 0), runs=(line("R2", 0, 6), line("R7", 8, 2)), corners=(Spot(name="K4", at=(0.0, 0.0), runs=("R2",)),),
        pieces=("R2-C01-01",),
        kinds=(("std", ""),), boxes=np.array([[0, 0, 599 * MM, 0, 10 * MM, 209 * MM]], np.float64),
    )  # fmt: skip
    new = [line("R1", 0, 2), line("R2", 3, 3), line("R3", 0, 6, bottom=3), line("R4", 8, 2, y=0.05), line("R5", 8, 2, y=0.15)]
    names = old.run_names(new)
    assert names == {"R1": "R8", "R2": "R2", "R3": "R9", "R4": "R7", "R5": "R10"}
    spots = [Spot(name="K1", at=(0.0, 0.0), runs=("R1",)), Spot(name="K2", at=(50.0 * MM, 0.0), runs=("R2",))]
    assert old.corner_names(spots, names) == {"K1": "K5", "K2": "K4"}
    box = old.boxes + np.array([[0.4 * MM] * 6, [2 * MM] * 6])
    said = old.piece_names(["R2-C01-01", "R2-C01-02"], [("std", ""), ("std", "")], box, ["R2-C01", "R2-C01"])
    assert said == ("R2-C01-01", "R2-C01-02")
    assert old.piece_names(["R2-C01-01"], [("core", "")], old.boxes, ["R2-C01"]) == ("R2-C01-02",)

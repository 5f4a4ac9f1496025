"""A folder of models: one table, the greatest exit code, and an old batch that nothing harms."""

from __future__ import annotations

import csv
import hashlib
import json
from pathlib import Path
from typing import Any

import pytest

from tests.unit.command_line import Run, caller, wall, wall_list
from wallquant import pipeline
from wallquant.files import BATCH_COLUMNS


@pytest.fixture
def run(capsys: pytest.CaptureFixture[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Run:
    monkeypatch.chdir(tmp_path)
    return caller(capsys)


@pytest.fixture
def models(tmp_path: Path) -> Path:
    """Two wall lists, one that is broken, a job file, a price list, and a note."""
    folder = tmp_path / "models"
    folder.mkdir()
    wall_list(folder, wall(), name="b.walls.yaml")
    wall_list(folder, wall(), wall("B", x=3000, thickness=170), name="a.yaml")
    wall_list(folder, wall().replace("height: 800", "height: tall"), name="c.yaml")
    (folder / "b.job.yaml").write_text("masons: 3\n", encoding="utf-8")
    (folder / "prices.yaml").write_text("std: 3\n", encoding="utf-8")
    (folder / "notes.txt").write_text("walls:\n", encoding="utf-8")
    return folder


def table(out: Path) -> list[dict[str, str]]:
    with (out / "batch.csv").open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def prints(out: Path) -> dict[str, str]:
    files = (p for p in sorted(out.rglob("*")) if p.is_file() and p.name != "run.json")
    return {p.relative_to(out).as_posix(): hashlib.sha256(p.read_bytes()).hexdigest() for p in files}


def test_every_model_has_its_row_and_the_rest_goes_on(run: Run, models: Path) -> None:
    code, out, err = run("batch", models, "-o", "out")
    rows = table(Path("out"))
    assert code == 2 and not err
    assert tuple(rows[0]) == BATCH_COLUMNS and [r["model"] for r in rows] == ["a.yaml", "b.walls.yaml", "c.yaml"]
    assert [r["exit"] for r in rows] == ["0", "0", "2"] and [r["folder"] for r in rows] == ["a", "b", ""]
    assert (rows[0]["walls"], rows[0]["walls_laid"], rows[0]["set_aside_m2"]) == ("2", "1", "1.9192")
    assert "height" in rows[2]["said"] and rows[2]["said"] in out and rows[2]["pieces"] == ""
    for row in rows[:2]:
        head = json.loads((Path("out") / row["folder"] / "summary.json").read_text(encoding="utf-8"))
        assert [row[k] for k in ("pieces", "cuts", "units_bought")] == [str(head["counts"][k]) for k in ("pieces", "cuts", "units_bought")]
        told = json.loads((Path("out") / row["folder"] / "findings.json").read_text(encoding="utf-8"))["findings"]
        assert [int(row[f"{s}s"]) for s in ("error", "warning", "note")] == [
            sum(f["severity"] == s for f in told) for s in ("error", "warning", "note")
        ]
    assert "2 of 3 models planned into out" in out and out.splitlines()[4].startswith("all ")
    assert sorted(p.name for p in Path("out").iterdir()) == ["a", "b", "batch.csv"]
    assert run("audit", "out/a")[0] == 0


def test_each_model_takes_the_job_beside_it_and_one_job_is_for_all(run: Run, models: Path, tmp_path: Path) -> None:
    (models / "c.yaml").unlink()

    def masons(out: str) -> list[Any]:
        return [json.loads((Path(out) / n / "summary.json").read_text(encoding="utf-8"))["site"]["masons"] for n in ("a", "b")]

    assert run("batch", models, "-o", "one")[0] == 0 and masons("one") == [2, 3]
    (models / "job.yaml").write_text("masons: 5\n", encoding="utf-8")
    assert run("batch", models, "-o", "two")[0] == 0 and masons("two") == [5, 3]
    (tmp_path / "all.yaml").write_text("masons: 4\n", encoding="utf-8")
    assert run("batch", models, "-o", "three", "--job", "all.yaml")[0] == 0 and masons("three") == [4, 4]
    assert run("batch", models, "-o", "four", "--masons", 6)[0] == 0 and masons("four") == [6, 6]
    (models / "b.job.yaml").write_text("mason: 3\n", encoding="utf-8")
    code, out, _ = run("batch", models, "-o", "five")
    assert code == 2 and "b.walls.yaml: " in out and "mason" in out and table(Path("five"))[0]["exit"] == "0"


def test_findings_from_fail_on_are_one(run: Run, models: Path) -> None:
    (models / "c.yaml").unlink()
    code, out, _ = run("batch", models, "-o", "out", "--fail-on", "warning", "--format", "json")
    said = json.loads(out)
    assert code == said["exit"] == 1 and [m["exit"] for m in said["models"]] == [1, 0] and tuple(said["models"][0]) == BATCH_COLUMNS


def test_a_fault_of_ours_is_told_and_the_rest_goes_on(run: Run, models: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    whole = pipeline.plan_of

    def fails(building: Any, read: Any, model: str, *more: Any) -> Any:
        if model == "a.yaml":
            raise ZeroDivisionError("one")
        return whole(building, read, model, *more)

    monkeypatch.setattr(pipeline, "plan_of", fails)
    code, out, _ = run("batch", models, "-o", "out")
    rows = table(Path("out"))
    assert code == 3 and [r["exit"] for r in rows] == ["3", "0", "2"]
    assert "ZeroDivisionError" in rows[0]["said"] and "please send us" in out and "the faults are ours" in out


def test_again_gives_the_same_bytes_and_replaces_the_old_batch(run: Run, models: Path) -> None:
    run("batch", models, "-o", "out")
    before = prints(Path("out"))
    run("batch", models, "-o", "out")
    assert prints(Path("out")) == before
    (models / "b.walls.yaml").unlink()
    run("batch", models, "-o", "out")
    assert sorted(p.name for p in Path("out").iterdir()) == ["a", "batch.csv"]


def test_one_that_is_stopped_leaves_the_old_batch(run: Run, models: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    run("batch", models, "-o", "out")
    before = prints(Path("out"))

    def stops(*_: Any) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(pipeline, "plan_of", stops)
    code, out, err = run("batch", models, "-o", "out")
    assert (code, out, err) == (130, "", "wallquant: interrupted\n") and prints(Path("out")) == before
    assert [p.name for p in Path().iterdir() if p.name.startswith(".")] == []


def test_what_would_be_lost_is_refused(run: Run, models: Path) -> None:
    def refused(*args: object) -> str:
        code, out, err = run(*args)
        assert code == 2 and not out and len(err.strip().splitlines()) == 1
        return err

    assert "lies in" in refused("batch", models, "-o", models)
    assert "is no folder" in refused("batch", models / "a.yaml", "-o", "out")
    Path("empty").mkdir()
    assert "has no model" in refused("batch", "empty", "-o", "out")
    assert "no writer" in refused("batch", models, "-o", "out", "--write", "dwg")
    run("plan", models / "a.yaml", "-o", "plan")
    assert "holds a plan" in refused("batch", models, "-o", "plan")
    run("batch", models, "-o", "out")
    assert "holds the plans of a batch" in refused("plan", models / "a.yaml", "-o", "out")
    note = Path("out/mine.txt")
    note.write_text("mine", encoding="utf-8")
    assert "mine.txt" in refused("batch", models, "-o", "out")
    note.rename("out/a/mine.txt")
    assert "mine.txt" in refused("batch", models, "-o", "out") and Path("out/a/mine.txt").read_text(encoding="utf-8") == "mine"


def test_models_of_one_name_have_folders_of_their_own(run: Run, models: Path) -> None:
    (models / "c.yaml").unlink()
    wall_list(models, wall(length=2999), name="A.yml")
    assert run("batch", models, "-o", "out")[0] == 0
    assert [r["folder"] for r in table(Path("out"))] == ["A.yml", "a.yaml", "b"]

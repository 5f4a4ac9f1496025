"""The command line: exit codes, one line for every error, options that reach the job, and an old plan that nothing harms."""

from __future__ import annotations

import json
import os
import shlex
import subprocess
import sys
import tempfile
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import click
import pytest

from wallquant import cli, pipeline, plugins
from wallquant.cli import COMMANDS, main, told_by_cause
from wallquant.files import COLUMNS, FINDINGS, REPORT, SCHEDULES, SUMMARY
from wallquant.findings import Finding, Place
from wallquant.writers import report

SAMPLES = Path(__file__).parents[2] / "sample_models"

WALLS = """unit: mm
storeys:
  - {name: G, level: 0}
walls:
  - {name: Alcove, storey: G, from: [0, 0], to: [2399, 0], thickness: 200, height: 1000, bearing: true}
"""

PLUGIN = '''
from pathlib import Path
from wallquant.findings import Finding
from wallquant.hookspecs import hookimpl
from wallquant.rules import Rule


class Grumble(Rule):
    """Every plan has something that is worth an error.

    What it asks
    ------------
    Nothing.
    """

    code = "grumble"
    title = "Grumble"

    def findings(self, work):
        return [Finding(code="grumble.here", severity="SEVERITY", text="This is told as SEVERITY.")]


def note(plan, folder):
    (folder / "note.txt").write_text(f"{len(plan.work.pieces)} pieces", encoding="utf-8")


def stumble(plan, folder):
    (folder / "half.txt").write_text("half", encoding="utf-8")
    raise OSError("the pen is empty")


@hookimpl
def wallquant_rules():
    return [Grumble]


@hookimpl
def wallquant_writers():
    return {"note": note, "stumble": stumble}
'''


@dataclass(frozen=True)
class Done:
    """How a command ended: exit code, and what it wrote to stdout and stderr."""

    code: int
    out: str
    err: str


Run = Callable[..., Done]


@pytest.fixture
def run(capsys: pytest.CaptureFixture[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Run:
    """Run a command line in a folder of its own."""
    monkeypatch.chdir(tmp_path)

    def called(*args: object) -> Done:
        with pytest.raises(SystemExit) as end:
            main([str(a) for a in args])
        said = capsys.readouterr()
        return Done(int(end.value.code or 0), said.out, said.err)

    return called


@pytest.fixture
def model(tmp_path: Path) -> Path:
    file = tmp_path / "alcove.walls.yaml"
    file.write_text(WALLS, encoding="utf-8")
    return file


def plugin(folder: Path, severity: str = "error", text: str = PLUGIN) -> Path:
    file = folder / f"grumble_{severity}.py"
    file.write_text(text.replace("SEVERITY", severity), encoding="utf-8")
    return file


def sentence(done: Done, *words: str) -> None:
    """Exit code 2 and one line on stderr, with these words."""
    assert done.code == 2, (done.code, done.out, done.err)
    assert done.out == ""
    assert done.err.startswith("wallquant: ") and done.err.count("\n") == 1 and done.err.endswith("\n"), done.err
    assert "Traceback" not in done.err
    for word in words:
        assert word in done.err, (word, done.err)


def contents(folder: Path) -> dict[str, bytes]:
    return {p.relative_to(folder).as_posix(): p.read_bytes() for p in sorted(folder.rglob("*")) if p.is_file()}


def summary(out: Path) -> dict[str, Any]:
    found: dict[str, Any] = json.loads((out / "summary.json").read_text(encoding="utf-8"))
    return found


# what is done


def test_plan_writes_all_files_and_says_where(run: Run, model: Path, tmp_path: Path) -> None:
    done = run("plan", model, "-o", "out")
    assert done.code == 0 and done.err == "", "no progress where no terminal looks"
    more = {"saw_list.csv", "summary.json", "findings.json", "run.json", REPORT}
    assert {p.name for p in (tmp_path / "out").iterdir()} == {*COLUMNS, *SCHEDULES} | more
    # five courses: four whole units, or three and two cut ones
    bought = f"{summary(tmp_path / 'out')['counts']['units_bought']} units to buy before waste"
    for words in ("1 of 1 wall laid", "aac-metric was chosen", "22 pieces, 4 of them cut", bought, "2 masons", "report.html"):
        assert words in done.out, words
    assert "begun at corner" in done.out and "licensed practice" in done.out
    assert not [p for p in tmp_path.iterdir() if p.name.startswith(".")], "no leftovers beside OUT"


def test_plan_as_json(run: Run, model: Path, tmp_path: Path) -> None:
    done = run("plan", model, "-o", "out", "--format", "json")
    said = json.loads(done.out)
    assert {k: v for k, v in said.items() if k not in ("findings", "out")} == summary(tmp_path / "out")
    findings = json.loads((tmp_path / "out" / "findings.json").read_text(encoding="utf-8"))["findings"]
    assert said["findings"] == {s: sum(f["severity"] == s for f in findings) for s in ("error", "warning", "note")}


def test_run_file(run: Run, model: Path, tmp_path: Path) -> None:
    import hashlib

    run("plan", model, "-o", "out", "--plugin", plugin(tmp_path, "note"))
    said = json.loads((tmp_path / "out" / "run.json").read_text(encoding="utf-8"))
    assert said["model"] == str(model)
    assert said["sha256"] == hashlib.sha256(WALLS.encode()).hexdigest()
    assert {"wallquant", "python", "ifcopenshell"} <= set(said["versions"])
    assert said["plugins"]["thinbed"] and set(said["plugins"]) == {"thinbed", str(tmp_path / "grumble_note.py")}


def test_same_bytes_twice(run: Run, model: Path, tmp_path: Path) -> None:
    run("plan", model, "-o", "one")
    run("plan", model, "-o", "two")
    one, two = contents(tmp_path / "one"), contents(tmp_path / "two")
    assert one.pop("run.json") and two.pop("run.json")
    assert one == two


def test_all_walls_set_aside_is_a_plan(run: Run, model: Path, tmp_path: Path) -> None:
    """A wall of a thickness that nobody sells is set aside; what is left is a plan with no piece, and the audit holds."""
    model.write_text(WALLS.replace("thickness: 200", "thickness: 170"), encoding="utf-8")
    done = run("plan", model, "-o", "out", "--catalogue", "aac-metric")
    assert done.code in (0, 1) and "0 of 1 wall laid" in done.out and "Set aside: 1 wall\n  Alcove: " in done.out
    assert (tmp_path / "out" / "pieces.csv").read_text(encoding="utf-8").splitlines() == [",".join(COLUMNS["pieces.csv"])]
    assert run("audit", "out").code == 0
    laid = run("plan", model, "-o", "out", "--catalogue", "aac-metric", "--any-thickness")
    assert laid.code == 0 and "1 of 1 wall laid" in laid.out
    assert summary(tmp_path / "out")["any_thickness"] is True


# findings and exit codes


@pytest.mark.parametrize(
    ("severity", "fail_on", "code"),
    [("error", "error", 1), ("error", "warning", 1), ("warning", "error", 0), ("warning", "warning", 1), ("note", "warning", 0)],
)
@pytest.mark.parametrize("command", ["plan", "check"])
def test_fail_on(run: Run, model: Path, tmp_path: Path, command: str, severity: str, fail_on: str, code: int) -> None:
    to = ("-o", "out") if command == "plan" else ()
    done = run(command, model, *to, "--plugin", plugin(tmp_path, severity), "--fail-on", fail_on)
    assert done.code == code
    assert f"{severity}: This is told as {severity}." in done.out
    assert (tmp_path / "out").is_dir() == (command == "plan"), "findings are no reason not to write"


def test_error_is_the_default(run: Run, model: Path, tmp_path: Path) -> None:
    assert run("check", model, "--plugin", plugin(tmp_path, "error")).code == 1
    assert run("check", model, "--plugin", plugin(tmp_path, "warning")).code == 0


def test_long_lists_are_counted(run: Run, model: Path, tmp_path: Path) -> None:
    many = PLUGIN.replace(
        'return [Finding(code="grumble.here", severity="SEVERITY", text="This is told as SEVERITY.")]',
        'return [Finding(code=f"grumble.at-{n}", severity="SEVERITY", text=f"Thing {n}.") for n in range(100, 112)]',
    )
    done = run("plan", model, "-o", "out", "--plugin", plugin(tmp_path, "error", many))
    assert done.out.count("Thing ") == 10 and "Thing 109." in done.out and "Thing 110." not in done.out
    assert "12 errors" in done.out and "more" in done.out


def test_findings_of_one_cause_are_one_line(run: Run, model: Path, tmp_path: Path) -> None:
    many = PLUGIN.replace(
        'return [Finding(code="grumble.here", severity="SEVERITY", text="This is told as SEVERITY.")]',
        'return [Finding(code="grumble.here", severity="SEVERITY", text=f"Thing {n}") for n in range(100, 112)]',
    )
    done = run("plan", model, "-o", "out", "--plugin", plugin(tmp_path, "error", many))
    assert "error: Thing 100. The same at 11 more places.\n" in done.out and "Thing 101" not in done.out and "1 error" in done.out
    findings = json.loads((tmp_path / "out" / "findings.json").read_text(encoding="utf-8"))["findings"]
    assert sum(one["code"] == "grumble.here" for one in findings) == 12, "the file keeps each place"


def test_further_places_of_a_cause_are_named() -> None:
    """Five of them, corners before their runs; what has neither is counted."""
    places = [Place(run="R1", corner="K1"), Place(run="R1", corner="K2"), *(Place(run=f"R{n}") for n in range(2, 8)), Place(wall="W")]
    lines = told_by_cause([Finding(code="a.b", severity="note", text=f"Thing {n}.", place=p) for n, p in enumerate(places)])
    assert lines == ["  note: Thing 0. The same at 8 more places (corner K2, run R2, run R3, run R4, run R5, 2 more)."]


# what was given


BAD: list[tuple[list[str], tuple[str, ...]]] = [
    (["plan", "MODEL"], ("-o",)),
    (["plan"], ("MODEL",)),
    (["plna", "MODEL"], ("plna", "--help")),
    ([], ("command",)),
    (["job"], ("command",)),
    (["plan", "MODEL", "-o", "out", "--colour", "red"], ("--colour",)),
    (["plan", "none.ifc", "-o", "out"], ("none.ifc",)),
    (["plan", ".", "-o", "out"], ("folder",)),
    (["plan", "notes.txt", "-o", "out"], ("notes.txt", ".ifc")),
    (["plan", "cut.ifc", "-o", "out"], ("cut.ifc",)),
    (["plan", "wrong.walls.yaml", "-o", "out"], ("wrong.walls.yaml",)),
    (["plan", "MODEL", "-o", "out", "--masons", "0"], ("masons",)),
    (["plan", "MODEL", "-o", "out", "--masons", "two"], ("masons",)),
    (["plan", "MODEL", "-o", "out", "--units", "cm"], ("units",)),
    (["plan", "MODEL", "-o", "out", "--fail-on", "note"], ("fail-on",)),
    (["plan", "MODEL", "-o", "out", "--format", "xml"], ("format",)),
    (["plan", "MODEL", "-o", "out", "--catalogue", "aac-metrik"], ("aac-metrik", "aac-metric")),
    (["plan", "MODEL", "-o", "out", "--catalogue", "book.yaml"], ("book.yaml:2:1", "codex")),
    (["plan", "MODEL", "-o", "out", "--set", "running_bond"], ("--set", "rule.param=value")),
    (["plan", "MODEL", "-o", "out", "--set", "runing_bond.measure=lap"], ("runing_bond", "running_bond")),
    (["plan", "MODEL", "-o", "out", "--set", "running_bond.mesure=lap"], ("--set running_bond.mesure",)),
    (["plan", "MODEL", "-o", "out", "--set", "running_bond.measure=width"], ("--set running_bond.measure", "width")),
    (["plan", "MODEL", "-o", "out", "--set", "running_bond.least=-5 mm"], ("running_bond.least", "write at least 0 mm, at most 500 mm")),
    (["plan", "MODEL", "-o", "out", "--job", "none.yaml"], ("none.yaml", "job new")),
    (["plan", "MODEL", "-o", "out", "--job", "job.yaml"], ("job.yaml", "mason")),
    (["plan", "MODEL", "-o", "out", "--job", "face.yaml"], ("600x300",)),
    (["plan", "MODEL", "-o", "out", "--job", "survey.yaml"], ("shots.csv", "cannot be read")),
    (["plan", "MODEL", "-o", "out", "--plugin", "none.py"], ("none.py",)),
    (["plan", "MODEL", "-o", "out", "--plugin", "broken.py"], ("broken.py", "no such luck")),
    (["plan", "MODEL", "-o", "out", "--write", "xlsz"], ("xlsz",)),
    (["plan", "MODEL", "-o", "taken"], ("taken", "-o")),
    (["plan", "MODEL", "-o", "notes.txt"], ("notes.txt", "-o")),
    (["plan", "MODEL", "-o", "notes.txt/out"], ("notes.txt", "-o")),
    (["plan", "MODEL", "-o", "."], ("replaced", "-o")),
    (["audit", "taken"], ("taken", "summary.json")),
    (["audit"], ("OUT",)),
    (["compare", "taken", "taken"], ("taken", "summary.json")),
    (["compare", "taken"], ("OUT2",)),
    (["rules", "runing_bond"], ("runing_bond", "running_bond")),
    (["catalogues", "aac"], ("aac",)),
    (["catalogues", "book.yaml"], ("book.yaml",)),
]


@pytest.mark.parametrize(("line", "words"), BAD, ids=[" ".join(line) or "nothing" for line, _ in BAD])
def test_every_error_is_one_line(run: Run, model: Path, tmp_path: Path, line: list[str], words: tuple[str, ...]) -> None:
    (tmp_path / "notes.txt").write_text("nothing to read", encoding="utf-8")
    (tmp_path / "cut.ifc").write_text("ISO-10303-21;\nHEADER;\n", encoding="utf-8")
    (tmp_path / "wrong.walls.yaml").write_text(WALLS + "colour: red\n", encoding="utf-8")
    (tmp_path / "book.yaml").write_text("schema: wallquant.catalogue/1\ncodex: 3\n", encoding="utf-8")
    (tmp_path / "job.yaml").write_text("schema: wallquant.job/1\nmason: 3\n", encoding="utf-8")
    (tmp_path / "face.yaml").write_text("face: 600x300\n", encoding="utf-8")
    (tmp_path / "survey.yaml").write_text("survey: shots.csv\n", encoding="utf-8")
    (tmp_path / "broken.py").write_text("raise RuntimeError('no such\\n luck')\n", encoding="utf-8")
    (tmp_path / "taken").mkdir()
    (tmp_path / "taken" / "letter.txt").write_text("mine", encoding="utf-8")
    sentence(run(*(str(model) if word == "MODEL" else word for word in line)), *words)
    assert not (tmp_path / "out").exists()
    assert contents(tmp_path / "taken") == {"letter.txt": b"mine"}


def test_model_in_the_folder_that_would_be_replaced(run: Run, model: Path, tmp_path: Path) -> None:
    assert run("plan", model, "-o", "out").code == 0
    inside = tmp_path / "out" / "alcove.walls.yaml"
    inside.write_text(WALLS, encoding="utf-8")
    sentence(run("plan", inside, "-o", "out"), "replaced")
    assert inside.is_file()


def test_a_file_that_somebody_added_to_a_plan_is_kept(run: Run, model: Path, tmp_path: Path) -> None:
    assert run("plan", model, "-o", "out").code == 0
    (tmp_path / "out" / "remarks.txt").write_text("ask the engineer", encoding="utf-8")
    before = contents(tmp_path / "out")
    sentence(run("plan", model, "-o", "out"), "remarks.txt")
    assert contents(tmp_path / "out") == before


def test_two_importers_for_one_file(run: Run, model: Path, tmp_path: Path) -> None:
    text = (
        "from wallquant.hookspecs import hookimpl\nfrom wallquant.importers import wall_list\n"
        "@hookimpl\ndef wallquant_importers():\n    return {'other': wall_list}\n"
    )
    file = plugin(tmp_path, "importer", text)
    sentence(run("plan", model, "-o", "out", "--plugin", file), "other", "wall_list", "job")
    (tmp_path / "job.yaml").write_text("importer: other\n", encoding="utf-8")
    assert run("plan", model, "-o", "out", "--plugin", file, "--job", "job.yaml").code == 0


def test_a_plugin_that_is_skipped_is_told(run: Run, model: Path, tmp_path: Path) -> None:
    (tmp_path / "broken.py").write_text("import there_is_no_such_module_\n", encoding="utf-8")
    (tmp_path / "job.yaml").write_text("on_plugin_error: skip\n", encoding="utf-8")
    done = run("plan", model, "-o", "out", "--plugin", "broken.py", "--job", "job.yaml", "--fail-on", "warning")
    assert done.code == 1 and "broken.py" in done.out


# options


def params(out: Path, code: str) -> dict[str, Any]:
    found: dict[str, Any] = next(r["params"] for r in summary(out)["rules"] if r["code"] == code)
    return found


def test_options_reach_the_job(run: Run, model: Path, tmp_path: Path) -> None:
    done = run(
        "plan", model, "-o", "out", "--masons", "3", "--set", "running_bond.measure=lap", "--set", "running_bond.least=55 mm",
        "--units", "in", "--catalogue", "aac-metric",
    )  # fmt: skip
    assert done.code == 0 and "3 masons" in done.out and "lb as delivered" in done.out and "as the job asks" in done.out
    assert summary(tmp_path / "out")["people_unit"] == "in"
    found = params(tmp_path / "out", "running_bond")
    assert found["measure"] == "lap" and found["least_mm"] == 55


def test_options_go_before_the_job_file(run: Run, model: Path, tmp_path: Path) -> None:
    (tmp_path / "job.yaml").write_text(
        "masons: 5\nfail_on: warning\nrules:\n  running_bond: {measure: lap, least: 60 mm}\n", encoding="utf-8"
    )
    done = run("plan", model, "-o", "out", "--job", "job.yaml", "--masons", "1", "--set", "running_bond.least=55 mm")
    assert "1 mason " in done.out
    found = params(tmp_path / "out", "running_bond")
    assert (found["measure"], found["least_mm"]) == ("lap", 55)
    assert run("check", model, "--job", "job.yaml", "--plugin", plugin(tmp_path, "warning")).code == 1


def test_a_level_for_an_opening_that_is_not_there_is_told(run: Run, model: Path, tmp_path: Path) -> None:
    (tmp_path / "job.yaml").write_text("heads: {Alcove/N9: 2010 mm}\n", encoding="utf-8")
    done = run("check", str(model), "--job", str(tmp_path / "job.yaml"), "--format", "json")
    assert done.code == 0, done.err
    told = [f for f in json.loads(done.out)["findings"] if f["code"] == "job.no-opening"]
    assert len(told) == 1 and told[0]["severity"] == "warning"
    assert "heads names the opening 'Alcove/N9', which no run has" in told[0]["text"]


def test_write_asks_a_plugin(run: Run, model: Path, tmp_path: Path) -> None:
    file = plugin(tmp_path, "note")
    assert run("plan", model, "-o", "out", "--plugin", file, "--write", "note").code == 0
    assert (tmp_path / "out" / "note.txt").read_text(encoding="utf-8") == "22 pieces"
    assert "note.txt" in summary(tmp_path / "out")["files"]
    assert run("audit", "out").code == 0
    assert run("plan", model, "-o", "out").code == 0, "a plan with files of a writer is a plan"
    assert not (tmp_path / "out" / "note.txt").exists()


# what must not be harmed


def test_old_plan_is_kept_when_a_writer_fails(run: Run, model: Path, tmp_path: Path) -> None:
    assert run("plan", model, "-o", "out").code == 0
    before = contents(tmp_path / "out")
    done = run("plan", model, "-o", "out", "--plugin", plugin(tmp_path, "note"), "--write", "note,stumble")
    sentence(done, "stumble", "the pen is empty")
    assert contents(tmp_path / "out") == before
    assert not [p for p in tmp_path.iterdir() if p.name.startswith(".")], "no leftovers beside OUT"


@pytest.mark.parametrize(("error", "code"), [(RuntimeError("ours"), 3), (KeyboardInterrupt(), 130), (OSError(28, "No space left"), 2)])
def test_old_plan_is_kept_when_the_run_dies(
    run: Run, model: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, error: BaseException, code: int
) -> None:
    assert run("plan", model, "-o", "out").code == 0
    before = contents(tmp_path / "out")

    def dies(*_: object, **__: object) -> None:
        raise error

    monkeypatch.setattr(report, "write", dies)
    done = run("plan", model, "-o", "out", "--masons", "7")
    assert done.code == code and done.err.count("\n") == 1
    assert contents(tmp_path / "out") == before
    assert not [p for p in tmp_path.iterdir() if p.name.startswith(".")]


def test_old_plan_comes_back_when_the_swap_fails(run: Run, model: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    assert run("plan", model, "-o", "out").code == 0
    before = contents(tmp_path / "out")
    real = Path.replace

    def refuses(self: Path, target: Path) -> Path:
        if target.name == "out" and (self / "summary.json").is_file() and summary(self)["counts"]["walls"] == 2:
            raise OSError(16, "busy")
        return real(self, target)

    monkeypatch.setattr(Path, "replace", refuses)
    model.write_text(WALLS + WALLS.splitlines()[-1].replace("Alcove", "B").replace(", 0]", ", 900]") + "\n", encoding="utf-8")
    sentence(run("plan", model, "-o", "out"), "busy")
    assert contents(tmp_path / "out") == before


def test_a_link_as_place_of_the_plan(run: Run, model: Path, tmp_path: Path) -> None:
    """The link stays, and the folder that it names holds the plan, also one that is not there yet; a link to itself is refused."""
    (tmp_path / "named").mkdir()
    (tmp_path / "link").symlink_to("named")
    (tmp_path / "ahead").symlink_to("later")
    (tmp_path / "round").symlink_to("round")
    for _ in range(2):
        assert run("plan", model, "-o", "link").code == 0
        assert (tmp_path / "link").is_symlink() and (tmp_path / "named" / "summary.json").is_file()
    assert run("plan", model, "-o", "ahead").code == 0
    assert (tmp_path / "ahead").is_symlink() and (tmp_path / "later" / "summary.json").is_file()
    sentence(run("plan", model, "-o", "round"), "round", "-o")
    sentence(run("plan", "round", "-o", "out"), "round", "cannot be opened")
    assert not [p for p in tmp_path.iterdir() if p.name.startswith(".")], "no leftovers beside OUT"


def test_names_that_no_disk_takes_and_models_that_never_end(run: Run, model: Path, tmp_path: Path) -> None:
    sentence(run("plan", model, "-o", "a" * 300), "cannot be written", "-o")
    os.mkfifo(tmp_path / "pipe.ifc")
    sentence(run("plan", "pipe.ifc", "-o", "out"), "pipe.ifc", "device or pipe")


@pytest.mark.parametrize(("redirected", "code"), [(">&-", 0), ("2>&-", 0), (">/dev/full", 2)])
def test_screens_that_take_nothing(redirected: str, code: int) -> None:
    """Closed, or full: no fault of ours."""
    command = f"{shlex.quote(sys.executable)} -c \"from wallquant.cli import main; main(['job', 'schema'])\" {redirected}"
    done = subprocess.run(command, shell=True, capture_output=True, text=True, check=False)
    assert done.returncode == code
    assert "fault" not in done.stderr and done.stderr.count("\n") == (code == 2)


# our own faults


@pytest.mark.parametrize("error", [RuntimeError("boom"), ValueError("arrays do not match"), KeyError("R9"), AssertionError()])
def test_a_fault_of_ours(run: Run, model: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, error: Exception) -> None:
    """Also a ValueError from within is ours: only sentences about what was given are exit code 2."""

    def fails(*_: object, **__: object) -> None:
        raise error

    monkeypatch.setattr(pipeline, "ordered", fails)
    done = run("plan", model, "-o", "out")
    assert done.code == 3 and done.out == ""
    assert done.err.count("\n") == 1 and "Traceback" not in done.err and "send us" in done.err
    (file,) = tmp_path.glob("wallquant-fault-*.txt")
    assert str(file) in done.err
    text = file.read_text(encoding="utf-8")
    assert "Traceback" in text and type(error).__name__ in text and "wallquant " in text
    assert not (tmp_path / "out").exists()


def test_fault_file_goes_to_the_temporary_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def gone() -> str:
        raise FileNotFoundError("the folder is gone")

    monkeypatch.setattr(os, "getcwd", gone)
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path))
    file = cli._fault_file()
    assert file.parent == tmp_path and file.is_file()


def test_interrupted(run: Run, model: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def stops(*_: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(pipeline, "plan_of", stops)
    done = run("plan", model, "-o", "out")
    assert (done.code, done.out, done.err) == (130, "", "wallquant: interrupted\n")


def test_a_reader_that_stops_is_no_error() -> None:
    """As in ``wallquant job schema | head -1``."""
    code = "from wallquant.cli import main; main(['job', 'schema'])"
    with subprocess.Popen([sys.executable, "-c", code], stdout=subprocess.PIPE, stderr=subprocess.PIPE) as process:
        assert process.stdout is not None and process.stderr is not None
        process.stdout.close()
        said = process.stderr.read()
        assert process.wait() == 0, said
    assert said == b""


# the other commands


def test_help_names_every_command(run: Run) -> None:
    done = run("--help")
    assert done.code == 0
    assert all(f"\n  {name} " in done.out for name in COMMANDS)
    for name in COMMANDS:
        one = run(name, "--help")
        assert one.code == 0 and one.out.startswith(f"Usage: wallquant {name} "), name
    assert run("--version").out.startswith("wallquant ")


def test_check_writes_nothing(run: Run, model: Path, tmp_path: Path) -> None:
    before = contents(tmp_path)
    done = run("check", model)
    assert done.code == 0 and contents(tmp_path) == before
    # 2399 is four units and 1000 ends at 1009, within the fit
    assert "1 of 1 run" in done.out and "1 of 1 top" in done.out and "misses" not in done.out


def test_check_shows_what_misses(run: Run, model: Path) -> None:
    model.write_text(WALLS.replace("2399", "2250").replace("height: 1000", "height: 1100"), encoding="utf-8")
    done = run("check", model)
    table = [line.split("  ") for line in done.out.splitlines() if line.startswith(("run ", "top ", "what misses"))]
    cells = [[c.strip() for c in row if c.strip()] for row in table]
    assert cells[0] == ["what misses the module", "where", "measured", "nearest below", "nearest above", "with a half unit", "cuts now"]
    assert cells[1][:6] == ["run", "R1: Alcove, the free end at K1 to the free end at K2", "2250 mm", "1799 mm", "2399 mm", "2099 mm"]
    assert int(cells[1][6]) >= 5
    assert cells[2][:6] == ["top", "R1: Alcove", "1100 mm", "1009 mm", "1209 mm", "-"] and int(cells[2][6]) >= 4
    said = json.loads(run("check", model, "--format", "json").out)
    assert {f["code"] for f in said["findings"]} >= {"module.run", "module.top"}
    assert said["module"]["run"] == {"missed": 1}


def test_audit(run: Run, model: Path, tmp_path: Path) -> None:
    run("plan", model, "-o", "out")
    done = run("audit", "out")
    assert done.code == 0 and done.out.count(" holds: ") == 9
    assert json.loads(run("audit", "out", "--format", "json").out) == {"holds": True, "findings": []}
    pieces = tmp_path / "out" / "pieces.csv"
    lines = pieces.read_text(encoding="utf-8").splitlines()
    pieces.write_text("\n".join(lines[:-1]) + "\n", encoding="utf-8")
    done = run("audit", "out")
    assert done.code == 1 and "does not hold" in done.out and "audit.files" in done.out
    assert json.loads(run("audit", "out", "--format", "json").out)["holds"] is False


def test_a_slow_walk_is_a_walk(run: Run, model: Path, tmp_path: Path) -> None:
    """Less than a millimetre in a second is no walk without time: 0 alone says that walking takes none."""
    hours = {}
    for pace in (0, 0.001, 60):
        (tmp_path / "own.job.yaml").write_text(f"schema: wallquant.job/1\nmasons: 1\nwalking: {pace}\n", encoding="utf-8")
        assert run("plan", model, "-o", "out", "--job", tmp_path / "own.job.yaml").code == 0
        hours[pace] = json.loads((tmp_path / "out" / SUMMARY).read_text(encoding="utf-8"))["totals"]["hours"]
    assert hours[0.001] > hours[60] >= hours[0]


def test_a_plan_that_cannot_be_read_is_not_said_to_hold(run: Run, model: Path, tmp_path: Path) -> None:
    run("plan", model, "-o", "out")
    steps = tmp_path / "out" / "steps.csv"
    steps.write_text("", encoding="utf-8")
    done = run("audit", "out")
    assert done.code == 1 and " holds: " not in done.out and done.out.count(" is not looked at: ") == 9
    done = run("compare", "out", "out")
    assert done.code == 2 and "steps.csv does not have the columns of a plan" in done.err


@pytest.mark.parametrize("name", [SUMMARY, FINDINGS])
def test_a_plan_whose_json_has_no_bottom_is_told_in_one_sentence(run: Run, model: Path, tmp_path: Path, name: str) -> None:
    run("plan", model, "-o", "out")
    (tmp_path / "out" / name).write_text("[" * 200_000, encoding="utf-8")
    done = run("audit", "out")
    assert done.code == 1 and f"{name} cannot be read" in done.out
    shots = tmp_path / "shots.csv"
    shots.write_text("x,y,level\n0,0,0\n1000,0,0\n0,1000,0\n", encoding="utf-8")
    told = [run("compare", "out", "out")]
    if name == SUMMARY:
        told += [run("plan", model, "-o", "out"), run("survey", shots, "--plan", "out")]
    for one in told:
        assert one.code == 2 and one.err.count("\n") == 1


def test_a_device_in_a_plan_is_not_read(run: Run, model: Path, tmp_path: Path) -> None:
    """A link to a device has no end; it would be read until the memory is full."""
    run("plan", model, "-o", "out")
    runs = tmp_path / "out" / "runs.csv"
    runs.unlink()
    runs.symlink_to("/dev/zero")
    assert "it is no file but a folder, device or pipe" in run("audit", "out").out
    assert "it is no file but a folder, device or pipe" in run("compare", "out", "out").err


def test_a_summary_names_no_file_outside_its_folder(run: Run, model: Path, tmp_path: Path) -> None:
    run("plan", model, "-o", "out")
    head = tmp_path / "out" / SUMMARY
    said = json.loads(head.read_text(encoding="utf-8"))
    said["files"]["../away.csv"] = "0"
    head.write_text(json.dumps(said), encoding="utf-8")
    (tmp_path / "away.csv").write_text("", encoding="utf-8")
    assert "names ../away.csv, which does not lie in out" in run("audit", "out").out


def test_compare(run: Run, model: Path) -> None:
    run("plan", model, "-o", "one")
    assert "Every piece of one plan is in the other." in run("compare", "one", "one").out
    model.write_text(WALLS.replace("2399", "2999"), encoding="utf-8")
    run("plan", model, "-o", "two")
    done = run("compare", "one", "two")
    rows = {line[: line.index("  ")]: line.split()[-3:] for line in done.out.splitlines() if line.count("  ") >= 3}
    assert done.code == 0 and rows["pieces"] == ["22", "27", "+5"] and "cuts" not in rows
    assert rows["std-600x200x200"][2] == "+5", "a whole unit more in each course"
    assert "4 cuts to saw as before" in done.out and "  Alcove: pieces" in done.out and "(R1)" in done.out
    said = json.loads(run("compare", "one", "two", "--format", "json").out)
    assert next(t for t in said["totals"] if t["name"] == "pieces")["difference"] == 5


def test_rules(run: Run) -> None:
    listed = run("rules").out
    for code, rule in plugins.load().rules.items():
        assert code in listed and rule.title in listed and (rule.__doc__ or "").splitlines()[0] in listed
        page = run("rules", code).out
        for word in (rule.title, "What it asks", "Why", "Source", "Example"):
            assert word in page, (code, word)
    page = run("rules", "running_bond").out
    assert "least = 40 mm" in page and "at most 500 mm" in page and "preset quarter" in page and "Source: from memory: EN 1996" in page


def test_catalogues(run: Run) -> None:
    assert [line.split()[0] for line in run("catalogues").out.splitlines()] == ["aac-metric", "aac-us"]
    page = run("catalogues", "aac-us").out
    for words in ("head joint: 1/16 in to 1/8 in, nominal 1/8 in", "1 ft 11-7/8 in x 7-7/8 in", "top: -1/2 in to +1/2 in", "Where numbers"):
        assert words in page, words


def test_job_files(run: Run, model: Path, tmp_path: Path) -> None:
    new = run("job", "new")
    assert new.code == 0
    (tmp_path / "job.yaml").write_text(new.out, encoding="utf-8")
    assert run("plan", model, "-o", "one", "--job", "job.yaml").code == 0, "a new job file is a job file"
    assert run("plan", model, "-o", "two").code == 0
    one, two = contents(tmp_path / "one"), contents(tmp_path / "two")
    assert one.pop("run.json") and two.pop("run.json") and one == two, "it says the defaults"
    assert json.loads(run("job", "schema").out)["$id"] == "wallquant.job/1"


# commands of plugins


def added(monkeypatch: pytest.MonkeyPatch, **commands: Any) -> None:
    """Let a plugin 'firm' bring these commands, as an installed one would."""
    real = plugins.load()
    owners = {**real.owners, **{f"command {name}": "firm" for name in commands}}
    monkeypatch.setattr(plugins, "load", lambda *_, **__: replace(real, commands=commands, owners=owners))


def test_wallquant_commands_of_a_plugin(run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    @click.command(name="greet")
    @click.argument("name")
    def greet(name: str) -> int:
        """Greet NAME."""
        if name == "nobody":
            raise RuntimeError("nobody\nis there")
        click.echo(f"good morning, {name}")
        return 1 if name == "rain" else 0

    added(monkeypatch, greet=greet)
    assert run("greet", "mason") == Done(0, "good morning, mason\n", "")
    assert run("greet", "rain").code == 1
    assert "\n  greet " in run("--help").out
    sentence(run("greet"), "NAME")
    failed = run("greet", "nobody")
    assert failed.code in (2, 3) and failed.err.count("\n") == 1 and "Traceback" not in failed.err


@pytest.mark.parametrize("name", COMMANDS)
def test_wallquant_commands_never_replace_ours(run: Run, model: Path, monkeypatch: pytest.MonkeyPatch, name: str) -> None:
    added(monkeypatch, **{name: click.Command(name)})
    sentence(run("--help"), f"'{name}'", "firm")
    sentence(run("check", model), f"'{name}'", "firm")


def test_wallquant_commands_are_click_commands(run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    added(monkeypatch, wave=lambda: None)
    sentence(run("wave"), "'wave'", "firm", "click")


def test_a_plugin_that_fails_at_the_plan_is_named(run: Run, model: Path, tmp_path: Path) -> None:
    text = "from wallquant.hookspecs import hookimpl\n@hookimpl\ndef wallquant_planned(plan):\n    raise RuntimeError('too\\n late')\n"
    sentence(run("plan", model, "-o", "out", "--plugin", plugin(tmp_path, "watch", text)), "too late", "grumble_watch.py")
    assert not (tmp_path / "out").exists()


# samples


@pytest.mark.parametrize("sample", ["landing_tool_store_mm.ifc", "field_station_workshop_in.ifc", "seedling_shed.yaml"])
def test_samples(run: Run, sample: str) -> None:
    assert run("plan", SAMPLES / sample, "-o", "out").code == 0
    assert run("audit", "out").code == 0

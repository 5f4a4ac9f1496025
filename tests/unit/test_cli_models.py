"""Models that cannot serve, models that mean harm, and names that a screen or a file system cannot show."""

from __future__ import annotations

import json
import os
import runpy
import signal
import subprocess
import sys
from html.parser import HTMLParser
from pathlib import Path

import pytest

from tests.unit.command_line import HEAD, Run, caller, names, outside, plugin, refused, wall, wall_list
from tests.unit.ifc_maker import Maker
from wallquant import pipeline


@pytest.fixture
def run(capsys: pytest.CaptureFixture[str]) -> Run:
    return caller(capsys)


def test_a_model_that_cannot_serve(tmp_path: Path, run: Run) -> None:
    maker = Maker()
    maker.plain_wall(2399, 200, 800)
    text = maker.write(tmp_path, "good.ifc").read_text(encoding="utf-8")
    (tmp_path / "folder.ifc").mkdir()
    Maker().write(tmp_path, "bare.ifc")
    given = {
        "no.ifc": ("wall,length\n", "no IFC file"),
        "empty.ifc": ("", "no IFC file"),
        "half.ifc": (text[: len(text) // 2], "cut off"),
        "old.ifc": (text.replace("FILE_SCHEMA(('IFC4'))", "FILE_SCHEMA(('IFC2X2_FINAL'))"), "IFC2X2_FINAL"),
        "damaged.ifc": (text.replace("IFCEXTRUDEDAREASOLID(", "IFCEXTRUDEDAREASOLID"), "line"),
        "bad.walls.yaml": ("walls: [", "bad.walls.yaml:1"),
        "tab.walls.yaml": (HEAD + "\t- x", "tab.walls.yaml:5"),
        "bytes.walls.yaml": ("\ud800", "bytes.walls.yaml"),
        "empty.walls.yaml": ("", "empty.walls.yaml"),
        "none.walls.yaml": (HEAD.replace("walls:", "walls: []"), "wall"),
        "deep.walls.yaml": ("[" * 500, "deep.walls.yaml"),
        "model.papyrus": ("x", ".ifc"),
    }
    for name, (said, _) in given.items():
        (tmp_path / name).write_text(said, encoding="utf-8", errors="surrogatepass")
    words = {name: word for name, (_, word) in given.items()}
    words |= {"none.ifc": "cannot be opened", "folder.ifc": "folder", "bare.ifc": "no wall"}
    before = names(tmp_path)
    for name, word in words.items():
        for line in (("plan", tmp_path / name, "-o", tmp_path / "out"), ("check", tmp_path / name)):
            sentence = refused(run(*line))
            assert name in sentence and word in sentence, sentence
    assert names(tmp_path) == before, "nothing is written for it"


def test_walls_without_a_body_and_without_a_unit_are_set_aside(tmp_path: Path, run: Run) -> None:
    maker = Maker()
    maker.plain_wall(2399, 1234, 800)
    maker.wall(name="no body")
    out = tmp_path / "out"
    assert run("plan", maker.write(tmp_path), "-o", out)[0] == 0
    lines = (out / "pieces.csv").read_text(encoding="utf-8").splitlines()
    assert len(lines) == 1 and lines[0].startswith("piece,run,course")
    head = json.loads((out / "summary.json").read_text(encoding="utf-8"))
    assert head["counts"]["walls"] == head["counts"]["walls_set_aside"] == 2 and head["counts"]["pieces"] == 0
    assert all(w["reasons"] for w in head["walls"]), "each with its reason"
    assert run("audit", out)[0] == 0
    assert "2 set aside" in run("check", tmp_path / "model.ifc")[1]
    assert run("compare", out, out)[0] == 0


@pytest.mark.parametrize("error", [RecursionError("deep"), MemoryError()])
def test_a_model_too_much_for_us_is_our_fault(error: Exception, tmp_path: Path, run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    def fail(*_: object) -> None:
        raise error

    monkeypatch.setattr(pipeline, "plan_of", fail)
    monkeypatch.chdir(tmp_path)
    sentence = refused(run("check", wall_list(tmp_path)), 3)
    (file,) = tmp_path.glob("wallquant-fault-*.txt")
    assert str(file) in sentence and type(error).__name__ in sentence


# ---- a process of its own


def test_errors_in_a_process_of_its_own(tmp_path: Path) -> None:
    (tmp_path / "no.ifc").write_text("no", encoding="utf-8")
    for line in (("plan", "no.ifc", "-o", "out"), ("compare", "a", "b")):
        refused(outside(*line, cwd=tmp_path))
    assert outside("plan", wall_list(tmp_path), "-o", "out", cwd=tmp_path)[0] == 0


def test_as_a_module(tmp_path: Path) -> None:
    """`python -m wallquant` is the console script, by its name and exit codes; a spawned process that imports it again plans nothing."""

    def module(*words: str) -> tuple[int, str, str]:
        done = subprocess.run([sys.executable, "-m", "wallquant", *words], cwd=tmp_path, capture_output=True, text=True, check=False)
        return done.returncode, done.stdout, done.stderr

    model = wall_list(tmp_path)
    assert module("--version") == outside("--version")
    assert module("plan", model.name, "-o", "out")[0] == 0 and (tmp_path / "out" / "summary.json").exists()
    assert "no.ifc" in refused(module("plan", "no.ifc", "-o", "out"))
    assert module("plan", "--no-such-option")[2].endswith("'wallquant plan --help' shows how it is called\n")
    assert runpy.run_module("wallquant.__main__", run_name="__mp_main__")["__name__"] == "__mp_main__"


def test_interrupted_by_a_signal(tmp_path: Path) -> None:
    text = """
        import os, signal, time
        @hookimpl
        def wallquant_planned(plan):
            signal.signal(signal.SIGINT, signal.default_int_handler)  # jobs in the background are started with it ignored
            os.kill(os.getpid(), signal.SIGINT)
            time.sleep(30)
        """
    own = plugin(tmp_path, text)
    done = outside("plan", wall_list(tmp_path), "-o", tmp_path / "out", "--plugin", own, cwd=tmp_path)
    assert done == (128 + signal.SIGINT, "", "wallquant: interrupted\n")
    assert not (tmp_path / "out").exists()


@pytest.mark.skipif(os.name != "posix", reason="names of files are bytes on POSIX only")
def test_a_name_that_is_no_text(tmp_path: Path) -> None:
    file = os.fsencode(tmp_path) + b"/\xff.walls.yaml"
    Path(os.fsdecode(file)).write_text(HEAD + wall(), encoding="utf-8")
    assert "UTF-8" in refused(outside("plan", file, "-o", "out", cwd=tmp_path))


def test_a_screen_that_cannot_show_a_name(tmp_path: Path) -> None:
    model = wall_list(tmp_path, wall("Wänd ✓", thickness=1234))
    env = {**os.environ, "PYTHONIOENCODING": "latin-1"}
    code, said, err = outside("plan", model, "-o", "out", cwd=tmp_path, env=env, encoding="latin-1")
    assert (code, err) == (0, "")
    assert "Wänd \\u2713" in said
    assert json.loads((tmp_path / "out" / "summary.json").read_text(encoding="utf-8"))["walls"][0]["name"] == "Wänd ✓"


# ---- names that mean harm

HOSTILE = (
    "<script>alert(1)</script>",
    "=1+1",
    "</script><img src=x onerror=alert(1)>",
    "<!--<script>",
    '" onmouseover="alert(1)',
    "' autofocus onfocus='alert(1)",
    "]]>{{ 7 * 7 }}{% raw %}",
    "javascript:alert(1)",
    "&lt;script&gt;",
    "a\u2028b\u202ec\x7f",
)


class Skeleton(HTMLParser):
    """The elements of a page, each with the names of its attributes, and all text."""

    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.elements: list[tuple[str, tuple[str, ...]]] = []
        self.shown = ""

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.elements.append((tag, tuple(name for name, _ in attrs)))

    def handle_comment(self, data: str) -> None:
        self.elements.append(("comment", ()))

    def handle_data(self, data: str) -> None:
        self.shown += data


def page(out: Path) -> Skeleton:
    made = Skeleton()
    made.feed((out / "report.html").read_text(encoding="utf-8"))
    made.close()
    return made


@pytest.mark.parametrize("thickness", [200, 1234])
def test_hostile_names_are_text(thickness: int, tmp_path: Path, run: Run) -> None:
    """A page with hostile names has the elements of one with plain names, for walls that are laid and walls set aside."""
    pages = {}
    for kind in ("plain", "hostile"):
        maker = Maker()
        maker.add_storey(HOSTILE[0] if kind == "hostile" else "plain", 0)
        for n, hostile in enumerate(HOSTILE):
            name = hostile if kind == "hostile" else f"plain {n}"
            built = maker.plain_wall(2399, thickness, 800, name=name, place=maker.placed((0, 3000 * n, 0)))
            if n < 3:
                opening = maker.opening(built, maker.box(700, 1300, 300, 600))
                opening.Name = maker.fill(opening).Name = name
        assert run("plan", maker.write(tmp_path, f"{kind}.ifc"), "-o", tmp_path / kind)[0] in (0, 1)
        pages[kind] = page(tmp_path / kind)
    assert pages["hostile"].elements == pages["plain"].elements
    for name in HOSTILE[:2]:
        assert name in pages["hostile"].shown, "and they are shown as they are"
    assert run("audit", tmp_path / "hostile")[0] == 0
    head = json.loads((tmp_path / "hostile" / "summary.json").read_text(encoding="utf-8"))
    assert {w["name"] for w in head["walls"]} >= set(HOSTILE[:9])


def test_hostile_names_in_a_wall_list(tmp_path: Path, run: Run) -> None:
    """Of a wall list the name is the wall's key, so it is in the tables too; the page has it as text."""
    for kind in ("plain", "hostile"):
        walls = [wall(name if kind == "hostile" else f"plain {n}", x=9000 * n) for n, name in enumerate(HOSTILE[:4])]
        assert run("plan", wall_list(tmp_path, *walls, name=f"{kind}.walls.yaml"), "-o", tmp_path / kind)[0] == 0
    assert page(tmp_path / "hostile").elements == page(tmp_path / "plain").elements
    assert HOSTILE[0] in page(tmp_path / "hostile").shown
    assert run("audit", tmp_path / "hostile")[0] == 0

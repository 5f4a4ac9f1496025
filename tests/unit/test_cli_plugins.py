"""A plugin that fails, wherever it is asked, is named in one sentence with exit code 2; nothing is written."""

from __future__ import annotations

import sys
from pathlib import Path
from textwrap import dedent

import pytest

from tests.unit.command_line import Run, caller, names, plugin, refused, wall_list

WINDOW = "def demand(self, run, courses):\n        from wallquant.rules import Window\n        yield Window(course=1, {0})"
RULE = '''
class Own(Rule):
    """The firm wants this."""

    code = "own_rule"
    title = "Own rule"

    {body}


@hookimpl
def wallquant_rules():
    return [Own]
'''
IMPORTER = """
class Lines:
    suffixes = (".lines",)
    def read(self, path): {body}

@hookimpl
def wallquant_importers(): return {{"lines": Lines()}}
"""
FAILS = {
    "demand": RULE.format(body="def demand(self, run, courses): 1 / 0"),
    "no sentence": RULE.format(body="def demand(self, run, courses): return ['no joint here, please']"),
    "window of no numbers": RULE.format(body=WINDOW.format("lo=float('inf'), hi='abc'")),
    "window of nothing": RULE.format(body=WINDOW.format("lo=0, hi=9, of='unit'")),
    "window that yields too much": RULE.format(body=WINDOW.format("lo=0, hi=9, yields=10")),
    "offset": RULE.format(body="def offset(self, upper, lower): 1 / 0"),
    "precede": RULE.format(body="def precede(self, work): 1 / 0"),
    "measure": RULE.format(body="def measure(self, work): 1 / 0"),
    "findings": RULE.format(body="def findings(self, work): raise ValueError('of\\nmany lines')"),
    "no finding": RULE.format(body="def findings(self, work): return ['of my own']"),
    "no amount": RULE.format(body="def measure(self, work): return [3]"),
    "no precedence": RULE.format(body="def precede(self, work): return [('a', 'b')]"),
    "nothing": RULE.format(body="def findings(self, work): return None"),
    "observer": "@hookimpl\ndef wallquant_planned(plan): 1 / 0\n",
    "writer": "def bad(plan, folder): 1 / 0\n\n@hookimpl\ndef wallquant_writers(): return {'own': bad}\n",
    "import": "1 / 0\n",
    "exit": "raise SystemExit(0)\n",
    "syntax": "def (\n",
    "what it brings": "@hookimpl\ndef wallquant_rules(): 1 / 0\n",
}


@pytest.fixture
def run(capsys: pytest.CaptureFixture[str]) -> Run:
    return caller(capsys)


@pytest.mark.parametrize("what", FAILS)
def test_a_plugin_that_fails_is_named(what: str, tmp_path: Path, run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    own = plugin(tmp_path, FAILS[what])
    model = wall_list(tmp_path)
    before = names(tmp_path)
    write = ("--write", "own") if what == "writer" else ()
    sentence = refused(run("plan", model, "-o", tmp_path / "out", "--plugin", own, *write))
    assert "own_rule" in sentence or str(own) in sentence, sentence
    assert names(tmp_path) == before, "no plan, no leftovers, no file about a fault of ours"


@pytest.mark.parametrize("body", ["return 1 / 0", "return None", "return None, ()", "raise ValueError('a\\nb')"])
def test_an_importer_that_fails_is_named(body: str, tmp_path: Path, run: Run) -> None:
    own = plugin(tmp_path, IMPORTER.format(body=body))
    (tmp_path / "m.lines").write_text("", encoding="utf-8")
    for job in ("", "importer: lines\n"):
        (tmp_path / "job.yaml").write_text(job, encoding="utf-8")
        sentence = refused(run("plan", tmp_path / "m.lines", "-o", tmp_path / "out", "--plugin", own, "--job", tmp_path / "job.yaml"))
        assert "importer lines" in sentence and "m.lines" in sentence, sentence


@pytest.mark.parametrize("what", ["def findings(self, work): raise SystemExit(0)", "def demand(self, run, courses): raise SystemExit(0)"])
def test_a_plugin_that_ends_the_program(what: str, tmp_path: Path, run: Run) -> None:
    """Exit code 0 without a plan would be a lie."""
    own = plugin(tmp_path, RULE.format(body=what))
    assert "plugin" in refused(run("plan", wall_list(tmp_path), "-o", tmp_path / "out", "--plugin", own))


def test_an_installed_command_that_fails_is_named(tmp_path: Path, run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    text = """
        import click
        from wallquant.hookspecs import hookimpl

        @click.command()
        @click.argument("word")
        def greet(word):
            "Greet."
            if word == "fail":
                raise KeyError("of its own")
            if word == "refuse":
                raise click.UsageError("no greeting for it")
            if word == "stop":
                raise KeyboardInterrupt
            click.echo(f"hello {word}")

        @hookimpl
        def wallquant_commands():
            return {"greet": greet}
        """
    (tmp_path / "wqtest_greeting.py").write_text(dedent(text), encoding="utf-8")
    info = tmp_path / "wqtest_greeting-1.0.dist-info"
    info.mkdir()
    (info / "METADATA").write_text("Metadata-Version: 2.1\nName: wqtest_greeting\nVersion: 1.0\n", encoding="utf-8")
    (info / "entry_points.txt").write_text("[wallquant]\ngreeting = wqtest_greeting\n", encoding="utf-8")
    monkeypatch.syspath_prepend(str(tmp_path))
    monkeypatch.delitem(sys.modules, "wqtest_greeting", raising=False)
    assert run("greet", "you") == (0, "hello you\n", "")
    sentence = refused(run("greet", "fail"))
    assert all(word in sentence for word in ("command greet", "plugin greeting", "KeyError")), sentence
    assert "no greeting for it" in refused(run("greet", "refuse"))
    assert "interrupted" in refused(run("greet", "stop"), 130)

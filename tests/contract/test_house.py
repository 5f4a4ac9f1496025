"""The house: types, style, one way of imports, rooms of a size that one can read, and nothing at the top that does not belong there."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
TOP = {
    "README.md", "DEVELOPERS.md", "pyproject.toml", "wallquant", "plugins", "tests", "sample_models", "schemas", ".ci", ".gitignore"
}  # fmt: skip
BIN = Path(sys.executable).parent


def tool(*command: str) -> None:
    done = subprocess.run([str(BIN / command[0]), *command[1:]], cwd=ROOT, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stdout[-4000:] + done.stderr[-2000:]


def tracked() -> list[str]:
    done = subprocess.run(["git", "ls-files"], cwd=ROOT, capture_output=True, text=True, check=False)
    if done.returncode:
        pytest.skip("no git checkout")
    return done.stdout.split("\n")[:-1]


def test_types() -> None:
    tool("mypy")


def test_style() -> None:
    tool("ruff", "check", ".")


def test_imports_go_one_way() -> None:
    tool("lint-imports", "--no-cache")


def test_top_level() -> None:
    assert {name.split("/")[0] for name in tracked()} <= TOP


def test_no_module_is_two_rooms() -> None:
    """A module over 400 lines is perhaps two; tests and generated files are not counted."""
    long = {
        name: lines
        for name in tracked()
        if name.startswith(("wallquant/", "plugins/")) and name.endswith(".py")
        if (lines := len((ROOT / name).read_text(encoding="utf-8").splitlines())) > 400
    }
    assert not long


def test_readme_shows_the_two_commands() -> None:
    lines = (ROOT / "README.md").read_text(encoding="utf-8").splitlines()
    commands = [line.strip() for line in lines if line.strip().startswith("python3 -m venv")]
    assert len(commands) == 2
    assert "wallquant plan sample_models/" in commands[0]
    assert commands[1].endswith("pytest")

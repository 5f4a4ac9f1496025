"""For tests of the command line: small models, plugins written on the spot, and a call in this process or in one of its own."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from textwrap import dedent
from typing import Any

import pytest

from wallquant.cli import main

HEAD = "unit: mm\nstoreys:\n  - {name: G, level: 0}\nwalls:\n"
WALL = '  - {{name: "{name}", storey: G, from: [{x}, 0], to: [{end}, 0], thickness: {thickness}, height: {height}, bearing: true}}\n'
PROGRAM = "from wallquant.cli import main\nmain()"
IMPORTS = "from wallquant.findings import Finding\nfrom wallquant.hookspecs import hookimpl\nfrom wallquant.rules import Rule\n"

Done = tuple[int, str, str]
"""Exit code, standard output, standard error."""
Run = Callable[..., Done]


def wall(name: str = "A", x: int = 0, length: int = 2399, thickness: int = 200, height: int = 800) -> str:
    """A wall of a wall list, from x along the x axis, in millimetres."""
    return WALL.format(name=name, x=x, end=x + length, thickness=thickness, height=height)


def wall_list(folder: Path, *walls: str, name: str = "m.walls.yaml") -> Path:
    file = folder / name
    file.write_text(HEAD + "".join(walls or (wall(),)), encoding="utf-8")
    return file


def plugin(folder: Path, text: str, name: str = "own_plugin") -> Path:
    file = folder / f"{name}.py"
    file.write_text(IMPORTS + dedent(text), encoding="utf-8")
    return file


def caller(capsys: pytest.CaptureFixture[str]) -> Run:
    """Return a function that calls wallquant in this process."""

    def run(*args: object) -> Done:
        capsys.readouterr()
        with pytest.raises(SystemExit) as end:
            main([str(a) for a in args])
        out, err = capsys.readouterr()
        assert isinstance(end.value.code, int)
        return end.value.code, out, err

    return run


def outside(*args: object, **more: Any) -> Done:
    """Call wallquant in a process of its own; names of files may be bytes."""
    command = [sys.executable, "-c", PROGRAM, *(a if isinstance(a, bytes) else str(a) for a in args)]
    done = subprocess.run(command, capture_output=True, text=True, check=False, **more)
    return done.returncode, done.stdout, done.stderr


def refused(done: Done, code: int = 2) -> str:
    """Return the sentence of an error: one line on standard error, nothing on standard output."""
    assert done[:2] == (code, ""), done
    assert done[2].startswith("wallquant: ") and done[2].count("\n") == 1 and done[2].endswith("\n"), done[2]
    assert "Traceback" not in done[2]
    return done[2]


def content(folder: Path) -> dict[str, bytes]:
    return {p.relative_to(folder).as_posix(): p.read_bytes() for p in sorted(folder.rglob("*")) if p.is_file()}


def names(folder: Path) -> set[str]:
    """What lies in a folder; Python's own folders aside."""
    return {p.name for p in folder.iterdir()} - {"__pycache__"}

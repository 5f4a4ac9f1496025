"""Reads many files in one process, one after the other, as the command line would; started by `mutant_runner`.

One line of standard input is a job (``read`` or ``plan``), a tab, and a path; one line of standard output is the answer: the
exit code, a tab, seconds, a tab, and what was said.
"""

from __future__ import annotations

import io
import pathlib
import re
import resource
import sys
import time
import traceback
from contextlib import redirect_stderr, redirect_stdout

from wallquant.cli import main
from wallquant.importers import InputError, ifc

MOST_MEMORY = 4 << 30
"""Bytes; a file that needs more would take the machine down, and counts as a death."""
WALL = re.compile(rb"^#\d+\s*=\s*IFCWALL(?:STANDARDCASE|ELEMENTEDCASE)?\s*\(.*;\s*$", re.MULTILINE)
TOLD = {"reading.form", "reading.wall-of-walls", "reading.curtain-wall", "reading.part-of-wall"}
"""Findings that say why a wall that is stated is neither read nor set aside."""


def read(path: pathlib.Path) -> tuple[int, str]:
    try:
        building, findings = ifc.read(path)
    except InputError as error:
        return (2, str(error)) if "\n" not in str(error) else (3, f"more than one line: {error}")
    if not all(f.text and "\n" not in f.text for f in findings):
        return 3, "a finding is no sentence"
    stated = len(WALL.findall(path.read_bytes()))
    if stated > len(building.walls) + len(building.set_aside) and not {f.code for f in findings} & TOLD:
        return 3, f"{stated} walls stated, {len(building.walls)} read and {len(building.set_aside)} set aside, and nobody told"
    return int(any(f.severity == "error" for f in findings)), f"{len(building.walls)} walls, {len(building.set_aside)} set aside"


def plan(path: pathlib.Path) -> tuple[int, str]:
    said, faults = io.StringIO(), pathlib.Path().glob("wallquant-fault-*.txt")
    with redirect_stdout(said), redirect_stderr(said):
        try:
            main(["plan", str(path), "--any-thickness", "-o", str(path.with_suffix(".plan"))])
        except SystemExit as end:
            code = int(end.code or 0)
    if code == 3:
        return code, "\n".join(f.read_text(encoding="utf-8") for f in faults)
    return code, said.getvalue()[:300]


def serve() -> None:
    resource.setrlimit(resource.RLIMIT_AS, (MOST_MEMORY, MOST_MEMORY))
    answers, sys.stdout = sys.stdout, sys.stderr  # what a library prints is no answer
    for line in sys.stdin:
        job, _, name = line.rstrip("\n").partition("\t")
        began = time.perf_counter()
        try:
            code, said = (plan if job == "plan" else read)(pathlib.Path(name))
        except BaseException:
            code, said = 3, traceback.format_exc()
        answers.write(f"{code}\t{time.perf_counter() - began:.2f}\t{said!r}\n")
        answers.flush()


if __name__ == "__main__":
    serve()

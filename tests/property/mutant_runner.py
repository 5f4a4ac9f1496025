"""Feeds damaged models to a child process: `nice -n 10 python -m tests.property.mutant_runner COUNT [FIRST]`.

Allowed is an exit code of 0, 1 or 2.  A traceback, a reader that takes over 60 s and a process that dies are told with the base and
the number of the mutant, which make the same file again (`--keep FOLDER` writes it).  Every fifth mutant is planned as a whole.
"""

from __future__ import annotations

import collections
import contextlib
import os
import pathlib
import select
import subprocess
import sys
import tempfile
import time
from ast import literal_eval
from dataclasses import dataclass

from tests.property.mutants import bases, mutant

MOST_SECONDS = 60.0
PATIENCE = 5.0
"""A child that sleeps hangs after so many times the limit."""
PLANNED = 5
"""Every so many mutants the whole plan is made."""
CHILD = ("-X", "faulthandler", "-m", "tests.property.mutant_reader")
LARGE = ("O11_rotated_site",)
"""Models of over 10,000 pieces are only read: their plans take too long to tell a hang."""
ROOT = pathlib.Path(__file__).parents[2]


@dataclass(frozen=True, kw_only=True)
class Outcome:
    """How one file ended: `code` is the exit code, -1 for a dead process, -2 for one that hung."""

    base: str
    number: int
    job: str
    code: int
    seconds: float
    said: str

    @property
    def allowed(self) -> bool:
        return self.code in (0, 1, 2)


def worked(process: int) -> float | None:
    """Seconds of processor time of a process; None where the system does not tell."""
    try:
        fields = pathlib.Path(f"/proc/{process}/stat").read_text().rpartition(")")[2].split()
    except OSError:
        return None
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")  # utime and stime, by proc(5)


class Reader:
    """The child, started again when it died or hung."""

    def __init__(self, folder: pathlib.Path, command: tuple[str, ...] = CHILD, seconds: float = MOST_SECONDS) -> None:
        self.folder = folder
        self.command = command
        self.seconds = seconds
        self.child: subprocess.Popen[bytes] | None = None

    def ask(self, job: str, path: pathlib.Path) -> tuple[int, float, str]:
        if self.child is None:
            paths = os.pathsep.join([str(ROOT), str(ROOT / "plugins"), os.environ.get("PYTHONPATH", "")])
            self.child = subprocess.Popen(
                [sys.executable, *self.command], cwd=self.folder, stdin=subprocess.PIPE,
                stdout=subprocess.PIPE, stderr=(self.folder / "stderr.txt").open("wb"), env={**os.environ, "PYTHONPATH": paths},
            )  # fmt: skip
        assert self.child.stdin is not None and self.child.stdout is not None
        self.child.stdin.write(f"{job}\t{path}\n".encode())
        self.child.stdin.flush()
        if self._hangs(self.child):
            self.close()
            return -2, self.seconds, "hung"
        line = self.child.stdout.readline().decode()
        if not line:
            status = self.child.wait()
            self.child = None
            return -1, 0.0, f"died ({status}): " + (self.folder / "stderr.txt").read_text(errors="replace")[-1500:]
        code, seconds, said = line.rstrip("\n").split("\t", 2)
        return int(code), float(seconds), str(literal_eval(said))

    def _hangs(self, child: subprocess.Popen[bytes]) -> bool:
        """Say whether no answer comes: a busy machine is no hang, so the child's own time counts, and only at last that of the clock."""
        began, before = time.monotonic(), worked(child.pid)
        while not select.select([child.stdout], [], [], self.seconds / 12)[0]:
            clock = time.monotonic() - began
            own = worked(child.pid)
            if clock > PATIENCE * self.seconds or (clock if own is None or before is None else own - before) > self.seconds:
                return True
        return False

    def close(self) -> None:
        if self.child is not None:
            self.child.kill()
            self.child.wait()
            self.child = None


def run(count: int, first: int = 0, seed: int = 1, keep: pathlib.Path | None = None) -> list[Outcome]:
    """Return how mutants `first` to `first + count - 1` end; number and seed make the same file again."""
    outcomes: list[Outcome] = []
    with tempfile.TemporaryDirectory() as name:
        folder = pathlib.Path(name)
        texts = bases(folder)
        names = sorted(texts)
        reader = Reader(folder)
        with contextlib.closing(reader):
            for number in range(first, first + count):
                base = names[number % len(names)]
                job = "plan" if number // len(names) % PLANNED == 0 and base not in LARGE else "read"
                path = folder / "mutant.ifc"
                path.write_bytes(mutant(texts[base], f"{seed}/{base}/{number}"))
                code, seconds, said = reader.ask(job, path)
                outcomes.append(Outcome(base=base, number=number, job=job, code=code, seconds=seconds, said=said))
                if not outcomes[-1].allowed:
                    print(f"{base} {number} {job}: {code} after {seconds} s\n{said}", file=sys.stderr, flush=True)
                    if keep is not None:
                        (keep / f"{number}-{base}.ifc").write_bytes(path.read_bytes())
    return outcomes


def main(words: list[str]) -> int:
    keep = pathlib.Path(words[words.index("--keep") + 1]) if "--keep" in words else None
    numbers = [int(w) for w in words if w.isdigit()]
    outcomes = run(*numbers, keep=keep)
    counts = collections.Counter((o.job, o.code) for o in outcomes)
    print(", ".join(f"{job} {code}: {n}" for (job, code), n in sorted(counts.items())))
    slow = sorted(outcomes, key=lambda o: -o.seconds)[:3]
    print("slowest: " + ", ".join(f"{o.base} {o.number} {o.job} {o.seconds} s" for o in slow))
    return int(any(not o.allowed for o in outcomes))


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))

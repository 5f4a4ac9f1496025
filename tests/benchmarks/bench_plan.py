"""Time and memory of planning 1,000, 10,000 and 100,000 pieces: `python -m tests.benchmarks.bench_plan [PIECES ...]`.

Prints for each model the seconds of reading, bonding alone, and the whole job with its files, each also in milliseconds a piece,
the ratio of the last to that of the smallest model, and the processor seconds of the job and of its audit, all processes together:
on a machine that others use too, compare these.
"""

from __future__ import annotations

import resource
import subprocess
import sys
import tempfile
from pathlib import Path
from time import perf_counter

from tests.benchmarks.generate_model import SIZES, write
from wallquant import graph, job, plugins
from wallquant.bonding import bond
from wallquant.catalogue import choose, load, names
from wallquant.importers import ifc


def bonded(model: Path) -> tuple[int, float, float]:
    """Return pieces, and the seconds of reading (graph included) and of bonding."""
    began = perf_counter()
    building, _ = ifc.read(model)
    book = choose([load(n) for n in names()], [(w.thickness, float(w.length)) for w in building.walls], building.unit)
    network, _ = graph.build(building, book)
    read = perf_counter()
    rules = job.configure(job.Job(), plugins.load().rules.values())
    laid, _ = bond(network, building, rules)
    return len(laid.work.pieces), read - began, perf_counter() - read


def planned(model: Path, out: Path) -> tuple[float, float, float]:
    """Return the seconds and the processor seconds of the whole command, and its largest process in megabytes."""
    began, before = perf_counter(), resource.getrusage(resource.RUSAGE_CHILDREN)
    _run("plan", str(model), "-o", str(out))
    if not (out / "summary.json").exists():
        raise SystemExit(f"planning {model.name} wrote no plan")
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return perf_counter() - began, _spent(after) - _spent(before), after.ru_maxrss / 1024


def audited(out: Path) -> float:
    """Return the processor seconds of the audit."""
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    _run("audit", str(out))
    return _spent(resource.getrusage(resource.RUSAGE_CHILDREN)) - _spent(before)


def _run(*words: str) -> None:
    command = [sys.executable, "-c", "from wallquant.cli import main; main()", *words]
    done = subprocess.run(command, stdout=subprocess.DEVNULL, check=False)
    if done.returncode > 1:
        raise SystemExit(f"wallquant {' '.join(words)} ended with exit code {done.returncode}")


def _spent(used: resource.struct_rusage) -> float:
    return used.ru_utime + used.ru_stime


def main(sizes: list[int]) -> None:
    """Time each model in a process of its own commands, smallest first, so that the peak of memory is its own."""
    print("  pieces     read     bond  ms each     plan  ms each    ratio       MB  cpu plan cpu audit")
    first = 0.0
    with tempfile.TemporaryDirectory() as folder:
        for size in sorted(sizes):
            model = Path(folder) / f"grid_{size}.ifc"
            write(model, **SIZES[size], seed=size)
            pieces, read, laid = bonded(model)
            whole, spent, memory = planned(model, Path(folder) / f"out_{size}")
            checked = audited(Path(folder) / f"out_{size}")
            each = 1000 * whole / pieces
            first = first or each
            times = f"{read:8.2f} {laid:8.2f} {1000 * laid / pieces:8.3f} {whole:8.2f} {each:8.3f} {each / first:8.2f}"
            print(f"{pieces:8} {times} {memory:8.0f} {spent:9.2f} {checked:9.2f}", flush=True)


if __name__ == "__main__":
    main([int(size) for size in sys.argv[1:]] or list(SIZES))

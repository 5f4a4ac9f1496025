"""Time and memory of planning 1,000, 10,000 and 100,000 pieces: `python -m tests.benchmarks.bench_plan [PIECES ...]`.

Prints for each model the seconds of reading, bonding alone, and the whole job with its files, each also in milliseconds a piece,
and the ratio of the last to that of the smallest model.
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


def planned(model: Path, out: Path) -> tuple[float, float]:
    """Return the seconds of the whole command, and its largest process in megabytes."""
    began = perf_counter()
    command = [sys.executable, "-c", "from wallquant.cli import main; main()", "plan", str(model), "-o", str(out)]
    done = subprocess.run(command, stdout=subprocess.DEVNULL, check=False)
    if done.returncode > 1 or not (out / "summary.json").exists():
        raise SystemExit(f"planning {model.name} ended with exit code {done.returncode}")
    return perf_counter() - began, resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 1024


def main(sizes: list[int]) -> None:
    """Time each model in a process of its own commands, smallest first, so that the peak of memory is its own."""
    print("  pieces     read     bond  ms each     plan  ms each    ratio       MB")
    first = 0.0
    with tempfile.TemporaryDirectory() as folder:
        for size in sorted(sizes):
            model = Path(folder) / f"grid_{size}.ifc"
            write(model, **SIZES[size], seed=size)
            pieces, read, laid = bonded(model)
            whole, memory = planned(model, Path(folder) / f"out_{size}")
            each = 1000 * whole / pieces
            first = first or each
            times = f"{read:8.2f} {laid:8.2f} {1000 * laid / pieces:8.3f} {whole:8.2f} {each:8.3f} {each / first:8.2f}"
            print(f"{pieces:8} {times} {memory:8.0f}", flush=True)


if __name__ == "__main__":
    main([int(size) for size in sys.argv[1:]] or list(SIZES))

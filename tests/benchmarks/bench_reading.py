"""What reading costs beside the parser: `python -m tests.benchmarks.bench_reading [MODEL.ifc ...]`.

Prints the milliseconds of opening a model with ifcopenshell and reading the attributes of all its entities, those of reading its
walls with wallquant, and the ratio, all in one run; each is the least of several rounds, taken in turn, and time of the processor, so
that what else a machine does counts little.  Without a model, one of 10,000 pieces is made.
"""

from __future__ import annotations

import sys
import tempfile
from pathlib import Path
from time import process_time

import ifcopenshell

from tests.benchmarks.generate_model import SIZES, write
from wallquant.importers import ifc

ROUNDS = 11


def attributes(model: Path) -> int:
    """Open a model and read every attribute of every entity."""
    return sum(len(entity.get_info(recursive=False)) for entity in ifcopenshell.open(str(model)))


def timed(model: Path, rounds: int = ROUNDS) -> tuple[float, float]:
    """Return the seconds of reading attributes and of reading walls."""
    best = [float("inf")] * 2
    for _ in range(rounds):
        for i, job in enumerate((attributes, ifc.read)):
            began = process_time()
            job(model)
            best[i] = min(best[i], process_time() - began)
    return best[0], best[1]


def main(models: list[Path]) -> None:
    """Time each model."""
    print("attributes ms    walls ms   ratio  model")
    with tempfile.TemporaryDirectory() as folder:
        if not models:
            models = [Path(folder) / "grid_10000.ifc"]
            write(models[0], **SIZES[10_000], seed=10_000)
        for model in models:
            bare, read = timed(model)
            print(f"{1000 * bare:13.1f} {1000 * read:11.1f} {read / bare:7.2f}  {model.name}", flush=True)


if __name__ == "__main__":
    main([Path(word) for word in sys.argv[1:]])

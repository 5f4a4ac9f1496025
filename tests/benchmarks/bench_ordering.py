"""Time of the order of work for 1,000 to 100,000 pieces: `python -m tests.benchmarks.bench_ordering [RINGS ...]`.

6760 rings have a million steps.

The plan is a row of equal rings of four runs, twelve courses high, each a connected part; leads of three courses, the rule
on corners, eight masons.
"""

from __future__ import annotations

import gc
import sys
from collections.abc import Iterable
from dataclasses import replace
from itertools import pairwise
from time import process_time

import numpy as np
from wallquant_thinbed.corner_leads import CornerLeads

from tests.unit import ordering_work as site
from wallquant import ordering
from wallquant.cli import SELDOM
from wallquant.layout import Pieces, Work
from wallquant.rules import Precedence
from wallquant.units import MM

APART, SIDE = 20_000 * MM, 100
"""Distance of the rings in plan, and how many stand in a row."""


def repeated(work: Work, times: int) -> Work:
    """Return so many copies of a plan beside each other, each a part of its own."""
    pieces, count = work.pieces, len(work.pieces)
    runs, corners, courses, phases = {}, {}, {}, {}
    for k in range(times):
        for name, run in work.runs.items():
            junctions = tuple(replace(j, corner=f"{j.corner}.{k:04d}", other=f"{k:04d}.{j.other}") for j in run.junctions)
            beside = (run.start[0] + k % SIDE * APART, run.start[1] + k // SIDE * APART)
            runs[f"{k:04d}.{name}"] = replace(run, name=f"{k:04d}.{name}", start=beside, junctions=junctions)
            courses[f"{k:04d}.{name}"] = work.courses[name]
        for name, corner in work.corners.items():
            corners[f"{name}.{k:04d}"] = replace(corner, name=f"{name}.{k:04d}", runs=tuple(f"{k:04d}.{r}" for r in corner.runs))
            phases[f"{name}.{k:04d}"] = tuple(f"{k:04d}.{r}" for r in work.phases[name])
    columns = {c: np.tile(getattr(pieces, c), times) for c in Pieces.__dataclass_fields__ if isinstance(getattr(pieces, c), np.ndarray)}
    columns["run"] = columns["run"] + np.repeat(np.arange(times, dtype=np.int32) * len(pieces.runs), count)
    return replace(
        work,
        runs=runs,
        corners=corners,
        courses=courses,
        phases=phases,
        parts=tuple(tuple(f"{k:04d}.{r}" for r in work.parts[0]) for k in range(times)),
        start_corner={f"{k:04d}.{work.parts[0][0]}": f"K1.{k:04d}" for k in range(times)},
        pieces=replace(
            pieces,
            runs=tuple(f"{k:04d}.{r}" for k in range(times) for r in pieces.runs),
            names=tuple(f"{k:04d}.{n}" for k in range(times) for n in pieces.names),
            **columns,
        ),
    )


def measure(times: int, masons: int = 8) -> None:
    """Order so many rings and print the time of each stage."""
    gc.set_threshold(*SELDOM)  # as the command does
    work = repeated(site.ring(courses=12), times)
    clock = [process_time()]
    work = replace(work, steps=ordering.make_steps(work, dict.fromkeys(work.corners, 3)))
    clock.append(process_time())
    asked: Iterable[Precedence] = list(CornerLeads().precede(work))
    clock.append(process_time())
    made = ordering.precedences(work, asked)
    clock.append(process_time())
    walk = ordering.Walk(places=ordering.places(work))
    first = ordering.starts(work, work.steps)
    plan = ordering.schedule(made, masons=masons, panels=ordering.ranks(work), first=first, walk=walk)
    clock.append(process_time())
    stages = " ".join(f"{b - a:8.2f}" for a, b in pairwise(clock))
    ratio = plan.seconds / plan.bound
    print(f"{len(work.pieces):8} {len(made.steps):8} {len(made.first):8} {stages} {clock[-1] - clock[0]:8.2f} {ratio:8.3f}")


if __name__ == "__main__":
    print("  pieces    steps     arcs    steps    rules    graph schedule    total  / bound")
    for rings in [int(word) for word in sys.argv[1:]] or (3, 25, 245):
        measure(rings)

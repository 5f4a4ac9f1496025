"""Published project-scheduling instances, read through the functions that order the work of walls.

An activity is a step, its renewable resources are amounts of what a step needs besides a mason, and there is a mason for each
activity, so that masons do not bind; work goes round the clock, a unit of time is a second.  Run as
`python -m tests.benchmarks.projects`, this prints the table of makespans over the best known ones.

Source: PSPLIB, the project scheduling problem library (Kolisch and Sprecher 1997, European Journal of Operational Research 96),
single mode.  The files are no part of the project: they are looked for in ``shared/benchmarks/scheduling`` beside it.
"""

from __future__ import annotations

import csv
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from time import perf_counter

from wallquant import ordering
from wallquant.layout import Step
from wallquant.ordering import precedence
from wallquant.ordering.clock import DAY
from wallquant.rules import Precedence

LIMITS = {"j30": 1.05, "j60": 1.05, "j120": 1.12}
"""Greatest mean of makespan over best known, by set."""


@dataclass(frozen=True)
class Project:
    """One instance: seconds, successors, and amounts by resource of each activity; how much there is."""

    seconds: dict[int, int]
    after: dict[int, list[int]]
    takes: dict[int, list[int]]
    stock: list[int]


def folder() -> Path | None:
    """Return the folder of the instances, None where it is not there."""
    at = Path("shared") / "benchmarks" / "scheduling"
    return next((p / at for p in Path(__file__).resolve().parents if (p / at / "bounds.csv").is_file()), None)


def read(path: Path) -> Project:
    """Read a single-mode instance."""
    rows: dict[str, list[list[int]]] = {}
    title = ""
    for line in path.read_text(encoding="ascii").splitlines():
        words = line.split()
        if words and all(word.lstrip("-").isdigit() for word in words):
            rows.setdefault(title, []).append([int(word) for word in words])
        elif line.rstrip().endswith(":"):
            title = line.strip().rstrip(":")
    after = {row[0]: row[3:] for row in rows["PRECEDENCE RELATIONS"]}
    asked = rows["REQUESTS/DURATIONS"]
    return Project(
        seconds={row[0]: row[2] for row in asked},
        after=after,
        takes={row[0]: row[3:] for row in asked},
        stock=rows["RESOURCEAVAILABILITIES"][0],
    )


def planned(project: Project) -> ordering.Schedule:
    """Schedule an instance."""

    def name(activity: int) -> str:
        return f"a{activity:03d}"

    def asked() -> Iterator[Precedence]:
        for one, others in project.after.items():
            if others:
                yield Precedence(first=(name(one),), then=tuple(name(n) for n in others), rule="project")
        for one, amounts in project.takes.items():
            for n, amount in enumerate(amounts):
                if amount:
                    yield Precedence(first=(), then=(name(one),), resource=f"r{n}", amount=amount, rule="project")

    steps = [Step(name=name(n), kind="line", seconds=seconds) for n, seconds in project.seconds.items()]
    return ordering.schedule(
        precedence.build(steps, asked()),
        masons=len(steps),
        shift=ordering.Shift(seconds=DAY),
        resources={f"r{n}": whole for n, whole in enumerate(project.stock)},
    )


def faults(project: Project, made: ordering.Schedule) -> list[str]:
    """Return what of the instance a schedule does not keep, worked out from its times alone."""
    number = {int(s.name[1:]): n for n, s in enumerate(made.graph.steps)}
    start = {a: int(made.start[n]) for a, n in number.items()}
    end = {a: int(made.end[n]) for a, n in number.items()}
    found = [f"activity {a} takes {end[a] - start[a]}" for a, seconds in project.seconds.items() if end[a] - start[a] != seconds]
    found += [f"{b} before {a} ends" for a, others in project.after.items() for b in others if start[b] < end[a]]
    for now in sorted(set(start.values())):
        for n, whole in enumerate(project.stock):
            used = sum(project.takes[a][n] for a in start if start[a] <= now < end[a])
            if used > whole:
                found.append(f"resource {n} at {now}: {used} of {whole}")
    return found


def table(at: Path) -> list[tuple[str, str, int, int, int, float]]:
    """Return set, file, best known, makespan, bound and seconds of each instance."""
    out = []
    with (at / "bounds.csv").open(encoding="utf-8", newline="") as file:
        for row in csv.DictReader(file):
            began = perf_counter()
            project = read(at / row["file"])
            made = planned(project)
            if wrong := faults(project, made):
                raise AssertionError(f"{row['file']}: {wrong[:3]}")
            out.append((row["set"], row["file"], int(row["UB"]), made.seconds, made.bound, perf_counter() - began))
    return out


def main() -> None:
    """Print the table and the means."""
    at = folder()
    if at is None:
        raise SystemExit("the published instances are not beside the project")
    rows = table(at)
    for kind, file, best, seconds, bound, took in rows:
        print(f"{kind:5} {file:14} best {best:4} made {seconds:4} bound {bound:4} ratio {seconds / best:6.3f} {took:6.2f} s")
    for kind in LIMITS:
        ratios = [seconds / best for which, _, best, seconds, _, _ in rows if which == kind]
        print(f"{kind:5} mean {sum(ratios) / len(ratios):6.4f} worst {max(ratios):6.4f}, at most {LIMITS[kind]}")


if __name__ == "__main__":
    main()

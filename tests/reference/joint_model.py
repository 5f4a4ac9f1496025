"""An exact model of a run's head joints for a constraint solver (CP-SAT), written apart from the joint solver.

Run as a script it solves the runs of `joint_runs` and writes `joint_optima.csv`: run, cuts found, and whether they are proven.
"""

from __future__ import annotations

import csv
import sys
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

from ortools.sat.python import cp_model

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

import itertools

from tests.reference.joint_runs import Case, case

SPARE = 3
"""Pieces more than the least number that a span may have."""


def optimum(run: Case, seconds: float) -> tuple[int | None, str]:
    """Return the fewest cuts that the model finds and ``OPTIMAL``, ``FEASIBLE``, ``INFEASIBLE`` or ``UNKNOWN``."""
    model = cp_model.CpModel()
    how = run.how
    pitch = how.unit + how.joint
    cuts = []
    starts: list[list[tuple[cp_model.IntVar, cp_model.IntVar, int, int]]] = []
    for row in run.rows:
        starts.append([])
        for span in row.spans:
            end = span.hi + how.joint
            most = -(-(end - span.lo) // pitch) + SPARE
            y = [model.new_constant(span.lo), *(model.new_int_var(span.lo, end, "") for _ in range(most))]
            model.add(y[-1] == end)
            before = None
            of_span: list[tuple[cp_model.IntVar, cp_model.IntVar]] = []
            for a, b in itertools.pairwise(y):
                whole, cut, none = (model.new_bool_var("") for _ in range(3))
                model.add_exactly_one(whole, cut, none)
                model.add(b - a == pitch).only_enforce_if(whole)
                model.add_linear_constraint(b - a, how.least + how.joint, pitch - 1).only_enforce_if(cut)
                model.add(b == a).only_enforce_if(none)
                model.add(a == end).only_enforce_if(none)
                cuts.append(cut)
                of_span.append((whole, cut))
                if before is not None:
                    model.add_implication(before, none)
                    # `none` false: a piece begins at a, so there is a joint before it
                    allowed = cp_model.Domain.from_intervals(_allowed(row.windows, span.lo, end))
                    model.add_linear_expression_in_domain(a, allowed).only_enforce_if(none.negated())
                    starts[-1].append((a, none, span.lo, end))
                before = none
            # follows from the above, and helps to prove: what whole units leave is shared by the cuts
            rest = end - span.lo - pitch * sum(w for w, _ in of_span)
            model.add(rest >= (how.least + how.joint) * sum(c for _, c in of_span))
            model.add(rest <= (pitch - 1) * sum(c for _, c in of_span))
    for k in range(1, len(run.rows)):
        off = run.rows[k].offset
        if not off:
            continue
        for one, other in ((k, k - 1), (k - 1, k)):
            lapped = [y for s in run.rows[other].spans for y, on in ((s.lo, s.lapped_lo), (s.hi + how.joint, s.lapped_hi)) if on]
            for y, none, lo, end in starts[one]:
                for x in lapped:
                    if lo - off < x < end + off:
                        free = cp_model.Domain.from_intervals([[-(10**9), x - off], [x + off, 10**9]])
                        model.add_linear_expression_in_domain(y, free).only_enforce_if(none.negated())
        for y, none, lo, end in starts[k]:
            for x, absent, low, last in starts[k - 1]:
                if lo < last + off and end > low - off:
                    left = model.new_bool_var("")
                    model.add(y <= x - off).only_enforce_if([left, none.negated(), absent.negated()])
                    model.add(y >= x + off).only_enforce_if([left.negated(), none.negated(), absent.negated()])
    model.minimize(sum(cuts))
    solver = cp_model.CpSolver()
    solver.parameters.max_time_in_seconds = seconds
    solver.parameters.num_workers = 1
    solver.parameters.random_seed = 1
    status = solver.solve(model)
    name = solver.status_name(status)
    return (round(solver.objective_value) if name in ("OPTIMAL", "FEASIBLE") else None), name


def _allowed(windows: tuple[tuple[int, int], ...], lo: int, end: int) -> list[list[int]]:
    """Return where a piece may start between lo and end, as closed intervals."""
    out, at = [], lo + 1
    for a, b in sorted(windows):
        if b <= at:
            continue
        if a >= at:
            out.append([at, a])
        at = max(at, b)
    return [p for p in [*out, [at, end]] if p[0] <= p[1]] or [[end, end]]


def _solved(number: int) -> tuple[int, int | None, str]:
    return (number, *optimum(case(number), 20.0))


def main(count: int = 300) -> None:
    """Solve the first runs and write their optima beside this file."""
    with ProcessPoolExecutor() as pool, Path(__file__).with_name("joint_optima.csv").open("w", newline="") as out:
        table = csv.writer(out, lineterminator="\n")
        table.writerow(("run", "cuts", "status"))
        table.writerows((n, "" if cuts is None else cuts, status) for n, cuts, status in pool.map(_solved, range(count), chunksize=4))


if __name__ == "__main__":
    main(*map(int, sys.argv[1:]))

"""wallquant fit: the designer's least change."""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from wallquant.cli import Sentence, counted, told
from wallquant.cli.options import exit_code, job_of, observed, opened, plugins_of, shared
from wallquant.findings import SEVERITIES, by_cause

if TYPE_CHECKING:
    from wallquant.building import Building
    from wallquant.fitting.change import Change
    from wallquant.fitting.programme import Limits
    from wallquant.fitting.telling import Told
    from wallquant.writers.plan import Plan


COUNTS = (
    ("cuts", "cut pieces"),
    ("cuts_bound", "proven least"),
    ("pieces", "pieces"),
    ("units_bought", "units to buy, before waste"),
)
"""What is told of both plans, and its words."""


@click.command(name="fit")
@shared
@click.option("--most", metavar="LENGTH", help="The farthest that anything may move ('150 mm', or '6 in' where inches are read).")
@click.option("--worth", type=click.IntRange(1, 10_000), default=3, show_default=True, help="Cut pieces that each move has to save.")
@click.option("--widths", is_flag=True, help="Openings may change their widths too, and not only move.")
@click.option("--hold", metavar="WALL", multiple=True, help="A wall (name or GlobalId) that stays as it is; may be repeated.")
def command(model: Path, most: str | None, worth: int, widths: bool, hold: tuple[str, ...], form: str, **options: Any) -> int:
    """Tell the least change of the drawing that makes MODEL fit the block: which walls and openings move, and how far.

    The model is not changed.  Walls move sideways with their corners and with what stands on them, free ends and openings along
    their walls, sills, heads and tops to the nearest course, thicknesses to the nearest unit; what --hold names stays, with its
    openings.  Fewest cut pieces count first, then fewest moves, then the least sum of moves.  The changed walls are laid to prove
    it: both counts are of real plans.
    """
    job = job_of(**options)
    plugins = plugins_of(job)
    building, read = opened(model, job, plugins)
    from wallquant import pipeline
    from wallquant.fitting.change import least_change
    from wallquant.fitting.telling import told as in_words

    def lay(other: Building) -> Plan:
        return pipeline.plan_of(other, read, model.name, job, plugins)

    first = observed(lambda: lay(building), plugins)
    limits = _limits(most, worth, first.system)
    change = least_change(
        building,
        first,
        lay,
        limits,
        face=first.catalogue.face_of(job.face) if job.face else None,
        widths=widths,
        held={*job.heads, *job.sills},
        hold=_held(hold, building, model.name),
        any_thickness=job.any_thickness,
    )
    moves = in_words(change, building)
    if form == "json":
        click.echo(json.dumps(_json(change, moves, limits, widths), ensure_ascii=False, indent=1))
    else:
        for line in _lines(change, moves, limits):
            click.echo(line)
    return exit_code(first.findings, job.fail_on)


def _limits(most: str | None, worth: int, system: str) -> Limits:
    from wallquant.fitting.programme import Limits
    from wallquant.units import INCH, MM, parse_length

    step = INCH // 16 if system == "in" else MM
    reach = told(lambda: parse_length(most)) if most is not None else 6 * INCH if system == "in" else 150 * MM
    if not step <= reach <= 1000 * MM:
        raise Sentence(f"--most {most} cannot be; name a length between {'1/16 in' if system == 'in' else '1 mm'} and 1 m")
    return Limits(step=step, most=reach, worth=worth)


def _held(names: tuple[str, ...], building: Building, model: str) -> frozenset[str]:
    """Return the walls of these names or GlobalIds; leaves of one wall stay together."""
    out: set[str] = set()
    for name in names:
        found = {w.guid for w in building.walls if name in (w.guid, w.name, w.element)}
        if not found:
            raise Sentence(f"--hold {name}: no wall of {model} that can be laid has this name or GlobalId; write one as the model has it")
        out |= found
    return frozenset(out)


def _counts(plan: Plan) -> dict[str, Any]:
    from wallquant.writers.summary import summary

    head = summary(plan)
    by = Counter(f.severity for f in plan.findings)
    aside = sum(w["area_m2"]["set_aside"] for w in head["walls"])
    return {
        "walls_laid": head["counts"]["walls_laid"],
        "pieces": head["counts"]["pieces"],
        "cuts": head["counts"]["cuts"],
        "cuts_bound": head["totals"]["cuts_bound"],
        "units_bought": head["counts"]["units_bought"],
        "set_aside_m2": round(aside, 6),
        "findings": {s: by[s] for s in SEVERITIES},
    }


def _json(change: Change[Plan], moves: tuple[Told, ...], limits: Limits, widths: bool) -> dict[str, Any]:
    from wallquant.units import to_mm

    return {
        "model": change.before.model,
        "notes": change.before.notes,
        "limits": {"step_mm": to_mm(limits.step), "most_mm": to_mm(limits.most), "worth": limits.worth, "widths": widths},
        "moves": [
            {"kind": m.kind, "of": m.keys, "by_mm": to_mm(m.by), "saves": m.saves, "lays_m2": m.lays_m2, "text": m.text} for m in moves
        ],
        "before": _counts(change.before),
        "with_thickness": _counts(change.laid),
        "after": _counts(change.after),
    }


def _lines(change: Change[Plan], moves: tuple[Told, ...], limits: Limits) -> Iterator[str]:
    from wallquant.units import text

    plan, system = change.before, change.before.system
    yield f"{plan.model}: {counted(len(plan.building.walls), 'wall')} read, {len(plan.set_aside)} set aside"
    yield from plan.notes[:1]
    yield ""
    rule = f"at most {text(limits.most, system)} each, where it saves {counted(limits.worth, 'cut piece')} or more"
    old = _counts(change.before)
    if not moves:
        yield f"Nothing better was found: no move ({rule}) pays.  The plan has {counted(old['cuts'], 'cut piece')}."
        return
    yield f"The least change: {counted(len(moves), 'move')} ({rule})"
    for m in moves:
        yield f"  {m.text}{_brings(m)}"
    yield ""
    steps = [("as drawn", old), ("with the change", _counts(change.after))]
    if change.thicknesses:
        steps.insert(1, ("other thickness", _counts(change.laid)))
    rows = [("Laid", *(name for name, _ in steps))]
    rows += [(name, *(f"{c[key]:,}" for _, c in steps)) for key, name in COUNTS]
    rows.append(("set aside, m2", *(f"{c['set_aside_m2']:.2f}" for _, c in steps)))
    plans = [change.before, *([change.laid] if change.thicknesses else []), change.after]
    rows.append(("warnings and errors", *(str(_causes(one)) for one in plans)))
    wide = [max(len(r[k]) for r in rows) for k in range(len(rows[0]))]
    for name, *cells in rows:
        yield "  ".join([name.ljust(wide[0]), *(c.rjust(w) for c, w in zip(cells, wide[1:], strict=True))])
    yield "Corners and runs are named as in the plan of the model as drawn.  The model is not changed."
    if any(m.kind in ("sill", "head", "width") for m in moves):
        yield "Doors and windows of openings that change their size are to be chosen anew."


def _brings(move: Told) -> str:
    """Return what a move brings, in words; nothing where that was not tried."""
    if move.saves is None:
        return ""
    said = [f"saves {counted(move.saves, 'cut')}"] if move.saves > 0 else []
    if move.lays_m2:
        more = f", with {counted(-move.saves, 'cut')} more" if move.saves < 0 else ""
        said.append(f"lays {move.lays_m2:.2f} m2 that is set aside without it{more}")
    return f": {' and '.join(said)}"


def _causes(plan: Plan) -> int:
    """Return how many warnings and errors there are, one a cause, as `plan` tells them."""
    return sum(group[0].severity != "note" for group in by_cause(plan.findings))

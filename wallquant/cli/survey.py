"""wallquant survey: slab shots to the levelling bed."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from wallquant.cli import counted, told_by_cause
from wallquant.cli.options import exit_code

if TYPE_CHECKING:
    from wallquant.survey import PartBeds, Survey

SHOWN = 40
"""Pieces that are listed; the rest is counted."""
DONE = {
    "level": "every bed keeps within its limits", "rip": "pieces are ripped at their foot", "strip": "pieces stand on strips",
    "grind": "the slab is to be ground or packed",
}  # fmt: skip


@click.command(name="survey")
@click.argument("shots", type=click.Path(path_type=Path))
@click.option("--plan", "out", type=click.Path(path_type=Path), metavar="OUT", help="Folder of a plan: the bed of each of its pieces.")
@click.option("--units", type=click.Choice(["mm", "in"]), help="Units of sentences; without it the plan's, else mm.")
@click.option("--fail-on", type=click.Choice(["error", "warning"]), default="error", help="Findings from which on the exit code is 1.")
@click.option("--format", "form", type=click.Choice(["text", "json"]), default="text", help="Form of the result on the screen.")
def command(shots: Path, out: Path | None, units: str | None, fail_on: str, form: str) -> int:
    """Turn the slab shots of SHOTS into the levelling bed: highest and lowest points, beds, where to begin, what to rip.

    SHOTS is a CSV file with columns x and y, or corner, and level or rod reading.  Nothing is written.
    """
    from wallquant import survey

    if out is None:
        return _slab_only(shots, units or "mm", form)
    ground = survey.of_folder(out)
    system = units or ground.system
    found = survey.on_ground(shots, ground, system)
    if form == "json":
        from wallquant.writers import beds
        from wallquant.writers.folder import finding_dict

        said = {
            "parts": [_part(p) for p in found.levelled.parts],
            "beds": json.loads(beds.beds(found).to_json(orient="records")),
            "corners": json.loads(beds.bench(found).to_json(orient="records")),
            "findings": [finding_dict(f) for f in found.findings],
        }
        click.echo(json.dumps(said, ensure_ascii=False, indent=1))
    else:
        for line in _lines(found, system):
            click.echo(line)
    return exit_code(found.findings, fail_on)


def _slab_only(shots: Path, system: str, form: str) -> int:
    """Tell what the shots say without a plan: extremes, slope, odd shots."""
    import numpy as np

    from wallquant import survey
    from wallquant.units import mm, text

    try:
        tied, _ = survey.tied(survey.read_shots(shots), None, (0.0, 0.0))
        surface = survey.Surface.of(tied.points)
    except survey.SurveyError as error:
        said = str(error)
        raise error if said.startswith(shots.name) else survey.SurveyError(f"{shots.name}, {said}") from error
    levels = tied.points[:, 2]
    high, low = int(levels.argmax()), int(levels.argmin())
    ones = np.c_[tied.points[:, :2] - tied.points[:, :2].mean(axis=0), np.ones(len(levels))]
    u, v, _ = np.linalg.lstsq(ones, levels, rcond=None)[0]
    slope = float(np.hypot(u, v))
    odd = survey.odd(surface)

    def say(value: float) -> str:
        return text(mm(round(float(value), 6)), system)

    if form == "json":
        said_of = {
            "shots": len(levels), "highest_mm": float(levels[high]), "highest": tied.names[high], "lowest_mm": float(levels[low]),
            "lowest": tied.names[low], "range_mm": float(levels[high] - levels[low]), "slope_mm_per_m": slope * 1000,
            "odd": [{"shot": tied.names[k], "off_mm": off} for one in odd for k, off in zip(one.shots, one.off, strict=True)],
        }  # fmt: skip
        click.echo(json.dumps(said_of, ensure_ascii=False, indent=1))
        return 0
    click.echo(
        f"{counted(len(levels), 'shot')}: highest {tied.names[high]}, lowest {tied.names[low]}, {say(levels[high] - levels[low])} apart"
    )
    far, words = (10_000, "10 m") if system == "mm" else (3048, "10 ft")
    click.echo(f"The slab falls {say(slope * far)} in {words} on the whole.")
    for one in odd:
        click.echo(f"{survey.disagree([tied.names[k] for k in one.shots], one.most, system)}.")
    click.echo("Only the slab under walls counts: name the plan's folder with --plan for the bed of each piece.")
    return 0


def _part(part: PartBeds) -> dict[str, Any]:
    return {
        "part": part.part,
        "datum_mm": round(part.decision.datum, 3),
        "kind": part.decision.kind,
        "range_mm": round(part.range, 3),
        "highest_mm": round(part.highest.level, 3),
        "highest_piece": part.highest.piece,
        "lowest_mm": round(part.lowest.level, 3),
        "lowest_piece": part.lowest.piece,
        "start_corner": part.start,
        "pieces_touched": part.decision.touched,
        "mortar_l": round(part.litres, 3),
    }


def _lines(found: Survey, system: str) -> Iterator[str]:
    from wallquant.units import mm, text
    from wallquant.writers import beds

    def say(value: Any) -> str:
        return "" if value == "" else text(mm(round(float(value), 6)), system)

    for part in found.levelled.parts:
        volume = f"{part.litres / 28.316846592:.2f} ft3" if system == "in" else f"{part.litres:.0f} l"
        yield (
            f"Part of {part.part}: slab varies by {say(part.range)} under {counted(len(part.beds), 'piece')}; {DONE[part.decision.kind]}; "
            f"begin at corner {part.start}; bed mortar {volume}"
        )
    if not found.levelled.parts:
        yield "No wall of the plan stands on this slab: its levels lie more than 300 mm from the undersides of all walls."
    corners: list[Any] = list(beds.bench(found).itertuples())
    pieces: list[Any] = list(beds.beds(found).itertuples())
    yield ""
    yield from _table(
        ("corner", "first block", "bed", "level of its top", "rod reading", ""),
        [(r.corner, r.piece, say(r.bed_mm), say(r.top_mm), say(r.reading_mm), r.start) for r in corners],
    )
    rows = [
        (r.piece, say(r.bed_start_mm), say(r.bed_end_mm), *(say(v) if v else "" for v in (r.rip_mm, r.strip_mm, r.grind_mm)))
        for r in pieces
    ]
    yield ""
    yield from _table(("piece", "bed at its start", "at its end", "rip", "strip", "grind"), rows[:SHOWN])
    if len(rows) > SHOWN:
        yield f"... and {len(rows) - SHOWN} more; 'wallquant plan --survey' writes all to beds.csv"
    yield ""
    yield from told_by_cause(found.findings)


def _table(head: tuple[str, ...], rows: list[tuple[str, ...]]) -> Iterator[str]:
    wide = [max(len(r[k]) for r in [head, *rows]) for k in range(len(head))]
    for r in [head, *rows]:
        yield "  ".join(c.ljust(w) if k < 2 else c.rjust(w) for k, (c, w) in enumerate(zip(r, wide, strict=True))).rstrip()

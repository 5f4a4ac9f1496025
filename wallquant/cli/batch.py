"""wallquant batch: a folder of models to a folder of plans."""

from __future__ import annotations

import csv
import json
import re
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from os.path import realpath
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from wallquant.cli import FAULT, Sentence, counted, verdict
from wallquant.cli.options import exit_code, job_of, plugins_of, settings
from wallquant.cli.plan import listed, vet_writers, write
from wallquant.files import BATCH, BATCH_COLUMNS
from wallquant.findings import SEVERITIES

if TYPE_CHECKING:
    from wallquant.plugins import Plugins
    from wallquant.writers.plan import Plan

Row = dict[str, Any]
JOB = "job.yaml"
_WALLS = re.compile(rb"^[\"']?walls[\"']?\s*:", re.MULTILINE)
SUMS = ("walls", "walls_laid", "set_aside_m2", "pieces", "cuts", "cuts_bound", "units_bought", "errors", "warnings", "notes")


@click.command(name="batch")
@click.argument("folder", type=click.Path(path_type=Path))
@settings
@click.option("-o", "--out", type=click.Path(path_type=Path), required=True, help="Folder for the plans; an older batch there is replaced.")
@click.option("--write", "extra", metavar="NAME,...", help="Further files to write: bcf, dxf, ifc, pdf, xlsx, and what plugins add.")
def command(folder: Path, out: Path, extra: str | None, form: str, job_file: Path | None, **options: Any) -> int:
    """Plan every model of FOLDER, IFC files and wall lists by name, each into a folder of its own, and tell all in one table.

    A model NAME.ifc takes NAME.job.yaml beside it, else job.yaml; --job is for all.  One that cannot be planned has its sentence in
    the table (batch.csv), and the rest goes on.  The exit code is the greatest of all models.
    """
    common = {**options, "write": listed(extra)}
    first = job_of(job_file=job_file, **common)
    plugins = plugins_of(first)
    vet_writers(first, plugins)
    models = _models(folder, plugins)
    if Path(realpath(folder)).is_relative_to(realpath(out)):
        raise Sentence(f"{folder} lies in {out}, which would be replaced; name another folder with -o")
    from wallquant.writers import folder as folders

    folders.vet_batch(out)
    rows: list[Row] = []
    with folders.swapped(out) as made:
        for model, name in models.items():
            job = job_file or _beside(model)
            rows.append(_planned(model, name, made / name, job, common))
        with (made / BATCH).open("w", encoding="utf-8", newline="") as file:
            table = csv.DictWriter(file, BATCH_COLUMNS, lineterminator="\n")
            table.writeheader()
            table.writerows(rows)
    code = max(row["exit"] for row in rows)
    if form == "json":
        click.echo(json.dumps({"out": str(out), "exit": code, "models": rows}, ensure_ascii=False, indent=1))
    else:
        for line in _lines(rows, out):
            click.echo(line)
    return int(code)


def _models(folder: Path, plugins: Plugins) -> dict[Path, str]:
    """Return the models of a folder by name, each with the name of its plan's folder: its own without suffix where that is one's alone."""
    from wallquant.pipeline import OURS

    if not folder.is_dir():
        raise Sentence(f"{folder} is no folder; name one with models in it")
    suffixes = tuple(s for one in {**OURS, **plugins.importers}.values() for s in one.suffixes)
    files = [p for p in sorted(folder.iterdir(), key=lambda p: p.name) if p.is_file() and not p.name.startswith(".")]
    found = [p for p in files if p.name.lower().endswith(suffixes) and _is_model(p)]
    if not found:
        raise Sentence(f"{folder} has no model ({', '.join(sorted(set(suffixes)))}); name a folder with models in it")
    stems = {p: _stem(p.name, suffixes) for p in found}
    often = Counter(s.lower() for s in stems.values())  # a disk may not tell a letter from its capital
    return {p: s if often[s.lower()] == 1 else p.name for p, s in stems.items()}


def _stem(name: str, suffixes: Sequence[str]) -> str:
    longest = max((s for s in suffixes if name.lower().endswith(s)), key=len)
    return name[: -len(longest)] or name


def _is_model(file: Path) -> bool:
    """Say whether a file is one; of YAML files, those with a list of walls that are no job."""
    name = file.name.lower()
    if not name.endswith((".yaml", ".yml")):
        return True
    try:
        return name != JOB and not name.endswith(f".{JOB}") and bool(_WALLS.search(file.read_bytes()))
    except OSError:
        return True  # planning it says what is wrong


def _beside(model: Path) -> Path | None:
    stems = [model.name[:n] for n in range(len(model.name), 0, -1) if model.name[n : n + 1] == "."]
    return next((p for p in (*(model.with_name(f"{s}.{JOB}") for s in stems), model.with_name(JOB)) if p.is_file()), None)


def _planned(model: Path, name: str, out: Path, job_file: Path | None, options: Mapping[str, Any]) -> Row:
    """Plan one model into its folder and return its row; what stops it is a sentence."""
    row: Row = dict.fromkeys(BATCH_COLUMNS, "") | {"model": model.name}
    try:
        job = job_of(job_file=job_file, **options)
        plugins = plugins_of(job)
        vet_writers(job, plugins)
        plan = write(model, out, job, plugins)
    except OSError:
        raise  # no room, or no right to write: so it would be for the rest
    except Exception as error:
        code, sentence = verdict(error)
        return row | {"exit": code, "said": " ".join(sentence.split())}
    return row | {"folder": name, "exit": exit_code(plan.findings, job.fail_on)} | _counts(plan)


def _counts(plan: Plan) -> Row:
    from wallquant.writers.summary import summary

    head = summary(plan)
    by = Counter(f.severity for f in plan.findings)
    aside = round(sum(w["area_m2"]["set_aside"] for w in head["walls"]), 6)
    counts = {key: head["counts"][key] for key in ("walls", "walls_laid", "pieces", "cuts", "units_bought")}
    return counts | {"set_aside_m2": aside, "cuts_bound": head["totals"]["cuts_bound"]} | {f"{s}s": by[s] for s in SEVERITIES}


def _lines(rows: Sequence[Row], out: Path) -> Iterator[str]:
    head = ("model", "exit", "walls", "laid", "set aside m2", "pieces", "cuts", "least", "units", "errors", "warnings", "notes")
    total: Row = {"model": "all", "exit": max(r["exit"] for r in rows)} | {k: sum(r[k] for r in rows if r[k] != "") for k in SUMS}
    cells = [head, *((r["model"], str(r["exit"]), *(_cell(r[k]) for k in SUMS)) for r in (*rows, total))]
    wide = [max(len(c[k]) for c in cells) for k in range(len(head))]
    for name, *numbers in cells:
        yield "  ".join([name.ljust(wide[0]), *(n.rjust(w) for n, w in zip(numbers, wide[1:], strict=True))]).rstrip()
    for row in rows:
        if row["said"]:
            yield f"{row['model']}: " + str(row["said"]).removeprefix(f"{row['model']}: ")
    done = sum(1 for r in rows if not r["said"])
    failed = "; the faults are ours" if any(r["exit"] == FAULT for r in rows) else ""
    yield f"{done} of {counted(len(rows), 'model')} planned into {out}; {BATCH} there is this table{failed}."


def _cell(value: Any) -> str:
    return f"{value:,.2f}" if isinstance(value, float) else f"{value:,}" if isinstance(value, int) else str(value)

"""The folder of a plan: written beside its place and swapped in whole, so that a run that dies leaves the old one as it was."""

from __future__ import annotations

import hashlib
import json
import os
import shutil
import tempfile
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from wallquant.files import BATCH, FINDINGS, REPORT, RUN, SCHEMA, SUMMARY, read_json
from wallquant.findings import Finding
from wallquant.units import MM, Nm
from wallquant.workers import WORTH, ahead, at_most
from wallquant.writers import beds, report, saw_list
from wallquant.writers.plan import Plan
from wallquant.writers.summary import summary
from wallquant.writers.tables import tables

Writer = Callable[[Plan, Path], None]


class OutputError(ValueError):
    """The folder cannot be written; one sentence says why and what to do."""


def finding_dict(finding: Finding) -> dict[str, Any]:
    """Return a finding as findings.json has it: lengths in millimetres, empty places left out."""
    p = finding.place
    lengths = {"start_mm": p.start, "end_mm": p.end, "level_mm": p.level}
    place: dict[str, Any] = {
        key: value
        for key, value in (
            ("wall", p.wall), ("run", p.run), ("corner", p.corner), ("opening", p.opening), ("piece", p.piece), ("storey", p.storey),
            ("course", p.course),
        )
        if value not in ("", None)
    }  # fmt: skip
    place |= {key: _mm(value) for key, value in lengths.items() if value is not None}
    return {
        "code": finding.code,
        "severity": finding.severity,
        "text": finding.text,
        "place": place,
        "measured": finding.measured,
        "wanted": finding.wanted,
        "times": finding.times,
        "rules": list(finding.rules),
        **({"cause": finding.cause} if finding.cause else {}),
    }


def _mm(length: Nm) -> float:
    return length / MM


def json_bytes(data: Any) -> bytes:
    """Return JSON as UTF-8 with a line end, keys in their order."""
    return (json.dumps(data, ensure_ascii=False, indent=1, allow_nan=False) + "\n").encode()


def write(plan: Plan, out: Path, *, run: Mapping[str, Any], writers: Mapping[str, Writer]) -> None:
    """Write the folder of a plan.

    Parameters
    ----------
    plan : Plan
    out : Path
        The folder; one that is there is replaced, if it is a plan or empty.
    run : mapping
        The content of run.json: what differs from run to run.
    writers : mapping of str to callable
        Further files, as ``--write`` asks.

    Raises
    ------
    OutputError
        If the place is taken by something else, or cannot be written.
    """
    vet(out)
    with swapped(out) as made:
        _fill(plan, made, run, writers)


@contextmanager
def swapped(out: Path) -> Iterator[Path]:
    """Give a new folder beside `out` to be filled, and swap it in whole when it is; until then, and if it fails, the old one stays.

    Raises
    ------
    OutputError
        If the place cannot be written.
    """
    place = Path(os.path.realpath(out))  # a link stays, and the folder that it names is written
    try:
        place.parent.mkdir(parents=True, exist_ok=True)
        made = Path(tempfile.mkdtemp(prefix=f".{place.name}-", dir=place.parent))
    except OSError as error:
        raise OutputError(f"{out} cannot be written ({error.strerror or error}); choose another folder with -o") from error
    try:
        yield made
        made.chmod(0o755)
        old = Path(tempfile.mkdtemp(prefix=f".{place.name}-old-", dir=place.parent)) if place.exists() else None
        if old is not None:
            place.replace(old)
        try:
            made.replace(place)
        except BaseException:
            if old is not None:
                old.replace(place)
            raise
        if old is not None:
            shutil.rmtree(old, ignore_errors=True)
    except OSError as error:
        raise OutputError(f"{out} cannot be written ({error.strerror or error}); choose another folder with -o") from error
    finally:
        shutil.rmtree(made, ignore_errors=True)


def vet(out: Path) -> None:
    """Refuse a place that a plan cannot take without loss.

    Raises
    ------
    OutputError
        If it is a file, a link to itself, a folder that is no plan, or a plan to which somebody added files.
    """
    try:
        taken = bool(Path(os.path.realpath(out)).lstat())
    except (FileNotFoundError, NotADirectoryError):
        taken = False
    except OSError as error:
        raise OutputError(f"{out} cannot be written ({error.strerror or error}); choose another folder with -o") from error
    if taken and not out.is_dir():
        raise OutputError(f"{out} is a file; name a folder with -o")
    if not out.is_dir() or not any(out.iterdir()):
        return
    if (out / BATCH).is_file():
        raise OutputError(f"{out} holds the plans of a batch; name another folder with -o")
    _vet_plan(out)


def vet_batch(out: Path) -> None:
    """Refuse a place that the plans of a batch cannot take without loss: errors as those of `vet`."""
    if not (out / BATCH).is_file():
        vet(out)
        if (out / SUMMARY).is_file():
            raise OutputError(f"{out} holds a plan; name another folder with -o, for a batch makes a folder of plans")
        return
    for one in sorted(out.iterdir()):
        if one.is_dir() and not one.is_symlink():
            _vet_plan(one)
        elif one.name != BATCH and not one.name.startswith("."):
            raise OutputError(f"{one} is no part of the batch there; move it away, or name another folder with -o")


def _vet_plan(out: Path) -> None:
    try:
        known = read_json(out / SUMMARY)["files"]
        ours = {*known, RUN, SUMMARY}
    except (OSError, ValueError, KeyError, TypeError) as error:
        raise OutputError(f"{out} holds other files and is no plan; name an empty or new folder with -o") from error
    files = (p.relative_to(out).as_posix() for p in sorted(out.rglob("*")) if p.is_file())
    added = [name for name in files if name not in ours and not name.rpartition("/")[2].startswith(".")]
    if added:
        raise OutputError(f"{out} holds {added[0]}, which is no part of the plan there; move it away, or name another folder with -o")


def _fill(plan: Plan, folder: Path, run: Mapping[str, Any], writers: Mapping[str, Writer]) -> None:
    made, sawn = tables(plan), saw_list.saw_list(plan)
    findings = [finding_dict(f) for f in plan.findings]
    head = summary(plan)
    warned = [f for f in plan.findings if f.code.startswith("caution.")]
    cautions = [{"title": f.code.partition(".")[2], "text": f.text, "source": "", "places": ""} for f in warned]
    rest = [f for f in findings if not f["code"].startswith("caution.")]
    # the page says sizes as drawn, openings.csv up to where nothing is laid
    shown = {"openings.csv": made["openings.csv"].assign(open_over_mm=[b.open_over / MM for b in plan.work.bridges])}

    def page() -> None:
        report.write(folder / REPORT, summary=head, tables=made | shown | {saw_list.FILE: sawn}, findings=rest, cautions=cautions)

    with ahead(page, workers=at_most(0) if len(plan.work.pieces) >= WORTH else 1) as paged:
        for name, frame in (*made.items(), (saw_list.FILE, sawn)):
            frame.to_csv(folder / name, index=False, lineterminator="\n", encoding="utf-8")
        (folder / FINDINGS).write_bytes(json_bytes({"schema": SCHEMA, "findings": findings}))
        paged()
    if plan.survey is not None:
        beds.write(plan.survey, folder)
    for _, writer in sorted(writers.items()):
        writer(plan, folder)
    files = sorted(p for p in folder.rglob("*") if p.is_file())
    head["files"] = {p.relative_to(folder).as_posix(): hashlib.sha256(p.read_bytes()).hexdigest() for p in files}
    (folder / RUN).write_bytes(json_bytes(run))
    (folder / SUMMARY).write_bytes(json_bytes(head))

"""The page to look at: one self-contained HTML file with plan, elevations, sequence, reading, findings, ledger and
materials.

The file needs no network and no server.  Its script and style are inlined and named by their SHA-256 in a content security
policy, so that nothing else can run or load; the plan's data lie in JSON blocks, one for the building and one a run, and a
run's block is read only when the run is looked at.
"""

from __future__ import annotations

from base64 import b64encode
from collections.abc import Iterable, Mapping
from hashlib import sha256
from importlib.resources import files
from pathlib import Path
from typing import TYPE_CHECKING, Any

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

from wallquant.writers.report import page
from wallquant.writers.report.blocks import building_block, json_text, run_blocks
from wallquant.writers.report.reading import pictures
from wallquant.writers.report.words import Words

if TYPE_CHECKING:
    import pandas as pd

STYLE = ("page.css", "drawing.css", "reading.css", "schedules.css", "print.css")
SCRIPT = (
    "base.js", "format.js", "plan.js", "course.js", "elevation.js", "piece.js", "sequence.js", "saw.js", "reading.js", "units.js",
    "main.js",
)  # fmt: skip
"""Parts of the script, in the order in which they are joined."""


def write(
    path: Path,
    *,
    summary: Mapping[str, Any],
    tables: Mapping[str, pd.DataFrame],
    findings: Iterable[Mapping[str, Any]],
    cautions: Iterable[Mapping[str, str]],
) -> None:
    """Write `report.html`.

    Parameters
    ----------
    path : Path
        The file to write.
    summary : mapping
        The content of summary.json, with ``people_unit`` (``mm`` or ``in``), ``model`` (file name) and, on each wall,
        ``footprint_mm`` (the drawn outline) where it is known.
    tables : mapping of str to DataFrame
        The plan's CSV files by file name, with the columns of `wallquant.files.COLUMNS`; lengths in millimetres.
    findings : iterable of mapping
        The content of findings.json, in any order; the page shows the worst first.
    cautions : iterable of mapping
        What the page warns of: ``title``, ``text``, ``source`` and ``places``.

    Raises
    ------
    KeyError
        If a table or a needed key of the summary is missing.
    OSError
        If the file cannot be written.
    """
    path.write_text(html(summary=summary, tables=tables, findings=findings, cautions=cautions), encoding="utf-8", newline="\n")


def html(
    *,
    summary: Mapping[str, Any],
    tables: Mapping[str, pd.DataFrame],
    findings: Iterable[Mapping[str, Any]],
    cautions: Iterable[Mapping[str, str]],
) -> str:
    """Return the page as text; parameters as in `write`."""
    style, script = _joined(STYLE), "(() => {\n'use strict';\n" + _joined(SCRIPT) + "})();\n"
    building = building_block(summary, tables)
    blocks = [Markup(json_text(building)), *(Markup(text) for text in run_blocks(tables, building))]
    environment = Environment(
        loader=PackageLoader("wallquant.writers.report", "parts"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    context = page.context(summary=summary, tables=tables, findings=findings, cautions=cautions)
    return environment.get_template("page.html").render(
        context,
        pictures=pictures(summary, building, tables["pieces.csv"], Words(system=summary["people_unit"])),
        style=Markup(style),
        script=Markup(script),
        blocks=blocks,
        policy=_policy(style, script),
    )


def _joined(names: tuple[str, ...]) -> str:
    folder = files("wallquant.writers.report").joinpath("parts")
    return "".join(folder.joinpath(name).read_text(encoding="utf-8") for name in names)


def _policy(style: str, script: str) -> str:
    """Return the content security policy: nothing loads, and only these two texts are obeyed."""

    def name(text: str) -> str:
        return f"'sha256-{b64encode(sha256(text.encode()).digest()).decode()}'"

    return f"default-src 'none'; script-src {name(script)}; style-src {name(style)}; base-uri 'none'; form-action 'none'"

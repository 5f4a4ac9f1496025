"""wallquant audit: re-check a plan from its files."""

from __future__ import annotations

import json
from pathlib import Path

import click

from wallquant.cli import FOUND, Sentence


@click.command(name="audit")
@click.argument("out", type=click.Path(path_type=Path))
@click.option("--format", "form", type=click.Choice(["text", "json"]), default="text", help="Form of the result on the screen.")
def command(out: Path, form: str) -> int:
    """Prove from the files of the plan in OUT alone that what must hold of every plan holds."""
    from wallquant.audit import INVARIANTS, examined
    from wallquant.files import SUMMARY

    if not (out / SUMMARY).is_file():
        raise Sentence(f"{out} holds no plan (no {SUMMARY}); name a folder that 'wallquant plan' wrote")
    found, unseen = examined(out)
    broken = {f.code.partition(".")[2] for f in found}
    if form == "json":
        said = [{"code": f.code, "text": f.text, "measured": f.measured, "wanted": f.wanted} for f in found]
        click.echo(json.dumps({"holds": not found, "findings": said}, ensure_ascii=False, indent=1))
        return FOUND if found else 0
    for code, words in INVARIANTS.items():
        verdict = "does not hold" if code in broken else "is not looked at" if code in unseen else "holds"
        click.echo(f"{code} {verdict}: {words}")
    for f in found:
        click.echo(f"{f.code}: {f.text}")
    return FOUND if found else 0

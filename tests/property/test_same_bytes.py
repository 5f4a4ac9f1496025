"""The same input gives the same bytes, whatever the order of walls in the file, of rules and of plugins (run.json aside)."""

from __future__ import annotations

import random
from pathlib import Path

import pytest

from wallquant import pipeline, plugins
from wallquant.job import Job
from wallquant.writers import folder

SAMPLES = Path(__file__).parents[2] / "sample_models"

PLUGIN = '''
from wallquant.findings import Finding
from wallquant.hookspecs import hookimpl
from wallquant.rules import Rule, Window


class {name}(Rule):
    """No head joint lies at a certain station.

    What it asks
    ------------
    A small window.
    """

    code = "{code}"
    title = "{name}"

    def demand(self, run, courses):
        return [Window(course=c.number, lo={at}, hi={at} + 60_000_000, yields={yields}) for c in courses.levels]

    def findings(self, work):
        return [Finding(code="{code}.seen", severity="note", text="{name} was asked.")]


@hookimpl
def wallquant_rules():
    return [{name}]
'''


def files(model: Path, out: Path, paths: tuple[Path, ...] = ()) -> dict[str, bytes]:
    """Plan a model and return the bytes of its files."""
    plan = pipeline.plan(model, Job(), plugins.load(paths))
    folder.write(plan, out, run={}, writers={})
    return {p.name: p.read_bytes() for p in sorted(out.iterdir()) if p.name != "run.json"}


def shuffled(model: Path, out: Path, seed: int) -> Path:
    """Write an IFC file with the lines of its data section in another order; entity numbers keep what refers to what."""
    head, data = model.read_text(encoding="utf-8").split("DATA;\n")
    body, tail = data.split("ENDSEC;", 1)
    lines = body.splitlines()
    random.Random(seed).shuffle(lines)
    out.write_text(f"{head}DATA;\n" + "\n".join(lines) + f"\nENDSEC;{tail}", encoding="utf-8")
    return out


@pytest.mark.parametrize("seed", [1, 2])
@pytest.mark.parametrize("name", ["landing_tool_store_mm.ifc", "field_station_workshop_in.ifc"])
def test_order_of_the_file(tmp_path: Path, name: str, seed: int) -> None:
    (tmp_path / "other").mkdir()
    mixed = shuffled(SAMPLES / name, tmp_path / "other" / name, seed)
    assert files(SAMPLES / name, tmp_path / "a") == files(mixed, tmp_path / "b")


def test_order_of_walls_in_a_list(tmp_path: Path) -> None:
    text = (SAMPLES / "seedling_shed.yaml").read_text(encoding="utf-8")
    head, _, rest = text.partition("walls:\n")
    blocks: list[str] = []
    for line in rest.splitlines(keepends=True):
        if line.startswith("  - ") or not blocks:
            blocks.append("")
        blocks[-1] += line
    (tmp_path / "seedling_shed.yaml").write_text(head + "walls:\n" + "".join(reversed(blocks)), encoding="utf-8")
    assert files(SAMPLES / "seedling_shed.yaml", tmp_path / "a") == files(tmp_path / "seedling_shed.yaml", tmp_path / "b")


def test_order_of_plugins_and_rules(tmp_path: Path) -> None:
    paths = []
    for n, (name, at, yields) in enumerate((("First", 700_000_000, 3), ("Second", 1_500_000_000, 7))):
        path = tmp_path / f"plug{n}.py"
        path.write_text(PLUGIN.format(name=name, code=f"x_{name.lower()}", at=at, yields=yields), encoding="utf-8")
        paths.append(path)
    model = SAMPLES / "seedling_shed.yaml"
    one = files(model, tmp_path / "a", tuple(paths))
    two = files(model, tmp_path / "b", tuple(reversed(paths)))
    assert one == two
    assert b"x_first" in one["summary.json"]


def test_planning_twice(tmp_path: Path) -> None:
    model = SAMPLES / "landing_tool_store_mm.ifc"
    assert files(model, tmp_path / "a") == files(model, tmp_path / "b")

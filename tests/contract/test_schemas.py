"""The files of a plan are what the JSON Schemas say, and the schemas know every key that is written.

JSON Schema draft 2020-12, with the validator of the library jsonschema.
"""

from __future__ import annotations

import copy
import csv
import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import jsonschema  # type: ignore[import-untyped]
import pytest
from click.testing import CliRunner

from wallquant.cli import main
from wallquant.files import COLUMNS, RUN_SCHEMA, SCHEDULES, SCHEMA

ROOT = Path(__file__).parents[2]
NAMES = ("summary", "findings", "run", "tables")
ADDED = ("site", "labour")
"""Keys of the summary that the first plans of this version of the schema did not have."""
SHED = "sample_models/seedling_shed.yaml"
STORE = "sample_models/landing_tool_store_mm.ifc"


def schema(name: str) -> dict[str, Any]:
    found: dict[str, Any] = json.loads((ROOT / "schemas" / f"{name}.schema.json").read_text(encoding="utf-8"))
    return found


def closed(one: Any) -> Any:
    """The same schema, refusing keys that it does not name."""
    one = copy.deepcopy(one)
    todo = [one]
    while todo:
        node = todo.pop()
        if isinstance(node, dict):
            if isinstance(node.get("properties"), dict):
                node.setdefault("additionalProperties", False)
            todo += node.values()
        elif isinstance(node, list):
            todo += node
    return one


def check(data: Any, one: dict[str, Any]) -> None:
    validator = jsonschema.Draft202012Validator(closed(one))
    errors = [f"{'/'.join(map(str, e.absolute_path))}: {e.message}" for e in validator.iter_errors(data)]
    assert not errors, errors[:5]


def rows(file: Path) -> Iterator[dict[str, Any]]:
    """Rows of a CSV file, cells as numbers where the schema's column is one."""
    columns = schema("tables")["$defs"][file.name]["properties"]
    with file.open(encoding="utf-8", newline="") as text:
        for row in csv.DictReader(text):
            out: dict[str, Any] = dict(row)
            for key, value in row.items():
                kind = columns[key].get("type") or next(o["type"] for o in columns[key]["anyOf"] if "type" in o)
                if value != "" and kind == "integer":
                    out[key] = int(value)
                elif value != "" and kind == "number":
                    out[key] = float(value)
            yield out


@pytest.fixture(scope="module", params=[SHED, STORE])
def plan(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Path:
    out: Path = tmp_path_factory.mktemp("plan") / "out"
    done = CliRunner().invoke(main, ["plan", str(ROOT / request.param), "-o", str(out)])
    assert done.exit_code in (0, 1), done.output
    return out


@pytest.mark.parametrize("name", NAMES)
def test_schema_is_one(name: str) -> None:
    one = schema(name)
    jsonschema.Draft202012Validator.check_schema(one)
    assert one["$schema"] == "https://json-schema.org/draft/2020-12/schema"
    assert one["$id"] == (RUN_SCHEMA if name == "run" else f"{SCHEMA}/{name}"), "the version is in the id"


@pytest.mark.parametrize("name", NAMES)
def test_every_key_is_described(name: str) -> None:
    todo: list[tuple[str, Any]] = [(name, schema(name))]
    while todo:
        where, node = todo.pop()
        for key, one in node.get("properties", {}).items() if isinstance(node, dict) else ():
            assert one.get("description"), f"{where}/{key} says nothing"
        if isinstance(node, dict):
            todo += [(f"{where}/{k}", v) for k, v in node.items()]


def test_ids_differ() -> None:
    ids = [json.loads(p.read_text(encoding="utf-8"))["$id"] for p in sorted((ROOT / "schemas").glob("*.schema.json"))]
    assert len(set(ids)) == len(ids) >= len(NAMES)


@pytest.mark.parametrize("name", ["summary", "findings", "run"])
def test_json_files(plan: Path, name: str) -> None:
    check(json.loads((plan / f"{name}.json").read_text(encoding="utf-8")), schema(name))


@pytest.mark.parametrize("name", [*COLUMNS, *SCHEDULES])
def test_csv_files(plan: Path, name: str) -> None:
    one, columns = schema("tables")["$defs"][name], (COLUMNS | SCHEDULES)[name]
    assert tuple(one["properties"]) == columns == tuple(one["required"])
    assert (plan / name).read_text(encoding="utf-8").splitlines()[0] == ",".join(columns)
    validator = jsonschema.Draft202012Validator(one)
    errors = [f"row {n}: {e.message}" for n, row in enumerate(rows(plan / name), 2) for e in validator.iter_errors(row)]
    assert not errors, errors[:5]


def test_a_wrong_file_is_refused(plan: Path) -> None:
    """The schemas are no open doors."""
    summary = json.loads((plan / "summary.json").read_text(encoding="utf-8"))
    wrong: list[dict[str, Any]] = []
    for change in (
        {"schema": "wallquant.plan/0"},
        {"files": {}},
        {"counts": {**summary["counts"], "pieces": -1}},
        {"walls": [{**summary["walls"][0], "ledger_m3": {}}]},
        {"origin_mm": [0, 0]},
    ):
        wrong.append({**summary, **change})
    wrong += [{k: v for k, v in summary.items() if k != key} for key in summary if key not in ADDED]
    wrong += [{**summary, "site": {k: v for k, v in summary["site"].items() if k != key}} for key in summary["site"]]
    wrong += [{**summary, "site": {**summary["site"], "masons": 0}}]
    validator = jsonschema.Draft202012Validator(schema("summary"))
    assert validator.is_valid({k: v for k, v in summary.items() if k not in ADDED}), "plans of older versions are valid"
    assert all(not validator.is_valid(one) for one in wrong)
    findings = jsonschema.Draft202012Validator(schema("findings"))
    one = {"code": "a.b", "severity": "note", "text": "t", "place": {}, "measured": "", "wanted": "", "times": 1, "rules": []}
    assert findings.is_valid({"schema": SCHEMA, "findings": [one]})
    for key, value in (("severity", "bad"), ("code", "ab"), ("text", ""), ("times", 0)):
        assert not findings.is_valid({"schema": SCHEMA, "findings": [{**one, key: value}]})
    piece = next(rows(plan / "pieces.csv"))
    table = jsonschema.Draft202012Validator(schema("tables")["$defs"]["pieces.csv"])
    assert table.is_valid(piece)
    for key, value in (("cut", "sawn"), ("start_mm", "0"), ("volume_m3", 0.0), ("wall", ""), ("elevation", "BOX")):
        assert not table.is_valid({**piece, key: value})

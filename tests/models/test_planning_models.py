"""Planning real models, made by people and programs that know nothing of this project, and auditing the plans.

The models are not part of the project: they are looked for in ``shared/open_models`` beside it, and the tests are skipped where
they are not.  Volumes are checked against those measured with the OpenCASCADE kernel of ifcopenshell (``kernel_volumes/*.csv``).
"""

from __future__ import annotations

import csv
import json
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

from wallquant.cli import main

NAMES = ("O1", "O2", "O3", "O4", "O5", "O6", "O7a", "O7b", "O8", "O9", *(f"O{i}" for i in range(10, 19)))
ALL_LAID = ("O6", "O9", "O15", "O17")


def folder() -> Path:
    for parent in Path(__file__).resolve().parents:
        found = parent / "shared" / "open_models"
        if found.is_dir():
            return found
    pytest.skip("the open models are not here")


def run(*args: str) -> Any:
    return CliRunner().invoke(main, list(args), standalone_mode=True)


@pytest.fixture(scope="module")
def plans(tmp_path_factory: pytest.TempPathFactory) -> dict[str, tuple[int, Path]]:
    """Plan each model once: exit code and folder."""
    base = tmp_path_factory.mktemp("plans")
    out: dict[str, tuple[int, Path]] = {}
    for name in NAMES:
        model = next(folder().glob(f"{name}_*.ifc"))
        out[name] = (run("plan", str(model), "--any-thickness", "-o", str(base / name)).exit_code, base / name)
    return out


def summary(path: Path) -> dict[str, Any]:
    loaded: dict[str, Any] = json.loads((path / "summary.json").read_text(encoding="utf-8"))
    return loaded


@pytest.mark.parametrize("name", NAMES)
def test_planned_and_audited(plans: dict[str, tuple[int, Path]], name: str) -> None:
    code, path = plans[name]
    assert code in (0, 1)
    audited = run("audit", str(path))
    assert audited.exit_code == 0, audited.output
    for wall in summary(path)["walls"]:
        assert wall["area_m2"]["laid"] > 0 or wall["reasons"], wall["guid"]


@pytest.mark.parametrize("name", ALL_LAID)
def test_every_wall_laid(plans: dict[str, tuple[int, Path]], name: str) -> None:
    counts = summary(plans[name][1])["counts"]
    assert counts["walls_set_aside"] == 0


@pytest.mark.parametrize("name", ["O9", "O17"])
def test_block_walls_without_a_cut(plans: dict[str, tuple[int, Path]], name: str) -> None:
    """288 x 192 in between axes, 6 in, 120 in high: 40 whole units a course, 15 courses (proved by brute force over all phases)."""
    counts = summary(plans[name][1])["counts"]
    assert (counts["pieces"], counts["cuts"], counts["units_bought"]) == (600, 0, 600)


def test_five_storeys_laid(plans: dict[str, tuple[int, Path]]) -> None:
    walls = summary(plans["O5"][1])["walls"]
    net = sum(w["area_m2"]["wall"] - w["area_m2"]["openings"] for w in walls)
    assert sum(w["area_m2"]["laid"] for w in walls) >= 0.9 * net


@pytest.mark.parametrize("name", ["O5", "O6", "O9", "O17"])
def test_ledger_against_the_kernel(plans: dict[str, tuple[int, Path]], name: str) -> None:
    """Drawn less openings of each wall is the kernel's net volume."""
    model = next(folder().glob(f"{name}_*.ifc"))
    with (folder() / "kernel_volumes" / f"{model.stem}.csv").open(newline="", encoding="utf-8") as file:
        kernel = {row["guid"]: float(row["net_m3"]) for row in csv.DictReader(file)}
    for wall in summary(plans[name][1])["walls"]:
        ledger = wall["ledger_m3"]
        assert ledger["drawn"] - ledger["openings"] == pytest.approx(kernel[wall["guid"]], rel=1e-3), wall["guid"]


@pytest.mark.parametrize("name", ["O19", "O20"])
def test_what_cannot_serve_says_one_sentence(tmp_path: Path, name: str) -> None:
    model = next(folder().glob(f"{name}_*.ifc"))
    result = run("plan", str(model), "-o", str(tmp_path / "out"))
    assert result.exit_code == 2
    assert len(result.stderr.strip().splitlines()) == 1
    assert not (tmp_path / "out").exists()

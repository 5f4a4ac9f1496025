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
WHOLE = ("O5", "O6", "O9", "O11", "O15", "O16", "O17", "O18")
"""Models of which nothing at all is set aside."""


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
    told = summary(path)
    assert 0.75 * told["counts"]["cuts"] <= told["totals"]["cuts_bound"] <= told["counts"]["cuts"]  # ripped ones are in both
    for wall in told["walls"]:
        assert wall["ledger_m3"]["set_aside"] > -1e-9, wall["guid"]
        assert wall["area_m2"]["laid"] > 0 or wall["reasons"], wall["guid"]


@pytest.mark.parametrize("name", NAMES)
def test_cut_units_are_at_most_one_above_the_bound(plans: dict[str, tuple[int, Path]], name: str) -> None:
    """For each type of unit; materials.csv says both."""
    with (plans[name][1] / "materials.csv").open(newline="", encoding="utf-8") as file:
        told = {row["item"]: row["where"] for row in csv.DictReader(file) if row["item"].startswith("offcuts and kerfs")}
    found = {item: (int(where.split()[0]), int(where.rpartition(" ")[2])) for item, where in told.items()}
    assert all(least <= units <= least + 1 for units, least in found.values()), found
    totals = summary(plans[name][1])["totals"]
    assert sum(least for _, least in found.values()) == totals["cut_units_bound"]


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
    assert sum(w["area_m2"]["laid"] for w in walls) == pytest.approx(net)


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


BY_HAND = {
    # a strip of one face is there twice, and openings that are cut out of the body already are cut again: see test_reading_models
    "3cUkl32yn9qRSPvBJVyWy4": 5.371816 - 8.955 * 0.321093 * 0.145 / 3,
    # not all faces look outward: 16966 x 2900 x 550 less two hollows of 4160 x 2595 x 57
    "2O2Fr$t4X7Zf8NOew3FKau": 16.966 * 2.9 * 0.55 - 2 * 4.16 * 2.595 * 0.057,
    # a frame of studs and panels, without a body: its outline of 12 x 10 ft, 4.5 in thick, less a doorway and a window
    "2ucZRLBGP4uxZW$9i1VAZ8": (144 * 120 - 32 * 80 - 36 * 48) * 4.5 * 0.0254**3,
    # the kernel gives no shape: an S of two ends 854.161 long, two arcs of 63.5797 degrees about 885.785 and a leg of 1135.27, all
    # 200 thick and 2800 high, less a doorway of 800 x 2100
    "3zGI8i6SCHv99C093rt3ko": (2 * 0.854161 + 2 * 1.109675 * 0.885785 + 1.13527) * 0.2 * 2.8 - 0.8 * 0.2 * 2.1,
}
"""Net volume in m3 of walls that the kernel cannot weigh, from the model's own numbers."""
BATTERED = {"2S8PiWcbHBVvIkcplDcB88", "3WaiJWBPDEe8oyz6tpSAJn"}
"""Two walls of O3 whose one face leans, up to 847 and 571 mm thick by the kernel: they are laid in steps, the rest is set aside."""


def rows_of(plans: dict[str, tuple[int, Path]], name: str) -> list[dict[str, float | str]]:
    """A row for each wall element of a model: volumes in m3 of all that is read of it."""
    model = next(folder().glob(f"{name}_*.ifc"))
    with (folder() / "kernel_volumes" / f"{model.stem}.csv").open(newline="", encoding="utf-8") as file:
        kernel = {row["guid"]: float(row["net_m3"] or 0) for row in csv.DictReader(file)}
    rows: dict[str, dict[str, float | str]] = {}
    for wall in summary(plans[name][1])["walls"]:
        guid, ledger = wall["guid"].split("/")[0], wall["ledger_m3"]
        none: dict[str, float | str] = {"guid": guid, "net": 0.0, "finishes": 0.0, "aside": 0.0, "explained": 0.0, "runs": 0.0}
        row = rows.setdefault(guid, {**none, "kernel": BY_HAND.get(guid, kernel[guid])})
        more = {
            "net": ledger["drawn"] - ledger["openings"], "finishes": ledger["finishes"], "aside": ledger["set_aside"],
            "explained": ledger["set_aside"] if guid in BATTERED else 0.0, "runs": float(len(wall["runs"])),
        }  # fmt: skip
        rows[guid] = row | {key: float(row[key]) + value for key, value in more.items()}
    return list(rows.values())


def total(rows: list[dict[str, float | str]], key: str) -> float:
    return sum(float(row[key]) for row in rows)


def test_table_of_what_is_laid(plans: dict[str, tuple[int, Path]]) -> None:
    """Walls and masonry laid of all models, and what is drawn against the kernel; the table is printed (`pytest -s`).

    Masonry is what is drawn less openings and less finishes, which nobody lays.
    """
    table = {name: rows_of(plans, name) for name in NAMES}
    print("\nmodel  walls  laid  % walls  % masonry  % but for named  net m3  to the kernel %  walls within 1 %")
    for name, rows in [*table.items(), ("all", [row for each in table.values() for row in each])]:
        laid = [row for row in rows if row["runs"]]
        close = [row for row in rows if abs(float(row["net"]) - float(row["kernel"])) <= 0.01 * float(row["kernel"])]
        net, apart = total(rows, "net"), total(laid, "net") / total(laid, "kernel") - 1
        masonry = net - total(rows, "finishes")
        share = 1 - total(rows, "aside") / masonry
        named = share + total(rows, "explained") / masonry
        print(
            f"{name:5} {len(rows):6} {len(laid):5} {len(laid) / len(rows):8.1%} {share:10.2%} {named:16.2%} {net:8.2f} {apart:16.4%} "
            f"{len(close) / len(rows):16.1%}"
        )
        assert abs(apart) <= 0.003, name
        if name in WHOLE:
            assert total(rows, "aside") == pytest.approx(0, abs=1e-6), name
        if name == "all":
            assert len(rows) == 216
            assert len(laid) == 216
            assert len(close) >= 0.97 * len(rows)
            # what is left is mostly over openings that reach the outer face of a corner, and bodies whose faces lean
            assert share >= 0.98
            assert named >= 0.99
    for each in table.values():
        for row in each:
            if row["runs"]:
                assert float(row["net"]) == pytest.approx(float(row["kernel"]), rel=0.01), row["guid"]

"""A slab survey on the samples: through the command and through a plan."""

from __future__ import annotations

import json
from pathlib import Path

import pandas as pd
import pytest

from tests.unit.command_line import outside, refused, wall, wall_list

SAMPLES = Path(__file__).resolve().parents[2] / "sample_models"
METRIC = (SAMPLES / "landing_tool_store_mm.ifc", SAMPLES / "landing_tool_store_slab.csv")
US = (SAMPLES / "field_station_workshop_in.ifc", SAMPLES / "field_station_workshop_slab.csv")


@pytest.fixture(scope="module", params=[METRIC, US], ids=["mm", "in"])
def planned(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    model, shots = request.param
    out = tmp_path_factory.mktemp("slab") / "out"
    code, _, told = outside("plan", model, "--survey", shots, "-o", out)
    assert code in (0, 1), told
    return out, shots


def test_every_bed_is_within_its_limits(planned: tuple[Path, Path]) -> None:
    out, _ = planned
    beds = pd.read_csv(out / "beds.csv")
    pieces = pd.read_csv(out / "pieces.csv", keep_default_na=False)
    limits = json.loads((out / "summary.json").read_text(encoding="utf-8"))["catalogue"]["levelling_bed_mm"]
    assert list(beds.piece) == list(pieces[(pieces.course == 1) & (pieces.bottom_mm == pieces.bottom_mm.min())].piece)
    assert beds.bed_least_mm.min() >= limits["least"] - 2e-3 and beds.bed_most_mm.max() <= limits["most"] + 2e-3
    assert ((beds.bed_least_mm <= beds.bed_start_mm + 2e-3) & (beds.bed_end_mm <= beds.bed_most_mm + 2e-3)).all()


def test_mortar_is_that_of_the_beds(planned: tuple[Path, Path]) -> None:
    out, _ = planned
    beds, materials = pd.read_csv(out / "beds.csv"), pd.read_csv(out / "materials.csv")
    row = materials[(materials.item == "levelling mortar") & (materials.unit == "m3")].iloc[0]
    assert row.net * 1000 == pytest.approx(beds.mortar_l.sum(), rel=1e-4)


def test_work_begins_at_the_highest_corner(planned: tuple[Path, Path]) -> None:
    out, _ = planned
    bench, steps = pd.read_csv(out / "bench.csv", keep_default_na=False), pd.read_csv(out / "steps.csv", keep_default_na=False)
    assert bench.start.tolist() == ["start"] + [""] * (len(bench) - 1)
    assert steps[steps.kind == "corner"].corner.iloc[0] == bench.corner.iloc[0]
    assert bench.top_mm.nunique() == 1


def test_audit_holds(planned: tuple[Path, Path]) -> None:
    code, said, _ = outside("audit", planned[0])
    assert code == 0, said


def test_the_command_says_the_same(planned: tuple[Path, Path]) -> None:
    out, shots = planned
    code, said, told = outside("survey", shots, "--plan", out, "--format", "json")
    assert code == 0, told
    found = json.loads(said)
    beds = pd.read_csv(out / "beds.csv")
    assert [b["piece"] for b in found["beds"]] == list(beds.piece)
    assert [b["bed_start_mm"] for b in found["beds"]] == pytest.approx(beds.bed_start_mm.tolist(), abs=2e-3)
    code, said, _ = outside("survey", shots, "--plan", out)
    assert code == 0 and f"begin at corner {found['parts'][0]['start_corner']}" in said


def test_a_slab_out_of_tolerance_names_the_pieces(tmp_path: Path) -> None:
    code, _said, _ = outside("plan", US[0], "--survey", US[1], "-o", tmp_path / "out", "--fail-on", "warning")
    assert code == 1
    found = {f["code"]: f["text"] for f in json.loads((tmp_path / "out" / "findings.json").read_text(encoding="utf-8"))["findings"]}
    rips = pd.read_csv(tmp_path / "out" / "beds.csv")
    rips = rips[rips.rip_mm > 0]
    assert found["survey.rip"].startswith(f"Rip the foot of {len(rips)} pieces, {rips.piece.iloc[0]}")
    assert "Starting at the lowest point" in found["survey.bed"]
    assert "levelling_course.check-slab" not in found


def test_shots_alone() -> None:
    code, said, _ = outside("survey", METRIC[1])
    assert code == 0 and "33 shots" in said


@pytest.mark.parametrize(
    ("shots", "said"),
    [
        ("x,y,level\n0,0,0\n100,0,0\n200,0,0\n", "lie on one line"),
        ("corner,level\nK99,0\nK1,0\nK2,0\n", "no corner 'K99'"),
        ("x,y,level\n0,0,0\n1,1,inf\n2,0,0\n", "line 3: level is 'inf'"),
    ],
)
def test_what_cannot_serve_says_one_sentence(tmp_path: Path, shots: str, said: str) -> None:
    file = tmp_path / "shots.csv"
    file.write_text(shots, encoding="utf-8")
    code, _, told = outside("plan", wall_list(tmp_path, wall()), "--survey", file, "-o", tmp_path / "out")
    assert code == 2 and said in told and len(told.strip().splitlines()) == 1
    assert not (tmp_path / "out").exists()


def slab(folder: Path, x: int) -> Path:
    """Shots of a plane slab of 10 m by 1 m that begins at x, in millimetres."""
    file = folder / "slab.csv"
    rows = "".join(f"{x + east},{north},0\n" for east in (0, 5000, 10000) for north in (-500, 500))
    file.write_text("x,y,level\n" + rows, encoding="utf-8")
    return file


@pytest.fixture(scope="module")
def ten(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The plan of a wall of ten units, which begin at x = 0, 600, ... 5400 mm."""
    folder = tmp_path_factory.mktemp("ten")
    assert outside("plan", wall_list(folder, wall(length=5999)), "-o", folder / "out")[0] == 0
    return folder / "out"


def test_another_sites_shots_are_refused(ten: Path, tmp_path: Path) -> None:
    """By the plan that would be laid on them and by the plan that is there, in one sentence: what lies where, and what to do."""
    other = slab(tmp_path, 40_000)
    sentence = refused(outside("survey", other, "--plan", ten))
    assert sentence == refused(outside("plan", ten.parent / "m.walls.yaml", "--survey", other, "-o", tmp_path / "out"))
    assert not (tmp_path / "out").exists()
    assert sentence.startswith(
        "wallquant: slab.csv, the shots are of another place: 10 of the 10 pieces of course 1 lie more than 1000 mm outside them, "
        "R1-C01-01 by 40000 mm; they lie at x 40000 mm to 50000 mm, y -500 mm to 500 mm, the walls at x 0 mm to 5999 mm, "
        "y -100 mm to 100 mm; "
        "name the shots of this site"
    )
    assert "x_m" in sentence and "by two corners with x and y" in sentence


@pytest.mark.parametrize(("x", "off"), [(4000, 5), (4001, 6)])
def test_more_than_half_decides(ten: Path, tmp_path: Path, x: int, off: int) -> None:
    """A slab that is shot in part serves, with the warning that it is: pieces count that begin more than 1 m before the shots."""
    code, said, told = outside("survey", slab(tmp_path, x), "--plan", ten)
    if off > 5:
        assert code == 2 and f": {off} of the 10 pieces of course 1 lie" in told
    else:
        assert code == 0 and "7 pieces of the part of R1 lie outside the shots, R1-C01-01 by 4000 mm" in said


def test_a_folder_that_is_no_plan(tmp_path: Path) -> None:
    code, _, told = outside("survey", METRIC[1], "--plan", tmp_path)
    assert code == 2 and "is no plan" in told
    code, _, told = outside("survey", tmp_path / "none.csv")
    assert code == 2 and "none.csv cannot be read" in told


@pytest.mark.parametrize("name", ["landing_tool_store", "field_station_workshop"])
def test_samples_with_all_that_an_engineer_asks_for(tmp_path: Path, name: str) -> None:
    """Bars, bond beams and the slab together: the audit holds, I7 with bars, and the steps have bars, holds and grout."""
    model = next(SAMPLES.glob(f"{name}_*.ifc"))
    code, _, told = outside("plan", model, "--job", SAMPLES / f"{name}.job.yaml", "-o", tmp_path / "out", "--write", "ifc,dxf,xlsx,bcf")
    assert code in (0, 1), told
    code, said, _ = outside("audit", tmp_path / "out")
    assert code == 0, said
    steps = pd.read_csv(tmp_path / "out" / "steps.csv")
    assert {"bar stub", "bar", "core grout", "beam bars", "beam grout", "hold"} <= set(steps.kind)
    items = pd.read_csv(tmp_path / "out" / "items.csv")
    assert {"bar", "core fill", "trough fill"} <= set(items.kind)
    units = {
        u["code"]: u["kind"] for u in json.loads((tmp_path / "out" / "summary.json").read_text(encoding="utf-8"))["catalogue"]["units"]
    }
    pieces = pd.read_csv(tmp_path / "out" / "pieces.csv", keep_default_na=False)
    assert {"core", "U"} <= {units[u] for u in pieces.unit}

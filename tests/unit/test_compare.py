"""Two plans side by side, from their files alone."""

from __future__ import annotations

import csv
import json
import shutil
from collections.abc import Callable
from pathlib import Path

import pytest

from wallquant import pipeline, plugins
from wallquant.cli import Sentence
from wallquant.cli.differences import Run, compared, matched, read
from wallquant.job import Job
from wallquant.writers import folder

Row = dict[str, str]


def wall(name: str, y: int, length: int, at: int = 0) -> str:
    line = f"name: {name}, storey: G, from: [{at}, {y}], to: [{at + length}, {y}], thickness: 200, height: 1800, bearing: true"
    return f"  - {{{line}}}\n"


def planned(out: Path, walls: str, **options: object) -> Path:
    model = out.with_suffix(".walls.yaml")
    model.write_text(f"unit: mm\nstoreys:\n  - {{name: G, level: 0}}\nwalls:\n{walls}", encoding="utf-8")
    job = Job.model_validate({"catalogue": "aac-metric", **options})
    folder.write(pipeline.plan(model, job, plugins.load()), out, run={}, writers={})
    return out


@pytest.fixture(scope="module")
def two_walls(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A wall of ten units, and one further north."""
    return planned(tmp_path_factory.mktemp("one") / "a", wall("A", 0, 5999) + wall("B", 4000, 2399))


def copied(plan: Path, to: Path, change: Callable[[list[Row]], list[Row]], name: str = "pieces.csv") -> Path:
    """Copy a plan and change the rows of one of its files."""
    shutil.copytree(plan, to)
    with (to / name).open(encoding="utf-8", newline="") as file:
        reader = csv.DictReader(file)
        fields, rows = list(reader.fieldnames or ()), change(list(reader))
    with (to / name).open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, fields, lineterminator="\n")
        writer.writeheader()
        writer.writerows(rows)
    return to


def changes(one: Path, two: Path) -> dict[str, tuple[int, int, int]]:
    """Walls to pieces added, removed, changed; runs without a difference left out."""
    found = compared(read(one), read(two))
    several = {" ".join(r["walls"]): (r["added"], r["removed"], r["changed"]) for r in found["runs"]}
    return {walls: numbers for walls, numbers in several.items() if any(numbers)}


def test_a_plan_equals_itself(two_walls: Path) -> None:
    found = compared(read(two_walls), read(two_walls))
    assert all(t["difference"] == 0 and t["one"] == t["two"] for t in [*found["totals"], *found["units"]])
    assert changes(two_walls, two_walls) == {}
    pieces = next(t for t in found["totals"] if t["name"] == "pieces")
    # nine courses of ten units and of four; every second course has two halves and one unit less
    assert pieces["one"] == 5 * 10 + 4 * 11 + 5 * 4 + 4 * 5


def test_names_are_no_difference(two_walls: Path, tmp_path: Path) -> None:
    def renamed(rows: list[Row]) -> list[Row]:
        return [{**r, "piece": "X" + r["piece"], "step": "", "place": "1", "stock": ""} for r in reversed(rows)]

    assert changes(two_walls, copied(two_walls, tmp_path / "b", renamed)) == {}


@pytest.mark.parametrize(
    ("column", "value", "wanted"),
    [
        ("end_mm", "590.0", (0, 0, 1)),
        ("unit", "std-600x200x150", (0, 0, 1)),
        ("cut", "notch", (0, 0, 1)),
        ("top_mm", "200.0", (0, 0, 1)),
        ("thickness_mm", "150.0", (0, 0, 1)),
        ("elevation", "POLYGON ((0 10, 599 10, 599 150, 0 209, 0 10))", (0, 0, 1)),
        ("bottom_mm", "3000.0", (1, 1, 0)),
    ],
)
def test_each_change_of_a_piece(two_walls: Path, tmp_path: Path, column: str, value: str, wanted: tuple[int, int, int]) -> None:
    def change(rows: list[Row]) -> list[Row]:
        first = next(n for n, r in enumerate(rows) if r["run"] == "R1")
        return [{**r, column: value} if n == first else r for n, r in enumerate(rows)]

    assert list(changes(two_walls, copied(two_walls, tmp_path / "b", change)).values()) == [wanted]


def test_a_piece_added_and_one_removed(two_walls: Path, tmp_path: Path) -> None:
    def fewer(rows: list[Row]) -> list[Row]:
        return rows[1:]

    other = copied(two_walls, tmp_path / "b", fewer)
    assert list(changes(two_walls, other).values()) == [(0, 1, 0)]
    assert list(changes(other, two_walls).values()) == [(1, 0, 0)]


def test_equal_pieces_are_counted(two_walls: Path, tmp_path: Path) -> None:
    """A piece that is there twice is one more."""
    other = copied(two_walls, tmp_path / "b", lambda rows: [rows[0], *rows])
    assert list(changes(two_walls, other).values()) == [(1, 0, 0)]


def test_a_longer_wall(two_walls: Path, tmp_path: Path) -> None:
    """One unit longer: nine more units and what the solver moved; the other wall is as it was."""
    other = planned(tmp_path / "b", wall("A", 0, 6599) + wall("B", 4000, 2399))
    assert list(changes(two_walls, other)) == ["A"]
    found = compared(read(two_walls), read(other))
    totals = {t["name"]: t["difference"] for t in found["totals"]}
    assert totals["pieces"] == 9 and totals["cuts"] == 0 and totals["walls laid"] == 0
    units = {u["name"]: u["difference"] for u in found["units"]}
    assert units == {"std-600x200x200": 9.0}
    assert totals["units to buy, before waste"] == 9


def test_a_new_wall_and_new_names_of_runs(two_walls: Path, tmp_path: Path) -> None:
    """A wall in the south-west takes the first run's name; the old walls are found by their place."""
    other = planned(tmp_path / "b", wall("A", 0, 5999) + wall("B", 4000, 2399) + wall("Z", -3000, 1199, at=-1000))
    found = changes(two_walls, other)
    assert list(found) == ["Z"] and found["Z"][1:] == (0, 0) and found["Z"][0] == 5 * 2 + 4 * 3
    assert changes(other, two_walls) == {"Z": (0, found["Z"][0], 0)}


def test_another_origin_is_no_difference(two_walls: Path, tmp_path: Path) -> None:
    """Places are the model's: an origin moved with all coordinates changes nothing."""

    def moved(rows: list[Row]) -> list[Row]:
        return [{**r, "x_mm": str(float(r["x_mm"]) - 1_000_000)} for r in rows]

    other = copied(two_walls, tmp_path / "b", moved, "runs.csv")
    summary = json.loads((other / "summary.json").read_text(encoding="utf-8"))
    summary["origin_mm"][0] += 1_000_000
    (other / "summary.json").write_text(json.dumps(summary), encoding="utf-8")
    assert changes(two_walls, other) == {}


def test_another_thickness_changes_every_piece(tmp_path: Path) -> None:
    thin = planned(tmp_path / "a", wall("A", 0, 1199).replace("200, height", "150, height"))
    thick = planned(tmp_path / "b", wall("A", 0, 1199))
    assert changes(thin, thick) == {"A": (0, 0, 22)}


def run(name: str, x: float, y: float, length: float, *, angle: float = 0.0, bottom: float = 0.0) -> Run:
    return Run(name=name, at=(x, y), angle=angle, low=0.0, high=length, bottom=bottom, walls=())


def test_matching() -> None:
    """By line, underside and overlap; a run that moved along its line has its stations shifted."""
    olds = [run("R1", 0, 0, 6000), run("R2", 0, 3000, 6000), run("R3", 0, 0, 3000, angle=90.0), run("R4", 0, 0, 6000, bottom=2500.0)]
    news = [run("N1", 0, 0, 6000, bottom=2500.0), run("N2", 0, 3030, 6000), run("N3", -600, 0, 6600), run("N4", 9000, 0, 600)]
    found = {(a.name if a else "", b.name if b else ""): shift for a, b, shift in matched(olds, news)}
    assert set(found) == {("R1", "N3"), ("R2", "N2"), ("R3", ""), ("R4", "N1"), ("", "N4")}
    assert found["R1", "N3"] == pytest.approx(600.0)
    assert found["R4", "N1"] == 0.0


def test_the_larger_overlap_wins() -> None:
    """A run cut in two goes on as its longer part."""
    news = [run("N1", 0, 0, 2000), run("N2", 2500, 0, 3500)]
    found = {(a.name if a else "", b.name if b else "") for a, b, _ in matched([run("R1", 0, 0, 6000)], news)}
    assert found == {("R1", "N2"), ("", "N1")}


@pytest.mark.parametrize(
    ("name", "text", "said"),
    [
        ("summary.json", None, "holds no plan"),
        ("summary.json", "{", "cannot be read"),
        ("summary.json", "[]", "cannot be read"),
        ("summary.json", '{"schema": "wallquant.plan/0"}', "wallquant.plan/0"),
        ("pieces.csv", None, "cannot be read"),
        ("pieces.csv", "a,b\n1,2\n", "columns"),
        ("runs.csv", None, "cannot be read"),
        ("materials.csv", "", "columns"),
    ],
)
def test_what_is_no_plan(two_walls: Path, tmp_path: Path, name: str, text: str | None, said: str) -> None:
    other = tmp_path / "b"
    shutil.copytree(two_walls, other)
    if text is None:
        (other / name).unlink()
    else:
        (other / name).write_text(text, encoding="utf-8")
    with pytest.raises(Sentence, match=said) as error:
        read(other)
    assert "\n" not in str(error.value)


def test_a_cell_that_is_no_number(two_walls: Path, tmp_path: Path) -> None:
    other = copied(two_walls, tmp_path / "b", lambda rows: [{**rows[0], "start_mm": "x"}, *rows[1:]])
    with pytest.raises(Sentence, match=r"the plan in .* cannot be read"):
        compared(read(two_walls), read(other))

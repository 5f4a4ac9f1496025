"""The saw list holds each cut piece once, on a day that serves, and offcuts go no farther than the job lets them."""

from __future__ import annotations

import csv
from collections import Counter, defaultdict
from functools import cache
from pathlib import Path
from tempfile import mkdtemp

import pytest
from click.testing import CliRunner

from wallquant.cli import main
from wallquant.files import SAW_LIST

SAMPLE = Path(__file__).parents[2] / "sample_models" / "seedling_shed.yaml"
Rows = list[dict[str, str]]


@cache
def planned(offcuts: str) -> Path:
    folder = Path(mkdtemp())
    (folder / "job.yaml").write_text(f"schema: wallquant.job/1\noffcuts: {offcuts}\n", encoding="utf-8")
    done = CliRunner().invoke(main, ["plan", str(SAMPLE), "--job", str(folder / "job.yaml"), "-o", str(folder / "out")])
    assert done.exit_code in (0, 1), done.output
    audited = CliRunner().invoke(main, ["audit", str(folder / "out")])
    assert audited.exit_code == 0, audited.output
    return folder / "out"


def rows(out: Path, name: str) -> Rows:
    with (out / name).open(newline="", encoding="utf-8") as file:
        return list(csv.DictReader(file))


def test_each_cut_piece_once_by_day_and_setting() -> None:
    out = planned("site")
    listed = rows(out, "saw_list.csv")
    assert tuple(listed[0]) == SAW_LIST
    steps = {s["step"]: s for s in rows(out, "steps.csv")}
    pieces = {p["piece"]: p for p in rows(out, "pieces.csv")}
    cuts = {c["piece"]: c for c in rows(out, "cuts.csv")}
    named = [name for row in listed for name in row["pieces"].split()]
    assert Counter(named) == Counter(cuts.keys())
    keys = [(int(r["day"]), r["when"], r["unit"], r["cut"], float(r["angle_deg"]), float(r["height_mm"])) for r in listed]
    assert keys == sorted(keys)
    assert len({(*k, r["length_mm"]) for k, r in zip(keys, listed, strict=True)}) == len(listed)
    for row in listed:
        assert int(row["count"]) == len(row["pieces"].split())
        assert set(row["stocks"].split()) == {cuts[name]["stock"] for name in row["pieces"].split()}
        for name in row["pieces"].split():
            step = steps[pieces[name]["step"]]
            assert row["when"] == ("on site" if step["kind"] == "closure" else "ahead")
            assert int(row["day"]) == int(step["day"]) if row["when"] == "on site" else int(row["day"]) <= int(step["day"])
            assert all(float(row[c]) == float(cuts[name][c]) for c in ("length_mm", "height_mm", "angle_deg"))
            assert row["cut"] == pieces[name]["cut"]


@pytest.mark.parametrize("offcuts", ["storey", "run", "course", "day"])
def test_a_unit_serves_no_more_than_the_job_lets_it(offcuts: str) -> None:
    out = planned(offcuts)
    steps = {s["step"]: s for s in rows(out, "steps.csv")}
    runs = {r["run"]: r for r in rows(out, "runs.csv")}
    served: dict[str, set[object]] = defaultdict(set)
    for p in rows(out, "pieces.csv"):
        if p["stock"]:
            groups = {
                "storey": runs[p["run"]]["storey"],
                "run": p["run"],
                "course": (p["run"], p["course"]),
                "day": steps[p["step"]]["day"],
            }
            served[p["stock"]].add(groups[offcuts])
    assert served and all(len(groups) == 1 for groups in served.values())
    assert len(served) >= len({p["stock"] for p in rows(planned("site"), "pieces.csv")} - {""})


def test_waste_is_told_beside_the_least() -> None:
    told = [m for m in rows(planned("site"), "materials.csv") if m["item"].startswith("offcuts and kerfs")]
    assert told and all("%; proven least" in m["where"] for m in told)


def test_the_page_shows_the_saw_list_day_by_day() -> None:
    """All settings of saw_list.csv, closures apart from what is cut ahead, in words; what the page has no room for is counted."""
    import pandas as pd

    from wallquant.writers.report.sawing import MOST, by_day
    from wallquant.writers.report.words import Words

    frame = pd.read_csv(planned("site") / "saw_list.csv", keep_default_na=False)
    told = by_day(frame, Words(system="mm"))
    assert [d["day"] for d in told["days"]] == sorted(set(frame["day"])) and told["left_out"] == 0
    for day in told["days"]:
        some = frame[frame["day"] == day["day"]]
        assert (day["settings"], day["count"]) == (len(some), some["count"].sum())
        for group in day["groups"]:
            assert group["count"] == some[some["when"] == ("ahead" if group["ahead"] else "on site")]["count"].sum()
    html = (planned("site") / "report.html").read_text(encoding="utf-8")
    assert html.count("<caption>Cut ahead:") == frame[frame["when"] == "ahead"]["day"].nunique()
    assert html.count("<caption>Measure on site, then cut:") == frame[frame["when"] == "on site"]["day"].nunique()
    many = pd.concat([frame] * (MOST // len(frame) + 2))
    assert by_day(many, Words(system="mm"))["left_out"] == len(many) - MOST

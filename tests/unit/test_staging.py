"""Deliveries and their places, schedules by wall, and what a job says of them, on small houses."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pandas as pd
import pytest

from wallquant import pipeline, plugins
from wallquant.audit import audit
from wallquant.job import Job
from wallquant.quantities.frames import piece_table
from wallquant.quantities.site import SOURCES, Ground, Rates
from wallquant.units import FOOT, MM
from wallquant.writers import folder as folders
from wallquant.writers.plan import Plan

RING = ((0, 0, 8000, 0), (8000, 0, 8000, 6000), (8000, 6000, 0, 6000), (0, 6000, 0, 0))


def planned(folder: Path, walls: str, storeys: str = "  - {name: G, level: 0}\n", **options: Any) -> Plan:
    model = folder / "m.walls.yaml"
    model.write_text(f"unit: mm\nstoreys:\n{storeys}walls:\n{walls}", encoding="utf-8")
    return pipeline.plan(model, Job.model_validate({"catalogue": "aac-metric", **options}), plugins.load())


def wall(name: str, a: int, b: int, c: int, d: int, storey: str = "G", height: int = 2410, openings: str = "") -> str:
    line = f'name: "{name}", storey: {storey}, from: [{a}, {b}], to: [{c}, {d}], thickness: 200, height: {height}, bearing: true'
    return f"  - {{{line}{', openings: [' + openings + ']' if openings else ''}}}\n"


def house(storey: str = "G", prefix: str = "") -> str:
    return "".join(wall(f"{prefix}{n}", *at, storey=storey) for n, at in zip("SENW", RING, strict=True))


@pytest.fixture(scope="module")
def plan(tmp_path_factory: pytest.TempPathFactory) -> Plan:
    two = "  - {name: G, level: 0}\n  - {name: U, level: 2750}\n"
    return planned(tmp_path_factory.mktemp("house"), house() + house("U", "u"), two)


def pallets(plan: Plan) -> pd.DataFrame:
    rows = plan.schedules["staging.csv"]
    return rows[rows["load"].str.startswith("pallet")]


def test_a_piece_lies_at_its_middle_along_its_run(plan: Plan) -> None:
    """Walls along x lie at y 0 and 6000, walls along y at x 0 and 8000; their pieces lie all along them."""
    table = piece_table(plan.work, plan.cutting, plan.schedule)
    for run, rows in table.groupby("run"):
        one = plan.work.runs[run]
        across, along = ("y_mm", "x_mm") if one.direction[0] else ("x_mm", "y_mm")
        far = 8000 if one.direction[0] else 6000
        assert set(rows[across].round(6)) <= ({0, 6000} if one.direction[0] else {0, 8000}) and rows[across].nunique() == 1
        p = plan.work.pieces
        course = [k for k in rows.index if p.course[k] == 1]
        middle = rows.loc[course, along].to_numpy()
        half = (p.end[course] - p.start[course]) / 2 / MM
        assert (middle - half).min() >= -100 and (middle + half).max() <= far + 100
        gaps = (middle - half)[1:] - (middle + half)[:-1]
        assert len(gaps) and (gaps >= 0.5).all() and (gaps <= 3).all()  # joints, least and most


def test_inside_a_ring_pallets_stand_on_the_slab(plan: Plan) -> None:
    """A room of 7.8 x 5.8 clear: each stands inside, 1 m off the outside and 600 mm off every wall, its own within reach."""
    rows = pallets(plan)
    assert set(rows["storey"]) == {"G", "U"}
    upper = rows[rows["storey"] == "U"].dropna(subset=["x_mm"])
    assert len(upper) and upper["off_edge_mm"].notna().all(), "nothing stands outside an upper floor"
    for row in rows.dropna(subset=["off_edge_mm"]).to_dict("records"):
        half = (600.0, 500.0) if row["angle_deg"] in (0.0, 180.0) else (500.0, 600.0)
        for at, side, far in ((row["x_mm"], half[0], 8000.0), (row["y_mm"], half[1], 6000.0)):
            assert at - side >= 100 + 600 - 2 and at + side <= far - 100 - 600 + 2
        assert row["off_edge_mm"] >= 1000 - 2 and 600 - 2 <= row["off_wall_mm"] <= 3000


def test_pallets_come_as_they_are_laid(plan: Plan) -> None:
    """Day by day; each pallet's first unit is laid on its day, and all pallets are those of the materials."""
    rows, pieces = pallets(plan), plan.work.pieces
    assert rows["day"].is_monotonic_increasing and rows["day"].iloc[0] == 1
    buy = plan.materials.set_index(["item", "unit"])["buy"]
    assert len(rows) == buy["pallets std-600x200x200", "pallet"]
    assert rows["holds"].sum() == buy["std-600x200x200", "pcs"] and len(pieces) > 0
    served = sum(int(part.rpartition(": ")[2]) for row in rows["serves"] for part in row.split("; "))
    net = plan.materials.set_index(["item", "unit"])["net"]["std-600x200x200", "pcs"]
    assert served == net, "waste apart, each unit used is on a pallet"


def test_a_pallet_for_two_storeys_says_what_goes_up(plan: Plan) -> None:
    """The lower house leaves a part of a pallet; what of it is laid in the upper one is named, unit by unit."""
    rows = pallets(plan)
    said = rows[rows["note"].str.contains("of its units are for U")]
    assert len(said) and set(said["storey"]) == {"G"}
    for serves, note in zip(said["serves"], said["note"], strict=True):
        counts = {part.rpartition(": ")[0]: int(part.rpartition(": ")[2]) for part in serves.split("; ")}
        up = sum(count for name, count in counts.items() if name.startswith("u"))
        rest = sum(count for name, count in counts.items() if name.endswith(("more wall", "more walls")))  # of either storey
        assert up <= int(note.partition(" of its units")[0].rpartition("; ")[2]) <= up + rest
    for serves in rows[(rows["storey"] == "G") & ~rows.index.isin(said.index)]["serves"]:
        assert not any(part.startswith("u") for part in serves.split("; "))


def test_two_pallets_are_never_in_one_place_at_a_time(plan: Plan) -> None:
    rows = pallets(plan).dropna(subset=["x_mm"])
    for _, day in rows.groupby(["storey", "day"]):
        assert not day.duplicated(["x_mm", "y_mm"]).any()


def test_a_lone_wall_has_the_ground_beside_it(tmp_path: Path) -> None:
    rows = pallets(planned(tmp_path, wall("A", 0, 0, 5999, 0)))
    assert rows["off_edge_mm"].isna().all() and (rows["off_wall_mm"] >= 600 - 2).all() and (rows["off_wall_mm"] <= 3000).all()
    assert rows["note"].str.contains("on the ground outside").all()


def test_no_place_is_told(tmp_path: Path) -> None:
    """With a strip of 4 m nothing is free inside; upstairs there is no ground outside either."""
    two = "  - {name: G, level: 0}\n  - {name: U, level: 2750}\n"
    plan = planned(tmp_path, house() + house("U", "u"), two, staging={"strip": "4000 mm"})
    upper = pallets(plan)[lambda t: t["storey"] == "U"]
    assert len(upper) and upper["x_mm"].isna().all() and upper["note"].str.contains("no place is free").all()
    (told,) = [f for f in plan.findings if f.code == "staging.place"]
    assert "find no place" in told.text and told.times >= len(upper)


def test_the_floor_is_pressed_by_what_a_pallet_weighs(plan: Plan) -> None:
    """60 units of 599 x 199 x 200 at 600 kg/m3, 1.3 as delivered: 1,115.7 kg on 1.2 m2 press with 9.118 kN/m2."""
    full = pallets(plan)[lambda t: t["part"] == ""].iloc[0]
    assert full["mass_kg"] == pytest.approx(60 * 0.599 * 0.199 * 0.2 * 600 * 1.3, abs=1e-3)
    assert full["floor_kn_m2"] == pytest.approx(1115.721 * 9.80665 / 1000 / 1.2, abs=1e-3)
    (caution,) = [f for f in plan.findings if f.code == "caution.pallets"]
    assert "1,116 kg" in caution.text and "9.1 kN/m2" in caution.text and "engineer" in caution.text


def test_walls_of_one_run_share_it(tmp_path: Path) -> None:
    """Two walls in one line of 3 m and 6 m: mortar by volume, a piece over the boundary counted for one and named in the ledger."""
    plan = planned(tmp_path, wall("A", 0, 0, 3000, 0) + wall("B", 3000, 0, 8999, 0))
    assert len(plan.work.runs) == 1
    s = plan.schedules["schedule.csv"]
    thin = s[s["item"] == "thin-bed mortar"].set_index("name")["quantity"]
    assert thin["B"] / thin["A"] == pytest.approx(2.0, abs=0.01)
    ledger = plan.schedules["ledger.csv"].set_index("name")
    assert abs(ledger["shared_m3"].sum()) < 1e-9 and ledger["shared_m3"].abs().max() > 1e-3
    assert ledger["gaps_m3"].abs().max() < 2e-3
    assert ledger["gaps_m3"].sum() == pytest.approx(0, abs=1e-8)


def test_a_movement_joint_is_laid_without_mortar(tmp_path: Path) -> None:
    """A movement joint of 10 mm from the slab to the top is a joint, so it is laid, and neither a fit nor mortar.

    Laid is pieces, joints and the levelling bed: the wall's whole face, 1 mm lower than drawn.
    """
    rules = {"movement_joints": {"spacing": "4000 mm", "width": "10 mm"}}
    plan = planned(tmp_path, wall("A", 0, 0, 7999, 0), rules=rules)
    ledger = plan.schedules["ledger.csv"].iloc[0]
    (joint,) = [i for i in plan.work.items if getattr(i, "kind", "") == "movement joint"]
    assert (joint.bottom, joint.top) == (0, 2409 * MM)
    assert ledger["movement_m3"] == pytest.approx(0.010 * 2.409 * 0.2, abs=1e-9)
    assert ledger["laid_m3"] == pytest.approx(7.999 * 2.409 * 0.2, abs=1e-6)
    assert ledger["fit_height_m3"] == pytest.approx(-7.999 * 0.001 * 0.2, abs=1e-6)
    assert abs(ledger["gaps_m3"]) < 1e-8


def test_a_movement_joint_under_a_slope_is_laid_as_high_as_both_its_sides(tmp_path: Path) -> None:
    """The top rises 500 mm along the wall, and the ledger closes: the audit measures the joint from items.csv and pieces.csv."""
    rules = {"movement_joints": {"spacing": "4000 mm", "width": "10 mm"}}
    text = wall("A", 0, 0, 7999, 0).replace("height: 2410", "top: [[0, 2410], [7999, 2910]]")
    assert "top:" in text
    plan = planned(tmp_path, text, rules=rules)
    ledger = plan.schedules["ledger.csv"].iloc[0]
    assert 0.010 * 2.409 * 0.2 < ledger["movement_m3"] < 0.010 * 2.910 * 0.2
    out = tmp_path / "out"
    folders.write(plan, out, run={}, writers={})
    assert not [f.text for f in audit(out) if f.code.endswith("I1")]


def test_bill_goes_by_the_jobs_rule(tmp_path: Path) -> None:
    """A door of 0.9 x 2.01 m is 1.809 m2: left in by the rule of 2.5 m2."""
    door = "{name: D, at: 1500, width: 900, sill: 0, height: 2010, filling: {kind: door}}"
    plan = planned(tmp_path, wall("A", 0, 0, 5999, 0, openings=door), bill="over 2.5 m2")
    bill = plan.schedules["bill.csv"].set_index("deducted")
    assert list(bill.index[bill["chosen"] == "yes"]) == ["over 2.5 m2"]
    assert bill.loc["over 2.5 m2", "measured_m2"] - bill.loc["all", "measured_m2"] == pytest.approx(0.9 * 2.01, abs=1e-6)
    assert (bill.loc["over 2.5 m2", "openings"], bill.loc["over 2.5 m2", "left_in"]) == (1, 1)


def test_labour_says_who_lifts_and_how_high(tmp_path: Path) -> None:
    """Units of 18.6 kg are lifted by two with a limit of 15 kg; work above 1 m takes a tenth longer."""
    text = wall("A", 0, 0, 2999, 0)
    labour = planned(tmp_path, text, labour={"alone": 15.0, "band": "1000 mm", "above": 0.1}).schedules["labour.csv"]
    assert "two people" in set(labour["lift"])
    assert set(labour["factor"]) == {1.0, 1.1, 1.2}
    assert ((labour["hours"] - labour["hours_plan"] * labour["factor"]).abs() < 1e-6).all()
    plain = planned(tmp_path, text).schedules["labour.csv"]
    assert set(plain["lift"]) == {"one person"} and plain["hours_plan"].sum() == pytest.approx(labour["hours_plan"].sum())


def test_more_bags_in_one_go_are_fewer_batches(tmp_path: Path) -> None:
    text = "".join(wall(n, *at) for n, at in zip("SENW", RING, strict=True))
    one = planned(tmp_path, text).schedules["mixing.csv"]
    two = planned(tmp_path, text, labour={"batch_bags": 2.0}).schedules["mixing.csv"]
    assert one["net_l"].tolist() == two["net_l"].tolist()
    assert one["batches"].sum() > two["batches"].sum() >= one["batches"].sum() / 2


def test_defaults_have_sources_and_follow_the_units_of_people() -> None:
    assert {*Ground.__dataclass_fields__, *Rates.__dataclass_fields__} <= set(SOURCES)
    assert Ground.of(Job(), "mm").strip == 600 * MM and Ground.of(Job(), "in").strip == 2 * FOOT
    job = Job.model_validate({"staging": {"reach": "5000 mm"}})
    assert (Ground.of(job, "in").reach, Ground.of(job, "in").strip) == (5000 * MM, 2 * FOOT)
    assert Rates.of(Job(), "in").band == 5 * FOOT


def test_nothing_laid_has_empty_schedules(tmp_path: Path) -> None:
    plan = planned(tmp_path, wall("A", 0, 0, 5999, 0).replace("thickness: 200", "thickness: 1234"))
    assert len(plan.work.pieces) == 0
    assert all(len(plan.schedules[n]) == 0 for n in ("staging.csv", "labour.csv", "mixing.csv", "schedule.csv"))
    assert len(plan.schedules["ledger.csv"]) == 1 and plan.schedules["ledger.csv"]["bought_m3"].sum() == 0

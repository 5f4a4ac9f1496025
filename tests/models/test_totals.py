"""All totals of a plan again, by a script of its own: pandas on pieces.csv, cuts.csv, items.csv, steps.csv and summary.json alone.

Nothing of `wallquant.quantities` is imported.  Open models are read from a folder beside the checkout where it is there.
"""

from __future__ import annotations

import json
from math import ceil, floor
from pathlib import Path
from typing import Any

import pandas as pd
import pytest

from tests.unit.command_line import outside

ROOT = Path(__file__).resolve().parents[2]
SAMPLES, OPEN = ROOT / "sample_models", ROOT.parent / "shared" / "open_models"
MODELS = {
    "store": (SAMPLES / "landing_tool_store_mm.ifc", ["--job", SAMPLES / "landing_tool_store.job.yaml"]),
    "workshop": (SAMPLES / "field_station_workshop_in.ifc", ["--job", SAMPLES / "field_station_workshop.job.yaml"]),
    "O1": (OPEN / "O1_gable_house_metres.ifc", ["--any-thickness"]),
    "O5": (OPEN / "O5_five_storeys.ifc", ["--any-thickness"]),
    "O9": (OPEN / "O9_block_walls_inch.ifc", ["--any-thickness"]),
}
TERMS = ("openings", "finishes", "set_aside", "lent")
FITS = ("fit_length", "fit_height", "fit_thickness")


class Plan:
    """The files of a plan, read anew."""

    def __init__(self, out: Path) -> None:
        self.summary: dict[str, Any] = json.loads((out / "summary.json").read_text(encoding="utf-8"))
        names = (
            "pieces",
            "cuts",
            "items",
            "steps",
            "materials",
            "schedule",
            "ledger",
            "staging",
            "labour",
            "mixing",
            "bill",
            "openings",
            "runs",
        )
        self.of = {name: pd.read_csv(out / f"{name}.csv", keep_default_na=False, na_values=[""]) for name in names}

    def __getitem__(self, name: str) -> pd.DataFrame:
        return self.of[name]

    @property
    def units(self) -> dict[str, dict[str, Any]]:
        return {u["code"]: u for u in self.summary["catalogue"]["units"]}

    def net(self) -> pd.Series:
        """Units used up by code: whole pieces, and units that are cut."""
        p = self["pieces"]
        whole = p[p["cut"].isna() | (p["cut"] == "notch")].groupby("unit").size()
        sawn = self["cuts"].groupby("unit")["stock"].nunique()
        return whole.add(sawn, fill_value=0).astype(int)

    def bought(self, unit: str = "pcs") -> pd.DataFrame:
        m = self["materials"]
        return m[m["unit"] == unit].set_index("item")


@pytest.fixture(scope="module", params=list(MODELS))
def plan(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Plan:
    model, options = MODELS[request.param]
    if not model.is_file():
        pytest.skip(f"{model.name} is not there")
    out = tmp_path_factory.mktemp("totals") / "out"
    code, _, told = outside("plan", model, "-o", out, *options)
    assert code in (0, 1), told
    return Plan(out)


def test_units(plan: Plan) -> None:
    net, listed = plan.net(), plan.bought()
    assert set(net.index) <= set(listed.index)
    for code, count in net.items():
        row = listed.loc[code]
        assert row["net"] == count
        assert row["net"] + row["waste"] - 1e-9 <= row["buy"] < row["net"] + row["waste"] + 1
    by = plan["schedule"]
    by = by[by["group"].isin(["units", "lintels"])].groupby("item")["quantity"].sum()
    pd.testing.assert_series_equal(by.astype(int).sort_index(), net.sort_index(), check_names=False)
    assert plan.summary["counts"]["units_bought"] == net.sum()


def test_masses_and_volumes(plan: Plan) -> None:
    p, m = plan["pieces"], plan.bought("kg")
    density = p["unit"].map({code: u["density_kg_m3"] for code, u in plan.units.items()})
    assert m.loc["mass dry", "net"] == pytest.approx((p["solid_m3"] * density).sum(), abs=1e-4)
    assert m.loc["mass as delivered", "net"] == pytest.approx(p["mass_kg"].sum(), abs=1e-3)
    s = plan["schedule"]
    assert s["volume_m3"].sum() == pytest.approx(p["volume_m3"].sum(), abs=1e-6)
    assert s["mass_kg"].sum() == pytest.approx(p["mass_kg"].sum(), abs=1e-3)


def test_offcuts(plan: Plan) -> None:
    """A unit's outer volume less that of its pieces, unit by unit."""
    p, c = plan["pieces"].set_index("piece"), plan["cuts"]
    size = {code: u["length_mm"] * u["height_mm"] * u["thickness_mm"] / 1e9 for code, u in plan.units.items()}
    m = plan.bought("m3")
    for code, rows in c.groupby("unit"):
        waste = rows["stock"].nunique() * size[str(code)] - p.loc[rows["piece"], "volume_m3"].sum()
        assert m.loc[f"offcuts and kerfs {code}", "net"] == pytest.approx(waste, abs=1e-6)


def test_pallets(plan: Plan) -> None:
    """Whole pallets and part ones hold what is bought, and each row of the deliveries is one."""
    listed, buy, staged = plan.bought("pallet"), plan.bought()["buy"], plan["staging"]
    for code, unit in plan.units.items():
        loads = staged[(staged["unit"] == code) & staged["load"].str.startswith("pallet")]
        if unit["kind"] == "lintel":
            continue
        assert loads["holds"].sum() == buy[code]
        if unit["pallet"]:
            full, part = divmod(int(buy[code]), unit["pallet"])
            assert listed.loc[f"pallets {code}", "buy"] == ceil(buy[code] / unit["pallet"]) == len(loads)
            assert listed.loc[f"pallets {code}", "where"] == f"{full} of {unit['pallet']}" + (
                f", one part pallet of {part}" if part else ""
            )
            assert sorted(loads["holds"]) == sorted([unit["pallet"]] * full + [part] * bool(part))
    lintels = staged[staged["load"] == "lintels"].groupby("unit")["holds"].sum()
    assert lintels.to_dict() == {code: n for code, n in plan.net().items() if plan.units[str(code)]["kind"] == "lintel"}


def test_items(plan: Plan) -> None:
    m = plan["materials"].set_index(["item", "unit"])["net"]
    for (kind, unit), quantity in plan["items"].groupby(["kind", "unit"])["quantity"].sum().items():
        if (kind, unit) in m.index:
            assert m[kind, unit] == pytest.approx(quantity, abs=1e-6)
    s = plan["schedule"]
    for (item, unit), quantity in s[s["group"] == "items"].groupby(["item", "unit"])["quantity"].sum().items():
        assert m[item, unit] == pytest.approx(quantity, abs=1e-6)


def test_mortar(plan: Plan) -> None:
    """By wall, by day and in the materials it is the same; bags are the volume over the yield."""
    m, s, mix = plan["materials"].set_index(["item", "unit"]), plan["schedule"], plan["mixing"]
    for item in ("thin-bed mortar", "levelling mortar"):
        net = m.loc[(item, "m3"), "net"]
        assert s[s["item"] == item]["quantity"].sum() == pytest.approx(net, abs=1e-6)
        days = mix[mix["mortar"] == item]
        assert days["net_l"].sum() / 1000 == pytest.approx(net, abs=1e-6)
        assert days["waste_l"].sum() / 1000 == pytest.approx(m.loc[(item, "m3"), "waste"], abs=1e-6)
        litres = float(str(m.loc[(item, "bag"), "where"]).rpartition("make ")[2].removesuffix(" L"))
        assert m.loc[(item, "bag"), "net"] == pytest.approx(net * 1000 / litres, abs=1e-6)
        assert days["bags"].sum() == pytest.approx((days["net_l"].sum() + days["waste_l"].sum()) / litres, abs=1e-3)
        assert (days["batches"] == (days["bags"] / days["batch_bags"]).round(6).map(ceil)).all()
        assert days["bags_to_open"].sum() == m.loc[(item, "bag"), "buy"], "as many bags are opened as are bought"
        had = days["bags_to_open"].cumsum() - days["bags"].cumsum()
        assert (had > -1e-5).all() and (had < 1).all(), "enough each day, and never a second bag open"
    i = plan["items"]
    grout = i[i["kind"].isin(["core fill", "trough fill"])]["quantity"].sum()
    assert mix[mix["mortar"] == "grout"]["net_l"].sum() / 1000 == pytest.approx(grout, abs=1e-6)


def test_ledger_closes(plan: Plan) -> None:
    """From drawn to laid as in the summary; laid is pieces and mortar; pieces, offcuts, waste and rounding are what is bought."""
    ledger = plan["ledger"].set_index("wall")
    for wall in plan.summary["walls"]:
        for term, value in wall["ledger_m3"].items():
            assert ledger.loc[wall["guid"], f"{term}_m3"] == pytest.approx(value, abs=1e-8)

    def col(name: str) -> pd.Series:
        return ledger[f"{name}_m3"]

    laid = col("drawn") - sum(col(t) for t in TERMS) + col("borrowed") + sum(col(t) for t in FITS)
    assert (laid - col("laid")).abs().max() < 1e-6
    pieces = col("laid") - col("thin_bed") - col("levelling") - col("movement") - col("gaps") + col("shared")
    assert (pieces - col("pieces")).abs().max() < 1e-6
    assert (col("pieces") + col("offcuts") - col("units")).abs().max() < 1e-6
    assert (col("units") + col("waste") + col("rounding") - col("bought")).abs().max() < 1e-6
    assert abs(col("shared").sum()) < 1e-6
    size = {code: u["length_mm"] * u["height_mm"] * u["thickness_mm"] / 1e9 for code, u in plan.units.items()}
    buy = plan.bought()["buy"]
    assert col("bought").sum() == pytest.approx(sum(buy[code] * volume for code, volume in size.items()), abs=1e-6)
    assert (col("offcuts") > -1e-9).all()
    p = plan["pieces"]
    by = p.groupby("wall")["volume_m3"].sum().reindex(ledger.index).fillna(0.0)
    assert (by - col("pieces")).abs().max() < 1e-6


def test_mortar_is_what_pieces_leave(plan: Plan) -> None:
    """Measured joint by joint, the mortar fills what the pieces leave of each laid wall.

    What a butt joint is higher where the run that it meets is laid up to 12.7 mm higher than drawn is not told apart: 12.7 x 200 x 1 mm.
    """
    assert (plan["ledger"]["gaps_m3"].abs() < 1e-5).all()


def test_patch_mortar(plan: Plan) -> None:
    """By notch: the hole from the face to the core, less the piece that is put back with a gap on both sides, over and behind it."""
    notched = plan["pieces"][plan["pieces"]["work"].astype(object).fillna("").astype(str).str.contains("notch")]
    rules = {rule["code"]: rule["params"] for rule in plan.summary["rules"]}
    p, m = rules["patching"], plan.bought("m3")
    core = min((c["diameter_mm"] for u in plan.units.values() for c in u["cores"]), default=100)
    deep = (notched["thickness_mm"] - core) / 2
    wide, high, gap = p["notch_width_mm"], p["notch_height_mm"], p["gap_mm"]
    litres = (wide * high * deep - (wide - 2 * gap) * (high - gap) * (deep - gap)).sum() / 1e6
    assert ("patch mortar" in m.index) == bool(len(notched))
    if len(notched):
        assert m.loc["patch mortar", "net"] == pytest.approx(litres / 1000, rel=1e-6)


def test_movement_joints_are_laid(plan: Plan) -> None:
    """Width times height of the joints of items.csv, times the thickness of their run: in all tried plans their sides are upright."""
    i, thick = plan["items"], plan["runs"].set_index("run")["thickness_mm"]
    joints = i[i["kind"] == "movement joint"]
    volume = ((joints["end_mm"] - joints["start_mm"]) * (joints["top_mm"] - joints["bottom_mm"]) * joints["run"].map(thick)).sum() / 1e9
    assert plan["ledger"]["movement_m3"].sum() == pytest.approx(volume, abs=1e-8)


def test_sliding_ties_are_laid_as_the_wall_rises(plan: Plan) -> None:
    """A tie lies in a bed: its step comes before the pieces over it are laid and after those under it, not after all courses."""
    i, steps, p = plan["items"], plan["steps"].set_index("step"), plan["pieces"]
    ties, joints = i[i["kind"] == "sliding tie"], i[i["kind"] == "movement joint"]
    assert len(ties) >= len(joints)
    for _, tie in ties.iterrows():
        over = p[(p["run"] == tie["run"]) & (p["start_mm"] < tie["end_mm"]) & (p["end_mm"] > tie["start_mm"])]
        below, above = over[over["top_mm"] <= tie["bottom_mm"]], over[over["bottom_mm"] >= tie["top_mm"]]
        assert len(below)
        assert len(above)
        step = steps.loc[f"{tie['run']}-C{int(below['course'].max()):02d}-sliding-ties"]
        assert step["start_h"] >= steps.loc[below["step"], "end_h"].max() - 1e-6
        assert step["end_h"] <= steps.loc[above["step"], "start_h"].min() + 1e-6
    if len(ties):
        assert plan["materials"].set_index("item").loc["sliding tie", "net"] == len(ties)


def test_labour(plan: Plan) -> None:
    """Clock hours of the steps within a day, times their masons; two published rates for what lays units."""
    steps, labour, p = plan["steps"], plan["labour"], plan["pieces"]
    hands = steps["crew"].fillna("").str.split().map(len)
    clock = steps["end_h"] - steps["start_h"]
    night = (steps["end_h"] / 24).map(floor) != (steps["start_h"] / 24).map(floor)
    assert not (night & (hands > 0)).any(), "no step of these plans goes on the next day"
    by = (clock * hands).groupby(steps["kind"]).sum()
    for kind, hours in labour.groupby("kind")["hours_plan"].sum().items():
        assert hours == pytest.approx(by[kind], abs=1e-3)
    assert labour["hours_plan"].sum() == pytest.approx((clock * hands)[steps["kind"] != "hold"].sum(), abs=1e-3)
    laid = p.merge(steps[["step", "kind"]], on="step")
    laid = laid[laid["kind"].isin(["corner", "lead", "line", "closure"])]
    face = (laid["volume_m3"] / laid["thickness_mm"] * 1000).sum()
    assert labour["hours_by_area"].sum() == pytest.approx(160 * face / 92.90304, rel=1e-6)  # NAVFAC P-405
    rates = pd.cut(laid["mass_kg"] / 0.45359237, [0, 26, 32, 39, 47, 1e9], labels=[163, 150, 131, 105, 90]).astype(int)  # Schierhorn 1995
    assert labour["hours_by_mass"].sum() == pytest.approx((8 / rates).sum(), rel=1e-6)
    assert labour["pieces"].sum() == len(p)


def test_bill(plan: Plan) -> None:
    """With all openings deducted it is the laid area of the summary; a rule that leaves more in never measures less."""
    bill = plan["bill"]
    laid = {w["guid"]: w["area_m2"] for w in plan.summary["walls"]}
    every = bill[bill["deducted"] == "all"].groupby("wall")["measured_m2"].sum()
    for wall, area in every.items():
        assert area == pytest.approx(laid[str(wall)]["laid"], abs=1e-6)
    sums = bill.groupby("deducted")["measured_m2"].sum()
    order = ["all", "over 0.1 m2", "over 2 ft2", "over 0.5 m2", "over 10 ft2", "over 2.5 m2"]
    assert list(sums[order]) == sorted(sums[order])


def test_deliveries_stand_where_they_may(plan: Plan) -> None:
    """Off the edge and out of the strip; no two at one time nearer than a pallet; in the order in which pieces are laid."""
    inch = plan.summary["people_unit"] == "in"
    edge, strip, size = (914.4, 609.6, (1219.2, 1016.0)) if inch else (1000.0, 600.0, (1200.0, 1000.0))
    s = plan["staging"]
    pallets = s[s["load"].str.startswith("pallet")]
    assert (pallets["off_edge_mm"].dropna() >= edge - 1.5).all() and (pallets["off_wall_mm"].dropna() >= strip - 1.5).all()
    assert list(s["order"]) == list(range(1, len(s) + 1)) and s["day"].is_monotonic_increasing
    assert pallets["floor_kn_m2"].max() == pytest.approx((pallets["mass_kg"] * 9.80665e-3 / (size[0] * size[1] / 1e6)).max(), abs=1e-3)
    for _, day in pallets.dropna(subset=["x_mm"]).groupby(["storey", "day"]):
        spots = day[["x_mm", "y_mm"]].drop_duplicates().to_numpy()
        for n, one in enumerate(spots):
            for other in spots[n + 1 :]:
                assert abs(one - other).max() >= size[1] / 2

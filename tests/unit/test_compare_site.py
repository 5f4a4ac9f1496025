"""What `wallquant compare` tells a foreman besides pieces: settings, time, hands, findings, money.

Hours, money and counts are worked out here from the plans' own files with pandas, or by hand where that is said.
"""

from __future__ import annotations

import json
import shutil
from pathlib import Path
from typing import Any

import pandas as pd
import pytest

from tests.unit.command_line import Run, caller, refused, wall, wall_list

SAMPLES = Path(__file__).parents[2] / "sample_models"


@pytest.fixture
def run(capsys: pytest.CaptureFixture[str]) -> Run:
    return caller(capsys)


@pytest.fixture(scope="module")
def plans(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """One house of two walls with 1 mason, with 2, and with the 4 in lap."""
    from click.testing import CliRunner

    from wallquant.cli import main

    folder = tmp_path_factory.mktemp("plans")
    model = wall_list(folder, wall("A", length=4799), wall("B", 9000, length=4799))
    more = {"one": ["--masons", "1"], "two": ["--masons", "2"], "lap": ["--masons", "1", "--set", "running_bond.preset=four_inch"]}
    for name, options in more.items():
        done = CliRunner().invoke(main, ["plan", str(model), "-o", str(folder / name), "--catalogue", "aac-metric", *options])
        assert done.exit_code == 0, done.output
    return {name: folder / name for name in more}


def said(run: Run, *words: object) -> str:
    code, out, err = run("compare", *words)
    assert (code, err) == (0, "")
    return out


def facts(run: Run, *words: object) -> dict[str, Any]:
    found: dict[str, Any] = json.loads(said(run, *words, "--format", "json"))
    return found


def test_more_masons(plans: dict[str, Path], run: Run) -> None:
    """Steps are the same, so the sum of their hours is; what differs is the time on site."""
    text, found = said(run, plans["one"], plans["two"]), facts(run, plans["one"], plans["two"])
    assert found["settings"] == [{"name": "masons", "one": "1", "two": "2"}]
    steps = pd.read_csv(plans["one"] / "steps.csv", keep_default_na=False)
    laying = steps[steps["crew"] != ""]
    hands = float((laying["end_h"] - laying["start_h"]).sum())  # one mason, no step over a night: hours of the clock are hours of work
    assert found["time"]["hours_of_all_masons"] == [pytest.approx(hands, abs=1e-4)] * 2
    one, two = (json.loads((plans[n] / "summary.json").read_text(encoding="utf-8"))["totals"]["hours"] for n in ("one", "two"))
    assert found["time"]["hours"] == [one, two] and two < one
    assert "Set differently: masons 1 -> 2." in text
    assert f"Time: {two:.1f} h on site instead of {one:.1f} h, {one - two:.1f} h less".replace(".0 h", " h") in text
    assert "Blocks: as before" in text and "Every piece of one plan is in the other." in text and "Findings: the same in both." in text


def test_a_rule_is_named_with_both_values(plans: dict[str, Path], run: Run) -> None:
    text, found = said(run, plans["one"], plans["lap"]), facts(run, plans["one"], plans["lap"])
    rows = {row["name"]: (row["one"], row["two"]) for row in found["settings"]}
    assert rows["running_bond.least"] == ("40 mm", "101.6 mm") and rows["running_bond.thin_corners"] == ("yes", "no")
    assert "running_bond.least 40 mm -> 101.6 mm" in text
    codes = {row["code"] for row in found["findings"]}
    assert "running_bond.less-than-quarter" in codes and "running_bond.less-than-quarter: " in text


def test_what_a_foreman_asks_of_another_lap(plans: dict[str, Path], run: Run) -> None:
    """The lap as offset between joint centres, the day of the week, pallets, walls that stay; offsets are those of courses.csv."""
    text, found = said(run, plans["one"], plans["lap"]), facts(run, plans["one"], plans["lap"])
    asked = [pd.read_csv(plans[n] / "courses.csv")["offset_mm"].dropna().mode().min() for n in ("one", "lap")]
    assert found["offset_asked_mm"] == asked and asked[1] == pytest.approx(102.6)
    assert f"Bond: most courses ask for head joints at least {asked[1]:g} mm from those below, instead of {asked[0]:g} mm." in text
    days = found["time"]["days"]
    names = ["Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday"]
    assert found["time"]["last_weekday"] == [names[(d - 1) % 7] for d in days]
    assert f"done on day {days[1]}, a {names[(days[1] - 1) % 7]}" in text
    loads = pd.read_csv(plans["lap"] / "staging.csv", keep_default_na=False)
    count = int(loads["load"].str.startswith("pallet").sum())
    assert f"Pallets: {count} " in text and "Money: not told; --prices FILE gives a price list." in text


def test_settings_of_the_site_are_compared(plans: dict[str, Path], run: Run, tmp_path: Path) -> None:
    """Bill, staging, labour and offcuts stand in the summary; a plan without them is compared all the same."""
    from click.testing import CliRunner

    from wallquant.cli import main

    model = wall_list(tmp_path, wall("A", length=4799), wall("B", 9000, length=4799))
    job = tmp_path / "j.job.yaml"
    job.write_text(
        "schema: wallquant.job/1\ncatalogue: aac-metric\nmasons: 1\nbill: over 2.5 m2\noffcuts: run\nhoists: 0\n"
        "resources: {saw: 2}\nstaging: {off_edge: 2000 mm}\nlabour: {alone: 20.0}\n",
        encoding="utf-8",
    )
    done = CliRunner().invoke(main, ["plan", str(model), "-o", str(tmp_path / "b"), "--job", str(job)])
    assert done.exit_code == 0, done.output
    rows = {row["name"]: (row["one"], row["two"]) for row in facts(run, plans["one"], tmp_path / "b")["settings"]}
    assert rows == {
        "bill": ("all", "over 2.5 m2"),
        "offcuts": ("site", "run"),
        "hoists": ("1", "0"),
        "resources saw": ("", "2"),
        "staging off edge": ("1000 mm", "2000 mm"),
        "labour alone kg": ("23.1332", "20"),
    }
    old = tmp_path / "old"
    shutil.copytree(plans["one"], old)
    data = json.loads((old / "summary.json").read_text(encoding="utf-8"))
    (old / "summary.json").write_text(json.dumps({k: v for k, v in data.items() if k != "site"}), encoding="utf-8")
    assert facts(run, old, old)["settings"] == []


def test_only_a_finding_differs(plans: dict[str, Path], run: Run, tmp_path: Path) -> None:
    other = tmp_path / "other"
    shutil.copytree(plans["one"], other)
    data = json.loads((other / "findings.json").read_text(encoding="utf-8"))
    base = {"place": {}, "measured": "", "wanted": "", "times": 1, "rules": []}
    data["findings"].append({"code": "our.word", "severity": "warning", "text": "Ask the supplier.", **base})
    (other / "findings.json").write_text(json.dumps(data), encoding="utf-8")
    text = said(run, plans["one"], other)
    assert "Set alike" in text and "warning our.word: 1 new. New: Ask the supplier." in text
    assert "warning our.word: 1 gone. Gone: Ask the supplier." in said(run, other, plans["one"])


def test_only_a_rule_differs(plans: dict[str, Path], run: Run, tmp_path: Path) -> None:
    other = tmp_path / "other"
    shutil.copytree(plans["one"], other)
    data = json.loads((other / "summary.json").read_text(encoding="utf-8"))
    data["rules"] = [r for r in data["rules"] if r["code"] != "closures"]
    (other / "summary.json").write_text(json.dumps(data), encoding="utf-8")
    assert "Set differently: rule closures applies in the first plan only." in said(run, plans["one"], other)


PRICES = {
    "prices.yaml": (
        "currency: EUR\nprices:\n  std-600x200x200: 3.10\n  thin-bed mortar: {unit: bag, price: 12.5}\n  mason hour: 45\n  gold: 1\n"
    ),
    "prices.csv": "item,unit,price\nstd-600x200x200,,3.10\nthin-bed mortar,bag,12.5\nmason hour,h,45\ngold,,1\n",
}


@pytest.mark.parametrize("name", PRICES)
def test_money(plans: dict[str, Path], run: Run, tmp_path: Path, name: str) -> None:
    file = tmp_path / name
    file.write_text(PRICES[name], encoding="utf-8")
    found = facts(run, plans["one"], plans["two"], "--prices", file)["money"]
    wanted = []
    for masons, out in ((1, plans["one"]), (2, plans["two"])):
        buy = pd.read_csv(out / "materials.csv").set_index(["item", "unit"])["buy"]
        hours = json.loads((out / "summary.json").read_text(encoding="utf-8"))["totals"]["hours"]
        blocks, bags = buy["std-600x200x200", "pcs"], buy["thin-bed mortar", "bag"]
        wanted.append(round(3.1 * blocks, 2) + round(12.5 * bags, 2) + round(45 * masons * hours, 2))
    assert found["total"] == [pytest.approx(w, abs=1e-9) for w in wanted]
    assert found["not_bought"] == ["gold"] and "levelling mortar" in found["without_price"]
    text = said(run, plans["one"], plans["two"], "--prices", file)
    assert f"Money: {wanted[1]:,.2f}" in text and "mason hour: " in text and "having no price: levelling mortar" in text


def test_bars_have_one_price(plans: dict[str, Path], run: Run, tmp_path: Path) -> None:
    """By the metre or as whole bars, which are the same steel: priced one way the other misses no price, priced both ways is refused."""
    other = tmp_path / "steel"
    shutil.copytree(plans["one"], other)
    with (other / "materials.csv").open("a", encoding="utf-8") as table:
        table.write('bar,10.0,2.6,12.6,m,R1,b\n"bar 12 mm, 6000 mm long",2.0,0.1,3.0,pcs,2 for 5 lengths,b\n')
    file = tmp_path / "p.csv"
    for item, left in (("bar", "bar 12 mm, 6000 mm long"), ("bar 12 mm, 6000 mm long", "bar")):
        file.write_text(f'item,price\n"{item}",2\n', encoding="utf-8")
        found = facts(run, other, other, "--prices", file)["money"]
        assert left not in found["without_price"] and found["total"] == [2 * (12.6 if item == "bar" else 3)] * 2
    file.write_text('item,price\nbar,2\n"bar 12 mm, 6000 mm long",9\n', encoding="utf-8")
    code, _, told = run("compare", other, other, "--prices", file)
    assert code == 2 and "same steel" in told


@pytest.mark.parametrize(
    ("name", "content", "words"),
    [
        ("p.yaml", "prices: [1]\n", "prices"),
        ("p.yaml", "prices: {brick: cheap}\n", "write a price"),
        ("p.yaml", "prices: {brick: -1}\n", "write a price"),
        ("p.csv", "a,b\n1,2\n", "columns item and price"),
        ("p.csv", "item,price\nbrick,nan\n", "line 2"),
        ("p.csv", None, "cannot be read"),
        ("p.yaml", None, "cannot be opened"),
    ],
)
def test_a_wrong_price_list_is_one_sentence(
    plans: dict[str, Path], run: Run, tmp_path: Path, name: str, content: str | None, words: str
) -> None:
    if content is not None:
        (tmp_path / name).write_text(content, encoding="utf-8")
    assert words in refused(run("compare", plans["one"], plans["two"], "--prices", tmp_path / name))


@pytest.mark.parametrize("model", ["landing_tool_store_mm.ifc", "field_station_workshop_in.ifc"])
def test_samples_with_two_laps(model: str, run: Run, tmp_path: Path) -> None:
    """The 4 in lap against a quarter: the text says what was set, what it does to cuts and units, and where."""
    for name in ("four_inch", "quarter"):
        assert run("plan", SAMPLES / model, "-o", tmp_path / name, "--set", f"running_bond.preset={name}")[0] in (0, 1)
    text = said(run, tmp_path / "four_inch", tmp_path / "quarter")
    cuts = [json.loads((tmp_path / n / "summary.json").read_text(encoding="utf-8"))["counts"]["cuts"] for n in ("four_inch", "quarter")]
    assert cuts[1] > cuts[0] and f"{cuts[1] - cuts[0]} cuts more to saw, {cuts[0]} -> {cuts[1]}" in text
    assert "running_bond.measure lap -> offset" in text
    assert "running_bond.less-than-quarter" in text and "Walls that differ: " in text

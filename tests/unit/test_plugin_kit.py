"""The kit for authors of rules: the suite finds what is wrong, and an installed firm's rules change a plan by what they say."""

from __future__ import annotations

import json
import subprocess
import sys
import sysconfig
import venv
from collections.abc import Iterable
from pathlib import Path
from typing import Any

import pandas as pd
import pytest
import wallquant_thinbed

from wallquant import plugins
from wallquant.layout import Courses, Run, Work
from wallquant.rules import Amount, Item, NoParams, Rule, Sentence, Window
from wallquant.strictyaml import YamlError
from wallquant.testing import cases, complaints, houses
from wallquant.testing.conformance import cased, documented, planned, sourced
from wallquant.units import MM

ROOT = Path(__file__).parents[2]
FIRM = ROOT / "plugins" / "example_firm"
CASES = Path(wallquant_thinbed.__file__).parent / "cases"


class Undocumented(Rule):
    code = "undocumented"
    title = "Nothing"


class Random(Rule):
    """This rule says something else each time that it is asked.

    What it asks
    ------------
    A window that moves.

    Why
    ---
    To be found out.

    Source
    ------
    Project input.

    Example
    -------
    None.
    """

    code = "random_rule"
    title = "Random"
    Params = NoParams
    asked = 0

    def demand(self, run: Run, courses: Courses) -> Iterable[Sentence]:
        type(self).asked += 1
        yield Window(course=1, lo=type(self).asked, hi=type(self).asked + 1000, yields=9)


def test_the_suite_names_what_is_missing(tmp_path: Path) -> None:
    told = [*documented(Undocumented), *sourced(Undocumented), *cased(Undocumented, tmp_path / "none.yaml")]
    assert any("no section 'Source'" in t for t in told) and any("there are no cases" in t for t in told)


def test_a_rule_with_a_state_is_found_out(tmp_path: Path) -> None:
    file = tmp_path / "random_rule.yaml"
    file.write_text(
        "cases:\n  - name: a\n    catalogue: aac-metric\n    run: {length: 6000 mm, unit: std-600x200x200, courses: 2}\n"
        "    demand: {count: {Window: 1}}\n",
        encoding="utf-8",
    )
    assert any("keeps a state" in t for t in cased(Random, file))


@pytest.mark.parametrize("code", ["running_bond", "vertical_bars", "bond_beams"])
def test_rules_of_the_pack_conform(code: str) -> None:
    rule = plugins.load().rules[code]
    settings: dict[str, Any] = {"vertical_bars": {"spacing": "1200 mm"}, "bond_beams": {"top": True}}.get(code, {})
    assert not complaints(rule, settings=settings, seeds=range(2))


def test_random_houses_are_the_same_for_a_seed(tmp_path: Path) -> None:
    assert houses.wall_list(3) == houses.wall_list(3) != houses.wall_list(4)
    assert not list(planned(plugins.load().rules["closures"], {}, (5,)))


@pytest.mark.parametrize("file", sorted(CASES.glob("*.yaml")), ids=lambda f: f.stem)
def test_a_case_that_asks_something_else_fails(file: Path) -> None:
    """The loader can fail: every case of the pack does, once what it asks for is turned round."""
    rule = plugins.load().rules[file.stem]
    case = next(
        c for c in cases.load(file) if "has" in c.get("demand", {}) or "has" in c.get("findings", {}) or "has" in c.get("measure", {})
    )
    key = next(k for k in ("demand", "findings", "measure") if "has" in case.get(k, {}))
    with pytest.raises(AssertionError):
        cases.check(rule, {**case, key: {"hasnt": case[key]["has"]}})


CASE = """
cases:
  - name: one
    catalogue: aac-metric
    run: {{length: 6000 mm, unit: std-600x200x200, courses: 4{run}}}
    {more}
"""


@pytest.mark.parametrize(
    ("run", "more", "said"),
    [
        ("", "demand: {hasnot: []}", "cases[0].demand.hasnot: there is no 'hasnot'; did you mean 'hasnt'?"),
        ("", "demands: {has: []}", "cases[0].demands: there is no 'demands'; did you mean 'demand'?"),
        ("", "measure: {before: []}", "cases[0].measure.before: there is no 'before'"),
        (", hight: 2 m", "demand: {has: []}", "cases[0].run.hight: there is no 'hight'"),
        (", openings: [{key: D1, begin: 1 m}]", "demand: {has: []}", "cases[0].run.openings[0].begin: there is no 'begin'"),
    ],
)
def test_a_misspelt_key_of_a_case_is_an_error(run: str, more: str, said: str, tmp_path: Path) -> None:
    """Nobody would read it, so that what it asks for could never fail."""
    file = tmp_path / "cases.yaml"
    file.write_text(CASE.format(run=run, more=more), encoding="utf-8")
    with pytest.raises(YamlError) as caught:
        cases.load(file)
    assert said in str(caught.value) and "\n" not in str(caught.value)
    assert any(said in complaint for complaint in cased(Undocumented, file))


class Straps(Rule):
    """A strap on course 1, and two screws for each."""

    code = "straps"

    def demand(self, run: Run, courses: Courses) -> Iterable[Sentence]:
        yield Item(kind="strap", run=run.name, start=0, end=300 * MM, bottom=0, top=MM, course=1)

    def measure(self, work: Work) -> Iterable[Amount]:
        mine = [i for i in work.items if isinstance(i, Item) and i.rule == self.code]
        yield Amount(item="screw", quantity=2.0 * len(mine), unit="pcs")


def test_a_case_has_the_items_that_its_rule_places(tmp_path: Path) -> None:
    case = {"name": "c", "catalogue": "aac-metric", "run": {"length": "3 m", "unit": "std-600x200x200", "courses": 2}}
    cases.check(Straps, {**case, "measure": {"has": [{"item": "screw", "quantity": 2}]}})
    with pytest.raises(AssertionError):
        cases.check(Straps, {**case, "measure": {"has": [{"item": "screw", "quantity": 4}]}})


def test_the_rule_in_developers_md_runs(tmp_path: Path) -> None:
    """What is printed there is a file that loads, and a rule without a complaint about its page and its parameters."""
    text = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8").split("\n## Add a rule")[1].split("\n### ")[0]
    code = "\n".join(line[4:] for line in text.splitlines() if line.startswith("    ") or not line)
    file = tmp_path / "our_rule.py"
    file.write_text(code, encoding="utf-8")
    rule = plugins.load([file]).rules["no_cut_at_jambs"]
    assert not [*documented(rule), *sourced(rule)]
    door = {"key": "D", "start": "3 m", "width": "1 m", "head": "2 m"}
    run = {"length": "6 m", "unit": "std-600x200x200", "courses": 12, "openings": [door]}
    window = {"say": "Window", "course": 1, "lo": "2800 mm", "hi": "3000 mm", "of": "cut"}
    cases.check(rule, {"name": "c", "catalogue": "aac-metric", "run": run, "demand": {"has": [window], "count": {"Window": 20}}})


def test_the_python_in_developers_md_runs(monkeypatch: pytest.MonkeyPatch) -> None:
    """The store has six rooms (two west, two in the middle, two east), and one door or window at least in each outer wall."""
    text = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8").split("\n## From Python")[1].split("\n## ")[0]
    code = "\n".join(line[4:] for line in text.splitlines() if line.startswith("    ") or not line)
    monkeypatch.chdir(ROOT)
    there: dict[str, Any] = {}
    exec(compile(code, "DEVELOPERS.md", "exec"), there)
    made = there["made"]
    assert there["rooms"] == 6
    assert set(there["junctions"]) == {c.name for c in made.network.corners if c.kind == "T"}
    assert len(there["cut"]) == len(made.work.pieces) and there["cut"].any() and not there["cut"].all()
    assert len(there["order"]) == len(made.schedule.graph.steps) and "pallets std-600x200x200" in set(there["bought"]["item"])


@pytest.fixture(scope="module")
def firm(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A virtual environment with this wallquant and the firm's wheel; its python."""
    place = tmp_path_factory.mktemp("firm")
    run = [sys.executable, "-m", "pip", "wheel", "-q", "--no-deps", "--no-build-isolation", "-w", str(place), str(FIRM)]
    subprocess.run(run, check=True, capture_output=True)
    (wheel,) = place.glob("*.whl")
    venv.create(place / "env", with_pip=False, symlinks=True)
    python = place / "env" / "bin" / "python"
    site = Path(
        subprocess.run(
            [str(python), "-c", "import sysconfig; print(sysconfig.get_path('purelib'))"], capture_output=True, text=True, check=True
        ).stdout.strip()
    )
    # what wallquant needs is there already: this environment's packages, and the checkout
    (site / "near.pth").write_text(f"{sysconfig.get_path('purelib')}\n{ROOT}\n{ROOT / 'plugins'}\n", encoding="utf-8")
    put = [sys.executable, "-m", "pip", "install", "-q", "--no-deps", "--target", str(site), str(wheel)]
    subprocess.run(put, check=True, capture_output=True)
    return python


def plan(python: Path, out: Path, *options: str) -> Path:
    model = ROOT / "sample_models" / "landing_tool_store_mm.ifc"
    code = "from wallquant.cli import main; main()"
    done = subprocess.run(
        [str(python), "-c", code, "plan", str(model), "-o", str(out), *options], capture_output=True, text=True, check=False, cwd=out.parent
    )
    assert done.returncode in (0, 1), done.stderr
    return out


def test_installed_rules_change_a_plan_by_what_they_say(firm: Path, tmp_path: Path) -> None:
    off = tmp_path / "off.yaml"
    off.write_text("rules_off: [whole_jambs, grout_days]\n", encoding="utf-8")
    bars = ("--set", "vertical_bars.spacing=1200 mm")
    before, after = plan(firm, tmp_path / "before", "--job", str(off), *bars), plan(firm, tmp_path / "after", *bars)
    codes = [{r["code"] for r in json.loads((p / "summary.json").read_text(encoding="utf-8"))["rules"]} for p in (before, after)]
    assert codes[1] - codes[0] == {"whole_jambs", "grout_days"}
    short = [beside_jambs(p, 200) for p in (before, after)]
    assert short[1] < short[0]
    days = [set(steps[steps.kind == "core grout"].day) for steps in (pd.read_csv(p / "steps.csv") for p in (before, after))]
    assert days[1] and all((day - 1) % 7 in (1, 3) for day in days[1])  # day 1 is a Monday
    assert not all((day - 1) % 7 in (1, 3) for day in days[0])
    laid = [pd.read_csv(p / "pieces.csv").volume_m3.sum() for p in (before, after)]
    assert laid[0] == pytest.approx(laid[1], rel=0.01)


def beside_jambs(out: Path, least: float) -> int:
    """Count cut pieces shorter than `least` that end at a jamb."""
    pieces, openings = pd.read_csv(out / "pieces.csv", keep_default_na=False), pd.read_csv(out / "openings.csv", keep_default_na=False)
    count = 0
    for o in openings[openings.through].itertuples() if openings.through.dtype == bool else openings.itertuples():
        near = pieces[(pieces.run == o.run) & (pieces.bottom_mm < o.head_mm - 1) & (pieces.top_mm > o.sill_mm + 1)]
        at = ((near.end_mm - o.start_mm).abs() < 1) | ((near.start_mm - o.end_mm).abs() < 1)
        count += int((at & (near.end_mm - near.start_mm < least - 1)).sum())
    return count


def test_the_firms_own_tests_pass(firm: Path) -> None:
    done = subprocess.run(
        [
            str(firm), "-m", "pytest", "-q", "-p", "no:cacheprovider", "-c", str(FIRM / "pyproject.toml"), "--rootdir", str(FIRM),
            str(FIRM / "tests"),
        ],
        capture_output=True, text=True, check=False, cwd=FIRM,
    )  # fmt: skip
    assert done.returncode == 0, done.stdout[-2000:] + done.stderr[-500:]

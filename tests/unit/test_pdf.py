"""sheets.pdf, read back with pypdf: its pages, its numbers against the plan's tables, names that do no harm, equal bytes."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from functools import cache
from itertools import pairwise
from pathlib import Path

import pandas as pd
import pytest
from pypdf import PdfReader

from tests.unit.command_line import outside, wall, wall_list
from tests.unit.ifc_maker import Maker
from wallquant.units import INCH, MM
from wallquant.writers.pdf.letters import ODD

SAMPLES = Path(__file__).resolve().parents[2] / "sample_models"
NAMES = {"mm": "landing_tool_store", "in": "field_station_workshop"}
FEET = re.compile(r"^(-)?(?:(\d+)'-)?(?:(\d+))?\s?(?:(\d+)/(\d+))?\"$")


@pytest.fixture(scope="module", params=["mm", "in"])
def plan(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Path:
    out = tmp_path_factory.mktemp("sheets") / "out"
    name = NAMES[request.param]
    model = SAMPLES / f"{name}_{request.param}.ifc"
    more = ("--job", SAMPLES / f"{name}.job.yaml", "--survey", SAMPLES / f"{name}_slab.csv", "--write", "pdf")
    code, _, told = outside("plan", model, "-o", out, *more)
    assert code in (0, 1), told
    return out


@cache
def pages(folder: Path) -> tuple[str, ...]:
    return tuple(page.extract_text() for page in PdfReader(folder / "sheets.pdf").pages)


def titled(folder: Path, start: str) -> list[str]:
    """Lines of the pages whose title starts so."""
    return [line.strip() for page in pages(folder) if page.startswith(start) for line in page.splitlines()]


def table(folder: Path, name: str) -> pd.DataFrame:
    return pd.read_csv(folder / name, keep_default_na=False)


def system(folder: Path) -> str:
    return str(json.loads((folder / "summary.json").read_text(encoding="utf-8"))["people_unit"])


def millimetres(figure: str, units: str) -> float:
    """Read a drawing's figure; of feet and inches to 1/16 in."""
    if units == "mm":
        return float(figure)
    found = FEET.match(figure)
    assert found, figure
    sign, foot, inch, part, whole = found.groups()
    marks = (int(foot or 0) * 12 + int(inch or 0)) * 16 + (int(part) * 16 // int(whole) if part else 0)
    return (-1 if sign else 1) * marks * INCH / 16 / MM


def slack(units: str) -> float:
    return 0.051 if units == "mm" else 25.4 / 32 + 1e-6


def is_figure(cell: str, units: str) -> bool:
    return bool(re.fullmatch(r"-?\d+(\.\d+)?", cell)) if units == "mm" else bool(FEET.match(cell))


def bars(folder: Path) -> list[tuple[float, ...]]:
    """Rows of the bar table, each cell a line: x and y from the edges, out of slab, diameter, plan x and y."""
    units, lines = system(folder), titled(folder, "Bars before the pour")
    out = []
    for n, line in enumerate(lines):
        cells = lines[n + 2 : n + 8]
        if line.isdigit() and re.fullmatch(r"R\d+", "".join(lines[n + 1 : n + 2])) and all(is_figure(c, units) for c in cells):
            out.append(tuple(millimetres(c, units) for c in cells))
    return out


def sawn_from(lines: list[str], mark: str) -> set[tuple[str, str]]:
    """Pieces whose mark looks so, with the stock at the end of their row."""
    out, now = set(), ""
    for line in lines:
        if re.fullmatch(mark, line):
            now = line
        elif now and re.fullmatch(r"S\d+", line):
            out.add((now, line))
            now = ""
    return out


def test_each_run_storey_and_day_has_its_sheet(plan: Path) -> None:
    titles = [page.splitlines()[0] for page in pages(plan)]
    for run in table(plan, "runs.csv")["run"]:
        assert any(re.match(rf"Run {run}[,\s]", t) for t in titles), run
    for storey in set(table(plan, "runs.csv")["storey"]):
        assert f"First course, {storey}" in titles
        assert f"Bars before the pour, {storey}" in titles
    assert "Slab as surveyed" in titles
    for day in set(table(plan, "steps.csv")["day"]):
        assert any(t.startswith(f"Day {day},") for t in titles), day


def test_pages_are_numbered_and_none_is_empty(plan: Path) -> None:
    every = pages(plan)
    for n, page in enumerate(every, 1):
        assert re.search(rf"Page {n} of\s+{len(every)}\b", page), page[-200:]
        assert len(page.split()) > 30, page
        assert "no structural design" in page


def test_bars_stand_where_items_say(plan: Path) -> None:
    items = table(plan, "items.csv")
    bottoms = dict(table(plan, "runs.csv")[["run", "bottom_mm"]].values.tolist())
    stubs = items[(items["kind"] == "bar") & (items["start_mm"] == items["end_mm"])]
    stubs = stubs[stubs["bottom_mm"] == stubs["run"].map(bottoms)]
    wanted = {(round(x, 3), round(y, 3)) for x, y in stubs[["x_mm", "y_mm"]].values.tolist()}
    assert len(wanted) > 10
    found = [(x, y, px, py) for x, y, _, _, px, py in bars(plan)]
    assert len(found) == len(wanted)
    near = slack(system(plan))
    for _, _, px, py in found:
        assert any(abs(px - x) <= near and abs(py - y) <= near for x, y in wanted), (px, py)
    # from the two edges: the samples' axes are the model's, so that both pairs differ by one and the same shift
    first = found[0]
    for x, y, px, py in found:
        assert abs((px - x) - (first[2] - first[0])) <= 4 * near
        assert abs((py - y) - (first[3] - first[1])) <= 4 * near


def test_edges_are_the_outermost_faces(plan: Path) -> None:
    """By the pieces' boxes alone: no piece of the lowest courses lies beyond an edge, and one touches each."""
    units, pieces = system(plan), table(plan, "pieces.csv")
    flat = pieces[(pieces["plan"] == "") & (pieces["angle_deg"] % 90 == 0)]
    upright = flat["angle_deg"] % 180 != 0
    length, half = flat["end_mm"] - flat["start_mm"], flat["thickness_mm"] / 2
    x0 = (flat["x_mm"] - half.where(upright, 0)).min()
    y0 = (flat["y_mm"] - half.where(~upright, 0)).min()
    assert (length > 0).all()
    x, y, _, _, px, py = bars(plan)[0]
    assert px - x == pytest.approx(x0, abs=2 * slack(units))
    assert py - y == pytest.approx(y0, abs=2 * slack(units))


def test_first_course_is_that_of_the_pieces(plan: Path) -> None:
    units, pieces = system(plan), table(plan, "pieces.csv")
    near = slack(units)
    for run, some in pieces.groupby("run"):
        low = some["start_mm"].min()
        first = some[some["course"] == some["course"][some["course"] >= 1].min()]
        lines = titled(plan, f"Run {run},")
        told: dict[str, tuple[float, float]] = {}
        for n in range(lines.index("First course, from corner to jambs"), lines.index("Course pole")):
            mark, start, end, unit = lines[n : n + 4]
            if re.fullmatch(r"C\d+-\d+", mark) and is_figure(start, units) and is_figure(end, units) and "x" in unit:
                told[mark] = (millimetres(start, units), millimetres(end, units))
        for _, piece in first.iterrows():
            start, end = told[str(piece["piece"]).removeprefix(f"{run}-")]
            assert start == pytest.approx(piece["start_mm"] - low, abs=near), piece["piece"]
            assert end == pytest.approx(piece["end_mm"] - low, abs=near), piece["piece"]


def test_movement_joints_are_among_the_marks_of_the_first_course(plan: Path) -> None:
    """A gap that nothing names is filled with mortar: each joint has its row, its J over the wall, and its run in the step's text."""
    units, items, steps = system(plan), table(plan, "items.csv"), table(plan, "steps.csv")
    low = table(plan, "pieces.csv").groupby("run")["start_mm"].min()
    joints = items[items["kind"] == "movement joint"]
    assert len(joints) or units == "in", "the metric sample has them"
    for run, some in joints.groupby("run"):
        lines = titled(plan, f"Run {run},")
        rows = [lines[n + 1 : n + 4] for n, line in enumerate(lines) if line == "joint"]
        assert lines.count("J") == len(some) == len(rows)
        for (start, end, said), (_, joint) in zip(rows, some.sort_values("start_mm").iterrows(), strict=True):
            assert millimetres(start, units) == pytest.approx(joint["start_mm"] - low[run], abs=slack(units))
            assert millimetres(end, units) == pytest.approx(joint["end_mm"] - low[run], abs=slack(units))
            assert said.startswith("movement joint, ") and said.endswith("no mortar")
        [text] = steps[(steps["kind"] == "movement joint") & (steps["run"] == run)]["text"]
        assert text.count(f" in {run}: ") == len(some)


def test_an_opening_left_open_above_has_its_own_size(plan: Path) -> None:
    """Nothing bridges one opening of the metric sample: the void goes up to the top, and what is written is the opening."""
    runs, openings = table(plan, "runs.csv").set_index("run"), table(plan, "openings.csv")
    bare = openings[(openings["bridged"] == "none") & (openings["through"].astype(str).str.lower() == "true")]
    assert len(bare) == (system(plan) == "mm")
    page = (plan / "report.html").read_text(encoding="utf-8")
    for _, one in bare.iterrows():
        lines = titled(plan, f"Run {one['run']},")
        assert lines.count("open above it: close by hand") == 1
        assert {"1200 × 1001", "1009 to 2010"} <= set(lines), "drawn from 1000 to 2000, as laid from 1009 to 2010"
        assert f"window, 1200 mm × 1001 mm, sill 1009 mm over the underside of {one['run']}; open above it: close by hand" in page
        assert f"LINESTRING (0 {one['head_mm']:g}" in runs.loc[one["run"], "top"], "up to where nothing is laid"


def test_the_course_pole_ends_at_the_top_of_the_last_piece(plan: Path) -> None:
    """A last course that is ripped has its mark where it is laid to, not where a whole course would end."""
    units, pieces = system(plan), table(plan, "pieces.csv")
    bottoms = table(plan, "runs.csv").set_index("run")["bottom_mm"]
    for run, some in pieces.groupby("run"):
        lines = titled(plan, f"Run {run},")
        at = lines.index(str(some["course"].max()), lines.index("Course pole"))
        assert millimetres(lines[at + 2], units) == pytest.approx(some["top_mm"].max() - bottoms[run], abs=slack(units))


def test_every_cut_is_in_its_run_s_schedule(plan: Path) -> None:
    cuts = table(plan, "cuts.csv")
    by_run: dict[str, set[tuple[str, str]]] = {}
    for piece, stock in cuts[["piece", "stock"]].values.tolist():
        run, _, mark = piece.partition("-")
        by_run.setdefault(run, set()).add((mark, stock))
    for run, wanted in by_run.items():
        assert sawn_from(titled(plan, f"Run {run},"), r"C\d+-\d+") == wanted


def test_each_step_is_on_its_day_at_its_time(plan: Path) -> None:
    steps = table(plan, "steps.csv")
    for day, some in steps.groupby("day"):
        text = " ".join(titled(plan, f"Day {day},"))
        for start, end, said in some[["start_h", "end_h", "text"]].values.tolist():
            minutes = round((7 * 3600 + round(start * 3600)) / 60) % 1440
            night = end % 24 > 8 + 1e-6
            assert (f"day {day + 1}, 07:00" if night else f"{minutes // 60:02d}:{minutes % 60:02d}") in text
            assert " ".join(said.split()[:5]) in text, said
        holds = some[some["kind"] == "hold"]
        assert ("Holds: work stops until it is done" in text) == bool(len(holds))


def test_pre_cuts_are_those_of_the_next_day(plan: Path) -> None:
    """As in saw_list.csv: each piece that is cut ahead of a day, with its unit, on the sheet of the day before; day 1 has its own too."""
    sawn = table(plan, "saw_list.csv")
    stock = table(plan, "cuts.csv").set_index("piece")["stock"]
    ahead = sawn[sawn["when"] == "ahead"]
    days = sorted(set(table(plan, "steps.csv")["day"]))
    for day, after in [(days[0], days[0]), *pairwise(days)]:
        rows = ahead[ahead["day"] == after]
        wanted = {(piece, stock[piece]) for pieces in rows["pieces"] for piece in pieces.split()}
        lines = titled(plan, f"Day {day},")
        heading = f"Saw before day {day} begins" if day == after else f"Saw today for day {after}"
        assert (heading in lines) == bool(wanted)
        if wanted:
            told = " ".join(lines[lines.index(heading) :])
            told = told.partition("Have at the wall")[0]  # what comes next; the list of the next day comes last
            assert sorted(re.findall(r"R\d+-C\d+-\d+", told)) == sorted(piece for piece, _ in wanted)
            assert sorted(re.findall(r"S\d{5}", told)) == sorted(unit for _, unit in wanted)
            # where a page ends between a piece and its unit, its foot stands between them
            assert set(re.findall(r"(R\d+-C\d+-\d+)(?: \([^)]*\))? (S\d+)", told)) <= wanted
            assert f"{len(wanted):,} pieces with {len(rows):,}" in told
    assert set(ahead["day"]) <= set(days)


def test_bars_are_cut_as_the_list_says(plan: Path) -> None:
    """The sheet has each pattern of bars.csv with its bars; the sheets of the days have each length with how many."""
    cuts, units = table(plan, "bars.csv"), system(plan)
    lines = titled(plan, "Bars to cut")
    named: list[str] = []
    for line in lines:
        if re.fullmatch(r"B\d{3}[B\d to,]*", line):
            for part in line.split(", "):
                first, _, last = part.partition(" to ")
                some = range(int(first[1:]), int(last[1:]) + 1) if last else [int(n[1:]) for n in part.split()]
                named += [f"B{n:03d}" for n in some]
    assert named == sorted(set(cuts["bar"])), "each bar once, in its order"
    assert all(rows["order"].tolist() == list(range(1, len(rows) + 1)) for _, rows in cuts.groupby("bar"))
    assert any(line.startswith(f"{cuts['bar'].nunique()} bars of") for line in lines)
    days = set(cuts.loc[cuts["task"] != "bar stub", "day"])
    for day in set(table(plan, "steps.csv")["day"]):
        assert ("Bars today, cut and tagged" in titled(plan, f"Day {day},")) == (day in days), day
    for day, rows in cuts[cuts["task"] != "bar stub"].groupby("day"):
        own = titled(plan, f"Day {day},")
        own = own[own.index("Bars today, cut and tagged") :]
        own = own[: own.index("Mortar and grout today, waste included")]
        counts: dict[float, int] = {}
        for a, b in pairwise(own):
            if is_figure(a, units) and re.fullmatch(r"\d+", b):
                counts[millimetres(a, units)] = counts.get(millimetres(a, units), 0) + int(b)
        for length, count in rows.groupby("length_mm").size().items():
            near = [n for shown, n in counts.items() if abs(shown - float(str(length))) <= (1.0 if units == "mm" else slack(units))]
            assert count in near, (day, length)


def test_mortar_of_a_day_has_its_waste_batches_and_bags(plan: Path) -> None:
    """As in mixing.csv: batches and whole bags to open, with waste; grout by volume."""
    mix = table(plan, "mixing.csv")
    for _, row in mix[mix["mortar"] != "grout"].iterrows():
        own = titled(plan, f"Day {row['day']},")
        own = own[own.index("Mortar and grout today, waste included") :]
        at = own.index(row["mortar"])
        bags = own[at + 2].split(" of ")[0]
        assert bags == f"{float(row['bags']):.1f}".removesuffix(".0").replace("part of ", "") or float(row["bags"]) < 0.05
        assert own[at + 3 : at + 5] == [str(int(row["batches"])), str(int(row["bags_to_open"]))]
    assert any("grout" in titled(plan, f"Day {day},") for day in mix.loc[mix["mortar"] == "grout", "day"])


def test_deliveries_are_on_their_sheets(plan: Path) -> None:
    """Each row of staging.csv is on the storey's sheet of pallets, and on the day sheet before the day that needs it."""
    loads = table(plan, "staging.csv")
    sheet = titled(plan, "Pallets, ")
    days = sorted(table(plan, "steps.csv")["day"].unique())
    for _, row in loads.iterrows():
        what = f"{row['holds']} {row['unit']}"
        assert any(line.startswith(what) for line in sheet) and str(row["order"]) in sheet
        before = [d for d in days if d < row["day"]]
        own = titled(plan, f"Day {before[-1] if before else row['day']},")
        start = next(n for n, line in enumerate(own) if line.startswith("Bring ") and f"day {row['day']} " in line)
        assert str(row["order"]) in own[start:], what


def test_cautions_go_with_what_the_day_holds(plan: Path) -> None:
    steps = table(plan, "steps.csv")
    findings = json.loads((plan / "findings.json").read_text(encoding="utf-8"))["findings"]
    said = {f["code"].partition(".")[2]: " ".join(f["text"].split()[:6]) for f in findings if f["code"].startswith("caution.")}
    for day, some in steps.groupby("day"):
        text = " ".join(titled(plan, f"Day {day},"))
        for always in ("local-codes", "mortar", "wind"):
            assert said[always] in text, (day, always)
        if (some["kind"] == "lintel").any():
            assert said["lifting"] in text
            assert said["props"] in text
    assert said["silica"] in " ".join(titled(plan, "Day 1,"))


def test_rod_readings_are_those_of_the_survey(plan: Path) -> None:
    units, bench = system(plan), table(plan, "bench.csv")
    lines = titled(plan, "Slab as surveyed")
    rows = [lines[n : n + 5] for n in range(len(lines)) if re.fullmatch(r"K\d+", lines[n])]
    steps = table(plan, "steps.csv")
    setting = steps[steps["kind"] == "corner"].set_index("corner")
    bench = bench.sort_values("corner", key=lambda names: names.map(setting.index.get_loc))
    assert [row[0] for row in rows] == bench["corner"].tolist(), "in the order in which the day sheets set them"
    assert all(row[1] in setting.loc[row[0], "text"] for row in rows), "and the pieces that they set"
    assert [row[1] for row in rows] == bench["piece"].tolist()
    for row, asked in zip(rows, bench[["bed_mm", "top_mm", "reading_mm"]].values.tolist(), strict=True):
        wanted = [float(v) for v in asked if v != ""]
        assert [millimetres(f, units) for f in row[2 : 2 + len(wanted)]] == pytest.approx(wanted, abs=slack(units) + 0.001)


def test_text_lies_on_its_page(plan: Path) -> None:
    """No text begins off the paper, and none is smaller than can be read."""
    for page in PdfReader(plan / "sheets.pdf").pages:
        wide, high = float(page.mediabox.width), float(page.mediabox.height)
        assert wide > high
        for x, y, size in placed(page):
            assert 10 < x < wide - 10 and 10 < y < high - 10, (x, y)
            assert size >= 4.5


def placed(page: object) -> Iterator[tuple[float, float, float]]:
    out: list[tuple[float, float, float]] = []

    def visit(text: str, cm: list[float], tm: list[float], font: object, size: float) -> None:
        if text.strip() and (cm[4], cm[5], tm[4], tm[5]) != (0, 0, 0, 0):  # the number of pages has its own axes
            x, y = tm[4] * cm[0] + tm[5] * cm[2] + cm[4], tm[4] * cm[1] + tm[5] * cm[3] + cm[5]
            out.append((x, y, size))

    page.extract_text(visitor_text=visit)  # type: ignore[attr-defined]
    return iter(out)


@pytest.fixture(scope="module")
def twice(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    """Walls with hostile names, planned twice."""
    return hostile(tmp_path_factory.mktemp("one")), hostile(tmp_path_factory.mktemp("other"))


def hostile(folder: Path) -> Path:
    names = ("<b>bold", "</para><font size=99>", "=1+1", "../../up", "壁の名前", "&amp; %s {0}", "\\u202etrap \\ufffe", "W" * 300)
    walls = [wall(name=name.replace("\\", "\\\\") if "\\u" not in name else name, x=n * 8000) for n, name in enumerate(names)]
    model = wall_list(folder, *walls, name="m<i>&=1.walls.yaml")
    out = folder / "out"
    code, _, told = outside("plan", model, "-o", out, "--write", "pdf")
    assert code in (0, 1), told
    return out


def test_names_are_only_ever_text(twice: tuple[Path, Path]) -> None:
    out, _ = twice
    text = "\n".join(pages(out))
    for name in ("<b>bold", "</para><font size=99>", "=1+1", "../../up", "&amp; %s {0}", "m<i>&=1.walls.yaml"):
        assert name in text
    assert ODD * 4 in text, "letters that the font has not are shown as such"
    assert f"{ODD} stands for a letter that this font has not" in text
    assert "WWW…" in text
    assert sorted(p.name for p in out.parent.iterdir()) == ["m<i>&=1.walls.yaml", "out"]
    raw = (out / "sheets.pdf").read_bytes()
    for action in (b"/JavaScript", b"/Launch", b"/URI", b"/OpenAction /S"):
        assert action not in raw


def test_sheets_say_what_walls_and_openings_of_other_scripts_are(tmp_path: Path) -> None:
    """A Cyrillic wall is spelt in Latin letters; of one in another script the GlobalId stands beside what is left of its name."""
    maker = Maker()
    first, second = maker.plain_wall(5999, 200, 2410, name="Стена Ж"), maker.plain_wall(5999, 200, 2410, name="壁")
    second.ObjectPlacement = maker.placed((0, 4000, 0))
    opening = maker.opening(second, maker.box(2000, 2900, 0, 2010))
    opening.Name = "戸"
    code, _, told = outside("plan", maker.write(tmp_path), "-o", tmp_path / "out", "--write", "pdf")
    assert code in (0, 1), told
    text = "\n".join(pages(tmp_path / "out"))
    assert "Stena Zh" in text and first.GlobalId not in text
    assert f"{ODD} {second.GlobalId}" in text and f"{ODD} {opening.GlobalId}" in text
    assert "R1-C01-01" in text or "01-01" in text


def test_without_bars_and_survey_their_sheets_are_left_out(twice: tuple[Path, Path]) -> None:
    titles = [page.splitlines()[0] for page in pages(twice[0])]
    assert not any(t.startswith(("Bars", "Slab")) for t in titles)
    assert any(t.startswith("First course") for t in titles)


def test_equal_plans_give_equal_bytes(twice: tuple[Path, Path]) -> None:
    one, other = twice
    assert (one / "sheets.pdf").read_bytes() == (other / "sheets.pdf").read_bytes()


def test_a_long_run_goes_on_on_the_next_page(tmp_path: Path) -> None:
    model = wall_list(tmp_path, wall(name="long", length=29_999))
    code, _, told = outside("plan", model, "-o", tmp_path / "out", "--write", "pdf")
    assert code in (0, 1), told
    titles = [page.splitlines()[0] for page in pages(tmp_path / "out")]
    parts = [t for t in titles if "part " in t]
    assert len(parts) >= 3
    text = [p for p in pages(tmp_path / "out") if "part " in p.splitlines()[0]]
    pieces = table(tmp_path / "out", "pieces.csv")
    for name in pieces["piece"]:
        assert any(re.search(rf"\b{name.removeprefix('R1-C')}\b", page) for page in text), name


def test_a_plan_without_walls_says_so(tmp_path: Path) -> None:
    model = wall_list(tmp_path, wall(name="thick", thickness=777))
    code, _, told = outside("plan", model, "-o", tmp_path / "out", "--write", "pdf")
    assert code in (0, 1), told
    assert "This plan has no pieces" in pages(tmp_path / "out")[0]

"""The page in Debian's chromium: it opens in silence, draws what the tables say, steps, and can be used without a mouse."""

from __future__ import annotations

import re
import shutil
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from tests.browser import plan_maker as maker
from wallquant import units
from wallquant.writers import report

playwright = pytest.importorskip("playwright.sync_api", reason="Playwright for Python is not installed")
CHROMIUM = shutil.which("chromium")
ARGUMENTS = [
    "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking",
    "--disable-component-update", "--disable-sync",
]  # fmt: skip
SHOUT = "</script><script>document.title='taken'</script><img src=x onerror=\"document.title='taken'\">"
TABLET, PHONE = {"width": 1024, "height": 768}, {"width": 390, "height": 844}

pytestmark = [pytest.mark.browser, pytest.mark.skipif(CHROMIUM is None, reason="no chromium on this machine")]

Open = Callable[..., Any]


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    with playwright.sync_playwright() as driver:
        opened = driver.chromium.launch(executable_path=CHROMIUM, args=ARGUMENTS)
        yield opened
        opened.close()


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("report")


@pytest.fixture
def show(browser: Any, folder: Path) -> Iterator[Open]:
    """Open a plan's page; at the end of the test nothing may have been said on the console or asked of a network."""
    said: list[str] = []
    pages = []

    def opened(plan: dict[str, Any], size: dict[str, int] = TABLET) -> Any:
        path = folder / f"{len(pages)}.html"
        report.write(path, **plan)
        page = browser.new_page(viewport=size)
        pages.append(page)
        page.on("console", lambda message: said.append(message.text))
        page.on("pageerror", lambda error: said.append(str(error)))
        page.on("request", lambda request: None if request.url.startswith("file:") else said.append(request.url))
        page.goto(path.as_uri())
        return page

    yield opened
    for page in pages:
        page.close()
    assert said == []


@pytest.fixture(scope="module")
def plan() -> dict[str, Any]:
    return dict(maker.garden_house())


def _names(page: Any, state: str = "") -> set[str]:
    chosen = f'[data-state="{state}"]' if state else ""
    labels = page.locator(f"#elevation .piece{chosen}").evaluate_all("all => all.map(one => one.getAttribute('aria-label'))")
    return {label.split(",")[0].removeprefix("Piece ") for label in labels}


def test_each_run_draws_the_pieces_of_its_table(show: Open, plan: dict[str, Any]) -> None:
    page, pieces = show(plan), plan["tables"]["pieces.csv"]
    for run in plan["tables"]["runs.csv"]["run"]:
        page.select_option("#run", run)
        rows = pieces[pieces["run"] == run]
        assert _names(page) == set(rows["piece"])
        assert page.locator("#elevation .piece path.body").count() == (rows["elevation"] != "").sum()
        assert page.locator("#elevation .piece .body.cut").count() == (rows["cut"] != "").sum()
        assert page.locator("#elevation .opening").count() == (plan["tables"]["openings.csv"]["run"] == run).sum()


def test_a_piece_is_drawn_where_the_table_says(show: Open, plan: dict[str, Any]) -> None:
    page, pieces = show(plan), plan["tables"]["pieces.csv"]
    page.select_option("#run", "R1")
    boxes = {}
    for name in ("R1-C01-01", "R1-C05-03"):
        box = page.locator(f'#elevation .piece[aria-label="{name}"] rect.body').first
        boxes[name] = {key: float(box.get_attribute(key)) for key in ("x", "y", "width", "height")}
    a, b = (pieces[pieces["piece"] == name].iloc[0] for name in boxes)
    first, second = boxes.values()
    scale = first["width"] / (a["end_mm"] - a["start_mm"])
    assert second["x"] - first["x"] == pytest.approx((b["start_mm"] - a["start_mm"]) * scale, abs=0.05)
    assert first["y"] - second["y"] == pytest.approx((b["top_mm"] - a["top_mm"]) * scale, abs=0.05)
    assert second["width"] == pytest.approx((b["end_mm"] - b["start_mm"]) * scale, abs=0.05)


def test_a_course_in_plan_shows_the_blocks_of_all_runs(show: Open, plan: dict[str, Any]) -> None:
    page, pieces = show(plan), plan["tables"]["pieces.csv"]
    ground = set(plan["tables"]["runs.csv"].query("storey == 'Ground floor'")["run"])
    for course in (1, 2, 18):
        page.select_option("#course", str(course))
        rows = pieces[pieces["run"].isin(ground) & (pieces["course"] == course)]
        assert set(page.locator("#plan .stone title").all_text_contents()) == set(rows["piece"])
    page.click("#step-after")
    assert page.input_value("#course") == "1"
    assert page.locator('#plan .stone[data-state="come"]').count() > 0


def test_stepping_shows_laid_now_and_to_come(show: Open, plan: dict[str, Any]) -> None:
    page, tables = show(plan), plan["tables"]
    order = {name: i + 1 for i, name in enumerate(tables["steps.csv"]["step"])}
    for step in range(1, 14):
        page.click("#step-after")
        assert page.locator("#step-text").text_content() == tables["steps.csv"]["text"].iloc[step - 1]
        run = page.input_value("#run")
        rows = tables["pieces.csv"][tables["pieces.csv"]["run"] == run]
        number = rows["step"].map(order)
        assert _names(page, "laid") == set(rows["piece"][number < step])
        assert _names(page, "now") == set(rows["piece"][number == step])
        assert _names(page, "come") == set(rows["piece"][number > step])
    assert "The line is stretched between two leads" in page.locator("#step-why").text_content()
    page.click("#step-before")
    assert page.locator("#step-count").text_content() == "Step 12 of 125"
    page.click("#step-all")
    assert not _names(page, "come") and not _names(page, "now")


def test_the_slider_the_days_and_the_run_follow_each_other(show: Open, plan: dict[str, Any]) -> None:
    page = show(plan)
    page.locator("#day-list details").nth(1).locator("summary").click()
    page.locator("#day-list details").nth(1).locator("button").last.click()
    step = int(page.input_value("#step-at"))
    steps = plan["tables"]["steps.csv"]
    assert steps["day"].iloc[step - 1] == 2 and steps["day"].iloc[step] == 3
    assert page.input_value("#run") == steps["run"].iloc[step - 1]
    page.focus("#step-at")
    page.keyboard.press("ArrowRight")
    assert page.locator("#step-count").text_content() == f"Step {step + 1} of {len(steps)}"


def test_a_day_is_jumped_to(show: Open, plan: dict[str, Any]) -> None:
    page = show(plan)
    steps = plan["tables"]["steps.csv"]
    page.select_option("#step-day", label="Day 2, Tuesday")
    first = int((steps["day"] == 2).to_numpy().argmax())
    assert int(page.input_value("#step-at")) == first + 1
    assert page.locator("#step-text").text_content() == steps["text"].iloc[first]
    page.click("#step-before")
    assert page.input_value("#step-day") == "1"
    page.select_option("#step-day", "")
    assert page.locator("#step-count").text_content() == "All laid"


def test_play_goes_on_and_stops(show: Open, plan: dict[str, Any]) -> None:
    page = show(plan)
    page.click("#step-play")
    playwright.expect(page.locator("#step-count")).to_have_text("Step 2 of 125", timeout=5000)
    page.click("#step-play")
    held = page.input_value("#step-at")
    page.wait_for_timeout(1700)
    assert page.input_value("#step-at") == held


def test_names_in_the_model_are_harmless(show: Open) -> None:
    page = show(maker.garden_house(shout=SHOUT))
    page.click("#step-after")
    for button in page.locator(".goto").all():
        button.click()
    assert page.title() == f"garden-house.ifc{SHOUT} – block plan"
    assert page.locator("img").count() == 0
    assert SHOUT in page.locator("#step-text").text_content()


def test_a_finding_leads_to_its_place_and_back(show: Open, plan: dict[str, Any]) -> None:
    page = show(plan)
    lines = page.locator(".findings > li")
    words = [text.strip() for text in lines.locator(".sev").all_text_contents()]
    assert words == ["error", "warning", "warning", "note", "note", "note"]

    def go(text: str) -> None:
        lines.filter(has_text=text).locator(".goto").click()

    go("joints lie nearer")
    assert page.input_value("#run") == "R1" and page.locator("#elevation .place").count() == 1
    go("lintel over this window")
    assert page.input_value("#run") == "R3" and page.locator("#elevation .opening.there").count() == 1
    go("near the least piece")
    assert page.input_value("#run") == "R2" and "R2-C03-01" in page.locator("#elevation .piece.chosen").get_attribute("aria-label")
    go("Curved bay is not laid")
    assert page.locator("#plan .drawn.aside.there").count() == 1
    go("At C5")
    assert page.locator("#plan .corner.there").count() == 1
    page.get_by_role("button", name="Back to findings").click()
    assert page.evaluate("document.activeElement.className") == "goto"
    page.locator("#finding-filter").get_by_role("button", name="2 warnings").click()
    assert lines.locator("visible=true").locator(".sev").count() == 2


def test_findings_of_one_cause_are_told_together(show: Open, plan: dict[str, Any]) -> None:
    first = next(one for one in plan["findings"] if one["place"].get("opening"))
    others = [{**first, "text": f"Place {i}.", "place": {"run": f"R{i}"}} for i in (1, 2, 4)]
    page = show({**plan, "findings": [*plan["findings"], *others]})
    assert page.locator(".findings > li").count() == len(plan["findings"])
    line = page.locator(".findings > li").filter(has_text=first["text"])
    assert line.locator("summary").text_content() == "The same at 3 more places"
    line.locator("summary").click()
    line.locator(".same li").filter(has_text="Place 4.").locator(".goto").click()
    assert page.input_value("#run") == "R4"
    assert f"All {len(plan['findings'])}" in page.locator("#finding-filter").text_content()


def test_the_reading_shows_walls_under_runs_and_grows(show: Open, plan: dict[str, Any]) -> None:
    page = show(plan)
    ground = page.locator("#reading .storey").first
    assert ground.locator("h3").text_content() == "Ground floor"
    assert ground.locator(".sheet path.run").count() == 5
    assert ground.locator(".sheet path.aside title").text_content().startswith("Curved bay: ")
    assert "Curved bay" in ground.locator(".asides li").text_content()
    fill = "one => [getComputedStyle(one).fill, getComputedStyle(one).strokeDasharray]"
    assert ground.locator(".sheet path.aside").evaluate(fill) == ['url("#reading-aside")', "6px, 3px"]
    run, wall = (ground.locator(f".sheet path.{kind}").first.evaluate("one => one.getBBox().width") for kind in ("run", "drawn"))
    assert wall * 0.9 < run <= wall
    picture = ground.locator(".sheet svg")
    before = picture.bounding_box()["width"]
    ground.get_by_role("button", name="Larger picture").click()
    assert picture.bounding_box()["width"] == pytest.approx(1.4 * before, rel=0.01)
    ground.get_by_role("button", name="Fit").click()
    assert picture.bounding_box()["width"] == pytest.approx(before, rel=0.01)


def test_all_can_be_reached_with_the_keyboard(show: Open, plan: dict[str, Any]) -> None:
    page = show(plan)
    page.select_option("#run", "R1")
    page.locator('#elevation .piece[tabindex="0"]').focus()
    before = page.evaluate("document.activeElement.dataset.i")
    page.keyboard.press("ArrowRight")
    page.keyboard.press("ArrowUp")
    label = page.evaluate("document.activeElement.getAttribute('aria-label')")
    assert page.evaluate("document.activeElement.dataset.i") != before
    assert "Course 2" in label and "Unit standard 200" in label and "Size" in label
    assert "Course" in page.locator("#piece").text_content()
    page.locator('#plan .run[tabindex="0"]').focus()
    page.keyboard.press("ArrowRight")
    assert page.evaluate("document.activeElement.dataset.run") == "R2" == page.input_value("#run")
    seen = set()
    page.reload()
    for _ in range(60):
        page.keyboard.press("Tab")
        seen.add(page.evaluate("(document.activeElement.closest('[id]') || document.body).id"))
    steps = {"step-before", "step-play", "step-at", "step-all", "step-after", "step-then"}
    assert {"storeys", "plan-pane", "plan", "run-before", "run", "run-after", "elevation-pane", "elevation", "findings", *steps} <= seen


def test_a_mark_is_found(show: Open, plan: dict[str, Any]) -> None:
    page = show(plan)
    pieces = plan["tables"]["pieces.csv"]
    name = str(pieces[pieces.run == "R2"].piece.iloc[5])
    for said in (name, name.lower().replace("-", " ").replace("c0", "c").replace(" 0", " ")):
        page.select_option("#run", "R1")
        page.fill("#mark", said)
        page.press("#mark", "Enter")
        assert page.input_value("#run") == "R2"
        assert name in page.locator("#found").text_content()
        assert name in page.evaluate("document.activeElement.getAttribute('aria-label')")
    page.fill("#mark", "R99-C1-1<b>")
    page.press("#mark", "Enter")
    assert "No piece" in page.locator("#found").text_content() and page.locator("#found b").count() == 0
    corner = str(plan["tables"]["corners.csv"].corner.iloc[0])
    page.fill("#mark", corner)
    page.press("#mark", "Enter")
    assert f"Corner {corner}" in page.locator("#found").text_content()


def test_lengths_are_shown_in_the_other_unit(show: Open, plan: dict[str, Any]) -> None:
    """Drawings and sentences change, and come back as they were."""
    page = show(plan)
    page.select_option("#run", "R1")
    page.locator("#step-after").click()
    before = {part: page.locator(part).inner_text() for part in ("#run-text", "#step-text", "#findings", "#pole", "#ledger")}
    assert " mm" in before["#run-text"] and page.locator("[data-unit=mm]").get_attribute("aria-pressed") == "true"
    page.click("[data-unit=in]")
    long = plan["tables"]["runs.csv"].set_index("run").length_mm["R1"]
    assert page.locator("#run-text").inner_text().startswith(units.text(units.mm(float(long)), "in"))
    for part in before:
        assert not re.search(r"\d mm\b", page.locator(part).inner_text()), part
    page.click("[data-unit=mm]")
    assert {part: page.locator(part).inner_text() for part in before} == before


def test_sentences_in_inches_are_said_in_millimetres(browser: Any, folder: Path) -> None:
    """A caution is a sentence like any other: its lengths change, and what only looks like a length does not."""
    said = {
        "cut to 7-7/8 in.": "cut to 200 mm.",
        "at 6 ft 8 in and 2 ft": "at 2032 mm and 609.6 mm",
        "1/2 in, in R1": "12.7 mm, in R1",
        "the bar at 6 in in R10": "the bar at 152.4 mm in R10",
        "course 4 in R2, R4 in the slab, 3 in 4 runs": "course 4 in R2, R4 in the slab, 3 in 4 runs",
        "1,146.0 ft² and 2 ft³": "1,146.0 ft² and 2 ft³",
        "-0 in, 8 in x 24 in": "-0 mm, 203.2 mm x 609.6 mm",
    }
    plan = maker.garden_house(people_unit="in")
    plan["cautions"] = [{"title": f"c{n}", "text": text, "source": "", "places": ""} for n, text in enumerate(said)]
    path = folder / "inches.html"
    report.write(path, **plan)
    page = browser.new_page(viewport=TABLET)
    page.goto(path.as_uri())
    page.click("[data-unit=mm]")
    told = page.locator("#cautions").inner_text()
    for text in said.values():
        assert text in told, told
    assert re.search(r"\d mm\b", page.locator("#run-text").inner_text())
    page.close()


def test_axe_finds_no_violation(browser: Any, folder: Path, plan: dict[str, Any]) -> None:
    """WCAG 2.2 A and AA by axe-core (Deque), at the start, within the sequence, and after a jump from a finding."""
    axe = pytest.importorskip("axe_core_python")
    rules = (Path(axe.__file__).parent / "axe.min.js").read_text(encoding="utf-8")
    path = folder / "axe.html"
    report.write(path, **plan)
    page = browser.new_context(bypass_csp=True, viewport=TABLET).new_page()
    page.goto(path.as_uri())
    page.evaluate(rules)
    tags = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]
    for click in ("#step-after", ".goto", "#step-all"):
        found = page.evaluate("(tags) => axe.run(document, { runOnly: tags })", tags)
        assert [(v["id"], [n["target"] for n in v["nodes"]][:3]) for v in found["violations"]] == []
        assert len(found["passes"]) > 15
        page.locator(click).first.click()
    page.context.close()


def test_the_page_prints(browser: Any, folder: Path, plan: dict[str, Any]) -> None:
    path = folder / "print.html"
    report.write(path, **plan)
    page = browser.new_page(viewport=TABLET)
    page.goto(path.as_uri())
    paper = page.pdf(format="A4")
    assert paper.startswith(b"%PDF") and len(paper) > 50_000
    page.close()


@pytest.mark.parametrize("size", [TABLET, PHONE], ids=["tablet", "phone"])
def test_targets_are_large_and_nothing_hangs_over(show: Open, plan: dict[str, Any], size: dict[str, int]) -> None:
    # WCAG 2.2 (W3C), success criterion 2.5.5: targets of at least 44 by 44 CSS pixels.
    page = show(plan, size)
    small = page.locator("button:visible, select:visible, summary:visible, nav a:visible").evaluate_all(
        "all => all.filter(one => Math.min(one.offsetWidth, one.offsetHeight) < 44).map(one => one.textContent.trim())"
    )
    assert small == []
    assert page.evaluate("document.documentElement.scrollWidth") <= size["width"]


def test_lengths_read_as_everywhere_else(browser: Any) -> None:
    script = (Path(report.__file__).parent / "parts" / "format.js").read_text(encoding="utf-8")
    sizes = [0.0, -100.0, 0.79375, 1.5875, 149.225, 149.25, 149.35, 199.0, 304.8, 1203.325, 2438.4, 6096.0, 12_345.678, -609.6]
    page = browser.new_page()
    for system in ("mm", "in"):
        read = page.evaluate(f"sizes => {{ const building = {{unit: '{system}'}}; {script}; return sizes.map(length); }}", sizes)
        assert read == [units.text(units.mm(size), system) for size in sizes]
    page.close()


def test_on_paper_nothing_is_folded(show: Open, plan: dict[str, Any]) -> None:
    page = show(plan)
    page.pdf(format="A4")
    assert page.locator("details:not([open])").count() == 0
    assert page.locator("#day-list li").count() == len(plan["tables"]["steps.csv"])
    assert page.locator("#saw-list tbody tr").count() == plan["tables"]["cuts.csv"]["stock"].nunique()


def test_a_hundred_thousand_pieces(browser: Any, folder: Path) -> None:
    plan, path = maker.many(100_000), folder / "large.html"
    start = time.process_time()
    report.write(path, **plan)
    assert time.process_time() - start < 3
    assert path.stat().st_size < 15_000_000
    page = browser.new_page(viewport=TABLET)
    session = page.context.new_cdp_session(page)
    session.send("Performance.enable", {"timeDomain": "threadTicks"})  # the page's own time, whatever else the machine does
    page.goto(path.as_uri())
    assert page.locator("#elevation .piece").count() == (plan["tables"]["pieces.csv"]["run"] == page.input_value("#run")).sum()
    took = {metric["name"]: metric["value"] for metric in session.send("Performance.getMetrics")["metrics"]}
    page.close()
    assert took["TaskDuration"] < 2

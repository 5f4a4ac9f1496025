"""The schedules on the page of the inch sample: what a foreman reads off them, in the browser."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pandas as pd
import pytest

from tests.browser.test_report import ARGUMENTS, PHONE, TABLET
from tests.unit.command_line import outside

playwright = pytest.importorskip("playwright.sync_api", reason="Playwright for Python is not installed")
CHROMIUM = shutil.which("chromium")
SAMPLES = Path(__file__).parents[2] / "sample_models"

pytestmark = [pytest.mark.browser, pytest.mark.skipif(CHROMIUM is None, reason="no chromium on this machine")]


@pytest.fixture(scope="module")
def out(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder: Path = tmp_path_factory.mktemp("plan") / "out"
    job = SAMPLES / "field_station_workshop.job.yaml"
    assert outside("plan", SAMPLES / "field_station_workshop_in.ifc", "-o", folder, "--job", job)[0] in (0, 1)
    return folder


@pytest.fixture(scope="module")
def page(out: Path) -> Iterator[Any]:
    with playwright.sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=CHROMIUM, args=ARGUMENTS)
        opened = browser.new_context(bypass_csp=True, viewport=TABLET).new_page()
        opened.goto((out / "report.html").as_uri())
        yield opened
        browser.close()


def test_every_pallet_is_on_the_picture_or_without_a_place(page: Any, out: Path) -> None:
    rows = pd.read_csv(out / "staging.csv")
    placed = rows[rows["load"].str.startswith("pallet")].dropna(subset=["x_mm"])
    told = page.locator("#materials .yard .pallet title").evaluate_all("all => all.flatMap(one => one.textContent.split('; '))")
    assert sorted(int(one.partition(":")[0]) for one in told) == sorted(placed["order"])
    assert page.locator("#materials .yard text").count() >= placed.drop_duplicates(["x_mm", "y_mm"]).shape[0]


def test_pallets_do_not_lie_on_walls_or_on_each_other(page: Any) -> None:
    """Boxes as the browser draws them: walls of this model are along the axes."""
    script = "all => all.map(one => { const b = one.getBBox(); return [b.x, b.y, b.x + b.width, b.y + b.height]; })"
    pallets = page.locator("#materials .yard .pallet").evaluate_all(script)
    walls = page.locator("#materials .yard .body").evaluate_all(script)
    assert len(pallets) > 3 and len(walls) == 10
    for n, (a, b, c, d) in enumerate(pallets):
        for x, y, u, v in walls + pallets[n + 1 :]:
            assert c <= x or u <= a or d <= y or v <= b


def test_what_is_not_bought_stands_apart(page: Any, out: Path) -> None:
    materials = pd.read_csv(out / "materials.csv")
    first, second = (page.locator("#materials table").nth(n).locator("tbody th").all_inner_texts() for n in (0, 1))
    assert first == materials[materials["buy"].notna()]["item"].tolist()
    assert second == materials[materials["buy"].isna()]["item"].tolist() and "mass dry" in second
    assert "0" not in page.locator("#materials table").nth(0).locator("tbody strong").all_inner_texts()


def test_feet_and_pounds(page: Any, out: Path) -> None:
    """Bars in feet, grout in cubic feet, floor loads in pounds a square foot: 1 kN/m2 is 20.885 lb/ft2."""
    text = page.locator("#materials").inner_text()
    bar = pd.read_csv(out / "materials.csv").set_index(["item", "unit"])["net"]["bar", "m"] / 0.3048
    assert f"{bar:,.3f}".rstrip("0").rstrip(".") in text
    floor = pd.read_csv(out / "staging.csv")["floor_kn_m2"].max() * 20.885434
    assert f"{floor:,.0f} lb/ft²" in text and " kN/m²" not in text


def test_ledger_goes_on_to_what_is_bought(page: Any) -> None:
    rows = page.locator("#ledger table.narrow tfoot td").all_inner_texts()
    laid, thin, bed, movement, gaps, shared, pieces, offcuts, units, waste, rounding, bought = (float(r.replace("−", "-")) for r in rows)
    assert laid - thin - bed - movement - gaps + shared == pytest.approx(pieces, abs=0.03)
    assert pieces + offcuts == pytest.approx(units, abs=0.02) and units + waste + rounding == pytest.approx(bought, abs=0.02)


def test_axe_finds_no_violation(page: Any) -> None:
    """WCAG 2.2 A and AA by axe-core (Deque), all details open."""
    axe = pytest.importorskip("axe_core_python")
    page.evaluate((Path(axe.__file__).parent / "axe.min.js").read_text(encoding="utf-8"))
    page.evaluate("document.querySelectorAll('#materials details').forEach(one => { one.open = true; })")
    found = page.evaluate("axe.run('#materials', { runOnly: ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa'] })")
    assert [(v["id"], [n["target"] for n in v["nodes"]][:3]) for v in found["violations"]] == []


def test_nothing_hangs_over_on_a_phone(page: Any) -> None:
    page.set_viewport_size(PHONE)
    assert page.evaluate("document.documentElement.scrollWidth") <= PHONE["width"]
    page.set_viewport_size(TABLET)

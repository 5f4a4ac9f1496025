"""The page's file: what it holds, that it needs nothing else, and that no name is ever markup."""

from __future__ import annotations

import json
import re
from base64 import b64encode
from hashlib import sha256
from html.parser import HTMLParser
from typing import Any

import pandas as pd
import pytest

from tests.browser import plan_maker as maker
from wallquant import files, units
from wallquant.writers import report
from wallquant.writers.report.blocks import json_text, rings, unit_kind
from wallquant.writers.report.words import Words

SHOUT = " </script><script>alert(1)</script><img src=x onerror=alert(1)> \"'&\u2028"


class Page(HTMLParser):
    """Collects the page's elements, its scripts' and styles' texts, and its visible text."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.found: list[tuple[str, dict[str, str | None]]] = []
        self.inner: dict[str, list[tuple[dict[str, str | None], str]]] = {"script": [], "style": []}
        self.words: list[str] = []
        self.open = ""
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.found.append((tag, dict(attrs)))
        self.open = tag
        if tag in self.inner:
            self.inner[tag].append((dict(attrs), ""))

    def handle_endtag(self, tag: str) -> None:
        self.open = ""

    def handle_data(self, data: str) -> None:
        if self.open in self.inner:
            attrs, text = self.inner[self.open][-1]
            self.inner[self.open][-1] = (attrs, text + data)
        else:
            self.words.append(data)

    def blocks(self) -> dict[str, Any]:
        return {str(attrs["id"]): json.loads(text) for attrs, text in self.inner["script"] if attrs.get("type") == "application/json"}


@pytest.fixture(scope="module")
def plan() -> dict[str, Any]:
    return dict(maker.garden_house())


@pytest.fixture(scope="module")
def page(plan: dict[str, Any]) -> Page:
    return Page(report.html(**plan))


def test_policy_names_exactly_the_script_and_style_of_the_page(page: Page) -> None:
    # Content Security Policy Level 3 (W3C), section 2.3.1: a hash source is the base64 SHA-256 of the element's text.
    policy = next(attrs["content"] for tag, attrs in page.found if attrs.get("http-equiv") == "Content-Security-Policy")
    run = [text for attrs, text in page.inner["script"] if "type" not in attrs]
    for name, texts in (("script-src", run), ("style-src", [text for _, text in page.inner["style"]])):
        assert len(texts) == 1
        assert f"{name} 'sha256-{b64encode(sha256(texts[0].encode()).digest()).decode()}'" in str(policy)
    assert str(policy).startswith("default-src 'none';")


def test_page_loads_nothing_and_has_no_inline_code(page: Page) -> None:
    for tag, attrs in page.found:
        assert tag not in {"link", "img", "iframe", "object", "embed", "base", "form"}
        assert "src" not in attrs and "style" not in attrs
        assert not [name for name in attrs if name.startswith("on")]
        assert (attrs.get("href") or "#").startswith("#")
    assert not re.search(r"@import|url\((?!#)", page.inner["style"][0][1])


def test_names_from_the_model_are_never_markup(plan: dict[str, Any], page: Page) -> None:
    loud = Page(report.html(**maker.garden_house(shout=SHOUT)))
    assert [tag for tag, _ in loud.found] == [tag for tag, _ in page.found]
    assert f"garden-house.ifc{SHOUT}" in loud.words
    assert loud.blocks()["building"]["walls"][0]["name"] == f"Wall 1{SHOUT}"


def test_json_is_safe_in_a_script_and_unchanged() -> None:
    value = {"a": [SHOUT, "<!--", 1.5, None]}
    text = json_text(value)
    assert not set("<>&\u2028") & set(text)
    assert json.loads(text) == value


def test_every_piece_is_in_its_runs_block(plan: dict[str, Any], page: Page) -> None:
    pieces, blocks = plan["tables"]["pieces.csv"], page.blocks()
    building = blocks["building"]
    for i, run in enumerate(building["runs"]):
        rows, block = pieces[pieces["run"] == run["run"]], blocks[f"run-{i}"]
        assert [block["prefix"] + name for name in block["names"].split()] == rows["piece"].tolist()
        assert block["s"] == rows["start_mm"].round(3).tolist()
        assert block["e"] == rows["end_mm"].round(3).tolist()
        assert [block["levels"][at] for at in block["l"]] == rows[["bottom_mm", "top_mm"]].round(3).to_numpy().tolist()
        assert [building["units"][at]["name"] for at in block["u"]] == rows["unit"].tolist()
        assert [building["cuts"][at] for at in block["k"]] == rows["cut"].tolist()
        assert [building["steps"]["step"][at] for at in block["t"]] == rows["step"].tolist()
        assert [building["masses"][at] for at in block["m"]] == rows["mass_kg"].round(2).tolist()
        assert len(block["shape"]) == (rows["elevation"] != "").sum()
        assert sum(run["counts"]) == run["pieces"] == len(rows)
        assert run["cuts"] == (rows["cut"] != "").sum()


def test_lintels_are_the_pieces_that_bridge_openings(plan: dict[str, Any], page: Page) -> None:
    blocks, asked = page.blocks(), set()
    for cell in plan["tables"]["openings.csv"]["lintel"]:
        asked |= set(cell.split())
    found = set()
    for i in range(len(blocks["building"]["runs"])):
        block = blocks[f"run-{i}"]
        names = [block["prefix"] + name for name in block["names"].split()]
        found |= {names[at] for at in block["lintels"]}
    assert found == asked and asked


def test_equal_plans_give_equal_bytes_and_findings_come_worst_first(plan: dict[str, Any]) -> None:
    assert report.html(**plan) == report.html(**plan)
    severities = re.findall(r'data-severity="(\w+)"', report.html(**plan))
    assert severities == ["error", "warning", "warning", "note", "note", "note"]


def test_figures_and_ledger_are_those_of_the_summary(plan: dict[str, Any], page: Page) -> None:
    words = "\n".join(page.words)
    summary = plan["summary"]
    assert "6 of 7" in words
    assert f"proven least: {summary['totals']['cuts_bound']}" in words
    drawn = sum(wall["ledger_m3"]["drawn"] for wall in summary["walls"])
    assert f"{drawn:,.3f}" in words
    for caution in plan["cautions"]:
        assert caution["text"] in words and caution["source"] in words


def test_a_plan_without_pieces_is_still_a_page() -> None:
    plan = maker.garden_house()
    nothing = {name: pd.DataFrame(columns=list(columns)) for name, columns in files.COLUMNS.items()}
    for wall in plan["summary"]["walls"]:
        wall["area_m2"] |= {"laid": 0.0, "set_aside": wall["area_m2"]["wall"]}
        wall["runs"], wall["reasons"] = [], ["nothing fits"]
    page = Page(report.html(summary=plan["summary"], tables=nothing, findings=[], cautions=[]))
    assert page.blocks()["building"]["runs"] == []
    assert any("No findings" in word for word in page.words)


def test_missing_numbers_become_nothing(plan: dict[str, Any]) -> None:
    tables = {name: table.copy() for name, table in plan["tables"].items()}
    tables["items.csv"].loc[0, "start_mm"] = float("nan")
    tables["courses.csv"].loc[0, "offset_mm"] = float("nan")
    blocks = Page(report.html(**{**plan, "tables": tables})).blocks()
    assert blocks["run-0"]["courses"]["offset_mm"][0] is None
    assert blocks["run-4"]["items"]["start_mm"][0] is None


def test_rings_of_polygons_with_holes_and_of_several_polygons() -> None:
    # Well-known text as in OGC 06-103r4, section 7.
    assert rings("") == []
    assert rings("POLYGON ((0 0, 4 0, 4 4, 0 0), (1 1, 2 1, 2 2, 1 1))") == [[0, 0, 4, 0, 4, 4, 0, 0], [1, 1, 2, 1, 2, 2, 1, 1]]
    assert rings("MULTIPOLYGON (((0 0, 1 0, 1 1.25, 0 0)), ((5 0, 6 0, 6 -1e1, 5 0)))") == [
        [0, 0, 1, 0, 1, 1.25, 0, 0],
        [5, 0, 6, 0, 6, -10, 5, 0],
    ]


def test_kind_of_a_unit_from_what_the_catalogue_says() -> None:
    assert unit_kind({"kind": "lintel"}) == "lintel"
    assert unit_kind({"kind": "virtual", "troughs": [{}]}) == "U"
    assert unit_kind({"cores": [{}]}) == "core"
    assert unit_kind({}) == "standard"


def test_units_of_people() -> None:
    # NIST SP 811 (2008), appendix B.8: 1 ft2 = 0.09290304 m2, 1 ft3 = 0.028316846592 m3, 1 lb = 0.45359237 kg, all exact.
    us, metric = Words(system="in"), Words(system="mm")
    assert us.area(92.90304) == "1,000.0 ft²"
    assert us.volume(2.8316846592) == "100.00"
    assert us.mass(453.59237) == "1,000 lb"
    assert us.length(200.025) == units.text(units.inches("7-7/8"), "in") == "7-7/8 in"
    assert (metric.length(149.225), metric.mass(12_345.0), metric.area(2.5)) == ("149.2 mm", "12.3 t", "2.50 m²")
    assert (metric.volume(-0.0000001), metric.volume(-0.25), metric.signed(9)) == ("0", "−0.250", "+9 mm")


def test_texts_can_be_read_in_the_sun() -> None:
    # WCAG 2.2 (W3C), success criterion 1.4.6: 7 to 1, with the relative luminance of its glossary.
    style = Page(report.html(**maker.garden_house())).inner["style"][0][1]
    colour = dict(re.findall(r"--(\w+): (#[0-9a-f]{6});", style))

    def luminance(name: str) -> float:
        parts = [int(colour[name][at : at + 2], 16) / 255 for at in (1, 3, 5)]
        red, green, blue = (part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts)
        return 0.2126 * red + 0.7152 * green + 0.0722 * blue

    for ink in ("ink", "soft", "blue", "error", "warning", "note"):
        for ground in ("paper", "ground"):
            assert (luminance(ground) + 0.05) / (luminance(ink) + 0.05) >= 7, (ink, ground)

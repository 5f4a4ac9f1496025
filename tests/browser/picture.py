"""Take the picture of the README: the page of the metric sample in Debian's chromium.

.venv/bin/wallquant plan sample_models/landing_tool_store_mm.ifc --job sample_models/landing_tool_store.job.yaml -o out
.venv/bin/python tests/browser/picture.py out
"""

from __future__ import annotations

import sys
from pathlib import Path

from playwright.sync_api import sync_playwright

FLAGS = [
    "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking",
    "--disable-component-update", "--disable-sync",
]  # fmt: skip


def take(page_file: Path, picture: Path) -> None:
    """Open a report and save what a visitor sees after a few steps."""
    with sync_playwright() as p:
        browser = p.chromium.launch(executable_path="/usr/bin/chromium", args=FLAGS)
        page = browser.new_page(viewport={"width": 1280, "height": 1180})
        page.goto(page_file.resolve().as_uri())
        page.wait_for_timeout(500)
        page.evaluate("window.scrollTo(0, document.querySelector('h2').getBoundingClientRect().top + window.scrollY - 70)")
        page.wait_for_timeout(300)
        page.screenshot(path=str(picture))
        browser.close()


if __name__ == "__main__":
    take(Path(sys.argv[1]) / "report.html", Path(__file__).parents[2] / "sample_models" / "report.png")

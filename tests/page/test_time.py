"""Time on a page: ticks that follow each other are one band of the chart, and one line."""

from __future__ import annotations

from pathlib import Path

from playwright.sync_api import Browser

from modecheck.checks.verdict import check
from modecheck.report.page import page_as_html
from tests.generation.devices import device_from
from tests.page.browsing import opened
from tests.scenario.test_passing_time import BLINKING


def test_a_run_of_ticks_is_one_band(browser: Browser, tmp_path: Path) -> None:
    """With the numbers of its first and last step; the list below tells it once, too."""
    file = tmp_path / "page.html"
    file.write_text(page_as_html(check([device_from(BLINKING)])), encoding="utf-8")
    with opened(browser, file) as page:
        page.open_stage('[data-open="0"]')
        for _ in range(22):
            page.press("ArrowRight")
        assert page.shown()["position"] == 22
        assert page.shown()["bands"] == [22]
        page.press("ArrowLeft")
        assert page.shown()["bands"] == [2]
        chart = page.page.evaluate("document.getElementById('sequence').textContent")
        assert "2-21" in chart
        assert "20 ms" in chart
        lines = page.page.evaluate(
            "document.querySelector('.scenario > ol.told').innerText.split('\\n')"
        )
        assert any("20 ms pass" in line for line in lines)
        assert page.troubles == []

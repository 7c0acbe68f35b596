"""The section on faults stands on a page that asks for it, for every reader."""

from __future__ import annotations

from pathlib import Path

import pytest
from playwright.sync_api import Browser

from modecheck.cutsets.fault_table import fault_table
from modecheck.engine.choice import Search
from modecheck.report.page import page_as_html
from tests.cli.running import run
from tests.models.bundled import MODELS, STARTER, verdict_on
from tests.page.browsing import axe_file, opened
from tests.page.test_usability import AXE

TWIN = MODELS / "faulty" / "volatile_bond.yaml"
OPEN_ALL = "document.querySelectorAll('#faults details').forEach(one => one.open = true)"


@pytest.fixture(scope="module")
def page(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The page of a twin with the table of single faults, and of what actors do."""
    verdict = verdict_on(TWIN)
    table = fault_table(verdict.device, 1, 1, Search(), people=True)
    file = tmp_path_factory.mktemp("faults") / "page.html"
    file.write_text(page_as_html(verdict, table), encoding="utf-8")
    return file


def test_the_section_says_what_breaks_and_shows_the_scenario(page: Path, browser: Browser) -> None:
    """The same words as in a terminal; the scenario is folded away."""
    with opened(browser, page) as shown:
        section = shown.page.locator("#faults")
        assert "Broken by 1 fault." in section.inner_text()
        assert not section.get_by_text("hub loses power").first.is_visible()
        shown.page.evaluate(OPEN_ALL)
        assert section.get_by_text("hub loses power").first.is_visible()
        assert "power_cut(hub)\tlost" in section.locator("table").first.inner_text()
        assert shown.troubles == []


@pytest.mark.thorough
def test_it_fits_a_narrow_screen_and_the_checker_finds_no_fault(
    page: Path, browser: Browser
) -> None:
    """320 px are what is left of 1280 at a zoom of 400 % (WCAG 2.2, success criterion 1.4.10)."""
    with opened(browser, page) as shown:
        shown.page.set_viewport_size({"width": 320, "height": 800})
        shown.page.evaluate(OPEN_ALL)
        root = "document.documentElement"
        assert shown.page.evaluate(f"{root}.scrollWidth <= {root}.clientWidth")
        script = axe_file()
        if script is not None:
            shown.page.evaluate(script.read_text(encoding="utf-8"))
            assert shown.page.evaluate(AXE) == []


def test_the_command_writes_the_section_on_request(tmp_path: Path) -> None:
    """Without the option it is not there, since it takes an exploration of its own."""
    file = tmp_path / "page.html"
    for options, there in (((), False), (("--faults",), True)):
        assert run("page", str(STARTER), "--to", str(file), *options).code == 0
        assert ('id="faults"' in file.read_text(encoding="utf-8")) == there

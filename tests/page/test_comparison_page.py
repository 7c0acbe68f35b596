"""The page of a comparison is for every reader, and its scenarios can be stepped through, too."""

from __future__ import annotations

from pathlib import Path

import pytest
from playwright.sync_api import Browser

from tests.cli.running import MODELS, run
from tests.page.browsing import axe_file, opened
from tests.page.test_usability import AXE, needs_axe
from tests.sweeps import sweep


@pytest.fixture(scope="module")
def file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The page of the starter and its faulty twin."""
    file = tmp_path_factory.mktemp("comparison") / "page.html"
    old, new = MODELS / "starter" / "device.yaml", MODELS / "faulty" / "silent_plug.yaml"
    assert run("compare", str(old), str(new), "--page", str(file)).code == 1
    return file


@needs_axe
@pytest.mark.parametrize("scheme", sweep(["light", "dark"], lambda scheme: scheme == "dark"))
def test_the_checker_finds_no_fault(scheme: str, browser: Browser, file: Path) -> None:
    """axe-core, as on the page of a check; nothing is loaded, and nothing runs out of the page."""
    script = axe_file()
    assert script is not None
    with opened(browser, file, scheme=scheme, width=640) as page:
        page.page.evaluate(script.read_text(encoding="utf-8"))
        assert page.page.evaluate(AXE) == []
        page.open_stage('[data-open="0"]')
        assert page.page.evaluate(AXE) == []
        assert page.troubles == []


@pytest.mark.parametrize("width", [320, 400, 800, 1400])
def test_nothing_is_wider_than_the_screen(width: int, browser: Browser, file: Path) -> None:
    """Neither tables nor pictures, nor the stage."""
    with opened(browser, file, width=width) as page:
        page.open_stage('[data-open="0"]')
        assert page.page.evaluate("document.documentElement.scrollWidth <= innerWidth")


def test_every_scenario_can_be_stepped_through(browser: Browser, file: Path) -> None:
    """Those of new findings, in the new device, and the run that shows a difference in behaviour,
    in the device that can take it; each to its end, with the chart of its steps.
    """
    with opened(browser, file) as page:
        openers = page.page.locator("button.open")
        assert openers.count() == 3
        places = []
        for number in range(openers.count()):
            page.open_stage(f'[data-open="{number}"]')
            page.press("End")
            steps = openers.nth(number).inner_text()
            assert f"through {page.shown()['position']} step" in steps
            assert page.shown()["bands"] == [page.shown()["position"]]
            places.append(
                page.page.evaluate(
                    "document.querySelector('.slot:has(#stage)').closest('main > section').id"
                )
            )
            page.press("Escape")
        assert places == ["findings", "findings", "part-1"]
        assert page.troubles == []


def test_the_search_finds_new_findings_and_sections(browser: Browser, file: Path) -> None:
    """Enter leads there."""
    with opened(browser, file) as page:
        page.page.fill("#search-words", "deadlock")
        page.press("Enter")
        assert page.page.evaluate("document.activeElement.id") == "deadlock:receiver.changing"

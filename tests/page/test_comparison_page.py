"""The page of a comparison is for every reader, too."""

from __future__ import annotations

from pathlib import Path

import pytest
from playwright.sync_api import Browser

from tests.cli.running import MODELS, run
from tests.page.browsing import axe_file, opened
from tests.page.test_usability import AXE, needs_axe


@needs_axe
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_the_checker_finds_no_fault(scheme: str, browser: Browser, tmp_path: Path) -> None:
    """axe-core, as on the page of a check; nothing is loaded, and nothing runs out of the page."""
    file = tmp_path / "page.html"
    old, new = MODELS / "starter" / "device.yaml", MODELS / "faulty" / "silent_plug.yaml"
    assert run("compare", str(old), str(new), "--page", str(file)).code == 1
    script = axe_file()
    assert script is not None
    with opened(browser, file, scheme=scheme, width=640) as page:
        page.page.evaluate(script.read_text(encoding="utf-8"))
        assert page.page.evaluate(AXE) == []
        assert page.page.evaluate("document.documentElement.scrollWidth <= innerWidth")
        assert page.troubles == []

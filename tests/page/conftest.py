"""One browser for all tests of the page, and every page written at most once."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from functools import cache
from pathlib import Path
from typing import TypeAlias

import pytest
from playwright.sync_api import Browser, sync_playwright

from modecheck.report.page import page_as_html
from tests.draw.browser import program
from tests.models.bundled import name_of, verdict_on

PageOf: TypeAlias = Callable[[Path], Path]


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    """The browser of the system; nothing is downloaded."""
    found = program()
    if found is None:
        pytest.skip("there is no browser to ask")
    with sync_playwright() as playwright:
        started = playwright.chromium.launch(executable_path=found, args=["--no-sandbox"])
        yield started
        started.close()


@pytest.fixture(scope="session")
def page_of(tmp_path_factory: pytest.TempPathFactory) -> PageOf:
    """The file of a bundled model's page."""
    folder = tmp_path_factory.mktemp("pages")

    @cache
    def written(model: Path) -> Path:
        file = folder / f"{name_of(model)}.html"
        file.write_text(page_as_html(verdict_on(model)), encoding="utf-8")
        return file

    return written

"""Opens pages from disk in a real browser, with the network off, and asks what they show."""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from playwright.sync_api import Browser, Page

ROOT = Path(__file__).parents[2]

SHOWN = """() => ({
  chips: Object.fromEntries([...document.querySelectorAll('#now tr[data-chip]')]
    .map(row => [row.dataset.chip, row.dataset.state])),
  variables: Object.fromEntries([...document.querySelectorAll('#now [data-variable]')]
    .map(line => [line.dataset.variable, line.dataset.value])),
  marked: [...document.querySelectorAll('#now mark')].length,
  charts: [...document.querySelectorAll('#now .viewport')].map(port =>
    [port.closest('tr').previousElementSibling.dataset.chip,
      ...[...port.querySelectorAll('.is-current')].map(box => box.dataset.state)]),
  bands: [...document.querySelectorAll('#sequence .band')].map(band => Number(band.dataset.step)),
  own: [...document.querySelectorAll('#own-steps li')].map(step => step.textContent),
  position: Number(document.getElementById('stage').dataset.position),
  told: document.getElementById('told').innerText,
  choices: [...document.querySelectorAll('button.choice')]
    .map(button => button.querySelector('bdi').textContent),
  rows: [...document.querySelectorAll('button.choice')]
    .map(button => button.closest('tr').querySelector('th').innerText),
  planned: [...document.querySelectorAll('button.choice[aria-current=step]')]
    .map(button => button.querySelector('bdi').textContent),
})"""
"""What the stage shows, asked at once."""


@dataclass
class Opened:
    """A page in a browser. `troubles` are console errors, exceptions, dialogs, and requests."""

    page: Page
    troubles: list[str] = field(default_factory=list)

    def press(self, key: str) -> None:
        self.page.keyboard.press(key)

    def shown(self) -> dict[str, Any]:
        """What the stage shows now."""
        answer: dict[str, Any] = self.page.evaluate(SHOWN)
        return answer

    def open_stage(self, selector: str) -> None:
        """Opens a scenario or a walk by keyboard: focus on its button, and Enter."""
        self.page.evaluate("document.querySelectorAll('details').forEach(one => one.open = true)")
        self.page.focus(selector)
        self.press("Enter")


@contextmanager
def opened(
    browser: Browser, file: Path, *, anchor: str = "", scheme: str = "light", width: int = 1280
) -> Iterator[Opened]:
    """The page in a file, opened from disk without a network."""
    context = browser.new_context(
        offline=True,
        color_scheme="dark" if scheme == "dark" else "light",
        viewport={"width": width, "height": 900},
    )
    try:
        page = context.new_page()
        found = Opened(page)
        page.on("console", lambda message: found.troubles.append(message.text))
        page.on("pageerror", lambda error: found.troubles.append(str(error)))
        page.on("request", lambda request: _note_request(found, request.url, file))
        page.goto(f"{file.as_uri()}{anchor}")
        yield found
    finally:
        context.close()


def _note_request(found: Opened, url: str, file: Path) -> None:
    if url.partition("#")[0] != file.as_uri():
        found.troubles.append(f"asks for {url}")


def axe_file() -> Path | None:
    """The accessibility checker's script, if it was installed beside the checkout or is named."""
    named = os.environ.get("MODECHECK_AXE")
    path = Path(named) if named else ROOT / "node_modules" / "axe-core" / "axe.min.js"
    return path if path.is_file() else None

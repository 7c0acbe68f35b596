"""Asks a real browser how it sets text. Tests that need it are skipped where there is none."""

from __future__ import annotations

import html
import json
import re
import shutil
import subprocess
import tempfile
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import pytest

PROGRAMS = ("chromium", "chromium-browser", "google-chrome")


def program() -> str | None:
    """The browser of the system, if there is one."""
    return next((found for name in PROGRAMS if (found := shutil.which(name))), None)


METRIC_FACES = ("Helvetica", "Liberation Sans", "Arimo", "Nimbus Sans", "Arial")
"""Families whose letters are as wide as those of Helvetica."""


def has_face() -> bool:
    """Whether the system has a face whose metrics are foreseen."""
    finder = shutil.which("fc-match")
    if finder is None:
        return False
    command = [finder, "--format", "%{family}", "Helvetica"]
    found = subprocess.run(command, capture_output=True, text=True, check=False).stdout
    return found.startswith(METRIC_FACES)


needs_face = pytest.mark.skipif(
    program() is None or not has_face(), reason="there is no browser with a face of these metrics"
)
needs_browser = pytest.mark.skipif(program() is None, reason="there is no browser to ask")


def answer_of_page(body: str, script: str) -> Any:
    """What a script returns that runs in a page, as JSON."""
    page = (
        f"<!doctype html><meta charset=utf-8><body>{body}<pre id=answer></pre><script>"
        f"document.getElementById('answer').textContent = JSON.stringify((() => {{{script}}})());"
        "</script>"
    )
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "page.html"
        path.write_text(page, encoding="utf-8")
        browser = program() or ""
        shown = subprocess.run(
            [browser, "--headless", "--no-sandbox", "--disable-gpu", "--dump-dom", str(path)],
            capture_output=True,
            text=True,
            check=True,
            timeout=120,
            env={"HOME": folder, "PATH": "/usr/bin:/bin"},
        ).stdout
    found = re.search(r'<pre id="answer">(.*?)</pre>', shown, re.DOTALL)
    assert found, shown[:500]
    return json.loads(html.unescape(found[1]))


def measured_widths(lines: Sequence[str], *, strong: bool) -> list[float]:
    """The width of each line at a size of 10.5, in the first face of the family that is there."""
    weight = "bold" if strong else "normal"
    style = f"font:{weight} 10.5px Helvetica,Arial;font-kerning:none"
    texts = "".join(f'<text style="{style}">{html.escape(line)}</text>' for line in lines)
    script = "return [...document.querySelectorAll('text')].map(t => t.getComputedTextLength())"
    return [float(width) for width in answer_of_page(f"<svg>{texts}</svg>", script)]

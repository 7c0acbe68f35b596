"""Whatever a model says is text on its page: nothing runs, nothing is fetched."""

from __future__ import annotations

import re
from pathlib import Path
from textwrap import dedent

import pytest
from playwright.sync_api import Browser

from modecheck.checks.verdict import check
from modecheck.model.devices import read_device
from modecheck.report.page import page_as_html
from tests.models.bundled import TANDEM, verdict_on_every_variant
from tests.page.browsing import Opened, opened
from tests.page.conftest import PageOf
from tests.sweeps import sweep

MARKUP = "</script><script>window.ran = 1</script><img src=x onerror='window.ran = 1'>"
QUOTES = '"\'><b onmouseover="window.ran = 1">{{ 7 * 7 }}{% raw %}&amp;`${window.ran = 1}`'
TURNED = "safe\u202egnihton\u202c\u2066end"
LONG = "x" * 10_000

DEVICE = """
    device: NAME
    about: NAME
    chips:
      hub:
        about: NAME
        states: [idle, busy]
        rules:
          - {in: idle, on: go, text: NAME, to: busy}
    actors:
      player:
        states: [THERE]
        rules:
          - {signal: go, text: NAME}
    modes:
      one: hub.idle
      two: hub.busy
    requirements:
      R1: {text: NAME, never: hub.busy}
    accepted:
      - {finding: "deadlock:hub.idle", reason: NAME}
"""


def hostile_page(folder: Path, name: str, *, long: str = "there") -> Path:
    """The page of a device in which everything that may be any text is this one."""
    quoted = "'" + name.replace("'", "''") + "'"
    text = dedent(DEVICE).replace("THERE", long).replace("NAME", quoted)
    model = folder / "device.yaml"
    model.write_text(text, encoding="utf-8")
    file = folder / "page.html"
    file.write_text(page_as_html(check([read_device(str(model))])), encoding="utf-8")
    return file


def walk_everywhere(page: Opened) -> None:
    """Use whatever can be used, so that every text is shown once."""
    page.open_stage("[data-open]")
    page.press("End")
    page.page.locator("#now button[data-opens]").first.click()
    page.press("Escape")
    page.open_stage("[data-walk]")
    page.page.locator("button.choice").first.click()
    page.page.fill("#search-words", "e")


@pytest.mark.parametrize(
    "name",
    sweep([MARKUP, QUOTES, TURNED, LONG], lambda name: name == MARKUP),
    ids=["markup", "quotes", "turned", "long"],
)
def test_hostile_names_appear_as_text_and_run_nothing(
    name: str, browser: Browser, tmp_path: Path
) -> None:
    """No element comes of them, no script runs, no console error; they can be read."""
    with opened(browser, hostile_page(tmp_path, name)) as page:
        walk_everywhere(page)
        assert page.troubles == []
        assert page.page.evaluate("window.ran") is None
        assert page.page.locator("script").count() == 2
        assert page.page.locator("img, b[onmouseover]").count() == 0
        shown = page.page.locator("h1").inner_text()
        beginning = name.split("\u202e")[0][:40]
        assert shown.startswith(" ".join(beginning.split()))
        assert page.page.evaluate("document.documentElement.scrollWidth <= innerWidth")


@pytest.mark.thorough
def test_a_name_of_ten_thousand_letters_stays_small(browser: Browser, tmp_path: Path) -> None:
    """A state with such a name neither breaks the layout nor makes the page large."""
    file = hostile_page(tmp_path, LONG, long=LONG)
    assert file.stat().st_size < 3_000_000
    with opened(browser, file) as page:
        walk_everywhere(page)
        assert page.troubles == []
        assert page.page.evaluate("document.documentElement.scrollWidth <= innerWidth")


def test_signs_that_turn_the_direction_of_writing_are_told_by_number(tmp_path: Path) -> None:
    """Nowhere in the file is such a sign left that could make a page read otherwise."""
    text = hostile_page(tmp_path, TURNED).read_text(encoding="utf-8")
    assert re.search("[\u202a-\u202e\u2066-\u2069]", text) is None
    assert "safe⟨U+202E⟩gnihton" in text


def test_a_page_asks_for_nothing(page_of: PageOf) -> None:
    """No address stands in it but the names of namespaces, and its policy allows one script."""
    text = page_of(TANDEM).read_text(encoding="utf-8")
    addresses = set(re.findall(r"https?://[^\s\"'<>)]+", text))
    # Names of vocabularies, of the pictures and in the text of the guide.
    assert addresses <= {"http://www.w3.org/2000/svg", "http://www.w3.org/2005/07/scxml&#34;"}
    policy = re.search(r'Content-Security-Policy" content="([^"]*)"', text)
    assert policy is not None
    assert "default-src 'none'" in policy[1]
    assert "unsafe-inline" not in policy[1]


def test_the_policy_stops_a_foreign_script(browser: Browser, page_of: PageOf) -> None:
    """Even a script that got into the page by a mistake of ours would not run."""
    with opened(browser, page_of(TANDEM)) as page:
        page.page.evaluate(
            "document.body.append(Object.assign(document.createElement('script'),"
            " {textContent: 'window.ran = 1'}))"
        )
        assert page.page.evaluate("window.ran") is None
        assert any("Content Security Policy" in trouble for trouble in page.troubles)


@pytest.mark.thorough
def test_every_variant_stands_on_one_page(browser: Browser, tmp_path: Path) -> None:
    """With all choices of options, each variant can be walked and has its own switches."""
    verdict = verdict_on_every_variant(TANDEM)
    file = tmp_path / "page.html"
    file.write_text(page_as_html(verdict), encoding="utf-8")
    assert file.stat().st_size < 3_000_000
    with opened(browser, file) as page:
        assert page.page.locator("[data-walk]").count() == 2
        assert page.page.locator("#modes table.grid").count() == 2
        page.open_stage('[data-walk="1"]')
        page.page.get_by_role("button", name="statechart of hub").click()
        assert page.shown()["charts"] == [["hub", "starting"]]
        assert page.troubles == []

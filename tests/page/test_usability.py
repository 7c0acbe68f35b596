"""For every reader: names and contrast, links, search, zoom, paper."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page

import modecheck
from tests.draw.test_palette import contrast
from tests.models.bundled import MODELS, TANDEM, verdict_on
from tests.page.browsing import axe_file, opened
from tests.page.conftest import PageOf

SILENT = MODELS / "faulty" / "silent_plug.yaml"
LOOK = Path(modecheck.__file__).parent / "report" / "page" / "assets" / "look.css"

AXE = """async () => (await axe.run(document, {runOnly:
  ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa', 'best-practice']})).violations.map(
  found => `${found.id}: ${found.nodes.map(node => node.html.slice(0, 120)).join(' | ')}`)"""
BOXES_AROUND_CHOICES = """() => {
  const boxes = new Set();
  for (const button of document.querySelectorAll('button.choice')) {
    for (let box = button.parentElement; box !== document.body; box = box.parentElement) {
      if (getComputedStyle(box).overflowY !== 'visible') boxes.add(box.id || box.className);
    }
  }
  return [...boxes];
}"""
needs_axe = pytest.mark.skipif(
    axe_file() is None, reason="axe-core is not installed (npm install axe-core, or MODECHECK_AXE)"
)


@needs_axe
@pytest.mark.parametrize(
    ("model", "scheme"),
    [
        pytest.param(TANDEM, "light", marks=pytest.mark.thorough),
        pytest.param(SILENT, "light", marks=pytest.mark.thorough),
        (SILENT, "dark"),
    ],
)
def test_the_checker_finds_no_fault_in_names_and_contrast(
    model: Path, scheme: str, browser: Browser, page_of: PageOf
) -> None:
    """axe-core (WCAG 2.2, levels A and AA, and best practice): on the page, at the end of a
    scenario, off it and with a statechart open.
    """
    script = axe_file()
    assert script is not None
    with opened(browser, page_of(model), scheme=scheme) as page:
        page.page.evaluate(script.read_text(encoding="utf-8"))
        page.open_stage('[data-open="0"]')
        page.press("End")
        assert page.page.evaluate(AXE) == []
        page.press("Home")
        page.page.locator("#now button[data-opens]").first.click()
        page.page.locator("button.choice:not(.planned)").first.click()
        assert page.page.evaluate(AXE) == []


def colours(dark: bool) -> dict[str, str]:
    """The variables of the style sheet."""
    light, _, rest = LOOK.read_text(encoding="utf-8").partition("@media screen")
    text = rest.partition("}\n}")[0] if dark else light
    return dict(re.findall(r"--([a-z-]+): (#[0-9a-f]{6})", text))


@pytest.mark.parametrize("dark", [False, True], ids=["light", "dark"])
@pytest.mark.parametrize("ink", ["ink", "soft", "link", "found", "open", "clean"])
def test_text_can_be_read_on_every_ground(ink: str, dark: bool) -> None:
    """At least 4.5 to 1 (WCAG 2.2, success criterion 1.4.3), also in the sequence chart, whose
    colours the checker cannot see.
    """
    tones = colours(dark)
    grounds = ["paper", "sheet", "shade", "now"] if ink in ("ink", "soft") else ["paper", "sheet"]
    grounds += [f"{ink}-shade"] if f"{ink}-shade" in tones else []
    assert all(contrast(tones[ink], tones[ground]) >= 4.5 for ground in grounds)
    assert contrast(tones["mark-ink"], tones["mark"]) >= 4.5


@pytest.mark.parametrize("dark", [False, True], ids=["light", "dark"])
def test_marks_and_borders_can_be_seen(dark: bool) -> None:
    """At least 3 to 1 for what is not text (WCAG 2.2, success criterion 1.4.11)."""
    tones = colours(dark)
    for line in ("focus", "strong-line"):
        for ground in ("paper", "sheet", "shade"):
            assert contrast(tones[line], tones[ground]) >= 3


def focused(page: Page) -> str:
    """The id of the element that has the focus."""
    found: str = page.evaluate("document.activeElement.id")
    return found


def test_a_link_leads_to_a_finding_and_to_a_step_of_it(browser: Browser, page_of: PageOf) -> None:
    """`#id` shows the finding, `#id@2` the second step of its scenario."""
    identity = next(f.id for f in verdict_on(SILENT).findings if f.code == "broken-requirement")
    with opened(browser, page_of(SILENT), anchor=f"#{identity}") as page:
        assert focused(page.page) == identity
        assert page.page.locator(f'[id="{identity}"] h4').is_visible()
    with opened(browser, page_of(SILENT), anchor=f"#{identity}@2") as page:
        assert page.shown()["position"] == 2
        assert page.page.locator(f'[id="{identity}"] #stage').is_visible()


@pytest.mark.thorough
def test_a_link_to_nothing_or_to_nonsense_does_no_harm(browser: Browser, page_of: PageOf) -> None:
    """An old link still opens the page."""
    for anchor in ("#gone", "#%E0%A4%A", "#@3", "#cautions@9"):
        with opened(browser, page_of(SILENT), anchor=anchor) as page:
            assert page.troubles == []


def test_search_finds_everything_that_has_a_name(browser: Browser, page_of: PageOf) -> None:
    """All words must occur; each entry leads to an element, Enter to the first that is found."""
    with opened(browser, page_of(SILENT)) as page:
        for words, count, first in (
            ("deadlock", 1, "finding deadlock:receiver.changing"),
            ("requirement note", 2, "finding broken-requirement:note_ends"),
            ("switch radio", 4, "switch wired to radio"),
            ("state receiver.", 3, "state receiver.on_air"),
            ("chip pedal", 1, "chip pedal"),
            ("rule pedal.plug", 1, "rule pedal.plug: switches to the cable"),
            ("link cord", 1, "link cord"),
            ("message picture", 2, "message picture over cord"),
            ("signal lift", 1, "signal lift"),
            ("nothing of that kind", 0, ""),
        ):
            page.page.fill("#search-words", words)
            found = page.page.locator("#search-found a").all_inner_texts()
            assert len(found) == count, (words, found)
            assert "".join(found[:1]).startswith(first)
            assert page.page.locator("#search-told").inner_text() == f"{count} found"
        dead = page.page.evaluate(
            "JSON.parse(document.getElementById('model-data').textContent).index"
            ".filter(([, anchor]) => !document.getElementById(anchor))"
        )
        assert dead == []
        page.page.fill("#search-words", "deadlock")
        page.press("Enter")
        assert focused(page.page) == "deadlock:receiver.changing"
        page.page.fill("#search-words", "signal lift")
        page.press("Enter")
        assert focused(page.page) == "signal-lift"


def test_pictures_look_on_the_page_as_they_do_anywhere(browser: Browser, page_of: PageOf) -> None:
    """The page's style sheet gives no text of theirs another size or face."""
    faces = """[...document.querySelectorAll('.drawing text, .drawing tspan')].map(text =>
        { const { fontSize, fontFamily } = getComputedStyle(text);
          return fontSize + fontFamily.split(',')[0]; })"""
    with opened(browser, page_of(SILENT)) as page:
        page.open_stage('[data-open="0"]')
        assert set(page.page.evaluate(faces)) == {"10.5pxHelvetica", "12.5pxHelvetica"}


@pytest.mark.thorough
def test_charts_are_zoomed_by_keys_and_moved_by_the_mouse(
    browser: Browser, page_of: PageOf
) -> None:
    """Plus makes a chart larger, zero fits it, and dragging moves it."""
    with opened(browser, page_of(TANDEM)) as page:
        port = page.page.locator('[data-picture="chip-hub"]')
        port.scroll_into_view_if_needed()
        port.focus()
        width = "port => port.querySelector('svg').getBoundingClientRect().width"
        before = port.evaluate(width)
        page.press("+")
        page.press("+")
        assert port.evaluate(width) == pytest.approx(before * 1.25**2, rel=0.01)
        port.evaluate("port => port.scrollTo(50, 50)")
        place = port.bounding_box()
        assert place is not None
        x, y = place["x"] + 200, place["y"] + 100
        page.page.mouse.move(x, y)
        page.page.mouse.down()
        page.page.mouse.move(x - 40, y - 30)
        page.page.mouse.up()
        assert port.evaluate("port => [port.scrollLeft, port.scrollTop]") == [90, 80]
        page.press("0")
        fits = "port => port.querySelector('svg').getBoundingClientRect().width <= port.clientWidth"
        assert port.evaluate(fits)


@pytest.mark.parametrize("width", [320, 400, 800, 1400])
def test_nothing_is_wider_than_the_screen_and_no_choice_is_hidden(
    width: int, browser: Browser, page_of: PageOf
) -> None:
    """From 320 units (WCAG 2.2, success criterion 1.4.10) only charts scroll, and on the stage the
    choices stand in no box that scrolls.
    """
    with opened(browser, page_of(TANDEM), width=width) as page:
        page.open_stage('[data-open="0"]')
        page.page.locator("#now button[data-opens]").first.click()
        assert page.page.locator("button.choice").count() > 5
        assert page.page.evaluate(BOXES_AROUND_CHOICES) == []
        assert page.page.evaluate("document.documentElement.scrollWidth") <= width
        rows = page.page.locator("#requirements tbody tr").evaluate_all(
            "rows => rows.map(row => [getComputedStyle(row).display, row.scrollWidth])"
        )
        assert {display for display, _ in rows} == {"table-row" if width == 1400 else "flex"}
        assert max(needed for _, needed in rows) <= width


@pytest.mark.parametrize("width", [400, 1400])
def test_a_table_stays_a_table_where_its_rows_are_cards(
    width: int, browser: Browser, page_of: PageOf
) -> None:
    """A screen reader finds rows, heads and cells whatever they look like (WAI-ARIA 1.2, table)."""
    with opened(browser, page_of(SILENT), width=width) as page:
        page.open_stage('[data-open="0"]')
        table = page.page.get_by_role("table", name="Now")
        heads = table.get_by_role("columnheader").all_inner_texts()
        assert heads == ["Who", "Where", "What it knows", "Can do next"]
        row = table.get_by_role("row").filter(has=page.page.get_by_role("rowheader", name="pedal"))
        assert row.get_by_role("cell").count() == 3
        cards = row.evaluate("row => getComputedStyle(row).display")
        assert cards == ("grid" if width == 400 else "table-row")


@pytest.mark.thorough
def test_paper_has_every_scenario_whole(browser: Browser, page_of: PageOf) -> None:
    """Printing opens what is folded, charts of scenarios, too, and leaves the screen as it was."""
    with opened(browser, page_of(TANDEM)) as page:
        folded = page.page.locator("details:not([open])").count()
        page.page.evaluate("window.dispatchEvent(new Event('beforeprint'))")
        assert page.page.locator("details:not([open])").count() == 0
        drawn = page.page.evaluate(
            "[...document.querySelectorAll('main [data-scenario] .chart svg')].map(chart =>"
            " chart.querySelectorAll('.step').length - 1)"
        )
        switches = verdict_on(TANDEM).explored[0].switches
        assert drawn == [len(one.trace.moves) for one in switches if one.trace is not None]
        page.page.evaluate("window.dispatchEvent(new Event('afterprint'))")
        assert page.page.locator("details:not([open])").count() == folded
        assert len(page.page.pdf()) > 100_000

"""The guide is part of every page: what a terminal shows of it stands there, too."""

from __future__ import annotations

import html
import re

import pytest
from playwright.sync_api import Browser

from modecheck.report.guide_text import TOPICS, topic_as_text, topic_title
from modecheck.report.page import page_as_html
from modecheck.report.style import Style
from tests.models.bundled import STARTER, verdict_on
from tests.page.browsing import opened
from tests.page.conftest import PageOf


def words(text: str) -> set[str]:
    """Its words, without marks of any kind."""
    return set(re.findall(r"[\w.]*\w", text.lower()))


@pytest.fixture(scope="module")
def helped() -> dict[str, str]:
    """The text of each topic on the page of the starter."""
    section = page_as_html(verdict_on(STARTER)).partition('<section id="help"')[2]
    _, *topics = section.partition("</section>\n</main>")[0].split('<details id="help-')
    plain = (re.sub(r"<[^>]*>", " ", one.replace("<wbr>", "")) for one in topics)
    return dict(zip(TOPICS, map(html.unescape, plain), strict=True))


@pytest.mark.parametrize("topic", TOPICS)
def test_each_topic_says_whatever_a_terminal_says(topic: str, helped: dict[str, str]) -> None:
    """Every word of it, but for the addresses of pages elsewhere, which a page does not name."""
    told = words(
        re.sub(r"\(https://\S*\)", "", "\n".join(topic_as_text(topic, Style(width=10_000))))
    )
    assert told - words(helped[topic]) == set()


def test_marks_of_the_source_are_gone(helped: dict[str, str]) -> None:
    """Code and emphasis are set, not written."""
    prose = helped["language"]
    assert "`" not in prose
    assert "*every*" not in prose


def test_a_topic_opens_from_its_title(browser: Browser, page_of: PageOf) -> None:
    """All of them are folded away at first; the contents lead there."""
    with opened(browser, page_of(STARTER), width=400) as page:
        page.page.get_by_role("link", name="Help").click()
        topics = page.page.locator("#help details")
        assert topics.locator("summary").all_inner_texts() == list(map(topic_title, TOPICS))
        assert not topics.first.locator("pre").first.is_visible()
        topics.first.locator("summary").press("Enter")
        assert topics.first.locator("pre").first.is_visible()
        assert page.page.evaluate("document.documentElement.scrollWidth") <= 400

"""`modecheck guide` lists its topics, shows each as text, and names what is near a wrong word."""

from __future__ import annotations

import re

import pytest

from modecheck.report.guide_text import TOPICS, topic_as_text, topic_source, topics_as_text
from modecheck.report.style import Style
from tests.cli.running import on_terminal, run
from tests.documents import GUIDE

LINES_OF_A_SCREEN, MOST_SCREENS = 24, 10


def test_every_file_is_a_topic() -> None:
    """None is left out, and none is listed that is not there."""
    assert sorted(TOPICS) == sorted(path.stem for path in GUIDE.glob("*.md"))


def test_without_a_topic_all_are_listed() -> None:
    """Each in one line, within a screen."""
    shown = run("guide").out.splitlines()
    assert len(shown) <= LINES_OF_A_SCREEN
    names = [re.findall(r"\w+", line.strip().partition("  ")[0]) for line in shown[1:]]
    assert [name for some in names for name in some] == list(TOPICS)
    assert max(map(len, shown)) <= 80


@pytest.mark.parametrize("name", TOPICS)
def test_a_topic_is_plain_text_of_at_most_ten_screens(name: str) -> None:
    """In a pipe, 80 columns wide, with all its words and no marks of Markdown but those of code."""
    shown = run("guide", name)
    lines = shown.out.splitlines()
    assert (shown.code, shown.err) == (0, "")
    assert lines == topic_as_text(name, Style())
    assert len(lines) <= MOST_SCREENS * LINES_OF_A_SCREEN
    assert [line for line in lines if len(line) > 80] == []
    assert not re.search(r"^(```|#+ |<!--|!\[|\| )|^\*\*|\w\]\(", shown.out, re.MULTILINE)
    left_out = r"^<!--.*|^!\[.*|\]\([^)]*\)|^```\w*|^\|.*\|\n\| ---.*"
    words = re.findall(r"\w{3,}", re.sub(left_out, "", topic_source(name), flags=re.MULTILINE))
    assert set(words) - set(re.findall(r"\w+", shown.out)) == set()


def test_the_first_thing_explained_is_rest_the_second_that_choices_are_free() -> None:
    """What every newcomer stumbles over."""
    first, second = re.findall(r"^## (.*)$", topic_source("language"), re.MULTILINE)[:2]
    assert "`rest`" in first
    assert "free choices" in second
    assert "if/else" in second


def test_a_narrow_terminal_gets_narrow_text() -> None:
    """Paragraphs, lists and tables are laid out for the width at hand."""
    lines = topic_as_text("keys", Style(width=60))
    assert [line for line in lines if len(line) > 60] == []


def test_headings_stand_out_on_a_terminal() -> None:
    """And nothing else is coloured."""
    lines = topic_as_text("time", Style(colour=True))
    assert lines[0].startswith("\x1b[1mTime")
    assert topics_as_text(Style(colour=True))[0].startswith("  \x1b[1mlanguage")


def test_a_terminal_shows_it_page_by_page() -> None:
    """By the pager that PAGER names."""
    code, shown = on_terminal("guide", "time", env={"PAGER": "head -n 3"})
    assert code == 0
    assert "Time: timers" in shown
    assert "How long it takes" not in shown


@pytest.mark.parametrize(
    ("word", "advice"),
    [
        ("languag", "Did you mean 'language'?"),
        ("deadlock", "'deadlock' is explained in: findings"),
        ("capacity", "'capacity' is explained in: keys"),
        ("xyzzy", "The topics are language, keys,"),
    ],
)
def test_an_unknown_topic_is_an_error_with_advice(word: str, advice: str) -> None:
    """The nearest topic, or where the word is explained."""
    shown = run("guide", word)
    assert (shown.code, shown.out) == (2, "")
    assert advice in shown.err

"""Widths of letters against published figures and a real browser; lines that are wrapped."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from modecheck.draw.lettering import SLACK, is_measured, text_width, wrapped
from modecheck.draw.sketch import Run, TextLine
from modecheck.draw.svg_marks import text
from tests.draw.browser import answer_of_page, measured_widths, needs_browser, needs_face

SAMPLES = (
    "hello via front_up [front_bond == 1]",
    "/ retries = min(retries + 1, 3);",
    "after (20 ms)",
    'The quick "brown" fox @ 42 % & {steps: separate} <x> ~ WAVE',
)


OVERHANG = 2
"""Units by which the outline of a last letter may reach beyond the line's width."""


@pytest.mark.parametrize(
    ("letter", "plain", "strong"),
    [(" ", 278, 278), ("A", 667, 722), ("W", 944, 944), ("i", 222, 278), ("m", 833, 889)],
)
def test_widths_are_those_of_the_published_metrics(letter: str, plain: int, strong: int) -> None:
    """Letters are as wide as Adobe's Core 14 metrics of Helvetica say (values from memory)."""
    assert text_width(letter, 1000) == plain
    assert text_width(letter, 1000, strong=True) == strong


@pytest.mark.thorough
@needs_face
@pytest.mark.parametrize("strong", [False, True])
def test_a_browser_needs_no_more_room_than_foreseen(strong: bool) -> None:
    """A browser that has a face of these metrics sets each line as wide as foreseen."""
    foreseen = [text_width(sample, 10.5, strong=strong) for sample in SAMPLES]
    for real, width in zip(measured_widths(SAMPLES, strong=strong), foreseen, strict=True):
        assert real == pytest.approx(width, rel=0.005)


def test_letters_outside_the_tables_get_room_enough() -> None:
    """Foreign letters are never taken for narrow ones, and accents add nothing."""
    assert text_width("日本", 10) >= 20
    assert text_width("é", 10) == text_width("e", 10)
    assert text_width("e\u0301", 10) == text_width("e", 10)
    assert is_measured("plain")
    assert is_measured("é ñ")
    assert not is_measured("日本")


@needs_browser
def test_lines_fit_in_any_face() -> None:
    """A viewer without the foreseen faces squeezes a line, or the line has room enough."""
    samples = [*SAMPLES, "日本 é: a foot is down, and its note sounds"]
    faces = ("DejaVu Sans", "Liberation Serif", "monospace")
    lines = [TextLine((Run(words, "trigger"),)) for words in samples for _ in faces]
    drawn = "".join(
        text(line, 0, 0).replace("<text ", f"<text style='font:bold 10.5px {face}' ", 1)
        for line, face in zip(lines, faces * len(samples), strict=True)
    )
    script = "return [...document.querySelectorAll('text')].map(t => t.getBBox().width)"
    for line, width in zip(lines, answer_of_page(f"<svg>{drawn}</svg>", script), strict=True):
        assert width <= line.width + OVERHANG


@given(st.text(st.characters(codec="utf-8"), max_size=120))
def test_wrapping_loses_no_letter_and_keeps_lines_short(text: str) -> None:
    """Lines hold every letter in order, and none is longer than allowed."""
    lines = wrapped(text, 20)
    assert "".join("".join(line.split()) for line in lines) == "".join(text.split())
    assert all(len(line) <= 20 + SLACK for line in lines)


def test_a_long_name_is_broken_behind_a_mark() -> None:
    """Names too long for a line are broken where a reader would break them."""
    assert wrapped("front_switch_is_pressed_now", 16) == ["front_switch_is_", "pressed_now"]


def test_a_break_leaves_no_stub() -> None:
    """A line that would be nearly empty takes one more word, though it gets a little too long."""
    assert wrapped("/ send front_picture(front_switch.pressed)", 39) == [
        "/ send front_picture(front_switch.pressed)"
    ]


def test_slack_is_small() -> None:
    """Even where a break leaves a stub, a line is at most SLACK characters too long."""
    assert wrapped(f"stub {'x' * 20}", 20) == [f"stub {'x' * 20}"]
    assert wrapped(f"stub {'x' * 18}{'y' * 2} z", 20)[1:] == ["z"]
    assert wrapped(f"a_stub_ {'x' * 19}", 20) == ["a_stub_", "x" * 19]

"""Colours: text can be read on every ground, on light and on dark screens."""

from __future__ import annotations

import re
from itertools import product

import pytest

from modecheck.draw.palette import (
    ACTOR_FILL,
    BORDER,
    FACES,
    FRAME_LINE,
    LINE,
    STATE_FILL,
    Colour,
    ground,
)
from modecheck.draw.stylesheet import stylesheet

GROUNDS = (ground(0), ground(1), STATE_FILL, ACTOR_FILL)


def _luminance(colour: str) -> float:
    """Relative luminance, WCAG 2.2 (the formula from memory)."""
    parts = [int(colour[at : at + 2], 16) / 255 for at in (1, 3, 5)]
    red, green, blue = (
        part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts
    )
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(one: str, two: str) -> float:
    """The contrast ratio of two colours, from 1 to 21."""
    light, dark = sorted((_luminance(one), _luminance(two)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def test_the_formula_gives_the_known_extremes() -> None:
    """Black on white has a contrast of 21 to 1, a colour on itself of 1 (WCAG 2.2)."""
    assert contrast("#000000", "#ffffff") == pytest.approx(21)
    assert contrast("#123456", "#123456") == 1


@pytest.mark.parametrize(("face", "behind"), list(product(FACES.values(), GROUNDS)))
def test_text_can_be_read(face: Colour, behind: Colour) -> None:
    """Text has at least 4.5 to 1 (WCAG 2.2, success criterion 1.4.3)."""
    assert contrast(face.light, behind.light) >= 4.5
    assert contrast(face.dark, behind.dark) >= 4.5


@pytest.mark.parametrize(("line", "behind"), list(product((LINE, BORDER), GROUNDS)))
def test_lines_can_be_seen(line: Colour, behind: Colour) -> None:
    """Lines and outlines have at least 3 to 1 (WCAG 2.2, success criterion 1.4.11)."""
    assert contrast(line.light, behind.light) >= 3
    assert contrast(line.dark, behind.dark) >= 3


def test_frames_can_be_seen() -> None:
    """The borders of frames have at least 3 to 1 on both grounds, as lines do."""
    for behind in (ground(0), ground(1)):
        assert contrast(FRAME_LINE.light, behind.light) >= 3
        assert contrast(FRAME_LINE.dark, behind.dark) >= 3


def test_the_style_sheet_touches_nothing_outside_the_picture() -> None:
    """Every selector is bound to the picture, which may stand in a page with its own styles."""
    sheet = re.sub(r"@media[^{]*\{", "", stylesheet())
    for selectors in re.findall(r"([^{}]+)\{", sheet):
        for selector in selectors.strip().split(","):
            assert selector.startswith(".drawing "), selector


def test_only_screens_turn_dark() -> None:
    """Paper stays light."""
    assert "@media screen and (prefers-color-scheme:dark)" in stylesheet()
    assert stylesheet().count("@media") == 1

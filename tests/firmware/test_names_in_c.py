"""Names of a model become names of C, or an error with its place."""

from __future__ import annotations

import pytest

from modecheck.firmware.c_names import CNames, comment, identifier, literal
from modecheck.model.errors import InvalidInput
from modecheck.model.places import Place, Source
from tests.firmware.made import cases_of, needs_compiler, proof_of
from tests.generation.devices import device_from

PLACE = Place(Source("device.yaml", ("chip: hub",)), 1, 1)


@pytest.mark.parametrize(
    ("text", "plain"),
    [
        ("linked", "linked"),
        ("tile[2]", "tile_2"),
        ("ö", "u00f6"),
        ("turn#2", "turn_no_2"),
        ("?", "_"),
    ],
)
def test_a_name_keeps_letters_digits_and_underscores(text: str, plain: str) -> None:
    """All else becomes an underscore or a code."""
    assert identifier(text) == plain


@pytest.mark.parametrize("text", ["*/ int x; /*", "??/", "a\\", 'say "x"'])
def test_text_of_a_model_ends_neither_a_comment_nor_a_string(text: str) -> None:
    """Also not by a trigraph or at the end of a line."""
    assert "*/" not in comment(text)
    assert "??" not in comment(text)
    assert "\\" not in literal(text)
    assert literal(text).count('"') == 2


def test_two_names_that_become_one_are_an_error() -> None:
    """It names both, and the place of the second."""
    names = CNames("hub", PLACE)
    names.constant("in", "a-b", of="state a-b")
    names.constant("in", "a_b", of="state a_b", place=PLACE)
    with pytest.raises(InvalidInput) as found:
        names.need_distinct()
    assert "state a_b and state a-b both become HUB_IN_A_B in C" in str(found.value)
    assert str(found.value).startswith("device.yaml:1:1")


def test_a_chip_without_a_letter_in_front_gets_one() -> None:
    """C reserves what begins with an underscore."""
    assert CNames("_x", PLACE).prefix == "x"
    assert CNames("9", PLACE).prefix == "chip_9"


ODD = """
device: odd
chips:
  int:
    variables:
      while: {range: [0, 70000], start: 70000}
      least: {range: [-5, 5], start: -5}
    states:
      default: {rest: true}
      case: {}
    rules:
      switch:
        {in: default, if: while > 2, do: while = while - 40000 if least < 0 else while, to: case}
      goto: {in: case, do: "least = max(min(least + 1, 5), -5)", to: default}
"""


@needs_compiler
@pytest.mark.parametrize("style", ["switch", "table"])
def test_keywords_and_wide_values_are_correct_c(style: str) -> None:
    """Variables, states and rules may have the names of C's keywords."""
    (cases,) = cases_of(device_from(ODD), ["int"])
    assert proof_of(cases, style).differences == []

"""How an error is told: the place, the line with its mark, what was expected, the nearest name."""

from __future__ import annotations

import pytest

from modecheck.model.errors import (
    LONGEST_LINE_SHOWN,
    MOST_CHOICES_SHOWN,
    MOST_ERRORS,
    InputError,
    InvalidInput,
    Notebook,
    nearest_name,
)
from modecheck.model.places import Place, Source


def place(line: str, column: int, width: int = 1) -> Place:
    return Place(Source("hub.yaml", (line,)), 1, column, width)


def test_an_error_shows_its_line_and_a_mark() -> None:
    """The mark stands under the characters that are wrong."""
    error = InputError("unknown state 'lnked'", place("to: lnked", 5, 5), "one of linked", "linked")
    assert str(error).splitlines() == [
        "hub.yaml:1:5: unknown state 'lnked'",
        "     1 │ to: lnked",
        "       │     ▔▔▔▔▔",
        "         expected one of linked; did you mean 'linked'?",
    ]


def test_the_only_name_is_told_once() -> None:
    """It is a question where it is near, and else what was expected."""
    notes = Notebook()
    notes.add("no chip 'hbu'", None, word="hbu", choices=["hub"])
    notes.add("no chip 'tile'", None, word="tile", choices=["hub"])
    with pytest.raises(InvalidInput) as raised:
        notes.raise_if_any()
    assert [str(error).splitlines()[1].strip() for error in raised.value.errors] == [
        "did you mean 'hub'?",
        "expected 'hub'",
    ]


@pytest.mark.parametrize(
    ("line", "column", "width", "mark"),
    [
        ("状態: x", 5, 1, " " * 6 + "▔"),
        ("to: 状態", 5, 2, " " * 4 + "▔▔▔▔"),
        ("a\u0301: x", 5, 1, " " * 3 + "▔"),
        ("\tx", 2, 1, " ▔"),
        ("x", 9, 4, " ▔"),
    ],
)
def test_the_mark_stands_below_what_a_terminal_shows(
    line: str, column: int, width: int, mark: str
) -> None:
    """Wide characters take two columns (Unicode Standard Annex 11), combining ones none."""
    assert str(InputError("", place(line, column, width))).splitlines()[2] == "       │ " + mark


@pytest.mark.parametrize("column", [1, 60, 500, 1000])
def test_a_long_line_is_cut_around_the_mark(column: int) -> None:
    """What is marked is always shown, and the rest is not."""
    line = "." * (column - 1) + "X" + "." * (1000 - column)
    _, shown, mark = str(InputError("", place(line, column))).splitlines()
    assert len(shown) == len("     1 │ ") + LONGEST_LINE_SHOWN
    assert shown.index("X") == mark.index("▔")


def test_unprintable_characters_are_not_shown() -> None:
    """A file cannot make a terminal do anything by being wrong."""
    assert "\x1b" not in str(InputError("", place("a: \x1b[2J", 4)))


def test_an_error_without_a_place_is_a_sentence() -> None:
    """What is wrong with the command line stands in no file."""
    assert str(InputError("there is no file 'hub.yaml'")) == "there is no file 'hub.yaml'"


def test_errors_are_told_together_and_each_once() -> None:
    """A chip file with an error is read for each instance, and tells it once."""
    notes = Notebook()
    for message in ("first", "second", "first"):
        notes.add(message, place("x", 1))
    with pytest.raises(InvalidInput) as caught:
        notes.raise_if_any()
    assert [error.message for error in caught.value.errors] == ["first", "second"]


def test_reading_stops_after_very_many_errors() -> None:
    """A file that is wrong everywhere is told in a bounded time, and that something is left out."""
    notes = Notebook()
    for number in range(MOST_ERRORS):
        notes.add(f"error {number}", None)
    with pytest.raises(InvalidInput) as caught:
        notes.add("one more", None)
    assert len(caught.value.errors) == MOST_ERRORS + 1
    assert caught.value.errors[-1].message == "more than 200 errors: the others are not shown"


def test_long_lists_of_choices_are_cut() -> None:
    """The nearest name helps more than a wall of words."""
    notes = Notebook()
    names = [f"state_{number:02}" for number in range(MOST_CHOICES_SHOWN + 5)]
    notes.add("unknown state", None, word="stat_07", choices=names)
    with pytest.raises(InvalidInput) as caught:
        notes.raise_if_any()
    assert "state_11 and 5 more; did you mean 'state_07'?" in str(caught.value)


@pytest.mark.parametrize(
    ("word", "near"),
    [("lnked", "linked"), ("LINKED", ""), ("linkd", "linked"), ("zebra", ""), ("", "")],
)
def test_the_nearest_name_is_near(word: str, near: str) -> None:
    """A slip of the finger is recognised, another word is not."""
    assert nearest_name(word, ["linked", "searching", "off"]) == near


def test_far_too_many_or_long_names_are_not_compared() -> None:
    """A suggestion is a help, and not worth minutes."""
    assert nearest_name("name", [f"name{number}" for number in range(100_000)]) == ""
    assert nearest_name("x" * 1_000_000, ["x" * 999_999]) == ""

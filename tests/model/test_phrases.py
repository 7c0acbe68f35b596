"""Texts of a chip file: parameters filled in, durations, and errors at the exact character."""

from __future__ import annotations

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from modecheck.model.errors import InvalidInput, Notebook
from modecheck.model.phrases import Phrases
from modecheck.model.places import Place, Source
from modecheck.model.scopes import MeaningError
from modecheck.model.syntax import parse_condition
from modecheck.model.yaml_nodes import ScalarNode

PARAMETERS = {"side": "front", "peer": "front_bridge", "n": "3"}


def scalar(text: str, *, line: str = "", quoted: bool = False) -> ScalarNode:
    """A scalar that stands at the end of a line."""
    shown = f"'{text}'" if quoted else text
    whole = line + shown
    place = Place(Source("hub.yaml", (whole,)), 1, len(line) + 1, len(shown))
    return ScalarNode(text, plain=not quoted, place=place)


def phrases() -> Phrases:
    return Phrases(Notebook(), PARAMETERS)


def told(reader: Phrases) -> str:
    with pytest.raises(InvalidInput) as caught:
        reader.notes.raise_if_any()
    return str(caught.value)


@pytest.mark.parametrize(
    ("text", "filled"),
    [
        ("side", "front"),
        (" side ", "front"),
        ("sides", "sides"),
        ("{side}_air", "front_air"),
        ("{side}{n}", "front3"),
        ("side_air", "side_air"),
        ("hello via side", "hello via side"),
        ("{", "{"),
        ("{}", "{}"),
        ("{a b}", "{a b}"),
    ],
)
def test_parameters_stand_for_their_values(text: str, filled: str) -> None:
    """A name alone, or in braces inside a longer word; anything else stays."""
    assert phrases().fill(scalar(text)).text == filled


def test_words_that_were_read_are_remembered() -> None:
    """So that what nothing mentions can be told."""
    reader = phrases()
    reader.fill(scalar("{side}_air"))
    reader.parse(scalar("peer.linked and ready"), parse_condition)
    assert {"side", "peer", "linked", "ready"} <= reader.words


def test_an_unknown_parameter_is_told() -> None:
    """Braces hold the name of a parameter."""
    reader = phrases()
    reader.fill(scalar("{sid}_air"))
    assert "unknown parameter 'sid'" in told(reader)
    assert "did you mean 'side'?" in told(reader)


@pytest.mark.parametrize("quoted", [False, True])
def test_an_error_in_an_expression_is_marked_in_the_file(quoted: bool) -> None:
    """The mark stands under the character, whether the text is quoted or not."""
    reader = phrases()
    reader.parse(scalar("ready = 1", line="  if: ", quoted=quoted), parse_condition)
    lines = told(reader).splitlines()
    assert lines[1].index("=") == lines[2].index("▔")


def test_an_error_behind_a_filled_parameter_marks_the_whole_text() -> None:
    """The file's columns are not those of the filled text, so no wrong place is claimed."""
    reader = phrases()
    text = scalar("{peer}.linked = 1", line="  if: ", quoted=True)
    reader.parse(text, parse_condition)
    assert told(reader).splitlines()[2].count("▔") == len("'{peer}.linked = 1'")


def test_an_error_of_meaning_suggests_names() -> None:
    """What the look-up knows is handed on to the reader of the error."""

    def fails() -> None:
        raise MeaningError("unknown name 'redy'", 0, 4, word="redy", choices=["ready"])

    reader = phrases()
    assert reader.attempt(scalar("redy"), fails) is None
    assert "did you mean 'ready'?" in told(reader)


UNITS = {"us": 10**-6, "µs": 10**-6, "ms": 10**-3, "s": 1, "min": 60, "h": 3600}


@given(
    number=st.decimals(0, 10_000, places=2).map(str),
    unit=st.sampled_from(list(UNITS)),
    space=st.sampled_from(["", " ", "  "]),
)
def test_durations_are_exact(number: str, unit: str, space: str) -> None:
    """A number and a unit of the SI, or minutes and hours; in seconds, without rounding."""
    seconds = phrases().duration(scalar(f"{number}{space}{unit}"))
    assert seconds == Fraction(number) * Fraction(UNITS[unit]).limit_denominator(10**6)


@pytest.mark.parametrize("text", ["ms", "-1 ms", "1e3 ms", "20 msec", "soon", "", "9" * 13 + " s"])
def test_other_texts_are_no_durations(text: str) -> None:
    """A unit is one of a few, and a number comes before it."""
    reader = phrases()
    assert reader.duration(scalar(text, line="after: ")) is None
    assert "is not a duration" in told(reader)


def test_a_number_alone_lacks_its_unit() -> None:
    """The likely unit is suggested, not assumed."""
    reader = phrases()
    assert reader.duration(scalar("20", line="after: ")) is None
    assert "'20' has no unit (20 ms?)" in told(reader)


def test_intervals_go_from_early_to_late() -> None:
    """One duration is the earliest and the latest moment."""
    reader = phrases()
    one, two = reader.interval([scalar("20 ms")]), reader.interval([scalar("1 s"), scalar("1 min")])
    assert one is not None
    assert (one.low, one.high, one.text) == (Fraction(1, 50), Fraction(1, 50), "20 ms")
    assert two is not None
    assert (two.low, two.high, two.text) == (Fraction(1), Fraction(60), "1 s to 1 min")
    assert reader.interval([scalar("2 s"), scalar("1 s")]) is None
    assert "the latest time is before the earliest" in told(reader)

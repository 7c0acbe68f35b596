r"""Positions of the protocol against Python's own UTF-16 codec, and against a plain count of lines.

The rules are those of the Language Server Protocol 3.17, "Position" (from memory): lines end at
`\\n`, `\\r\\n` or `\\r`; a character is a UTF-16 code unit; past the end of a line means its end.
"""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from modecheck.editor.positions import UTF_8, UTF_32, Position, TextMap, TextSpan
from modecheck.model.errors import Notebook
from modecheck.model.places import Place, Source
from modecheck.model.yaml_nodes import MappingNode, parse_yaml

TEXTS = st.text(st.sampled_from("ab :\n\r\u2028\x85é語🎸"), max_size=40)
CODECS = {"utf-16": "utf-16-le", UTF_8: "utf-8", UTF_32: "utf-32-le"}
UNIT = {"utf-16": 2, UTF_8: 1, UTF_32: 4}


def plain_position(text: str, offset: int, encoding: str) -> tuple[int, int]:
    """By splitting the text before the offset, and encoding what is left of its line."""
    before = text[:offset].replace("\r\n", "\n").replace("\r", "\n").split("\n")
    return len(before) - 1, len(before[-1].encode(CODECS[encoding])) // UNIT[encoding]


@pytest.mark.parametrize("encoding", CODECS)
@given(TEXTS, st.integers(0, 40))
def test_a_position_counts_code_units(encoding: str, text: str, offset: int) -> None:
    """As Python's codec does, with names outside of ASCII and beyond 16 bits."""
    offset = min(offset, len(text))
    if text[offset - 1 : offset + 1] == "\r\n":
        return  # nothing is between the two
    found = TextMap(text, encoding).position(offset)
    assert (found.line, found.character) == plain_position(text, offset, encoding)
    assert TextMap(text, encoding).offset(found) == offset


@given(TEXTS, st.integers(-3, 50), st.integers(-3, 50))
def test_a_position_outside_is_moved_inside(text: str, line: int, character: int) -> None:
    """Past the end of a line is its end, past the last line the end of the text."""
    offset = TextMap(text).offset(Position(line, character))
    assert 0 <= offset <= len(text)
    if line > 50:
        assert offset == len(text)


def test_a_place_of_a_model_is_found_although_lines_end_otherwise() -> None:
    """YAML 1.1 ends a line at U+2028, where an editor goes on with the same line."""
    text = 'a: "x\u2028 y"\n🎸: {b: 1}\n'
    tree = parse_yaml("x.yaml", text, Notebook())
    assert isinstance(tree, MappingNode)
    inside = tree.entries["🎸"]
    assert isinstance(inside, MappingNode)
    texts = TextMap(text)
    span = texts.span_of(inside.keys["b"].place)
    assert text[span.start : span.end] == "b"
    assert texts.position(span.start) == Position(1, 5)


def test_a_place_past_the_end_is_the_end() -> None:
    """Places may come from an older text."""
    source = Source("x", ())
    assert TextMap("a\nb").span_of(Place(source, 9, 9, 4)) == TextSpan(3, 3)
    assert TextMap("a\nb").span_of(Place(source, 1, 1, 99)) == TextSpan(0, 1)


def test_a_byte_order_mark_is_no_part_of_the_text() -> None:
    """An editor that sends one counts it; a place does not."""
    texts = TextMap("\ufeffab: c")
    assert texts.span_of(Place(Source("x", ()), 1, 1, 2)) == TextSpan(1, 3)

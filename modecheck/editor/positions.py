r"""Positions in a text: as places of a model count them, and as an editor does.

A place counts lines and characters from 1, where a character is a code point and a line ends as in
YAML 1.1. The Language Server Protocol (3.17, "Position") counts from 0, ends a line at `\n`,
`\r\n` or `\r` only, and counts UTF-16 code units in it, unless both sides agree on other units
("PositionEncodingKind"). Between the two stands the offset in code points.
"""

from __future__ import annotations

import re
from bisect import bisect_right
from dataclasses import dataclass, field

from modecheck.model.places import Place

MODEL_BREAK = re.compile("\r\n|[\n\r\x85\u2028\u2029]")
EDITOR_BREAK = re.compile("\r\n|[\n\r]")
LARGEST_IN_ONE_UNIT = 0xFFFF
"""The last code point that is one code unit of UTF-16; all beyond are two."""

UTF_8, UTF_16, UTF_32 = "utf-8", "utf-16", "utf-32"
"""What a character of a position can be."""


@dataclass(frozen=True, slots=True)
class Position:
    """A place between two characters, as the protocol counts."""

    line: int
    character: int


@dataclass(frozen=True, slots=True)
class TextSpan:
    """The characters from the offset `start` up to `end`."""

    start: int
    end: int


@dataclass(slots=True)
class TextMap:
    """Converts positions of one text. What lies outside of it is moved to its nearest end."""

    text: str
    encoding: str = UTF_16
    _model: list[int] = field(init=False, repr=False)
    _editor: list[int] = field(init=False, repr=False)
    _ends: list[int] = field(init=False, repr=False)

    def __post_init__(self) -> None:
        self._model = [0, *(match.end() for match in MODEL_BREAK.finditer(self.text))]
        breaks = list(EDITOR_BREAK.finditer(self.text))
        self._editor = [0, *(match.end() for match in breaks)]
        self._ends = [*(match.start() for match in breaks), len(self.text)]
        if self.text.startswith("\ufeff"):  # which is no part of what is read
            self._model[0] = 1

    def offset(self, position: Position) -> int:
        """The offset of a position."""
        if position.line < 0:
            return 0
        if position.line >= len(self._editor):
            return len(self.text)
        begin, end = self._editor[position.line], self._ends[position.line]
        left = position.character
        for offset in range(begin, end):
            if left <= 0:
                return offset
            left -= _units(self.text[offset], self.encoding)
        return end

    def position(self, offset: int) -> Position:
        """The position of an offset."""
        offset = max(0, min(offset, len(self.text)))
        line = bisect_right(self._editor, offset) - 1
        begin = self._editor[line]
        before = self.text[begin : min(offset, self._ends[line])]
        return Position(line, sum(_units(character, self.encoding) for character in before))

    def start_of(self, place: Place) -> int:
        """The offset at which a place begins."""
        return self.offset_at(place.line, place.column)

    def offset_at(self, line: int, column: int) -> int:
        """The offset of a line and a column as a place counts them."""
        if line > len(self._model):
            return len(self.text)
        begin = self._model[max(line, 1) - 1]
        end = self._model[line] if line < len(self._model) else len(self.text)
        return max(begin, min(begin + column - 1, end))

    def span_of(self, place: Place) -> TextSpan:
        """The characters of a place; it ends at the end of its line at the latest."""
        start = self.start_of(place)
        rest = MODEL_BREAK.search(self.text, start)
        end = rest.start() if rest else len(self.text)
        return TextSpan(min(start, end), min(start + place.width, end))

    def line_of(self, offset: int) -> int:
        """The number of the line, from 1, as a place counts it."""
        return bisect_right(self._model, offset) or 1

    def line_start(self, offset: int) -> int:
        """The offset at which the line of an offset begins, as an editor counts lines, behind the
        mark of the byte order.
        """
        return max(self._editor[bisect_right(self._editor, offset) - 1], self._model[0])

    def line_end(self, offset: int) -> int:
        """The offset at which the line of an offset ends, as an editor counts lines."""
        return self._ends[bisect_right(self._editor, offset) - 1]

    @property
    def last_line(self) -> int:
        """The number of the last line, from 0, as an editor counts lines."""
        return len(self._editor) - 1


def _units(character: str, encoding: str) -> int:
    """The code units that a code point takes (Unicode Standard, 3.9, D90 to D92)."""
    if encoding == UTF_32:
        return 1
    if encoding == UTF_8:
        return len(character.encode("utf-8", "surrogatepass"))
    return 1 if ord(character) <= LARGEST_IN_ONE_UNIT else 2

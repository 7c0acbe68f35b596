"""Texts of a chip file after its parameters have been filled in, parsed with their places.

A parameter is replaced by its value wherever its name is a whole word; inside a longer word it is
written in braces, as in `{side}_spi`. A number in brackets names one of several copies.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping
from dataclasses import replace
from fractions import Fraction
from typing import TypeVar

from modecheck.model.copies import (
    ALONE,
    OWN_NUMBER,
    Copies,
    copy_number,
    known_value,
    numbered,
    written_number,
)
from modecheck.model.errors import Notebook
from modecheck.model.places import Place
from modecheck.model.scopes import MeaningError, Unknowable
from modecheck.model.syntax import OVER_ALL, ExpressionError, parse_condition
from modecheck.model.times import Duration
from modecheck.model.yaml_nodes import Node, ScalarNode, shortened

BRACED = re.compile(r"\{(\w+)\}")
INDEXED = re.compile(r"([^\W\d]\w*)\[([^\[\]]*)\]")
WORD = re.compile(r"([^\W\d]\w*)(?:\[([^\[\]]*)\])?")
OVER = re.compile(rf"\b(?:{'|'.join(OVER_ALL)})\(")
NUMBER = re.compile(r"\d+(?:\.\d+)?")
DURATION = re.compile(r"(\d+(?:\.\d+)?)\s*(us|µs|ms|s|min|h)")
SECONDS = {
    "us": Fraction(1, 1_000_000),
    "µs": Fraction(1, 1_000_000),
    "ms": Fraction(1, 1000),
    "s": Fraction(1),
    "min": Fraction(60),
    "h": Fraction(3600),
}
UNITS_IN_WORDS = {
    "mil": "ms",
    "ms": "ms",
    "mic": "us",
    "us": "us",
    "min": "min",
    "s": "s",
    "h": "h",
}
"""The unit that is meant by what begins like this, in small letters."""
FOREVER = "forever"
"""In place of a latest time: there is none."""

T = TypeVar("T")


class Phrases:
    """Fills parameters into scalars and parses them; notes what does not parse.

    `words` gathers every word that was read, so that unused declarations can be reported. `copies`
    says which names stand for several chips or links.
    """

    def __init__(
        self, notes: Notebook, parameters: Mapping[str, str], copies: Copies = ALONE
    ) -> None:
        self.notes = notes
        self.parameters = parameters
        self.copies = copies
        self.words: set[str] = set()

    def for_copy(self, name: str, number: int) -> Phrases:
        """Phrases in which `name` is that one of its copies, and `i` its number."""
        parameters = {**self.parameters, name: numbered(name, number), OWN_NUMBER: str(number)}
        copies = replace(self.copies, own=self.copies.counts[name])
        inner = Phrases(self.notes, parameters, copies)
        inner.words = self.words
        return inner

    def fill(self, scalar: ScalarNode) -> ScalarNode:
        """The scalar with parameters in braces, and a parameter as the whole text, filled in."""
        text = self.braces_filled(scalar)
        whole = text.strip()
        self.words.add(whole)
        known = whole in self.parameters
        text = self.parameters[whole] if known else self._numbers_filled(scalar, text)
        return scalar if text == scalar.text else replace(scalar, text=text)

    def value_of(self, scalar: ScalarNode) -> str:
        """The value that is given to a parameter; it may be computed from the copy's number."""
        self.words.update(re.findall(r"[^\W\d]\w*", scalar.text))
        return written_number(self.fill(scalar).text, self.parameters)

    def name_of(self, scalar: ScalarNode) -> str:
        """A dotted name, such as `tile.bond`, with parameters and numbers of copies filled in."""
        first, dot, rest = self.fill(scalar).text.strip().partition(".")
        return f"{self.parameters.get(first, first)}{dot}{rest}"

    def link_of(self, name: str) -> str:
        """The link of this copy, where `name` stands for one link of each."""
        name = self.parameters.get(name, name)
        if name in self.copies.counts and OWN_NUMBER in self.parameters:
            number = int(self.parameters[OWN_NUMBER]) - 1
            return numbered(name, number % self.copies.counts[name] + 1)
        return name

    def _numbers_filled(self, scalar: ScalarNode, text: str) -> str:
        """The text with every name in which a number stands in brackets, `tile[i+1]`, computed."""

        def filled(match: re.Match[str]) -> str:
            name = (
                match[1]
                if match[1] in self.copies.counts
                else self.parameters.get(match[1], match[1])
            )
            count = self.copies.counts.get(name, self.copies.own)
            if not count:
                return match[0]
            number = self._attempt_inside(scalar, match, name, count)
            return match[0] if number is None else numbered(name, number)

        return INDEXED.sub(filled, text)

    def _attempt_inside(
        self, scalar: ScalarNode, match: re.Match[str], name: str, count: int
    ) -> int | None:
        inner = replace(scalar, text=match[2], plain=True)
        inner.place = self._inside(scalar, match.start(2), len(match[2]))
        return self.attempt(
            inner, lambda: copy_number(parse_condition(match[2]), name, count, self.parameters)
        )

    def _value(self, match: re.Match[str], scalar: ScalarNode) -> str:
        name = match[1]
        self.words.add(name)
        if name in self.parameters:
            return self.parameters[name]
        message = f"unknown parameter {name!r}"
        self.notes.add(message, scalar.place, word=name, choices=self.parameters)
        return name

    def braces_filled(self, scalar: ScalarNode) -> str:
        """The text with parameters in braces filled in, as it is displayed and parsed."""
        return BRACED.sub(lambda match: self._value(match, scalar), scalar.text)

    def shown(self, node: Node | None) -> str:
        """The text as displayed: on one line, every parameter replaced by its value."""
        if not isinstance(node, ScalarNode):
            return ""
        text = " ".join(self.braces_filled(node).split())
        return "".join(
            piece if over else WORD.sub(self._shown_word, piece) for over, piece in _pieces(text)
        )

    def _shown_word(self, match: re.Match[str]) -> str:
        """A parameter's value, or the name of a copy; what is over all copies stays as written."""
        name, index = self.parameters.get(match[1], match[1]), match[2]
        if index is None:
            return name
        if match[1] in self.copies.counts:
            try:
                count = self.copies.counts[match[1]]
                number = copy_number(parse_condition(index), name, count, self.parameters)
            except ExpressionError:
                return match[0]
            return numbered(match[1], number)
        try:
            return f"{name}[{known_value(parse_condition(index), self.parameters)}]"
        except ExpressionError:
            return f"{name}[{WORD.sub(self._shown_word, index)}]"

    def parse(self, scalar: ScalarNode, parser: Callable[[str], T]) -> T | None:
        """The result of `parser` on the text, or None after noting the error at its exact place."""
        text = self.braces_filled(scalar)
        self.words.update(re.findall(r"[^\W\d]\w*", text))
        return self.attempt(scalar, lambda: parser(text))

    def attempt(self, scalar: ScalarNode, action: Callable[[], T]) -> T | None:
        """The result of `action`, or None after noting an error in this scalar's text."""
        try:
            return action()
        except ExpressionError as error:
            place = self._inside(scalar, error.offset, error.width)
            self.notes.add(
                error.message,
                place,
                expected=error.expected,
                word=error.word,
                choices=error.choices,
            )
        except MeaningError as error:
            place = self._inside(scalar, error.offset, error.width)
            self.notes.add(
                error.message,
                place,
                expected=error.expected,
                word=error.word,
                choices=error.choices,
            )
        except Unknowable:
            return None
        return None

    def _inside(self, scalar: ScalarNode, offset: int, width: int) -> Place:
        """The place of an offset, if the text in the file is the text as parsed."""
        quote = 0 if scalar.plain else 1
        shown = scalar.place.text[scalar.place.column - 1 + quote :]
        if not shown.startswith(scalar.text) or BRACED.search(scalar.text):
            return scalar.place
        return scalar.place.part(offset + quote, width)

    def duration(self, scalar: ScalarNode) -> Fraction | None:
        """A time such as `20 ms`, in seconds."""
        match = DURATION.fullmatch(self.fill(scalar).text.strip())
        if match is None or len(match[1]) > 12:
            message = f"{shortened(scalar.text)!r} is not a duration"
            expected = "a number and a unit: us, ms, s, min or h"
            if NUMBER.fullmatch(scalar.text.strip()):
                number = shortened(scalar.text)
                message = f"{number!r} has no unit ({number} ms?)"
            meant = _with_known_unit(scalar.text)
            self.notes.add(message, scalar.place, expected=expected, word=meant, choices=[meant])
            return None
        return Fraction(match[1]) * SECONDS[match[2]]

    def interval(self, scalars: list[ScalarNode]) -> Duration | None:
        """`20 ms`, or two of them as the earliest and the latest time; the latest may be
        `forever`.
        """
        endless = len(scalars) == 2 and self.fill(scalars[1]).text.strip() == FOREVER
        seconds = [self.duration(scalar) for scalar in scalars[: 1 if endless else None]]
        if len(scalars) > 2:
            self.notes.add(
                "more than two durations", scalars[2].place, expected="[earliest, latest]"
            )
            return None
        text = " to ".join(self.fill(scalar).text for scalar in scalars)
        places = (scalars[0].place, scalars[-1].place)
        low, high = seconds[0], seconds[-1]
        if low is None or high is None:
            return None
        if endless:
            return Duration(low, None, text, places)
        if low > high:
            expected = f"[{scalars[1].text}, {scalars[0].text}]"
            message = "the latest time is before the earliest"
            self.notes.add(message, scalars[1].place, expected=expected)
            return None
        return Duration(low, high, text, places)


def _pieces(text: str) -> Iterator[tuple[bool, str]]:
    """A text in pieces, and which of them are functions over all copies with what is in their
    parentheses: there, names mean something else.
    """
    begin = 0
    while match := OVER.search(text, begin):
        end, depth = match.end(), 1
        while end < len(text) and depth:
            depth += {"(": 1, ")": -1}.get(text[end], 0)
            end += 1
        yield False, text[begin : match.start()]
        yield True, text[match.start() : end]
        begin = end
    yield False, text[begin:]


def _with_known_unit(text: str) -> str:
    """`10 msec` as `10 ms`, or nothing if it is no number with a unit that is like a known one."""
    match = re.fullmatch(r"(\d{1,12}(?:\.\d+)?)\s*([A-Za-z]+)", text.strip())
    if match is None:
        return ""
    word = match[2].lower()
    unit = next((unit for begin, unit in UNITS_IN_WORDS.items() if word.startswith(begin)), "")
    return f"{match[1]} {unit}" if unit else ""

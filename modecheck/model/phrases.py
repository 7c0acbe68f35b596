"""Texts of a chip file after its parameters have been filled in, parsed with their places.

A parameter is replaced by its value wherever its name is a whole word; inside a longer word it is
written in braces, as in `{side}_spi`.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import replace
from fractions import Fraction
from typing import TypeVar

from modecheck.model.errors import Notebook
from modecheck.model.meaning import MeaningError, Unknowable
from modecheck.model.parts import Duration
from modecheck.model.places import Place
from modecheck.model.syntax import ExpressionError
from modecheck.model.yaml_nodes import Node, ScalarNode, shortened

BRACED = re.compile(r"\{(\w+)\}")
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
FOREVER = "forever"
"""In place of a latest time: there is none."""

T = TypeVar("T")


class Phrases:
    """Fills parameters into scalars and parses them; notes what does not parse.

    `words` gathers every word that was read, so that unused declarations can be reported.
    """

    def __init__(self, notes: Notebook, parameters: Mapping[str, str]) -> None:
        self.notes = notes
        self.parameters = parameters
        self.words: set[str] = set()

    def fill(self, scalar: ScalarNode) -> ScalarNode:
        """The scalar with parameters in braces, and a parameter as the whole text, filled in."""
        text = self.braces_filled(scalar)
        whole = text.strip()
        self.words.add(whole)
        text = self.parameters.get(whole, text)
        return scalar if text == scalar.text else replace(scalar, text=text)

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
        return re.sub(r"[^\W\d]\w*", lambda word: self.parameters.get(word[0], word[0]), text)

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
            self.notes.add(error.message, place, expected=error.expected)
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
            self.notes.add(message, scalar.place, expected=expected)
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

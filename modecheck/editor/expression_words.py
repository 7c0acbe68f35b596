"""The words of an expression, each with what it is: a keyword, a number, or the name of something.

An expression is read word by word, not by its grammar, so that one that is half written has words,
too. What a name means follows the order of `modecheck.model.meaning`.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from modecheck.editor.device_names import ChipNames, DeviceNames
from modecheck.model.syntax import EVENT_WORDS, KEYWORDS, OVER_ALL

WORD = r"(?:\{\w+\}|\w)+"
TOKEN = re.compile(rf"(?P<number>\d+(?!\w))|(?P<word>{WORD})|(?P<mark>==|!=|<=|>=|\+=|-=|//|\S)")
FUNCTIONS = ("min", "max", *OVER_ALL)
SPECIAL = frozenset({"state", "value", "late", "true", "false", "none"})
IS = ("==", "!=")
FIRST = {"send": "message", "signal": "signal"}
"""What the first word names where something is given, which may carry a value: `level(step)`."""

DEVICE_WIDE = {
    "options": "option",
    "constants": "constant",
    "modes": "mode",
    "lists": "list",
}
"""Sections of a device whose names can stand alone in an expression, and their kinds."""


@dataclass(frozen=True, slots=True)
class Named:
    """What a name means: its kind, the chip whose it is (empty for the device's), and the name with
    all parameters filled in.
    """

    kind: str
    chip: str
    name: str


@dataclass(frozen=True, slots=True)
class Word:
    """A word at an offset of the text. `kind` is "number", "mark", "keyword", "function", "word"
    for the value of a variable, or else that of what it names in the first of the chips.
    """

    text: str
    offset: int
    kind: str
    means: tuple[Named, ...] = ()


@dataclass(frozen=True, slots=True)
class _Token:
    text: str
    offset: int
    kind: str


def words_in(
    text: str, kind: str, names: DeviceNames, chips: Sequence[ChipNames]
) -> Iterator[Word]:
    """The words of an expression of a kind ("condition", "assignment", "send" or "signal") of these
    chips, or of the device if there are none.
    """
    tokens = [
        _Token(match[0], match.start(), str(match.lastgroup)) for match in TOKEN.finditer(text)
    ]
    readers: list[ChipNames | None] = [*chips] or [None]
    for at, token in enumerate(tokens):
        if token.kind != "word":
            yield Word(token.text, token.offset, token.kind)
            continue
        found = [
            one
            for chip in readers
            if (one := _Reading(names, chip, tokens, kind).meaning(at)) is not None
        ]
        kinds = [one.kind for one in found if isinstance(one, Named)]
        plain = next((one for one in found if isinstance(one, str)), "")
        means = tuple(dict.fromkeys(one for one in found if isinstance(one, Named)))
        yield Word(token.text, token.offset, kinds[0] if kinds else plain or "unknown", means)


@dataclass(frozen=True, slots=True)
class _Reading:
    """The tokens of an expression as one chip reads them (None: the device)."""

    names: DeviceNames
    chip: ChipNames | None
    tokens: list[_Token]
    kind: str

    def meaning(self, at: int) -> Named | str | None:
        """What the token means, or the kind of a word that names nothing."""
        if self._text(at - 1) == ".":
            return self._member(at)
        if self.kind in FIRST and at == 0:
            return self._given(FIRST[self.kind], at)
        if self._text(at - 1) == "via":
            return self._given("link", at)
        owner = self._whose_state(at)
        if owner is not None:
            return self._named_in(owner, ("state",), at) or "unknown"
        return self._alone(at)

    def _given(self, kind: str, at: int) -> Named:
        """The name of something of the device, unless it is a parameter with that name."""
        if self.chip is not None and self._text(at) in self.chip.parameters:
            return Named("parameter", self.chip.name, self._text(at))
        return Named(kind, "", self._filled(at))

    def _text(self, at: int) -> str:
        return self.tokens[at].text if 0 <= at < len(self.tokens) else ""

    def _filled(self, at: int) -> str:
        text = self._text(at)
        return self.chip.filled(text) if self.chip is not None else text

    def _event_word(self, at: int) -> str:
        """The word of an event in whose parentheses the token begins a name."""
        return self._text(at - 2) if self._text(at - 1) == "(" else ""

    def _first(self, at: int) -> int:
        """The token with which the dotted name begins that goes on here, past an index."""
        at -= 2
        if self._text(at) == "]":
            while at > 0 and self._text(at) != "[":
                at -= 1
            at -= 1
        return at

    def _member(self, at: int) -> Named | str | None:
        first = self._first(at)
        owner, event = self._filled(first), self._event_word(first)
        if event == "taken":
            return self._named_in(owner, ("rule",), at)
        if event in EVENT_WORDS:
            return Named("message", "", self._filled(at))
        if self._text(at) == "state":
            return "keyword"
        return self._named_in(owner, ("variable", "own_constant", "state"), at)

    def _named_in(self, owner: str, kinds: Sequence[str], at: int) -> Named | None:
        chip = self.names.chip_called(owner)
        if chip is None:
            return None
        name = self.chip.filled(self._text(at)) if self.chip is not None else self._text(at)
        for kind in kinds:
            if name in chip.declared(kind):
                return Named(kind, chip.name, name)
        return None

    def _whose_state(self, at: int) -> str | None:
        """The chip whose state is compared with the token, if that is so."""
        before = at - 1
        if self._text(before) in ("[", ","):
            while before >= 0 and self._text(before) != "[":
                if self._text(before) == "]":
                    return None
                before -= 1
            before -= 1
            if self._text(before) != "in":
                return None
            before -= 1
            before -= self._text(before) == "not"
        elif self._text(before) in IS:
            before -= 1
        else:
            return self._state_behind(at)
        return self._owner_of_state(before)

    def _state_behind(self, at: int) -> str | None:
        """The chip in `word == chip.state`."""
        if self._text(at + 1) not in IS:
            return None
        end = at + 2
        if self._text(end + 1) == ".":
            end += 2
        return self._owner_of_state(end)

    def _owner_of_state(self, at: int) -> str | None:
        if self._text(at) != "state":
            return None
        if self._text(at - 1) == ".":
            return self._filled(self._first(at))
        return self.chip.name if self.chip is not None else None

    def _alone(self, at: int) -> Named | str | None:
        text, event = self._text(at), self._event_word(at)
        if self._text(at + 1) == "(" and text in (*FUNCTIONS, *EVENT_WORDS):
            return "function"
        if text in KEYWORDS:
            return "keyword"
        if self.chip is not None and text in self.chip.parameters:
            return Named("parameter", self.chip.name, text)
        if event == "signalled":
            return Named("signal", "", self._filled(at))
        if self._text(at + 1) == "." or (self._text(at + 1) == "[" and self._is_copy(at)):
            return self._owner(at, event)
        return self._value(at) or self._own(at) or self._of_device(at)

    def _is_copy(self, at: int) -> bool:
        return self._filled(at) in self.names.chips

    def _owner(self, at: int, event: str) -> Named | None:
        name = self._filled(at)
        if event and event != "taken" and name in self.names.links:
            return Named("link", "", name)
        return Named("chip", "", name) if name in self.names.chips else None

    def _value(self, at: int) -> str | None:
        """A word that a variable beside it can hold."""
        if self._text(at - 1) not in (*IS, "=", "[", ","):
            return None
        for before in range(at - 2, -1, -1):
            name = self._text(before)
            owner = self.chip
            if self._text(before - 1) == ".":
                owner = self.names.chip_called(self._filled(before - 2))
            if owner is not None and name in owner.variables:
                held = self.names.words_of(owner, name)
                return "word" if self._filled(at) in held else None
        return None

    def _own(self, at: int) -> Named | None:
        if self.chip is None:
            return None
        return self._named_in(self.chip.name, ("variable", "own_constant"), at)

    def _of_device(self, at: int) -> Named | str | None:
        name = self._filled(at)
        for section, kind in DEVICE_WIDE.items():
            if name in self.names.of(section) and not (self.chip and kind == "mode"):
                return Named(kind, "", name)
        if name in self.names.chips and (self.chip is None or self._text(at + 1) == ")"):
            return Named("chip", "", name)
        return "keyword" if name in SPECIAL else None

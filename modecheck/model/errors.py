"""What is wrong with an input, reported so that the user can fix it.

The exception tree of modecheck:

    ModecheckError
    ├── InvalidInput        one or more errors in the user's files
    └── AgainstTheRule      an invalid Bluetooth supervision timeout (modecheck.supervision)

A flaw of the *device* is never an exception: it is a finding, and findings are returned.
"""

from __future__ import annotations

import difflib
import re
import unicodedata
from collections.abc import Iterable
from dataclasses import dataclass

from modecheck.model.places import Place
from modecheck.model.remarks import Addition

LONGEST_LINE_SHOWN = 100
"""Characters of a source line that are shown; a longer one is cut around the mark."""

MOST_CHOICES_SHOWN = 12
"""Longer lists of known names are cut: the nearest names help more than a wall of text."""

MOST_ERRORS = 200
"""Reading stops here: nobody fixes more at once, and hostile input cannot make it slow."""

MOST_NAMES_COMPARED = 1000
LONGEST_NAME_COMPARED = 80
"""Comparing a word with more or longer names takes too long; no name in a model is longer."""

NUMBERS_OF_COPIES = re.compile(r"(?<=\w)\[\d+\]")
"""An error in one place concerns all copies alike, so it is noted once."""

UNPRINTABLE = re.compile(r"[\x00-\x1f\x7f-\x9f]")
"""Characters that would shift the mark or control the terminal; shown as spaces."""


@dataclass(frozen=True, slots=True)
class InputError:
    """One error: its message, its place, what was expected, the nearest known name, and the word
    that was written instead.
    """

    message: str
    place: Place | None = None
    expected: str = ""
    nearest: str = ""
    word: str = ""

    def __str__(self) -> str:
        head = f"{self.place}: {self.message}" if self.place else self.message
        return "\n".join([head, *self._excerpt(), *self._advice()])

    def _excerpt(self) -> list[str]:
        if self.place is None or not self.place.text.strip():
            return []
        line, column = _cut_around(self.place.text, self.place.column - 1)
        line = UNPRINTABLE.sub(" ", line)
        number = f"{self.place.line:>6}"
        blank = " " * _columns(line[:column])
        mark = "▔" * max(_columns(line[column : column + self.place.width]), 1)
        return [f"{number} │ {line}", f"{'':>6} │ {blank}{mark}"]

    def _advice(self) -> list[str]:
        parts = []
        if self.expected and self.expected != repr(self.nearest):
            parts.append(f"expected {self.expected}")
        if self.nearest:
            parts.append(f"did you mean {self.nearest!r}?")
        return [f"{'':>9}{'; '.join(parts)}"] if parts else []


class ModecheckError(Exception):
    """The root of every error that modecheck raises on purpose."""

    def __reduce__(self) -> tuple[object, ...]:
        """Pickles the error with everything it carries, so that it can cross processes."""
        return _restored, (type(self), self.__dict__)


def _restored(kind: type[ModecheckError], carried: dict[str, object]) -> ModecheckError:
    error = kind.__new__(kind)
    error.__dict__.update(carried)
    return error


class InvalidInput(ModecheckError):
    """The input is invalid; carries all errors, in the order of the files."""

    def __init__(self, errors: Iterable[InputError]) -> None:
        super().__init__()
        self.errors = tuple(errors)

    def __str__(self) -> str:
        return "\n\n".join(str(error) for error in self.errors)


class Notebook:
    """Collects the errors of one run, each once, so that all are reported together.

    `files` holds the SHA-256 of every file that was read, by its path; `removed` says why a
    name is gone, so that a later use of it is not reported as an unknown name; `additions` are what
    overlays add.
    """

    def __init__(self) -> None:
        self.files: dict[str, str] = {}
        self.removed: dict[str, str] = {}
        self.additions: list[Addition] = []
        self._errors: dict[tuple[str, Place | None], InputError] = {}

    def __len__(self) -> int:
        return len(self._errors)

    def add(
        self,
        message: str,
        place: Place | None,
        *,
        expected: str = "",
        word: str = "",
        choices: Iterable[str] = (),
    ) -> None:
        """Note an error. `choices` are the known names, `word` the one written instead.

        Raises `InvalidInput` when there are more than `MOST_ERRORS`.
        """
        if word in self.removed:
            message = f"{word!r} is gone: {self.removed[word]}"
        same = NUMBERS_OF_COPIES.sub("", message), place
        if same in self._errors:
            return
        if len(self) == MOST_ERRORS:
            told = InputError(f"more than {MOST_ERRORS} errors: the others are not shown")
            raise InvalidInput([*_in_order_of_files(self._errors.values()), told])
        names = list(choices)
        known = sorted(set(names)) if len(names) <= MOST_NAMES_COMPARED else names
        if known and not expected:
            expected = f"one of {_listed(known, word)}" if len(known) > 1 else repr(known[0])
        error = InputError(message, place, expected, nearest_name(word, known), word)
        self._errors[same] = error

    def raise_if_any(self) -> None:
        """Raise `InvalidInput` with every error noted so far, if there are any."""
        if self._errors:
            raise InvalidInput(_in_order_of_files(self._errors.values()))


def _in_order_of_files(errors: Iterable[InputError]) -> list[InputError]:
    """Sorted by file, in the order in which they were first read, and from top to bottom."""
    files: dict[str, int] = {}
    keyed = []
    for error in errors:
        place = error.place
        file = files.setdefault(place.file if place else "", len(files))
        keyed.append(((file, place.line if place else 0, place.column if place else 0), error))
    return [error for _, error in sorted(keyed, key=lambda pair: pair[0])]


def nearest_name(word: str, known: Iterable[str]) -> str:
    """The known name most like `word`, or nothing when none is close."""
    names = list(known)
    if len(word) > LONGEST_NAME_COMPARED or len(names) > MOST_NAMES_COMPARED:
        return ""
    names = [name for name in names if len(name) <= LONGEST_NAME_COMPARED]
    close = difflib.get_close_matches(word, names, n=1, cutoff=0.6) if word else []
    return close[0] if close else ""


def differs_by_a_slip(word: str, known: str) -> bool:
    """Whether one letter is missing, added or another, or two neighbours have changed places."""
    same = 0
    while same < min(len(word), len(known)) and word[same] == known[same]:
        same += 1
    one, two = word[same:], known[same:]
    while one and two and one[-1] == two[-1]:
        one, two = one[:-1], two[:-1]
    if len(one) == len(two) == 2:
        return one == two[::-1]
    return bool(one or two) and max(len(one), len(two)) == 1


def _listed(names: list[str], word: str) -> str:
    """The names; if there are many, those most like the word."""
    if MOST_CHOICES_SHOWN < len(names) <= MOST_NAMES_COMPARED and word:
        short = word[:LONGEST_NAME_COMPARED]
        likeness = {name: difflib.SequenceMatcher(None, short, name[:80]).ratio() for name in names}
        near = sorted(names, key=lambda name: -likeness[name])[:MOST_CHOICES_SHOWN]
        shown = ", ".join(sorted(near))
    else:
        shown = ", ".join(names[:MOST_CHOICES_SHOWN])
    rest = len(names) - MOST_CHOICES_SHOWN
    return f"{shown} and {rest} more" if rest > 0 else shown


def _columns(text: str) -> int:
    """The number of terminal columns that the text takes (Unicode Standard Annex 11)."""
    wide = sum(unicodedata.east_asian_width(character) in "WF" for character in text)
    return len(text) + wide - sum(map(bool, map(unicodedata.combining, text)))


def _cut_around(line: str, column: int) -> tuple[str, int]:
    """The part of a long line around `column`, and the column within that part."""
    if len(line) <= LONGEST_LINE_SHOWN:
        return line, min(column, len(line))
    start = max(0, min(column - LONGEST_LINE_SHOWN // 2, len(line) - LONGEST_LINE_SHOWN))
    return line[start : start + LONGEST_LINE_SHOWN], column - start

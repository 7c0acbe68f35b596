"""Read a log: JSON lines, or CSV (RFC 4180) whose first line names the columns.

`time`, `chip` and `event` are required, `state` and `value` optional. Other columns are ignored,
unless their name is so similar to one of these that it must be a misspelling. The forms of a line
are read in `log_forms`; `log_lines` defines what a line means. A line that occurred before costs no
more than a dictionary lookup.
"""

from __future__ import annotations

import itertools
import os
from array import array
from collections.abc import Iterator
from dataclasses import dataclass, field

from modecheck.bench.log_forms import COLUMNS, NEEDED, BadLine, Csv, JsonLines, Key
from modecheck.bench.log_lines import LogLine
from modecheck.bench.vocabulary import ColumnError, Vocabulary, Written
from modecheck.model.errors import MOST_ERRORS, InputError, InvalidInput, Notebook
from modecheck.model.places import Place, Source

LONGEST_LINE = 65_536
"""Bytes in a line; anything longer is not a log, and would fill the memory."""


@dataclass(slots=True)
class Log:
    """A parsed log: its distinct lines, their order (by number), and the line of the file at which
    each stands (counted from 1).
    """

    path: str
    lines: list[LogLine] = field(default_factory=list)
    order: array[int] = field(default_factory=lambda: array("L"))
    rows: array[int] = field(default_factory=lambda: array("L"))

    def text_of(self, index: int) -> str:
        """A line of the file verbatim, read again; empty if the file is gone."""
        row = self.rows[index]
        try:
            with open(self.path, "rb") as file:
                raw = next(itertools.islice(file, row - 1, row), b"")
        except OSError:
            return ""
        return raw.decode("utf-8-sig", "replace").rstrip("\r\n")


def read_log(path: str, vocabulary: Vocabulary) -> Log:
    """The log in the file at `path`. Raises `InvalidInput` with every error in it."""
    problem = _unreadable(path)
    if problem:
        raise InvalidInput([InputError(problem, expected="a log: JSON lines or CSV")])
    return _LogReader(path, vocabulary).read()


def _unreadable(path: str) -> str:
    try:
        if os.path.exists(path) and not os.path.isfile(path):
            return f"{path!r} is not a regular file"
        with open(path, "rb"):
            return ""
    except FileNotFoundError:
        return f"there is no file {path!r}"
    except (OSError, ValueError) as error:
        return f"{path!r} cannot be read: {getattr(error, 'strerror', None) or error}"


@dataclass(frozen=True, slots=True)
class _Noted:
    """Something wrong in a line: where (counted from 1), and how much of it."""

    row: int
    text: str
    column: int
    width: int
    wrong: ColumnError


class _LogReader:
    def __init__(self, path: str, vocabulary: Vocabulary) -> None:
        self._log = Log(path)
        self._vocabulary = vocabulary
        self._noted: list[_Noted] = []
        self._known: dict[Key, int] = {}
        self._form: JsonLines | Csv | None = None

    def read(self) -> Log:
        for row, text in self._texts():
            if text and not text.isspace():
                try:
                    self._take(row, text)
                except BadLine as bad:
                    self._note(row, text, bad.offset, bad.width, bad.wrong)
                    if self._form is None:
                        break  # without a heading nothing below it can be understood
            if len(self._noted) > MOST_ERRORS:
                break
        self._raise_if_wrong()
        return self._log

    def _texts(self) -> Iterator[tuple[int, str]]:
        """The lines of the file that are text, with their numbers."""
        with open(self._log.path, "rb") as file:
            for row, raw in enumerate(iter(lambda: file.readline(LONGEST_LINE + 1), b""), start=1):
                if len(raw) > LONGEST_LINE:
                    wrong = ColumnError(
                        "", "the line is too long", expected=f"{LONGEST_LINE:,} bytes"
                    )
                    self._note(row, raw[:200].decode("utf-8", "replace"), 0, 1, wrong)
                    return
                try:
                    text = raw.decode("utf-8-sig" if row == 1 else "utf-8").rstrip("\r\n")
                except UnicodeDecodeError as error:
                    before = raw[: error.start].decode("utf-8", "replace")
                    wrong = ColumnError(
                        "", "this is not UTF-8 text", expected="text encoded in UTF-8"
                    )
                    self._note(row, raw.decode("utf-8", "replace"), len(before), 1, wrong)
                    continue
                yield row, text

    def _take(self, row: int, text: str) -> None:
        if self._form is None:
            if text.lstrip().startswith("{"):
                self._form = JsonLines()
            else:
                self._form = Csv(text)
                return
        key = self._form.key(text)
        try:
            number = self._known.get(key)
        except TypeError:  # a list, which is no word either
            number = None
        if number is None:
            understood = self._understood(key)
            if isinstance(understood, ColumnError):
                offset, width = self._form.place(text, understood.column)
                self._note(row, text, offset, width, understood)
                return
            number = self._known[key] = len(self._log.lines)
            self._log.lines.append(understood)
        self._log.order.append(number)
        self._log.rows.append(row)

    def _understood(self, key: Key) -> LogLine | ColumnError:
        words = []
        for column, value in zip(COLUMNS[1:], key[:4], strict=True):
            word = _word(value)
            if word is None or (not word and column in NEEDED):
                expected = f"the name of {'a chip' if column == 'chip' else f'the {column}'}"
                told = (
                    "is missing"
                    if not word and word is not None
                    else "is neither a word nor a number"
                )
                return ColumnError(column, f"the {column} {told}", expected=expected)
            words.append(word)
        return self._vocabulary.line(Written(*words))

    def _note(self, row: int, text: str, offset: int, width: int, wrong: ColumnError) -> None:
        self._noted.append(_Noted(row, text, offset + 1, width, wrong))

    def _raise_if_wrong(self) -> None:
        notes = Notebook()
        if not self._noted and not self._log.order:
            self._note(
                1, "", 0, 1, ColumnError("", "the log has no lines", expected="at least one")
            )
        texts = {noted.row: noted.text for noted in self._noted}
        count = max(texts, default=0)
        shown = tuple(texts.get(row, "") for row in range(1, count + 1))
        source = Source(self._log.path, shown)
        for noted in self._noted:
            wrong, place = noted.wrong, Place(source, noted.row, noted.column, noted.width)
            notes.add(
                wrong.message,
                place,
                expected=wrong.expected,
                word=wrong.word,
                choices=wrong.choices,
            )
        notes.raise_if_any()


def _word(value: object) -> str | None:
    """A value as a word: nothing for none; None for what is neither a word nor a whole number."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, int):
        return str(value)
    return value if isinstance(value, str) else None

"""Read a log: JSON lines, or CSV (RFC 4180) whose first line names the columns.

`time`, `chip` and `event` are needed, `state` and `value` may be there, and other columns are not
read, unless their name is so near to one of these that it must be a slip. What a line means is told
in `log_lines`. A line that came before costs no more than a look into a dictionary.
"""

from __future__ import annotations

import csv
import difflib
import itertools
import json
import os
import re
from array import array
from collections.abc import Iterator
from dataclasses import dataclass, field

from modecheck.bench.log_lines import Line
from modecheck.bench.vocabulary import Vocabulary, Written, Wrong
from modecheck.model.mistakes import MOST_MISTAKES, InvalidInput, Mistake, Notebook
from modecheck.model.places import Place, Source

NEEDED = ("time", "chip", "event")
COLUMNS = (*NEEDED, "state", "value")

LONGEST_LINE = 65_536
"""Bytes of a line; what is longer is no log, and would fill the memory."""
NEAR = 0.8
"""How alike (difflib's ratio) the name of a column is to one of ours to be a slip: "stat" is,
"rate" is not.
"""


@dataclass(slots=True)
class Log:
    """A log, understood: its different lines, which of them follows which (by number), and where
    each stands in the file (counted from 1).
    """

    path: str
    lines: list[Line] = field(default_factory=list)
    order: array[int] = field(default_factory=lambda: array("L"))
    rows: array[int] = field(default_factory=lambda: array("L"))

    def text_of(self, index: int) -> str:
        """A line as it stands in the file, read anew; nothing where the file is gone."""
        row = self.rows[index]
        try:
            with open(self.path, "rb") as file:
                raw = next(itertools.islice(file, row - 1, row), b"")
        except OSError:
            return ""
        return raw.decode("utf-8-sig", "replace").rstrip("\r\n")


def read_log(path: str, vocabulary: Vocabulary) -> Log:
    """The log in the file at `path`. Raises `InvalidInput` with every mistake in it."""
    problem = _unreadable(path)
    if problem:
        raise InvalidInput([Mistake(problem, expected="a log: JSON lines or CSV")])
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
    wrong: Wrong


class _BadLine(Exception):
    """A line that has no columns to speak of; `offset` counts from 0."""

    def __init__(self, offset: int, width: int, message: str, expected: str) -> None:
        super().__init__(message)
        self.offset = offset
        self.width = width
        self.wrong = Wrong("", message, expected=expected)


Key = tuple[object, object, object, object, type]
"""Chip, event, state, value; and the type of the value, since `True == 1`."""


class _LogReader:
    def __init__(self, path: str, vocabulary: Vocabulary) -> None:
        self._log = Log(path)
        self._vocabulary = vocabulary
        self._noted: list[_Noted] = []
        self._known: dict[Key, int] = {}
        self._form: _JsonLines | _Csv | None = None

    def read(self) -> Log:
        for row, text in self._texts():
            if text and not text.isspace():
                try:
                    self._take(row, text)
                except _BadLine as bad:
                    self._note(row, text, bad.offset, bad.width, bad.wrong)
                    if self._form is None:
                        break  # without a heading nothing below it can be understood
            if len(self._noted) > MOST_MISTAKES:
                break
        self._raise_if_wrong()
        return self._log

    def _texts(self) -> Iterator[tuple[int, str]]:
        """The lines of the file that are text, with their numbers."""
        with open(self._log.path, "rb") as file:
            for row, raw in enumerate(iter(lambda: file.readline(LONGEST_LINE + 1), b""), start=1):
                if len(raw) > LONGEST_LINE:
                    wrong = Wrong("", "the line is too long", expected=f"{LONGEST_LINE:,} bytes")
                    self._note(row, raw[:200].decode("utf-8", "replace"), 0, 1, wrong)
                    return
                try:
                    text = raw.decode("utf-8-sig" if row == 1 else "utf-8").rstrip("\r\n")
                except UnicodeDecodeError as error:
                    before = raw[: error.start].decode("utf-8", "replace")
                    wrong = Wrong("", "this is not UTF-8 text", expected="text encoded in UTF-8")
                    self._note(row, raw.decode("utf-8", "replace"), len(before), 1, wrong)
                    continue
                yield row, text

    def _take(self, row: int, text: str) -> None:
        if self._form is None:
            if text.lstrip().startswith("{"):
                self._form = _JsonLines()
            else:
                self._form = _Csv(text)
                return
        key = self._form.key(text)
        try:
            number = self._known.get(key)
        except TypeError:  # a list, which is no word either
            number = None
        if number is None:
            understood = self._understood(key)
            if isinstance(understood, Wrong):
                offset, width = self._form.place(text, understood.column)
                self._note(row, text, offset, width, understood)
                return
            number = self._known[key] = len(self._log.lines)
            self._log.lines.append(understood)
        self._log.order.append(number)
        self._log.rows.append(row)

    def _understood(self, key: Key) -> Line | Wrong:
        words = []
        for column, value in zip(COLUMNS[1:], key[:4], strict=True):
            word = _word(value)
            if word is None or (not word and column in NEEDED):
                expected = f"the name of {'a chip' if column == 'chip' else f'the {column}'}"
                told = "is missing" if not word and word is not None else "is no word or number"
                return Wrong(column, f"the {column} {told}", expected=expected)
            words.append(word)
        return self._vocabulary.line(Written(*words))

    def _note(self, row: int, text: str, offset: int, width: int, wrong: Wrong) -> None:
        self._noted.append(_Noted(row, text, offset + 1, width, wrong))

    def _raise_if_wrong(self) -> None:
        notes = Notebook()
        if not self._noted and not self._log.order:
            self._note(1, "", 0, 1, Wrong("", "the log has no lines", expected="at least one"))
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


class _JsonLines:
    """One JSON object in each line."""

    def __init__(self) -> None:
        decoder = json.JSONDecoder(object_pairs_hook=tuple)
        self._decode, self._decode_raw = decoder.decode, decoder.raw_decode
        self._shapes: dict[tuple[str, ...], tuple[int, ...]] = {}

    def key(self, text: str) -> Key:
        pairs = self._pairs(text)
        names = tuple([pair[0] for pair in pairs])
        places = self._shapes.get(names)
        if places is None:
            places = self._shapes[names] = self._checked(text, names)
        chip, event, state, value = places
        worth = pairs[value][1] if value >= 0 else None
        return (
            pairs[chip][1],
            pairs[event][1],
            pairs[state][1] if state >= 0 else None,
            worth,
            type(worth),
        )

    def _pairs(self, text: str) -> tuple[tuple[str, object], ...]:
        """The names and values of the object in a line, in their order."""
        try:
            found, end = self._decode_raw(text) if text[0] == "{" else (self._decode(text), 0)
            if end and end < len(text):
                found = self._decode(text)  # which tells what is wrong behind the object
        except json.JSONDecodeError as error:
            raise _BadLine(error.pos, 1, "this is not JSON", _JSON_EXPECTED) from error
        except (ValueError, RecursionError) as error:
            raise _BadLine(0, 1, "this JSON is too large to read", _JSON_EXPECTED) from error
        if not isinstance(found, tuple):
            raise _BadLine(0, len(text), "this is no JSON object", _JSON_EXPECTED)
        return found

    def _checked(self, text: str, names: tuple[str, ...]) -> tuple[int, ...]:
        """Where the columns but `time` stand among the names of an object, -1 for nowhere. What is
        wrong with the names is told; the same row of names is checked once.
        """
        twice = next((name for name in names if names.count(name) > 1), None)
        if twice is not None:
            raise _BadLine(*self._name_place(text, twice), f"the key {twice!r} is there twice", "")
        for name in names:
            near = slip(name)
            if near and near not in names:
                message = f"unknown key {name!r}; did you mean {near!r}?"
                raise _BadLine(*self._name_place(text, name), message, "")
        missing = [name for name in NEEDED if name not in names]
        if missing:
            message = f"the key {missing[0]!r} is missing"
            raise _BadLine(0, len(text), message, f"the keys {', '.join(NEEDED)}")
        return tuple(names.index(name) if name in names else -1 for name in COLUMNS[1:])

    def place(self, text: str, column: str) -> tuple[int, int]:
        """Where the value of a column begins, and how wide it is."""
        match = re.search(rf'"{column}"\s*:\s*("(?:[^"\\]|\\.)*"|[^,}}]*)', text)
        return (0, 1) if match is None else (match.start(1), max(len(match[1].rstrip()), 1))

    def _name_place(self, text: str, name: str) -> tuple[int, int]:
        offset = max(text.find(json.dumps(name, ensure_ascii=False)), 0)
        return offset, len(name) + 2


_JSON_EXPECTED = 'an object such as {"time": 1.5, "chip": "hub", "event": "hello"}'


class _Csv:
    """Fields with commas between them, quoted where they need it."""

    def __init__(self, header: str) -> None:
        fields = _fields(header)
        self._count = len(fields)
        self._places: dict[str, int] = {}
        for number, name in enumerate(fields):
            if name in self._places:
                raise _BadLine(*_field_place(header, number), f"two columns {name!r}", "")
            self._places[name] = number
        for number, name in enumerate(fields):
            near = slip(name)
            if near and near not in self._places:
                message = f"unknown column {name!r}; did you mean {near!r}?"
                raise _BadLine(*_field_place(header, number), message, "")
        missing = [name for name in NEEDED if name not in self._places]
        if missing:
            message = f"the column {missing[0]!r} is missing"
            raise _BadLine(0, len(header), message, _CSV_EXPECTED)
        self._time, self._chip, self._event = (self._places[name] for name in NEEDED)
        self._state = self._places.get("state", -1)
        self._value = self._places.get("value", -1)

    def key(self, text: str) -> Key:
        fields = _fields(text)
        if len(fields) != self._count:
            message = f"{len(fields)} fields, where the first line names {self._count} columns"
            raise _BadLine(0, len(text), message, f"{self._count} fields")
        state = fields[self._state] if self._state >= 0 else ""
        value = fields[self._value] if self._value >= 0 else ""
        return fields[self._chip], fields[self._event], state, value, str

    def place(self, text: str, column: str) -> tuple[int, int]:
        """Where the field of a column begins, and how wide it is."""
        return _field_place(text, self._places.get(column, 0))


_CSV_EXPECTED = "a first line such as time,chip,event,state; or JSON objects, one a line"


def _fields(text: str) -> list[str]:
    if '"' not in text:
        return [part.strip() for part in text.split(",")]
    try:
        return [part.strip() for part in next(csv.reader([text], strict=True))]
    except csv.Error as error:
        offset = text.index('"')
        raise _BadLine(offset, 1, f"the quotes do not fit: {error}", "quotes as in CSV") from error


def _field_place(text: str, number: int) -> tuple[int, int]:
    """Where a field begins, behind blanks, and how wide it is; commas in quotes do not count."""
    begin, quoted, seen = 0, False, 0
    for offset, character in enumerate(f"{text},"):
        quoted ^= character == '"'
        if character == "," and not quoted:
            if seen == number:
                field = text[begin:offset]
                return begin + len(field) - len(field.lstrip()), max(len(field.strip()), 1)
            begin, seen = offset + 1, seen + 1
    return 0, 1


def slip(name: str) -> str:
    """The column that a name was meant for, where it is none but very near to one."""
    if name in COLUMNS or len(name) > 20:
        return ""
    near = difflib.get_close_matches(name.lower(), COLUMNS, n=1, cutoff=NEAR)
    return near[0] if near else ""

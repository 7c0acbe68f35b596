"""The two forms of a line of a log: an object in JSON, or fields in CSV (RFC 4180).

A form finds the five columns of a line, whatever their order, and where in the line each one
stands. It knows nothing of chips: `vocabulary` defines what the words mean.
"""

from __future__ import annotations

import csv
import difflib
import json
import re
from collections.abc import Callable
from functools import partial

from modecheck.bench.vocabulary import ColumnError

NEEDED = ("time", "chip", "event")
COLUMNS = (*NEEDED, "state", "value")

NEAR = 0.8
"""How alike (difflib's ratio) the name of a column is to one of ours to be a slip: "stat" is,
"rate" is not.
"""


_JSON_EXPECTED = 'an object such as {"time": 1.5, "chip": "hub", "event": "hello"}'
_TWICE = {"key": "the key {!r} occurs twice", "column": "two columns are named {!r}"}
_MISSING = {
    "key": f"the keys {', '.join(NEEDED)}",
    "column": "a first line such as time,chip,event,state; or JSON objects, one per line",
}


class BadLine(Exception):
    """A line that cannot be split into columns; `offset` counts from 0."""

    def __init__(self, offset: int, width: int, message: str, expected: str) -> None:
        super().__init__(message)
        self.offset = offset
        self.width = width
        self.wrong = ColumnError("", message, expected=expected)


Key = tuple[object, object, object, object, type]
"""Chip, event, state, value; and the type of the value, since `True == 1`."""


class JsonLines:
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
            # The same row of names is checked once.
            places = self._shapes[names] = _places(
                names, "key", len(text), partial(self._name_place, text, names)
            )
        chip, event, state, value = (pairs[n][1] if n >= 0 else None for n in places)
        return chip, event, state, value, type(value)

    def _pairs(self, text: str) -> tuple[tuple[str, object], ...]:
        """The names and values of the object in a line, in their order."""
        try:
            found, end = self._decode_raw(text) if text[0] == "{" else (self._decode(text), 0)
            if end and end < len(text):
                found = self._decode(text)  # which tells what is wrong behind the object
        except json.JSONDecodeError as error:
            raise BadLine(error.pos, 1, "this is not JSON", _JSON_EXPECTED) from error
        except (ValueError, RecursionError) as error:
            raise BadLine(0, 1, "this JSON is too large to read", _JSON_EXPECTED) from error
        if not isinstance(found, tuple):
            raise BadLine(0, len(text), "this is not a JSON object", _JSON_EXPECTED)
        return found

    def place(self, text: str, column: str) -> tuple[int, int]:
        """Where the value of a column begins, and how wide it is."""
        match = re.search(rf'"{column}"\s*:\s*("(?:[^"\\]|\\.)*"|[^,}}]*)', text)
        return (0, 1) if match is None else (match.start(1), max(len(match[1].rstrip()), 1))

    def _name_place(self, text: str, names: tuple[str, ...], number: int) -> tuple[int, int]:
        name = names[number]
        offset = max(text.find(json.dumps(name, ensure_ascii=False)), 0)
        return offset, len(name) + 2


class Csv:
    """Fields with commas between them, quoted where they need it."""

    def __init__(self, header: str) -> None:
        self._names = tuple(_fields(header))
        self._places = _places(self._names, "column", len(header), partial(_field_place, header))

    def key(self, text: str) -> Key:
        fields = _fields(text)
        if len(fields) != len(self._names):
            message = f"{len(fields)} fields, but the first line names {len(self._names)} columns"
            raise BadLine(0, len(text), message, f"{len(self._names)} fields")
        chip, event, state, value = (fields[n] if n >= 0 else "" for n in self._places)
        return chip, event, state, value, str

    def place(self, text: str, column: str) -> tuple[int, int]:
        """Where the field of a column begins, and how wide it is."""
        return _field_place(text, self._names.index(column) if column in self._names else 0)


def _fields(text: str) -> list[str]:
    if '"' not in text:
        return [part.strip() for part in text.split(",")]
    try:
        return [part.strip() for part in next(csv.reader([text], strict=True))]
    except csv.Error as error:
        offset = text.index('"')
        raise BadLine(
            offset, 1, f"the quoting is invalid: {error}", "quotes as RFC 4180 (CSV) has them"
        ) from error


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


def _places(
    names: tuple[str, ...], kind: str, width: int, where: Callable[[int], tuple[int, int]]
) -> tuple[int, ...]:
    """Where the columns but `time` stand among some names, -1 for nowhere. Raises `BadLine` for
    what is wrong with the names; `where` tells where one of them stands in the line.
    """
    for number, name in enumerate(names):
        if name in names[:number]:
            raise BadLine(*where(number), _TWICE[kind].format(name), "")
    for number, name in enumerate(names):
        near = _slip(name)
        if near and near not in names:
            message = f"unknown {kind} {name!r}; did you mean {near!r}?"
            raise BadLine(*where(number), message, "")
    missing = [name for name in NEEDED if name not in names]
    if missing:
        raise BadLine(0, width, f"the {kind} {missing[0]!r} is missing", _MISSING[kind])
    return tuple(names.index(name) if name in names else -1 for name in COLUMNS[1:])


def _slip(name: str) -> str:
    """The column that a name was meant for, where it is none but very near to one."""
    if name in COLUMNS or len(name) > 20:
        return ""
    near = difflib.get_close_matches(name.lower(), COLUMNS, n=1, cutoff=NEAR)
    return near[0] if near else ""

"""CSV as spreadsheet programs write it (RFC 4180), with the place of every character of a cell.

Commas, semicolons or tabs separate cells: where a comma is the decimal point, programs write
semicolons. A byte order mark is left out. Values come from the standard library.

A text that a spreadsheet program would compute, or let call another program, is written with an
apostrophe in front, which the reader takes away again.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from modecheck.model.errors import Notebook
from modecheck.model.places import Place, Source
from modecheck.model.text_files import read_text

SEPARATORS = (",", ";", "\t")
MOST_CELLS = 200_000
"""A table of 10,000 states and 20 events; the reader takes a second for so many."""


FORMULA = re.compile(r"'*\s*[=+\-@]")
"""What a spreadsheet program computes begins so, with no apostrophe in front."""
PLAIN = re.compile(r"-|-?\d+( to -?\d+( list \d+)?)?")
"""What begins so and is none: nothing, numbers, ranges."""
APOSTROPHE = "'"


@dataclass(frozen=True, slots=True)
class TableCell:
    """The text of a cell, and where it begins in its file; `quoted` begins after the quote, what is
    `marked` as no formula after an apostrophe.
    """

    text: str
    place: Place
    quoted: bool = False
    marked: bool = False

    def part(self, offset: int, width: int) -> Place:
        """The place of a part of the text. Quotes inside are doubled in the file."""
        begin, text = self.place, self.text
        if self.marked:
            text, offset = f"{APOSTROPHE}{text}", offset + 1
        if not self.quoted:
            return begin.part(offset, width)
        before = text[:offset]
        lines = before.replace('"', '""').split("\n")
        column = len(lines[-1]) + (begin.column + 1 if len(lines) == 1 else 1)
        return Place(begin.source, begin.line + len(lines) - 1, column, max(width, 1))

    @property
    def whole(self) -> Place:
        """The place of the text without space around it."""
        skipped = len(self.text) - len(self.text.lstrip())
        return self.part(skipped, len(self.text.strip().partition("\n")[0]))


def read_rows(path: str, notes: Notebook) -> list[list[TableCell]]:
    """The rows of a file that are not empty; none after noting what is wrong with it."""
    text = read_text(path, notes, None, "CSV")
    if text is None:
        return []
    text = text.replace("\r\n", "\n").replace("\r", "\n")
    source = Source(path, tuple(text.split("\n")))
    separator = max(SEPARATORS, key=lambda one: _weight(text, one))
    return list(_rows(text, separator, source, notes))


def _weight(text: str, separator: str) -> tuple[bool, int]:
    """How likely it is that this separates the cells: by the line that names the columns, if there
    is one, and else by how often it occurs.
    """
    lines = [[one.strip('" ').lower() for one in row.split(separator)] for row in text.split("\n")]
    return any("state" in one for one in lines if len(one) > 1), text.count(separator)


def _rows(text: str, separator: str, source: Source, notes: Notebook) -> Iterator[list[TableCell]]:
    lines = io.StringIO(text).readlines()
    reader = csv.reader(lines, delimiter=separator, strict=True)
    line, cells = 0, 0
    while True:
        try:
            values = next(reader, None)
        except csv.Error as error:
            place = Place(source, line + 1, 1, max(len(source.lines[line]), 1))
            told = f"this is not well-formed CSV: {error}"
            notes.add(told, place, expected="quotes around a whole cell, doubled inside it")
            return
        if values is None:
            return
        record = "".join(lines[line : reader.line_num])
        cells += len(values)
        if cells > MOST_CELLS:
            place = Place(source, line + 1, 1)
            notes.add("the table is too large", place, expected=f"at most {MOST_CELLS:,} cells")
            return
        if any(one.strip() for one in values):
            starts = _starts(record, separator, Place(source, line + 1, 1))
            yield [
                _cell(value, place, quoted=quoted)
                for value, (place, quoted) in zip(values, starts, strict=True)
            ]
        line = reader.line_num


def _cell(value: str, place: Place, *, quoted: bool) -> TableCell:
    marked = value.startswith(APOSTROPHE) and FORMULA.match(value) is not None
    return TableCell(value[marked:], place, quoted, marked)


def _written(text: str) -> str:
    computed = FORMULA.match(text) and not PLAIN.fullmatch(text)
    return f"{APOSTROPHE}{text}" if computed else text


def _starts(record: str, separator: str, begin: Place) -> Iterator[tuple[Place, bool]]:
    """Where the cells of a record begin, and whether they are quoted."""
    line, column, inside = begin.line, 1, False
    quoted = record.startswith('"')
    yield Place(begin.source, line, 1), quoted
    for number, one in enumerate(record):
        column += 1
        if one == '"':
            inside = quoted and not inside
        elif one == "\n":
            line, column = line + 1, 1
        elif one == separator and not inside:
            quoted = record.startswith('"', number + 1)
            yield Place(begin.source, line, column), quoted


def csv_text(rows: Sequence[Sequence[str]]) -> str:
    """Rows as CSV with commas; all lines are of equal length and end as RFC 4180 says. No cell is a
    formula.
    """
    width = max((len(row) for row in rows), default=0)
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerows([*map(_written, row), *[""] * (width - len(row))] for row in rows)
    return out.getvalue()

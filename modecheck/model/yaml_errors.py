"""The likely cause of a YAML syntax error and its place, where the parser reports only a symptom.

A parser notices errors late: a bracket that is never closed spoils the next line, and a line
that is indented too far becomes part of the text above it.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

import yaml

REMEDIES = {
    "did not find expected ','": "quotes around a text that contains brackets or commas",
    "cannot start any token": "quotes around a text that begins with this character",
    "end of stream": "the closing quote",
    "unknown escape character": "single quotes, in which a backslash is only a backslash",
}
"""What is expected, by a part of the parser's message."""

CLOSING = {"{": "}", "[": "]"}
ENTRY = re.compile(r"[,{\[]")
KEY = re.compile(r"\s*(?:- )*[^\s#'\"{\[][^:]*:(?:\s|$)")
"""The beginning of a line that has a key."""


@dataclass(frozen=True, slots=True)
class Slip:
    """What is wrong, at a line and column counted from 0, and what was expected."""

    message: str
    line: int
    column: int
    width: int
    expected: str


def slip_behind(error: yaml.MarkedYAMLError, lines: tuple[str, ...]) -> Slip | None:
    """The likely cause of an error, or None."""
    mark, problem = error.problem_mark, error.problem or ""
    if mark is None or mark.line >= len(lines):
        return _unclosed(error, lines)
    if "mapping values" in problem or "did not find expected ','" in problem:
        colon = _colon_in_a_text(lines[mark.line], mark.line, mark.column)
        if colon is not None:
            return colon
    if "did not find expected ','" in problem:
        return _unclosed(error, lines)
    if "mapping values" in problem or "did not find expected" in problem:
        return _indentation(lines, mark.line)
    return None


def _colon_in_a_text(line: str, number: int, column: int) -> Slip | None:
    """`text: Note: a foot`, where the parser stops at the second colon."""
    if line[column : column + 1] != ":":
        return None
    begin = max((match.end() for match in ENTRY.finditer(line[:column])), default=0)
    first = re.search(r":\s", line[begin:column])
    if first is None:
        return None
    start = begin + first.end()
    start += len(line[start:]) - len(line[start:].lstrip())
    key = line[begin : begin + first.start()].strip()
    expected = (
        f"quotes around a text that contains ': ', as in {key}: \"{line[start:column].strip()}: …\""
    )
    return Slip("a colon in an unquoted text", number, start, column + 1 - start, expected)


def _unclosed(error: yaml.MarkedYAMLError, lines: tuple[str, ...]) -> Slip | None:
    """A bracket that is still open at a later line that begins with a key."""
    opened, mark = error.context_mark, error.problem_mark
    if opened is None or mark is None or opened.line >= min(mark.line, len(lines)):
        return None
    bracket = lines[opened.line][opened.column : opened.column + 1]
    if bracket not in CLOSING:
        return None
    where = f"before line {mark.line + 1}" if mark.line < len(lines) else "before the file ends"
    if mark.line < len(lines) and not KEY.match(lines[mark.line]):
        return None
    message = f"{bracket!r} is never closed"
    return Slip(message, opened.line, opened.column, 1, f"{CLOSING[bracket]!r} {where}")


def _indentation(lines: tuple[str, ...], number: int) -> Slip | None:
    """A line whose indentation matches that of no key above it."""
    indent = _indent(lines[number])
    columns: dict[int, int] = {}
    lowest = len(lines[number]) + len(lines)
    for above in range(number - 1, -1, -1):
        text = lines[above]
        if text.strip() and not text.lstrip().startswith("#") and _indent(text) < lowest:
            lowest = _indent(text)
            columns[lowest] = above + 1
    if not columns or indent in columns:
        return None
    told = [f"{column} (line {line})" for column, line in list(columns.items())[:2]]
    message = f"the line is indented by {indent} space{'s' * (indent != 1)}"
    return Slip(
        message, number, 0, max(indent, 1), f"the indentation of a line above: {' or '.join(told)}"
    )


def _indent(line: str) -> int:
    return len(line) - len(line.lstrip(" "))

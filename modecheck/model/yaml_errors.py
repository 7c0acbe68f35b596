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
    "did not find expected node content": "a value here",
    "did not find expected key": "a key and a colon, as in the lines above",
    "end of stream": "the closing quote",
    "unknown escape character": "single quotes, in which a backslash is only a backslash",
}
"""What is expected, by a part of the parser's message."""

CLOSING = {"{": "}", "[": "]"}
CLOSERS = frozenset(CLOSING.values())
ENTRY = re.compile(r"[,{\[]")
KEY = re.compile(r"\s*(?:- )*[^\s#'\"{\[][^:]*:(?:\s|$)")
"""The beginning of a line that has a key."""
NO_SPACE = re.compile(r"(\s*(?:- )*[\w.-]+):([^\s:/#][^:]*)$")
"""A line whose key lacks the space behind its colon, and what follows."""
TWO_WORDS = re.compile(r".*\S\s+([a-z_]+)$")
"""A text that ends in what may be the next key."""


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
    likely = _odd_indentation(error, lines) or _no_space(error, lines)
    if likely is not None:
        return likely
    if mark is None or mark.line >= len(lines):
        return _unclosed(error, lines)
    if "mapping values" in problem or "did not find expected ','" in problem:
        colon = _colon_in_a_text(lines[mark.line], mark.line, mark.column)
        if colon is not None:
            return colon
    if "did not find expected ','" in problem:
        return (
            _closed_by_another(error, lines)
            or _unclosed(error, lines)
            or _no_comma(lines[mark.line], mark.line, mark.column)
        )
    if "parsing a block" in (error.context or "") and _indent(lines[mark.line]) < mark.column:
        return _nothing_more(lines[mark.line], mark.line, mark.column)
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
    text = line[start:column].strip()
    expected = f"quotes around a text that contains ': ', as in {key}: \"{text}: …\""
    next_key = TWO_WORDS.match(text)
    if next_key and begin and line[begin - 1] in ",{":
        expected = f"a comma before {next_key[1]!r}, or {expected}"
    return Slip("a colon in an unquoted text", number, start, column + 1 - start, expected)


def _odd_indentation(error: yaml.MarkedYAMLError, lines: tuple[str, ...]) -> Slip | None:
    """A no-break space, say, pasted from a web page: to the parser it is part of the key."""
    last = error.problem_mark.line if error.problem_mark is not None else len(lines)
    for number, line in reversed(list(enumerate(lines[: last + 1]))):
        blank = line[: len(line) - len(line.lstrip())]
        odd = next((place for place, one in enumerate(blank) if one not in " \t"), None)
        if odd is not None and line.strip():
            message = f"the line is indented with U+{ord(blank[odd]):04X}, which is not a space"
            return Slip(message, number, odd, 1, "spaces")
    return None


def _no_space(error: yaml.MarkedYAMLError, lines: tuple[str, ...]) -> Slip | None:
    """`chip:hub`, which is one word, so that the parser stops at the next colon."""
    mark, problem = error.problem_mark, error.problem or ""
    if "could not find expected ':'" in problem and error.context_mark is not None:
        number = error.context_mark.line
    elif "mapping values" in problem and mark is not None:
        number = mark.line - 1
    else:
        return None
    if not 0 <= number < len(lines):
        return None
    match = NO_SPACE.match(lines[number])
    if match is None:
        if "could not find" in problem and ":" not in lines[number]:
            begin, text = _indent(lines[number]), lines[number].strip()
            return Slip("a line without a colon", number, begin, len(text), "a key and a colon")
        return None
    begin, key = _indent(lines[number]), match[1].strip()
    expected = f"'{key}: {match[2].strip()}'"
    return Slip("no space after the colon", number, begin, match.end(1) + 1 - begin, expected)


def _closed_by_another(error: yaml.MarkedYAMLError, lines: tuple[str, ...]) -> Slip | None:
    """`[press, to: down}`: a bracket that is still open where an outer one is closed."""
    opened, mark = error.context_mark, error.problem_mark
    if opened is None or mark is None or opened.line >= len(lines):
        return None
    bracket = lines[opened.line][opened.column : opened.column + 1]
    closer = lines[mark.line][mark.column : mark.column + 1]
    if bracket not in CLOSING or closer not in CLOSERS or closer == CLOSING[bracket]:
        return None
    where = f"the {closer!r} in column {mark.column + 1}"
    if opened.line != mark.line:
        where = f"the {closer!r} in line {mark.line + 1}"
    expected = f"{CLOSING[bracket]!r} before {where}"
    return Slip(f"{bracket!r} is never closed", opened.line, opened.column, 1, expected)


def _no_comma(line: str, number: int, column: int) -> Slip | None:
    """`{send: [hello] to: idle}`: an entry behind one that is complete."""
    before = line[:column].rstrip()
    if not before or before[-1] not in CLOSERS | {"'", '"'} or not line[column:].strip():
        return None
    remedy = "a comma" if before[-1] in CLOSERS else "a comma, or quotes around all of the text"
    return Slip(f"no comma behind {before[-1]}", number, column, 1, remedy)


def _nothing_more(line: str, number: int, column: int) -> Slip | None:
    """Something behind a value that is complete, such as a bracket that closes nothing."""
    rest = line[column:].rstrip()
    if not rest:
        return None
    if rest[0] in CLOSERS:
        opener = next(bracket for bracket, closer in CLOSING.items() if closer == rest[0])
        expected = f"the {opener!r} that it closes, or no {rest[0]!r}"
        return Slip(f"{rest[0]!r} closes nothing", number, column, 1, expected)
    message = "the value ends before this"
    return Slip(message, number, column, len(rest), "nothing more in this line")


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

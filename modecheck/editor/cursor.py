"""Where in the structure of a YAML text an offset is, whatever the rest of the text looks like.

Only what stands before the offset counts, and it need not be valid: lines are taken by their
indentation, brackets by their nesting. So a key or a value can be completed while it is written.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field

KEY = re.compile(r"(?:\"([^\"\n]*)\"|'([^'\n]*)'|([^\s#\"'\[\]{},][^#\n]*?))\s*:(?=\s|$)")
BLOCK_SCALAR = re.compile(r"[|>][-+\d]*\s*(?:#.*)?$")
MARKED = re.compile(r"[&!]\S*\s+")
"""An anchor or a tag before a value."""

COMMENT = re.compile(r"(?:^|\s)#.*$")
ITEM = "-"
"""Stands in a path for an item of a list."""

LONGEST_LINE = 4000
"""Characters of one line that are looked at."""


@dataclass(frozen=True, slots=True)
class Cursor:
    """`path` has the keys that lead to the offset, `ITEM` for items. At a key, `path` leads to the
    mapping and `text` is what is written of the key; at a value, it leads to the value.

    `start` is the offset at which `text` begins, behind its quote, if it has one. `beside` are the
    keys before it in the same mapping. `in_brackets` is whether a comma or a bracket would end it.
    """

    path: tuple[str, ...]
    at_key: bool
    text: str
    start: int
    quote: str = ""
    beside: tuple[str, ...] = ()
    in_brackets: bool = False


@dataclass(slots=True)
class _Level:
    """A key or an item of a block, by its indentation; `keys` are those beside it, before it."""

    indent: int
    key: str
    keys: list[str] = field(default_factory=list)


@dataclass(slots=True)
class _Bracket:
    """An open bracket. `key` is what the value is under, once its colon was passed."""

    opening: str
    key: str | None = None
    keys: list[str] = field(default_factory=list)


class _Scanner:
    """Follows the text line by line up to the offset."""

    def __init__(self, text: str, offset: int) -> None:
        self._text = text[:offset]
        self._levels: list[_Level] = []
        self._brackets: list[_Bracket] = []
        self._scalar_above: int | None = None
        self._tops: dict[int, list[str]] = {}
        self._start = 0
        self._quote = ""
        self._nested = 0

    def cursor(self) -> Cursor | None:
        begin = 0
        lines = self._text.split("\n")
        for number, line in enumerate(lines):
            last = number == len(lines) - 1
            found = self._line(line[:LONGEST_LINE].removesuffix("\r"), begin, last=last)
            if last:
                return found
            begin += len(line) + 1
        return None

    def _line(self, line: str, begin: int, *, last: bool) -> Cursor | None:
        indent = len(line) - len(line.lstrip(" "))
        if self._scalar_above is not None:
            if indent > self._scalar_above or (not line.strip() and not last):
                return self._in_text(line, begin, indent) if last else None
            self._scalar_above = None
        if self._brackets:
            return self._flow(line, begin, 0, last=last)
        if line.lstrip().startswith("#"):
            return None
        if not line.strip():
            return self._block_end(line, begin, len(line)) if last else None
        return self._block(line, begin, indent, last=last)

    def _in_text(self, line: str, begin: int, indent: int) -> Cursor | None:
        return Cursor(self._path(), False, line[indent:], begin + indent, quote="|")

    def _path(self) -> tuple[str, ...]:
        found = [level.key for level in self._levels]
        for bracket in self._brackets:
            if bracket.opening == "[":
                found.append(ITEM)
            elif bracket.key is not None:
                found.append(bracket.key)
        return tuple(found)

    def _block(self, line: str, begin: int, indent: int, *, last: bool) -> Cursor | None:
        at = indent
        self._leave(indent, item=line.startswith("-", at))
        while re.match(r"-(\s|$)", line[at:]):
            self._leave(at, item=True)
            self._levels.append(_Level(at, ITEM))
            self._tops.pop(at + 2, None)
            at += 1
            while line.startswith(" ", at):
                at += 1
            if at >= len(line):
                return self._block_end(line, begin, at) if last else None
            self._keys_at(at)
        key = KEY.match(line, at)
        if key is None:
            return self._value(line, begin, at, last=last, of_key=False)
        name = next(part for part in key.groups() if part is not None)
        self._leave(at, item=False)
        keys = self._keys_at(at)
        self._levels.append(_Level(at, name, list(keys)))
        keys.append(name)
        at = key.end()
        while at < len(line) and line[at] in " \t":
            at += 1
        return self._value(line, begin, at, last=last, of_key=True)

    def _keys_at(self, indent: int) -> list[str]:
        return self._tops.setdefault(indent, [])

    def _leave(self, indent: int, *, item: bool) -> None:
        """Close what is indented as deeply or more; an item may stand as deep as its key."""
        while self._levels:
            level = self._levels[-1]
            deeper = level.indent > indent
            same = level.indent == indent and (level.key == ITEM or not item)
            if not (deeper or same):
                break
            self._levels.pop()
        for deep in [deep for deep in self._tops if deep > indent]:
            del self._tops[deep]

    def _value(self, line: str, begin: int, at: int, *, last: bool, of_key: bool) -> Cursor | None:
        mark = MARKED.match(line, at)
        at = mark.end() if mark else at
        rest = line[at:]
        if BLOCK_SCALAR.match(rest) and of_key:
            self._scalar_above = self._levels[-1].indent
            return None
        if rest[:1] in ("{", "["):
            return self._flow(line, begin, at, last=last)
        if not last:
            return None
        if not of_key:
            return self._block_end(line, begin, at)
        if COMMENT.search(line[at - 1 :]) and rest[:1] not in ('"', "'"):
            return None
        quote = rest[:1] if rest[:1] in ('"', "'") else ""
        text = rest[1:] if quote else rest
        if quote and quote in text:
            return None
        return Cursor(self._path(), False, text, begin + at + len(quote), quote)

    def _block_end(self, line: str, begin: int, at: int) -> Cursor | None:
        """A word without a colon: a key, an item, or more of the text above."""
        self._leave(at, item=False)
        text = line[at:]
        if COMMENT.search(text):
            return None
        quote = text[:1] if text[:1] in ('"', "'") else ""
        start = begin + at + len(quote)
        beside = tuple(self._tops.get(at, ()))
        return Cursor(self._path(), True, text[len(quote) :], start, quote, beside)

    def _flow(self, line: str, begin: int, at: int, *, last: bool) -> Cursor | None:
        """Within brackets, up to the end of the line."""
        self._start, self._quote, self._nested = begin + at, "", 0
        while at < len(line):
            step = self._in_quotes if self._quote else self._outside
            if step(line, begin, at) and not self._brackets:
                return None
            if line[at] == "#" and not self._quote and (at == 0 or line[at - 1].isspace()):
                return None
            at += 1
        return self._flow_end(begin + len(line)) if last else None

    def _in_quotes(self, line: str, begin: int, at: int) -> bool:  # noqa: ARG002
        if line[at] == self._quote:
            self._quote = ""
        return False

    def _outside(self, line: str, begin: int, at: int) -> bool:
        """Take one character; True if it closed a bracket."""
        character, written = line[at], self._text[self._start : begin + at].strip()
        if character in "\"'" and not written:
            self._quote, self._start = character, begin + at
        elif character in "{[" and (not written or MARKED.fullmatch(f"{written} ")):
            self._brackets.append(_Bracket(character))
            self._start = begin + at + 1
        elif character in "{[(" and written:
            self._nested += 1
        elif character in "}])" and self._nested:
            self._nested -= 1
        elif character in "}]":
            self._brackets.pop()
            self._start = begin + at + 1
            return True
        elif self._brackets:
            self._between(line, begin, at, written)
        return False

    def _between(self, line: str, begin: int, at: int, written: str) -> None:
        """A comma or a colon within a bracket."""
        bracket = self._brackets[-1]
        ends = at + 1 == len(line) or line[at + 1].isspace()
        if line[at] == "," and not self._nested:
            bracket.key = None
            self._start = begin + at + 1
        elif line[at] == ":" and ends and bracket.opening == "{" and bracket.key is None:
            bracket.key = written.strip("\"'")
            bracket.keys.append(bracket.key)
            self._start = begin + at + 1

    def _flow_end(self, offset: int) -> Cursor | None:
        bracket = self._brackets[-1]
        start = self._start
        while start < offset and self._text[start] in " \t":
            start += 1
        if self._quote:
            start = self._start + 1
        at_key = bracket.opening == "{" and bracket.key is None
        text = self._text[start:offset]
        if not self._quote and text[:1] in ('"', "'"):
            return None  # behind a text in quotes
        beside = tuple(bracket.keys) if at_key else ()
        return Cursor(self._path(), at_key, text, start, self._quote, beside, in_brackets=True)


def cursor_at(text: str, offset: int) -> Cursor | None:
    """Where an offset is; None in a comment, or where nothing can be written."""
    return _Scanner(text, max(0, min(offset, len(text)))).cursor()


def keys_below(text: str, cursor: Cursor) -> tuple[str, ...]:
    """The keys that follow in the same mapping, as far as its indentation tells."""
    if cursor.in_brackets or not cursor.at_key:
        return ()
    begin = text.rfind("\n", 0, cursor.start) + 1
    indent = cursor.start - len(cursor.quote) - begin
    lines = text[cursor.start :].split("\n")[1:]
    found = []
    for line in lines:
        bare = line.lstrip(" ")
        if not bare.strip() or bare.startswith("#"):
            continue
        deep = len(line) - len(bare)
        if deep < indent or (deep == indent and bare.startswith("- ")):
            break
        key = KEY.match(bare) if deep == indent else None
        if key is not None:
            found.append(next(part for part in key.groups() if part is not None))
    return tuple(found)

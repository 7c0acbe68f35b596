"""Plain data as YAML that people like to read: what fits stands in one line, the rest in a block.

Texts are quoted only where YAML 1.2, or the reader of models, would take them for something else.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from textwrap import wrap
from typing import TypeAlias

WIDTH = 100
"""Columns of a line; only a text that cannot be broken is longer."""

PLAIN = re.compile(r"[^\W\d_][\w.()]*(?: [\w.%/+*()<>=!-]+)*|-?\d+(?: [\w.]+)?")
"""Texts that need no quotes anywhere: words, numbers, conditions without brackets or commas."""

NOTHING = frozenset({"", "~", "null", "Null", "NULL"})
"""What YAML takes for no value."""


@dataclass(frozen=True, slots=True)
class Remarked:
    """A value with comments before it."""

    value: Layout
    comments: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Opened:
    """A mapping that is always a block, even if it would fit in a line."""

    entries: Mapping[str, Layout]


Layout: TypeAlias = "str | int | Sequence[Layout] | Mapping[str, Layout] | Remarked | Opened"


def yaml_text(entries: Mapping[str, Layout]) -> str:
    """A whole file."""
    return "".join(f"{line}\n" for line in _block(entries, 0))


def quoted(text: str) -> str:
    """A text as a scalar that stays this text, in a line or in a block."""
    if PLAIN.fullmatch(text) and text not in NOTHING:
        return text
    return json.dumps(text, ensure_ascii=False)


def _block(value: Mapping[str, Layout], indent: int) -> Iterator[str]:
    for key, child in value.items():
        yield from _entry(f"{' ' * indent}{quoted(key)}:", child, indent)


def _items(items: Sequence[Layout], indent: int) -> Iterator[str]:
    for item in items:
        head = f"{' ' * indent}-"
        inside = item.value if isinstance(item, Remarked) else item
        if isinstance(item, Remarked):
            yield from comment_lines(item.comments, indent)
        line = f"{head} {_line(inside)}"
        if len(line) <= WIDTH or not isinstance(inside, Mapping):
            yield line
            continue
        first, *rest = _block(inside, indent + 2)
        yield f"{head} {first.lstrip()}"
        yield from rest


def _entry(head: str, value: Layout, indent: int) -> Iterator[str]:
    if isinstance(value, Remarked):
        yield from comment_lines(value.comments, indent)
        yield from _entry(head, value.value, indent)
        return
    line = f"{head} {_line(value)}"
    if isinstance(value, Opened) and value.entries:
        yield head
        yield from _block(value.entries, indent + 2)
    elif isinstance(value, str | int) or (len(line) <= WIDTH and not _remarked(value)):
        yield line
    elif isinstance(value, Mapping):
        yield head
        yield from _block(value, indent + 2)
    else:
        assert isinstance(value, Sequence)
        yield head
        yield from _items(value, indent + 2)


def comment_lines(comments: Sequence[str], indent: int = 0) -> Iterator[str]:
    """Comments, one after the other, each wrapped to the width."""
    begin = f"{' ' * indent}# "
    for comment in comments:
        for line in comment.splitlines():
            found = wrap(line, WIDTH, initial_indent=begin, subsequent_indent=begin)
            yield from found or [begin.rstrip()]


def _remarked(value: Layout) -> bool:
    """Whether a comment or an open block stands somewhere inside, for which a line has no room."""
    if isinstance(value, Remarked | Opened):
        return True
    inside = value.values() if isinstance(value, Mapping) else value
    return not isinstance(value, str | int) and any(map(_remarked, inside))  # type: ignore[arg-type]


def _line(value: Layout) -> str:
    """A value in one line."""
    if isinstance(value, Remarked):
        return _line(value.value)
    if isinstance(value, Opened):
        return _line(value.entries)
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, int):
        return str(value)
    if isinstance(value, str):
        return quoted(value)
    if isinstance(value, Mapping):
        return f"{{{', '.join(f'{quoted(k)}: {_line(v)}' for k, v in value.items())}}}"
    return f"[{', '.join(map(_line, value))}]"

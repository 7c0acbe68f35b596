"""A change of a device: a file that can be laid over it, and a sentence about it.

The file is data here: mappings, lists, texts, numbers and truth values, with None for a key that is
removed, exactly as `modecheck check --with` reads it.
"""

from __future__ import annotations

import json
import re
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from enum import Enum
from typing import TypeAlias, Union

Value: TypeAlias = Union[str, int, bool, "list[Value]", "Data", None]
Data: TypeAlias = dict[str, Value]

PLAIN = re.compile(r"[A-Za-z_][\w .+*/()=!<>-]*")
"""Texts that need no quotes where a value may stand, unless YAML takes them for something else."""
SPECIAL = {"true", "false", "null", "yes", "no", "on", "off", "y", "n", "~"}
"""Words that YAML 1.1 or 1.2 (core schema) reads as something else than a text."""
WIDTH = 96
"""Columns of a line of YAML; what is longer is written over several lines."""


class Matters(Enum):
    """Where a change can make a difference: only where a part that it is about takes part in a
    step, only by steps that were not possible before, by either, or anywhere.
    """

    WHERE_USED = "where it is used"
    MORE_STEPS = "more steps"
    OTHER_STEPS = "other steps"
    ANYWHERE = "anywhere"


@dataclass(frozen=True, slots=True)
class RepairChange:
    """One change. `family` is a key of `modecheck.repair.families.all_families.FAMILIES`.

    `about` names the parts that it touches: (chip, rule) or (chip, ""), or ("", link). `timers` is
    how many new timers it brings; `rank` orders changes, the most promising first; `differs` is how
    many values differ from what was written, where that is known.
    """

    family: str
    sentence: str
    overlay: Data
    about: frozenset[tuple[str, str]]
    timers: int = 0
    rank: float = 0.0
    matters: Matters = Matters.ANYWHERE

    differs: int = 0

    @property
    def size(self) -> int:
        """How many values differ from what was written, or how many its file writes."""
        return self.differs or values_in(self.overlay)


@dataclass(frozen=True, slots=True)
class Candidate:
    """Changes that are tried together; none writes a value that another one writes."""

    changes: tuple[RepairChange, ...]

    @property
    def overlay(self) -> Data:
        """All of them as one file. Raises `Clash`."""
        whole: Data = {}
        for one in self.changes:
            whole = merged(whole, one.overlay)
        return whole

    @property
    def key(self) -> str:
        """Equal for candidates that write the same, be it as one item or as a list of one."""
        return json.dumps(_without_lists_of_one(self.overlay), sort_keys=True)

    @property
    def size(self) -> int:
        return sum(one.size for one in self.changes)

    @property
    def timers(self) -> int:
        return sum(one.timers for one in self.changes)

    @property
    def sentence(self) -> str:
        """All changes in one sentence."""
        return "; ".join(one.sentence for one in self.changes)


class Clash(Exception):
    """Two changes write the same value."""


def _without_lists_of_one(value: Value) -> Value:
    if isinstance(value, dict):
        return {key: _without_lists_of_one(one) for key, one in value.items()}
    if isinstance(value, list) and len(value) == 1:
        return _without_lists_of_one(value[0])
    return value


def difference_of(old: Value, new: Value) -> int:
    """How many items came, went or were replaced, or changed their places; at least 1."""
    before, after = (list(map(str, _items(one))) for one in (old, new))
    if not (isinstance(old, list) or isinstance(new, list)):
        return 1
    came_or_went = Counter(before)
    came_or_went.subtract(after)
    counts = came_or_went.values()
    return max(sum(n for n in counts if n > 0), -sum(n for n in counts if n < 0)) or 1


def _items(value: Value) -> list[Value]:
    if isinstance(value, list):
        return value
    return [] if value is None else [value]


def values_in(value: Value) -> int:
    """How many values are written: the items of a list count, and so does a key that is removed."""
    if isinstance(value, dict):
        return sum(map(values_in, value.values())) or 1
    if isinstance(value, list):
        return sum(map(values_in, value)) or 1
    return 1


def merged(first: Data, second: Data) -> Data:
    """Both at once. Raises `Clash` if they write different values at one place."""
    whole = dict(first)
    for key, value in second.items():
        known = whole.get(key)
        if key not in whole or known == value:
            whole[key] = value
        elif isinstance(known, dict) and isinstance(value, dict):
            whole[key] = merged(known, value)
        else:
            raise Clash
    return whole


def nested(path: Sequence[str], value: Value) -> Data:
    """A mapping that holds only this value, under these keys."""
    for key in reversed(path):
        value = {key: value}
    assert isinstance(value, dict)
    return value


def yaml_text(data: Mapping[str, Value]) -> str:
    """The mapping as YAML, which the reader of models reads as the same data."""
    return "\n".join(_block(data, 0)) + "\n"


def _block(data: Mapping[str, Value], indent: int) -> Iterator[str]:
    for key, value in data.items():
        start = f"{' ' * indent}{_scalar(key)}:"
        inline = f"{start} {_inline(value)}"
        if not isinstance(value, dict) or not value or (indent and len(inline) <= WIDTH):
            yield inline
        else:
            yield start
            yield from _block(value, indent + 2)


def _inline(value: Value) -> str:
    if isinstance(value, dict):
        return f"{{{', '.join(f'{_scalar(k)}: {_inline(v)}' for k, v in value.items())}}}"
    if isinstance(value, list):
        return f"[{', '.join(map(_inline, value))}]"
    if value is None:
        return "null"
    if isinstance(value, bool):
        return str(value).lower()
    return str(value) if isinstance(value, int) else _scalar(value)


def _scalar(text: str) -> str:
    """A text, in quotes where it needs them."""
    stripped = text.strip() == text
    if PLAIN.fullmatch(text) and stripped and text.lower() not in SPECIAL:
        return text
    if re.fullmatch(r"\d+(\.\d+)? (us|ms|s|min|h)", text):
        return text
    return json.dumps(text, ensure_ascii=False)

"""Identical units: the names and numbers of the chips that `copies: 4` makes of one.

The copies of `tile` are the chips tile[1] to tile[4]. A number in brackets that is computed from a
name wraps around, so that the neighbour `tile[i+1]` of tile[4] is tile[1]; a plain number must be
that of a copy.
"""

from __future__ import annotations

import operator
import re
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field

from modecheck.model.syntax import (
    OVER_ALL,
    Apply,
    ExpressionError,
    Member,
    Name,
    Number,
    Tree,
    parse_condition,
)

MOST_COPIES = 64
"""Copies of one chip; real devices have a handful of identical units."""

OWN_NUMBER = "i"
"""The number of a copy, in its chip and in what is written for each copy."""

NUMBERED = re.compile(r"([^\W\d]\w*)\[(\d{1,9})\]")
"""The name of a copy."""

OPERATORS: dict[str, Callable[..., int]] = {
    "+": operator.add,
    "-": operator.sub,
    "*": operator.mul,
    "//": operator.floordiv,
    "%": operator.mod,
    "neg": operator.neg,
    "min": min,
    "max": max,
    "==": operator.eq,
    "!=": operator.ne,
    "<": operator.lt,
    "<=": operator.le,
    ">": operator.gt,
    ">=": operator.ge,
    "not": operator.not_,
    "and": lambda *given: all(given),
    "or": lambda *given: any(given),
    "if": lambda test, yes, no: yes if test else no,
}
"""What a number or a condition that is known when the model is read can be made of."""
DIVISIONS = {"//", "%"}

NUMBERS = re.compile(r"(?<=\w)\[\d+\]")


@dataclass(frozen=True, slots=True)
class Copies:
    """How many copies each name stands for: names of chips, actors, and of links for each copy.

    `links` are the names of links among them. Where a copy is described, `own` is the number of
    its siblings and itself, else 0.
    """

    counts: Mapping[str, int] = field(default_factory=dict)
    own: int = 0
    links: frozenset[str] = frozenset()

    @property
    def units(self) -> tuple[str, ...]:
        """The names of chips and actors with copies."""
        return tuple(name for name in self.counts if name not in self.links)

    def names(self, name: str) -> tuple[str, ...]:
        """All that a name stands for: itself, unless it stands for copies."""
        count = self.counts.get(name)
        return (name,) if count is None else tuple(numbered(name, n + 1) for n in range(count))

    def told(self, name: str) -> str:
        """The names of the copies, for a message."""
        names = self.names(name)
        return names[0] if len(names) == 1 else f"{names[0]} to {names[-1]}"


ALONE = Copies()
"""No chip has copies."""


def is_each(name: str) -> bool:
    """Whether a key stands for parts of each copy."""
    return name.startswith("each ")


def numbered(name: str, number: int) -> str:
    """The name of one copy."""
    return f"{name}[{number}]"


def unnumbered(name: str) -> str:
    """The name that a copy shares with the others; any other name as it is."""
    match = NUMBERED.fullmatch(name)
    return match[1] if match else name


def without_numbers(text: str) -> str:
    """A text in which no copy is told from another."""
    return NUMBERS.sub("", text)


def copy_number(tree: Tree, name: str, count: int, parameters: Mapping[str, str]) -> int:
    """The number of the copy that an index names, from 1. Raises `ExpressionError`."""
    value = known_value(tree, parameters)
    if _is_computed(tree):
        return (value - 1) % count + 1
    if not 1 <= value <= count:
        message = f"there is no {numbered(name, value)}"
        expected = Copies({name: count}).told(name)
        raise ExpressionError(message, tree.offset, tree.width, expected)
    return value


def known_value(tree: Tree, parameters: Mapping[str, str]) -> int:
    """The value of an expression of numbers and parameters. Raises `ExpressionError`."""
    if isinstance(tree, Number):
        return tree.value
    if isinstance(tree, Name) and tree.index is None:
        text = parameters.get(tree.text, "")
        if re.fullmatch(r"-?\d{1,10}", text):
            return int(text)
    if isinstance(tree, Apply) and tree.operator in OPERATORS:
        values = [known_value(argument, parameters) for argument in tree.arguments]
        if tree.operator in DIVISIONS and values[1] == 0:
            divisor = tree.arguments[1]
            raise ExpressionError("the divisor is 0", divisor.offset, divisor.width, "another one")
        return OPERATORS[tree.operator](*values)
    if isinstance(tree, Member):
        item, *choices = (known_value(one, parameters) for one in (tree.item, *tree.choices))
        return item in choices
    numbers = [name for name, text in parameters.items() if text.isdigit()]
    expected = f"numbers and {', '.join(sorted(numbers)) or OWN_NUMBER}"
    message = "this is not known when the model is read"
    raise ExpressionError(message, tree.offset, tree.width, expected)


def _is_computed(tree: Tree) -> bool:
    """Whether an index is more than a plain number."""
    return any(not isinstance(part, Number) for part in parts_of(tree))


def parts_of(tree: Tree, *, into: bool = True) -> Iterator[Tree]:
    """A tree and everything inside it; `into` functions over all copies as well, or not."""
    yield tree
    if isinstance(tree, Apply) and (into or tree.operator not in OVER_ALL):
        inside: tuple[Tree | None, ...] = tree.arguments
    elif isinstance(tree, Member):
        inside = (tree.item, *tree.choices)
    elif isinstance(tree, Name):
        inside = (tree.index, tree.copy)
    else:
        inside = (tree.name,) if not isinstance(tree, Number | Apply) else ()
    for part in inside:
        if part is not None:
            yield from parts_of(part, into=into)


def written_number(text: str, parameters: Mapping[str, str]) -> str:
    """A text such as `i - 1` or `i == 1` as a number or a truth value, if that is what it is."""
    if not re.search(rf"\b{OWN_NUMBER}\b", text) or OWN_NUMBER not in parameters:
        return text
    try:
        value = known_value(parse_condition(text), parameters)
    except ExpressionError:
        return text
    return str(value).lower() if isinstance(value, bool) else str(value)

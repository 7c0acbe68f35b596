"""Expressions with resolved names: what they read, and how they combine it.

A term still refers to chips and variables by name; `modecheck.product` replaces them by fields.
Truth values are the integers 0 and 1.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import TypeAlias


@dataclass(frozen=True, slots=True)
class Constant:
    value: int


@dataclass(frozen=True, slots=True)
class ReadVariable:
    """A variable of a chip; with `index`, an item of a list."""

    chip: str
    variable: str
    index: Term | None = None


@dataclass(frozen=True, slots=True)
class InState:
    """Whether a chip is in one of these innermost states."""

    chip: str
    leaves: frozenset[str]


@dataclass(frozen=True, slots=True)
class Payload:
    """The value that the delivered message, or the signal that is heard, carries."""


@dataclass(frozen=True, slots=True)
class IsLate:
    """Whether the delivered message was sent in an older session of its link."""


@dataclass(frozen=True, slots=True)
class Happens:
    """Whether something happens in a step: see `modecheck.model.event_calls`.

    `kind` is sent, accepted, delivered, dropped, signalled or taken; `owner` a chip or a link, or
    nothing for a signal; `name` a message, a signal or a rule.
    """

    kind: str
    owner: str
    name: str


@dataclass(frozen=True, slots=True)
class Operation:
    """`operator` applied to `arguments`.

    Operators: not, and, or (any number of arguments), ==, !=, <, <=, >, >=, +, -, *, //, % (these
    two round down, as in Python), neg, min, max, if (test, value when true, value when false).
    """

    operator: str
    arguments: tuple[Term, ...]


Term: TypeAlias = Constant | ReadVariable | InState | Payload | IsLate | Happens | Operation

TRUE = Constant(1)
FALSE = Constant(0)


def parts_of(term: Term) -> Iterator[Term]:
    """The term and everything inside it."""
    yield term
    if isinstance(term, Operation):
        for argument in term.arguments:
            yield from parts_of(argument)
    elif isinstance(term, ReadVariable) and term.index is not None:
        yield from parts_of(term.index)

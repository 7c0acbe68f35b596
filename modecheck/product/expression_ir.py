"""Expressions over the fields of a product, by number; and what fails where one has no value."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeAlias

from modecheck.model.places import Place


@dataclass(frozen=True, slots=True)
class ConstantIR:
    value: int


@dataclass(frozen=True, slots=True)
class Read:
    """The value of a field."""

    field: int


@dataclass(frozen=True, slots=True)
class ReadItem:
    """Field `first + index`; an index outside 0..length-1 is a `Failure`."""

    first: int
    length: int
    index: Expression
    failure: Failure


@dataclass(frozen=True, slots=True)
class PayloadIR:
    """The value of the message that is being delivered, or of the signal that is heard."""


@dataclass(frozen=True, slots=True)
class IsLateIR:
    """1 when the message that is being delivered was sent in an older session."""


@dataclass(frozen=True, slots=True)
class Happened:
    """1 when event number `event` of the product happened in the step; only in observers' atoms."""

    event: int


@dataclass(frozen=True, slots=True)
class ApplyIR:
    """An operator of `modecheck.model.terms.Operation` on expressions."""

    operator: str
    arguments: tuple[Expression, ...]


Expression: TypeAlias = ConstantIR | Read | ReadItem | PayloadIR | IsLateIR | Happened | ApplyIR


@dataclass(frozen=True, slots=True)
class Failure:
    """A step that must not happen: `code` and `subject` of the finding, and what is to blame."""

    code: str
    subject: str
    text: str
    place: Place

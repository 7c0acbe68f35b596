"""Between which values an expression stays, whatever the state: enough to tell whether it fits."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from modecheck.product.ir import (
    ApplyIR,
    ConstantIR,
    Expression,
    Field,
    PayloadIR,
    Read,
    ReadItem,
)

ANYTHING = 1 << 40
"""More than any value of a model."""


class Bounds(NamedTuple):
    """The least and the greatest value; both can be too far out, and never too far in."""

    low: int
    high: int


def bounds_of(expression: Expression, fields: Sequence[Field]) -> Bounds:
    """Where the value of an expression lies while all fields are within their ranges."""
    match expression:
        case ConstantIR(value):
            return Bounds(value, value)
        case Read(field):
            return Bounds(fields[field].low, fields[field].high)
        case ReadItem(first, length):
            items = fields[first : first + length]
            return Bounds(min(one.low for one in items), max(one.high for one in items))
        case PayloadIR():
            return Bounds(-ANYTHING, ANYTHING)
        case ApplyIR(operator, arguments):
            return _applied(operator, [bounds_of(argument, fields) for argument in arguments])
    return Bounds(0, 1)


def _applied(operator: str, parts: list[Bounds]) -> Bounds:
    match operator:
        case "+":
            return Bounds(parts[0].low + parts[1].low, parts[0].high + parts[1].high)
        case "-":
            return Bounds(parts[0].low - parts[1].high, parts[0].high - parts[1].low)
        case "neg":
            return Bounds(-parts[0].high, -parts[0].low)
        case "min":
            return Bounds(min(one.low for one in parts), min(one.high for one in parts))
        case "max":
            return Bounds(max(one.low for one in parts), max(one.high for one in parts))
        case "if":
            _, yes, no = parts
            return Bounds(min(yes.low, no.low), max(yes.high, no.high))
    return Bounds(0, 1)

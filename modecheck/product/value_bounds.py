"""Bounds of an expression in every state: enough to tell whether its value always fits."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from modecheck.model.values import product_bounds
from modecheck.product.expression_ir import (
    ApplyIR,
    ConstantIR,
    Expression,
    PayloadIR,
    Read,
    ReadItem,
)
from modecheck.product.ir import Field

ANYTHING = 1 << 40
"""Greater than any value of a model."""


class ValueBounds(NamedTuple):
    """The least and the greatest value. They may be too wide, but never too narrow."""

    low: int
    high: int


ANY_VALUE = ValueBounds(-ANYTHING, ANYTHING)


def bounds_of(
    expression: Expression, fields: Sequence[Field], payload: ValueBounds = ANY_VALUE
) -> ValueBounds:
    """Bounds of the value of an expression while all fields are within their ranges, and the value
    of the message that is delivered is, too.
    """
    match expression:
        case ConstantIR(value):
            return ValueBounds(value, value)
        case Read(field):
            return ValueBounds(fields[field].low, fields[field].high)
        case ReadItem(first, length):
            items = fields[first : first + length]
            return ValueBounds(min(one.low for one in items), max(one.high for one in items))
        case PayloadIR():
            return payload
        case ApplyIR(operator, arguments):
            return _applied(operator, [bounds_of(one, fields, payload) for one in arguments])
    return ValueBounds(0, 1)


def _applied(operator: str, parts: list[ValueBounds]) -> ValueBounds:
    match operator:
        case "+":
            return ValueBounds(parts[0].low + parts[1].low, parts[0].high + parts[1].high)
        case "-":
            return ValueBounds(parts[0].low - parts[1].high, parts[0].high - parts[1].low)
        case "*" | "//" | "%":
            return ValueBounds(*product_bounds(operator, parts[0], parts[1]))
        case "neg":
            return ValueBounds(-parts[0].high, -parts[0].low)
        case "min":
            return ValueBounds(min(one.low for one in parts), min(one.high for one in parts))
        case "max":
            return ValueBounds(max(one.low for one in parts), max(one.high for one in parts))
        case "if":
            _, yes, no = parts
            return ValueBounds(min(yes.low, no.low), max(yes.high, no.high))
    return ValueBounds(0, 1)

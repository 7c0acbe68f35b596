"""Expressions to Python functions.

An expression is written out as Python source over two vectors and compiled once: `n`, the state as
the step has changed it so far, and `s`, the state that the reaction judges. A chip reads its own
fields in `n`, so that its assignments run in order as in C, and everybody else's in `s`, so that
chips that move in the same step cannot see each other half moved.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

from modecheck.product.expression_ir import (
    ApplyIR,
    ConstantIR,
    Expression,
    Failure,
    Happened,
    IsLateIR,
    PayloadIR,
    Read,
    ReadItem,
)
from modecheck.product.ir import Product

Evaluate = Callable[[Sequence[int], Sequence[int], int, int], int]
"""`(n, s, payload, late)` to a value. For the atoms of observers, `payload` holds
events as bits.
"""

NOBODY = -2
"""Number of the chip that evaluates conditions on whole states."""

INFIX = {"==", "!=", "<", "<=", ">", ">=", "+", "-", "*", "//", "%"}


class StepFailed(Exception):
    """A step does what must not happen; carries all that failed in it together."""

    def __init__(self, *failures: Failure) -> None:
        super().__init__("; ".join(failure.text for failure in failures))
        self.failures = failures


class Evaluator:
    """Compiles the expressions of one product, each once for each chip that evaluates it.

    They are told apart by identity, which is quick; the product keeps them alive.
    """

    def __init__(self, product: Product) -> None:
        self._product = product
        self._owners = [field.owner for field in product.fields]
        self._failures: list[Failure] = []
        self._compiled: dict[tuple[int, int], Evaluate] = {}

    def function(self, expression: Expression, chip: int) -> Evaluate:
        """The expression as evaluated by a chip (number), or by `NOBODY`."""
        key = (id(expression), chip)
        compiled = self._compiled.get(key)
        if compiled is None:
            source = f"lambda n, s, payload, late: {self._source(expression, chip)}"
            names = {"item": self._item}
            compiled = eval(source, names)  # noqa: S307 - built from integers only
            self._compiled[key] = compiled
        return compiled

    def holds(self, condition: Expression, state: Sequence[int], events: int = 0) -> bool:
        """Whether a condition on whole states holds, in a step with these events (bits); an index
        out of range makes it false.
        """
        try:
            return bool(self.function(condition, NOBODY)(state, state, events, 0))
        except StepFailed:
            return False

    def _item(
        self, vector: Sequence[int], first: int, length: int, index: int, failure: int
    ) -> int:
        if not 0 <= index < length:
            raise StepFailed(self._failures[failure])
        return vector[first + index]

    def _vector(self, field: int, chip: int) -> str:
        return "n" if self._owners[field] == chip else "s"

    def _source(self, expression: Expression, chip: int) -> str:
        if isinstance(expression, ConstantIR):
            return f"({expression.value})"
        if isinstance(expression, Read):
            return f"{self._vector(expression.field, chip)}[{expression.field}]"
        if isinstance(expression, ReadItem):
            return self._item_source(expression, chip)
        if isinstance(expression, PayloadIR):
            return "payload"
        if isinstance(expression, IsLateIR):
            return "late"
        if isinstance(expression, Happened):
            return f"(payload >> {expression.event} & 1)"
        return self._apply_source(expression, chip)

    def _item_source(self, expression: ReadItem, chip: int) -> str:
        self._failures.append(expression.failure)
        vector = self._vector(expression.first, chip)
        index = self._source(expression.index, chip)
        number = len(self._failures) - 1
        return f"item({vector}, {expression.first}, {expression.length}, {index}, {number})"

    def _apply_source(self, expression: ApplyIR, chip: int) -> str:
        operator = expression.operator
        parts = [self._source(argument, chip) for argument in expression.arguments]
        if operator in INFIX or operator in ("and", "or"):
            return f"({f' {operator} '.join(parts)})"
        if operator == "if":
            return f"({parts[1]} if {parts[0]} else {parts[2]})"
        if operator in ("min", "max"):
            return f"{operator}({', '.join(parts)},)" if len(parts) > 1 else parts[0]
        return f"(not {parts[0]})" if operator == "not" else f"(-{parts[0]})"

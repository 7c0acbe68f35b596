"""Expressions of the intermediate form to LLVM values.

Values are 64-bit, conditions one bit. `and`, `or` and `if` are computed without branches, unless a
part can fail with an index out of range, which must then only be reached if its turn comes.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial

from modecheck.engine.language import assembly as ir
from modecheck.engine.native.frame import FALSE, I1, I64, TRUE, constant
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
from modecheck.product.subexpressions import can_fail

PRODUCTS = ("*", "//", "%")
COMPARISONS = {"==", "!=", "<", "<=", ">", ">="}


@dataclass(frozen=True, slots=True)
class Reading:
    """How an expression reads: fields as the evaluating chip sees them, the message at hand, and
    what to do when an index is out of range, which must end the current block. For the atoms of
    observers, `payload` holds events as bits.
    """

    field: Callable[[int], ir.Value]
    payload: ir.Value
    late: ir.Value
    failed: Callable[[Failure], None]


class ProductExpressionCode:
    """Emits expressions at the builder's position."""

    def __init__(self, builder: ir.Builder, function: ir.Function) -> None:
        self._builder = builder
        self._function = function

    def truth(self, expression: Expression, reading: Reading) -> ir.Value:
        """A condition as one bit."""
        if isinstance(expression, ConstantIR):
            return TRUE if expression.value else FALSE
        if isinstance(expression, IsLateIR):
            return self._builder.icmp_signed("!=", reading.late, constant(0))
        if isinstance(expression, Happened):
            bit = self._builder.and_(reading.payload, constant(1 << expression.event))
            return self._builder.icmp_unsigned("!=", bit, constant(0))
        if isinstance(expression, ApplyIR):
            if expression.operator in ("and", "or"):
                return self._chain(expression, reading)
            if expression.operator == "not":
                return self._builder.not_(self.truth(expression.arguments[0], reading))
            if expression.operator in COMPARISONS:
                one, two = (self.value(part, reading) for part in expression.arguments)
                return self._builder.icmp_signed(expression.operator, one, two)
        return self._builder.icmp_signed("!=", self.value(expression, reading), constant(0))

    def value(self, expression: Expression, reading: Reading) -> ir.Value:
        """A value as 64 bits; conditions are 0 and 1."""
        if isinstance(expression, ConstantIR):
            return constant(expression.value)
        if isinstance(expression, Read):
            return reading.field(expression.field)
        if isinstance(expression, PayloadIR):
            return reading.payload
        if isinstance(expression, ReadItem):
            return self._item(expression, reading)
        if isinstance(expression, ApplyIR) and expression.operator in (
            "if",
            "+",
            "-",
            *PRODUCTS,
            "neg",
            "min",
            "max",
        ):
            return self._arithmetic(expression, reading)
        return self._builder.zext(self.truth(expression, reading), I64)

    def _arithmetic(self, expression: ApplyIR, reading: Reading) -> ir.Value:
        if expression.operator == "if":
            return self._choice(expression, reading)
        parts = [self.value(argument, reading) for argument in expression.arguments]
        if expression.operator == "neg":
            return self._builder.neg(parts[0])
        if expression.operator in ("min", "max"):
            return self._extreme(expression.operator, parts)
        if expression.operator in ("//", "%"):
            return self._quotient(expression.operator, parts[0], parts[1])
        if expression.operator == "*":
            return self._builder.mul(parts[0], parts[1])
        if expression.operator == "+":
            return self._builder.add(parts[0], parts[1])
        return self._builder.sub(parts[0], parts[1])

    def _quotient(self, operator: str, one: ir.Value, two: ir.Value) -> ir.Value:
        """Division rounds down, as in Python; LLVM's rounds towards zero. The reader has refused
        what could divide by zero.
        """
        builder = self._builder
        rest = builder.of_two("srem", one, two)
        inexact = builder.icmp_signed("!=", rest, constant(0))
        apart = builder.icmp_signed("<", builder.of_two("xor", rest, two), constant(0))
        lower = builder.and_(inexact, apart)
        if operator == "%":
            return builder.select(lower, builder.add(rest, two), rest)
        toward_zero = builder.of_two("sdiv", one, two)
        return builder.select(lower, builder.sub(toward_zero, constant(1)), toward_zero)

    def _extreme(self, operator: str, parts: list[ir.Value]) -> ir.Value:
        best = parts[0]
        for part in parts[1:]:
            comparison = "<" if operator == "min" else ">"
            better = self._builder.icmp_signed(comparison, part, best)
            best = self._builder.select(better, part, best)
        return best

    def _choice(self, expression: ApplyIR, reading: Reading) -> ir.Value:
        test, yes, no = expression.arguments
        condition = self.truth(test, reading)
        if not can_fail(yes) and not can_fail(no):
            one, two = self.value(yes, reading), self.value(no, reading)
            return self._builder.select(condition, one, two)
        branches = [lambda: self.value(yes, reading), lambda: self.value(no, reading)]
        return self._branched(condition, branches, I64)

    def _branched(
        self, condition: ir.Value, branches: list[Callable[[], ir.Value]], kind: ir.Type
    ) -> ir.Value:
        """The value of the first branch if the condition holds, else of the second."""
        blocks = [self._function.append_basic_block("choice") for _ in branches]
        after = self._function.append_basic_block("chosen")
        self._builder.cbranch(condition, *blocks)
        incoming = []
        for block, branch in zip(blocks, branches, strict=True):
            self._builder.position_at_end(block)
            value = branch()
            incoming.append((value, self._builder.block))
            self._builder.branch(after)
        self._builder.position_at_end(after)
        phi = self._builder.phi(kind)
        for value, block in incoming:
            phi.add_incoming(value, block)
        return phi

    def _chain(self, expression: ApplyIR, reading: Reading) -> ir.Value:
        join = self._builder.and_ if expression.operator == "and" else self._builder.or_
        result = self.truth(expression.arguments[0], reading)
        for part in expression.arguments[1:]:
            if not can_fail(part):
                result = join(result, self.truth(part, reading))
            elif expression.operator == "and":
                result = self._branched(
                    result, [partial(self.truth, part, reading), lambda: FALSE], I1
                )
            else:
                result = self._branched(
                    result, [lambda: TRUE, partial(self.truth, part, reading)], I1
                )
        return result

    def _item(self, expression: ReadItem, reading: Reading) -> ir.Value:
        index = self.value(expression.index, reading)
        self.need_index(index, expression.length, lambda: reading.failed(expression.failure))
        result = reading.field(expression.first)
        for number in range(1, expression.length):
            chosen = self._builder.icmp_signed("==", index, constant(number))
            result = self._builder.select(chosen, reading.field(expression.first + number), result)
        return result

    def need_index(self, index: ir.Value, length: int, failed: Callable[[], None]) -> None:
        """Go on only if the index is within a list, else fail."""
        onward = self._function.append_basic_block("within")
        outside = self._function.append_basic_block("outside")
        within = self._builder.icmp_unsigned("<", index, constant(length))
        self._builder.cbranch(within, onward, outside)
        self._builder.position_at_end(outside)
        failed()
        self._builder.position_at_end(onward)

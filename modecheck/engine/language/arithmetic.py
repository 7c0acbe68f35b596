"""What kernels do with numbers, in LLVM's assembly: the kinds of `kinds.py`, Python's rules."""

from __future__ import annotations

import ast
from collections.abc import Callable

from modecheck.engine.language import assembly as ir
from modecheck.engine.language.kinds import BOOL, I64, Kind, NumberKind, common
from modecheck.engine.language.operands import (
    NotInLanguage,
    Operand,
    Scalar,
    View,
    adapts,
    constant,
    literal,
    scalar,
)

_PLAIN = {
    ast.Add: "add", ast.Sub: "sub", ast.Mult: "mul", ast.BitAnd: "and", ast.BitOr: "or",
    ast.BitXor: "xor", ast.LShift: "shl",
}  # fmt: skip
_ORDER = {ast.Eq: "==", ast.NotEq: "!=", ast.Lt: "<", ast.LtE: "<=", ast.Gt: ">", ast.GtE: ">="}
_OF_LITERALS: dict[type[ast.operator], Callable[[int, int], int]] = {
    ast.Add: lambda one, two: one + two,
    ast.Sub: lambda one, two: one - two,
    ast.Mult: lambda one, two: one * two,
    ast.FloorDiv: lambda one, two: one // two,
    ast.LShift: lambda one, two: one << two,
    ast.RShift: lambda one, two: one >> two,
}


def joined(one: Scalar, two: Scalar) -> NumberKind:
    """The kind of two numbers together."""
    for number, other in ((one, two), (two, one)):
        if other.literal is None and adapts(number, other.kind):
            return other.kind
    kind = common(one.kind, two.kind)
    if not isinstance(kind, NumberKind):
        raise NotInLanguage(f"{one.kind} and {two.kind} have no kind in common: convert one")
    return kind


def changed(code: ir.Builder, given: Scalar, kind: NumberKind, *, cut: bool = False) -> Scalar:
    """A number as one of another kind, which holds it unless the rest is to be `cut` off."""
    if given.kind == kind:
        return given
    if given.literal is not None:
        if not kind.holds(given.literal) and not cut:
            raise NotInLanguage(f"{given.literal} is no {kind}")
        return Scalar(kind, constant(kind, given.literal))
    if kind == BOOL:
        return Scalar(BOOL, truth(code, given))
    return Scalar(kind, code.converted(given.value, kind.type, signed=given.kind.signed))


def truth(code: ir.Builder, given: Operand) -> ir.Value:
    """Whether a number is not 0, or whether there are any elements or items."""
    if isinstance(given, Scalar):
        if given.kind == BOOL:
            return given.value
        return code.icmp_signed("!=", given.value, constant(given.kind, 0))
    size = given.sizes[0] if isinstance(given, View) else constant(I64, len(given.items))
    return code.icmp_signed("!=", size, constant(I64, 0))


def binary(code: ir.Builder, op: ast.operator, one: Operand, two: Operand) -> Scalar:
    """An operation on two numbers, which wraps around where it leaves their kind."""
    left, right = scalar(one), scalar(two)
    of_literals = _OF_LITERALS.get(type(op))
    if left.literal is not None and right.literal is not None and of_literals is not None:
        return literal(of_literals(left.literal, right.literal))
    kind = joined(left, right)
    if kind == BOOL and not isinstance(op, ast.BitAnd | ast.BitOr | ast.BitXor):
        kind = I64
    first, second = (changed(code, given, kind).value for given in (left, right))
    return Scalar(kind, _operation(code, op, kind, first, second))


def _operation(
    code: ir.Builder, op: ast.operator, kind: NumberKind, one: ir.Value, two: ir.Value
) -> ir.Value:
    if type(op) in _PLAIN:
        return code.of_two(_PLAIN[type(op)], one, two)
    if isinstance(op, ast.RShift):
        return code.of_two("ashr" if kind.signed else "lshr", one, two)
    if not isinstance(op, ast.FloorDiv | ast.Mod):
        raise NotInLanguage(f"{type(op).__name__} is not in the language of kernels")
    wants_rest = isinstance(op, ast.Mod)
    if not kind.signed:
        return code.of_two("urem" if wants_rest else "udiv", one, two)
    return _rounded_down(code, kind, one, two, wants_rest=wants_rest)


def _rounded_down(
    code: ir.Builder, kind: NumberKind, one: ir.Value, two: ir.Value, *, wants_rest: bool
) -> ir.Value:
    """A quotient or its rest as Python has them: LLVM rounds towards zero."""
    rest, zero = code.of_two("srem", one, two), constant(kind, 0)
    differ = code.icmp_signed("<", code.of_two("xor", rest, two), zero)
    below = code.of_two("and", differ, code.icmp_signed("!=", rest, zero))
    if wants_rest:
        return code.of_two("add", rest, code.select(below, two, zero))
    one_less = code.converted(below, kind.type, signed=True)
    return code.of_two("add", code.of_two("sdiv", one, two), one_less)


def unary(code: ir.Builder, op: ast.unaryop, given: Operand) -> Scalar:
    """An operation on one value."""
    if isinstance(op, ast.Not):
        return Scalar(BOOL, code.not_(truth(code, given)))
    number = scalar(given)
    if number.literal is not None and isinstance(op, ast.Invert | ast.USub):
        return literal(~number.literal if isinstance(op, ast.Invert) else -number.literal)
    if isinstance(op, ast.Invert) and number.kind != BOOL:
        return Scalar(number.kind, code.not_(number.value))
    if isinstance(op, ast.USub) and number.kind.signed:
        return Scalar(number.kind, code.neg(number.value))
    raise NotInLanguage(f"{type(op).__name__} of {number.kind} is not in the language of kernels")


def compared(code: ir.Builder, op: ast.cmpop, one: Scalar, two: Scalar) -> Scalar:
    """Whether two numbers are in an order."""
    if type(op) not in _ORDER:
        raise NotInLanguage(f"{type(op).__name__} is not in the language of kernels")
    kind = joined(one, two)
    first, second = (changed(code, given, kind).value for given in (one, two))
    compare = code.icmp_signed if kind.signed else code.icmp_unsigned
    return Scalar(BOOL, compare(_ORDER[type(op)], first, second))


def extreme(code: ir.Builder, name: str, one: Operand, two: Operand) -> Scalar:
    """The smaller or the larger of two numbers; the first where they are equal."""
    kind = joined(scalar(one), scalar(two))
    left, right = (changed(code, scalar(given), kind) for given in (one, two))
    other = compared(code, ast.Lt() if name == "min" else ast.Gt(), right, left)
    return Scalar(kind, code.select(other.value, right.value, left.value))


def joined_with(kind: Kind, given: Operand) -> Kind | None:
    """The kind that holds what is given, and all that a kind holds; None where there is none."""
    return kind if adapts(given, kind) else common(kind, given.kind)

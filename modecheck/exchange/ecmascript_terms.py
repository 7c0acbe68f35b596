"""Expressions of the model in ECMAScript, the data model of SCXML that most processors have.

Values of enumerations are strings, truths are `true` and `false`, keys of bonds are numbers. The
operators bind as in ECMA-262: `||` least, then `&&`, `==`, `<`, `+`, `*`, unary ones.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TypeGuard

from modecheck.model.parts import Chip, Device
from modecheck.model.terms import (
    Constant,
    InState,
    IsLate,
    Operation,
    Payload,
    ReadVariable,
    Term,
)
from modecheck.model.values import TRUTH, ValueType, product_bounds

CHOICE, OR, AND, EQUAL, LESS, SUM, PRODUCT, UNARY, ATOM = range(9)
INFIX = {
    "or": ("||", OR),
    "and": ("&&", AND),
    "==": ("==", EQUAL),
    "!=": ("!=", EQUAL),
    "<": ("<", LESS),
    "<=": ("<=", LESS),
    ">": (">", LESS),
    ">=": (">=", LESS),
    "+": ("+", SUM),
    "-": ("-", SUM),
    "*": ("*", PRODUCT),
}
TRUTHS = frozenset({"or", "and", "not", "==", "!=", "<", "<=", ">", ">="})
VALUE, LATE = "_event.data.value", "_event.data.late"


@dataclass(frozen=True, slots=True)
class EcmaTerms:
    """Writes the terms of a chip. `named` gives the variable of the data model that holds what is
    read of another chip, a variable or a state; `variable` the one of a variable of its own.
    """

    device: Device
    chip: Chip
    variable: Callable[[str], str]
    named: Callable[[str, str], str]

    def condition(self, term: Term, payload: ValueType | None = None) -> str:
        return self._text(term, TRUTH, CHOICE, payload)

    def value(self, term: Term, type_: ValueType | None, payload: ValueType | None = None) -> str:
        """A value for a variable or a message of this type."""
        return self._text(term, type_, CHOICE, payload)

    def _text(
        self, term: Term, want: ValueType | None, level: int, payload: ValueType | None
    ) -> str:
        match term:
            case Constant(value):
                return spelled_in_ecmascript(value, want)
            case ReadVariable(chip, variable, index):
                own = chip == self.chip.name
                name = self.variable(variable) if own else self.named(chip, variable)
                if index is None:
                    return name
                return f"{name}[{self._text(index, None, CHOICE, payload)}]"
            case InState(chip, leaves):
                return self._in_state(chip, leaves, level)
            case Payload():
                return VALUE
            case IsLate():
                return LATE
            case Operation():
                text, own_level = self._applied(term, want, payload)
                return text if own_level >= level else f"({text})"
        raise AssertionError(term)

    def _in_state(self, chip: str, leaves: frozenset[str], level: int) -> str:
        own = chip == self.chip.name
        names = names_of_states(self.device.chips[chip], leaves)
        tests = [f"In('{name}')" if own else self.named(chip, name) for name in names]
        text = " || ".join(tests) or "false"
        return f"({text})" if len(tests) > 1 and level > OR else text

    def _applied(
        self, term: Operation, want: ValueType | None, payload: ValueType | None
    ) -> tuple[str, int]:
        operator, arguments = term.operator, term.arguments
        if operator in ("min", "max"):
            inside = ", ".join(self._text(one, want, CHOICE, payload) for one in arguments)
            return f"Math.{operator}({inside})", ATOM
        if operator in ("//", "%"):
            return self._divided(operator, arguments, payload)
        if operator == "if":
            test = self._text(arguments[0], TRUTH, OR, payload)
            yes, no = (self._text(one, want, OR, payload) for one in arguments[1:])
            return f"{test} ? {yes} : {no}", CHOICE
        if operator == "not" and _is_equation(arguments[0]):
            return self._applied(Operation("!=", arguments[0].arguments), want, payload)
        if operator in ("not", "neg"):
            mark = "!" if operator == "not" else "-"
            inside = self._text(arguments[0], TRUTH if mark == "!" else want, ATOM, payload)
            return f"{mark}{inside}", UNARY
        symbol, level = INFIX[operator]
        types = [self.type_of(one, payload) for one in arguments]
        type_ = next((one for one in types if one is not None), None)
        if operator in ("and", "or"):
            type_ = TRUTH
        first, *rest = (
            self._text(one, type_, level + (n > 0 or level in (EQUAL, LESS)), payload)
            for n, one in enumerate(arguments)
        )
        return f" {symbol} ".join([first, *rest]), level

    def _divided(
        self, operator: str, arguments: tuple[Term, ...], payload: ValueType | None
    ) -> tuple[str, int]:
        """Both round down; a remainder in ECMAScript has the sign of the dividend."""
        left, right = (self._text(one, None, UNARY, payload) for one in arguments)
        if operator == "//":
            return f"Math.floor({left} / {right})", ATOM
        if all(self.bounds(one, payload)[0] >= 0 for one in arguments):
            return f"{left} % {right}", PRODUCT
        return f"{left} - {right} * Math.floor({left} / {right})", SUM

    def type_of(self, term: Term, payload: ValueType | None) -> ValueType | None:
        """The type whose values the term has; None for a constant, which has any."""
        match term:
            case ReadVariable(chip, variable):
                return self.device.chips[chip].variables[variable].type
            case Payload():
                return payload
            case InState() | IsLate():
                return TRUTH
            case Operation("if", (_, yes, no)):
                return self.type_of(yes, payload) or self.type_of(no, payload)
            case Operation(operator):
                return TRUTH if operator in TRUTHS else ValueType("number", 0, 0)
        return None

    def bounds(self, term: Term, payload: ValueType | None) -> tuple[int, int]:
        """Bounds of a number while every variable is within its range."""
        match term:
            case Constant(value):
                return value, value
            case ReadVariable() | Payload():
                type_ = self.type_of(term, payload)
                return (type_.low, type_.high) if type_ is not None else (-(1 << 40), 1 << 40)
            case Operation(operator, arguments):
                return _bounds(operator, [self.bounds(one, payload) for one in arguments])
        return 0, 1


def _is_equation(term: Term) -> TypeGuard[Operation]:
    return isinstance(term, Operation) and term.operator == "=="


def _bounds(operator: str, parts: list[tuple[int, int]]) -> tuple[int, int]:
    lows, highs = [one[0] for one in parts], [one[1] for one in parts]
    match operator:
        case "+":
            return sum(lows), sum(highs)
        case "-":
            return lows[0] - highs[1], highs[0] - lows[1]
        case "neg":
            return -highs[0], -lows[0]
        case "*" | "//" | "%":
            return product_bounds(operator, parts[0], parts[1])
        case "min":
            return min(lows), min(highs)
        case "max":
            return max(lows), max(highs)
        case "if":
            return min(lows[1:]), max(highs[1:])
    return 0, 1


def spelled_in_ecmascript(value: int, type_: ValueType | None) -> str:
    """A value of a type as a literal."""
    if type_ is not None and type_.kind == "truth":
        return "true" if value else "false"
    if type_ is not None and type_.kind == "word":
        return f"'{type_.spell(value)}'"
    return str(value)


def names_of_states(chip: Chip, leaves: frozenset[str]) -> list[str]:
    """The fewest states, composite ones first, that are these innermost ones together."""
    left, names = set(leaves), []
    for state in chip.states.values():
        if state.leaves and left.issuperset(state.leaves):
            names.append(state.name)
            left -= set(state.leaves)
    return names

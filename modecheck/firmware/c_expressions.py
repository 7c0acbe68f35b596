"""Expressions of the model in C: the same values, without a width that could overflow.

`int` may have 16 bits, and small unsigned members become `int` in arithmetic; so whatever can leave
16 bits is widened to `int32_t`, and what can leave that to `int64_t`.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from modecheck.firmware.c_names import CNames, literal
from modecheck.firmware.chip_plan import ChipPlan
from modecheck.firmware.foreign_reads import foreign_read, item_of
from modecheck.model.values import ValueType
from modecheck.product.expression_ir import (
    ApplyIR,
    ConstantIR,
    Expression,
    IsLateIR,
    PayloadIR,
    Read,
    ReadItem,
)
from modecheck.product.lowering import folded
from modecheck.product.subexpressions import can_fail
from modecheck.product.value_bounds import ValueBounds, bounds_of

Spell = Callable[[int], str]

OR, AND, COMPARED, SUM, PRODUCT, ATOM = range(6)
"""How tightly the operators bind; what binds less stands in brackets."""

INFIX = {
    "or": ("||", OR),
    "and": ("&&", AND),
    "==": ("==", COMPARED),
    "!=": ("!=", COMPARED),
    "<": ("<", COMPARED),
    "<=": ("<=", COMPARED),
    ">": (">", COMPARED),
    ">=": (">=", COMPARED),
    "+": ("+", SUM),
    "-": ("-", SUM),
    "*": ("*", PRODUCT),
}
OPPOSITES = {"==": "!=", "!=": "==", "<": ">=", ">=": "<", ">": "<=", "<=": ">"}
FUNCTIONS = {"min": "least", "max": "greatest", "//": "quotient", "%": "remainder"}
"""Operators for which C has none: functions of the chip's own code."""

FAR = "_far"
"""The end of the names of the same functions for values that more than 32 bits are needed for."""

LONGEST_LINE = 88
"""Characters of a condition in one line of C."""

NARROW = ValueBounds(-(1 << 15), (1 << 15) - 1)
WIDE = ValueBounds(-(1 << 31), (1 << 31) - 1)


def fits(inner: ValueBounds, outer: ValueBounds) -> bool:
    return outer.low <= inner.low and inner.high <= outer.high


NO_VALUE = ValueBounds(0, 0)


@dataclass(slots=True)
class Given:
    """The message that is delivered, or the signal that is heard, while an expression is evaluated:
    the bounds of its value, and the names of its values, if they have any.
    """

    bounds: ValueBounds = NO_VALUE
    spell: Spell = str


class CExpressions:
    """The expressions of one chip; `used` collects the functions that they need."""

    def __init__(self, plan: ChipPlan, names: CNames) -> None:
        self._plan = plan
        self._names = names
        self._fields = plan.product.fields
        self.used: set[str] = set()

    @property
    def instance(self) -> str:
        """The pointer to the chip's struct, in every function."""
        return "chip"

    def text(self, expression: Expression, given: Given, *, spell: Spell | None = None) -> str:
        """The expression in C; `spell` names a constant that is all of it."""
        return self._written(self._settled(expression, given), given, OR, spell or number)

    def condition(self, expression: Expression, given: Given) -> list[str]:
        """A condition as lines, each of which but the first begins with its operator."""
        return self._lines(self._settled(expression, given), given)

    def _lines(self, expression: Expression, given: Given) -> list[str]:
        text = self._written(expression, given, OR, number)
        if len(text) <= LONGEST_LINE or not isinstance(expression, ApplyIR):
            return [text]
        symbol, own = INFIX.get(expression.operator, ("", ATOM))
        if own > AND:
            return [text]
        lines: list[str] = []
        for part in expression.arguments:
            inner = self._lines(part, given)
            composed = isinstance(part, ApplyIR) and part.operator in ("and", "or")
            if composed:
                inner = [f"({inner[0]}", *(f"    {line}" for line in inner[1:])]
                inner[-1] += ")"
            lines += [f"{symbol} {inner[0]}" if lines else inner[0], *inner[1:]]
        return lines

    def _settled(self, expression: Expression, given: Given) -> Expression:
        """The expression without what a compiler warns of."""
        return self._without_decided(simplified(expression), given)

    def _without_decided(self, one: Expression, given: Given) -> Expression:
        if not isinstance(one, ApplyIR):
            return one
        parts = tuple(self._without_decided(part, given) for part in one.arguments)
        whole = folded(one.operator, parts)
        if not isinstance(whole, ApplyIR) or whole.operator not in OPPOSITES:
            return whole
        known = self._decided(whole, given)
        return whole if known is None else ConstantIR(int(known))

    def _written(self, one: Expression, given: Given, level: int, spell: Spell) -> str:
        match one:
            case ConstantIR(value):
                return spell(value)
            case Read(field):
                return self._read(field, "")
            case ReadItem(first, length, index, failure):
                return self._read(first, self.place(index, length, given, failure.text))
            case PayloadIR():
                return "value"
            case IsLateIR():
                return "late"
            case ApplyIR():
                return self._applied(one, given, level, spell)
        raise AssertionError(one)

    def _read(self, field: int, index: str) -> str:
        """A field, or that item of the list that begins with it."""
        own = self._plan.variable_fields.get(field)
        if field == self._plan.form.state_field:
            return f"{self.instance}->state"
        if own is None:
            return self._foreign(field, index)
        variable = self._plan.chip.variables[own[0]]
        text = f"{self.instance}->{self._names.member(own[0])}"
        if variable.length and index:
            text += f"[{self.index(index, own[0])}]"
        elif variable.length:
            text += f"[{own[1]}]"
        wide = not fits(ValueBounds(variable.type.low, variable.type.high), NARROW)
        return f"(int32_t){text}" if wide else text

    def place(self, index: Expression, length: int, given: Given, told: str) -> str:
        """An index into a list as 32 bits; `told` is what debug builds report if it needs more."""
        text = self.text(index, given)
        if fits(bounds_of(index, self._fields, given.bounds), WIDE):
            return text
        return self.within(text, ValueBounds(0, length - 1), told, far=True)

    def index(self, text: str, variable: str) -> str:
        """An index into a list of the chip, checked in debug builds."""
        length = self._plan.chip.variables[variable].length
        told = f"the index of {self._plan.form.name}.{variable} is outside 0 to {length - 1}"
        return self.within(text, ValueBounds(0, length - 1), told)

    def within(self, text: str, bounds: ValueBounds, told: str, *, far: bool = False) -> str:
        """A value that debug builds check; `told` is what they report. A value that is `far` may
        need more than 32 bits until it is checked.
        """
        function = f"within{FAR}" if far else "within"
        self.used.add(function)
        low, high = number(bounds.low), number(bounds.high)
        return f"{self._names.constant(function)}({text}, {low}, {high}, {literal(told)})"

    def _foreign(self, field: int, index: str) -> str:
        arguments = [self.instance]
        if index or self.place_of(field) >= 0:
            arguments.append(index if index else str(self.place_of(field)))
        return f"{self.reader(field)}({', '.join(arguments)})"

    def place_of(self, field: int) -> int:
        """The index of a field in its list or queue, or -1."""
        return item_of(self._fields[field].name)[1]

    def reader(self, field: int) -> str:
        """The function of the user's that reads something of another chip or of a link."""
        return self._names.name(*foreign_read(self._plan, field).parts)

    def _applied(self, one: ApplyIR, given: Given, level: int, spell: Spell) -> str:
        operator, arguments = one.operator, one.arguments
        if operator in FUNCTIONS:
            return self._called(one, given, spell)
        if operator == "if":
            test, yes, no = arguments
            condition = self._written(test, given, AND, number)
            values = [self._written(each, given, AND, spell) for each in (yes, no)]
            return f"({condition} ? {values[0]} : {values[1]})"
        if operator == "not":
            return self._denied(arguments[0], given, level)
        if operator == "neg":
            text = f"(-{self._widened(one, arguments[0], given)})"
            return f"(int32_t){text}" if self._is_narrowed(one, given) else text
        symbol, own = INFIX[operator]
        if own == COMPARED:
            known = self._decided(one, given)
            if known is not None:
                return str(int(known))
            parts = self._compared(arguments, given)
        elif own >= SUM:
            return self._computed(one, given, level)
        else:
            # A compiler warns where && stands in || without brackets, though it binds tighter.
            parts = tuple(self._written(each, given, COMPARED, number) for each in arguments)
        text = f" {symbol} ".join(parts)
        return f"({text})" if own < level else text

    def _computed(self, one: ApplyIR, given: Given, level: int) -> str:
        """A sum, a difference or a product."""
        symbol, own = INFIX[one.operator]
        first, *rest = one.arguments
        text = f" {symbol} ".join([self._widened(one, first, given), *self._all(rest, given)])
        if self._is_narrowed(one, given):
            return f"(int32_t)({text})"
        return f"({text})" if own < level else text

    def _denied(self, one: Expression, given: Given, level: int) -> str:
        """That something does not hold; of a comparison the opposite one."""
        if isinstance(one, ApplyIR) and one.operator in OPPOSITES:
            opposite = ApplyIR(OPPOSITES[one.operator], one.arguments)
            return self._written(opposite, given, level, number)
        text = f"!{self._written(one, given, ATOM, number)}"
        # A compiler warns where a comparison begins with !, which denies only its first part.
        return f"({text})" if level > AND else text

    def _all(self, arguments: list[Expression], given: Given) -> list[str]:
        return [self._written(each, given, ATOM, number) for each in arguments]

    def _called(self, one: ApplyIR, given: Given, spell: Spell) -> str:
        """Nested calls of a function of two values."""
        operator, arguments = one.operator, one.arguments
        named = spell if operator in ("min", "max") else number
        function = FUNCTIONS[operator] + ("" if self._all_fit(one, given, WIDE) else FAR)
        name = self._names.name(function)
        parts = [self._written(each, given, OR, named) for each in arguments]
        if len(parts) > 1:
            self.used.add(function)
        text = parts[0]
        for part in parts[1:]:
            text = f"{name}({text}, {part})"
        return f"(int32_t){text}" if self._is_narrowed(one, given) else text

    def _all_fit(self, one: ApplyIR, given: Given, outer: ValueBounds) -> bool:
        """Whether what is computed, and all that it is computed from, fits."""
        parts = [one, *one.arguments]
        if one.operator == "%":
            # Where the quotient does not fit, C does not define the remainder either.
            parts.append(ApplyIR("//", one.arguments))
        return all(fits(bounds_of(each, self._fields, given.bounds), outer) for each in parts)

    def _is_narrowed(self, one: ApplyIR, given: Given) -> bool:
        """Whether 32 bits hold the result, though more were needed on the way to it."""
        own = bounds_of(one, self._fields, given.bounds)
        return fits(own, WIDE) and not self._all_fit(one, given, WIDE)

    def _widened(self, whole: ApplyIR, first: Expression, given: Given) -> str:
        """The first operand, so wide that the result and each operand fit."""
        text = self._written(first, given, ATOM, number)
        if not self._all_fit(whole, given, WIDE):
            return f"(int64_t){text}"
        if self._all_fit(whole, given, NARROW) or isinstance(first, PayloadIR):
            return text
        return f"(int32_t){text}"

    def _decided(self, one: ApplyIR, given: Given) -> bool | None:
        """The result of a comparison that always has the same: a compiler warns of it. What is not
        read does not fail, so that an index that might be out of range is no matter.
        """
        first, second = (bounds_of(each, self._fields, given.bounds) for each in one.arguments)
        same = one.arguments[0] == one.arguments[1]
        apart = first.high < second.low or second.high < first.low
        return {
            "==": True if same else False if apart else None,
            "!=": False if same else True if apart else None,
            "<": _less(first, second, equal=same),
            ">": _less(second, first, equal=same),
            "<=": _denied(_less(second, first, equal=same)),
            ">=": _denied(_less(first, second, equal=same)),
        }[one.operator]

    def _compared(self, arguments: tuple[Expression, ...], given: Given) -> tuple[str, ...]:
        spells = [self._spelling(each, given) for each in arguments]
        named = next((one for one in spells if one is not None), number)
        return tuple(self._written(each, given, SUM, named) for each in arguments)

    def _spelling(self, one: Expression, given: Given) -> Spell | None:
        """How constants are called that are compared with an expression."""
        if isinstance(one, PayloadIR):
            return given.spell
        if isinstance(one, Read):
            return self.spelling_of(one.field)
        if isinstance(one, ReadItem):
            return self.spelling_of(one.first)
        return None

    def spelling_of(self, field: int) -> Spell:
        """The names of the values of a field."""
        one = self._fields[field]
        plan = self._plan
        if field == plan.form.state_field:
            return lambda value: self._names.constant("in", plan.form.leaves[value])
        if field in plan.variable_fields:
            return self._words(one.type, (plan.variable_fields[field][0],))
        reading = foreign_read(plan, field)
        if one.owner < 0 or field == plan.product.chips[one.owner].state_field:
            return lambda value: self._names.constant(*reading.values_of, reading.values[value])
        return self._words(one.type, reading.values_of)

    def _words(self, type_: ValueType | None, parts: tuple[str, ...]) -> Spell:
        if type_ is not None and type_.kind == "truth":
            return lambda value: "true" if value else "false"
        if type_ is None or type_.kind != "word":
            return number
        return lambda value: self._names.constant(*parts, type_.spell(value))

    def spelling_of_message(self, queue: int, code: int) -> Spell:
        """The names of the values that a message carries."""
        one = self._plan.product.queues[queue]
        message = one.messages[code - 1]
        return self._words(message.type, (one.name, message.name))

    def spelling_of_signal(self, signal: int) -> Spell:
        """The names of the values that a signal carries."""
        product = self._plan.product
        return self._words(product.signal_types[signal], ("signal", product.signals[signal]))


def simplified(expression: Expression) -> Expression:
    """The expression without a choice between two equal values, and without a conjunction that asks
    one thing for two values: a compiler warns of it.
    """
    if not isinstance(expression, ApplyIR):
        return expression
    parts = tuple(simplified(one) for one in expression.arguments)
    if expression.operator == "if" and parts[1] == parts[2] and not can_fail(parts[0]):
        return parts[1]
    whole = folded(expression.operator, parts)
    if not isinstance(whole, ApplyIR):
        return whole
    for operator, compared, known in (("and", "==", 0), ("or", "!=", 1)):
        if whole.operator == operator and not can_fail(whole):
            values = _compared_with(whole, operator, compared)
            if any(len(some) > 1 for some in values.values()):
                return ConstantIR(known)
    return whole


def _compared_with(
    whole: ApplyIR, operator: str, compared: str
) -> dict[Expression, set[Expression]]:
    """The constants with which all parts of a conjunction compare one thing each."""
    found: dict[Expression, set[Expression]] = {}
    for part in whole.arguments:
        if not isinstance(part, ApplyIR):
            continue
        if part.operator == operator:
            for one, values in _compared_with(part, operator, compared).items():
                found.setdefault(one, set()).update(values)
        elif part.operator == compared and isinstance(part.arguments[1], ConstantIR):
            found.setdefault(part.arguments[0], set()).add(part.arguments[1])
    return found


def _less(first: ValueBounds, second: ValueBounds, *, equal: bool) -> bool | None:
    """Whether a value is always less than another one, or never; None if it depends."""
    if equal or first.low >= second.high:
        return False
    return True if first.high < second.low else None


def _denied(known: bool | None) -> bool | None:
    return None if known is None else not known


def number(value: int) -> str:
    """A constant of at most 32 bits; the least number has no constant of its own in C."""
    return "(-2147483647 - 1)" if value == WIDE.low else str(value)


def stored_as(type_: ValueType) -> str:
    """The smallest type of <stdint.h> for a variable."""
    if type_.kind == "truth":
        return "bool"
    for bits in (8, 16, 32):
        if type_.low >= 0 and type_.high < 1 << bits and bits < 32:
            return f"uint{bits}_t"
        if -(1 << bits - 1) <= type_.low and type_.high < 1 << bits - 1:
            return f"int{bits}_t"
    raise ValueError(type_)

"""Translates terms of the model into expressions over fields."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from modecheck.model import terms
from modecheck.model.parts import Chip
from modecheck.model.places import Place
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

FALSE = ConstantIR(0)
TRUE = ConstantIR(1)


@dataclass(frozen=True, slots=True)
class Addresses:
    """Where the product keeps (chip, variable), and the state of each chip; and the numbers of the
    requested events.
    """

    variables: Mapping[tuple[str, str], int]
    states: Mapping[str, int]
    chips: Mapping[str, Chip]
    events: Mapping[terms.Happens, int] = field(default_factory=dict)


def lowered(term: terms.Term, addresses: Addresses, place: Place) -> Expression:
    """The expression of a term, constants folded. `place` is reported for an index out of range."""
    if isinstance(term, terms.Constant):
        return ConstantIR(term.value)
    if isinstance(term, terms.ReadVariable):
        return _variable(term, addresses, place)
    if isinstance(term, terms.InState):
        return _in_state(term, addresses)
    if isinstance(term, terms.Payload):
        return PayloadIR()
    if isinstance(term, terms.IsLate):
        return IsLateIR()
    if isinstance(term, terms.Happens):
        return Happened(addresses.events[term])
    arguments = tuple(lowered(argument, addresses, place) for argument in term.arguments)
    return folded(term.operator, arguments)


def _variable(term: terms.ReadVariable, addresses: Addresses, place: Place) -> Expression:
    first = addresses.variables[term.chip, term.variable]
    if term.index is None:
        return Read(first)
    index = lowered(term.index, addresses, place)
    length = addresses.chips[term.chip].variables[term.variable].length
    if isinstance(index, ConstantIR) and 0 <= index.value < length:
        return Read(first + index.value)
    return ReadItem(first, length, index, index_failure(term.chip, term.variable, length, place))


def index_failure(chip: str, variable: str, length: int, place: Place) -> Failure:
    text = f"the index of {chip}.{variable} is outside 0 to {length - 1}"
    return Failure("out-of-range", f"{chip}.{variable}", text, place)


def _in_state(term: terms.InState, addresses: Addresses) -> Expression:
    leaves = addresses.chips[term.chip].leaves
    numbers = [number for number, leaf in enumerate(leaves) if leaf in term.leaves]
    if len(numbers) == len(leaves):
        return TRUE
    field = Read(addresses.states[term.chip])
    tests = tuple(ApplyIR("==", (field, ConstantIR(number))) for number in numbers)
    return folded("or", tests)


def folded(operator: str, arguments: tuple[Expression, ...]) -> Expression:
    """The operator applied, with constants folded."""
    if operator in ("and", "or"):
        return _folded_chain(operator, arguments)
    if operator == "if" and isinstance(arguments[0], ConstantIR):
        return arguments[1] if arguments[0].value else arguments[2]
    values = [argument.value for argument in arguments if isinstance(argument, ConstantIR)]
    if len(values) == len(arguments):
        return ConstantIR(_computed(operator, values))
    return ApplyIR(operator, arguments)


def _folded_chain(operator: str, arguments: tuple[Expression, ...]) -> Expression:
    neutral, absorbing = (TRUE, FALSE) if operator == "and" else (FALSE, TRUE)
    kept: list[Expression] = []
    for argument in arguments:
        if argument == absorbing:
            # What stands before may still fail with an index out of range, so it stays.
            failing = tuple(part for part in kept if can_fail(part))
            return ApplyIR(operator, (*failing, absorbing)) if failing else absorbing
        if argument != neutral:
            kept.append(argument)
    if len(kept) < 2:
        return kept[0] if kept else neutral
    return ApplyIR(operator, tuple(kept))


def _computed(operator: str, values: list[int]) -> int:
    first = values[0]
    second = values[1] if len(values) > 1 else 0
    results = {
        "not": 1 - first,
        "neg": -first,
        "+": first + second,
        "-": first - second,
        "*": first * second,
        "//": first // (second or 1),  # every operator is computed, whichever is asked for
        "%": first % (second or 1),
        "==": first == second,
        "!=": first != second,
        "<": first < second,
        "<=": first <= second,
        ">": first > second,
        ">=": first >= second,
        "min": min(values),
        "max": max(values),
    }
    return int(results[operator])

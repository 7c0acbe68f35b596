"""What names can mean at one place of a model, and why one may mean nothing."""

from __future__ import annotations

import re
from collections.abc import Collection, Mapping
from dataclasses import dataclass, field, replace

from modecheck.model.copies import ALONE, OWN_NUMBER, Copies, numbered
from modecheck.model.event_calls import Surroundings
from modecheck.model.parts import State
from modecheck.model.shared_values import NOTHING_SHARED, NamedConstant, SharedValues
from modecheck.model.syntax import Tree
from modecheck.model.terms import Term
from modecheck.model.times import Timer
from modecheck.model.values import TRUTH, ValueType, number_type, word_type
from modecheck.model.variables import Variable

DECIMAL = re.compile(r"-?[0-9]{1,10}")


@dataclass(eq=False)
class MeaningError(Exception):
    """A name or a type does not fit at `offset` (0-based, in characters)."""

    message: str
    offset: int
    width: int
    expected: str = ""
    word: str = ""
    choices: Collection[str] = ()


class Unknowable(Exception):
    """The meaning cannot be resolved, because of an error elsewhere that has already been noted."""


@dataclass(frozen=True, slots=True)
class ChipOutline:
    """What other chips may read of a chip: its states and its variables.

    `broken` names the variables that could not be read. `timers` are for its own rules; its
    `constants` include those of the device.
    """

    name: str
    states: Mapping[str, State]
    variables: Mapping[str, Variable]
    broken: frozenset[str] = frozenset()
    timers: Mapping[str, Timer] = field(default_factory=dict)
    constants: Mapping[str, NamedConstant] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class OptionValue:
    """An option in the variant at hand: the type of all its choices, and the chosen value."""

    type: ValueType
    value: int


@dataclass(frozen=True, slots=True)
class Scope:
    """What names can mean at one place of the model.

    `own` is the chip whose rule it is; `in_event` allows `late`, and `payload` is the type of
    `value`; `conditions` are the modes, where modes may be named; `steps` is what steps consist of,
    where events of a step may be named; `broken` names what could not be read: chips, links,
    options, modes and lists. `copies` says which names stand for several chips, and `lists` are
    those of the device; `shared` is what all chips may name.
    """

    chips: Mapping[str, ChipOutline]
    broken: frozenset[str] = frozenset()
    options: Mapping[str, OptionValue] = field(default_factory=dict)
    own: ChipOutline | None = None
    parameters: Mapping[str, str] = field(default_factory=dict)
    conditions: Mapping[str, Term] = field(default_factory=dict)
    in_event: bool = False
    payload: ValueType | None = None
    steps: Surroundings | None = None
    copies: Copies = ALONE
    lists: Mapping[str, tuple[Typed, ...]] = field(default_factory=dict)
    shared: SharedValues = NOTHING_SHARED

    def for_copy(self, name: str, number: int) -> Scope:
        """The scope in which `name` is that one of its copies, and `i` its number."""
        own = {name: numbered(name, number), OWN_NUMBER: str(number)}
        copies = replace(self.copies, own=self.copies.counts[name])
        return replace(self, parameters={**self.parameters, **own}, copies=copies)

    def words(self) -> list[str]:
        """Every name that can stand alone, for suggestions."""
        own = [*self.own.variables, *self.own.constants, "state"] if self.own else []
        event = ["late", *(["value"] if self.payload else [])] if self.in_event else []
        known = [*self.parameters, *self.options, *self.conditions, *self.chips]
        return [*own, *self.shared.constants, *known, *event]


@dataclass(frozen=True, slots=True)
class Typed:
    term: Term
    type: ValueType


def option_value(choices: tuple[str, ...], chosen: str) -> OptionValue:
    """An option as a constant: booleans and integers as such, anything else as words."""
    if all(choice in ("true", "false") for choice in choices):
        return OptionValue(TRUTH, int(chosen == "true"))
    if all(map(DECIMAL.fullmatch, choices)):
        numbers = [int(choice) for choice in choices]
        return OptionValue(number_type(min(numbers), max(numbers)), int(chosen))
    return OptionValue(word_type(choices), choices.index(chosen))


def error_at(
    tree: Tree, message: str, *, expected: str = "", word: str = "", choices: Collection[str] = ()
) -> MeaningError:
    """An error at the place of a part of an expression."""
    return MeaningError(message, tree.offset, tree.width, expected, word, choices)

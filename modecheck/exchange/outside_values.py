"""What a chip reads of others, as variables of its data model that the outside keeps up to date."""

from __future__ import annotations

from collections.abc import Collection, Iterator
from dataclasses import dataclass

from modecheck.exchange.ecmascript_terms import names_of_states
from modecheck.exchange.scxml_data import free_id
from modecheck.model.parts import Chip, Device, Rule
from modecheck.model.terms import InState, ReadVariable, Term, parts_of
from modecheck.model.values import TRUTH, ValueType
from modecheck.product.rule_order import condition_of


@dataclass(frozen=True, slots=True)
class OutsideValue:
    """A state or a variable (`member`) of another chip, and the id of the variable for it. A list
    has a length; `start` is what holds when the device starts.
    """

    chip: str
    member: str
    id: str
    type: ValueType
    start: tuple[int, ...]
    length: int = 0

    @property
    def key(self) -> tuple[str, str]:
        return self.chip, self.member

    @property
    def text(self) -> str:
        """As an expression of the model names it."""
        return f"{self.chip}.{self.member}"


def _terms_of(rule: Rule) -> Iterator[Term]:
    """Every expression of a rule."""
    condition = condition_of(rule)
    if condition is not None:
        yield condition
    for assignment in rule.assignments:
        yield from assignment.values
        yield from (one.index for one in assignment.targets if one.index is not None)
    yield from (send.value for send in rule.sends if send.value is not None)
    yield from (given.value for given in rule.signalled if given.value is not None)


def outside_values(
    device: Device, chip: Chip, taken: Collection[str]
) -> dict[tuple[str, str], OutsideValue]:
    """By chip and member, in the order in which rules read them; no id is one that is `taken`."""
    found: dict[tuple[str, str], OutsideValue] = {}
    for rule in chip.rules:
        for other, member in read_by(device, rule):
            if (other, member) not in found:
                ids = {*taken, *(one.id for one in found.values())}
                found[other, member] = _value(device, other, member, ids)
    return found


def read_by(device: Device, rule: Rule) -> dict[tuple[str, str], None]:
    """What a rule reads of other chips, by chip and member, in order."""
    parts = (part for term in _terms_of(rule) for part in parts_of(term))
    return {key: None for part in parts for key in _read(device, rule.chip, part)}


def _read(device: Device, own: str, term: Term) -> Iterator[tuple[str, str]]:
    if isinstance(term, ReadVariable) and term.chip != own:
        yield term.chip, term.variable
    elif isinstance(term, InState) and term.chip != own:
        for name in names_of_states(device.chips[term.chip], term.leaves):
            yield term.chip, name


def _value(device: Device, chip: str, member: str, taken: Collection[str]) -> OutsideValue:
    name = free_id(f"{chip}_{member}".replace("[", "_").replace("]", ""), taken)
    other = device.chips[chip]
    if member in other.variables:
        variable = other.variables[member]
        return OutsideValue(chip, member, name, variable.type, variable.start, variable.length)
    within = other.initial_leaf in other.states[member].leaves
    return OutsideValue(chip, member, name, TRUTH, (int(within),))

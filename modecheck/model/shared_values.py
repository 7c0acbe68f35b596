"""Constants and enumerations: values that a device, or a chip, gives a name; and which signals
carry a value.

A constant is an integer, true or false, or a table of them. An index into a table has to be within
it whatever the variables hold, which their ranges show when the model is read.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

from modecheck.model.copies import unnumbered
from modecheck.model.places import Place
from modecheck.model.terms import Constant, Operation, Term
from modecheck.model.values import TRUTH, ValueType
from modecheck.model.yaml_nodes import Node, ScalarNode


@dataclass(frozen=True, slots=True)
class NamedConstant:
    """Its values, one for each item of a table; `table` is false for a single one."""

    name: str
    type: ValueType
    values: tuple[int, ...]
    table: bool
    place: Place

    def spelled(self) -> str:
        """As it is written in a model."""
        items = ", ".join(map(self.type.spell, self.values))
        return f"[{items}]" if self.table else items


@dataclass(frozen=True, slots=True)
class ValuedSignal:
    """A signal that carries a value; `type` is None if its declaration has an error."""

    name: str
    type: ValueType | None
    place: Place


@dataclass(frozen=True, slots=True)
class SharedValues:
    """What all chips of a device may name: constants, enumerations with their words, and signals
    that carry a value. Of signals with a number, as in `tap[2]`, all have the type of `tap`.
    """

    constants: Mapping[str, NamedConstant] = field(default_factory=dict)
    enumerations: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    signals: Mapping[str, ValuedSignal] = field(default_factory=dict)

    def signal_type(self, name: str) -> ValueType | None:
        """The type of the value that a signal carries; None if it carries none."""
        declared = self.signals.get(unnumbered(name))
        return None if declared is None else declared.type

    @property
    def has_unclear_signals(self) -> bool:
        return any(map(self.is_unclear, self.signals))

    def is_unclear(self, signal: str) -> bool:
        """Whether the declaration of a signal has an error, which has been noted."""
        declared = self.signals.get(unnumbered(signal))
        return declared is not None and declared.type is None

    def number(self, node: Node) -> Node:
        """A constant's value in place of its name; any other node unchanged."""
        found = self.constants.get(node.text.strip()) if isinstance(node, ScalarNode) else None
        if found is None or found.table or found.type == TRUTH:
            return node
        assert isinstance(node, ScalarNode)
        return replace(node, text=str(found.values[0]))


NOTHING_SHARED = SharedValues()


def item_of(values: Sequence[int], index: Term, first: int = 0) -> Term:
    """The item of a table at an index that is within it: a decision tree, as deep as the logarithm
    of its length, so that no later stage recurses deeply.
    """
    if len(set(values)) == 1:
        return Constant(values[0])
    middle = len(values) // 2
    test = Operation("<", (index, Constant(first + middle)))
    low = item_of(values[:middle], index, first)
    return Operation("if", (test, low, item_of(values[middle:], index, first + middle)))

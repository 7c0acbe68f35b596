"""Constants and enumerations: values that a device, or a chip, gives a name.

A constant is an integer, true or false, or a table of them. An index into a table has to be within
it whatever the variables hold, which their ranges show when the model is read.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

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
class SharedValues:
    """What all chips of a device may name: constants, and enumerations with their words."""

    constants: Mapping[str, NamedConstant] = field(default_factory=dict)
    enumerations: Mapping[str, tuple[str, ...]] = field(default_factory=dict)

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

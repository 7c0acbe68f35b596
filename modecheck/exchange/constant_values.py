"""The texts of a chip's rules with the values of its own constants in place of their names.

A table of states and events has no place for constants of one chip; those of the device stand in
the device file, and may have the same names.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from modecheck.exchange.expression_text import expression_text
from modecheck.model.parts import Chip, Device
from modecheck.model.shared_values import NamedConstant
from modecheck.model.syntax import (
    Apply,
    Member,
    Name,
    Number,
    Tree,
    parse_assignment,
    parse_condition,
    parse_send,
    parse_signal,
)
from modecheck.model.values import TRUTH


@dataclass(frozen=True, slots=True)
class ConstantValues:
    """The constants of a chip, by their names. A text without them stays as it is."""

    constants: Mapping[str, NamedConstant]

    def condition(self, text: str) -> str:
        """A condition with values."""
        tree = parse_condition(text) if self.constants and text else None
        return text if tree is None or not self._has(tree) else expression_text(self._filled(tree))

    def assignment(self, text: str) -> str:
        """`a = 1`, `a, b = b, a`, `a += 1` with values; only the first two forms are written."""
        if not self.constants:
            return text
        read = parse_assignment(text)
        if not any(map(self._has, (*read.targets, *read.values))):
            return text
        sides = (
            ", ".join(expression_text(self._filled(one)) for one in side)
            for side in (read.targets, read.values)
        )
        return " = ".join(sides)

    def send(self, text: str) -> str:
        """`hello(n) via up` with values."""
        read = parse_send(text) if self.constants else None
        if read is None or read.value is None or not self._has(read.value):
            return text
        via = f" via {expression_text(read.link)}" if read.link is not None else ""
        return f"{read.message.text}({expression_text(self._filled(read.value))}){via}"

    def signal(self, text: str) -> str:
        """`level(n)` with values."""
        read = parse_signal(text) if self.constants else None
        if read is None or read.value is None or not self._has(read.value):
            return text
        value = expression_text(self._filled(read.value))
        return f"{expression_text(read.signal)}({value})"

    def _has(self, tree: Tree) -> bool:
        return self._filled(tree) != tree

    def _filled(self, tree: Tree) -> Tree:
        match tree:
            case Name():
                return self._name(tree)
            case Apply(arguments=arguments):
                return replace(tree, arguments=tuple(map(self._filled, arguments)))
            case Member(item, choices):
                filled = tuple(map(self._filled, choices))
                return replace(tree, item=self._filled(item), choices=filled)
        return tree

    def _name(self, name: Name) -> Tree:
        index = self._filled(name.index) if name.index is not None else None
        constant = self.constants.get(name.parts[0]) if len(name.parts) == 1 else None
        if constant is None or constant.table != (index is not None):
            return replace(name, index=index)
        return item_of(constant, constant.values, index, 0)


def item_of(constant: NamedConstant, values: Sequence[int], index: Tree | None, first: int) -> Tree:
    """The value of a constant, or an item of its table, of which `values` begin at `first`."""
    if index is None or len(set(values)) == 1:
        return _value(constant, values[0])
    if isinstance(index, Number):
        return _value(constant, values[index.value - first])
    middle = len(values) // 2
    test = Apply("<", (index, Number(first + middle, 0, 0)), 0, 0)
    low = item_of(constant, values[:middle], index, first)
    high = item_of(constant, values[middle:], index, first + middle)
    return Apply("if", (test, low, high), 0, 0)


def _value(constant: NamedConstant, value: int) -> Tree:
    if constant.type == TRUTH:
        return Name((constant.type.spell(value),), 0, 0)
    return Number(value, 0, 0)


def own_constants(device: Device, chip: Chip) -> tuple[ConstantValues, list[NamedConstant]]:
    """The constants of a chip, and those that are called as a value of some variable or message:
    where these are named, it depends on the place what is meant.
    """
    types = [
        *(one.type for other in device.chips.values() for one in other.variables.values()),
        *(one.type for link in device.links.values() for one in link.carries.values()),
        *(one.type for one in device.shared.signals.values()),
    ]
    words = {word for one in types if one is not None for word in one.words}
    plain = {name: one for name, one in chip.constants.items() if name not in words}
    return ConstantValues(plain), [one for name, one in chip.constants.items() if name in words]

"""With what a chip begins: `start` of its variables and `initial` state, or several of them.

Where several are given, a chip may begin with each, and so may it after a power cut: nobody knows
with which. All chips together may begin in every combination.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping
from math import prod

from modecheck.model.errors import InputError, InvalidInput, Notebook
from modecheck.model.parts import Chip, Device, State
from modecheck.model.phrases import Phrases
from modecheck.model.places import Place
from modecheck.model.shapes import Shapes
from modecheck.model.shared_values import SharedValues
from modecheck.model.values import ValueType
from modecheck.model.yaml_nodes import MappingNode, Node, ScalarNode, SequenceNode, kind_of

ANY = "any"
CHIP_FAULTS = ("power_cut", "reset")
MOST_STARTS = 65_536
"""States in which a device may begin: more would take longer to list than to explore."""
MOST_RESTARTS = 64
"""Ways in which a chip may begin again after a power cut: each is a step of its own, in code."""


class StartReader:
    """Reads with what one chip begins."""

    def __init__(self, shapes: Shapes, phrases: Phrases, shared: SharedValues) -> None:
        self._shapes = shapes
        self._notes = shapes.notes
        self._phrases = phrases
        self._shared = shared

    def values(
        self, node: Node | None, type_: ValueType, length: int
    ) -> tuple[tuple[int, ...], ...]:
        """For the value of a variable, or each of the items of a list, all with which it may
        start.
        """
        count = max(length, 1)
        if node is None:
            return ((type_.first,),) * count
        if isinstance(node, SequenceNode) and length:
            found = tuple(self._values(item, type_) for item in node.items)
            if len(found) != length:
                message = f"{len(found)} start values for a list of {length}"
                self._notes.add(message, node.place, expected=f"{length} values, or one for all")
                return ((type_.first,),) * count
            return found
        return (self._values(node, type_),) * count

    def _values(self, node: Node, type_: ValueType) -> tuple[int, ...]:
        """One value, those of a list, or any."""
        if isinstance(node, SequenceNode):
            return self._several(node, type_)
        if isinstance(node, ScalarNode) and type_.value_of(ANY) is None:
            filled = self._phrases.fill(node)
            if filled.text == ANY and self._shared.number(filled) is filled:
                return self._any(node, type_)
        value = self._value(node, type_)
        return (type_.first if value is None else value,)

    def _several(self, node: SequenceNode, type_: ValueType) -> tuple[int, ...]:
        found: list[int] = []
        for item in node.items:
            value = self._value(item, type_)
            if value is None:
                continue
            if value in found:
                message = f"the start value {type_.spell(value)} is given twice"
                self._notes.add(message, item.place, expected="different values")
            else:
                found.append(value)
        if not node.items:
            message = "a list without start values"
            self._notes.add(message, node.place, expected="a value, several, or any")
        return tuple(found) or (type_.first,)

    def _any(self, node: Node, type_: ValueType) -> tuple[int, ...]:
        count = type_.high - type_.low + 1
        if count > MOST_STARTS:
            message = f"any of {count:,} values are too many to start with"
            self._notes.add(message, node.place, expected=f"at most {MOST_STARTS:,}, or a list")
            return (type_.first,)
        return tuple(range(type_.low, type_.high + 1))

    def _value(self, node: Node, type_: ValueType) -> int | None:
        value = None
        if isinstance(node, ScalarNode):
            filled = self._phrases.fill(node)
            number = self._shared.number(filled)
            filled = number if isinstance(number, ScalarNode) else filled
            value = filled.integer if type_.kind in ("number", "bond") else None
            if value is None:
                value = type_.value_of(filled.text)
        if value is None or not type_.holds(value):
            self._notes.add(
                f"{kind_of(node)} cannot be used as a start value", node.place, expected=str(type_)
            )
            return None
        return value

    def state(self, body: MappingNode, children: list[str]) -> str | None:
        """The initial state among `children`; by default the first, as in SCXML."""
        node = body.get("initial")
        if node is None:
            return children[0] if children else None
        scalar = self._shapes.scalar(node, "initial", "the name of a state")
        return None if scalar is None else self._known(scalar, children)

    def _known(self, scalar: ScalarNode, states: Collection[str]) -> str | None:
        empty = "states inside this state (it has none)"
        return self._shapes.known(self._phrases.fill(scalar), "state", states, empty=empty)

    def states(
        self, body: MappingNode, tops: list[str], states: Mapping[str, State]
    ) -> tuple[str, ...]:
        """The states in which a chip may begin; nothing if they cannot be read. Several may be
        inside others; any are all that have none inside.
        """
        node = body.get("initial")
        if isinstance(node, SequenceNode):
            return self._several_states(node, states)
        text = self._phrases.fill(node).text if isinstance(node, ScalarNode) else ""
        if text == ANY and ANY not in states:
            return tuple(name for name, state in states.items() if not state.composite)
        found = self.state(body, tops)
        return () if found is None else (found,)

    def _several_states(self, node: SequenceNode, states: Mapping[str, State]) -> tuple[str, ...]:
        found: dict[str, str] = {}
        for scalar in self._shapes.scalars(node, "an initial state", "the name of a state"):
            name = self._known(scalar, states)
            leaf = "" if name is None else states[name].initial_leaf
            if name is None or leaf not in found:
                found[leaf] = name or ""
                continue
            how = "" if name == found[leaf] == leaf else f": {name} begins there, too"
            message = f"the initial state {leaf!r} is given twice{how}"
            self._notes.add(message, scalar.place, expected="different states")
        if not node.items:
            message = "a list without initial states"
            self._notes.add(message, node.place, expected="a state, several, or any")
        return tuple(name for name in found.values() if name)


def note_too_many_starts(device: Device, notes: Notebook) -> None:
    """Note an error where a device can begin in more states than can be looked at."""
    ways = [way for chip in device.chips.values() for way in _ways(chip)]
    _note(ways, MOST_STARTS, "the device can start in {} states", notes)
    cut = {name for one in device.faults if one.kind in CHIP_FAULTS for name in one.targets}
    for name, chip in device.chips.items():
        if name in cut:
            again = list(_ways(chip, persistent=False))
            _note(again, MOST_RESTARTS, f"{name} can restart in {{}} ways", notes)


def _note(ways: list[tuple[int, Place]], most: int, message: str, notes: Notebook) -> None:
    """Blame what can begin in most ways, if there are too many in all."""
    count = prod(number for number, _ in ways)
    if count > most:
        place = max(ways, key=lambda way: way[0])[1]
        notes.add(message.format(f"{count:,}"), place, expected=f"at most {most:,}")


def _ways(chip: Chip, *, persistent: bool = True) -> Iterator[tuple[int, Place]]:
    """In how many ways the parts of a chip can begin, and where they stand."""
    yield len(chip.initial_leaves), chip.place
    for variable in chip.variables.values():
        if persistent or not variable.persistent:
            yield prod(map(len, variable.starts)), variable.place


def need_one_start(device: Device, what: str, chips: Collection[str] = ()) -> None:
    """Raises `InvalidInput`, with the places, if one of these chips, or any, may begin in several
    ways: `what` says why that is too many.
    """
    errors = [
        InputError(f"{name} may start in several ways, and {what}", place, "one start")
        for name, chip in device.chips.items()
        if not chips or name in chips
        for number, place in _ways(chip)
        if number > 1
    ]
    if errors:
        raise InvalidInput(errors)

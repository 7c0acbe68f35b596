"""Read what a chip declares: its states and its variables, with parameters filled in."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field, replace

from modecheck.model.key_readers import KeyReader
from modecheck.model.keys import keys_of
from modecheck.model.parts import State
from modecheck.model.phrases import Phrases
from modecheck.model.places import Place
from modecheck.model.shapes import Shapes
from modecheck.model.shared_values import NOTHING_SHARED, SharedValues
from modecheck.model.starts import StartReader
from modecheck.model.times import Timer
from modecheck.model.values import (
    MOST_KEYS,
    TRUTH,
    ValueType,
    bond_type,
    number_type,
    word_type,
)
from modecheck.model.variables import Variable
from modecheck.model.yaml_nodes import (
    LARGEST_INTEGER,
    MappingNode,
    Node,
    ScalarNode,
    SequenceNode,
    kind_of,
    shortened,
)

TYPE_KEYS = ("bool", "range", "one_of", "bond")
LONGEST_LIST = 64
"""Items of a list variable; real devices have a handful of slots or profiles."""


@dataclass(slots=True)
class StateReading:
    """The states of one chip as they are read: the finished ones, and the nodes under each; and
    what they mask.
    """

    states: dict[str, State] = field(default_factory=dict)
    bodies: dict[str, MappingNode] = field(default_factory=dict)
    masked: list[ScalarNode] = field(default_factory=list)


class OutlineReader:
    """Reads the declarations of one chip."""

    def __init__(
        self, shapes: Shapes, phrases: Phrases, shared: SharedValues = NOTHING_SHARED
    ) -> None:
        self._shapes = shapes
        self._phrases = phrases
        self._shared = shared
        self._notes = shapes.notes
        self._starts = StartReader(shapes, phrases, shared)

    def states(self, body: MappingNode) -> StateReading:
        """All states, outer before inner, in document order."""
        reading = StateReading()
        self._read_states(body, None, reading)
        node = body.get("states")
        if not reading.states and (node is None or is_empty(node)):
            self._notes.add("the chip has no states", body.place, expected="the key 'states'")
        return reading

    def _children(self, body: MappingNode) -> Iterator[tuple[ScalarNode, MappingNode]]:
        node = body.get("states")
        if isinstance(node, SequenceNode):
            for item in self._shapes.scalars(node, "a state", "the name of a state"):
                yield item, MappingNode({}, {}, item.place)
            return
        mapping = self._shapes.mapping(node, "states")
        for name, child in (mapping.entries if mapping else {}).items():
            record = self._shapes.record(child, f"the state {shortened(name)!r}", keys_of("state"))
            if mapping is not None and record is not None:
                yield mapping.keys[name], record

    def _read_states(
        self, body: MappingNode, parent: State | None, reading: StateReading
    ) -> list[str]:
        """The names of the states under a body."""
        names = []
        for key, child in self._children(body):
            name = self._shapes.identifier(key, "the name of a state")
            if name is None:
                continue
            if name in reading.states:
                first = reading.states[name].place.line
                message = f"the state {name!r} is declared twice, first in line {first}"
                self._notes.add(message, key.place, expected="different names within a chip")
                continue
            self._read_state(key, child, parent, reading)
            names.append(name)
        return names

    def _read_state(
        self, key: ScalarNode, body: MappingNode, parent: State | None, reading: StateReading
    ) -> None:
        """A state with all inside it; it rests, and draws current, as the one around it does."""
        name = key.text
        reading.bodies[name] = body
        values = KeyReader(self._shapes, self._phrases).values(keys_of("state"), body)
        masked: tuple[ScalarNode, ...] = values.pop("masks")
        reading.masked += masked
        values["masks"] = tuple(scalar.text for scalar in masked)
        rest, around, depth = False, None, 0
        if parent is not None:
            rest, around, depth = parent.rest, parent.name, parent.depth + 1
            values["current"] = parent.current if values["current"] is None else values["current"]
        rest = self._shapes.truth(body.get("rest"), "rest", default=rest)
        state = State(name, around, (), None, (name,), name, rest, depth, key.place, **values)
        reading.states[name] = state
        children = self._read_states(body, state, reading)
        initial = self._starts.state(body, children)
        if not children or initial is None:
            return
        reading.states[name] = replace(
            state,
            children=tuple(children),
            initial=initial,
            leaves=tuple(leaf for child in children for leaf in reading.states[child].leaves),
            initial_leaf=reading.states[initial].initial_leaf,
        )

    def initial(self, body: MappingNode, tops: list[str], reading: StateReading) -> tuple[str, ...]:
        """The states in which the chip may begin; nothing if they cannot be read."""
        return self._starts.states(body, tops, reading.states)

    def variables(self, body: MappingNode) -> dict[str, Variable]:
        found = {}
        for name, key, node in self._shapes.named(body.get("variables"), "variables"):
            variable = self._variable(name, key, node)
            if variable is not None:
                found[name] = variable
        return found

    def timers(self, body: MappingNode) -> dict[str, Timer]:
        """The timers that a chip declares, each with its duration."""
        found = {}
        for name, key, node in self._shapes.named(body.get("timers"), "timers"):
            scalars = self._shapes.scalars(node, "a duration", "a duration such as 20 ms")
            duration = self._phrases.interval(scalars) if scalars else None
            if duration is not None:
                found[name] = Timer(name, duration, key.place)
        return found

    def _variable(self, name: str, key: ScalarNode, node: Node) -> Variable | None:
        if isinstance(node, ScalarNode):
            return self._short_variable(name, key, node)
        record = self._shapes.record(node, f"the variable {name!r}", keys_of("variable"))
        if record is None:
            return None
        type_ = self.type(record, key.place, name)
        length = 0
        if record.get("list") is not None:
            given = self._shared.number(record.entries["list"])
            items = self._shapes.integer(given, "the length", 1, LONGEST_LIST)
            length = items or 1
        if type_ is None:
            return None
        persistent = self._shapes.truth(record.get("persistent"), "persistent")
        choices = self._starts.values(record.get("start"), type_, length)
        start = tuple(values[0] for values in choices)
        several = choices if any(len(values) > 1 for values in choices) else ()
        return Variable(name, type_, start, length, persistent, key.place, several)

    def _short_variable(self, name: str, key: ScalarNode, node: ScalarNode) -> Variable | None:
        """`ready: bool`, or `ready: false` with its start value."""
        if node.text == "bool" or node.truth is not None:
            return Variable(name, TRUTH, (int(node.truth or False),), 0, False, key.place)
        expected = "bool, true, false, or a mapping with range, one_of, bond or bool"
        self._notes.add(
            f"{kind_of(node)} cannot be used as the variable {name!r}",
            node.place,
            expected=expected,
            word=node.text,
            choices=("bool", "true", "false"),
        )
        return None

    def type(self, record: MappingNode, place: Place, name: str) -> ValueType | None:
        """The type that a record declares by one of `TYPE_KEYS`, or by `start: true` or `false`."""
        given = [key for key in TYPE_KEYS if record.get(key) is not None]
        if len(given) > 1:
            message = f"{name!r} has two types, {given[0]} and {given[1]}"
            self._notes.add(message, record.keys[given[1]].place, expected="one type")
            return None
        if not given:
            start = record.get("start")
            if isinstance(start, ScalarNode) and start.truth is not None:
                return TRUTH
            self._notes.add(
                f"{name!r} has no type", place, expected=f"one of {', '.join(TYPE_KEYS)}"
            )
            return None
        node = record.entries[given[0]]
        if given[0] == "range":
            return self._range(node)
        if given[0] == "one_of":
            return self._words(node)
        return self._bond(node) if given[0] == "bond" else self._bool(node)

    def _bool(self, node: Node) -> ValueType | None:
        if isinstance(node, ScalarNode) and node.truth:
            return TRUTH
        expected = "bool: true ('start' gives its first value)"
        self._notes.add(f"{kind_of(node)} cannot be used as bool", node.place, expected=expected)
        return None

    def _range(self, node: Node) -> ValueType | None:
        items = node.items if isinstance(node, SequenceNode) else []
        if len(items) != 2:
            self._notes.add(
                f"{kind_of(node)} cannot be used as a range",
                node.place,
                expected="[lowest, highest]",
            )
            return None
        bounds = []
        for item in items:
            filled = self._phrases.fill(item) if isinstance(item, ScalarNode) else item
            number = self._shared.number(filled)
            bounds.append(
                self._shapes.integer(number, "a bound", -LARGEST_INTEGER, LARGEST_INTEGER)
            )
        low, high = bounds
        if low is None or high is None:
            return None
        if low > high:
            message = f"the range [{low}, {high}] has its bounds in the wrong order"
            self._notes.add(message, node.place, expected=f"[{high}, {low}]")
            return None
        return number_type(low, high)

    def _words(self, node: Node) -> ValueType | None:
        """Words as they are listed, or those of an enumeration of the device."""
        known = self._shared.enumerations
        if known and isinstance(node, ScalarNode):
            filled = self._phrases.fill(node)
            name = self._shapes.known(filled, "enumeration", known)
            return word_type(known[name]) if name else None
        scalars = self._shapes.scalars(node, "a word", "a word")
        words = [
            self._shapes.identifier(self._phrases.fill(scalar), "a word") for scalar in scalars
        ]
        if is_empty(node):
            self._notes.add("a list without words", node.place, expected="a list of words")
        if None in words or not words:
            return None
        if len(set(words)) < len(words):
            self._notes.add("a word is given twice", node.place, expected="different words")
            return None
        return word_type(tuple(word for word in words if word))

    def _bond(self, node: Node) -> ValueType | None:
        if isinstance(node, ScalarNode) and node.truth:
            return bond_type()
        keys = self._shapes.integer(node, "the number of keys", 1, MOST_KEYS)
        return bond_type(keys) if keys else None


def is_empty(node: Node) -> bool:
    """Whether it is an empty list or mapping."""
    if isinstance(node, MappingNode):
        return not node.entries
    return isinstance(node, SequenceNode) and not node.items


def is_nothing(node: Node | None) -> bool:
    """Whether nothing is given: no node, or an empty list or mapping."""
    return node is None or is_empty(node)

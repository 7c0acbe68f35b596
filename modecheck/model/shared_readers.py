"""Read the constants of a device or a chip, its enumerations, and what its signals carry."""

from __future__ import annotations

from modecheck.model.keys import keys_of
from modecheck.model.outlines import OutlineReader
from modecheck.model.phrases import Phrases
from modecheck.model.shapes import Shapes
from modecheck.model.shared_values import NamedConstant, SharedValues, ValuedSignal
from modecheck.model.values import TRUTH, number_type
from modecheck.model.yaml_nodes import Node, ScalarNode, SequenceNode, kind_of

MOST_ITEMS = 256
"""Items of a table: a byte's worth, and each becomes part of the expressions that look there."""


def read_constants(shapes: Shapes, phrases: Phrases, node: Node | None) -> dict[str, NamedConstant]:
    """The constants under a key; errors are noted, and what has one is left out."""
    found = {}
    for name, key, child in shapes.named(node, "constants"):
        table = isinstance(child, SequenceNode)
        items = child.items if isinstance(child, SequenceNode) else [child]
        if table and not 0 < len(items) <= MOST_ITEMS:
            expected = f"1 to {MOST_ITEMS} items"
            shapes.notes.add(f"a table of {len(items)} items", child.place, expected=expected)
            continue
        values = [_value(shapes, phrases, item) for item in items]
        known = [value for value in values if value is not None]
        if len(known) < len(values):
            continue
        type_ = TRUTH if all(truth for _, truth in known) else number_type(0, 0)
        numbers = tuple(number for number, _ in known)
        if type_ != TRUTH:
            type_ = number_type(min(numbers), max(numbers))
        if len({truth for _, truth in known}) > 1:
            expected = "all integers, or all true and false"
            shapes.notes.add(f"{name!r} mixes two types", child.place, expected=expected)
            continue
        found[name] = NamedConstant(name, type_, numbers, table, key.place)
    return found


def _value(shapes: Shapes, phrases: Phrases, node: Node) -> tuple[int, bool] | None:
    """A value, and whether it is a truth value."""
    if isinstance(node, ScalarNode):
        filled = phrases.fill(node)
        if filled.truth is not None:
            return int(filled.truth), True
        if filled.integer is not None:
            return filled.integer, False
    expected = "an integer of at most 32 bits, true or false, or a list of them"
    shapes.notes.add(f"{kind_of(node)} cannot be used as a constant", node.place, expected=expected)
    return None


def read_enumerations(
    shapes: Shapes, phrases: Phrases, node: Node | None
) -> dict[str, tuple[str, ...]]:
    """The words of each enumeration under a key."""
    found = {}
    for name, _, child in shapes.named(node, "enumerations"):
        scalars = shapes.scalars(child, "a word", "a word")
        words = [shapes.identifier(phrases.fill(scalar), "a word") for scalar in scalars]
        known = tuple(word for word in words if word)
        if len(set(known)) < len(known):
            shapes.notes.add("a word is given twice", child.place, expected="different words")
        elif known and len(known) == len(words):
            found[name] = known
        elif not words:
            shapes.notes.add("a list without words", child.place, expected="a list of words")
    return found


def read_signals(
    shapes: Shapes, phrases: Phrases, node: Node | None, shared: SharedValues
) -> dict[str, ValuedSignal]:
    """The signals under a key that carry a value. One with an error has no type."""
    found = {}
    reader = OutlineReader(shapes, phrases, shared)
    known = keys_of("signal")
    types = [key for key in known if key != "about"]
    for name, key, child in shapes.named(node, "signals"):
        record = shapes.record(child, f"the signal {name!r}", known)
        type_ = None
        if record is not None and any(record.get(one) is not None for one in types):
            type_ = reader.type(record, key.place, name)
        elif record is not None and not record.entries.keys() - known.keys():
            expected = f"one of {', '.join(types)}; a signal without a value is not declared"
            shapes.notes.add(f"the signal {name!r} has no type", key.place, expected=expected)
        found[name] = ValuedSignal(name, type_, key.place)
    return found

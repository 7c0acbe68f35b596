"""Read what stands under keys whose kind does not depend on the part that has them."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any, TypeAlias

from modecheck.model.conditions import condition
from modecheck.model.keys import Key
from modecheck.model.phrases import Phrases
from modecheck.model.quantities import battery, current, share, weight
from modecheck.model.scopes import Scope
from modecheck.model.shapes import FAIR, Shapes
from modecheck.model.times import Duration
from modecheck.model.yaml_nodes import MappingNode, Node, ScalarNode, shortened

NO_SCOPE = Scope({})


@dataclass(frozen=True, slots=True)
class KeyReader:
    """Reads the keys of one part; a name in an expression means what it means in `scope`."""

    shapes: Shapes
    phrases: Phrases
    scope: Scope = NO_SCOPE

    def values(self, keys: Mapping[str, Key], record: MappingNode) -> dict[str, Any]:
        """The value under each key that can be read here, by the attribute that holds it."""
        note_misfits(self.shapes, keys, record)
        readable = [key for key in keys.values() if key.kind in READERS]
        found = {
            key.attribute: READERS[key.kind](self, key, record.get(key.name)) for key in readable
        }
        texts = {key.words: record.get(key.name) for key in readable if key.words}
        return found | {words: self.phrases.shown(node) for words, node in texts.items()}

    def free_text(self, _: Key, node: Node | None) -> str:
        return " ".join(node.text.split()) if isinstance(node, ScalarNode) else ""

    def phrase(self, _: Key, node: Node | None) -> str:
        """Plain language: only parameters in braces are filled in."""
        text = self.phrases.braces_filled(node) if isinstance(node, ScalarNode) else ""
        return " ".join(text.split())

    def integer(self, key: Key, node: Node | None) -> int | None:
        """An integer within the bounds of the schema."""
        low, high = key.schema["minimum"], key.schema["maximum"]
        found = None if node is None else self.shapes.integer(node, f"a {key.name}", low, high)
        return key.schema.get("default") if found is None else found

    def choice(self, key: Key, node: Node | None) -> str:
        """One of the words in the schema."""
        words = [word for word in key.schema["enum"] if word is not None]
        return self.shapes.choice(node, key.name, words, key.schema.get("default", ""))

    def word(self, key: Key, node: Node | None) -> str:
        scalar = None if node is None else self.shapes.scalar(node, f"a {key.name}", "a word")
        return "internal" if scalar is None else scalar.text

    def name(self, key: Key, node: Node | None) -> str:
        """A name that the model makes up."""
        scalar = None if node is None else self.shapes.scalar(node, key.name, "a name")
        filled = None if scalar is None else self.phrases.fill(scalar)
        return (self.shapes.identifier(filled, f"a {key.name}") or "") if filled else ""

    def masks(self, _: Key, node: Node | None) -> tuple[ScalarNode, ...]:
        """Names of chips, to be looked up when all chips are known."""
        scalars = self.shapes.scalars(node, "an activity", "the name of a chip")
        return tuple(self.phrases.fill(scalar) for scalar in scalars)

    def interval(self, key: Key, node: Node | None) -> Duration | None:
        scalars = self.shapes.scalars(node, f"a {key.name}", "a duration such as 2 ms")
        return self.phrases.interval(scalars) if scalars else None

    def timers(self, _: Key, node: Node | None) -> tuple[str, ...]:
        """Timers of the chip itself."""
        scalars = self.shapes.scalars(node, "a timer", "the name of a timer")
        known = self.scope.own.timers if self.scope.own is not None else {}
        empty = "'timers' in the chip (it has none)"
        names = (
            self.shapes.known(self.phrases.fill(scalar), "timer", known, empty=empty)
            for scalar in scalars
        )
        return tuple(dict.fromkeys(name for name in names if name))

    def timer(self, key: Key, node: Node | None) -> str:
        scalars = self.shapes.scalars(node, "a timer", "the name of a timer")
        if len(scalars) > 1:
            self.shapes.notes.add("more than one timer", scalars[1].place, expected="one timer")
        return next(iter(self.timers(key, node)), "")

    def target(self, _: Key, node: Node | None) -> str | None:
        """A state of the chip itself."""
        scalar = self.shapes.scalar(node, "a target", "the name of a state") if node else None
        if scalar is None or self.scope.own is None:
            return None
        filled = self.phrases.fill(scalar)
        if "." in filled.text:
            message = f"{shortened(filled.text)!r} is a state of another chip"
            self.shapes.notes.add(message, scalar.place, expected="a state of this chip")
            return None
        return self.shapes.known(filled, "state", self.scope.own.states)


Read: TypeAlias = Callable[[KeyReader, Key, Node | None], Any]

READERS: dict[str, Read] = {
    "about": KeyReader.free_text,
    "battery": lambda at, _, node: battery(at.shapes, at.phrases, node),
    "choice": KeyReader.choice,
    "concerns": lambda at, _, node: at.shapes.concerns(node),
    "condition": lambda at, _, node: condition(at.shapes, at.phrases, at.scope, node),
    "current": lambda at, _, node: current(at.shapes, at.phrases, node),
    "fair": lambda at, key, node: at.shapes.choice(node, key.name, FAIR, ""),
    "integer": KeyReader.integer,
    "interval": KeyReader.interval,
    "masks": KeyReader.masks,
    "name": KeyReader.name,
    "phrase": KeyReader.phrase,
    "share": lambda at, _, node: None if node is None else share(at.shapes, node),
    "steps": lambda at, key, node: at.choice(key, node) == "separate",
    "target": KeyReader.target,
    "timer": KeyReader.timer,
    "timers": KeyReader.timers,
    "weight": lambda at, _, node: weight(at.shapes, at.phrases, node),
    "word": KeyReader.word,
}
"""By the kind of a key; a key of any other kind is read by the reader of its part."""


def note_misfits(
    shapes: Shapes, keys: Mapping[str, Key], record: MappingNode, kind: str = ""
) -> None:
    """Note keys that mean nothing for a part of this kind, or without another key."""
    given = {name: keys[name] for name in record.entries if name in keys and record.get(name)}
    for name, key in given.items():
        place = record.keys[name].place
        if key.only_with and kind not in key.only_with:
            message = f"{name!r} does not go with {kind!r}"
            shapes.notes.add(message, place, expected=f"no {name!r}")
        if key.beside and not given.keys() & set(key.beside):
            others = " or ".join(map(repr, key.beside))
            message = f"{name!r} is given without {others}"
            shapes.notes.add(message, place, expected=f"the key {others} as well")

"""Read requirements: an id, the sentence a person wrote, and the pattern that it follows."""

from __future__ import annotations

from collections.abc import Collection

from modecheck.model.conditions import condition, names_in
from modecheck.model.links import NOT_COUNTED_YET
from modecheck.model.meaning import Scope
from modecheck.model.parts import Requirement
from modecheck.model.phrases import Phrases
from modecheck.model.shapes import Shapes
from modecheck.model.yaml_nodes import Mapping, Node, Scalar

EVALUATED = ("never", "always", "possible", "recoverable")
READ_ONLY = ("whenever", "before", "exactly_once")
"""Patterns that need fairness, an order of events or a marked item: read, but not evaluated yet."""
PATTERNS = EVALUATED + READ_ONLY
QUALIFIERS = ("then", "scope", "may_lose")
REQUIREMENT_KEYS = ("text", *PATTERNS, *QUALIFIERS, "within")


class RequirementReader:
    """Reads the section `requirements`; `events` are the signals and messages of the device."""

    def __init__(
        self, shapes: Shapes, phrases: Phrases, scope: Scope, events: Collection[str] | None
    ) -> None:
        self._shapes = shapes
        self._phrases = phrases
        self._scope = scope
        self._events = events

    def read(self, node: Node | None) -> dict[str, Requirement]:
        found = {}
        for name, key, child in self._shapes.named(node, "requirements"):
            requirement = self._requirement(name, key, child)
            if requirement is not None:
                found[name] = requirement
        return found

    def _requirement(self, name: str, key: Scalar, node: Node) -> Requirement | None:
        what = f"the requirement {name!r}"
        record = self._shapes.record(node, what, REQUIREMENT_KEYS, required=("text",))
        if record is None:
            return None
        self._note_time(record)
        given = [pattern for pattern in PATTERNS if record.get(pattern) is not None]
        if len(given) != 1:
            message = f"{what} has {'two patterns' if given else 'no pattern'}"
            self._shapes.notes.add(message, key.place, expected=f"one of {', '.join(PATTERNS)}")
            return None
        text = self._shapes.scalar(
            record.entries["text"], "text", "the sentence that it stands for"
        )
        return self._of_pattern(name, key, given[0], record, text.text if text else "")

    def _note_time(self, record: Mapping) -> None:
        if record.get("within") is not None:
            place = record.keys["within"].place
            self._shapes.notes.add(NOT_COUNTED_YET, place, expected="no 'within'")

    def _note_unused_keys(self, pattern: str, record: Mapping) -> None:
        for key in QUALIFIERS:
            if record.get(key) is not None:
                message = f"{key!r} does not go with {pattern!r}"
                self._shapes.notes.add(message, record.keys[key].place, expected=f"no {key!r}")

    def _of_pattern(
        self, name: str, key: Scalar, pattern: str, record: Mapping, sentence: str
    ) -> Requirement | None:
        if pattern in EVALUATED:
            self._note_unused_keys(pattern, record)
        node = record.entries[pattern]
        without: tuple[str, ...] = ()
        place = key.place
        if pattern in READ_ONLY:
            return Requirement(name, sentence, pattern, None, "", (), place)
        if pattern == "recoverable" and isinstance(node, Mapping):
            inner = self._shapes.record(node, "recoverable", ("to", "without"), required=("to",))
            if inner is None:
                return None
            node = inner.entries["to"]
            without = names_in(self._shapes, inner.get("without"), "event", self._events)
        term = condition(self._shapes, self._phrases, self._scope, node)
        text = " ".join(node.text.split()) if isinstance(node, Scalar) else ""
        return Requirement(name, sentence, pattern, term, text, without, place) if term else None

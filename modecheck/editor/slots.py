"""What may stand where in a model: from the path of keys to the kind of thing that is there.

A slot is a mapping of keys that the language has, a mapping of names that the user chooses, or a
value. The keys themselves are declared in `modecheck.model.keys`; this table adds what their values
name.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cache
from typing import Any, TypeAlias

from modecheck.editor.cursor import ITEM
from modecheck.model.copies import is_each
from modecheck.model.keys import Key, definition, keys_of


@dataclass(frozen=True, slots=True)
class KeysOf:
    """A mapping with the keys of some parts; or a list of such mappings."""

    parts: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class NamesOf:
    """A mapping from names of a kind to what each is. It declares them, or it refers to them."""

    kind: str
    inside: Shape
    declares: bool = True


@dataclass(frozen=True, slots=True)
class ValueOf:
    """A text, or a list of texts, that names something of a kind, or is an expression."""

    kind: str


Shape: TypeAlias = KeysOf | NamesOf | ValueOf


def keys(*parts: str) -> KeysOf:
    return KeysOf(parts)


ENTRY, CHIP_FILE = keys("entry", "behaviour"), keys("chip_file", "behaviour")
RULES, STATES = NamesOf("rule", keys("rule")), NamesOf("state", keys("state"))
EVENT, STATE, CONDITION = ValueOf("event"), ValueOf("state"), ValueOf("condition")
TEXT, DURATION, NUMBER = ValueOf("text"), ValueOf("duration"), ValueOf("number")
REPLIES = NamesOf("state", EVENT, declares=False)
EFFECTS: dict[str, Shape] = {
    "do": ValueOf("assignment"),
    "send": ValueOf("send"),
    "signal": ValueOf("signal"),
    "start": ValueOf("timer"),
    "stop": ValueOf("timer"),
    "to": STATE,
    "if": CONDITION,
}
FAULTS_OF_CHIPS, FAULTS_OF_LINKS = keys("fault_of_chips"), keys("fault_of_links")
TYPE: dict[str, Shape] = {"range": ValueOf("bound"), "one_of": ValueOf("enumeration")}
SHAPES: dict[str, dict[str, Shape]] = {
    "device": {
        "based_on": ValueOf("file"),
        "chips": NamesOf("chip", ENTRY),
        "actors": NamesOf("chip", ENTRY),
        "links": NamesOf("link", keys("link")),
        "lists": NamesOf("list", CONDITION),
        "modes": NamesOf("mode", CONDITION),
        "pairings": NamesOf("pairing", keys("pairing")),
        "faults": keys("faults"),
        "options": NamesOf("option", ValueOf("word")),
        "constants": NamesOf("constant", NUMBER),
        "signals": NamesOf("signal", keys("signal")),
        "enumerations": NamesOf("enumeration", ValueOf("word")),
        "requirements": NamesOf("requirement", keys("requirement")),
        "accepted": keys("acceptance"),
        "expect": keys("expectation"),
        "chances": NamesOf("question", keys("chance")),
        "clock": keys("clock"),
    },
    "chip_file": {"based_on": ValueOf("file")},
    "entry": {
        "file": ValueOf("file"),
        "with": NamesOf("parameter", ValueOf("argument"), declares=False),
    },
    "behaviour": {
        "parameters": NamesOf("parameter", ValueOf("argument")),
        "variables": NamesOf("variable", keys("variable")),
        "constants": NamesOf("own_constant", NUMBER),
        "timers": NamesOf("timer", DURATION),
        "states": STATES,
        "initial": STATE,
        "rules": RULES,
        "discards": REPLIES,
        "defers": REPLIES,
    },
    "state": {
        "states": STATES,
        "initial": STATE,
        "rules": RULES,
        "discards": EVENT,
        "defers": EVENT,
        "masks": ValueOf("chip"),
    },
    "variable": {**TYPE, "start": ValueOf("start")},
    "message": TYPE,
    "signal": TYPE,
    "rule": {
        **EFFECTS,
        "in": STATE,
        "on": EVENT,
        "after": DURATION,
        "period": DURATION,
        "expires": ValueOf("timer"),
        "choose": keys("branch"),
        "name": NamesOf("rule", TEXT),
    },
    "branch": EFFECTS,
    "link": {
        "from": ValueOf("chip"),
        "to": ValueOf("chip"),
        "carries": NamesOf("message", keys("message")),
        "up_when": CONDITION,
        "delay": DURATION,
    },
    "pairing": {
        "ends": ValueOf("bond"),
        "forgotten_by": EVENT,
        "session": CONDITION,
        "selected": CONDITION,
        "recovers_without": ValueOf("actor"),
    },
    "requirement": {
        **dict.fromkeys(
            ("never", "always", "possible", "eventually", "whenever", "then", "before", "first"),
            CONDITION,
        ),
        "recoverable": keys("recoverable"),
        "exactly_once": keys("exactly_once"),
        "may_lose": CONDITION,
        "builds_on": ValueOf("requirement"),
        "scope": keys("scope"),
        "within": DURATION,
    },
    "recoverable": {"to": CONDITION, "without": EVENT},
    "exactly_once": {
        "sent": ValueOf("exchanged"),
        "received": ValueOf("exchanged"),
        "may_lose": CONDITION,
    },
    "scope": dict.fromkeys(("before", "after", "until", "between"), CONDITION),
    "chance": {
        **dict.fromkeys(("reach", "count", "latency", "until", "answer"), CONDITION),
        "within": DURATION,
    },
    "clock": {"tick": DURATION},
    "faults": {
        "power_cut": FAULTS_OF_CHIPS,
        "reset": FAULTS_OF_CHIPS,
        "lose": FAULTS_OF_LINKS,
        "duplicate": FAULTS_OF_LINKS,
        "corrupt": FAULTS_OF_LINKS,
    },
    "fault_of_chips": {"chips": ValueOf("chip")},
    "fault_of_links": {"links": ValueOf("link")},
    "acceptance": {"finding": ValueOf("finding")},
    "expectation": {"finding": ValueOf("finding")},
}
"""By part and key; any other key has a value that the schema describes."""

DEEPEST = 6
"""Levels of a schema that are looked at for words."""

INSIDE_REQUIREMENTS = ("recoverable", "exactly_once", "scope")
"""Keys of a requirement that are mappings, whose keys stand only in its schema."""


@dataclass(frozen=True, slots=True)
class ModelSlot:
    """What a path leads to. `within` has the names on the way there, by kind: the chip, the state
    and so on. `key` is the last key that the language has, of `part`.
    """

    shape: Shape
    part: str = ""
    key: str = ""
    within: Mapping[str, str] = field(default_factory=dict)

    def into(self, step: str) -> ModelSlot | None:
        """The slot one step further; None where nothing can stand."""
        shape = self.shape
        if isinstance(shape, KeysOf):
            if step == ITEM:
                return self
            return self._of_key(shape, step)
        if isinstance(shape, NamesOf):
            if step == ITEM:
                return self._item(shape)
            if is_each(step):
                return replace(self, within={**self.within, "each": step})
            return replace(self, shape=shape.inside, within={**self.within, shape.kind: step})
        return self if step == ITEM else None

    def _item(self, shape: NamesOf) -> ModelSlot:
        """An item of a list that may also be a mapping: a rule without a name, or a name alone."""
        if shape.kind == "rule" and self.key == "rules":
            return replace(self, shape=shape.inside, within={**self.within, "rule": ""})
        if not shape.declares:
            return replace(self, shape=shape.inside)
        return self

    def _of_key(self, shape: KeysOf, key: str) -> ModelSlot | None:
        for part in shape.parts:
            if key in keys_in(part):
                known = SHAPES.get(part, {}).get(key, TEXT)
                return replace(self, shape=known, part=part, key=key)
        return None


def slot_at(kind: str, path: Sequence[str]) -> ModelSlot | None:
    """What the path of keys leads to in a file of this kind, "device" or "chip"."""
    slot: ModelSlot | None = ModelSlot(CHIP_FILE if kind == "chip" else keys("device"))
    for step in path:
        if slot is None:
            return None
        slot = slot.into(step)
    return slot


@cache
def keys_in(part: str) -> dict[str, Key]:
    """The keys of a part, also of those mappings that only the schema of a key describes."""
    if part not in INSIDE_REQUIREMENTS:
        return keys_of(part)
    schema: Mapping[str, Any] = keys_of("requirement")[part].schema
    described = [schema, *schema.get("anyOf", ())]
    found: dict[str, Any] = next(one["properties"] for one in described if "properties" in one)
    return {name: Key(name, said) for name, said in found.items()}


@cache
def _words_of(part: str, key: str) -> tuple[str, ...]:
    known = keys_in(part).get(key)
    return tuple(dict.fromkeys(_words_in(known.schema))) if known is not None else ()


def words_for(slot: ModelSlot) -> tuple[str, ...]:
    """The words that the schema allows for the value of a key, if it lists them."""
    return _words_of(slot.part, slot.key) if slot.part else ()


def _words_in(schema: Any, file: str = "device.json", depth: int = 0) -> list[str]:
    """The words that a schema allows which stands in this file."""
    found: list[str] = []
    if not isinstance(schema, Mapping) or depth > DEEPEST:
        return found
    if "$ref" in schema:
        own, _, name = schema["$ref"].partition("#")
        file_there = own or file
        found += _words_in(definition(f"{file_there}#{name}"), file_there, depth + 1)
    for word in schema.get("enum", ()):
        if word is not None:
            found.append(str(word).lower() if isinstance(word, bool) else str(word))
    if schema.get("type") in ("boolean", ["boolean", "null"]):
        found += ["true", "false"]
    for inner in (*schema.get("anyOf", ()), schema.get("items")):
        found += _words_in(inner, file, depth + 1)
    return found

"""Read nodes of an expected shape; any other shape is noted as an error and left out.

Each function returns None (or an empty list) after noting an error, so that a reader can go on
and find the others in the same run.
"""

from __future__ import annotations

import re
from collections.abc import Collection, Iterator

from modecheck.model import renamed_words
from modecheck.model.errors import Notebook
from modecheck.model.renamed_words import called_now
from modecheck.model.yaml_nodes import (
    LARGEST_INTEGER,
    MappingNode,
    Node,
    ScalarNode,
    SequenceNode,
    kind_of,
    shortened,
)

IDENTIFIER = re.compile(r"[^\W\d]\w*")
RESERVED = frozenset(
    {
        "and",
        "or",
        "not",
        "in",
        "if",
        "else",
        "via",
        "true",
        "false",
        "none",
        "state",
        "value",
        "late",
    }
)
"""Words that have a meaning in expressions and so cannot be names."""

FAIR = ("weak", "strong", "none")
"""The fairness that a rule, a chip or a link can declare for its steps."""

FREE_TEXTS = frozenset({"about", "text"})
"""Keys that hold free text."""


class Shapes:
    """Reads nodes, noting errors in one notebook."""

    def __init__(self, notes: Notebook) -> None:
        self.notes = notes

    def mapping(self, node: Node | None, what: str) -> MappingNode | None:
        """A mapping whose keys the user chose."""
        if node is None or (isinstance(node, ScalarNode) and node.is_null):
            return None
        if not isinstance(node, MappingNode):
            self.notes.add(
                f"{kind_of(node)} cannot be used as {what}", node.place, expected="a mapping"
            )
            return None
        return node

    def record(
        self, node: Node, what: str, known: Collection[str], required: Collection[str] = ()
    ) -> MappingNode | None:
        """A mapping whose keys are all among `known`, with all of `required`."""
        if isinstance(node, ScalarNode) and node.is_null and not required:
            return MappingNode({}, {}, node.place)
        if not isinstance(node, MappingNode):
            expected = f"a mapping with {', '.join(sorted(required or known))}"
            self.notes.add(
                f"{kind_of(node)} cannot be used as {what}", node.place, expected=expected
            )
            return None
        for name, key in node.keys.items():
            if renamed_words.KEYS.get(name) in known:
                new = renamed_words.KEYS[name]
                self.notes.add(called_now(name, new), key.place, expected=repr(new))
            elif name not in known:
                self._unknown_key(key, what, known)
        for name in FREE_TEXTS & set(known):
            text = node.get(name)
            if text is not None:
                self.scalar(text, name, "a text")
        missing = [name for name in required if name not in node.entries]
        if missing:
            message = f"{what} lacks {', '.join(map(repr, missing))}"
            keys = "keys" if len(required) > 1 else "key"
            expected = f"the {keys} {', '.join(sorted(required))}"
            self.notes.add(message, node.place, expected=expected)
            return None
        return node

    def _unknown_key(self, key: ScalarNode, what: str, known: Collection[str]) -> None:
        name, colon, value = key.text.partition(":")
        if colon and name in known:  # `{in:up}` is one word
            expected = f"'{name}: {shortened(value)}'"
            self.notes.add("no space after the colon", key.place, expected=expected)
            return
        message = f"unknown key {shortened(key.text)!r} in {what}"
        self.notes.add(message, key.place, word=key.text, choices=known)

    def named(self, node: Node | None, what: str) -> Iterator[tuple[str, ScalarNode, Node]]:
        """The entries of a mapping whose keys the user chose: name, key and value. A name must
        be an identifier.
        """
        mapping = self.mapping(node, what)
        if mapping is None:
            return
        for name, child in mapping.entries.items():
            if self.identifier(mapping.keys[name], f"a name in {what}"):
                yield name, mapping.keys[name], child

    def identifier(self, scalar: ScalarNode, what: str) -> str | None:
        """A name of letters, digits and underscores that has no other meaning in expressions."""
        text = scalar.text
        if not IDENTIFIER.fullmatch(text):
            expected = "letters, digits and _, not starting with a digit"
            self.notes.add(f"{shortened(text)!r} cannot be {what}", scalar.place, expected=expected)
            return None
        if text in RESERVED:
            self.notes.add(
                f"{text!r} is a reserved word in expressions", scalar.place, expected="another name"
            )
            return None
        if scalar.is_null or scalar.truth is not None:
            self.notes.add(
                f"{text!r} is a reserved word in YAML", scalar.place, expected="another name"
            )
            return None
        return text

    def scalar(self, node: Node, what: str, expected: str) -> ScalarNode | None:
        if isinstance(node, ScalarNode) and not node.is_null:
            return node
        self.notes.add(f"{kind_of(node)} cannot be used as {what}", node.place, expected=expected)
        return None

    def scalars(self, node: Node | None, what: str, expected: str) -> list[ScalarNode]:
        """A list of texts; a single text needs no brackets."""
        if node is None or (isinstance(node, ScalarNode) and node.is_null):
            return []
        if isinstance(node, SequenceNode):
            found = (self.scalar(item, what, expected) for item in node.items)
            return [item for item in found if item is not None]
        one = self.scalar(node, what, f"{expected}, or a list of them")
        return [one] if one is not None else []

    def concerns(self, node: Node | None) -> tuple[str, ...]:
        """The concerns of a part, each once."""
        scalars = self.scalars(node, "a concern", "a word such as radio, power or charging")
        words = (self.identifier(scalar, "a concern") for scalar in scalars)
        return tuple(dict.fromkeys(word for word in words if word))

    def truth(self, node: Node | None, what: str, *, default: bool = False) -> bool:
        if node is None:
            return default
        if isinstance(node, ScalarNode) and node.truth is not None:
            return node.truth
        self.notes.add(
            f"{kind_of(node)} cannot be used as {what}", node.place, expected="true or false"
        )
        return default

    def integer(self, node: Node, what: str, low: int, high: int) -> int | None:
        """An integer from `low` to `high`."""
        value = node.integer if isinstance(node, ScalarNode) else None
        if value is not None and low <= value <= high:
            return value
        expected = f"an integer from {low} to {high}"
        if abs(low) == high == LARGEST_INTEGER:
            expected = "an integer of at most 32 bits"
        self.notes.add(f"{kind_of(node)} cannot be used as {what}", node.place, expected=expected)
        return None

    def choice(self, node: Node | None, what: str, choices: Collection[str], default: str) -> str:
        """One of a few words."""
        if node is None:
            return default
        scalar = self.scalar(node, what, " or ".join(sorted(choices)))
        if scalar is None or scalar.text in choices:
            return default if scalar is None else scalar.text
        message = f"{shortened(scalar.text)!r} cannot be used as {what}"
        self.notes.add(message, scalar.place, word=scalar.text, choices=choices)
        return default

    def known(
        self, scalar: ScalarNode, what: str, choices: Collection[str], *, empty: str = ""
    ) -> str | None:
        """A name that must be among `choices`; `what` is the kind of thing named."""
        if scalar.text in choices:
            return scalar.text
        message = f"unknown {what} {shortened(scalar.text)!r}"
        expected = "" if choices else (empty or f"a {what} in the device (it has none)")
        self.notes.add(message, scalar.place, word=scalar.text, choices=choices, expected=expected)
        return None

"""Read sections with parts that are written once for `each` copy of a chip.

links:
each tile:
up: {from: tile, to: hub, carries: [press]}      # up[1], up[2], …
each tile if i > 1:
chain: {from: tile, to: "tile[i-1]", carries: [token]}
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, replace

from modecheck.model.copies import (
    MOST_COPIES,
    NUMBERED,
    Copies,
    is_each,
    known_value,
    numbered,
    unnumbered,
)
from modecheck.model.overlays import overlay
from modecheck.model.phrases import Phrases
from modecheck.model.scopes import Scope
from modecheck.model.shapes import Shapes
from modecheck.model.syntax import parse_condition
from modecheck.model.yaml_nodes import MappingNode, Node, ScalarNode, shortened

EACH = re.compile(r"each\s+(\S+)(?:\s+if\s+(.+))?")
"""A key whose parts are written out for each copy."""


@dataclass(frozen=True, slots=True)
class Entry:
    """A named part of a section, and the phrases in which its texts are read."""

    name: str
    key: ScalarNode
    node: Node
    phrases: Phrases
    number: int = 0

    def within(self, scope: Scope) -> Scope:
        """The scope with the names that the entry adds to it."""
        return replace(scope, parameters=self.phrases.parameters, copies=self.phrases.copies)


def copies_of(shapes: Shapes, record: MappingNode) -> Copies:
    """How many copies the chips, actors and links of a device have."""
    counts: dict[str, int] = {}
    for section in ("chips", "actors"):
        for name, entry in _entries(record.get(section)):
            node = entry.get("copies") if isinstance(entry, MappingNode) else None
            if node is not None:
                count = shapes.integer(node, "the number of copies", 1, MOST_COPIES)
                counts[name] = count or 1
    links: dict[str, int] = {}
    for name, inside in _entries(record.get("links")):
        match = EACH.fullmatch(name)
        if match and match[1] in counts:
            links |= {link: counts[match[1]] for link, _ in _entries(inside)}
    return Copies({**links, **counts}, links=frozenset(links.keys() - counts.keys()))


def _entries(node: Node | None) -> Iterator[tuple[str, Node]]:
    if isinstance(node, MappingNode):
        yield from node.entries.items()


def named(shapes: Shapes, phrases: Phrases, node: Node | None, what: str) -> Iterator[Entry]:
    """The entries of a mapping whose keys the user chose; what is under `each` once for each."""
    mapping = shapes.mapping(node, what)
    if mapping is None:
        return
    for name, child in mapping.entries.items():
        key = mapping.keys[name]
        if not is_each(name):
            if shapes.identifier(key, f"a name in {what}"):
                yield Entry(name, key, child, phrases)
            continue
        for number, inner in each(shapes, phrases, key):
            for inside, inner_key, node in shapes.named(child, repr(name)):
                yield Entry(numbered(inside, number), inner_key, node, inner, number)


def each(shapes: Shapes, phrases: Phrases, key: ScalarNode) -> Iterator[tuple[int, Phrases]]:
    """The number of each copy that a key `each tile` means, and the phrases for it."""
    match = EACH.fullmatch(key.text)
    if match is None or match[1] not in phrases.copies.units:
        name = match[1] if match else ""
        message = f"{shortened(name)!r} has no copies" if match else "'each' of what?"
        known = phrases.copies.units
        expected = "" if known else "a chip with 'copies'"
        place = key.place.part(key.text.find(name), len(name)) if match and key.plain else key.place
        shapes.notes.add(message, place, expected=expected, word=name, choices=known)
        return
    if match[1] in phrases.parameters:
        message = f"{key.text!r} inside of 'each {match[1]}'"
        shapes.notes.add(message, key.place, expected="only one of them")
        return
    for number in range(1, phrases.copies.counts[match[1]] + 1):
        inner = phrases.for_copy(match[1], number)
        if match[2] is None or _holds(inner, key, match):
            yield number, inner


def _holds(phrases: Phrases, key: ScalarNode, match: re.Match[str]) -> bool:
    """The condition after `if`, on the copy's number."""
    begin = match.start(2) + (0 if key.plain else 1)
    scalar = ScalarNode(match[2], plain=True, place=key.place.part(begin, len(match[2])))
    tree = phrases.parse(scalar, parse_condition)
    if tree is None:
        return False
    return bool(phrases.attempt(scalar, lambda: known_value(tree, phrases.parameters)))


def copied(shapes: Shapes, phrases: Phrases, node: Node | None, what: str) -> Iterator[Entry]:
    """The chips of a section: each copy of its own, with what `tile[2]` says laid over it."""
    mapping = shapes.mapping(node, what)
    if mapping is None:
        return
    for name, child in mapping.entries.items():
        key = mapping.keys[name]
        if NUMBERED.fullmatch(name):
            _note_wrong_copy(shapes, phrases.copies, key)
            continue
        if not shapes.identifier(key, f"a name in {what}"):
            continue
        if name not in phrases.copies.counts:
            yield Entry(name, key, child, phrases)
            continue
        for number in range(1, phrases.copies.counts[name] + 1):
            own = mapping.entries.get(numbered(name, number))
            entry = child
            if isinstance(own, MappingNode) and isinstance(child, MappingNode):
                entry = overlay(child, own)
            inner = phrases.for_copy(name, number)
            yield Entry(numbered(name, number), key, entry, inner, number)


def _note_wrong_copy(shapes: Shapes, copies: Copies, key: ScalarNode) -> None:
    name = unnumbered(key.text)
    if key.text not in copies.names(name):
        count = copies.counts.get(name)
        message = f"there is no {key.text}" if count else f"{name!r} has no copies"
        expected = copies.told(name) if count else f"{name!r}, or 'copies' in it"
        shapes.notes.add(message, key.place, expected=expected)

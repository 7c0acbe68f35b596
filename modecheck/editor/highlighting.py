"""What the words of expressions are, so that an editor can colour them by their meaning."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from modecheck.editor.cursor import ITEM
from modecheck.editor.expression_words import words_in
from modecheck.editor.mentions import EXPRESSIONS, find_word, tree_of
from modecheck.editor.positions import TextMap
from modecheck.editor.scenes import Scene
from modecheck.editor.session import EditorSession
from modecheck.editor.slots import KeysOf, ModelSlot, ValueOf, slot_at
from modecheck.editor.workspace import path_of
from modecheck.model.yaml_nodes import MappingNode, Node, ScalarNode, SequenceNode

TYPES = {
    "keyword": "keyword",
    "function": "function",
    "number": "number",
    "mark": "operator",
    "chip": "namespace",
    "link": "interface",
    "message": "event",
    "signal": "event",
    "state": "enumMember",
    "word": "enumMember",
    "variable": "variable",
    "parameter": "typeParameter",
    "rule": "method",
    "constant": "macro",
    "own_constant": "macro",
    "option": "property",
    "mode": "property",
    "list": "property",
}
"""The kind of a word as a type that the protocol defines (3.17, "SemanticTokenTypes")."""

LEGEND = tuple(dict.fromkeys(TYPES.values()))
QUIET_MARKS = frozenset(".,()[]")
"""Marks that are left as they are."""


@dataclass(frozen=True, slots=True)
class Coloured:
    """A word in one line of the text: its position, its length in code units, and its type."""

    line: int
    character: int
    length: int
    type: str


def coloured(session: EditorSession, uri: str) -> list[Coloured]:
    """The words of all expressions of a text, in its order."""
    path = path_of(uri)
    scene, text = session.scene(path), session.workspace.map_of(path)
    tree = tree_of(scene, path)
    found = _under(scene, text, tree, ()) if tree is not None else iter(())
    return sorted(set(found), key=lambda one: (one.line, one.character))


def _under(scene: Scene, text: TextMap, node: Node, path: tuple[str, ...]) -> Iterator[Coloured]:
    if isinstance(node, MappingNode):
        for name, child in node.entries.items():
            yield from _under(scene, text, child, (*path, name))
    elif isinstance(node, SequenceNode):
        for child in node.items:
            yield from _under(scene, text, child, (*path, ITEM))
    elif not node.is_null:
        slot = slot_at(scene.kind, path)
        kind = expression_at(slot) if slot is not None else ""
        if slot is not None and kind:
            yield from _words(scene, text, slot, node, kind)


def expression_at(slot: ModelSlot) -> str:
    """The kind of the expression that a scalar is there, or nothing."""
    if isinstance(slot.shape, ValueOf) and slot.shape.kind in EXPRESSIONS:
        return slot.shape.kind
    return "condition" if isinstance(slot.shape, KeysOf) and slot.key == "recoverable" else ""


def _words(
    scene: Scene, text: TextMap, slot: ModelSlot, node: ScalarNode, kind: str
) -> Iterator[Coloured]:
    for word in words_in(node.text, kind, scene.names, scene.chips_at(slot)):
        type_ = TYPES.get(word.kind)
        if type_ is None or (word.kind == "mark" and word.text in QUIET_MARKS):
            continue
        span = find_word(text, node, word.text, word.offset)
        start, end = text.position(span.start), text.position(span.end)
        if start.line == end.line and end.character > start.character:
            length = end.character - start.character
            yield Coloured(start.line, start.character, length, type_)


def encoded(words: list[Coloured]) -> list[int]:
    """As the protocol wants it (3.17, "Integer Encoding for Tokens"): five numbers for each, the
    position relative to the word before.
    """
    numbers: list[int] = []
    line = character = 0
    for word in words:
        down = word.line - line
        right = word.character - (0 if down else character)
        numbers += [down, right, word.length, LEGEND.index(word.type), 0]
        line, character = word.line, word.character
    return numbers

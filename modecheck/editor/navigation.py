"""From a name to where it is declared and where it is used, and all names of a file."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field

from modecheck.editor.device_names import node_about
from modecheck.editor.mentions import Mention, Symbol, mentions_in_device, tree_of
from modecheck.editor.positions import Position, TextMap, TextSpan
from modecheck.editor.real_paths import real_path
from modecheck.editor.session import EditorSession
from modecheck.editor.slots import NamesOf, slot_at
from modecheck.editor.workspace import path_of
from modecheck.model.copies import is_each
from modecheck.model.places import Place
from modecheck.model.yaml_nodes import MappingNode, Node, ScalarNode, SequenceNode

NO_NAMES = ("file", "code")
"""Symbols that are no names of parts."""

MOST_SYMBOLS = 5000


def all_mentions(session: EditorSession, path: str) -> dict[str, list[Mention]]:
    """All mentions in the nearest device of a file, by real path."""
    return mentions_in_device(session.workspace, session.scene(path))


def mentions_at(session: EditorSession, path: str, position: Position) -> list[Mention]:
    """What the word at a position names; the shortest words that reach it, if several do."""
    text = session.workspace.map_of(path)
    offset = text.offset(position)
    here = [
        one
        for one in all_mentions(session, path).get(real_path(path), ())
        if one.span.start <= offset <= one.span.end
        and text.text[one.span.start : one.span.end] == one.written
    ]
    shortest = min((one.span.end - one.span.start for one in here), default=0)
    return [one for one in here if one.span.end - one.span.start == shortest]


def definitions(session: EditorSession, uri: str, position: Position) -> list[tuple[str, TextSpan]]:
    """Where that is declared which is named at a position; of a file, its beginning."""
    path = path_of(uri)
    symbols = {one.symbol for one in mentions_at(session, path, position)}
    found = [(one.name, TextSpan(0, 0)) for one in symbols if one.kind == "file"]
    return found + _places(session, path, symbols, declared=True, used=False)


def references(
    session: EditorSession, uri: str, position: Position, *, declared: bool = True
) -> list[tuple[str, TextSpan]]:
    """Every place that names the same; `declared` adds those that declare it."""
    path = path_of(uri)
    symbols = {one.symbol for one in mentions_at(session, path, position)}
    return _places(session, path, symbols, declared=declared, used=True)


def _places(
    session: EditorSession, path: str, symbols: set[Symbol], *, declared: bool, used: bool
) -> list[tuple[str, TextSpan]]:
    found = [
        (one.path, one.span)
        for mentions in all_mentions(session, path).values()
        for one in mentions
        if one.symbol in symbols and ((one.declares and declared) or (not one.declares and used))
    ]
    return list(dict.fromkeys(found))


@dataclass(slots=True)
class OutlineEntry:
    """A named part of a file, with the parts inside; `whole` has all of it, `name` its name."""

    label: str
    kind: str
    about: str
    whole: TextSpan
    name: TextSpan
    inside: list[OutlineEntry] = field(default_factory=list)


def outline(session: EditorSession, uri: str) -> list[OutlineEntry]:
    """The named parts of a file, in its order."""
    path = path_of(uri)
    scene = session.scene(path)
    tree = tree_of(scene, path)
    if not isinstance(tree, MappingNode):
        return []
    return list(_entries(scene.kind, session.workspace.map_of(path), tree, ()))


def _entries(
    kind: str, text: TextMap, node: MappingNode, path: tuple[str, ...]
) -> Iterator[OutlineEntry]:
    slot = slot_at(kind, path)
    named = slot.shape if slot is not None and isinstance(slot.shape, NamesOf) else None
    for name, child in node.entries.items():
        if slot is None or slot_at(kind, (*path, name)) is None:
            continue
        inside = list(_inside(kind, text, child, (*path, name)))
        if named is not None and named.declares and not is_each(name):
            key = text.span_of(node.keys[name].place)
            whole = TextSpan(key.start, max(key.end, end_of(text, child)))
            yield OutlineEntry(name, named.kind, node_about(child), whole, key, inside)
        else:
            yield from inside


def _inside(kind: str, text: TextMap, node: Node, path: tuple[str, ...]) -> Iterator[OutlineEntry]:
    if isinstance(node, MappingNode):
        yield from _entries(kind, text, node, path)
    slot = slot_at(kind, path)
    shape = slot.shape if slot is not None else None
    if not isinstance(node, SequenceNode) or not isinstance(shape, NamesOf):
        return
    for item in node.items if shape.declares and shape.kind in ("state", "message") else ():
        if isinstance(item, ScalarNode):
            span = text.span_of(item.place)
            yield OutlineEntry(item.text, shape.kind, "", span, span)


def end_of(text: TextMap, node: Node) -> int:
    """Where a node ends: behind the last scalar in it, or the brackets that close it."""
    last = _last(node)
    start = text.start_of(last.place)
    end = _end_of_scalar(text, last, start) if isinstance(last, ScalarNode) else start + 1
    closing = 0
    while end + closing < len(text.text) and text.text[end + closing] in " }]\"'":
        closing += 1
    return end + len(text.text[end : end + closing].rstrip())


def _end_of_scalar(text: TextMap, node: ScalarNode, start: int) -> int:
    if text.text[start : start + 1] in (">", "|") and node.place.width <= 2:
        begun = text.text[text.line_start(start) : start]
        indent = len(begun) - len(begun.lstrip(" -"))
        end = text.line_end(start)
        while end < len(text.text):
            line = text.text[end + 1 : text.line_end(end + 1)]
            deep = len(line) - len(line.lstrip(" "))
            if line.strip() and deep <= indent:
                break
            end = text.line_end(end + 1)
        return end
    return text.span_of(node.place).end


def _last(node: Node) -> Node:
    while True:
        if isinstance(node, MappingNode) and node.entries:
            node = list(node.entries.values())[-1]
        elif isinstance(node, SequenceNode) and node.items:
            node = node.items[-1]
        else:
            return node


def workspace_symbols(session: EditorSession, query: str) -> list[Mention]:
    """What the devices of all open files declare, as far as its name has the letters of the query
    in their order.
    """
    found: dict[tuple[str, TextSpan], Mention] = {}
    for buffer in list(session.workspace.buffers.values()):
        if not session.workspace.is_model(buffer.path):
            continue
        for mentions in all_mentions(session, buffer.path).values():
            for one in mentions:
                wanted = one.declares and one.symbol.kind not in NO_NAMES
                if wanted and _has_letters(one.symbol.name, query):
                    found.setdefault((real_path(one.path), one.span), one)
    return list(found.values())[:MOST_SYMBOLS]


def _has_letters(name: str, query: str) -> bool:
    rest = iter(name.lower())
    return all(letter in rest for letter in query.lower().strip())


def folds(session: EditorSession, uri: str) -> list[tuple[int, int]]:
    """Lines that can be folded away, from 0: each part that has several, and comments."""
    path = path_of(uri)
    text = session.workspace.map_of(path)
    tree = tree_of(session.scene(path), path)
    found = set(_comments(text.text.split("\n")))
    if tree is not None:
        found |= set(_folds(text, tree))
    return sorted((first, last) for first, last in found if last > first)


def _folds(text: TextMap, node: Node) -> Iterator[tuple[int, int]]:
    if isinstance(node, MappingNode):
        for name, child in node.entries.items():
            yield _lines(text, node.keys[name].place, end_of(text, child))
            yield from _folds(text, child)
    elif isinstance(node, SequenceNode):
        for child in node.items:
            yield _lines(text, child.place, end_of(text, child))
            yield from _folds(text, child)


def _lines(text: TextMap, begin: Place, end: int) -> tuple[int, int]:
    return text.position(text.start_of(begin)).line, text.position(end).line


def _comments(lines: list[str]) -> Iterator[tuple[int, int]]:
    first = None
    for number, line in enumerate([*lines, ""]):
        if line.lstrip().startswith("#"):
            first = number if first is None else first
        elif first is not None:
            yield first, number - 1
            first = None

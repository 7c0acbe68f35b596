"""From a name to where it is declared and where it is used, and all names of a file."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field

from modecheck.editor.mentions import Mention, Symbol, mentions_in_device, tree_of
from modecheck.editor.node_ends import NodeEnds, ends_in
from modecheck.editor.positions import Position, TextMap, TextSpan
from modecheck.editor.real_paths import real_path
from modecheck.editor.scenes import Scene
from modecheck.editor.session import EditorSession
from modecheck.editor.slots import NamesOf, slot_at
from modecheck.editor.tree_parts import node_about
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
    return list(_Outline(scene.kind, ends_of(session, scene, path)).entries(tree, ()))


def ends_of(session: EditorSession, scene: Scene, path: str) -> NodeEnds:
    """Where the parts of a file end."""
    text = session.workspace.map_of(path)
    return ends_in(text, scene.held.texts.get(real_path(path), text.text))


@dataclass(frozen=True, slots=True)
class _Outline:
    """Goes through the tree of a file of a kind."""

    kind: str
    ends: NodeEnds

    def entries(self, node: MappingNode, path: tuple[str, ...]) -> Iterator[OutlineEntry]:
        slot = slot_at(self.kind, path)
        named = slot.shape if slot is not None and isinstance(slot.shape, NamesOf) else None
        for name, child in node.entries.items():
            if slot is None or slot_at(self.kind, (*path, name)) is None:
                continue
            inside = list(self._inside(child, (*path, name)))
            if named is not None and named.declares and not is_each(name):
                key = self.ends.text.span_of(node.keys[name].place)
                whole = TextSpan(key.start, self.ends.of_key(node.keys[name].place))
                own = [one for one in inside if _is_within(one.whole, whole)]  # no alias
                yield OutlineEntry(name, named.kind, node_about(child), whole, key, own)
            else:
                yield from inside

    def _inside(self, node: Node, path: tuple[str, ...]) -> Iterator[OutlineEntry]:
        if isinstance(node, MappingNode):
            yield from self.entries(node, path)
        slot = slot_at(self.kind, path)
        shape = slot.shape if slot is not None else None
        if not isinstance(node, SequenceNode) or not isinstance(shape, NamesOf):
            return
        for item in node.items if shape.declares and shape.kind in ("state", "message") else ():
            if isinstance(item, ScalarNode):
                span = self.ends.text.span_of(item.place)
                yield OutlineEntry(item.text, shape.kind, "", span, span)


def _is_within(span: TextSpan, whole: TextSpan) -> bool:
    return whole.start <= span.start and span.end <= whole.end


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
    scene, text = session.scene(path), session.workspace.map_of(path)
    tree = tree_of(scene, path)
    found = set(_comments(text.text.split("\n")))
    if tree is not None:
        found |= set(_folds(ends_of(session, scene, path), tree))
    return sorted((first, last) for first, last in found if last > first)


def _folds(ends: NodeEnds, node: Node) -> Iterator[tuple[int, int]]:
    if isinstance(node, MappingNode):
        for name, child in node.entries.items():
            key = node.keys[name].place
            yield _lines(ends.text, key, ends.of_key(key))
            yield from _folds(ends, child)
    elif isinstance(node, SequenceNode):
        for child in node.items:
            yield _lines(ends.text, child.place, ends.of_item(child.place))
            yield from _folds(ends, child)


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

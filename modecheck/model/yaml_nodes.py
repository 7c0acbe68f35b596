"""Read YAML text into nodes that know their places.

Only the structure is taken from PyYAML, as a stream of events: scalars stay text until a reader
that knows what it expects interprets them by the YAML 1.2 core schema, so `on`, `off`, `yes` and
`no` are ordinary words. Working on events, without recursion, bounds what hostile input can cost:
nesting, size and what aliases expand to are counted while the tree grows.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import TypeAlias

import yaml

from modecheck.model.errors import Notebook
from modecheck.model.places import Place, Source
from modecheck.model.text_files import CONTROL, held_texts, read_text
from modecheck.model.yaml_errors import REMEDIES, slip_behind

DEEPEST = 60
"""Levels of nesting; composite states of real firmware nest three or four deep."""

MOST_NODES = 400_000
"""Nodes in one file, aliases counted as often as they are used (no exponential anchors)."""

INTEGER = re.compile(r"[-+]?[0-9]+|0o[0-7]+|0x[0-9a-fA-F]+")
LARGEST_INTEGER = 2**31 - 1
NO_KEY = "\0"
"""Replaces a key that is not a word: the value under it is left out."""

LONGEST_INTEGER = 12
"""Characters of an integer that are looked at; longer ones are out of range anyway."""


@dataclass(slots=True)
class ScalarNode:
    """A scalar as text; `plain` if it was written without quotes."""

    text: str
    plain: bool
    place: Place

    @property
    def is_null(self) -> bool:
        return self.plain and self.text in ("", "~", "null", "Null", "NULL")

    @property
    def truth(self) -> bool | None:
        """The boolean it spells by the YAML 1.2 core schema, or None."""
        if self.plain and self.text in ("true", "True", "TRUE"):
            return True
        return False if self.plain and self.text in ("false", "False", "FALSE") else None

    @property
    def looks_like_integer(self) -> bool:
        return self.plain and INTEGER.fullmatch(self.text) is not None

    @property
    def integer(self) -> int | None:
        """The integer it spells, or None when it spells none or one beyond 32 bits."""
        if not self.looks_like_integer or len(self.text) > LONGEST_INTEGER:
            return None
        base = {"0o": 8, "0x": 16}.get(self.text[:2], 10)
        value = int(self.text, base)
        return value if abs(value) <= LARGEST_INTEGER else None


@dataclass(slots=True)
class SequenceNode:
    """A list of nodes."""

    items: list[Node]
    place: Place


@dataclass(slots=True)
class MappingNode:
    """Names to nodes, in the order of the file; `keys` holds the nodes of the names.

    `layers` are the mappings that were merged to make it, if any.
    """

    entries: dict[str, Node]
    keys: dict[str, ScalarNode]
    place: Place
    layers: tuple[MappingNode, ...] = field(default=(), compare=False, repr=False)

    def get(self, name: str) -> Node | None:
        """The node under `name`; an explicit null counts as absent."""
        node = self.entries.get(name)
        return None if isinstance(node, ScalarNode) and node.is_null else node


Node: TypeAlias = ScalarNode | SequenceNode | MappingNode


def kind_of(node: Node) -> str:
    """What a node is, in words for an error message."""
    if isinstance(node, MappingNode):
        return "a mapping"
    if isinstance(node, SequenceNode):
        return "a list"
    return "an empty value" if node.is_null else f"{shortened(node.text)!r}"


def shortened(text: str, longest: int = 40) -> str:
    """Text for a message: on one line, cut when long."""
    flat = " ".join(text.split())
    return flat if len(flat) <= longest else flat[: longest - 1] + "…"


def read_yaml(path: str, notes: Notebook, *, named_at: Place | None = None) -> Node | None:
    """The single document of the file at `path`, or None after noting why it cannot be read.

    `named_at` is where another file names this one; a missing file is reported there.
    """
    text = read_text(path, notes, named_at)
    if text is None:
        return None
    held = held_texts()
    if held is None:
        return parse_yaml(path, text, notes)
    known = held.trees.get((path, text))
    if isinstance(known, Node):
        return known
    noted = len(notes)
    tree = parse_yaml(path, text, notes)
    if tree is not None and len(notes) == noted:
        held.trees[path, text] = tree
    return tree


def parse_yaml(path: str, text: str, notes: Notebook) -> Node | None:
    """The single document of a text, which is that of the file at `path`."""
    source = Source(path, tuple(text.splitlines()))
    return _TreeBuilder(source, notes).build(text)


@dataclass(slots=True)
class _Open:
    """A collection that is still being filled."""

    node: SequenceNode | MappingNode
    anchor: str | None
    size: int = 1
    key: ScalarNode | None = None


@dataclass(slots=True)
class _TreeBuilder:
    """Builds the tree of one file from PyYAML's events."""

    source: Source
    notes: Notebook
    root: Node | None = None
    open: list[_Open] = field(default_factory=list)
    anchors: dict[str, tuple[Node, int]] = field(default_factory=dict)
    size: int = 0
    documents: int = 0

    def build(self, text: str) -> Node | None:
        try:
            for event in self._events(text):
                if not self._take(event):
                    return None
        except yaml.MarkedYAMLError as error:
            self._note_yaml_error(error)
            return None
        except (yaml.YAMLError, ValueError) as error:
            self.notes.add(f"not valid YAML: {shortened(str(error), 80)}", self._at(0, 0))
            return None
        if self.root is None:
            self.notes.add("the file is empty", self._at(0, 0), expected="a mapping of keys")
        return self.root

    def _events(self, text: str) -> Iterator[yaml.Event]:
        loader = getattr(yaml, "CSafeLoader", yaml.SafeLoader)
        return yaml.parse(text, Loader=loader)

    def _at(self, line: int, column: int, width: int = 1) -> Place:
        return Place(self.source, line + 1, column + 1, width)

    def _place(self, event: yaml.Event) -> Place:
        start, end = event.start_mark, event.end_mark
        assert start is not None
        assert end is not None
        width = end.column - start.column if end.line == start.line else 1
        return self._at(start.line, start.column, max(width, 1))

    def _take(self, event: yaml.Event) -> bool:
        """Grow the tree by one event; False after an error that leaves nothing to continue with."""
        if isinstance(event, yaml.DocumentStartEvent):
            self.documents += 1
            if self.documents > 1:
                self.notes.add(
                    "this file has a second document", self._place(event), expected="one document"
                )
                return False
        elif isinstance(event, yaml.ScalarEvent):
            scalar = ScalarNode(event.value, event.style in (None, ""), self._place(event))
            self._note_odd(event, CONTROL.search(event.value))
            return self._put(scalar, event.anchor, 1)
        elif isinstance(event, yaml.AliasEvent):
            return self._put_alias(event)
        elif isinstance(event, yaml.SequenceStartEvent):
            return self._push(SequenceNode([], self._place(event)), event)
        elif isinstance(event, yaml.MappingStartEvent):
            return self._push(MappingNode({}, {}, self._place(event)), event)
        elif isinstance(event, yaml.CollectionEndEvent):
            done = self.open.pop()
            return self._put(done.node, done.anchor, done.size, counted=True)
        return True

    def _note_odd(self, event: yaml.NodeEvent, control: re.Match[str] | None = None) -> None:
        if control:
            message = f"a control character ({ord(control[0]):#04x}) in a text"
            self.notes.add(message, self._place(event), expected="text without control characters")
        tag = getattr(event, "tag", None)
        if tag not in (None, "!"):
            message = f"the tag {shortened(tag)!r} is not supported"
            self.notes.add(message, self._place(event), expected="the value without a tag")

    def _push(self, node: SequenceNode | MappingNode, event: yaml.CollectionStartEvent) -> bool:
        self._note_odd(event)
        if len(self.open) >= DEEPEST:
            limit = f"at most {DEEPEST} levels"
            self.notes.add("brackets are nested too deeply", node.place, expected=limit)
            return False
        self.open.append(_Open(node, event.anchor))
        return self._count(1, node.place)

    def _put_alias(self, event: yaml.AliasEvent) -> bool:
        known = self.anchors.get(event.anchor or "")
        if known is None:
            inside = any(level.anchor == event.anchor for level in self.open)
            problem = "contains itself" if inside else "has not been defined above"
            self.notes.add(f"the anchor {event.anchor!r} {problem}", self._place(event))
            return False
        node, size = known
        return self._count(size, self._place(event)) and self._put(node, None, size, counted=True)

    def _count(self, size: int, place: Place) -> bool:
        self.size += size
        if self.size > MOST_NODES:
            limit = f"at most {MOST_NODES:,} values, aliases expanded"
            self.notes.add("the file expands to too many values", place, expected=limit)
            return False
        return True

    def _put(self, node: Node, anchor: str | None, size: int, *, counted: bool = False) -> bool:
        if not counted and not self._count(size, node.place):
            return False
        if anchor:
            self.anchors[anchor] = (node, size)
        if not self.open:
            self.root = node
            return True
        parent = self.open[-1]
        parent.size += size
        if isinstance(parent.node, SequenceNode):
            items = parent.node.items
            if not self._is_cut(items[-1] if items else None, node):
                items.append(node)
        else:
            self._put_in_mapping(parent, parent.node, node)
        return True

    def _is_cut(self, before: Node | None, node: Node) -> bool:
        """Whether a comma has cut a text in brackets in two; if so, joins the two parts."""
        if not (isinstance(before, ScalarNode) and before.plain and isinstance(node, ScalarNode)):
            return False
        is_open = before.text.count("(") > before.text.count(")")
        if not (is_open and node.plain and ")" in node.text):
            return False
        before.text = f"{before.text}, {node.text}"
        expected = f'quotes around the whole text, "{shortened(before.text)}"'
        message = "a comma inside braces or brackets ends the text"
        self.notes.add(message, before.place, expected=expected)
        return True

    def _put_in_mapping(self, parent: _Open, mapping: MappingNode, node: Node) -> None:
        if parent.key is None:
            parent.key = self._as_key(node)
            return
        key, parent.key = parent.key, None
        last = next(reversed(mapping.entries.values()), None)
        if key.text == NO_KEY or self._is_cut(last, key):
            return
        if key.text in mapping.entries:
            first = mapping.keys[key.text].place.line
            message = f"{shortened(key.text)!r} is given twice, first in line {first}"
            self.notes.add(message, key.place, expected="each key once")
            return
        mapping.entries[key.text] = node
        mapping.keys[key.text] = key

    def _as_key(self, node: Node) -> ScalarNode:
        if isinstance(node, ScalarNode):
            return node
        self.notes.add(f"{kind_of(node)} cannot be a key", node.place, expected="a word")
        return ScalarNode(NO_KEY, False, node.place)

    def _place_of_error(self, error: yaml.MarkedYAMLError) -> Place:
        """The place of the error; past the last line, where its construct began, or its end."""
        lines = self.source.lines
        for mark in (error.problem_mark, error.context_mark):
            if mark is not None and mark.line < len(lines):
                return self._at(mark.line, mark.column)
        return self._at(len(lines) - 1, max(len(lines[-1]) - 1, 0)) if lines else self._at(0, 0)

    def _note_yaml_error(self, error: yaml.MarkedYAMLError) -> None:
        place = self._place_of_error(error)
        problem = error.problem or str(error)
        if "\t" in place.text[: place.column] and not place.text[: place.column].strip():
            self.notes.add("the line is indented with a tab", place, expected="spaces")
        elif "nesting" in problem:
            limit = f"at most {DEEPEST} levels"
            self.notes.add("brackets are nested too deeply", place, expected=limit)
        elif slip := slip_behind(error, self.source.lines):
            place = self._at(slip.line, slip.column, slip.width)
            self.notes.add(slip.message, place, expected=slip.expected)
        else:
            message = f"not valid YAML: {' '.join([problem, error.context or '']).rstrip()}"
            remedies = (remedy for part, remedy in REMEDIES.items() if part in problem)
            self.notes.add(message, place, expected=next(remedies, ""))

"""A device as it is written: the merged files as plain data, with a path to every rule.

A change is written at such a path, so that it can be laid over the device file, whatever file the
rule stands in. Chips that share a file, and whose files were changed alike, are changed together.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field

from modecheck.model.copies import is_each, unnumbered
from modecheck.model.errors import Notebook
from modecheck.model.overlays import beside, overlay, read_document
from modecheck.model.parts import Rule
from modecheck.model.places import Place
from modecheck.model.yaml_nodes import MappingNode, Node, ScalarNode, SequenceNode
from modecheck.repair.changes import Data, Value, nested

SECTIONS = ("chips", "actors")
ENTRY = ("file", "with", "copies")
"""Keys of a chip's entry that do not describe its behaviour."""


@dataclass(frozen=True, slots=True)
class WrittenRule:
    """A rule: the entry of its chip, the keys below it, and what is written there."""

    chip: str
    path: tuple[str, ...]
    data: Data
    place: Place

    @property
    def name(self) -> str:
        return self.path[-1]

    @property
    def inside(self) -> str:
        """The state that it is written in, or nothing."""
        before = self.path[: self.path.index("rules")]
        return before[-1] if before else ""

    def words(self, key: str) -> list[str]:
        """What is written under a key, as a list of texts."""
        return texts(self.data.get(key))


@dataclass(frozen=True, slots=True)
class WrittenChip:
    """A chip or actor. `states` maps each state that has a mapping or nothing to its path."""

    name: str
    section: str
    body: Data
    rules: tuple[WrittenRule, ...]
    states: dict[str, tuple[str, ...]]
    file: str

    def body_of(self, state: str) -> Data:
        """What is written of a state."""
        value: Value = self.body
        for key in self.states.get(state, ()):
            value = value.get(key) if isinstance(value, dict) else None
        return value if isinstance(value, dict) else {}


@dataclass(slots=True)
class WrittenDevice:
    """The whole device. `links` maps the name of each link to its path and what is written."""

    device: Data
    chips: dict[str, WrittenChip]
    links: dict[str, tuple[tuple[str, ...], Data]]
    _by_place: dict[str, WrittenRule] = field(default_factory=dict)

    def __post_init__(self) -> None:
        for chip in self.chips.values():
            for rule in chip.rules:
                self._by_place.setdefault(f"{chip.name} {rule.place}", rule)

    def rule(self, rule: Rule) -> WrittenRule | None:
        """Where a rule of the model is written; None where it stands in a list without names."""
        of_all = self._by_place.get(f"{unnumbered(rule.chip)} {rule.place}")
        return self._by_place.get(f"{rule.chip} {rule.place}", of_all)

    def alike(self, chip: str) -> list[str]:
        """The chips of the same file that are written alike, with this one."""
        mine = self.chips[chip]
        return [
            one.name
            for one in self.chips.values()
            if one is mine or (mine.file and one.file == mine.file and one.body == mine.body)
        ]

    def on_chip(self, chip: str, path: tuple[str, ...], value: Value, *, all_alike: bool) -> Data:
        """A change below the entry of a chip, or of all chips that are written alike."""
        names = self.alike(chip) if all_alike else [chip]
        section = self.chips[chip].section
        return {section: {name: nested(path, value) for name in names}}


def read_written(path: str) -> WrittenDevice:
    """The device file at `path`, which was read without an error before."""
    notes = Notebook()
    root = read_document(path, notes)
    assert root is not None
    chips = {
        name: _chip(name, section, child)
        for section in SECTIONS
        for name, child in _entries(root.get(section))
        if isinstance(child, MappingNode)
    }
    return WrittenDevice(_mapping(root), chips, dict(_links(root.get("links"), ("links",))))


def texts(value: Value) -> list[str]:
    """A text or a list of texts as a list."""
    items = value if isinstance(value, list) else [] if value is None else [value]
    return [str(one) for one in items]


def _entries(node: Node | None) -> Iterator[tuple[str, Node]]:
    if isinstance(node, MappingNode):
        yield from node.entries.items()


def _chip(name: str, section: str, entry: MappingNode) -> WrittenChip:
    file, body = entry.get("file"), None
    if isinstance(file, ScalarNode):
        body = read_document(beside(file, file.text), Notebook())
    for layer in entry.layers or (entry,):
        body = layer if body is None else overlay(body, layer)
    assert body is not None
    data = {key: value for key, value in _mapping(body).items() if key not in ENTRY}
    states = dict(_states(body, ()))
    rules = tuple(_rules_of(name, body, ()))
    path = beside(file, file.text) if isinstance(file, ScalarNode) else ""
    return WrittenChip(name, section, data, rules, states, path)


def _states(body: MappingNode, path: tuple[str, ...]) -> Iterator[tuple[str, tuple[str, ...]]]:
    for name, child in _entries(body.get("states")):
        inner = (*path, "states", name)
        yield name, inner
        if isinstance(child, MappingNode):
            yield from _states(child, inner)


def _rules_of(chip: str, body: MappingNode, path: tuple[str, ...]) -> Iterator[WrittenRule]:
    yield from _rules(chip, body.get("rules"), (*path, "rules"))
    for name, child in _entries(body.get("states")):
        if isinstance(child, MappingNode):
            yield from _rules_of(chip, child, (*path, "states", name))


def _rules(chip: str, node: Node | None, path: tuple[str, ...]) -> Iterator[WrittenRule]:
    for name, child in _entries(node):
        if is_each(name):
            yield from _rules(chip, child, (*path, name))
        elif isinstance(child, MappingNode):
            yield WrittenRule(chip, (*path, name), _mapping(child), child.place)


def _links(
    node: Node | None, path: tuple[str, ...]
) -> Iterator[tuple[str, tuple[tuple[str, ...], Data]]]:
    for name, child in _entries(node):
        if is_each(name):
            yield from _links(child, (*path, name))
        elif isinstance(child, MappingNode):
            yield name, ((*path, name), _mapping(child))


def _mapping(node: MappingNode) -> Data:
    return {name: _plain(child) for name, child in node.entries.items()}


def _plain(node: Node) -> Value:
    if isinstance(node, MappingNode):
        return _mapping(node)
    if isinstance(node, SequenceNode):
        return [_plain(item) for item in node.items]
    if node.is_null:
        return None
    if node.truth is not None:
        return node.truth
    return node.text if node.integer is None else node.integer

"""The names of a device as far as its files can be read: enough to complete and to find them.

Unlike `modecheck.model.devices` this never fails and judges nothing. Names are those that are
written, so of several copies there is one, and of a parameter the name and the values that it has.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field

from modecheck.editor.real_paths import real_path
from modecheck.editor.slots import SHAPES, NamesOf
from modecheck.editor.tree_parts import (
    entries_of,
    event_of,
    rules_in,
    signals_in,
    states_in,
    texts_in,
    unit_of,
    with_each,
    words_of_type,
)
from modecheck.model.copies import unnumbered
from modecheck.model.errors import InvalidInput, Notebook
from modecheck.model.keys import keys_of
from modecheck.model.overlays import beside, overlay
from modecheck.model.phrases import BRACED
from modecheck.model.yaml_nodes import (
    MappingNode,
    Node,
    ScalarNode,
    read_yaml,
)

WORD = re.compile(r"[^\W\d]\w*")
BEGUN = {
    key
    for shapes in SHAPES.values()
    for key, shape in shapes.items()
    if isinstance(shape, NamesOf) and shape.declares
}
"""The keys of sections."""


@dataclass(slots=True)
class ChipNames:
    """What a chip or an actor declares, and what its parameters are. `file` is the path of the file
    that describes it, or empty.

    `states` and `variables` map a name to its node, `signals` are those that its rules give, and
    `heard` the events that its rules wait for.
    `files` are the real paths of its file and of those beneath it.
    """

    name: str
    actor: bool
    file: str
    parameters: dict[str, str]
    body: MappingNode
    states: dict[str, Node] = field(default_factory=dict)
    variables: dict[str, Node] = field(default_factory=dict)
    timers: dict[str, Node] = field(default_factory=dict)
    constants: dict[str, Node] = field(default_factory=dict)
    rules: dict[str, Node] = field(default_factory=dict)
    signals: set[str] = field(default_factory=set)
    heard: set[str] = field(default_factory=set)
    copied: bool = False
    files: tuple[str, ...] = ()

    @property
    def lowest(self) -> str:
        """What chips share that share their names: the file beneath all others, or else nothing."""
        return self.files[-1] if self.files else self.name

    def declared(self, kind: str) -> dict[str, Node]:
        """What it declares of a kind, by name."""
        known = {
            "state": self.states,
            "variable": self.variables,
            "timer": self.timers,
            "rule": self.rules,
            "own_constant": self.constants,
        }
        return known.get(kind, {})

    def filled(self, text: str) -> str:
        """A text with parameters filled in: in braces, or as the whole of it."""
        values = self.parameters
        text = BRACED.sub(lambda match: values.get(match[1], match[1]), text)
        return values.get(text.strip(), text)

    def words_of(self, variable: str) -> tuple[str, ...]:
        """The words that a variable can hold, as far as it lists them itself."""
        return tuple(self.filled(word) for word in words_of_type(self.variables.get(variable)))

    @property
    def composites(self) -> set[str]:
        """The states with states inside."""
        return {
            name
            for name, node in self.states.items()
            if isinstance(node, MappingNode) and node.get("states") is not None
        }


@dataclass(slots=True)
class LinkNames:
    """A link: who sends, who receives, and its messages with their nodes."""

    name: str
    sender: str
    receivers: tuple[str, ...]
    carries: dict[str, Node | None]
    node: MappingNode


@dataclass(slots=True)
class DeviceNames:
    """All names of a device, each with its node. `special` are copies with a file of their own."""

    path: str
    chips: dict[str, ChipNames] = field(default_factory=dict)
    special: dict[str, ChipNames] = field(default_factory=dict)
    links: dict[str, LinkNames] = field(default_factory=dict)
    others: dict[str, dict[str, Node]] = field(default_factory=dict)

    @property
    def messages(self) -> set[str]:
        return {message for link in self.links.values() for message in link.carries}

    @property
    def signals(self) -> set[str]:
        given = (chip.signals for chip in self.chips.values())
        return set(self.of("signals")).union(*given)

    @property
    def nowhere_from(self) -> set[str]:
        """Events that rules wait for, and that nobody gives yet."""
        heard = set[str]().union(*(chip.heard for chip in self.chips.values()))
        return heard - self.messages - self.signals

    def chip_called(self, text: str) -> ChipNames | None:
        """The chip that a text names, or of which it names a copy, `tile[i + 1]`."""
        return self.special.get(text.strip()) or self.chips.get(unit_of(text))

    def described_in(self, path: str) -> list[ChipNames]:
        """The chips that the file with this real path describes."""
        every = (*self.chips.values(), *self.special.values())
        return [chip for chip in every if path in chip.files]

    def owned_by(self, owner: str) -> list[ChipNames]:
        """The chips that share their names under this owner, see `ChipNames.lowest`."""
        every = (*self.chips.values(), *self.special.values())
        return [chip for chip in every if chip.lowest == owner]

    def of(self, section: str) -> dict[str, Node]:
        """The names in a section, such as `modes`."""
        return self.others.get(section, {})

    def incoming(self, chip: str) -> list[LinkNames]:
        return [link for link in self.links.values() if unit_of(chip) in link.receivers]

    def outgoing(self, chip: str) -> list[LinkNames]:
        return [link for link in self.links.values() if link.sender == unit_of(chip)]

    def events_of(self, chip: str) -> set[str]:
        """The messages and signals that can reach a chip."""
        own = self.chips[chip].signals if chip in self.chips else set[str]()
        others = {one for name, c in self.chips.items() if name != chip for one in c.signals}
        messages = {message for link in self.incoming(chip) for message in link.carries}
        return messages | others | own

    def words_of(self, chip: ChipNames, variable: str) -> tuple[str, ...]:
        """The words that a variable can hold; those of an enumeration, if it names one."""
        words = chip.words_of(variable)
        if len(words) == 1 and words[0] in self.of("enumerations"):
            return tuple(texts_in(self.of("enumerations")[words[0]]))
        return words


SECTIONS = (
    "modes", "pairings", "options", "requirements", "constants", "enumerations", "lists", "chances",
    "signals",
)  # fmt: skip


def names_of(path: str) -> DeviceNames:
    """The names of the device in the file at `path`, and in all files that it names."""
    notes = Notebook()
    names = DeviceNames(path)
    document = _quietly(path, notes)
    if document is None:
        return names
    for section in ("chips", "actors"):
        for key, node in entries_of(document.get(section)):
            chip = _chip(unnumbered(key), node, notes, actor=section == "actors")
            if chip is not None and (unnumbered(key) == key or chip.name not in names.chips):
                names.chips[chip.name] = chip
            if unnumbered(key) != key and isinstance(node, MappingNode) and node.get("file"):
                _add_special(names, document, key, notes)
    for key, node in with_each(document.get("links")):
        if isinstance(node, MappingNode):
            names.links[key] = _link(key, node)
    for section in SECTIONS:
        names.others[section] = dict(with_each(document.get(section)))
    return names


def _add_special(names: DeviceNames, document: MappingNode, key: str, notes: Notebook) -> None:
    """A copy that has a file of its own, and all else from the entry of the others."""
    for section in ("chips", "actors"):
        inside = document.get(section)
        own = inside.get(key) if isinstance(inside, MappingNode) else None
        others = inside.get(unnumbered(key)) if isinstance(inside, MappingNode) else None
        if isinstance(own, MappingNode) and isinstance(others, MappingNode):
            chip = _chip(key, overlay(others, own), notes, actor=section == "actors")
            if chip is not None:
                names.special[key] = chip


def _quietly(path: str, notes: Notebook, chain: tuple[str, ...] = ()) -> MappingNode | None:
    """The mapping in a file, laid over the file that it is based on."""
    if real_path(path) in chain:
        return None
    try:
        node = read_yaml(path, notes)
    except InvalidInput:
        return None
    if not isinstance(node, MappingNode):
        return None
    node = without_begun(node)
    base = node.get("based_on")
    if not isinstance(base, ScalarNode):
        return node
    beneath = _quietly(beside(base, base.text), notes, (*chain, real_path(path)))
    return overlay(beneath, node) if beneath is not None else node


def without_begun(node: MappingNode) -> MappingNode:
    """A mapping without sections in which nothing stands yet: laid over others, they would remove
    what these have. Who means that writes `null`.
    """
    kept = {
        key: without_begun(child) if isinstance(child, MappingNode) else child
        for key, child in node.entries.items()
        if not (key in BEGUN and isinstance(child, ScalarNode) and child.plain and not child.text)
    }
    return MappingNode(kept, node.keys, node.place)


def _chip(name: str, node: Node, notes: Notebook, *, actor: bool) -> ChipNames | None:
    if not isinstance(node, MappingNode):
        return None
    known = keys_of("behaviour")
    body = MappingNode(
        {key: child for key, child in node.entries.items() if key in known},
        {key: child for key, child in node.keys.items() if key in known},
        node.place,
    )
    path, file = "", node.get("file")
    if isinstance(file, ScalarNode):
        path = beside(file, file.text)
        document = _quietly(path, notes)
        body = overlay(document, body) if document is not None else body
    parameters = {
        key: child.text
        for section in (body.get("parameters"), node.get("with"))
        for key, child in entries_of(section)
        if isinstance(child, ScalarNode) and not child.is_null
    }
    chip = ChipNames(name, actor, path, parameters, body, copied=node.get("copies") is not None)
    chip.files = _files(path, notes) if path else ()
    _fill_in(chip)
    return chip


def _files(path: str, notes: Notebook) -> tuple[str, ...]:
    """The real paths of a chip's file and of those beneath it, the lowest last."""
    found: list[str] = []
    while real_path(path) not in found:
        found.append(real_path(path))
        try:
            node = read_yaml(path, notes)
        except InvalidInput:
            break
        base = node.get("based_on") if isinstance(node, MappingNode) else None
        if not isinstance(base, ScalarNode):
            break
        path = beside(base, base.text)
    return tuple(found)


def _fill_in(chip: ChipNames) -> None:
    body = chip.body
    chip.states = dict(states_in(body))
    chip.variables = dict(entries_of(body.get("variables")))
    chip.timers = dict(entries_of(body.get("timers")))
    chip.constants = dict(entries_of(body.get("constants")))
    bodies = [body, *(node for node in chip.states.values() if isinstance(node, MappingNode))]
    for one in bodies:
        for title, rule in rules_in(one.get("rules")):
            if title:
                chip.rules[title] = rule
            chip.signals |= {chip.filled(text) for text in signals_in(rule)}
            chip.heard |= {chip.filled(event_of(text)) for text in texts_in(rule.get("on"))}


def _link(name: str, node: MappingNode) -> LinkNames:
    sender = next(texts_in(node.get("from")), "")
    receivers = tuple(map(unit_of, texts_in(node.get("to"))))
    carries: dict[str, Node | None] = dict.fromkeys(texts_in(node.get("carries")))
    carries.update(entries_of(node.get("carries")))
    can = node.get("can")
    if "corrupt" in texts_in(can):
        carries.setdefault("corrupted", None)
    return LinkNames(name, unit_of(sender), receivers, carries, node)

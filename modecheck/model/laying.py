"""What a file that is laid over another adds and removes: reported, or rejected as a typing error.

A misspelt name in an overlay adds a new part. So every added part is reported; a part that is
incomplete by itself and whose name is close to another's was meant to change that other one, and is
rejected. Removing what is not there is rejected too, and what was removed is remembered, since
other parts may still refer to it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from typing import TypeAlias

from modecheck.model.copies import is_each, unnumbered
from modecheck.model.errors import Notebook, nearest_name
from modecheck.model.outlines import TYPE_KEYS
from modecheck.model.overlays import Watcher, beside
from modecheck.model.remarks import Addition
from modecheck.model.requirements import PATTERNS
from modecheck.model.rule_drafts import WAITING, has_effect, name_of_signal
from modecheck.model.yaml_nodes import (
    MappingNode,
    Node,
    ScalarNode,
    SequenceNode,
    read_yaml,
    shortened,
)

Whole: TypeAlias = Callable[[Node, Node], bool]
"""Whether a part is complete by itself; the second node is the part with a similar name."""


@dataclass(frozen=True, slots=True)
class Section:
    """Named parts under one key: what one of them is called, and the sections inside it.

    `inside` is None where another observer checks it; `blank` allows a part that is null.
    """

    kind: str
    inside: dict[str, Section] | None = field(default_factory=dict)
    whole: Whole = lambda node, near: True  # noqa: ARG005
    blank: bool = False


def _has(*keys: str) -> Whole:
    """Whether it is a mapping with all of these keys."""
    return lambda node, near: all(map(_given(node), keys))  # noqa: ARG005


def _has_any(*keys: str) -> Whole:
    """Whether it is a mapping with one of these keys."""
    return lambda node, near: any(map(_given(node), keys))  # noqa: ARG005


def _given(node: Node) -> Callable[[str], bool]:
    return lambda key: isinstance(node, MappingNode) and node.get(key) is not None


def _whole_rule(node: Node, near: Node) -> bool:
    """It does something, and says when, if the rule with the similar name does."""
    consumes = any(map(_given(node), ("on", "expires")))
    if not (isinstance(node, MappingNode) and (has_effect(node) or consumes)):
        return False
    waiting = ("on", *WAITING)
    return all(
        any(map(_given(node), keys)) or not any(map(_given(near), keys))
        for keys in (waiting, ("in", "if", *waiting))
    )


def _whole_requirement(node: Node, near: Node) -> bool:
    return _has("text")(node, near) and _has_any(*PATTERNS)(node, near)


def _whole_variable(node: Node, near: Node) -> bool:
    return isinstance(node, ScalarNode) or _has_any(*TYPE_KEYS)(node, near)


RULES = Section("rule", whole=_whole_rule)
_IN_A_STATE: dict[str, Section] = {"rules": RULES}
_IN_A_STATE["states"] = Section("state", _IN_A_STATE)
IN_A_CHIP = {
    **_IN_A_STATE,
    "parameters": Section("parameter", blank=True),
    "variables": Section("variable", whole=_whole_variable),
    "timers": Section("timer"),
}
IN_A_DEVICE = {
    "chips": Section("chip", None, _has_any("file", "states")),
    "actors": Section("actor", None, _has_any("file", "states")),
    "links": Section("link", {"carries": Section("message")}, _has("from", "to", "carries")),
    "signals": Section("signal", whole=_has_any(*TYPE_KEYS)),
    "modes": Section("mode"),
    "pairings": Section("pairing", whole=_has("ends")),
    "options": Section("option"),
    "requirements": Section("requirement", whole=_whole_requirement),
    "chances": Section("question"),
}


@dataclass(frozen=True, slots=True)
class Laying:
    """A file, or an entry of one, laid over `base`: all of a device, or of the `chip` (as in
    "chip pedal").

    Unless it is an `overlay`, a new part is reported only if its name is close to another one.
    """

    notes: Notebook
    base: MappingNode
    chip: str = ""
    overlay: bool = True

    def observer(self) -> Watcher:
        return _Record(self, IN_A_CHIP if self.chip else IN_A_DEVICE, self.chip)

    def added(
        self, section: Section, key: ScalarNode, node: Node, beside: MappingNode, what: str
    ) -> bool:
        """Report a new part; False, after noting an error, if it is a typing error."""
        others = {**_parts_of(section.kind, self.base), **beside.entries}
        near = nearest_name(key.text, others)
        name = shortened(key.text)
        if near and not section.whole(node, others[near]):
            to = f" to {what}" if what else ""
            message = f"overlay adds {section.kind} {name!r}{to} (close to {near!r})"
            expected = f"{near!r}, or a {section.kind} that is complete by itself"
            self.notes.add(message, key.place, expected=expected)
            return False
        if near or self.overlay:
            addition = Addition(section.kind, name, self.chip or what, near, key.place)
            self.notes.additions.append(addition)
        return True

    def gone(self, words: set[str], key: ScalarNode, how: str) -> None:
        for word in words:
            self.notes.removed[word] = f"{key.place} {how}"


@dataclass(frozen=True, slots=True)
class _Record(Watcher):
    """Observes the keys of a record, some of which hold sections."""

    laying: Laying
    sections: dict[str, Section]
    what: str

    def adds(self, base: MappingNode, key: ScalarNode, node: Node) -> bool:  # noqa: ARG002
        section = self.sections.get(key.text)
        if section is not None and isinstance(node, MappingNode):
            nothing = MappingNode({}, {}, node.place)
            for name, child in node.entries.items():
                self.laying.added(section, node.keys[name], child, nothing, self.what)
        return True

    def lacks(self, base: MappingNode, key: ScalarNode) -> bool:
        where = f" in {self.what}" if self.what else ""
        message = f"there is no {shortened(key.text)!r}{where} to remove"
        self.laying.notes.add(message, key.place, word=key.text, choices=base.entries)
        return False

    def removes(self, beneath: Node, key: ScalarNode) -> None:
        self.laying.gone(self._words(key, beneath), key, f"removes {self._told(key)}")

    def replaces(self, beneath: Node, key: ScalarNode, node: Node) -> None:
        words = self._words(key, beneath) - self._words(key, node)
        self.laying.gone(words, key, f"replaces {self._told(key)}")
        if (
            key.text in self.sections
            and isinstance(beneath, SequenceNode)
            and isinstance(node, MappingNode)
        ):
            kind = self.sections[key.text].kind
            message = f"the {kind}s{self._of()} are a list, so none of them can be changed by name"
            expected = (
                f"a list, which replaces all {len(beneath.items)}, or names for the {kind}s there"
            )
            self.laying.notes.add(message, key.place, expected=expected)

    def inside(self, key: ScalarNode) -> Watcher:
        section = self.sections.get(key.text)
        if section is not None:
            return _Parts(self.laying, section, self.what)
        return _Record(self.laying, {}, f"{key.text!r}{self._of()}")

    def _words(self, key: ScalarNode, node: Node) -> set[str]:
        """The names that other parts may use and that are gone with such a key."""
        return set(_words_in(key.text, node, self.sections))

    def _told(self, key: ScalarNode) -> str:
        return f"{key.text!r}{self._of()}"

    def _of(self) -> str:
        return f" of {self.what}" if self.what else ""


@dataclass(frozen=True, slots=True)
class _Parts(Watcher):
    """Observes the names in a section."""

    laying: Laying
    section: Section
    what: str

    def adds(self, base: MappingNode, key: ScalarNode, node: Node) -> bool:
        if is_each(key.text):
            inside = node if isinstance(node, MappingNode) else MappingNode({}, {}, node.place)
            added = [
                self.laying.added(self.section, inside.keys[name], child, base, self.what)
                for name, child in inside.entries.items()
            ]
            return all(added)
        if self.section.inside is None and unnumbered(key.text) in base.entries:
            return True  # one of several copies
        return self.laying.added(self.section, key, node, base, self.what)

    def lacks(self, base: MappingNode, key: ScalarNode) -> bool:
        if self.section.blank:
            return True
        where = f" in {self.what}" if self.what else ""
        message = f"there is no {self.section.kind} {shortened(key.text)!r}{where} to remove"
        choices = {**_parts_of(self.section.kind, self.laying.base), **base.entries}
        expected = "" if choices else f"an existing {self.section.kind}"
        self.laying.notes.add(message, key.place, word=key.text, choices=choices, expected=expected)
        return False

    def removes(self, beneath: Node, key: ScalarNode) -> None:
        self.laying.gone(self._words(key, beneath), key, f"removes the {self._told(key)}")

    def replaces(self, beneath: Node, key: ScalarNode, node: Node) -> None:
        words = self._words(key, beneath) - self._words(key, node)
        self.laying.gone(words, key, f"replaces the {self._told(key)}")

    def inside(self, key: ScalarNode) -> Watcher:
        if is_each(key.text):
            return self
        if self.section.inside is None:
            return Watcher()
        return _Record(self.laying, self.section.inside, self._told(key))

    def _words(self, key: ScalarNode, node: Node) -> set[str]:
        return set(_words_of(self.section, key.text, node))

    def _told(self, key: ScalarNode) -> str:
        of = f" of {self.what}" if self.what else ""
        return f"{self.section.kind} {key.text!r}{of}"


def _parts_of(kind: str, base: MappingNode) -> dict[str, Node]:
    """The rules or states of a chip, including those inside states; other kinds do not nest."""
    found: dict[str, Node] = {}
    for key, section in _IN_A_STATE.items():
        node = base.get(key)
        for name, child in node.entries.items() if isinstance(node, MappingNode) else ():
            if section.kind == kind:
                found[name] = child
            if key == "states" and isinstance(child, MappingNode):
                found |= _parts_of(kind, child)
    return found


def _words_of(section: Section, name: str, node: Node) -> Iterator[str]:
    """The words that are gone with a part: its name, and what it signalled or carried."""
    if section.kind != "rule":
        yield name
    if isinstance(node, MappingNode):
        if section.inside is None and isinstance(file := node.get("file"), ScalarNode):
            read = read_yaml(beside(file, file.text), Notebook())
            yield from _words_of(section, name, read) if isinstance(read, MappingNode) else ()
        for key, child in node.entries.items():
            yield from _words_in(
                key, child, IN_A_CHIP if section.inside is None else section.inside
            )


def _words_in(key: str, node: Node, sections: dict[str, Section]) -> Iterator[str]:
    if key in ("signal", "carries"):
        items = node.items if isinstance(node, SequenceNode) else [node]
        texts = (item.text for item in items if isinstance(item, ScalarNode))
        yield from map(name_of_signal, texts)
    section = sections.get(key)
    if section is None:
        return
    if isinstance(node, MappingNode):
        for name, child in node.entries.items():
            yield from _words_of(section, name, child)
    elif isinstance(node, SequenceNode):
        for item in node.items:
            yield from _words_of(section, item.text if isinstance(item, ScalarNode) else "", item)

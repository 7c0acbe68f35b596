"""The names of events in an SCXML document, as a model calls them.

In an export of ours, `hello.up` is the message `hello` of the link `up`, and `hello` any `hello`.
Elsewhere the parts of a name mean nothing to a model: `door.open` becomes `door_open`. An event
descriptor stands for all events that begin with its tokens (W3C SCXML, section 3.12.1).
"""

from __future__ import annotations

import re
from collections.abc import Iterator

from modecheck.exchange.scxml_chart import name_of_id
from modecheck.exchange.xml_reading import XmlAttribute, XmlNode
from modecheck.model.errors import Notebook
from modecheck.model.places import Place

FROM_PROCESSOR = ("done", "error")
"""First tokens of events that only a processor of SCXML gives."""

MOST_EVENTS = 200
"""Events that one descriptor may stand for: each is named in the chip file."""


def tokens_of(event: str) -> tuple[str, ...]:
    """Of an event, or of a descriptor without its wildcard."""
    return tuple(event.removesuffix(".*").removesuffix(".").split("."))


class EventIndex:
    """Finds what events and descriptors match, however many there are: `events` by descriptor, and
    the nodes with a descriptor by event. `around` has the element around each transition, by its
    `id()`.
    """

    def __init__(self, root: XmlNode) -> None:
        self.events: dict[str, None] = {}
        self.around: dict[int, XmlNode] = {}
        self._events: dict[tuple[str, ...], list[str]] = {}
        self._nodes: dict[tuple[str, ...], dict[int, XmlNode]] = {}
        self._add(root)

    def _add(self, node: XmlNode) -> None:
        attribute = node.get("event")
        for one, _ in descriptors(attribute) if attribute is not None else ():
            if node.tag == "transition":
                self._nodes.setdefault(tokens_of(one), {})[id(node)] = node
            tokens = tokens_of(one)
            event = ".".join(tokens)
            if one != "*" and event not in self.events:
                self.events[event] = None
                for count in range(1, len(tokens) + 1):
                    self._events.setdefault(tokens[:count], []).append(event)
        for child in node.children:
            if child.tag == "transition":
                self.around[id(child)] = node
            self._add(child)

    def matched_by(self, descriptor: str) -> list[str]:
        """The events of the document that a descriptor matches, in document order."""
        if descriptor == "*":
            return list(self.events)
        return self._events.get(tokens_of(descriptor), [])

    def waiting_for(self, event: str) -> list[XmlNode]:
        """The transitions with a descriptor that matches an event."""
        tokens = tokens_of(event)
        keys = [("*",), *(tokens[:count] for count in range(1, len(tokens) + 1))]
        found: dict[int, XmlNode] = {}
        for key in keys:
            found |= self._nodes.get(key, {})
        return list(found.values())


def descriptors(attribute: XmlAttribute) -> Iterator[tuple[str, Place]]:
    """Each with its place."""
    for match in re.finditer(r"\S+", attribute.text):
        yield match[0], attribute.part(match.start(), len(match[0]))


def event_name(event: str, *, own: bool) -> str:
    """An event as the model calls it."""
    parts = list(tokens_of(event))
    if not own:
        return name_of_id("_".join(parts))
    names: list[str] = []
    for part in parts:
        if part.isdigit() and names:
            names[-1] += f"[{part}]"
        else:
            names.append(name_of_id(part))
    return f"{names[0]} via {'_'.join(names[1:])}" if len(names) > 1 else names[0]


def heard(
    attribute: XmlAttribute, index: EventIndex, notes: Notebook, *, own: bool
) -> tuple[str, ...]:
    """The events of a transition, as the model calls them, each once."""
    found: dict[str, None] = {}
    for descriptor, place in descriptors(attribute):
        if tokens_of(descriptor)[0] in FROM_PROCESSOR and not own:
            message = f"{descriptor!r} is an event that only a processor of SCXML gives"
            notes.add(message, place, expected="a message or a signal of the model")
            continue
        if own and descriptor != "*":
            found[event_name(descriptor, own=own)] = None
            continue
        matched = index.matched_by(descriptor)
        if len(matched) > MOST_EVENTS:
            message = f"{descriptor!r} matches {len(matched):,} events of the document"
            notes.add(message, place, expected=f"at most {MOST_EVENTS}")
            continue
        found |= {event_name(one, own=own): None for one in matched}
    return tuple(found)

"""The names of events in an SCXML document, as a model calls them.

In an export of ours, `hello.up` is the message `hello` of the link `up`, and `hello` any `hello`.
Elsewhere the parts of a name mean nothing to a model: `door.open` becomes `door_open`. An event
descriptor stands for all events that begin with its tokens (W3C SCXML, section 3.12.1).
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator

from modecheck.exchange.scxml_chart import name_of_id
from modecheck.exchange.xml_reading import XmlAttribute, XmlNode
from modecheck.model.errors import Notebook
from modecheck.model.places import Place

FROM_PROCESSOR = ("done", "error")
"""First tokens of events that only a processor of SCXML gives."""


def tokens_of(event: str) -> tuple[str, ...]:
    """Of an event, or of a descriptor without its wildcard."""
    return tuple(event.removesuffix(".*").removesuffix(".").split("."))


def matches(descriptor: str, event: str) -> bool:
    """Whether a descriptor matches an event."""
    if descriptor == "*":
        return True
    tokens = tokens_of(descriptor)
    return tokens_of(event)[: len(tokens)] == tokens


def descriptors(attribute: XmlAttribute) -> Iterator[tuple[str, Place]]:
    """Each with its place."""
    for match in re.finditer(r"\S+", attribute.text):
        yield match[0], attribute.part(match.start(), len(match[0]))


def known_events(node: XmlNode) -> Iterator[str]:
    """All events that a document names as such."""
    attribute = node.get("event")
    for one, _ in descriptors(attribute) if attribute is not None else ():
        if one != "*":
            yield ".".join(tokens_of(one))
    for child in node.children:
        yield from known_events(child)


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
    attribute: XmlAttribute, known: Iterable[str], notes: Notebook, *, own: bool
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
        found |= {event_name(one, own=own): None for one in known if matches(descriptor, one)}
    return tuple(found)

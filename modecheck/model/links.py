"""Read links: which chip sends to which, over which medium, and what can be lost."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import replace

from modecheck.model.copies import unnumbered
from modecheck.model.errors import differs_by_a_slip
from modecheck.model.key_readers import KeyReader
from modecheck.model.keys import keys_of
from modecheck.model.outlines import OutlineReader, is_empty
from modecheck.model.parts import MEDIA, Link, Message
from modecheck.model.phrases import Phrases
from modecheck.model.scopes import Scope
from modecheck.model.shapes import Shapes
from modecheck.model.yaml_nodes import MappingNode, Node, ScalarNode, kind_of

MESSAGE_KINDS = ("event", "state", "relative")
LINK_FAULTS = ("lose", "duplicate", "corrupt")
CORRUPTED = "corrupted"
"""The message that a link delivers in the place of one that it has corrupted."""


A_CHIP = "the name of a chip"


class LinkReader:
    """Reads the links of one device; `corrupting` names those that a fault of the device corrupts,
    whether or not they say so themselves.
    """

    def __init__(
        self, shapes: Shapes, phrases: Phrases, scope: Scope, corrupting: Collection[str] = ()
    ) -> None:
        self._shapes = shapes
        self._notes = shapes.notes
        self._phrases = phrases
        self._scope = scope
        self._corrupting = corrupting

    def links(self, name: str, key: ScalarNode, node: Node) -> list[Link]:
        """The link under `key`, or one for each receiver of a broadcast; none if its ends or its
        messages are invalid.
        """
        record = self._shapes.record(
            node, f"the link {name!r}", keys_of("link"), required=("from", "to", "carries")
        )
        if record is None:
            return []
        sender = self._end(self._shapes.scalar(record.entries["from"], "from", A_CHIP))
        receivers = self._receivers(record.entries["to"], sender)
        before = len(self._notes)
        can = self._can(record)
        carries = self._messages(record.entries["carries"])
        corrupts = "corrupt" in can or not {name, unnumbered(name)}.isdisjoint(self._corrupting)
        if corrupts:
            self._add_corrupted(carries, key)
        understood = len(self._notes) == before
        if sender is None or receivers is None or not understood:
            return []
        self._note_lossless(record, can)
        link = Link(
            name=name,
            sender=sender,
            receiver=receivers[0],
            carries=carries,
            loses="lose" in can,
            duplicates="duplicate" in can,
            corrupts=corrupts,
            place=key.place,
            **KeyReader(self._shapes, self._phrases, self._scope).values(keys_of("link"), record),
        )
        self._note_unordered(record, link)
        self._note_misspelt_medium(record, link)
        if len(receivers) == 1:
            return [link]
        return [
            replace(link, name=f"{name}_to_{chip}", receiver=chip, broadcast=name)
            for chip in receivers
        ]

    def _end(self, scalar: ScalarNode | None) -> str | None:
        if scalar is None:
            return None
        filled, copies = self._phrases.fill(scalar), self._phrases.copies
        if filled.text in copies.counts:
            message = f"{filled.text!r} stands for {copies.told(filled.text)}"
            expected = f"one of them, or a link under 'each {filled.text}'"
            self._notes.add(message, scalar.place, expected=expected)
            return None
        known = {*self._scope.chips, *self._scope.broken}
        return self._shapes.known(filled, "chip", known)

    def _receivers(self, node: Node, sender: str | None) -> list[str] | None:
        """The chip that receives, or all that hear a broadcast; None if one of them is invalid."""
        given = self._shapes.scalars(node, "to", A_CHIP)
        filled = [self._phrases.fill(scalar) for scalar in given]
        names = self._phrases.copies.names
        scalars = [replace(one, text=name) for one in filled for name in names(one.text)]
        found: list[str] = []
        for scalar in scalars:
            chip = self._end(scalar)
            if chip in found:
                self._notes.add(f"{chip!r} is given twice", scalar.place, expected="each once")
            elif chip is not None and chip == sender:
                # A chip keeps its own data in a variable, which no link can lose.
                message = f"the link leads from {chip} to itself"
                expected = "two different chips; a chip keeps its own data in a variable or a timer"
                self._notes.add(message, scalar.place, expected=expected)
            elif chip is not None:
                found.append(chip)
        if not scalars and (isinstance(node, ScalarNode) or is_empty(node)):
            self._notes.add("'to' names no chip", node.place, expected=A_CHIP)
        return found if found and len(found) == len(scalars) else None

    def _add_corrupted(self, carries: dict[str, Message], key: ScalarNode) -> None:
        """What arrives in the place of a message that is corrupted on the way."""
        own = carries.get(CORRUPTED)
        if own is not None:
            message = f"{CORRUPTED!r} is what a link delivers when it has corrupted a message"
            self._notes.add(message, own.place, expected="another name")
        carries[CORRUPTED] = Message(CORRUPTED, "event", None, key.place)

    def _note_unordered(self, record: MappingNode, link: Link) -> None:
        """Note what makes no sense on a link in which messages have no order."""
        if link.order != "any":
            return
        if link.capacity == 1:
            message = "'order: any' on a link that holds one message"
            self._notes.add(
                message, record.keys["order"].place, expected="a 'capacity' of 2 or more"
            )
        if link.when_full == "drop_old":
            message = "'drop_old' on a link in which messages may overtake each other"
            expected = "'drop_new', 'wait' or 'error': none of them is the oldest"
            self._notes.add(message, record.entries["when_full"].place, expected=expected)
        for one in link.carries.values():
            if one.kind != "event":
                does = "replaced" if one.kind == "state" else "added to"
                message = f"{one.name!r} is a {one.kind} on a link with 'order: any'"
                expected = f"an event: one that may have been overtaken is not {does}"
                self._notes.add(message, one.place, expected=expected)

    def _note_misspelt_medium(self, record: MappingNode, link: Link) -> None:
        """A word of the user's own is fine, but not one that differs by a slip of the pen from a
        known one: the link would silently be of a medium that nobody has to certify again.
        """
        near = next((one for one in MEDIA if differs_by_a_slip(link.medium, one)), None)
        if near is not None:
            message = f"the medium {link.medium!r} is nearly {near!r}"
            expected = f"{near!r}, or a word that differs more from it"
            self._notes.add(message, record.entries["medium"].place, expected=expected)

    def _can(self, record: MappingNode) -> set[str]:
        scalars = self._shapes.scalars(record.get("can"), "a fault", "lose, duplicate or corrupt")
        found = (self._shapes.known(scalar, "fault of a link", LINK_FAULTS) for scalar in scalars)
        return {fault for fault in found if fault}

    def _note_lossless(self, record: MappingNode, can: set[str]) -> None:
        if record.get("loses") is not None and "lose" not in can:
            message = "'loses' on a link that cannot lose messages"
            self._notes.add(message, record.keys["loses"].place, expected="'can: [lose]' as well")

    def _messages(self, node: Node) -> dict[str, Message]:
        messages: dict[str, Message] = {}
        if isinstance(node, MappingNode):
            for name, key, child in self._shapes.named(node, "carries"):
                message = self._message(name, key, child)
                if message is not None:
                    messages[name] = message
        else:
            for scalar in self._shapes.scalars(node, "a message", "the name of a message"):
                name_or_none = self._shapes.identifier(scalar, "the name of a message")
                if name_or_none in messages:
                    self._notes.add(
                        f"{scalar.text!r} is given twice", scalar.place, expected="each once"
                    )
                elif name_or_none:
                    messages[name_or_none] = Message(name_or_none, "event", None, scalar.place)
        if not messages and (isinstance(node, ScalarNode) or is_empty(node)):
            expected = "the names of messages"
            self._notes.add(
                f"{kind_of(node)} cannot be used as carries", node.place, expected=expected
            )
        return messages

    def _message(self, name: str, key: ScalarNode, node: Node) -> Message | None:
        if isinstance(node, ScalarNode) and not node.is_null:
            kind = self._shapes.choice(node, "a kind of message", MESSAGE_KINDS, "event")
            record = MappingNode({}, {}, node.place)
            payload = True
        else:
            found = self._shapes.record(node, f"the message {name!r}", keys_of("message"))
            if found is None:
                return None
            record = found
            kind = self._shapes.choice(record.get("kind"), "kind", MESSAGE_KINDS, "event")
            payload = record.get("kind") is not None
        typed = any(record.get(key) is not None for key in ("bool", "range", "one_of"))
        reader = OutlineReader(self._shapes, self._phrases, self._scope.shared)
        type_ = reader.type(record, key.place, name) if typed else None
        if kind == "relative" and (type_ is None or type_.kind != "number"):
            message = f"the relative message {name!r} has no amount"
            self._notes.add(message, key.place, expected="a 'range' of amounts")
            return None
        return Message(name, kind, type_, key.place, payload)

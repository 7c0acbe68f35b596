"""Read links: which chip sends to which, over which medium, and what can be lost."""

from __future__ import annotations

from modecheck.model.key_readers import KeyReader
from modecheck.model.keys import keys_of
from modecheck.model.meaning import Scope
from modecheck.model.outlines import OutlineReader, is_empty
from modecheck.model.parts import Link, Message
from modecheck.model.phrases import Phrases
from modecheck.model.shapes import Shapes
from modecheck.model.yaml_nodes import MappingNode, Node, ScalarNode, kind_of

MESSAGE_KINDS = ("event", "state", "relative")
LINK_FAULTS = ("lose", "duplicate")


class LinkReader:
    """Reads the links of one device."""

    def __init__(self, shapes: Shapes, phrases: Phrases, scope: Scope) -> None:
        self._shapes = shapes
        self._notes = shapes.notes
        self._phrases = phrases
        self._scope = scope

    def link(self, name: str, key: ScalarNode, node: Node) -> Link | None:
        """The link under `key`, or None if its ends or its messages are invalid."""
        record = self._shapes.record(
            node, f"the link {name!r}", keys_of("link"), required=("from", "to", "carries")
        )
        if record is None:
            return None
        ends = [self._end(record, side) for side in ("from", "to")]
        looped = self._is_loop(record, ends)
        before = len(self._notes)
        carries = self._messages(record.entries["carries"])
        understood = len(self._notes) == before
        can = self._can(record)
        sender, receiver = ends
        if sender is None or receiver is None or looped or not understood:
            return None
        self._note_lossless(record, can)
        return Link(
            name=name,
            sender=sender,
            receiver=receiver,
            carries=carries,
            loses="lose" in can,
            duplicates="duplicate" in can,
            place=key.place,
            **KeyReader(self._shapes, self._phrases, self._scope).values(keys_of("link"), record),
        )

    def _end(self, record: MappingNode, side: str) -> str | None:
        scalar = self._shapes.scalar(record.entries[side], side, "the name of a chip")
        known = {*self._scope.chips, *self._scope.broken}
        return self._shapes.known(scalar, "chip", known) if scalar else None

    def _is_loop(self, record: MappingNode, ends: list[str | None]) -> bool:
        """A chip keeps its own data in a variable, which no link can lose."""
        if ends[0] is None or ends[0] != ends[1]:
            return False
        message = f"the link leads from {ends[0]} to itself"
        expected = "two different chips; a chip keeps its own data in a variable or a timer"
        self._notes.add(message, record.entries["to"].place, expected=expected)
        return True

    def _can(self, record: MappingNode) -> set[str]:
        scalars = self._shapes.scalars(record.get("can"), "a fault", "lose or duplicate")
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
        reader = OutlineReader(self._shapes, self._phrases)
        type_ = reader.type(record, key.place, name) if typed else None
        if kind == "relative" and (type_ is None or type_.kind != "number"):
            message = f"the relative message {name!r} has no amount"
            self._notes.add(message, key.place, expected="a 'range' of amounts")
            return None
        return Message(name, kind, type_, key.place, payload)

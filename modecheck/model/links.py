"""Read links: which chip sends to which, over which medium, and what can be lost."""

from __future__ import annotations

from fractions import Fraction

from modecheck.model.conditions import condition
from modecheck.model.meaning import Scope
from modecheck.model.outlines import OutlineReader, is_empty
from modecheck.model.parts import Duration, Link, Message
from modecheck.model.phrases import Phrases
from modecheck.model.quantities import share
from modecheck.model.shapes import FAIR, Shapes
from modecheck.model.yaml_nodes import MappingNode, Node, ScalarNode, kind_of

LINK_KEYS = (
    "from", "to", "medium", "capacity", "carries", "can", "up_when", "when_down", "when_full",
    "delay", "fair", "loses", "concerns", "about",
)  # fmt: skip
MESSAGE_KEYS = ("kind", "bool", "range", "one_of", "about")
MESSAGE_KINDS = ("event", "state", "relative")
LINK_FAULTS = ("lose", "duplicate")
WHEN_DOWN = ("drop", "hold")
WHEN_FULL = ("error", "wait", "drop_new", "drop_old")
LARGEST_CAPACITY = 16
"""Messages in one queue: few places are enough, and each multiplies the product."""


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
            node, f"the link {name!r}", LINK_KEYS, required=("from", "to", "carries")
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
        choice = self._shapes.choice
        up = record.get("up_when")
        return Link(
            name=name,
            sender=sender,
            receiver=receiver,
            medium=self._medium(record),
            capacity=self._capacity(record),
            carries=carries,
            loses="lose" in can,
            duplicates="duplicate" in can,
            up_when=condition(self._shapes, self._phrases, self._scope, up),
            up_text=" ".join(up.text.split()) if isinstance(up, ScalarNode) else "",
            when_down=choice(record.get("when_down"), "when_down", WHEN_DOWN, "drop"),
            when_full=choice(record.get("when_full"), "when_full", WHEN_FULL, "error"),
            place=key.place,
            fair=choice(record.get("fair"), "fair", FAIR, ""),
            delay=self._delay(record),
            concerns=self._shapes.concerns(record.get("concerns")),
            loss=self._loss(record, can),
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

    def _capacity(self, record: MappingNode) -> int:
        node = record.get("capacity")
        if node is None:
            return 1
        return self._shapes.integer(node, "a capacity", 1, LARGEST_CAPACITY) or 1

    def _medium(self, record: MappingNode) -> str:
        node = record.get("medium")
        scalar = self._shapes.scalar(node, "a medium", "a word") if node is not None else None
        return "internal" if scalar is None else scalar.text

    def _can(self, record: MappingNode) -> set[str]:
        scalars = self._shapes.scalars(record.get("can"), "a fault", "lose or duplicate")
        found = (self._shapes.known(scalar, "fault of a link", LINK_FAULTS) for scalar in scalars)
        return {fault for fault in found if fault}

    def _delay(self, record: MappingNode) -> Duration | None:
        scalars = self._shapes.scalars(record.get("delay"), "a delay", "a duration such as 2 ms")
        return self._phrases.interval(scalars) if scalars else None

    def _loss(self, record: MappingNode, can: set[str]) -> Fraction | None:
        node = record.get("loses")
        if node is None:
            return None
        if "lose" not in can:
            message = "'loses' on a link that cannot lose messages"
            self._notes.add(message, record.keys["loses"].place, expected="'can: [lose]' as well")
        return share(self._shapes, node)

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
            found = self._shapes.record(node, f"the message {name!r}", MESSAGE_KEYS)
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

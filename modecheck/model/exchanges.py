"""Read `exactly_once`: what is sent, where it arrives, and when it may be lost."""

from __future__ import annotations

import re

from modecheck.model.conditions import condition
from modecheck.model.event_calls import links_of
from modecheck.model.meaning import Scope
from modecheck.model.parts import Exchange
from modecheck.model.phrases import Phrases
from modecheck.model.shapes import Shapes
from modecheck.model.terms import Term
from modecheck.model.yaml_nodes import Mapping, Node, Scalar, shortened

EXCHANGE_KEYS = ("sent", "received", "may_lose", "under_way")
MOST_UNDER_WAY = 16
"""Items on their way at a time: the automaton grows with it, and devices have a few."""
MOST_KINDS = 4
LEADING_WHILE = re.compile(r"\s*while\b")


class ExchangeReader:
    """Reads what stands under `exactly_once`, or beside it."""

    def __init__(self, shapes: Shapes, phrases: Phrases, scope: Scope) -> None:
        self._shapes = shapes
        self._phrases = phrases
        self._scope = scope

    def read(self, node: Node, beside: Mapping) -> Exchange | None:
        """The exchange; `beside` is the requirement's own record."""
        record = self._shapes.record(
            node, "exactly_once", EXCHANGE_KEYS, required=("sent", "received")
        )
        if record is None:
            return None
        sent = self._messages(record.entries["sent"], "sent")
        received = self._messages(record.entries["received"], "delivered")
        if sent is None or received is None:
            return None
        if len(sent) != len(received):
            message = f"{len(sent)} sent, but {len(received)} received"
            expected = "as many: the first arrives as the first, and so on"
            self._shapes.notes.add(message, record.keys["received"].place, expected=expected)
            return None
        losing, losing_text = self._may_lose(self._one_of(record, beside, "may_lose"))
        most = self._one_of(record, beside, "under_way")
        under_way = None
        if most is not None:
            under_way = self._shapes.integer(most, "under_way", 1, MOST_UNDER_WAY)
        return Exchange(sent, received, losing, losing_text, under_way)

    def _one_of(self, record: Mapping, beside: Mapping, key: str) -> Node | None:
        inside, outside = record.get(key), beside.get(key)
        if inside is not None and outside is not None:
            message = f"{key!r} stands here and beside 'exactly_once'"
            self._shapes.notes.add(message, record.keys[key].place, expected="it once")
        return inside if inside is not None else outside

    def _may_lose(self, node: Node | None) -> tuple[Term | None, str]:
        """A condition, with the word `while` before it or not."""
        if not isinstance(node, Scalar):
            return condition(self._shapes, self._phrases, self._scope, node), ""
        match = LEADING_WHILE.match(node.text)
        if match is not None:
            rest = node.text[match.end() :]
            begin = match.end() + (0 if node.plain else 1)
            node = Scalar(rest, plain=True, place=node.place.part(begin, len(rest)))
        term = condition(self._shapes, self._phrases, self._scope, node)
        return term, " ".join(node.text.split())

    def _messages(self, node: Node, word: str) -> tuple[tuple[str, str], ...] | None:
        expected = "chip.message, or a list of them"
        scalars = self._shapes.scalars(node, "a message", expected)
        if not 1 <= len(scalars) <= MOST_KINDS:
            message = f"{len(scalars)} kinds of messages"
            self._shapes.notes.add(message, node.place, expected=f"1 to {MOST_KINDS}")
            return None
        found = [self._message(scalar, word) for scalar in scalars]
        whole = tuple(message for message in found if message is not None)
        return whole if len(whole) == len(found) else None

    def _message(self, scalar: Scalar, word: str) -> tuple[str, str] | None:
        chip, _, name = scalar.text.strip().partition(".")
        self._phrases.words.update((chip, name))
        steps, notes = self._scope.steps, self._shapes.notes
        if steps is None or chip in self._scope.broken:
            return None
        if chip not in steps.chips:
            message = f"unknown chip {shortened(chip)!r}"
            notes.add(message, scalar.place, word=chip, choices=steps.chips, expected="")
            return None
        carried = {m: None for link in links_of(word, chip, steps.links) for m in link.carries}
        if name not in carried:
            does = "sends" if word == "sent" else "receives"
            message = f"{chip} never {does} {shortened(name)!r}"
            expected = "" if carried else f"chip.message of a chip that {does} messages"
            notes.add(message, scalar.place, word=name, choices=carried, expected=expected)
            return None
        return chip, name

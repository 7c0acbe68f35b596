"""Read `exactly_once`: what is sent, where it arrives, and when it may be lost."""

from __future__ import annotations

import re
from collections.abc import Sequence
from itertools import pairwise

from modecheck.model.conditions import condition
from modecheck.model.event_calls import UnknownEvent, message_event
from modecheck.model.parts import ExactlyOnce
from modecheck.model.phrases import Phrases
from modecheck.model.places import Place
from modecheck.model.scopes import Scope
from modecheck.model.shapes import Shapes
from modecheck.model.terms import Term
from modecheck.model.yaml_nodes import MappingNode, Node, ScalarNode, shortened

EXCHANGE_KEYS = ("sent", "received", "may_lose", "under_way")
MOST_UNDER_WAY = 16
"""Items in flight at a time: the automaton grows with it, and few are enough."""
MOST_KINDS = 4
LEADING_WHILE = re.compile(r"\s*while\b")

Item = tuple[str, str]
"""A chip and a message that it sends or receives."""


class ExchangeReader:
    """Reads the mapping under `exactly_once`, and keys beside it."""

    def __init__(self, shapes: Shapes, phrases: Phrases, scope: Scope) -> None:
        self._shapes = shapes
        self._phrases = phrases
        self._scope = scope

    def read(self, node: Node, beside: MappingNode) -> ExactlyOnce | None:
        """The exchange; `beside` is the record of the requirement."""
        record = self._shapes.record(
            node, "exactly_once", EXCHANGE_KEYS, required=("sent", "received")
        )
        if record is None:
            return None
        sent = self._messages(record.entries["sent"], "sent")
        received = self._messages(record.entries["received"], "delivered")
        if sent is None or received is None:
            return None
        self._note_sent_together(sent, record.entries["sent"].place)
        if len(sent) != len(received):
            message = f"{len(sent)} sent, but {len(received)} received"
            expected = "the same number: the first arrives as the first, and so on"
            self._shapes.notes.add(message, record.keys["received"].place, expected=expected)
            return None
        losing, losing_text = self._may_lose(self._one_of(record, beside, "may_lose"))
        most = self._one_of(record, beside, "under_way")
        under_way = None
        if most is not None:
            under_way = self._shapes.integer(most, "under_way", 1, MOST_UNDER_WAY)
        return ExactlyOnce(sent, received, losing, losing_text, under_way)

    def _one_of(self, record: MappingNode, beside: MappingNode, key: str) -> Node | None:
        inside, outside = record.get(key), beside.get(key)
        if inside is not None and outside is not None:
            message = f"{key!r} is given here and beside 'exactly_once'"
            self._shapes.notes.add(message, record.keys[key].place, expected="one of the two")
        return inside if inside is not None else outside

    def _may_lose(self, node: Node | None) -> tuple[Term | None, str]:
        """A condition, optionally after the word `while`."""
        if not isinstance(node, ScalarNode):
            return condition(self._shapes, self._phrases, self._scope, node), ""
        match = LEADING_WHILE.match(node.text)
        if match is not None:
            rest = node.text[match.end() :]
            begin = match.end() + (0 if node.plain else 1)
            node = ScalarNode(rest, plain=True, place=node.place.part(begin, len(rest)))
        term = condition(self._shapes, self._phrases, self._scope, node)
        return term, " ".join(node.text.split())

    def _messages(self, node: Node, word: str) -> tuple[Item, ...] | None:
        expected = "chip.message, or a list of them"
        scalars = self._shapes.scalars(node, "a message", expected)
        if not 1 <= len(scalars) <= MOST_KINDS:
            message = f"{len(scalars)} kinds of messages"
            self._shapes.notes.add(message, node.place, expected=f"1 to {MOST_KINDS}")
            return None
        found = [self._message(scalar, word) for scalar in scalars]
        for place, item in enumerate(found):
            if item is not None and item in found[:place]:
                role = "sent" if word == "sent" else "received"
                message = f"{'.'.join(item)} is given twice as {role}"
                self._shapes.notes.add(message, scalars[place].place, expected="each message once")
                return None
        whole = tuple(item for item in found if item is not None)
        return whole if len(whole) == len(found) else None

    def _message(self, scalar: ScalarNode, word: str) -> Item | None:
        chip, dot, name = self._phrases.name_of(scalar).partition(".")
        self._phrases.words.update((chip, name))
        around, notes = self._scope.steps, self._shapes.notes
        if around is None or not around.whole:
            return None  # a name that is not found may be in a part that could not be read
        if not dot:
            notes.add(
                f"{shortened(chip)!r} does not name a chip", scalar.place, expected="chip.message"
            )
            return None
        if chip not in around.chips:
            message = f"unknown chip {shortened(chip)!r}"
            notes.add(message, scalar.place, word=chip, choices=around.chips)
            return None
        try:
            message_event(word, chip, shortened(name), around)
        except UnknownEvent as unknown:
            notes.add(
                unknown.message,
                scalar.place,
                word=unknown.word,
                choices=unknown.choices,
                expected=unknown.expected,
            )
            return None
        return chip, name

    def _note_sent_together(self, sent: Sequence[Item], place: Place) -> None:
        """The automaton takes one item of each kind per step, in the order of the list, so a rule
        must not send several in any other way.
        """
        assert self._scope.steps is not None
        for chip in self._scope.steps.chips.values():
            for rule in chip.rules:
                own = [send for send in rule.sends if (chip.name, send.message) in sent]
                for one, two in pairwise(own):
                    first, second = (sent.index((chip.name, send.message)) for send in (one, two))
                    if first > second or (first == second and one.link == two.link):
                        message = f"{chip.name} sends {one.message}, then {two.message} in one step"
                        expected = "each at most once in a step, in the order of the list"
                        self._shapes.notes.add(message, place, expected=expected)
                        return

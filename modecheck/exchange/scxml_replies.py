"""Messages that a chart discards where the model does something else.

A message without a transition is discarded in SCXML. In the model a state may defer it, and without
an answer it is an error.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from modecheck.model.parts import Chip, Device, Event, Rule
from modecheck.product.rule_order import condition_of


class ReplyTable:
    """What a chip does with each message in each of its innermost states. `events` are its incoming
    messages, each by its link, and `links` the names of those that carry one.
    """

    def __init__(self, device: Device, chip: Chip, rules: Mapping[str, Sequence[Rule]]) -> None:
        self._chip = chip
        incoming = [one for one in device.links.values() if one.receiver == chip.name]
        self.events = [Event(message, link.name) for link in incoming for message in link.carries]
        self.links: dict[str, set[str | None]] = {}
        for event in self.events:
            self.links.setdefault(event.name, set()).add(event.link)
        self._taken = {
            source: {one for rule in own if condition_of(rule) is None for one in rule.trigger}
            for source, own in rules.items()
        }
        self._manners: dict[str, dict[Event, tuple[int, str]]] = {}
        for state, replies in chip.replies.items():
            own = self._manners[state] = {}
            for number, one in enumerate(replies):
                own.setdefault(one.event, (number, one.manner))

    def differs(self, leaf: str, event: Event) -> str:
        """The kind of difference that a message makes in a leaf, or "": it is taken or discarded in
        any case, in both.
        """
        heard = (event, Event(event.name))
        around = self._chip.ancestry(leaf)
        if any(one in self._taken.get(state, ()) for state in around for one in heard):
            return ""
        for state in around:
            own = self._manners.get(state, {})
            found = [own[one] for one in heard if one in own]
            if found:
                return "deferred" if min(found)[1] == "defer" else ""
        return "unanswered"

"""What an observer sees of an explored device, as a labelled system.

Chosen messages, signals and rules are visible; every other step is silent. A message is seen twice:
when a rule sends it ("sent"), whatever happens to it then, and when it leaves its link for its
receiver ("delivered"). So a message sent into a link that is down or full is seen, too, and one
that a step sends more than once is seen as often. It is seen with its value: the one that the rule
sends, and that at the head of the link. A signal that carries a value is seen with it.
Loss, duplication and merging in a link only show in what is delivered.

Everything in one step is seen together, in no order. A step that must not happen (no answer, no
room, out of range) is seen as one, and has no target.

In a mode, only the steps that begin in it are seen, and entering and leaving it.

If two devices use different names for the same part, one is seen under the names of the other
(`Called`).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from modecheck.compare.forms import PartName
from modecheck.model.errors import ModecheckError
from modecheck.model.values import ValueType
from modecheck.product.ir import EventIR, MessageIn, Product

MOST_VISIBLE = 31
"""Events that a step can report: a kind of transition has so many bits for them."""
FAILS = "a step fails"


class TooMuchVisible(ModecheckError):
    """More was chosen than a step can report."""

    def __init__(self, chosen: int) -> None:
        super().__init__()
        self.chosen = chosen

    def __str__(self) -> str:
        return (
            f"{self.chosen} messages, signals and rules were chosen to be visible, but at most "
            f"{MOST_VISIBLE} can be; choose fewer media"
        )


@dataclass(frozen=True, slots=True)
class Visible:
    """What is seen, by number: messages in their queues, signals, and rules."""

    messages: frozenset[MessageIn] = frozenset()
    signals: frozenset[int] = frozenset()
    rules: frozenset[int] = frozenset()

    def __or__(self, other: Visible) -> Visible:
        """What is visible in either."""
        return Visible(
            self.messages | other.messages, self.signals | other.signals, self.rules | other.rules
        )

    def __len__(self) -> int:
        return len(self.messages) + len(self.signals) + len(self.rules)


@dataclass(frozen=True, slots=True)
class Called:
    """Other names for what is seen: links, messages by their link, modes, signals, rules by their
    chip. Anything else keeps its name.
    """

    names: Mapping[PartName, PartName] = field(default_factory=dict)

    def __call__(self, kind: str, name: str, scope: str = "") -> str:
        """What something is called."""
        other = self.names.get(PartName(kind, name, scope))
        return name if other is None else other.name


OWN_NAMES = Called()


def reporting(product: Product, visible: Visible) -> Product:
    """The product, whose steps report what is visible instead of what checks watch.

    It must be explored without symmetry: after an exchange of units it would be unknown whose
    message was seen. Raises `TooMuchVisible`.
    """
    assert not product.observers, "an observer's atoms count on the numbers of the events"
    if len(visible) > MOST_VISIBLE:
        raise TooMuchVisible(len(visible))
    forms = tuple(_form(one) for one in in_order(visible))
    names = tuple(f"visible {number}" for number in range(len(forms)))
    return replace(product, events=forms, watched_events=names)


Chosen = tuple[str, int, int]
"""A message by its queue and code, a signal or a rule by number and 0."""


def in_order(visible: Visible) -> list[Chosen]:
    """What is visible, in the order of the bits by which a step reports it."""
    return [
        *(("message", queue, code) for queue, code in sorted(visible.messages)),
        *(("signal", number, 0) for number in sorted(visible.signals)),
        *(("rule", number, 0) for number in sorted(visible.rules)),
    ]


def _form(chosen: Chosen) -> EventIR:
    kind, number, code = chosen
    if kind == "message":
        return EventIR(sent=frozenset({(number, code)}))
    if kind == "signal":
        return EventIR(signalled=frozenset({number}))
    return EventIR(taken=frozenset({number}))


@dataclass(frozen=True, slots=True)
class VisibleEvent:
    """Something `chosen` that is seen in a step, with its value where that has a `type`. The value
    of a message that was `delivered` stands in the state before the step, at the head of its link.
    """

    chosen: Chosen
    text: str
    after: str = ""
    message: MessageIn | None = None
    delivered: bool = False
    type: ValueType | None = None

    @property
    def in_sendings(self) -> bool:
        """Whether the step alone tells its value, or how often it happened."""
        return not self.delivered and (self.message is not None or self.type is not None)


def seen_as(product: Product, chosen: Chosen, called: Called, what: str = "sent") -> VisibleEvent:
    """How something that happens in a step is seen; `what` is what happens to a message."""
    kind, number, code = chosen
    if kind == "message":
        queue = product.queues[number]
        form = queue.messages[code - 1]
        text = f"{what} {called('message', form.name, queue.name)}"
        via = f" via {called('link', queue.name)}"
        return VisibleEvent(
            chosen, text, via, (number, code), delivered=what == "delivered", type=form.type
        )
    if kind == "signal":
        text = f"signalled {called('signal', product.signals[number])}"
        return VisibleEvent(chosen, text, type=product.signal_types[number])
    rule = product.rules[number]
    text = f"{called('chip', rule.chip)} takes {called('rule', rule.title, rule.chip)}"
    return VisibleEvent(chosen, text)

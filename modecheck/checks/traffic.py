"""What goes on in each mode: which links carry messages, and whether paired chips hold one key.

A link carries traffic in a mode when a message is delivered over it in a state of that mode, or put
into it in a step that stays in the mode. What is sent by the very step that leaves the mode belongs
to the switch.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from itertools import islice
from typing import TypeAlias

from modecheck.engine.plain import State
from modecheck.engine.space import Space
from modecheck.model.parts import Pairing
from modecheck.product.form import Product

MOST_STATES = 300_000
"""States looked at, the nearest ones: about ten seconds. Beyond them the result is incomplete."""

Waiting: TypeAlias = tuple[tuple[int, ...], ...]
"""The messages that wait in each queue, with their values."""


@dataclass(slots=True)
class ModeTraffic:
    """Of one mode: its states looked at, the links with traffic, and for each pairing in how many
    of these states both ends hold the same key.
    """

    states: int = 0
    links: set[str] = field(default_factory=set)
    agreed: dict[str, int] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Traffic:
    """The traffic of each mode by its name; `complete` if every reachable state was looked at."""

    modes: dict[str, ModeTraffic]
    complete: bool


def traffic_of(space: Space, most: int = MOST_STATES) -> Traffic:
    """What the first `most` states of a space show of each mode."""
    sweep = _Sweep(space)
    for name in space.product.device.modes:
        bit = space.mark(f"mode:{name}")
        for number in islice(space.numbered(bit), most):
            if number < min(space.expanded, most):
                sweep.look(name, bit, number)
    return Traffic(sweep.modes, space.complete and space.state_count <= most)


class _Sweep:
    def __init__(self, space: Space) -> None:
        self._space = space
        product = space.product
        self._links = [queue.name for queue in product.queues]
        self._pairings = {
            name: _fields_of(product, pairing) for name, pairing in product.device.pairings.items()
        }
        self._known: dict[int, Waiting] = {}
        self.modes = {
            name: ModeTraffic(agreed=dict.fromkeys(self._pairings, 0))
            for name in product.device.modes
        }

    def look(self, mode: str, bit: int, number: int) -> None:
        """Adds one state of a mode, with its steps."""
        found = self.modes[mode]
        found.states += 1
        if self._pairings:
            state = self._space.state(number)
            for name, (one, other) in self._pairings.items():
                found.agreed[name] += state[one] == state[other] != 0
        if len(found.links) == len(self._links):
            return
        before = self._waiting(number)
        for edge in self._space.edges_from(number):
            label = self._space.product.labels[edge.label]
            delivered = label.queue if label.kind in ("deliver", "ignore") else -1
            if delivered >= 0:
                found.links.add(self._links[delivered])
            if label.kind == "duplicate" or not self._space.marks_at(edge.target) & bit:
                continue
            after = self._waiting(edge.target)
            if after != before:
                for queue, (old, new) in enumerate(zip(before, after, strict=True)):
                    if queue != delivered and _was_sent(old, new):
                        found.links.add(self._links[queue])

    def _waiting(self, number: int) -> Waiting:
        if number not in self._known:
            state = self._space.state(number)
            self._known[number] = tuple(
                tuple(
                    item
                    for slot in queue.slots
                    if state[slot.code]
                    for item in (state[slot.code], _value(state, slot.value))
                )
                for queue in self._space.product.queues
            )
        return self._known[number]


def _value(state: State, field: int) -> int:
    return state[field] if field >= 0 else 0


def _was_sent(before: tuple[int, ...], after: tuple[int, ...]) -> bool:
    """Whether a queue holds something that it did not hold before.

    Only the beginning of a queue can go without anything being sent.
    """
    return after != before[len(before) - len(after) :]


def _fields_of(product: Product, pairing: Pairing) -> tuple[int, int]:
    names = [field.name for field in product.fields]
    first, second = pairing.ends
    return names.index(str(first)), names.index(str(second))

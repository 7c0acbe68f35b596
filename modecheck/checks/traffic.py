"""Traffic in each mode: which links carry messages, and whether paired chips hold one key.

A link carries traffic in a mode when a message is delivered over it in a state of that mode, or
sent over it in a step that stays in the mode. What is sent by the step that leaves the mode belongs
to the switch.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field
from itertools import islice
from typing import TypeAlias

from modecheck.engine.contract.space import Space
from modecheck.model.parts import Pairing
from modecheck.product.ir import Queue

MOST_STATES = 300_000
"""The most states examined, the nearest first: about ten seconds. With more it is incomplete."""

Waiting: TypeAlias = tuple[int, ...]
"""The messages that wait in a queue, each with its value, followed by zeros for empty slots."""


@dataclass(slots=True)
class ModeTraffic:
    """For one mode: how many of its states were examined, the links with traffic, and for each
    pairing in how many of these states both ends hold the same key.
    """

    states: int = 0
    links: set[str] = field(default_factory=set)
    agreed: dict[str, int] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Traffic:
    """The traffic of each mode by its name; `complete` if every reachable state was examined."""

    modes: dict[str, ModeTraffic]
    complete: bool


def traffic_of(space: Space, most: int = MOST_STATES) -> Traffic:
    """The traffic of each mode in the first `most` states of a space."""
    sweep = _Sweep(space, min(space.state_count, most))
    for name in space.product.device.modes:
        bit = space.mark(f"mode:{name}")
        for number in islice(space.numbered(bit), most):
            if number < min(space.expanded, most):
                sweep.look(name, bit, number)
    return Traffic(sweep.modes, space.complete and space.state_count <= most)


class _Sweep:
    """Examines the first `count` states."""

    def __init__(self, space: Space, count: int) -> None:
        self._space = space
        self._count = count
        product = space.product
        self._links = [queue.name for queue in product.queues]
        self._waiting = [_waiting(space, queue, count) for queue in product.queues]
        self._pairings = {
            name: _keys_of(space, pairing, count)
            for name, pairing in product.device.pairings.items()
        }
        self.modes = {
            name: ModeTraffic(agreed=dict.fromkeys(self._pairings, 0))
            for name in product.device.modes
        }

    def look(self, mode: str, bit: int, number: int) -> None:
        """Adds one state of a mode, with its steps."""
        found = self.modes[mode]
        found.states += 1
        for name, (one, other) in self._pairings.items():
            found.agreed[name] += one[number] == other[number] != 0
        if len(found.links) == len(self._links):
            return
        for edge in self._space.edges_from(number):
            label = self._space.product.labels[edge.label]
            delivered = label.queue if label.kind in ("deliver", "discard") else -1
            if delivered >= 0:
                found.links.add(self._links[delivered])
            if label.kind in ("duplicate", "corrupt") or edge.target >= self._count:
                continue
            if not self._space.marks_at(edge.target) & bit:
                continue
            for queue, waiting in enumerate(self._waiting):
                old, new = waiting[number], waiting[edge.target]
                ordered = not self._space.product.queues[queue].any_order
                if old != new and queue != delivered and _was_sent(old, new, ordered=ordered):
                    found.links.add(self._links[queue])


def _waiting(space: Space, queue: Queue, count: int) -> list[Waiting]:
    """What waits in a queue, for each of the first states."""
    fields = [where for slot in queue.slots for where in (slot.code, slot.value)]
    columns = [space.column(where, count) if where >= 0 else [0] * count for where in fields]
    return list(zip(*columns, strict=True))


def _was_sent(before: Waiting, after: Waiting, *, ordered: bool) -> bool:
    """Whether a queue holds something that it did not hold before.

    Only the beginning of a queue can go without anything being sent; if it is not `ordered`,
    anything that is in it.
    """
    held, holds = _filled(before), _filled(after)
    if not ordered:
        old, new = (Counter(zip(one[::2], one[1::2], strict=True)) for one in (held, holds))
        return bool(new - old)
    return holds != held[len(held) - len(holds) :]


def _filled(waiting: Waiting) -> Waiting:
    """Without the empty slots at the end."""
    return waiting[: 2 * sum(code > 0 for code in waiting[::2])]


def _keys_of(space: Space, pairing: Pairing, count: int) -> tuple[list[int], list[int]]:
    """The keys that the two ends of a pairing hold, for each of the first states."""
    names = [field.name for field in space.product.fields]
    one, other = (space.column(names.index(str(end)), count) for end in pairing.ends)
    return one, other

"""Which steps keep a device going: those of chips, links and time; actors and faults do not.

A step *in place* leads to the very state that it starts from. It is as good as none: it keeps
nothing going, moves nobody, is no part of a livelock, and fairness asks nothing for it. What
happens in it does not matter, be it a message that adds nothing to one that waits already or an
event that a requirement follows: observers may go on in it, but the device does not. A delivery
takes its message off the queue, so it is in place only where the same message is sent again.

With a clock, a step in place that is done at once holds time up. So it does keep the device going,
round and round at one moment: that is zeno, and no deadlock.
"""

from __future__ import annotations

from collections.abc import Sequence

from modecheck.product.ir import Label, Product


def obliging_labels(product: Product) -> frozenset[int]:
    """The labels of steps without which a device cannot stay as it is for ever: those that have to
    happen in the end, and losses by nature, which a device can go on by where all else waits.
    """
    endless = {fault.label for fault in product.faults if fault.kind == "lose" and fault.endless}
    return frozenset(endless).union(*(fair.labels for fair in product.fair))


def system_actions(product: Product) -> list[bool]:
    """For each label whether its step is one of a chip or a link, or a tick."""
    by_system = [_is_system_action(product, label) for label in product.labels]
    for fault in product.faults:
        # A link that loses without a budget does so by nature, and that can free a sender.
        by_system[fault.label] |= fault.kind == "lose" and fault.endless
    return by_system


def _is_system_action(product: Product, label: Label) -> bool:
    if label.kind == "rule":
        return not product.chips[label.chip].actor
    return label.kind in ("deliver", "discard", "tick")


def own_fields(product: Product) -> frozenset[int]:
    """The fields of the device itself: all but those of observers."""
    observers = {field for one in product.observers for field in (one.field, one.count)}
    return frozenset(range(len(product.fields))) - observers


class Drives:
    """Tells which steps of one product keep the device going."""

    def __init__(self, product: Product) -> None:
        self._product = product
        self._by_system = system_actions(product)
        self._own = sorted(own_fields(product))

    def keeps_going(self, label: int, before: Sequence[int], after: Sequence[int] | None) -> bool:
        """Whether a step of this label from one state to another does; one that fails (None) does,
        since nobody knows what follows.
        """
        return self._by_system[label] and (
            self.changes(before, after) or self._holds_time_up(label, before)
        )

    def changes(self, before: Sequence[int], after: Sequence[int] | None) -> bool:
        """Whether a step leads away from a state: it is not in place."""
        return after is None or any(before[field] != after[field] for field in self._own)

    def _holds_time_up(self, label: int, state: Sequence[int]) -> bool:
        return self._product.time is not None and comes_first(self._product, label, state)


def comes_first(product: Product, number: int, state: Sequence[int]) -> bool:
    """Whether time waits for a step: it is done at once, or delivers at the latest moment."""
    label, time = product.labels[number], product.time
    if time is None or number in time.at_once:
        return True
    if label.kind not in ("deliver", "discard"):
        return False
    queue = product.queues[label.queue]
    return queue.latest >= 0 and state[queue.slots[0].age] == queue.latest

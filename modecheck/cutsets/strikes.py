"""Where a fault strikes a device in which nothing has failed yet, or an actor acts: each such step
with the state before it and the one behind it, and the messages that it takes away.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Iterator
from dataclasses import dataclass

from modecheck.cutsets.slice_kernels import count_strikes, list_strikes
from modecheck.cutsets.slices import Slice
from modecheck.product.ir import Product

MessageOn = tuple[str, str]
"""A link and a message."""


@dataclass(frozen=True, slots=True)
class Strikes:
    """Steps with some labels out of a slice: pairs of numbers in the whole."""

    part: Slice
    pairs: tuple[tuple[int, int], ...]

    def lost(self) -> tuple[MessageOn, ...]:
        """The messages that some of these steps takes away, in document order: fewer of them are in
        the link behind it. No fault sends any.
        """
        product, whole = self.part.product, self.part.slices.whole
        slots = [[slot.code for slot in queue.slots] for queue in product.queues]
        every = [field for fields in slots for field in fields]
        before, after = (whole.found.values_of(list(one)) for one in zip(*self.pairs, strict=True))
        kinds = {
            (tuple(old[f] for f in every), tuple(new[f] for f in every))
            for old, new in zip(before, after, strict=True)
        }
        found = {one for kind in kinds for one in _fewer(product, *kind)}
        return tuple(one for one in _messages(product) if one in found)


def strikes_in(part: Slice, labels: Collection[int]) -> Strikes:
    """All steps with one of these labels that begin in a slice."""
    whole, graph = part.slices.whole, part.slices.whole.graph
    arrays, strikes = graph.arrays, part.slices.notes_of(labels)
    numbers, linked = part.found.numbers, part.graph.linked
    count = int(count_strikes(numbers, linked, graph.first, graph.notes, strikes))
    sources, behind = arrays.filled("u4", count), arrays.filled("u4", count)
    list_strikes(
        numbers, linked, graph.first, whole.graph.targets, graph.notes, strikes, sources, behind
    )
    pairs = zip(arrays.listed(sources), arrays.listed(behind), strict=True)
    return Strikes(part, tuple(pairs))


def _messages(product: Product) -> Iterator[MessageOn]:
    for queue in product.queues:
        for message in queue.messages:
            yield queue.name, message.name


def _fewer(
    product: Product, before: tuple[int, ...], after: tuple[int, ...]
) -> Iterator[MessageOn]:
    """The messages of which there are fewer, by the codes in all places of all links."""
    begin = 0
    for queue in product.queues:
        end = begin + len(queue.slots)
        lost = Counter(before[begin:end]) - Counter(after[begin:end])
        for code in lost:
            if code:
                yield queue.name, queue.messages[code - 1].name
        begin = end

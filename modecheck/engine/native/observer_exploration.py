"""Observers beside a product that is explored already: they follow the transitions that are known.

What is explored is what the compiled engine would find of the product with its observers, state for
state and in the same order: a state of the whole is a state of the product and those of the
observers, and a transition is one of the product after which each observer goes on by its table, a
choice of an observer, or idling.

It holds as long as observers only observe. They do not where time is counted, for a tick is a step
also where it changes nothing but an observer; nor where one step stands for several that differ
only in what happens, as where a rule is cut in the middle. Then everything is explored anew.
"""

from __future__ import annotations

from dataclasses import dataclass
from threading import Event

import numpy as np

from modecheck.engine.contract.encounters import Observed
from modecheck.engine.contract.phases import count
from modecheck.engine.contract.space import INTERRUPTION, Limits, Sighting
from modecheck.engine.native.graph import Array, CompiledExploration, States, in_order
from modecheck.engine.native.graph_kernels import mark_states
from modecheck.engine.native.growing_arrays import Reserved, Words
from modecheck.engine.native.native_arrays import NativeArrays
from modecheck.engine.native.observer_kernels import TABLE_SHARE, fill_anew, follow
from modecheck.engine.native.observer_plan import ObserverPlan
from modecheck.engine.native.observer_readings import ObserverReadings, can_be_followed, starts_in
from modecheck.engine.search.state_graph import StateGraph
from modecheck.product.ir import Product

MOST_STATES = 1 << 22
"""States that are followed at the most: all stands in memory, and nothing looks at how much."""


def observer_product(
    space: CompiledExploration, product: Product, limits: Limits, interrupted: Event
) -> ObserverProduct | None:
    """The space of a product that is explored without its observers as `space`. None where it
    cannot be told in this way, or grows larger than the limits allow. It stops when it is
    `interrupted`.
    """
    if not can_be_followed(space, product, limits):
        return None
    most = MOST_STATES if limits.states is None else min(limits.states, MOST_STATES)
    return _Following(space, product, most).explored(interrupted)


@dataclass(slots=True, kw_only=True)
class ObserverProduct(CompiledExploration):
    """A space in which observers followed what was known. `failures` are those of the product
    `alone`, each in a state that is as deep; `sources` are the states of that, one for each here.
    """

    alone: CompiledExploration
    sources: Array

    def failing_labels(self, number: int) -> list[int]:
        return self.alone.failing_labels(int(self.sources[number]))


@dataclass(frozen=True, slots=True)
class _Layer:
    """States of one depth, in order: their temporary numbers and their words; and the transitions
    of the states one less deep: how many each has, where to (by temporary numbers), and what kind.
    """

    numbers: Array
    words: Words
    counts: Array
    targets: Array
    notes: Array


class _Following:
    def __init__(self, space: CompiledExploration, product: Product, most: int) -> None:
        self._space, self._product, self._most = space, product, most
        self._readings = ObserverReadings(space, product)
        self._machine = self._readings.machine
        self._plan = ObserverPlan(product, space.graph)
        self._seen = np.zeros(self._plan.tables.size, np.uint8)
        self._kept = _pairs(max(4 * space.state_count, MOST_STATES))
        batch = space.graph.most_edges + self._plan.choices.shape[0] + 1
        self._batch = np.empty((batch, 3), np.uint64)
        slots = 2 * TABLE_SHARE * space.state_count
        self._table = np.zeros(max(1 << 16, 1 << slots.bit_length()), np.uint64)
        self._count = 0

    def explored(self, interrupted: Event) -> ObserverProduct | None:
        """Layer by layer, until there are no more states."""
        layers, stopped_by = [self._first()], ""
        try:
            while layers[-1].numbers.size and not interrupted.is_set():
                layers.append(self._behind(layers[-1]))
                count(self._count)
                if self._count > self._most:
                    return None
        except KeyboardInterrupt:
            interrupted.set()
        if layers[-1].numbers.size:
            stopped_by = INTERRUPTION
        return self._space_of(layers, stopped_by)

    def _first(self) -> _Layer:
        """The states in which it may begin, as the observers are once they have judged them."""
        for number, state in starts_in(self._space, self._product):
            self._kept[self._count] = number, self._plan.states_in(state)
            self._count += 1
        fill_anew(self._table, self._kept, self._count)
        numbers, none = np.arange(self._count), np.empty(0, np.uint32)
        words = self._words(numbers)
        order = in_order(words)
        return _Layer(numbers[order], words[order], none, none, np.empty(0, np.uint16))

    def _behind(self, layer: _Layer) -> _Layer:
        """The states behind those of a layer that are no less deep."""
        graph, plan, before = self._space.graph, self._plan, self._count
        sources = self._kept[layer.numbers, 0].astype(np.int64)
        most = int((graph.first[sources + 1] - graph.first[sources]).sum())
        most += layer.numbers.size * (plan.choices.shape[0] + 1)
        self._make_room(before + most)
        counts, readings = np.empty(layer.numbers.size, np.uint32), self._readings
        targets, notes = np.empty(most, np.uint32), np.empty(most, np.uint16)
        made, filled = follow(
            layer.numbers, graph.first, graph.targets, graph.notes, readings.values,
            readings.staying, readings.obliged, plan.observers, plan.tables, plan.choices,
            plan.idle_bit, plan.idle_note, self._table, self._kept, before, self._seen,
            self._batch, counts, targets, notes,
        )  # fmt: skip
        self._count = int(filled)
        numbers = np.arange(before, self._count)
        words = self._words(numbers)
        order = in_order(words)
        return _Layer(numbers[order], words[order], counts, targets[:made], notes[:made])

    def _make_room(self, most: int) -> None:
        """Room for so many states, in the arrays and in the table."""
        room = self._kept.shape[0]
        if most > room:
            kept = _pairs(max(most, 2 * room))
            kept[:room] = self._kept
            self._kept = kept
        if most * TABLE_SHARE > self._table.size:
            size = 1 << (2 * most * TABLE_SHARE - 1).bit_length()
            self._table = Reserved(size, huge_pages=True).words
            fill_anew(self._table, self._kept, self._count)

    def _words(self, numbers: Array) -> Words:
        """The words of some states, a row for each."""
        found, layout = self._space.found, self._machine.layout
        words = np.zeros((numbers.size, layout.words), np.uint64)
        words[:, : found.width] = found.words.reshape(-1, found.width)[self._kept[numbers, 0]]
        bits = self._kept[numbers, 1]
        for place, own in self._plan.places(layout.places):
            value = bits >> np.uint64(own.shift) & np.uint64(own.mask)
            words[:, place.word] |= value << np.uint64(place.shift)
        return words

    def _space_of(self, layers: list[_Layer], stopped_by: str) -> ObserverProduct:
        """All layers put together."""
        known = [layer for layer in layers if layer.numbers.size]
        order = np.concatenate([layer.numbers for layer in known])
        final = np.zeros(self._count, np.uint32)
        final[order] = np.arange(order.size, dtype=np.uint32)
        sizes = [int(layer.numbers.size) for layer in known]
        expanded = order.size - (sizes[-1] if stopped_by else 0)
        words = np.concatenate([layer.words for layer in known]).reshape(-1)
        seen = np.zeros(1, np.uint8)
        states = States(self._machine, words, sizes, expanded, seen)
        graph = self._graph(states, layers, final, order)
        marks = np.zeros(states.count, np.uint64)
        mark_states(self._machine.marks, words, states.width, states.count, marks)
        space = self._space
        return ObserverProduct(
            product=self._product,
            found=states,
            marks=marks,
            transitions=int(graph.first[-1]),
            observed=self._observed(),
            failures={
                key: Sighting(one.failure, self._over(one.state, order), one.label, one.count)
                for key, one in space.failures.items()
            },
            graph=graph,
            stopped_by=stopped_by,
            alone=space,
            sources=self._kept[order, 0],
        )

    def _graph(
        self, states: States, layers: list[_Layer], final: Array, order: Array
    ) -> StateGraph:
        alone, plan = self._space.graph, self._plan
        first = np.zeros(states.expanded + 1, np.int64)
        np.cumsum(np.concatenate([layer.counts for layer in layers]), out=first[1:])
        targets, begin = np.empty(int(first[-1]), np.uint32), 0
        for layer in layers:
            end = begin + layer.targets.size
            np.take(final, layer.targets, out=targets[begin:end])
            begin = end
        labels = np.concatenate([alone.labels, np.array(plan.labels, np.uint64)])
        nothing = np.zeros(len(plan.labels), np.uint64)
        sources, idles = self._kept[order, 0], self._kept[order, 1] & plan.idle_bit != 0
        return StateGraph(
            arrays=NativeArrays(),
            first=first,
            targets=targets,
            notes=np.concatenate([layer.notes for layer in layers]),
            labels=labels,
            moved=np.concatenate([alone.moved, nothing]),
            events=np.concatenate([alone.events, nothing]),
            is_quiescent=(alone.is_quiescent[sources] | idles).astype(np.uint8),
            failing=(alone.failing[sources] & ~idles).astype(np.uint8),
            linked=states.expanded,
        )

    def _over(self, number: int, order: Array) -> int:
        """The first state of the whole in which the product is in one of its states."""
        return int(np.argmax(self._kept[order, 0] == number))

    def _observed(self) -> Observed:
        """What the product showed alone, and which places of their tables observers looked up."""
        alone = self._space.observed
        found = Observed(encounters=set(alone.encounters), taken=set(alone.taken))
        found.watched.update(self._plan.looked_up(self._seen))
        return found


def _pairs(count: int) -> Words:
    """Room for rows of two words, whose places are found without missing the TLB every time."""
    return Reserved(2 * count, huge_pages=True).words.reshape(-1, 2)

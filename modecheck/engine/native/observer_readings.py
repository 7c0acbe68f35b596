"""What observers read of transitions that are known: their atoms after each, and where to idle.

No machine code is needed of the steps, which takes longer to make than to run; only what observers
ask of a step is compiled, and asked once of each transition.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from modecheck.engine.contract.space import Limits
from modecheck.engine.native.graph import Array, CompiledExploration
from modecheck.engine.native.growing_arrays import Words
from modecheck.engine.native.machine import MOST_WATCHED, compiled_observers
from modecheck.engine.native.observer_kernels import note_obliged, value_states, value_transitions
from modecheck.engine.native.transition_making_kernels import MOST_NOTES
from modecheck.engine.reference.system_actions import obliging_labels
from modecheck.product.ir import Product

BITS = 63
"""What fits into a word of all observers' states, and into one of all their atoms."""


def can_be_followed(space: CompiledExploration, product: Product, limits: Limits) -> bool:
    """Whether the transitions of a space tell all that the observers of a product ask for."""
    alone, graph = space.product, space.graph
    known = space.complete and graph.linked == space.state_count and limits.memory is None
    if not known or product.time is not None or any(f.cut_labels for f in product.faults):
        return False
    told = set(space.found.machine.product.events[len(alone.events) :])
    fits = (
        sum(product.fields[one.field].bits for one in product.observers) < BITS
        and sum(len(one.atoms) for one in product.observers) <= BITS
        and len(product.events) <= MOST_WATCHED
        and graph.labels.size + len(product.labels) - len(alone.labels) <= MOST_NOTES
    )
    return (
        fits
        and told.issuperset(product.events[len(alone.events) :])
        and product.events[: len(alone.events)] == alone.events
        and product.watched_events == alone.watched_events
        and product.fields[: len(alone.fields)] == alone.fields
        and product.labels[: len(alone.labels)] == alone.labels
    )


def starts_in(
    space: CompiledExploration, product: Product
) -> Iterator[tuple[int, tuple[int, ...]]]:
    """The numbers of the states in which the device may begin, and the same states of the product
    with observers, which have judged them.
    """
    alone = len(space.product.fields)
    judged = {state[:alone]: state for state in product.first_states}
    yield from ((number, judged[space.state(number)]) for number in space.starts)


class ObserverReadings:
    """`values` holds the atoms of all observers after each transition, one behind the other as
    bits, `staying` those in each state in which nothing happens; `obliged` flags the states in
    which something has to happen in the end.
    """

    def __init__(self, space: CompiledExploration, product: Product) -> None:
        self._space, self._product = space, product
        self.machine = compiled_observers(product, space.found.machine.layout)
        self.values, self.staying = self._valued()
        self.obliged = self._obliging()

    def _valued(self) -> tuple[Words, Words]:
        found, graph = self._space.found, self._space.graph
        atoms = sum(len(one.atoms) for one in self._product.observers)
        kind = np.min_scalar_type((1 << atoms) - 1)
        values, staying = np.empty(graph.targets.size, kind), np.empty(found.count, kind)
        address = self.machine.successors
        value_transitions(
            address, found.words, found.width, graph.targets, graph.notes, self._events(), values
        )
        value_states(address, found.words, found.width, staying)
        return values, staying

    def _events(self) -> Words:
        """The events of each note, by the numbers that they have for the observers."""
        graph, heard = self._space.graph, self._space.found.machine.product.events
        events: Words = graph.events.copy()
        if graph.overheard is None:
            return events
        alone = len(self._space.product.events)
        for number, event in enumerate(self._product.events[alone:], start=alone):
            known = np.uint64(heard.index(event, alone))
            events |= (graph.overheard >> known & np.uint64(1)) << np.uint64(number)
        return events

    def _obliging(self) -> Array:
        space, graph = self._space, self._space.graph
        labels = np.zeros(len(self._product.labels), np.uint8)
        labels[list(obliging_labels(self._product))] = 1
        obliged = np.zeros(space.state_count, np.uint8)
        note_obliged(
            graph.first, graph.notes, labels[graph.labels.astype(np.int64)], graph.failing,
            space.found.machine.successors, space.found.words, space.found.width,
            space.found.seen.copy(), space.found.records(), labels, obliged,
        )  # fmt: skip
        return obliged

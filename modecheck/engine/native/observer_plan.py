"""Observers in numbers, for the kernel that follows known transitions.

The states of all observers stand in one word, one behind the other, with the mark of idling above
them; what all their atoms say stands in another. So neighbours are one observer with a larger
table, as long as that table is small: fewer places are looked up.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from modecheck.engine.native.graph import Array
from modecheck.engine.native.growing_arrays import Words
from modecheck.engine.search.state_graph import StateGraph
from modecheck.product.bit_packing import WordPlace
from modecheck.product.ir import ObserverAutomaton, Product

TABLE_BITS = 10
"""Of a joint table's places: all tables together stay in the second-level cache."""


@dataclass(frozen=True, slots=True)
class _Member:
    """An observer (by number) in a joint table: where its state and its atoms stand there."""

    number: int
    observer: ObserverAutomaton
    state: int
    state_bits: int
    atom: int

    def places_in(self, joint: Array, atom_bits: int) -> Array:
        """The places of its own table that places of the joint table stand for."""
        state = joint >> atom_bits + self.state & (1 << self.state_bits) - 1
        atoms = joint >> self.atom & (1 << len(self.observer.atoms)) - 1
        return state << len(self.observer.atoms) | atoms


class ObserverPlan:
    """What the kernel is given of a product's observers.

    A row of `observers`: where their states stand and their mask, where their atoms stand and their
    mask, how many atoms, where their table begins in `tables`. A row of `choices`: where a state
    stands and its mask, from and to, the note. `labels` are those of the notes behind the graph's:
    of all choices, and of idling (`idle_note`).
    """

    def __init__(self, product: Product, graph: StateGraph) -> None:
        self._product = product
        self._own: list[WordPlace] = []
        used = 0
        for one in product.observers:
            bits = product.fields[one.field].bits
            self._own.append(WordPlace(0, used, bits, 0))
            used += bits
        self._idle = WordPlace(0, used, 1, 0)
        self._joint = list(self._joined())
        self.idle_bit = np.uint64(1 << used)
        self.labels = [label for one in product.observers for *_, label in one.choices]
        self.idle_note = graph.labels.size + len(self.labels)
        self.labels.append(product.idle_label)
        self.tables = np.concatenate([_table_of(members) for members in self._joint])
        self.observers = np.array(list(self._rows()), np.uint64).reshape(-1, 6)
        self.choices = np.array(list(self._chosen(graph.labels.size)), np.uint64).reshape(-1, 5)

    def _joined(self) -> Iterator[list[_Member]]:
        """The observers of each joint table, in order."""
        members: list[_Member] = []
        state = atom = 0
        for number, (place, one) in enumerate(zip(self._own, self._product.observers, strict=True)):
            if members and state + place.bits + atom + len(one.atoms) > TABLE_BITS:
                yield members
                members, state, atom = [], 0, 0
            members.append(_Member(number, one, state, place.bits, atom))
            state, atom = state + place.bits, atom + len(one.atoms)
        yield members

    def _rows(self) -> Iterator[tuple[int, ...]]:
        atoms = begin = 0
        for members in self._joint:
            states, count = _sizes(members)
            shift = self._own[members[0].number].shift
            yield shift, (1 << states) - 1, atoms, (1 << count) - 1, count, begin
            atoms += count
            begin += 1 << states + count

    def _chosen(self, note: int) -> Iterator[tuple[int, ...]]:
        for place, one in zip(self._own, self._product.observers, strict=True):
            for source, target, _ in one.choices:
                yield place.shift, place.mask, source, target, note
                note += 1

    def looked_up(self, seen: Array) -> Iterator[tuple[int, int]]:
        """The places of each observer's own table, from a flag for each place of `tables`."""
        begin = 0
        for members in self._joint:
            states, atoms = _sizes(members)
            end = begin + (1 << states + atoms)
            joint = np.flatnonzero(seen[begin:end])
            for one in members:
                places = np.unique(one.places_in(joint, atoms)).tolist()
                yield from ((one.number, place) for place in places)
            begin = end

    def states_in(self, state: Sequence[int]) -> int:
        """All states of observers in a state of the product."""
        observers = zip(self._own, self._product.observers, strict=True)
        return sum(state[one.field] << place.shift for place, one in observers)

    def places(self, places: tuple[WordPlace, ...]) -> Iterator[tuple[WordPlace, WordPlace]]:
        """Of each observer's state, and of the mark of idling: its place among the `places` of the
        fields, and here.
        """
        for own, one in zip(self._own, self._product.observers, strict=True):
            yield places[one.field], own
        yield places[self._product.idle_field], self._idle


def _sizes(members: list[_Member]) -> tuple[int, int]:
    """Bits of the states and of the atoms of a joint table."""
    return (
        sum(one.state_bits for one in members),
        sum(len(one.observer.atoms) for one in members),
    )


def _table_of(members: list[_Member]) -> Words:
    """The joint table; of places that stand for no state of some observer it says nothing."""
    states, atoms = _sizes(members)
    joint = np.arange(1 << states + atoms)
    table = np.zeros(joint.size, np.uint64)
    for one in members:
        own = np.array(one.observer.table, np.uint64)
        after = own[np.minimum(one.places_in(joint, atoms), own.size - 1)]
        table |= after << np.uint64(one.state)
    return table

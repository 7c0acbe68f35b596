"""The states that were reached natively, and the graph that is built of their transitions."""

from __future__ import annotations

import ctypes
import time
from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import accumulate, zip_longest
from typing import Any

import numpy as np
from numpy.typing import NDArray

from modecheck.engine.native.code_notes import observed_in
from modecheck.engine.native.frame import FAILED, RECORD_EXTRA, overheard_events
from modecheck.engine.native.graph_kernels import (
    find_before,
    find_target,
    flag_states,
    flag_values,
)
from modecheck.engine.native.growing_arrays import Words
from modecheck.engine.native.machine import CompiledProduct, compiled
from modecheck.engine.native.native_arrays import NativeArrays
from modecheck.engine.native.native_numbers import U1
from modecheck.engine.native.reach import ReachedStates
from modecheck.engine.native.transition_making import (
    INDEX_FULLEST,
    TransitionMaker,
    Transitions,
    room_for_records,
)
from modecheck.engine.native.transition_making_kernels import EVENT_BITS
from modecheck.engine.reference.system_actions import system_actions
from modecheck.engine.search.explored_space import Exploration
from modecheck.engine.search.state_graph import StateGraph
from modecheck.product.ir import Product

BYTES_OF_MARKS = 8 + 2
"""For each state, its marks, and whether it is quiet and has a failing step."""
FLAGGED_TOGETHER = 1 << 18
"""States looked at between two looks at the clock."""

Array = NDArray[Any]
StepRecord = tuple[int, tuple[int, ...] | None, int, int]
"""Label, words of the next state (None for a failing step), who moved, what happened."""


@dataclass(slots=True)
class States:
    """Every state found: `words` of state `i` from `i * width` on, by depth, then by words.

    The order does not depend on the number of threads, and so nothing does that is found by it.
    """

    machine: CompiledProduct
    words: Words
    layers: list[int]
    expanded: int
    seen: Array
    _records: Words | None = None
    _ends: list[int] | None = None

    @property
    def width(self) -> int:
        return self.machine.layout.words

    @property
    def count(self) -> int:
        return sum(self.layers)

    @property
    def ends(self) -> list[int]:
        """For each depth the number behind its last state."""
        if self._ends is None:
            self._ends = list(accumulate(self.layers))
        return self._ends

    def first_of(self, depth: int) -> int:
        """The number of the first state of a depth; behind the last depth, that of all states."""
        return self.ends[min(depth, len(self.ends)) - 1] if depth > 0 else 0

    def depth_of(self, number: int) -> int:
        """The distance of a state from the initial state."""
        return bisect_right(self.ends, number)

    def values(self, number: int) -> tuple[int, ...]:
        """The values of a state's fields."""
        at = number * self.width
        return self.machine.layout.unpack(self.words[at : at + self.width].tolist())

    def values_of(self, numbers: Sequence[int]) -> list[tuple[int, ...]]:
        """The values of the fields of some states."""
        rows = self.words.reshape(-1, self.width)[np.array(numbers, np.int64)]
        columns = []
        for place in self.machine.layout.places:
            stored = rows[:, place.word] >> np.uint64(place.shift) & np.uint64(place.mask)
            columns.append((stored.astype(np.int64) + place.low).tolist())
        return list(zip(*columns, strict=True))

    def column(self, field: int) -> Array:
        """The values of one field in all states."""
        place = self.machine.layout.places[field]
        stored = self.words[place.word :: self.width] >> np.uint64(place.shift)
        values: Array = (stored & np.uint64(place.mask)).astype(np.int64) + place.low
        return values

    def values_in(self, field: int) -> set[int]:
        """The values that a field, which can have few, has in some state."""
        place = self.machine.layout.places[field]
        flags = np.zeros(place.mask + 1, np.uint8)
        flag_values(self.words[place.word :], self.width, place.shift, place.mask, flags)
        return {stored + place.low for stored in np.flatnonzero(flags).tolist()}

    def records(self) -> Words:
        """Room for the records of a batch."""
        return room_for_records(self.machine)

    def steps(self, number: int) -> list[StepRecord]:
        """The steps of one state; of a failing step what happened is the failure's number."""
        if self._records is None:
            self._records = self.records()
        kind = ctypes.CFUNCTYPE(*[ctypes.c_uint64] * 4)
        call = kind(self.machine.successors)
        state = self.words.ctypes.data + 8 * number * self.width
        count = call(state, self._records.ctypes.data, self.seen.ctypes.data) & 0xFFFFFFFF
        size, only = self.width + RECORD_EXTRA, ~0
        if overheard_events(self.machine.product):
            only = (1 << len(self.machine.product.chips)) - 1
        rows = self._records[: count * size].reshape(count, size).tolist()
        steps = []
        for row in rows:
            label, moved = row[self.width], row[self.width + 1] & only
            failing = bool(label & FAILED)
            after = None if failing else tuple(row[: self.width])
            steps.append((label & 0xFFFFFFFF, after, moved, (label & ~FAILED) >> 32))
        return steps

    def remade(self, number: int) -> list[tuple[int, int, int, int]]:
        """Of each transition of an expanded state, made anew, label, target, who moved and what
        happened.
        """
        return [
            (label, self._target(number, after), moved, events)
            for label, after, moved, events in self.steps(number)
            if after is not None
        ]

    def failing_labels(self, number: int) -> list[int]:
        """The labels of the steps that fail in a state, made anew."""
        return [label for label, after, _, _ in self.steps(number) if after is None]

    def _target(self, number: int, words: tuple[int, ...]) -> int:
        """The number of the state behind a transition from a state."""
        depth = self.depth_of(number) + 1
        found = (self.number_in(layer, words) for layer in range(depth, -1, -1))
        return next(target for target in found if target is not None)

    def step_into(self, graph: StateGraph, number: int) -> tuple[int, int]:
        """The first state of the layer above that leads to a state, and the least label."""
        before = self._before(graph, number, self.depth_of(number))
        if before < graph.linked:
            steps = graph.transitions_of(before)
            return before, min(label for label, target, _, _ in steps if target == number)
        goal = tuple(self.words[number * self.width : (number + 1) * self.width].tolist())
        return before, min(label for label, after, _, _ in self.steps(before) if after == goal)

    def _before(self, graph: StateGraph, number: int, depth: int) -> int:
        begin, end = self.first_of(depth - 1), self.first_of(depth)
        if end <= graph.linked:
            # Transposing all transitions takes longer than to look through those of many layers.
            low, high = int(graph.first[begin]), int(graph.first[end])
            edge = int(find_target(graph.targets, low, high, number))
            if edge >= 0:
                return int(np.searchsorted(graph.first, edge, side="right")) - 1
        return self.before(number, depth)

    def chosen(self, labels: list[int]) -> int:
        """The least label."""
        return min(labels)

    def ordered(self) -> None:
        """They are by depth, then by words."""

    def shadows(self, product: Product, curious: frozenset[int]) -> dict[int, int]:
        """Step through all states once more, with code that looks at the rules that lost."""
        machine = compiled(
            product, system_actions(product), curious=curious, level=self.machine.level
        )
        seen, spare = np.zeros(len(machine.seen) + 64, np.uint8), np.zeros(self.count, np.uint8)
        again = replace(self, machine=machine, seen=seen)
        flag_states(
            machine.successors, seen, self.words, self.width, 0, self.expanded, again.records(),
            spare, spare.copy(),
        )  # fmt: skip
        return observed_in(machine, seen).shadowed

    def number_in(self, depth: int, words: tuple[int, ...]) -> int | None:
        """The number of a state in a layer, which is sorted; None if it is not there."""
        low, high = self.first_of(depth), self.first_of(depth + 1)
        end = high
        while low < high:
            middle = (low + high) // 2
            at = middle * self.width
            if tuple(self.words[at : at + self.width].tolist()) < words:
                low = middle + 1
            else:
                high = middle
        at = low * self.width
        found = low < end and tuple(self.words[at : at + self.width].tolist()) == words
        return low if found else None

    def before(self, number: int, depth: int) -> int:
        """The first state of the layer above that has a step to a state."""
        begin = self.first_of(depth - 1)
        found = find_before(
            self.machine.successors,
            self.seen,
            self.words,
            self.width,
            begin,
            begin + self.layers[depth - 1],
            number,
            self.records(),
        )
        return int(found)


def numbered_states(reached: ReachedStates, most: int | None = None) -> States:
    """Bring the states of all threads into one array, in their canonical order. Of more than
    `most` states the last ones are left out.

    The table is given back first, since the array takes about as much.
    """
    reached.table.give_back()
    machine = reached.machine
    width = machine.layout.words
    total = reached.states
    words = np.empty(total * width, np.uint64)
    layers: list[int] = []
    position = 0
    for parts in zip_longest(*(worker.found() for worker in reached.workers), fillvalue=words[:0]):
        if position == total * width:
            break
        begin = position
        for part in parts:
            words[position : position + part.size] = part
            position += part.size
        if len(parts) > 1 or len(layers) >= reached.workers[0].packed_levels:
            _sort(words[begin:position], width)
        layers.append((position - begin) // width)
    whole = reached.expanded_levels
    while most is not None and sum(layers) > most:
        # Without all of its next layer, a layer does not count as expanded.
        layers[-1] -= min(sum(layers) - most, layers[-1])
        whole = min(whole, len(layers) - 2)
        if not layers[-1]:
            layers.pop()
    words = words[: sum(layers) * width]
    expanded = sum(layers[: max(whole, 0)])
    return States(machine, words, layers, expanded, np.zeros(len(machine.seen) + 64, np.uint8))


def _sort(layer: Words, width: int) -> None:
    if width == 1:
        layer.sort()
        return
    rows = layer.reshape(-1, width)
    rows[:] = rows[in_order(rows)]


def in_order(rows: Words) -> Array:
    """The canonical order of states, given as rows of words: of the least words first."""
    if rows.shape[1] == 1:
        return np.argsort(rows[:, 0], kind="stable")
    return np.lexsort(rows.T[::-1])


CompiledExploration = Exploration[States]


def as_compiled(space: object) -> CompiledExploration | None:
    """The space, if it was explored natively as it is, and not by its representatives."""
    if isinstance(space, Exploration) and isinstance(space.found, States):
        return space
    return None


def graph_without_transitions(states: States, *, seconds: float | None = None) -> StateGraph:
    """Only which states are quiet and which have a failing step. With a bound of seconds, states
    that are not looked at in time count as not expanded from then on.
    """
    is_quiescent, failing = np.zeros(states.count, np.uint8), np.zeros(states.count, np.uint8)
    records, until = states.records(), time.monotonic() + (seconds or 0.0)
    for begin in range(0, states.expanded, FLAGGED_TOGETHER):
        end = min(begin + FLAGGED_TOGETHER, states.expanded)
        flag_states(
            states.machine.successors,
            states.seen,
            states.words,
            states.width,
            begin,
            end,
            records,
            is_quiescent,
            failing,
        )
        if seconds is not None and time.monotonic() > until:
            states.expanded = end
            break
    none, nothing = np.empty(0, np.uint64), np.empty(0, np.uint32)
    notes = np.empty(0, np.uint16)
    first = np.zeros(1, np.int64)
    return StateGraph(
        NativeArrays(), first, nothing, notes, none, none, none, is_quiescent, failing, linked=0
    )


def graph_of(states: States, transitions: int, threads: int) -> StateGraph:
    """Make all transitions of the expanded states; `transitions` is at least their number.

    Raises `MemoryError` when there are too many kinds of transitions to number.
    """
    making = TransitionMaker(
        states.machine, states.words, states.expanded, transitions, states.seen
    )
    return graph_from(making.made(threads), states, threads)


def graph_from(made: Transitions, states: States, threads: int) -> StateGraph:
    """The graph of the transitions of all expanded states."""
    moved, product = made.moved, states.machine.product
    labels, events = made.happened >> EVENT_BITS, made.happened & ((U1 << EVENT_BITS) - U1)
    overheard = None
    if overheard_events(product):
        chips, reported = len(product.chips), len(product.watched_events)
        overheard = events | (moved >> np.uint64(chips)) << np.uint64(reported)
        moved = moved & np.uint64((1 << chips) - 1)
    return StateGraph(
        NativeArrays(), made.first, made.targets, made.notes, labels, moved, events,
        made.is_quiescent, made.failing, linked=states.expanded, overheard=overheard,
        threads=threads,
    )  # fmt: skip


def bytes_to_number(reached: ReachedStates) -> int:
    """Bytes needed, beyond those held now, to number states, which begins by giving back their
    table, and to mark them when threads have given theirs back, too.
    """
    numbered = 8 * reached.machine.layout.words * reached.states - reached.table.bytes
    found = reached.used_bytes - reached.table.bytes
    return max(numbered, numbered + BYTES_OF_MARKS * reached.states - found, 0)


def bytes_needed(states: int, transitions: int) -> int:
    """Memory that a graph and the searches over it take beside the states."""
    per_state = 8 / INDEX_FULLEST + 8 + 8 + 2 + 8 + 8 + 4
    per_transition = 4 + 2 + 4 + 2
    return int(states * per_state + transitions * per_transition)

"""The explored states and their transitions as arrays, and the searches over them."""

from __future__ import annotations

import ctypes
import time
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from modecheck.engine.compiled.frame import FAILED, RECORD_EXTRA, overheard_events
from modecheck.engine.compiled.graph_kernels import (
    EVENT_BITS,
    build_transitions,
    find_before,
    flag_states,
    index_states,
    lead_to,
    own_moves,
    spread_movable,
    transpose,
)
from modecheck.engine.compiled.growing_arrays import Reserved, Words
from modecheck.engine.compiled.kernels import SPARE, U1
from modecheck.engine.compiled.language.intrinsics import LINE
from modecheck.engine.compiled.machine import CompiledProduct
from modecheck.engine.compiled.reach import ReachedStates

RECORDS_A_BATCH = 1024
"""Successors made before they are looked up: enough to hide the memory's latency, few enough for
the second-level cache."""
INDEX_FULLEST = 0.7
"""Share of the slots in use of the table that finds a state's number."""
NOTE_SLOTS = 1 << 17
"""Slots for kinds of transitions (label, who moved, what happened); twice as many as can be told
apart, and real devices have some hundred.
"""

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

    @property
    def width(self) -> int:
        return self.machine.layout.words

    @property
    def count(self) -> int:
        return sum(self.layers)

    def first_of(self, depth: int) -> int:
        """The number of the first state of a depth."""
        return sum(self.layers[:depth])

    def depth_of(self, number: int) -> int:
        """The distance of a state from the initial state."""
        return int(np.searchsorted(np.cumsum(self.layers), number, side="right"))

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

    def records(self) -> Words:
        """Room for the records of a batch."""
        room = max(RECORDS_A_BATCH, 2 * self.machine.most_records)
        return np.zeros(room * (self.width + RECORD_EXTRA), np.uint64)

    def steps(self, number: int, records: Words) -> list[StepRecord]:
        """The steps of one state; of a failing step what happened is the failure's number."""
        kind = ctypes.CFUNCTYPE(*[ctypes.c_uint64] * 4)
        call = kind(self.machine.successors)
        state = self.words.ctypes.data + 8 * number * self.width
        count = call(state, records.ctypes.data, self.seen.ctypes.data) & 0xFFFFFFFF
        size, only = self.width + RECORD_EXTRA, ~0
        if overheard_events(self.machine.product):
            only = (1 << len(self.machine.product.chips)) - 1
        rows = records[: count * size].reshape(count, size).tolist()
        steps = []
        for row in rows:
            label, moved = row[self.width], row[self.width + 1] & only
            failing = bool(label & FAILED)
            after = None if failing else tuple(row[: self.width])
            steps.append((label & 0xFFFFFFFF, after, moved, (label & ~FAILED) >> 32))
        return steps

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

    def before(self, number: int, depth: int, records: Words) -> int:
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
            records,
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
    depth = 0
    levels_of = [[*worker.levels, worker.filled] for worker in reached.workers]
    while position < total:
        size = 0
        for worker, levels in zip(reached.workers, levels_of, strict=True):
            begin = levels[depth] if depth < len(levels) else worker.filled
            end = levels[depth + 1] if depth + 1 < len(levels) else worker.filled
            part = worker.states[begin * width : end * width]
            words[(position + size) * width : (position + size) * width + part.size] = part
            size += end - begin
        _sort(words[position * width : (position + size) * width], width)
        layers.append(size)
        position += size
        depth += 1
    whole = reached.expanded_levels
    while most is not None and sum(layers) > most:
        # Without all of its next layer, a layer does not count as expanded.
        layers[-1] -= min(sum(layers) - most, layers[-1])
        whole = min(whole, len(layers) - 2)
        if not layers[-1]:
            layers.pop()
    words = words[: sum(layers) * width]
    expanded = sum(layers[: max(whole, 0)])
    seen = np.zeros(len(machine.seen) + 64, np.uint8)
    for worker in reached.workers:
        seen |= worker.seen
    return States(machine, words, layers, expanded, seen)


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


@dataclass(slots=True)
class CompiledGraph:
    """The transitions of the expanded states, forwards and transposed.

    `notes` numbers what each transition is like: `labels[n]`, and as bits `moved[n]` and
    `events[n]`. `linked` is the number of states whose transitions are kept: all that were
    expanded, or none when memory does not allow for them. The future of the others is unknown.
    Where events were overheard, `overheard[n]` has the bits of all events of the machine's product.
    """

    states: States
    first: Array
    targets: Array
    notes: Array
    labels: Words
    moved: Words
    events: Words
    is_quiescent: Array
    failing: Array
    linked: int
    overheard: Words | None = None
    _into: Array | None = None
    _sources: Array | None = None
    _notes_into: Array | None = None
    _kinds: list[tuple[int, int, int]] | None = None
    _most_edges: int | None = None

    def transitions_of(self, number: int) -> list[tuple[int, int, int, int]]:
        """Label, target, who moved and what happened of each transition of a linked state."""
        if self._kinds is None:
            kinds = (self.labels.tolist(), self.moved.tolist(), self.events.tolist())
            self._kinds = list(zip(*kinds, strict=True))
        begin, end = self.first[number : number + 2].tolist()
        found = []
        for target, note in zip(
            self.targets[begin:end].tolist(), self.notes[begin:end].tolist(), strict=True
        ):
            label, moved, events = self._kinds[note]
            found.append((label, target, moved, events))
        return found

    @property
    def most_edges(self) -> int:
        """The most transitions that any state has. Counted once."""
        if self._most_edges is None:
            self._most_edges = int(np.diff(self.first).max(initial=0))
        return self._most_edges

    def transposed(self) -> tuple[Array, Array, Array]:
        """Transitions by target: where each state's begin, sources and notes. Made once."""
        if self._into is None or self._sources is None or self._notes_into is None:
            self._into = np.zeros(self.states.count + 1, np.int64)
            self._sources = np.empty(self.targets.size, np.uint32)
            self._notes_into = np.empty(self.targets.size, np.uint16)
            transpose(
                self.first,
                self.targets,
                self.notes,
                self.linked,
                self._into,
                self._sources,
                self._notes_into,
            )
        return self._into, self._sources, self._notes_into

    def unknown(self, *, past_failures: bool = True) -> Array:
        """The numbers of the states whose future is unknown."""
        unlinked = np.arange(self.linked, self.states.count)
        if not past_failures:
            return unlinked
        return np.concatenate([np.flatnonzero(self.failing[: self.linked]), unlinked])

    def barred(self, events: int) -> Array:
        """For each note whether one of the events happens in it."""
        flags: Array = (self.events & np.uint64(events) != 0).astype(np.uint8)
        return flags

    def leading_to(self, goals: Array, without_events: int, *, past_failures: bool = True) -> Array:
        """For each state 1 if a path leads from it to a goal, without these events."""
        if not self.linked:
            return np.ones(self.states.count, np.uint8)
        into, sources, notes = self.transposed()
        reached = np.zeros(self.states.count, np.uint8)
        reached[goals] = 1
        reached[self.unknown(past_failures=past_failures)] = 1
        starts = np.flatnonzero(reached)
        pending = np.empty(self.states.count, np.uint32)
        pending[: starts.size] = starts
        lead_to(reached, pending, starts.size, into, sources, notes, self.barred(without_events))
        return reached

    def can_still_move(self) -> Words:
        """For each state the bits of the chips that can still move on some path from it."""
        into, sources, _ = self.transposed()
        masks = np.zeros(self.states.count, np.uint64)
        own_moves(self.first, self.targets, self.notes, self.linked, self.moved, masks)
        masks[self.unknown()] = np.uint64((1 << 64) - 1)
        pending = np.arange(self.states.count, dtype=np.uint32)[::-1].copy()
        spread_movable(masks, pending, np.ones(self.states.count, np.uint8), into, sources)
        return masks


def graph_without_transitions(states: States, *, seconds: float | None = None) -> CompiledGraph:
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
    return CompiledGraph(
        states, first, nothing, notes, none, none, none, is_quiescent, failing, linked=0
    )


def graph_of(states: States, transitions: int) -> CompiledGraph:
    """Make all transitions of the expanded states; `transitions` is at least their number.

    Raises `MemoryError` when there are too many kinds of transitions to number.
    """
    count = states.count
    lines = int(count / LINE / INDEX_FULLEST) + 16
    index = Reserved((lines + SPARE) * LINE, huge_pages=True)
    index_states(states.words, states.width, count, index.words, lines)
    records = states.records()
    hashes = np.zeros(records.size, np.uint64)
    note_table = np.zeros((NOTE_SLOTS, 3), np.uint64)
    known = np.zeros(1, np.int64)
    first = np.zeros(states.expanded + 1, np.int64)
    targets = np.empty(transitions, np.uint32)
    notes = np.empty(transitions, np.uint16)
    is_quiescent, failing = np.zeros(count, np.uint8), np.zeros(count, np.uint8)
    too_many = build_transitions(
        states.machine.successors,
        states.seen,
        states.words,
        states.width,
        0,
        states.expanded,
        index.words,
        lines,
        records,
        hashes,
        most_records=states.machine.most_records,
        first=first,
        targets=targets,
        notes=notes,
        note_table=note_table,
        known=known,
        quiescent=is_quiescent,
        failing=failing,
    )
    if too_many:
        raise MemoryError("too many kinds of transitions")
    edges = int(first[-1])
    rows = (
        note_table[np.argsort(note_table[:, 2])][-int(known[0]) :] if known[0] else note_table[:0]
    )
    moved, happened = rows[:, 0].copy(), rows[:, 1].copy()
    labels, events = happened >> EVENT_BITS, happened & ((U1 << EVENT_BITS) - U1)
    kept = targets[:edges], notes[:edges]
    overheard = None
    if overheard_events(states.machine.product):
        product = states.machine.product
        chips, reported = len(product.chips), len(product.watched_events)
        overheard = events | (moved >> np.uint64(chips)) << np.uint64(reported)
        moved &= np.uint64((1 << chips) - 1)
    about = labels, moved, events
    linked = states.expanded
    return CompiledGraph(
        states, first, *kept, *about, is_quiescent, failing, linked=linked, overheard=overheard
    )


def bytes_needed(states: int, transitions: int) -> int:
    """Memory that a graph and the searches over it take beside the states."""
    per_state = 8 / INDEX_FULLEST + 8 + 8 + 2 + 8 + 8 + 4
    per_transition = 4 + 2 + 4 + 2
    return int(states * per_state + transitions * per_transition)

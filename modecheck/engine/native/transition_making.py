"""Make the transitions of all states that were reached, on all threads.

States are handed out in chunks, in their order. A thread makes the transitions of a chunk in a
place of its own, and copies them behind those of the chunk before as soon as it is known where
these end: all that threads wait for is a number. Kinds of transitions are numbered by each thread
as it meets them, and anew when all are done, in the order of the states that have them. So nothing
depends on the number of threads.
"""

from __future__ import annotations

import threading
from collections.abc import Callable
from dataclasses import dataclass, field
from functools import partial
from itertools import count
from typing import Any

import numpy as np
from numpy.typing import NDArray

from modecheck.engine.language.intrinsics import LINE
from modecheck.engine.native.frame import RECORD_EXTRA
from modecheck.engine.native.growing_arrays import Reserved, Words
from modecheck.engine.native.machine import CompiledProduct
from modecheck.engine.native.table_kernels import SPARE
from modecheck.engine.native.transition_making_kernels import (
    MOST_NOTES,
    index_states,
    make_transitions,
)
from modecheck.engine.search.threads_together import do_together

RECORDS_A_BATCH = 1024
"""Successors made before they are looked up: enough to hide the memory's latency, few enough for
the second-level cache."""
INDEX_FULLEST = 0.6
"""Share of the slots in use of the table that finds a state's number: few enough that most lines
have an empty slot, which makes sure that a state found by half of its hash is the right one."""
CHUNK = 1 << 14
"""States handed out at once."""
NOTE_SLOTS = 1 << 17
"""Slots for kinds of transitions (label, who moved, what happened), a power of two: twice as many
as can be told apart, and real devices have some hundred."""
MOST_IN_A_CHUNK = 1 << 23
"""Transitions of a chunk at the most, so that places of their own stay small beside the graph."""

Array = NDArray[Any]


@dataclass(frozen=True, slots=True)
class Transitions:
    """Those of state `i` are `first[i]` to `first[i + 1] - 1` in `targets` and `notes`; a note
    numbers who moved, as bits, and what happened, label and events.
    """

    first: Array
    targets: Array
    notes: Array
    moved: Words
    happened: Words
    is_quiescent: Array
    failing: Array


@dataclass(slots=True)
class _Own:
    """What one thread keeps for itself: `born[n]` is the state with which it numbered note `n`."""

    seen: Array
    records: Words
    hashes: Words
    targets: Array
    notes: Array
    note_table: Words = field(default_factory=lambda: np.zeros((NOTE_SLOTS, 3), np.uint64))
    known: Array = field(default_factory=lambda: np.zeros(1, np.int64))
    born: Array = field(default_factory=lambda: np.zeros(MOST_NOTES, np.int64))
    parts: list[tuple[int, int]] = field(default_factory=list)

    def kinds(self) -> list[tuple[int, int, int]]:
        """In their order, the state that each came with, who moved, and what happened."""
        rows = self.note_table[self.note_table[:, 2] != 0]
        rows = rows[np.argsort(rows[:, 2])]
        born = self.born[: len(rows)].tolist()
        return list(zip(born, rows[:, 0].tolist(), rows[:, 1].tolist(), strict=True))


def room_for_records(machine: CompiledProduct) -> Words:
    """Room for the records of a batch."""
    room = max(RECORDS_A_BATCH, 2 * machine.most_records)
    return np.zeros(room * (machine.layout.words + RECORD_EXTRA), np.uint64)


class TransitionMaker:
    """Makes the transitions of the first `expanded` of the states in `words`; `most` is at least
    their number. What is met on the way is noted in `seen`.
    """

    def __init__(
        self, machine: CompiledProduct, words: Words, expanded: int, most: int, seen: Array
    ) -> None:
        self._machine = machine
        self._words = words
        self._count = words.size // machine.layout.words
        self._expanded = expanded
        self._seen = seen
        self._chunk = max(1, min(CHUNK, MOST_IN_A_CHUNK // max(machine.most_records, 1)))
        self._lines = int(self._count / LINE / INDEX_FULLEST) + 16
        self._index = Reserved((self._lines + SPARE) * LINE, huge_pages=True).words
        self._first = np.zeros(expanded + 1, np.int64)
        self._targets = np.empty(most, np.uint32)
        self._notes = np.empty(most, np.uint16)
        self._flags = np.zeros(self._count, np.uint8), np.zeros(self._count, np.uint8)
        self._chunks = count()
        self._begins = [0]
        self._begins_known = threading.Condition()
        self._halted = False

    def made(self, threads: int) -> Transitions:
        """Everything, made by so many threads at the most. Raises `MemoryError` when there are too
        many kinds of transitions to number.
        """
        threads = max(1, min(threads, self._expanded // self._chunk))
        others = (0,) if threads > 1 else ()
        self._together([partial(self._index_share, n, threads, others) for n in range(threads)])
        own = [self._own() for _ in range(threads)]
        self._together([partial(self._work, one) for one in own])
        kinds, numbers = _numbered_anew([one.kinds() for one in own])
        if threads > 1:
            pairs = zip(own, numbers, strict=True)
            self._together([partial(self._number_anew, one, anew) for one, anew in pairs])
        for one in own:
            self._seen |= one.seen
        np.cumsum(self._first, out=self._first)
        edges = self._begins[-1]
        rows = np.array(kinds, np.uint64).reshape(-1, 2)
        about = rows[:, 0].copy(), rows[:, 1].copy()
        kept = self._targets[:edges], self._notes[:edges]
        return Transitions(self._first, *kept, *about, *self._flags)

    def _together(self, tasks: list[Callable[[], None]]) -> None:
        do_together(tasks, self._halt)

    def _halt(self) -> None:
        """Have all threads end with the chunk that they are at."""
        with self._begins_known:
            self._halted = True
            self._begins_known.notify_all()

    def _index_share(self, number: int, threads: int, others: tuple[int, ...]) -> None:
        begin, end = (self._count * place // threads for place in (number, number + 1))
        width = self._machine.layout.words
        index_states(self._words, width, begin, end, self._index, self._lines, others)

    def _own(self) -> _Own:
        records, room = room_for_records(self._machine), self._chunk * self._machine.most_records
        return _Own(
            seen=np.zeros_like(self._seen),
            records=records,
            hashes=np.zeros(records.size, np.uint64),
            targets=np.empty(room, np.uint32),
            notes=np.empty(room, np.uint16),
        )

    def _work(self, own: _Own) -> None:
        """Make the transitions of one chunk after another, until there are no more."""
        for number in self._chunks:
            begin, end = (min(at * self._chunk, self._expanded) for at in (number, number + 1))
            if begin == end or self._halted:
                return
            edges = self._make(own, begin, end)
            at = self._begin_of(number, edges)
            if at is None:
                return
            self._targets[at : at + edges] = own.targets[:edges]
            self._notes[at : at + edges] = own.notes[:edges]
            own.parts.append((at, at + edges))

    def _make(self, own: _Own, begin: int, end: int) -> int:
        """Make the transitions of the states from `begin` to `end`; how many they are."""
        edges = make_transitions(
            self._machine.successors,
            own.seen,
            self._words,
            self._machine.layout.words,
            begin,
            end,
            self._index,
            self._lines,
            own.records,
            own.hashes,
            self._machine.most_records,
            self._first,
            own.targets,
            own.notes,
            own.note_table,
            own.known,
            own.born,
            *self._flags,
        )
        if edges < 0:
            raise MemoryError("too many kinds of transitions")
        return int(edges)

    def _begin_of(self, number: int, edges: int) -> int | None:
        """Where the transitions of a chunk begin, which have so many; None after a halt."""
        with self._begins_known:
            self._begins_known.wait_for(lambda: self._halted or len(self._begins) > number)
            if self._halted:
                return None
            self._begins.append(self._begins[number] + edges)
            self._begins_known.notify_all()
            return self._begins[number]

    def _number_anew(self, own: _Own, anew: Array) -> None:
        """Exchange the numbers of kinds in what a thread has made."""
        if not np.array_equal(anew, np.arange(anew.size)):
            for begin, end in own.parts:
                self._notes[begin:end] = anew[self._notes[begin:end]]


def _numbered_anew(
    met: list[list[tuple[int, int, int]]],
) -> tuple[list[tuple[int, int]], list[Array]]:
    """All kinds of transitions that some threads have met, in the order in which one thread would
    have met them; and for each thread, by its own numbers, their numbers in that order. Raises
    `MemoryError` when there are too many.
    """
    first: dict[tuple[int, int], tuple[int, int]] = {}
    for kinds in met:
        for number, (born, moved, happened) in enumerate(kinds):
            # Those that come with the same state are numbered by one thread, so its numbers count.
            place, known = (born, number), first.get((moved, happened))
            if known is None or place < known:
                first[moved, happened] = place
    if len(first) > MOST_NOTES:
        raise MemoryError("too many kinds of transitions")
    order = sorted(first, key=first.__getitem__)
    numbers = {kind: number for number, kind in enumerate(order)}
    anew = [np.array([numbers[kind[1:]] for kind in kinds], np.uint16) for kinds in met]
    return order, anew

"""What one thread of an exploration keeps for itself: the states it found, its notes, its buffers.

The states of a level are one after the other, those of the first thread first, and are handed out
in chunks to whoever comes for more. What a thread finds is put behind its own states, so that all
it shares while it works are the table and the counter of what has been handed out.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from itertools import pairwise
from typing import Any

import numpy as np

from modecheck.engine.native.exploring_kernels import (
    AHEAD,
    AT,
    COUNTERS,
    EXPANDED,
    FILLED,
    IS_THERE,
    LEVELS,
    MET,
    TRANSITIONS,
    UNTIL,
    SuccessorCode,
)
from modecheck.engine.native.frame import RECORD_EXTRA
from modecheck.engine.native.growing_arrays import PIECE, Reserved, Words
from modecheck.engine.native.level_kernels import Frontier, Meeting
from modecheck.engine.native.machine import CompiledProduct
from modecheck.engine.native.packed_states import Packed, packed_levels
from modecheck.engine.native.table import StateTable, stored_kind
from modecheck.engine.native.table_kernels import CACHE_LINE

ROOM = 1 << 10
"""Room for states that wait, between two looks at what is left in the table; it fits the cache."""
QUOTA = 1 << 17
"""States that a thread expands before it looks what can be packed, and the first at the clock."""
PACKED_TOGETHER = 1 << 16
"""States that a thread packs at the least."""
ENDLESS = 1 << 62
LEVELS_TOGETHER = 1 << 12
"""Levels that are expanded before Python takes note of them."""


@dataclass(slots=True)
class Level:
    """A level that is being expanded: how deep it is, and its states as kernels know them."""

    depth: int
    frontier: Frontier

    @property
    def count(self) -> int:
        return int(self.frontier.ends[-1])


@dataclass(slots=True)
class Worker:
    """One thread's: `states` in the order found, `levels[d]` the number of the first of depth d.

    `most` is how many states it may have found before it has to halt.
    """

    machine: CompiledProduct
    own: int
    states: Any
    memory: Reserved
    counters: Any
    failures: Words
    code: SuccessorCode
    waiting: Words
    homes: Words
    hashes: Words
    failed: Words
    level_ends: Any
    sizes: Any
    most: int = 0
    levels: list[int] = field(default_factory=lambda: [0])
    packed: list[Packed] = field(default_factory=list)
    packed_levels: int = 0

    @property
    def room(self) -> int:
        """States that may be entered between two looks at the room that is left."""
        return int(self.homes.size)

    @property
    def filled(self) -> int:
        return int(self.counters[FILLED])

    @property
    def bytes(self) -> int:
        """What its states take."""
        raw = self.filled * self.machine.layout.words - self.levels[self.packed_levels]
        kept: int = sum(block.data.size for block in self.packed)
        return kept + raw * int(self.states.itemsize)

    def found(self) -> Iterator[Any]:
        """The states that it has found, level after level; the order within a level is free."""
        width, blocks = self.machine.layout.words, iter(self.packed)
        first, block = 0, self.states[:0]
        for depth, (begin, end) in enumerate(pairwise([*self.levels, self.filled])):
            if depth >= self.packed_levels:
                yield self.states[begin * width : end * width]
                continue
            while end > first + block.size:
                first, block = begin, next(blocks).words()
            yield block[begin - first : end - first]

    @property
    def transitions(self) -> int:
        return int(self.counters[TRANSITIONS])

    @property
    def expanded(self) -> int:
        return int(self.counters[EXPANDED])

    @property
    def is_idle(self) -> bool:
        """Whether all that it was given has been expanded."""
        return int(self.counters[AT]) == int(self.counters[UNTIL])

    def ready(self, met: int) -> None:
        """Remember how often all threads have met."""
        self.counters[MET], self.counters[IS_THERE] = met, 0

    def begin(self, states: int) -> None:
        """Remember where the next level begins."""
        self.levels.append(states)
        self.counters[AT] = self.counters[UNTIL] = 0

    def expand(
        self, level: Level, meeting: Meeting, table: StateTable, everything: Any, bound: int
    ) -> tuple[int, list[int]]:
        """Expand what is to be had of this level and of those behind it, and go on to the level
        that it returns from; why, and how many states the levels have that were begun.
        """
        why = self._explore(level, meeting, table, everything, (QUOTA, bound), is_alone=False)
        begun = int(self.counters[LEVELS])
        self.levels += self.level_ends[:begun].tolist()
        level.depth += begun
        return why, self.sizes[:begun].tolist()

    def expand_small_levels(
        self, level: Level, meeting: Meeting, table: StateTable, everything: Any
    ) -> None:
        """Expand levels alone while they are small; the frontier is the next one then."""
        self._explore(level, meeting, table, everything, (ENDLESS, ENDLESS), is_alone=True)

    def pack(self, depth: int) -> None:
        """Pack the states of levels before this one, many at a time. Those of several words are
        not, since the table refers to them.
        """
        if self.machine.layout.words > 1:
            return
        start, size = self.own * self.states.size, self.states.itemsize
        for end_level in range(self.packed_levels + 1, depth + 1):
            ends = self.levels[self.packed_levels : end_level + 1]
            begin, end = ends[0], ends[-1]
            if end - begin >= PACKED_TOGETHER:
                levels = [one - begin for one in ends[1:]]
                self.packed.append(packed_levels(self.states[begin:end], levels))
                self.packed_levels = end_level
                self.memory.free(size * (start + begin), size * (start + end))

    def _explore(
        self,
        level: Level,
        meeting: Meeting,
        table: StateTable,
        everything: Any,
        bounds: tuple[int, int],
        *,
        is_alone: bool,
    ) -> int:
        """Call the kernel; `bounds` are how many states are expanded, and found."""
        self.counters[LEVELS] = 0
        why: int = self.machine.explore(
            self.code,
            (0,) * self.machine.layout.words,
            (0,) if table.segments > 1 else (),
            level.frontier,
            meeting,
            *bounds,
            self.states,
            self.most,
            everything,
            self.own,
            table.thread_bits,
            table.words,
            table.lines,
            table.distance,
            self.waiting,
            self.homes,
            self.hashes,
            self.failed,
            self.failures,
            level.depth,
            self.counters,
            self.machine.most_records,
            is_alone,
            self.level_ends,
            self.sizes,
        )
        return why


def new_workers(
    machine: CompiledProduct, count: int, *, address_space: int
) -> tuple[list[Worker], Any]:
    """Workers with address space for so many states each, and the array of all their states."""
    width = machine.layout.words
    kind = stored_kind(machine.layout)
    size = -(-address_space * width // PIECE) * PIECE
    memory = Reserved(size * count, kind, huge_pages=True)
    parts = [memory.array[own * size : (own + 1) * size] for own in range(count)]
    workers = [_worker(machine, own, states, memory) for own, states in enumerate(parts)]
    return workers, memory.array


def _worker(machine: CompiledProduct, own: int, states: Any, memory: Reserved) -> Worker:
    words, most = machine.layout.words, machine.most_records
    room = room_to_wait(most)
    code = SuccessorCode(
        np.uint64(machine.successors),
        apart(len(machine.seen) + 64, np.uint8),
        apart(most * (words + RECORD_EXTRA) + 1, np.uint64),
    )
    return Worker(
        machine=machine,
        own=own,
        states=states,
        memory=memory,
        counters=apart(COUNTERS, np.int64),
        failures=np.zeros((max(len(machine.failures), 1), 3 + words), np.uint64),
        code=code,
        waiting=apart(room * words, np.uint64),
        homes=apart(room, np.uint64),
        hashes=apart(room, np.uint64),
        failed=apart(most, np.uint64),
        level_ends=np.zeros(LEVELS_TOGETHER, np.int64),
        sizes=np.zeros(LEVELS_TOGETHER, np.int64),
    )


def room_to_wait(most_records: int) -> int:
    """Room for twice what is made between two looks, and in its last quarter for what one state
    leads to beside what waits already, all of it perhaps for the next line.
    """
    return max(ROOM, 16 * AHEAD + 16 * most_records)


def apart(size: int, kind: type[np.generic]) -> Any:
    """An array of zeros that shares no cache line with another: each thread writes to its own all
    the time, and would otherwise wait for the others' writes.
    """
    return np.zeros(size + 2 * CACHE_LINE, kind)[CACHE_LINE : CACHE_LINE + size]

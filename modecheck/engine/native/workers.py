"""What one thread of an exploration keeps for itself: the states it found, its notes, its buffers.

The states of a level are one after the other, those of the first thread first, and are handed out
in chunks to whoever comes for more. What a thread finds is put behind its own states, so that all
it shares while it works are the table and the counter of what has been handed out.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np

from modecheck.engine.native.exploring_kernels import (
    AHEAD,
    AT,
    COUNTERS,
    EXPANDED,
    FEW,
    FILLED,
    TRANSITIONS,
    UNTIL,
    SuccessorCode,
)
from modecheck.engine.native.frame import RECORD_EXTRA
from modecheck.engine.native.growing_arrays import Reserved, Words
from modecheck.engine.native.machine import CompiledProduct
from modecheck.engine.native.table import StateTable, stored_kind
from modecheck.engine.native.table_kernels import CACHE_LINE

ROOM = 1 << 10
"""Room for states that wait, between two looks at what is left in the table; it fits the cache."""
CHUNK = 1 << 11
"""States handed out at once: enough that asking costs nothing, few enough that nobody waits long
for the last one."""
QUOTA = 1 << 17
"""States that a thread expands before the clock is looked at."""
NO_LEVELS = np.empty(0, np.int64)
"""Only one level is expanded, or a part of it."""


@dataclass(frozen=True, slots=True)
class Frontier:
    """The states of a level: up to `ends[t]` those that thread `t` has found, whose words would
    begin at `begins[t]` among those of all if they were all there is.

    `taken[0]` counts what has been handed out; `halt[0]` is set for all to stop.
    """

    begins: Any
    ends: Any
    depth: int
    taken: Any
    halt: Any

    @property
    def count(self) -> int:
        return int(self.ends[-1])

    @property
    def all_taken(self) -> bool:
        return int(self.taken[0]) >= self.count

    @property
    def chunk(self) -> int:
        """States to hand out at once: in small levels less, so that every thread gets some."""
        return max(1, min(CHUNK, self.count // (4 * len(self.ends))))


@dataclass(slots=True)
class Worker:
    """One thread's: `states` in the order found, `levels[d]` the number of the first of depth d.

    `most` is how many states it may have found before it has to halt.
    """

    machine: CompiledProduct
    own: int
    states: Any
    counters: Any
    failures: Words
    code: SuccessorCode
    waiting: Words
    homes: Words
    hashes: Words
    failed: Words
    most: int = 0
    levels: list[int] = field(default_factory=lambda: [0])

    @property
    def room(self) -> int:
        """States that may be entered between two looks at the room that is left."""
        return int(self.homes.size)

    @property
    def filled(self) -> int:
        return int(self.counters[FILLED])

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

    def begin(self, states: int) -> None:
        """Remember where the next level begins."""
        self.levels.append(states)
        self.counters[AT] = self.counters[UNTIL] = 0

    def expand(self, frontier: Frontier, table: StateTable, everything: Any) -> None:
        """Expand what is to be had, until nothing is left, `QUOTA` states have been expanded, it
        has found as many as it may, or some thread has called a halt.
        """
        self._explore(frontier, table, everything, (frontier.chunk, QUOTA), NO_LEVELS)

    def expand_small_levels(
        self, frontier: Frontier, table: StateTable, everything: Any, level_ends: Any
    ) -> None:
        """Expand levels alone while they are small; the frontier is the next one then."""
        self._explore(frontier, table, everything, (FEW, FEW + 1), level_ends)

    def _explore(
        self,
        frontier: Frontier,
        table: StateTable,
        everything: Any,
        at_once: tuple[int, int],
        level_ends: Any,
    ) -> None:
        """Call the kernel: `at_once` are the states of a chunk, and those of all chunks."""
        self.machine.explore(
            self.code,
            (0,) * self.machine.layout.words,
            (0,) if table.segments > 1 else (),
            frontier.begins,
            frontier.ends,
            frontier.taken,
            frontier.halt,
            *at_once,
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
            frontier.depth,
            self.counters,
            self.machine.most_records,
            level_ends,
        )


def new_workers(
    machine: CompiledProduct, count: int, *, address_space: int
) -> tuple[list[Worker], Any]:
    """Workers with address space for so many states each, and the array of all their states."""
    width = machine.layout.words
    kind = stored_kind(machine.layout)
    everything = Reserved(address_space * width * count, kind, huge_pages=True).array
    size = address_space * width
    parts = [everything[own * size : (own + 1) * size] for own in range(count)]
    return [_worker(machine, own, states) for own, states in enumerate(parts)], everything


def _worker(machine: CompiledProduct, own: int, states: Any) -> Worker:
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
        counters=apart(COUNTERS, np.int64),
        failures=np.zeros((max(len(machine.failures), 1), 3 + words), np.uint64),
        code=code,
        waiting=apart(room * words, np.uint64),
        homes=apart(room, np.uint64),
        hashes=apart(room, np.uint64),
        failed=apart(most, np.uint64),
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

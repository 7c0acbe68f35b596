"""Reachable states, level by level, owned by partitions: one thread each, exchange between rounds.

A state belongs to the partition that the lower half of its hash names. In a round every partition
expands its own frontier, inserts what is its own, and puts the rest into the outbox of its owner;
then every partition inserts what it has been sent. There are two sets of outboxes, which take
turns: one is filled while the others may still be reading the other one, so that partitions wait
for each other once a round only. Nothing else is shared, so a partition could live in another
process or machine as well: all that passes between them are the outboxes.

Where levels are small, waiting for each other takes longer than all the rest. So between two levels
all states can move to other partitions, more or fewer of them (`adopt`); `balance` says when. What
is the only partition expands small levels one after another without coming back from its kernel.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from modecheck.engine.compiled.frame import RECORD_EXTRA
from modecheck.engine.compiled.intrinsics import LINE
from modecheck.engine.compiled.kernels import (
    AHEAD,
    FED,
    FEED,
    FILLED,
    LEVELS,
    POSITION,
    SPARE,
    TRANSITIONS,
    expand,
    expand_small_levels,
    grow,
    hash_of,
    insert_word,
    insert_words,
    receive,
)
from modecheck.engine.compiled.machine import Machine
from modecheck.engine.compiled.memory import Reserved, Words
from modecheck.engine.compiled.moving_kernels import count_owned, fill_table, take_owned

FIRST_LINES = 1 << 13
"""Lines of a new table: it fits the cache, and is grown long before it matters."""
FULLEST = 0.7
"""Share of slots in use at which a table grows: few probes need a second line, which has not been
asked for ahead of time. At 0.8 so many do that a transition costs half as much again."""
GROWTH = 1.4
"""After growing half of the slots are in use, so a state never takes more than two of them."""
LARGEST_TABLE = (1 << 32) - SPARE - 1
"""Lines; what a 32-bit half of the hash can tell apart."""
RING = 1 << 10
"""States that may wait between two looks at the room that is left; they fit the cache."""
CACHE_LINE = 64
"""Bytes of a cache line."""
OUTBOX = 1 << 16
"""States in an outbox before a round ends: both sets stay in a second-level cache of 2 MB, where
there are two partitions and states of one word. With less, waiting takes more than that saves."""
MOST_LEVELS = 1 << 12
"""Small levels that are expanded together."""
ASIDE = 1 << 15
"""Slots at the beginning of a table that are set aside while it grows."""


@dataclass(slots=True)
class Partition:
    """The states of one thread: `states` in the order found, `levels[d]` the first of depth d."""

    machine: Machine
    own: int
    count: int
    states: Words
    table: Words
    lines: int
    outboxes: Words
    sent: np.ndarray
    counters: np.ndarray
    failures: Words
    seen: np.ndarray
    records: Words
    hashes: Words
    most_states: int
    turn: int = 0
    levels: list[int] = field(default_factory=lambda: [0])
    keep: tuple[object, ...] = ()

    def give_table_back(self) -> None:
        """Free the table's memory; nothing can be inserted any more."""
        self.table = np.empty(0, np.uint64)
        self.keep = self.keep[:1]

    def begin_round(self) -> int:
        """Take the other set of outboxes, which all have read, and empty it; its number."""
        self.turn ^= 1
        self.sent[self.turn] = 0
        return self.turn

    @property
    def filled(self) -> int:
        return int(self.counters[FILLED])

    @property
    def transitions(self) -> int:
        return int(self.counters[TRANSITIONS])

    @property
    def most(self) -> int:
        """States at which the table has to grow, or at which there are more than are wanted."""
        return min(int(self.lines * LINE * FULLEST), self.most_states + self.hashes.size)

    @property
    def overfull(self) -> bool:
        """Whether there are more states than are wanted."""
        return self.filled > self.most_states

    @property
    def used_bytes(self) -> int:
        """Bytes that hold states and their table, buffers left out."""
        words = self.machine.layout.words
        return 8 * (self.filled * words + self.lines * LINE)

    def insert_initial(self, words: tuple[int, ...]) -> None:
        """Put the initial state into an empty partition that owns it."""
        width = self.machine.layout.words
        self.states[:width] = np.array(words, np.uint64)
        self.counters[FILLED] = 1
        self._enter(0)

    def _enter(self, number: int) -> None:
        """Put a state that is kept into the table."""
        words, lines = self.machine.layout.words, np.uint64(self.lines)
        at = number * words
        hash_ = np.uint64(hash_of(self.states, at, words))
        base = np.uint64(self.table.ctypes.data)
        if words == 1:
            insert_word(self.table, base, lines, self.states[at], hash_)
        else:
            which, where, width = np.uint64(number), np.uint64(at), np.uint64(words)
            insert_words(
                self.table, base, lines, self.states, which, self.states, where, width, hash_
            )

    def next_lines(self) -> int:
        return min(int(self.lines * GROWTH), LARGEST_TABLE)

    def grow(self) -> None:
        """Give the table more lines; fill it anew if it cannot grow in place."""
        words, old = self.machine.layout.words, self.lines
        self.lines = self.next_lines()
        if grow(self.table, old, self.lines, words, np.empty(ASIDE, np.uint64)):
            self.table[: (self.lines + SPARE) * LINE] = 0
            fill_table(self.states, words, self.filled, self.table, self.lines)

    def adopt(self, others: Sequence[Partition]) -> None:
        """Take over the own states of all partitions there were before, into an empty one. They
        must be between two levels.
        """
        words, levels = self.machine.layout.words, len(others[0].levels)
        begins = [np.array([*other.levels, other.filled]) for other in others]
        counts = np.zeros(levels, np.int64)
        for other, begin in zip(others, begins, strict=True):
            count_owned(other.states, words, begin, self.own, self.count, counts)
        ends = np.cumsum(counts)
        places = ends - counts
        self.levels = places.tolist()
        for other, begin in zip(others, begins, strict=True):
            take_owned(other.states, words, begin, self.own, self.count, self.states, places)
        self.counters[FILLED], self.counters[POSITION] = ends[-1], self.levels[-1]
        while self.filled + self.hashes.size > self.lines * LINE * FULLEST / GROWTH:
            self.lines = self.next_lines()
        fill_table(self.states, words, self.filled, self.table, self.lines)

    def expand(self, end: int, level: int, inbox: Words, arrived: int, begin: int) -> int:
        """Expand own states up to `end`, as far as there is room, and insert on the way what has
        arrived in an inbox, from `begin` on; how many of it are done.
        """
        self.counters[FED] = begin
        expand(
            self.machine.successors,
            self.seen,
            self.states,
            (0,) * self.machine.layout.words,
            end,
            self.table,
            self.lines,
            self.most,
            (0,) if self.count > 1 else (),
            self.own,
            self.outboxes[self.turn],
            self.sent[self.turn],
            inbox,
            arrived,
            self.records,
            self.hashes,
            self.failures,
            np.uint64(level),
            self.counters,
        )
        return int(self.counters[FED])

    def expand_small_levels(self, level: int) -> int:
        """Expand whole levels from this one on while they are small; how many. Only for a partition
        that is the only one.
        """
        known = len(self.levels)
        self.counters[POSITION], self.counters[LEVELS] = self.levels[level], 0
        ends = np.empty(MOST_LEVELS, np.int64)
        try:
            expand_small_levels(
                self.machine.successors,
                self.seen,
                self.states,
                (0,) * self.machine.layout.words,
                self.table,
                self.lines,
                self.most,
                self.outboxes[self.turn],
                self.sent[self.turn],
                self.outboxes[self.turn, 0],
                self.records,
                self.hashes,
                self.failures,
                level,
                self.counters,
                self.machine.most_records,
                ends,
            )
        finally:
            # An interruption is told behind the kernel, which has found these levels.
            self.levels += ends[: int(self.counters[LEVELS])].tolist()
        return len(self.levels) - known

    def receive(self, inbox: Words, count: int, begin: int) -> int:
        """Insert what another partition has sent; how many are done when room runs out."""
        done = receive(
            inbox,
            count,
            begin,
            self.states,
            (0,) * self.machine.layout.words,
            self.table,
            self.lines,
            self.most,
            self.hashes,
            self.counters,
        )
        return int(done)


def new_partition(
    machine: Machine, own: int, count: int, *, address_space: int, most_states: int
) -> Partition:
    """An empty partition with address space for so many states, which stops a little behind
    `most_states` of them.
    """
    words = machine.layout.words
    states = Reserved(address_space * words, huge_pages=True)
    lines = min(int(address_space / LINE / FULLEST * GROWTH), LARGEST_TABLE) + SPARE
    table = Reserved(lines * LINE, huge_pages=True)
    width = words + RECORD_EXTRA
    room = ring_size(machine.most_records)
    return Partition(
        machine=machine,
        own=own,
        count=count,
        states=states.words,
        table=table.words,
        lines=FIRST_LINES,
        outboxes=np.zeros((2, count, (OUTBOX + room if count > 1 else room) * words), np.uint64),
        sent=_apart(2 * count, np.int64).reshape(2, count),
        counters=_apart(5, np.int64),
        failures=np.zeros((max(len(machine.failures), 1), 3 + words), np.uint64),
        seen=_apart(len(machine.seen) + 64, np.uint8),
        records=_apart(machine.most_records * width, np.uint64),
        hashes=np.zeros(room, np.uint64),
        most_states=most_states,
        keep=(states, table),
    )


def ring_size(most_records: int) -> int:
    """A power of two, so that half of it, what waits, and the records of two states fit in, and
    what is fed with them.
    """
    return 1 << (max(RING, 4 * AHEAD + 4 * most_records + 4 * FEED) - 1).bit_length()


def _apart(size: int, kind: type[np.generic]) -> Any:
    """An array of zeros that shares no cache line with another: each thread writes to its own all
    the time, and would otherwise wait for the others' writes.
    """
    return np.zeros(size + 2 * CACHE_LINE, kind)[CACHE_LINE : CACHE_LINE + size]

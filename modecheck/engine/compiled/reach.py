"""Find every reachable state: the rounds of all partitions, limits, progress, interruption."""

from __future__ import annotations

import threading
import time
from dataclasses import dataclass, field

import numpy as np

from modecheck.engine.compiled.interruptions import Interruptions
from modecheck.engine.compiled.intrinsics import LINE
from modecheck.engine.compiled.kernels import POSITION, hash_of
from modecheck.engine.compiled.machine import Machine
from modecheck.engine.compiled.memory import Words
from modecheck.engine.compiled.partitions import (
    FIRST_LINES,
    LARGEST_TABLE,
    Partition,
    new_partition,
)
from modecheck.engine.exploration import Reporter
from modecheck.engine.memory import available_memory, resident_memory
from modecheck.engine.space import INTERRUPTION, Limits

MEMORY_LEFT_FREE = 0.08
"""Share of the available memory that is never taken, so that the report can still be written."""
CHECK_EVERY = 0.25
"""Seconds between two looks at the limits, at the most."""
LOOK_EVERY = 0.02
"""Seconds between two looks at the least."""
ROUND = 1 << 18
"""States expanded before the clock is looked at."""


@dataclass(slots=True)
class Inbox:
    """States that another partition has sent, and how many of them have been inserted."""

    states: Words
    count: int
    done: int = 0


@dataclass(slots=True)
class Reached:
    """All partitions at the end, and why the exploration stopped, if it did."""

    machine: Machine
    partitions: list[Partition]
    layers: list[int] = field(default_factory=list)
    stopped_by: str = ""
    expanded_levels: int = 0

    @property
    def states(self) -> int:
        return sum(partition.filled for partition in self.partitions)

    @property
    def transitions(self) -> int:
        return sum(partition.transitions for partition in self.partitions)


def reach(machine: Machine, *, threads: int, limits: Limits, reporter: Reporter) -> Reached:
    """Explore breadth first with one partition for each thread.

    The states of each level, and so counts and layers, do not depend on the number of threads.
    """
    return _Reach(machine, threads, limits, reporter).run()


class _Reach:
    def __init__(self, machine: Machine, threads: int, limits: Limits, reporter: Reporter) -> None:
        self._machine = machine
        self._limits = limits
        self._reporter = reporter
        self._began = time.monotonic() if limits.since is None else limits.since
        self._bound = limits.memory or int(
            resident_memory() + available_memory() * (1 - MEMORY_LEFT_FREE)
        )
        most = limits.states if limits.states is not None else LARGEST_TABLE * LINE
        self._partitions = [
            new_partition(
                machine, n, threads, address_space=self._address_space(threads), most_states=most
            )
            for n in range(threads)
        ]
        self._result = Reached(machine, self._partitions)
        self._barrier = threading.Barrier(threads)
        self._stop = ""
        self._looked = 0.0
        self._trouble: BaseException | None = None
        self._interruptions = Interruptions()
        self._ends = [0] * threads
        self._pending = [[0] * threads, [0] * threads]
        self._halted = ["", ""]

    def _address_space(self, threads: int) -> int:
        """Address space for a partition: what memory can hold, or the bound, with some to spare."""
        words = self._machine.layout.words
        most = self._bound // (8 * words + 8)
        if self._limits.states is not None:
            most = min(most, self._limits.states)
        return min(
            int(most * (1.0 if threads == 1 else 1.3)) + 4 * LINE * FIRST_LINES, (1 << 32) - 2
        )

    def run(self) -> Reached:
        with self._interruptions:
            return self._run()

    def _run(self) -> Reached:
        initial = self._machine.layout.pack(self._machine.product.initial)
        record = np.array(initial, np.uint64)
        hash_ = int(hash_of(record, 0, self._machine.layout.words))
        owner = (hash_ & 0xFFFFFFFF) * len(self._partitions) >> 32
        self._partitions[owner].insert_initial(initial)
        helpers = [
            threading.Thread(target=self._guarded, args=(n,), daemon=True)
            for n in range(1, len(self._partitions))
        ]
        for helper in helpers:
            helper.start()
        self._guarded(0)
        for helper in helpers:
            helper.join()
        if self._trouble is not None:
            raise self._trouble
        self._result.stopped_by = self._stop
        return self._result

    def _guarded(self, own: int) -> None:
        """Work until there is nothing left; trouble in one thread ends them all."""
        try:
            self._work(own)
        except KeyboardInterrupt:
            self._stop = INTERRUPTION
            self._barrier.abort()
        except threading.BrokenBarrierError:
            self._barrier.abort()
        except MemoryError:
            self._stop = Limits().reached_memory
            self._barrier.abort()
        except BaseException as trouble:
            self._trouble = trouble
            self._barrier.abort()

    def _work(self, own: int) -> None:
        partition = self._partitions[own]
        level = 0
        while True:
            self._ends[own] = partition.filled
            self._barrier.wait()
            begins = [part.levels[level] for part in self._partitions]
            fresh = sum(self._ends) - sum(begins)
            if own == 0 and fresh:
                self._result.layers.append(fresh)
            if self._too_many(sum(self._ends)):
                return
            if own == 0:
                self._result.expanded_levels = level
            if not fresh:
                return
            partition.levels.append(self._ends[own])
            partition.counters[POSITION] = partition.levels[level]
            if not self._whole(own, self._ends[own], level):
                return
            level += 1

    def _too_many(self, states: int) -> bool:
        """Whether there are more states than are wanted; some may have been dropped."""
        if self._limits.states is None or states <= self._limits.states:
            return False
        self._stop = self._limits.reached_states
        return True

    def _whole(self, own: int, end: int, level: int) -> bool:
        """Expand this level's states, exchanging whenever an outbox is full; whether all are.

        What all decide by has two places that take turns, as outboxes do: it is written before the
        wait, and not again before all have read it.
        """
        partition = self._partitions[own]
        inboxes: list[Inbox] = []
        while True:
            turn = partition.begin_round()
            self._expand_some(partition, end, level, inboxes)
            for inbox in inboxes:
                self._receive(partition, inbox)
            self._pending[turn][own] = end - int(partition.counters[POSITION])
            if own == 0:
                self._look_around(level)
                self._halted[turn] = self._stop
            self._barrier.wait()
            if self._halted[turn]:
                return False
            inboxes = self._inboxes(own, turn)
            if not any(self._pending[turn]):
                for inbox in inboxes:
                    self._receive(partition, inbox)
                return True

    def _expand_some(
        self, partition: Partition, end: int, level: int, inboxes: list[Inbox]
    ) -> None:
        """Expand until the level or the outboxes are full, or it is time to look at the limits;
        on the way insert what arrived last.
        """
        waiting = iter(inboxes)
        inbox = next(waiting, Inbox(partition.outboxes[0, 0], 0))
        until = time.monotonic() + CHECK_EVERY
        while int(partition.counters[POSITION]) < end and not self._stop:
            before = int(partition.counters[POSITION])
            inbox.done = partition.expand(
                min(end, before + ROUND), level, inbox.states, inbox.count, inbox.done
            )
            if inbox.done == inbox.count:
                inbox = next(waiting, inbox)
            if int(partition.counters[POSITION]) == before:
                if partition.filled + partition.hashes.size <= partition.most:
                    return  # an outbox is full
                if not partition.overfull:
                    self._grow(partition)
            if time.monotonic() > until or partition.overfull:
                return

    def _inboxes(self, own: int, turn: int) -> list[Inbox]:
        """What the other partitions have sent to one in a round."""
        return [
            Inbox(other.outboxes[turn, own], int(other.sent[turn, own]))
            for other in self._partitions
            if other.own != own
        ]

    def _receive(self, partition: Partition, inbox: Inbox) -> None:
        """Insert what is left of an inbox."""
        while inbox.done < inbox.count and not partition.overfull:
            inbox.done = partition.receive(inbox.states, inbox.count, inbox.done)
            if inbox.done < inbox.count and not partition.overfull:
                self._grow(partition)

    def _grow(self, partition: Partition) -> None:
        """Make room in a table, unless memory does not allow it."""
        more = 64 * (partition.next_lines() - partition.lines)
        if resident_memory() + more > self._bound:
            self._stop = self._stop or self._limits.reached_memory
            raise threading.BrokenBarrierError
        partition.grow()

    def _look_around(self, level: int) -> None:
        """Look at the limits and report; only the first partition's thread does."""
        self._interruptions.raise_noted()
        limits, states, now = self._limits, self._result.states, time.monotonic()
        self._too_many(states)
        if now - self._looked < LOOK_EVERY:
            return  # where levels are small, looking would take longer than exploring them
        self._looked = now
        if limits.seconds is not None and now - self._began > limits.seconds:
            self._stop = limits.reached_seconds
        elif resident_memory() > self._bound:
            self._stop = limits.reached_memory
        self._reporter.progress(
            states=states,
            transitions=self._result.transitions,
            frontier=self._unexpanded() + states - sum(self._result.layers),
            depth=level,
        )

    def _unexpanded(self) -> int:
        """How many states of this level are still to be expanded, or under way."""
        done = (int(partition.counters[POSITION]) for partition in self._partitions)
        return sum(self._ends) - sum(done)

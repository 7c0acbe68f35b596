"""Find every reachable state: the rounds of all partitions, limits, progress, interruption."""

from __future__ import annotations

import threading
import time
from bisect import bisect_right
from collections.abc import Callable
from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np

from modecheck.engine.compiled.balance import Balance
from modecheck.engine.compiled.intrinsics import LINE
from modecheck.engine.compiled.kernels import POSITION
from modecheck.engine.compiled.machine import Machine
from modecheck.engine.compiled.memory import Words
from modecheck.engine.compiled.partitions import (
    FIRST_LINES,
    GROWTH,
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


@dataclass(frozen=True, slots=True)
class Noted:
    """What a partition has seen beside states."""

    transitions: int
    failures: Words
    seen: np.ndarray

    @classmethod
    def by(cls, partition: Partition) -> Noted:
        return cls(partition.transitions, partition.failures, partition.seen)


@dataclass(slots=True)
class Reached:
    """All partitions at the end, and why the exploration stopped, if it did; `earlier` are what
    other partitions counted, whose states these took over.
    """

    machine: Machine
    partitions: list[Partition]
    layers: list[int] = field(default_factory=list)
    stopped_by: str = ""
    expanded_levels: int = 0
    earlier: list[Noted] = field(default_factory=list)

    @property
    def noted(self) -> list[Noted]:
        """What was seen beside the states, partition by partition."""
        return [*self.earlier, *(Noted.by(partition) for partition in self.partitions)]

    @property
    def states(self) -> int:
        return sum(partition.filled for partition in self.partitions)

    @property
    def transitions(self) -> int:
        return sum(noted.transitions for noted in self.noted)


def reach(machine: Machine, *, threads: int, limits: Limits, reporter: Reporter) -> Reached:
    """Explore breadth first with one partition, or one for each thread.

    The states move from one to the other as `balance` says. The states of each level, and so counts
    and layers, do not depend on any of it.
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
        self._threads = threads
        self._most = limits.states if limits.states is not None else LARGEST_TABLE * LINE
        self._result = Reached(machine, self._new_partitions(1))
        self._stop = ""
        self._looked = 0.0
        self._trouble: BaseException | None = None
        self._tipped, self._fixed = False, threads == 1
        self._meet(1)

    def _meet(self, threads: int) -> None:
        """Have so many threads wait for each other."""
        self._barrier = threading.Barrier(threads)
        self._ends = [0] * threads
        self._pending = [[0] * threads, [0] * threads]
        self._halted = ["", ""]

    @property
    def _partitions(self) -> list[Partition]:
        return self._result.partitions

    def _new_partitions(self, count: int) -> list[Partition]:
        space = self._address_space(count)
        return [
            new_partition(self._machine, n, count, address_space=space, most_states=self._most)
            for n in range(count)
        ]

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
        self._partitions[0].insert_initial(self._machine.layout.pack(self._machine.product.initial))
        while True:
            self._in_threads(len(self._partitions), self._work)
            if self._stop or not self._tipped:
                break
            self._move(self._threads if len(self._partitions) == 1 else 1)
        self._result.stopped_by = self._stop
        if self._stop == INTERRUPTION and len(self._partitions) == 1:
            only = self._partitions[0]
            whole = bisect_right(only.levels, int(only.counters[POSITION])) - 1
            self._result.expanded_levels = max(whole, self._result.expanded_levels)
        return self._result

    def _in_threads(self, count: int, work: Callable[[int], None]) -> None:
        helpers = [
            threading.Thread(target=self._guarded, args=(work, n), daemon=True)
            for n in range(1, count)
        ]
        for helper in helpers:
            helper.start()
        self._guarded(work, 0)
        for helper in helpers:
            helper.join()
        if self._trouble is not None:
            raise self._trouble

    def _guarded(self, work: Callable[[int], None], own: int) -> None:
        """Work until there is nothing left; trouble in one thread ends them all."""
        try:
            work(own)
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

    def _move(self, count: int) -> None:
        """Move all states to so many new partitions, between two levels, if memory allows it."""
        self._tipped = False
        needed = sum(partition.used_bytes for partition in self._partitions)
        self._fixed = resident_memory() + int(needed * GROWTH) > self._bound
        if self._fixed:
            return
        others, new = self._partitions, self._new_partitions(count)
        self._meet(count)
        self._in_threads(count, lambda own: new[own].adopt(others))
        if not self._stop:
            self._result.earlier += [Noted.by(partition) for partition in others]
            self._result.partitions = new

    def _work(self, own: int) -> None:
        partition = self._partitions[own]
        level = len(partition.levels) - 1
        balance = Balance(len(self._partitions), self._threads)
        while True:
            if balance.partitions == 1:
                level += self._small_levels(partition, level)
            self._ends[own] = partition.filled
            self._barrier.wait()
            begins = [part.levels[level] for part in self._partitions]
            states = sum(self._ends)
            fresh = states - sum(begins)
            if fresh and not self._fixed and balance.is_tipped(states):
                self._tipped = True
                return
            balance.add(fresh)
            if own == 0 and fresh:
                self._result.layers.append(fresh)
            if self._too_many(states):
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

    def _small_levels(self, partition: Partition, level: int) -> int:
        """Expand small levels while there are any; how many."""
        done = 0
        while not self._stop:
            more = partition.expand_small_levels(level + done)
            begins = partition.levels[level + done :]
            self._result.layers += [end - begin for begin, end in pairwise(begins)]
            done += more
            if not more:
                break
            self._look_around(level + done)
        return done

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
        return max(sum(self._ends) - sum(done), 0)

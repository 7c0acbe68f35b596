"""Find every reachable state: the levels and rounds of all threads, limits, progress, interruption.

In a level every thread takes what is to be expanded chunk by chunk, and enters what it finds in the
table that all share. Threads wait for each other when a level is done, in machine code, and when
the table must grow, here. Small levels are expanded by the first thread alone, sooner than all have
met.
"""

from __future__ import annotations

import threading
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from enum import Enum
from itertools import pairwise

import numpy as np

from modecheck.engine.contract.memory import available_memory, resident_memory
from modecheck.engine.contract.space import INTERRUPTION, Limits
from modecheck.engine.native.exploring_kernels import FILLED, LEVELS
from modecheck.engine.native.interruptions import Interruptions
from modecheck.engine.native.level_kernels import (
    APART,
    FEW,
    HALTED,
    LEFT,
    PAUSED,
    SHUT,
    Frontier,
    Meeting,
)
from modecheck.engine.native.machine import CompiledProduct
from modecheck.engine.native.table import DENSEST, FIRST_LINES, GROWTH, StateTable, stored_kind
from modecheck.engine.native.table_kernels import CACHE_LINE
from modecheck.engine.native.workers import ENDLESS, Level, Worker, apart, new_workers
from modecheck.engine.search.exploration import Reporter

MEMORY_LEFT_FREE = 0.08
"""Share of the available memory that is never taken, so that the report can still be written."""
PACKED_FROM = 0.5
"""Share of the memory that may be taken from which on states are packed: it takes time."""
LOOK_EVERY = 0.02
"""Seconds between two looks at the limits at the least."""
NAP = 5e-5
"""Seconds that a thread sleeps that has waited for the others in vain for some time."""
ROOM_LEFT = 32
"""A table grows when less than this part of it is left: dividing that among the threads would have
them wait for each other too often."""


@dataclass(slots=True)
class ReachedStates:
    """What all threads have found, and why the exploration stopped, if it did."""

    machine: CompiledProduct
    workers: list[Worker]
    table: StateTable
    layers: list[int] = field(default_factory=list)
    stopped_by: str = ""
    expanded_levels: int = 0

    @property
    def states(self) -> int:
        return sum(worker.filled for worker in self.workers)

    @property
    def transitions(self) -> int:
        return sum(worker.transitions for worker in self.workers)

    @property
    def used_bytes(self) -> int:
        """Bytes that hold states and their table, buffers left out."""
        return sum(worker.bytes for worker in self.workers) + self.table.bytes

    def give_back(self) -> None:
        """Free the memory of states and table."""
        self.workers.clear()
        self.table.give_back()


class Next(Enum):
    """What all threads do after they have met."""

    EXPAND = "go on with this level"
    GROW = "grow the table, then go on"
    LEAVE = "leave this level, which is done"
    STOP = "stop"


@dataclass(frozen=True, slots=True)
class Decision:
    """What is next, and how many lines a segment of the table had before."""

    next: Next
    old_lines: int = 0


def reach(
    machine: CompiledProduct,
    *,
    threads: int,
    limits: Limits,
    reporter: Reporter,
    later: Callable[[ReachedStates], int] = lambda _: 0,
) -> ReachedStates:
    """Explore breadth first on so many threads. Memory also ends it where too little would be left
    for the bytes that are needed `later`, beyond those held now, for what is reached.

    The states of each level, and so counts and layers, do not depend on the number of threads.
    """
    return _Reach(machine, threads, limits, reporter, later).run()


class _Reach:
    def __init__(
        self,
        machine: CompiledProduct,
        threads: int,
        limits: Limits,
        reporter: Reporter,
        later: Callable[[ReachedStates], int],
    ) -> None:
        self._machine = machine
        self._limits = limits
        self._reporter = reporter
        self._later = later
        self._began = time.monotonic() if limits.since is None else limits.since
        self._bound = limits.memory or int(
            resident_memory() + available_memory() * (1 - MEMORY_LEFT_FREE)
        )
        space = self._address_space(threads)
        self._workers, self._everything = new_workers(machine, threads, address_space=space)
        self._table = StateTable(machine.layout, threads, address_space=space)
        self._result = ReachedStates(machine, self._workers, self._table)
        self._barrier = threading.Barrier(threads)
        self._stop = ""
        self._meeting = Meeting(
            halt=apart(1, np.int64),
            taken=apart(2 * APART, np.int64),
            there=apart(1, np.int64),
            found=apart(2 * APART * threads, np.int64),
        )
        self._decision = Decision(Next.EXPAND)
        self._looked = 0.0
        self._is_tight = False
        self._trouble: BaseException | None = None
        self._interruptions = Interruptions()
        self._ends = [0] * threads
        self._ahead = 0

    def _address_space(self, threads: int) -> int:
        """Address space for states: what memory can hold, or the bound, with some to spare. One
        thread may find them all.
        """
        size = stored_kind(self._machine.layout).itemsize
        most = self._bound // (size * self._machine.layout.words)
        if self._limits.states is not None:
            most = min(most, self._limits.states)
        numbers = (1 << 32 - (threads - 1).bit_length()) - 2
        return min(most + 4 * CACHE_LINE // size * FIRST_LINES * threads, numbers)

    def run(self) -> ReachedStates:
        with self._interruptions:
            return self._run()

    def _run(self) -> ReachedStates:
        self._begin()
        self._share_out()
        helpers = [
            threading.Thread(target=self._guarded, args=(n,), daemon=True)
            for n in range(1, len(self._workers))
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

    def _begin(self) -> None:
        """Enter the states in which the product may begin; of more than are wanted, one more."""
        first, starts = self._workers[0], self._machine.starts
        if self._limits.states is not None:
            starts = starts[: self._limits.states + 1]
        words = np.array(starts, np.uint64).reshape(-1)
        first.states[: words.size] = words
        first.counters[FILLED] = len(starts)
        if len(starts) > 1 and not self._widened(self._table.lines, max(GROWTH)):
            raise MemoryError
        self._table.enter_first(first.states, len(starts))

    def _guarded(self, own: int) -> None:
        """Work until there is nothing left; trouble in one thread ends them all."""
        try:
            self._work(own)
        except KeyboardInterrupt:
            self._give_up(INTERRUPTION)
        except threading.BrokenBarrierError:
            self._give_up("")
        except MemoryError:
            self._give_up(Limits().reached_memory)
        except BaseException as trouble:
            self._trouble = trouble
            self._give_up("")

    def _give_up(self, why: str) -> None:
        self._stop = why or self._stop
        self._meeting.halt[0] = 1
        self._barrier.abort()

    def _work(self, own: int) -> None:
        worker = self._workers[own]
        depth = 0
        while True:
            self._barrier.wait()  # until all have noted which levels they have gone through
            if own == 0:
                self._ahead = self._go_ahead(depth)
            self._ends[own] = worker.filled
            worker.ready(int(self._meeting.there[0]) % SHUT // len(self._workers))
            self._barrier.wait()
            depth += self._ahead
            level = self._level(depth, self._ends)
            if own == 0 and level.count:
                self._result.layers.append(level.count)
            if self._too_many(sum(self._ends)):
                return
            if own == 0:
                self._result.expanded_levels = depth
            if not level.count:
                return
            worker.begin(self._ends[own])
            if not self._whole(own, level):
                return
            depth = level.depth + 1

    def _go_ahead(self, depth: int) -> int:
        """Expand levels in the first thread, as long as they are small, while all others wait; how
        many.
        """
        done = 0
        if not self._stop:
            self._resume()  # a halt may have been called in a level that ended all the same
        while not self._stop and not self._too_many(self._result.states):
            more = self._small_levels(depth + done)
            if not more:
                break
            done += more
            self._look_around(depth + done)
            if self._is_tight:
                self._workers[0].pack(depth + done)
        return done

    def _resume(self) -> None:
        """No halt is called any more; all threads wait."""
        self._meeting.halt[0] = 0
        self._meeting.there[0] %= SHUT

    def _small_levels(self, depth: int) -> int:
        """Expand some small levels; how many. They are noted even when somebody interrupts."""
        level = self._level(depth, [worker.filled for worker in self._workers])
        if level.count > FEW:
            return 0
        first, sizes = self._workers[0], [level.count]
        begin = first.filled
        try:
            first.expand_small_levels(level, self._meeting, self._table, self._everything)
        finally:
            done = int(first.counters[LEVELS])
            begins = [begin, *first.level_ends[:done].tolist()]
            sizes += [after - before for before, after in pairwise(begins)]
            self._result.layers += sizes[:done]
            self._result.expanded_levels = depth + done
            self._meeting.taken[:] = 0
            for worker in self._workers:
                worker.levels += begins[:done] if worker is first else [worker.filled] * done
        return done

    def _level(self, depth: int, all_ends: list[int]) -> Level:
        """The states of a level: for every thread those that it has found since the last one."""
        width, share = self._machine.layout.words, self._workers[0].states.size
        begins, ends, before = [], [], 0
        for worker, end in zip(self._workers, all_ends, strict=True):
            begin = worker.levels[depth]
            begins.append((worker.own * share + (begin - before) * width) % (1 << 64))
            before += end - begin
            ends.append(before)
        frontier = Frontier(
            np.array(begins, np.uint64), np.array(ends, np.int64), np.array(all_ends, np.int64)
        )
        return Level(depth, frontier)

    def _too_many(self, states: int) -> bool:
        """Whether there are more states than are wanted; some may have been dropped."""
        if self._limits.states is None or states <= self._limits.states:
            return False
        self._stop = self._limits.reached_states
        return True

    def _whole(self, own: int, level: Level) -> bool:
        """Expand this level's states and those of the next ones, growing the table on the way;
        whether some level was expanded wholly, and what comes next is decided anew.

        The first thread decides what is next while all wait, and does not decide again before all
        have seen it and come to the next wait.
        """
        while True:
            if self._expand(own, level) == LEFT:
                return True
            self._barrier.wait()
            if own == 0:
                self._decision = self._decide(level)
            self._barrier.wait()
            decision = self._decision
            if decision.next in (Next.LEAVE, Next.STOP):
                return decision.next is Next.LEAVE
            if decision.next is Next.GROW:
                found = [worker.found() for worker in self._workers]
                self._table.grow(own, decision.old_lines, found)
                self._barrier.wait()

    def _expand(self, own: int, level: Level) -> int:
        """Expand what this thread gets, until a halt is called or a level is left; which of both.

        Only the kernel knows at which level all halt, so it is asked again if it has paused.
        """
        worker, bound = self._workers[own], self._limits.states or ENDLESS
        while True:
            why, sizes = worker.expand(level, self._meeting, self._table, self._everything, bound)
            if self._is_tight:
                worker.pack(level.depth)
            if own == 0:
                self._result.layers += sizes
                self._result.expanded_levels = level.depth
                self._look_around(level.depth)
            elif why == PAUSED:
                time.sleep(NAP)
            if why in (HALTED, LEFT):
                return why

    def _decide(self, level: Level) -> Decision:
        """What all threads do next; all wait, at the same level."""
        meeting, threads = self._meeting, len(self._workers)
        self._resume()
        if self._stop or self._too_many(self._result.states):
            return Decision(Next.STOP)
        taken = int(meeting.taken[level.depth % 2 * APART])
        if taken >= level.count and all(worker.is_idle for worker in self._workers):
            meeting.taken[(level.depth + 1) % 2 * APART] = 0
            # Some have come to the end of the level in machine code, and some have not.
            meeting.there[0] += -int(meeting.there[0]) % threads
            return Decision(Next.LEAVE)
        old = self._table.lines
        for fullest in (self._table.fullest, DENSEST):
            self._table.fullest = fullest
            for growth in self._table.growths(self._result.layers):
                if self._widened(old, growth):
                    self._share_out()
                    return Decision(Next.GROW if self._table.lines > old else Next.EXPAND, old)
        self._stop = self._limits.reached_memory
        return Decision(Next.STOP)

    def _widened(self, old: int, growth: float) -> bool:
        """Have a table of `old` lines be as large as is needed; whether there is memory for it."""
        table = self._table
        while self._is_narrow():
            lines = table.next_lines(table.lines, growth)
            more = CACHE_LINE * (lines - old) * len(self._workers) + self._coming
            if lines == table.lines or resident_memory() + more > self._bound:
                table.lines = old
                return False
            table.lines = lines
        return True

    @property
    def _coming(self) -> int:
        """Bytes that the states of a level may take until they are packed."""
        layout = self._machine.layout
        size = stored_kind(layout).itemsize * layout.words
        return 2 * size * max(self._result.layers[-2:])

    def _is_narrow(self) -> bool:
        """Whether little room is left in the table."""
        left = self._table.capacity - self._result.states
        return left < max(self._least_room, self._table.capacity // ROOM_LEFT)

    @property
    def _least_room(self) -> int:
        """States for which there must be room, for all threads to go on."""
        return 2 * sum(worker.room for worker in self._workers)

    def _share_out(self) -> None:
        """Divide among the threads how many states may be found before they meet again."""
        most = self._table.capacity
        if self._limits.states is not None:
            most = min(most, self._limits.states + self._least_room)
        share = (most - self._result.states) // len(self._workers)
        for worker in self._workers:
            worker.most = worker.filled + share

    def _look_around(self, depth: int) -> None:
        """Look at the limits and report; only the first thread does."""
        self._interruptions.raise_noted()
        limits, states, now = self._limits, self._result.states, time.monotonic()
        if now - self._looked < LOOK_EVERY:
            return  # where levels are small, looking would take longer than exploring them
        self._looked = now
        resident = resident_memory()
        self._is_tight = resident > self._bound * PACKED_FROM
        if limits.seconds is not None and now - self._began > limits.seconds:
            self._stop = limits.reached_seconds
        elif resident + self._later(self._result) > self._bound:
            self._stop = limits.reached_memory
        if self._stop:
            self._meeting.halt[0] = 1
        self._reporter.progress(
            states=states,
            transitions=self._result.transitions,
            frontier=states - sum(worker.expanded for worker in self._workers),
            depth=depth,
        )

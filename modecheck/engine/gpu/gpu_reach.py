"""Find every reachable state on a GPU, level by level; memory, limits, progress, interruption.

All states stand in one array in the order in which they were found, beside the table. A launch
expands a part of a level. When room runs out, all that is there is put into a larger table, and the
same part is expanded once more: entering a state again changes nothing.
"""

from __future__ import annotations

import time
from dataclasses import dataclass, field

import numpy as np

from modecheck.engine.contract.space import INTERRUPTION, Limits
from modecheck.engine.gpu.device_memory import DeviceArray, KernelDevice
from modecheck.engine.gpu.finding_kernels import find_states, reached_from
from modecheck.engine.gpu.gpu_product_code import code_of, write_reached
from modecheck.engine.gpu.kernel_code import GpuKernel
from modecheck.engine.gpu.shared_table_kernels import (
    COUNTERS,
    FOUND,
    IS_HALTED,
    TRANSITIONS,
    enter_numbers,
    refill_words,
)
from modecheck.engine.language.gpu_intrinsics import MOST_AT_ONCE
from modecheck.engine.native.frame import NotCompilableError
from modecheck.engine.native.interruptions import Interruptions
from modecheck.engine.native.machine import CompiledProduct
from modecheck.engine.search.exploration import Reporter
from modecheck.product.bit_packing import WordLayout

WORD = 8
"""Bytes of a word, and of a slot of the table."""
FULLEST = 0.75
"""Share of the slots in use when the table is full."""
ROOM_A_THREAD = 256
"""States for which there is room at first, for each thread of the device: little of its memory, and
more would make looks at a table that is nearly empty slower."""
GROWTH, LATE_GROWTH, LATE = 20, 2, 1 << 28
"""How many times as much room there is when it runs out; from so many states on, less. Filling a
table anew costs as much as exploring half of its states."""
FIRST_SHARE = 4
"""The first room is no more than this part of what fits."""
LEAST_GROWTH = 1.05
"""With less than this gained, memory counts as full."""
LEFT_FREE = 0.04
"""Share of the device's memory that is never taken: the driver needs some for each launch."""
STATES_A_THREAD = 64
"""States that a thread expands in one launch: few enough that a launch takes some hundredths of a
second."""
MOST_STATES = (1 << 32) - 4
"""States that numbers of 32 bits tell apart."""


@dataclass(slots=True)
class FoundStates:
    """All states found, in the memory of a device, by depth; and why no more were looked for."""

    device: KernelDevice
    layout: WordLayout
    states: DeviceArray
    table: DeviceArray
    layers: list[int] = field(default_factory=list)
    expanded_levels: int = 0
    transitions: int = 0
    stopped_by: str = ""

    @property
    def count(self) -> int:
        return sum(self.layers)

    @property
    def bytes(self) -> int:
        """Bytes of the device that hold states and table."""
        return self.states.bytes + self.table.bytes

    def give_back(self) -> None:
        """Free the memory."""
        self.device.free(self.states, self.table)


def states_that_fit(bytes_: int, words: int) -> int:
    """States for which memory is enough, with the table."""
    return int(bytes_ / (WORD * words + WORD / FULLEST))


class GpuReach:
    """Explores a product breadth first on a device. Raises `NotCompilableError` when a state
    has too many steps.
    """

    def __init__(
        self,
        device: KernelDevice,
        machine: CompiledProduct,
        limits: Limits,
        reporter: Reporter,
    ) -> None:
        if machine.most_records > MOST_AT_ONCE:
            raise NotCompilableError(f"a state can have more than {MOST_AT_ONCE:,} steps")
        self._device, self._layout = device, machine.layout
        self._limits, self._reporter = limits, reporter
        self._began = time.monotonic() if limits.since is None else limits.since
        free = int(device.free_bytes() * (1 - LEFT_FREE))
        self._bound = min(free, limits.memory or free)
        words = machine.layout.words
        self._shape = (0,) * words
        room = {"waiting": machine.most_records * words}
        find = code_of(machine, find_states, room, {reached_from: write_reached(machine)})
        self._find = device.loaded(find)
        refill = GpuKernel(refill_words) if words == 1 else GpuKernel(enter_numbers, words)
        self._refill = device.loaded(refill)
        fits = states_that_fit(self._bound, words)
        starts = machine.starts if limits.states is None else machine.starts[: limits.states + 1]
        first = min(device.threads * ROOM_A_THREAD, fits // FIRST_SHARE, MOST_STATES)
        self._most = max(first, len(starts))
        self._counters = device.array(COUNTERS, np.uint64)
        self._found = FoundStates(device, machine.layout, *self._rooms())
        self._begin(starts)

    def _rooms(self) -> tuple[DeviceArray, DeviceArray]:
        states = self._device.array(self._most * self._layout.words, np.uint64)
        return states, self._device.array(self._slots, np.uint64)

    @property
    def _slots(self) -> int:
        return int(self._most / FULLEST) + 1

    def _begin(self, starts: tuple[tuple[int, ...], ...]) -> None:
        """Enter the states in which the product may begin."""
        self._found.layers = [len(starts)]
        self._device.write(self._found.states, np.array(starts, np.uint64).ravel())
        self._fill_table(len(starts))
        self._count_from(len(starts))

    def _fill_table(self, count: int) -> None:
        """Enter the first states in the table, which is empty."""
        found, shape = self._found, self._shape if self._layout.words > 1 else ()
        rooms = (found.states, found.table, self._counters)
        arguments = (0, count, *rooms)
        self._device.launch(self._refill, count, *((shape,) if shape else ()), *arguments)

    def _count_from(self, found: int) -> None:
        """So many states are found, and so many transitions made as were before room ran out."""
        counters = np.zeros(COUNTERS, np.uint64)
        counters[FOUND], counters[TRANSITIONS] = found, self._found.transitions
        self._device.write(self._counters, counters)

    def run(self) -> FoundStates:
        """Everything that is reachable within the limits. Raises `MemoryError` when not even the
        first states have room, and `DeviceFailed`.
        """
        with Interruptions() as interruptions:
            self._interruptions = interruptions
            try:
                self._levels()
            except KeyboardInterrupt:
                self._found.stopped_by = INTERRUPTION
        self._device.free(self._counters)
        return self._found

    def _levels(self) -> None:
        found, begin, end = self._found, 0, self._found.count
        while begin < end and not found.stopped_by:
            after = self._level(begin, end)
            found.expanded_levels += not found.stopped_by
            if after > end:
                found.layers.append(after - end)
            begin, end = end, after
            if self._limits.states is not None and end > self._limits.states:
                found.stopped_by = self._limits.reached_states

    def _level(self, begin: int, end: int) -> int:
        """Expand the states of a level; how many there are then in all."""
        count, chunk = end, self._device.threads * STATES_A_THREAD
        while begin < end and not self._found.stopped_by:
            upto = min(begin + chunk, end)
            count, is_whole = self._expand(begin, upto)
            if is_whole:
                begin = upto
            elif not self._grow(count):
                self._found.stopped_by = self._why_no_room()
            self._look_around(count, end - begin)
        return count

    def _expand(self, begin: int, end: int) -> tuple[int, bool]:
        """Expand some states; how many states there are then, and whether all could be expanded."""
        found = self._found
        rooms = (found.states, found.table, self._most, self._counters)
        self._device.launch(self._find, end - begin, self._shape, begin, end, *rooms)
        counters = self._device.read(self._counters)
        if counters[IS_HALTED]:
            known = min(int(counters[FOUND]), self._most)
            self._count_from(known)
            return known, False
        found.transitions = int(counters[TRANSITIONS])
        return int(counters[FOUND]), True

    def _grow(self, count: int) -> bool:
        """Make more room, for the states that there are and others; whether that was possible."""
        device, found, words = self._device, self._found, self._layout.words
        growth = GROWTH if self._most < LATE else LATE_GROWTH
        most = min(self._most * growth, states_that_fit(self._bound, words), MOST_STATES)
        if most < self._most * LEAST_GROWTH:
            return False
        self._most = most
        device.free(found.table)
        before = found.states
        found.states = device.array(most * words, np.uint64)
        device.copy(before, found.states, count * words)
        device.free(before)
        found.table = device.array(self._slots, np.uint64)
        self._fill_table(count)
        self._count_from(count)
        return True

    def _why_no_room(self) -> str:
        if self._most >= MOST_STATES:
            return f"the bound of {MOST_STATES:,} states of an exploration on a GPU"
        if self._limits.memory is not None and self._limits.memory <= self._bound:
            return self._limits.reached_memory
        return f"lack of memory of {self._device.name}"

    def _look_around(self, count: int, frontier: int) -> None:
        self._interruptions.raise_noted()
        found, limits = self._found, self._limits
        if limits.seconds is not None and time.monotonic() - self._began > limits.seconds:
            found.stopped_by = found.stopped_by or limits.reached_seconds
        self._reporter.progress(
            states=count,
            transitions=found.transitions,
            frontier=frontier,
            depth=len(found.layers) - 1,
        )

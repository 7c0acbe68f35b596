"""Room for the states of one device: all of them in one array in the order in which they were
found, beside the table. When room runs out, the table is given back, the array is moved to a larger
one, and a larger table is filled from it: so there are never two tables at the same time.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import accumulate
from typing import Any

import numpy as np
from numpy.typing import NDArray

from modecheck.engine.gpu.device_memory import DeviceArray, KernelDevice, part_of
from modecheck.engine.gpu.kernel_code import GpuKernel
from modecheck.engine.gpu.shared_table_kernels import (
    COUNTERS,
    FOUND,
    TRANSITIONS,
    enter_numbers,
    refill_words,
)
from modecheck.product.bit_packing import WordLayout

WORD = 8
"""Bytes of a word, and of a slot of the table."""
FULLEST = 0.75
"""Share of the slots in use when the table is full."""
GROWTH = 8
"""How many times as much room there is when it runs out, if that fits: filling a table anew costs
as much as exploring half of its states, and memory that nobody else has costs only its clearing."""
LEAST_GROWTH = 1.05
"""With less than this gained, memory counts as full."""
MOST_STATES = (1 << 32) - 4
"""States that numbers of 32 bits tell apart."""

Array = NDArray[Any]
NOTHING = DeviceArray(0, np.dtype(np.uint64), 0)
"""An array that was not taken yet."""


def states_that_fit(bytes_: int, words: int) -> int:
    """States for which memory is enough, with the table."""
    return int(bytes_ / (WORD * words + WORD / FULLEST))


class DeviceRoom:
    """Room for `most` states on a device, of which there are `count`; those before `begun` are
    expanded, by so many `transitions`, of which `made_before` were made before this level. It grows
    up to `bound` bytes, which is less than what is free if it `is_limited`. `layers` has how many
    states there are of each depth, and `counters` has places for so many devices. Raises
    `MemoryError`.
    """

    def __init__(
        self, device: KernelDevice, layout: WordLayout, most: int, bound: int, devices: int = 1
    ) -> None:
        self.device, self.most, self.bound = device, most, bound
        self.count = self.begun = self.transitions = self.made_before = 0
        self.layers: list[int] = []
        self.is_limited = False
        self._new_of_each = 0.0
        self.words = layout.words
        self.shape = (0,) * self.words
        refill = (
            GpuKernel(refill_words) if self.words == 1 else GpuKernel(enter_numbers, self.words)
        )
        self._refill = device.loaded(refill)
        self.counters = device.array(COUNTERS + devices, np.uint64)
        self.states = self.table = NOTHING
        try:
            self.states = device.array(most * self.words, np.uint64, None)
            self.table = device.array(self._slots, np.uint64)
        except MemoryError:
            self.give_back()
            raise

    @property
    def _slots(self) -> int:
        return int(self.most / FULLEST) + 1

    @property
    def bytes(self) -> int:
        """Bytes of the device that hold states and table."""
        return self.states.bytes + self.table.bytes

    def begin(self, states: Array) -> None:
        """Enter the first states, a row each."""
        if len(states) > self.most:
            raise MemoryError
        self.device.write(self.states, states.ravel())
        self.count = len(states)
        self.layers = [self.count]
        self.fill_table()

    def fill_table(self) -> None:
        """Enter all states in the table, which is empty."""
        shape = () if self.words == 1 else (self.shape,)
        rooms = (self.states, self.table, self.counters)
        self.reset()
        self.device.launch(self._refill, self.count, *shape, 0, self.count, *rooms)

    def reset(self) -> None:
        """Have the counters say what is known here."""
        counters = np.zeros(self.counters.count, np.uint64)
        counters[FOUND], counters[TRANSITIONS] = self.count, self.transitions
        self.device.write(self.counters, counters)

    def outcome(self) -> Array:
        """The counters, when all that was launched is done."""
        return self.device.read(self.counters)

    def expanded(self, upto: int, counters: Array) -> None:
        """The states before `upto` are expanded, as the counters say."""
        new = int(counters[FOUND]) - self.count
        self._new_of_each = new / max(upto - self.begun, 1)
        self.begun = upto
        self.count, self.transitions = int(counters[FOUND]), int(counters[TRANSITIONS])

    def make_ready(self, states: int) -> bool:
        """Grow at once if there is no room for what so many states lead to, should they lead to as
        many new ones as those before: so they need not be expanded twice. Whether there is still a
        table: where it grows no more, there may be room enough.
        """
        is_short = self.count + states * self._new_of_each > self.most
        return not is_short or self.grow(self.count) or self.table is not NOTHING

    def make_table(self) -> None:
        """A table of all states, in place of the one that was given back."""
        self.table = self.device.array(self._slots, np.uint64)
        self.fill_table()

    def grow(self, known: int) -> bool:
        """Make more room, for the first `known` states and others; whether that was possible. If
        not, the states are still there.
        """
        self.count = min(known, self.most)
        fits = min(states_that_fit(self.bound, self.words), MOST_STATES)
        most = self.most * GROWTH
        if most * self.words > fits:  # from there, there would be no room for a second array
            most = fits
        if most < self.most * LEAST_GROWTH:
            return False
        device, before = self.device, self.states
        device.free(self.table)
        self.table = NOTHING
        try:
            states = device.array(most * self.words, np.uint64, None)
            device.copy(before, states, self.count * self.words)
            self.states, self.most = states, most
            device.free(before)
            self.make_table()
        except MemoryError:  # somebody else took what was free
            return False
        return True

    def ends(self) -> list[int]:
        """Where each depth begins, and behind the last one."""
        return list(accumulate(self.layers, initial=0))

    def give_back(self) -> None:
        """Free the memory."""
        self.device.free(self.states, self.table, self.counters)


@dataclass(slots=True)
class FoundStates:
    """All states found, in the memory of one or several devices, by depth; and why no more were
    looked for.
    """

    layout: WordLayout
    rooms: Sequence[DeviceRoom]
    layers: list[int] = field(default_factory=list)
    expanded_levels: int = 0
    stopped_by: str = ""

    @property
    def count(self) -> int:
        return sum(self.layers)

    @property
    def transitions(self) -> int:
        return sum(room.transitions for room in self.rooms)

    @property
    def bytes(self) -> int:
        """Bytes of devices that hold states and tables."""
        return sum(room.bytes for room in self.rooms)

    def read_into(self, words: Array) -> None:
        """Copy the words of all states to this machine, depth by depth."""
        width = self.layout.words
        ends = [room.ends() for room in self.rooms]
        at = 0
        for depth in range(len(self.layers)):
            for room, bounds in zip(self.rooms, ends, strict=True):
                begin, size = bounds[depth] * width, room.layers[depth] * width
                own = part_of(room.states, begin, size)
                room.device.read_into(own, words[at : at + size])
                at += size

    def give_back(self) -> None:
        """Free the memory."""
        for room in self.rooms:
            room.give_back()

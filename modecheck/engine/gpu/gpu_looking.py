"""What is asked of all states that a GPU has found: their order, what holds in them, their steps.

States are numbered by depth and then by their words, as on the processor, so that nothing depends
on which thread found them. What belongs to states comes back part by part.
"""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from itertools import accumulate, pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray

from modecheck.engine.gpu.device_memory import DeviceArray, part_of
from modecheck.engine.gpu.found_states import FULLEST, MOST_STATES, NOTHING, FoundStates
from modecheck.engine.gpu.gpu_product_code import code_of, code_of_steps, write_marked
from modecheck.engine.gpu.kernel_code import GpuKernel
from modecheck.engine.gpu.looking_kernels import (
    BORN,
    HAPPENED,
    MOVED,
    NOTE_SLOTS,
    NOTE_WORDS,
    look_at_states,
    make_on_gpu,
    mark_on_gpu,
    marked,
)
from modecheck.engine.gpu.shared_table_kernels import COUNTERS, IS_HALTED, enter_numbers
from modecheck.engine.native.code_notes import observed_in
from modecheck.engine.native.graph import in_order
from modecheck.engine.native.growing_arrays import Words
from modecheck.engine.native.machine import CompiledProduct, compiled
from modecheck.engine.native.run import FailureRow
from modecheck.engine.native.transition_making import Transitions
from modecheck.engine.reference.system_actions import system_actions
from modecheck.engine.search.sweeps import do_each

PART = 1 << 24
"""States whose answers are brought back together."""
EDGES_TOGETHER = 1 << 28
"""Transitions that are brought back together, at the most."""
BYTES_OF_AN_EDGE = 6
PAGE, PAGES_TOGETHER = 1 << 12, 1 << 12
"""Bytes of a page of this machine's memory, at the least, and how many a thread asks for."""
MOST_NOTES = 0xFFFF
"""Kinds of transitions that a graph can tell apart, as on the processor."""

Array = NDArray[Any]


@dataclass(slots=True)
class Looked:
    """How many transitions there are, and if that was asked for, how many each expanded state has;
    for each state whether it is quiescent and has a failing step; the failures, by the first state;
    and the notes' rows, and whether those are all that there are.
    """

    transitions: int
    counts: Array
    is_quiescent: Array
    failing: Array
    failures: list[FailureRow]
    notes: Array
    all_notes: bool


class GpuStates:
    """The states of an exploration, of which no more than `most` are kept, in their order. `words`
    are on this machine, and `states` in the memory of one device, if it has room for all. `table`
    tells their numbers, after `index`.
    """

    def __init__(
        self, machine: CompiledProduct, found: FoundStates, *, threads: int, most: int | None
    ) -> None:
        self.machine, self.device = machine, found.rooms[0].device
        self._found = found
        self.width = machine.layout.words
        self._threads = threads
        self.words = memory_at_hand(found.count * self.width, np.uint64, threads)
        found.read_into(self.words)
        _order_levels(self.words, self.width, found.layers, threads)
        self.layers, self.expanded = _kept(found, MOST_STATES if most is None else most)
        self.words = self.words[: self.count * self.width]
        self._shape = (0,) * self.width
        self.seen = np.zeros(len(machine.seen) + 64, np.uint8)
        self._code_of_looking = code_of_steps(machine, look_at_states)
        self._code_of_making = code_of_steps(machine, make_on_gpu)
        self.table = NOTHING
        self.is_whole = self._put_on_one()

    def _put_on_one(self) -> bool:
        """Have all states on one device, in their order; whether they fit there. If not, a part of
        them is, whichever is looked at.
        """
        own, device = self._found.rooms[0], self.device
        device.free(own.table)  # there is room for looking then
        if len(self._found.rooms) == 1:
            self._kept = own.states
        else:
            self._found.give_back()
            try:
                self._kept = device.array(self.words.size, np.uint64, None)
            except MemoryError:
                self._kept = device.array(min(PART * self.width, self.words.size), np.uint64, None)
        self.states = part_of(self._kept, 0, self.words.size)
        if self._kept.count >= self.words.size:
            device.write(self._kept, self.words)
            return True
        return False

    def _states_at(self, begin: int, end: int) -> DeviceArray:
        """The states, of which those from `begin` to `end` are asked for."""
        if self.is_whole:
            return self.states
        first, after = begin * self.width, end * self.width
        self.device.write(self._kept, self.words[first:after])
        return part_of(self._kept, -first, after)

    @property
    def count(self) -> int:
        return sum(self.layers)

    def give_back(self) -> None:
        """Free the memory of the device."""
        self.device.free(self._kept, self.table)

    def marks(self) -> Words:
        """The conditions that hold in each state."""
        device = self.device
        kernel = code_of(self.machine, mark_on_gpu, {}, {marked: write_marked(self.machine)})
        mark, marks = device.loaded(kernel), memory_at_hand(self.count, np.uint64, self._threads)
        room = device.array(min(PART, self.count), np.uint64)
        for begin in range(0, self.count, PART):
            end = min(begin + PART, self.count)
            states = self._states_at(begin, end)
            device.launch(mark, end - begin, self._shape, begin, end, states, room)
            device.read_into(room, marks[begin:end])
        device.free(room)
        return marks

    def looked(self, *, counts: bool) -> Looked:
        """Look at all expanded states."""
        return self._looked(self.machine, self._code_of_looking, self.seen, counts=counts)

    def shadows(self, curious: frozenset[int]) -> dict[int, int]:
        """As `Space.shadows`: all states are looked at with code that looks at the rules that
        lost.
        """
        own = self.machine
        by_system = system_actions(own.product)
        machine = compiled(own.product, by_system, curious=curious, level=own.level)
        code = code_of_steps(machine, look_at_states, curious)
        seen = np.zeros(len(machine.seen) + 64, np.uint8)
        self._looked(machine, code, seen, counts=False)
        return observed_in(machine, seen).shadowed

    def _looked(
        self, machine: CompiledProduct, code: GpuKernel, noted: Array, *, counts: bool
    ) -> Looked:
        device, look = self.device, self.device.loaded(code)
        every = memory_at_hand(self.expanded if counts else 0, np.uint32, self._threads)
        quiescent, failing = np.zeros((2, self.count), np.uint8)
        transitions = 0
        numbers = len(machine.failures) or 1
        failures = device.array(2 * numbers, np.uint64)
        device.write(failures, np.array([0, 2**64 - 1] * numbers, np.uint64))
        notes = device.array(NOTE_SLOTS * int(NOTE_WORDS), np.uint64)
        seen, halted = device.array(noted.size, np.uint8), device.array(1, np.uint64)
        part = min(PART, max(self.expanded, 1))
        parts = [device.array(part, kind) for kind in (np.uint32, np.uint8, np.uint8)]
        for begin in range(0, self.expanded, PART):
            end = min(begin + PART, self.expanded)
            states = self._states_at(begin, end)
            device.launch(
                look, end - begin, self._shape, begin, end, states, seen, *parts, failures, notes,
                halted,
            )  # fmt: skip
            own = device.read(parts[0], 0, end - begin)
            transitions += int(own.sum(dtype=np.int64))
            if counts:
                every[begin:end] = own
            for room, whole in zip(parts[1:], (quiescent, failing), strict=True):
                device.read_into(room, whole[begin:end])
        noted |= device.read(seen)
        rows: Array = device.read(notes).reshape(NOTE_SLOTS, int(NOTE_WORDS))
        is_halted = bool(device.read(halted).any())
        met: list[list[int]] = device.read(failures).reshape(-1, 2).tolist()
        device.free(failures, notes, seen, halted, *parts)
        fit = not is_halted and int(np.count_nonzero(rows[:, 0])) <= MOST_NOTES
        return Looked(transitions, every, quiescent, failing, self._rows(machine, met), rows, fit)

    @staticmethod
    def _rows(machine: CompiledProduct, met: list[list[int]]) -> list[FailureRow]:
        """The failures that were met, by the first state and label."""
        rows: list[FailureRow] = [
            (first >> 32, first & 0xFFFFFFFF, failure, count)
            for failure, (count, first) in zip(machine.failures, met, strict=False)
            if count
        ]
        return sorted(rows, key=lambda row: row[:2])

    def transitions(self, looked: Looked) -> Transitions:
        """All transitions of the expanded states. Raises `MemoryError`."""
        device = self.device
        first = memory_at_hand(self.expanded + 1, np.int64, self._threads)
        first[0] = 0
        np.cumsum(looked.counts, out=first[1:])
        kinds, numbers = kinds_of(looked.notes)
        edges = int(first[-1])
        targets = memory_at_hand(edges, np.uint32, self._threads)
        notes = memory_at_hand(edges, np.uint16, self._threads)
        self.index()
        own = [
            device.array(looked.notes.size, np.uint64),
            device.array(NOTE_SLOTS, np.uint16),
            device.array(self.seen.size, np.uint8),
        ]
        for room, values in zip(own, (looked.notes.ravel(), numbers), strict=False):
            device.write(room, values)
        self._make_all(first, own, targets, notes)
        device.free(*own)
        return Transitions(
            first, targets, notes, kinds[:, MOVED].copy(), kinds[:, HAPPENED].copy(),
            looked.is_quiescent, looked.failing,
        )  # fmt: skip

    def index(self) -> None:
        """Have the table tell the number of each state."""
        device = self.device
        self.table = device.array(int(self.count / FULLEST) + 1, np.uint64)
        counters = device.array(COUNTERS, np.uint64)
        enter = device.loaded(GpuKernel(enter_numbers, self.width))
        rooms = (self.states, self.table, counters)
        device.launch(enter, self.count, self._shape, 0, self.count, *rooms)
        is_full = device.read(counters)[IS_HALTED]
        device.free(counters)
        if is_full:
            raise MemoryError

    def _make_all(self, first: Array, own: list[DeviceArray], targets: Array, kinds: Array) -> None:
        """Make the transitions part by part: of so many states as leave room for them."""
        device, (notes, numbers, seen) = self.device, own
        make = device.loaded(self._code_of_making)
        together = min(EDGES_TOGETHER, device.free_bytes() // 2 // BYTES_OF_AN_EDGE)
        together = max(min(together, targets.size), self.machine.most_records, 1)
        rooms = device.array(together, np.uint32), device.array(together, np.uint16)
        places = device.array(min(self.expanded, PART) + 1, np.int64)
        begin = 0
        while begin < self.expanded:
            end = int(np.searchsorted(first, first[begin] + together, side="right")) - 1
            end = min(end, begin + PART, self.expanded)
            low, high = int(first[begin]), int(first[end])
            device.write(places, first[begin : end + 1])
            device.launch(
                make, end - begin, self._shape, begin, end, self.states, seen, self.table, places,
                notes, numbers, *rooms,
            )  # fmt: skip
            for room, whole in zip(rooms, (targets, kinds), strict=True):
                device.read_into(room, whole[low:high])
            begin = end
        device.free(places, *rooms)


def memory_at_hand(count: int, kind: Any, threads: int) -> Array:
    """An array whose memory the system has given already, which several threads wait for together:
    what copies from a device waits alone, and that takes longer than the copy.
    """
    array: Array = np.empty(count, kind)
    pages = array.view(np.uint8)[::PAGE]

    def touch(begin: int) -> None:
        pages[begin : begin + PAGES_TOGETHER] = 0

    do_each(touch, range(0, pages.size, PAGES_TOGETHER), threads)
    return array


def _order_levels(words: Words, width: int, layers: list[int], threads: int) -> None:
    """Sort the states of each level by their words."""
    ends = list(accumulate(layers, initial=0))

    def order(bounds: tuple[int, int]) -> None:
        level = words[bounds[0] * width : bounds[1] * width]
        if width == 1:
            level.sort()
        else:
            rows = level.reshape(-1, width)
            rows[:] = rows[in_order(rows)]

    with ThreadPoolExecutor(threads) as pool:
        list(pool.map(order, sorted(pairwise(ends), key=lambda pair: pair[0] - pair[1])))


def _kept(found: FoundStates, most: int) -> tuple[list[int], int]:
    """The layers of which no more than `most` states are kept, and how many states are expanded."""
    layers, whole = list(found.layers), found.expanded_levels
    while sum(layers) > most:
        # Without all of its next layer, a layer does not count as expanded.
        layers[-1] -= min(sum(layers) - most, layers[-1])
        whole = min(whole, len(layers) - 2)
        if not layers[-1]:
            layers.pop()
    return layers, sum(layers[: max(whole, 0)])


def kinds_of(notes: Array) -> tuple[Array, Array]:
    """The rows of notes in the order in which they were born, and for each row its number there."""
    used = np.flatnonzero(notes[:, 0])
    order = used[np.argsort(notes[used, BORN], kind="stable")]
    numbers = np.zeros(NOTE_SLOTS, np.uint16)
    numbers[order] = np.arange(order.size, dtype=np.uint16)
    return notes[order], numbers

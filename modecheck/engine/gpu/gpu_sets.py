"""Sets of states in the memory of a GPU, and sweeps over them (`StateSets`)."""

from __future__ import annotations

import weakref
from collections.abc import Collection
from typing import Any

import numpy as np
from numpy.typing import NDArray

from modecheck.engine.gpu.device_memory import DeviceArray, DeviceFailed
from modecheck.engine.gpu.gpu_looking import GpuStates, Looked, kinds_of
from modecheck.engine.gpu.gpu_product_code import code_of, write_marked, write_stepped
from modecheck.engine.gpu.kernel_code import GpuKernel
from modecheck.engine.gpu.looking_kernels import NOTE_SLOTS, marked, stepped
from modecheck.engine.gpu.set_kernels import (
    AWAY,
    ENDS,
    combine,
    count_members,
    find_source,
    list_transitions,
    select_marked,
    select_valued,
    sweep_sources,
    sweep_targets,
)
from modecheck.engine.language.kernel import Kernel
from modecheck.engine.large.state_sets import Followed, ListedTransitions, Numbers
from modecheck.engine.native.frame import RECORD_EXTRA
from modecheck.engine.native.machine import CompiledProduct
from modecheck.engine.native.transition_making_kernels import EVENT_BITS

NOBODY = (1 << 64) - 1
"""The least of no states."""
WORD, TOGETHER = 64, 1 << 20
"""Bits of a word of a set, and words of it whose numbers are told at once."""
LISTED = 1 << 18
"""States whose transitions are listed at once."""


class NoRoomForSets(DeviceFailed, MemoryError):
    """The device does its work, but has no memory for one more set."""


class GpuSets:
    """See `StateSets`. The memory is given back when this is not needed any more."""

    def __init__(self, own: GpuStates, looked: Looked) -> None:
        self._own, self._device = own, own.device
        self.layers, self.expanded = own.layers, own.expanded
        self._shape = (0,) * own.width
        rows, numbers = kinds_of(looked.notes)
        labels = rows[:, 1] >> EVENT_BITS
        events = rows[:, 1] & ((np.uint64(1) << EVENT_BITS) - np.uint64(1))
        columns = (labels.tolist(), rows[:, 2].tolist(), events.tolist())
        self.kinds: list[tuple[int, int, int]] = list(zip(*columns, strict=True))
        self._slots = numbers
        own.index()
        device = own.device
        self._notes = device.array(looked.notes.size, np.uint64)
        device.write(self._notes, looked.notes.ravel())
        self._seen = device.array(own.seen.size, np.uint8)
        self._allowed = device.array(NOTE_SLOTS, np.uint8)
        self._found = device.array(2, np.uint64)
        self._nothing = DeviceArray(self._found.address, np.dtype(np.uint64), 0)
        self._unknown = self._packed(np.arange(own.count) >= own.expanded)
        self._failing = self._packed(looked.failing != 0)
        self._kernels: dict[str, Any] = {}
        fixed = (self._notes, self._seen, self._allowed, self._found, self._unknown, self._failing)
        weakref.finalize(self, _give_back, own, fixed)

    def _packed(self, truths: NDArray[np.bool_]) -> DeviceArray:
        packed = np.zeros(self._words * 8, np.uint8)
        bits = np.packbits(truths, bitorder="little")
        packed[: bits.size] = bits
        return self._written(packed.view(np.uint64))

    def _written(self, words: NDArray[np.uint64]) -> DeviceArray:
        array = self._array(words.size)
        self._device.write(array, words)
        return array

    @property
    def _words(self) -> int:
        return -(-self._own.count // 64)

    def _launch(self, kernel: Kernel, work: int, *arguments: Any) -> None:
        """Run a kernel with code of the product, which is made when it is first needed."""
        name = kernel.__name__
        if name not in self._kernels:
            self._kernels[name] = self._device.loaded(code_for(self._own.machine, kernel))
        self._device.launch(self._kernels[name], work, *arguments)

    def none(self) -> DeviceArray:
        return self._array(self._words)

    def _array(self, words: int) -> DeviceArray:
        try:
            return self._device.array(words, np.uint64)
        except MemoryError as error:
            raise NoRoomForSets("there is no memory left for sets of states") from error

    def of(self, numbers: Numbers) -> DeviceArray:
        truths = np.zeros(self._own.count, np.bool_)
        truths[numbers] = True
        return self._packed(truths)

    def where(self, some: int, lacking: int = 0) -> DeviceArray:
        own, count = self.none(), self._own.count
        self._launch(select_marked, count, self._shape, count, some, lacking, self._own.states, own)
        return own

    def valued(self, field: int, values: Collection[int]) -> DeviceArray:
        own, place = self.none(), self._own.machine.layout.places[field]
        flags = np.zeros(place.mask + 1, np.uint8)
        flags[[value - place.low for value in values]] = 1
        room = self._device.array(flags.size, np.uint8)
        self._device.write(room, flags)
        self._launch(
            select_valued, self._own.count, self._own.count, self._own.width, place.word,
            place.shift, room, self._own.states, own,
        )  # fmt: skip
        self._device.free(room)
        return own

    def unknown(self, *, past_failures: bool) -> DeviceArray:
        own = self.none()
        self.join(own, self._unknown)
        if past_failures:
            self.join(own, self._failing)
        return own

    def join(self, into: DeviceArray, other: DeviceArray) -> None:
        self._launch(combine, self._words, into, other, 1, 0)

    def keep(self, into: DeviceArray, other: DeviceArray) -> None:
        self._launch(combine, self._words, into, other, 0, 0)

    def drop(self, into: DeviceArray, other: DeviceArray) -> None:
        self._launch(combine, self._words, into, other, 0, 1)

    def free(self, *sets: DeviceArray) -> None:
        self._device.free(*sets)

    def bits(self, own: DeviceArray) -> NDArray[np.uint64]:
        words: NDArray[np.uint64] = self._device.read(own)
        return words

    def count(self, own: DeviceArray) -> int:
        self._device.write(self._found, np.zeros(2, np.uint64))
        self._launch(count_members, self._words, own, self._found)
        return int(self._device.read(self._found)[0])

    def numbers(self, own: DeviceArray) -> Numbers:
        words = self.bits(own)
        found = [np.empty(0, np.uint32)]
        for begin in range(0, words.size, TOGETHER):
            part = words[begin : begin + TOGETHER]
            if part.any():
                numbers = begin * WORD + np.flatnonzero(_truths(part))
                found.append(numbers.astype(np.uint32))
        return np.concatenate(found)

    def sources(
        self, followed: Followed, of: DeviceArray | None = None, into: DeviceArray | None = None
    ) -> DeviceArray:
        out = self.none()
        self._sweep(followed, of, into, out)
        return out

    def widen(
        self, into: DeviceArray, followed: Followed, inside: DeviceArray | None = None
    ) -> None:
        while self._sweep(followed, inside, into, into)[0]:
            pass

    def trim(self, own: DeviceArray, followed: Followed) -> None:
        self.drop(own, self._unknown)
        gone = self.none()
        while self._sweep(followed, own, own, gone, ENDS)[0]:
            pass
        self.drop(own, gone)
        self.free(gone)

    def first_step(self, of: DeviceArray, into: DeviceArray, followed: Followed) -> int | None:
        out = self.none()
        first = self._sweep(followed, of, into, out)[1]
        self.free(out)
        return None if first == NOBODY else first

    def _sweep(
        self,
        followed: Followed,
        of: DeviceArray | None,
        into: DeviceArray | None,
        out: DeviceArray,
        wanted: int = 0,
    ) -> tuple[int, int]:
        """Whether some state is new in `out`, and the first that was put there."""
        own, count = self._own, self.expanded
        what = wanted | self._told(followed)
        self._device.write(self._found, np.array([0, NOBODY], np.uint64))
        self._launch(
            sweep_sources, count, self._shape, count, what, followed.gains, own.states, self._seen,
            own.table, self._notes, self._allowed, *map(self._or_all, (of, into)), out, self._found,
        )  # fmt: skip
        changed, first = self._device.read(self._found).tolist()
        return changed, first

    def _or_all(self, own: DeviceArray | None) -> DeviceArray:
        return self._nothing if own is None else own

    def _told(self, followed: Followed) -> int:
        """Tell the device which kinds of transitions are followed; what else is wanted of them."""
        by_kind = np.array([*followed.kinds, False], np.uint8)
        self._device.write(self._allowed, by_kind[np.minimum(self._slots, len(followed.kinds))])
        return AWAY if followed.away else 0

    def targets(self, of: DeviceArray, followed: Followed, without: DeviceArray) -> DeviceArray:
        own, out, what = self._own, self.none(), self._told(followed)
        self._launch(
            sweep_targets, self.expanded, self._shape, self.expanded, what, followed.gains,
            own.states, self._seen, own.table, self._notes, self._allowed, of, without, out,
        )  # fmt: skip
        return out

    def source_of(self, number: int, begin: int, end: int) -> int | None:
        end = min(end, self.expanded)
        self._device.write(self._found, np.array([0, NOBODY], np.uint64))
        self._launch(
            find_source, end - begin, self._shape, begin, end, number, self._own.states,
            self._seen, self._found,
        )  # fmt: skip
        first = int(self._device.read(self._found)[1])
        return None if first == NOBODY else first

    def transitions(self, of: Numbers, most: int) -> ListedTransitions | None:
        device = self._device
        numbers = device.array(NOTE_SLOTS, np.uint16)
        device.write(numbers, self._slots)
        counts: list[NDArray[Any]] = [np.zeros(1, np.int64)]
        targets: list[NDArray[Any]] = [np.empty(0, np.uint32)]
        kinds: list[NDArray[Any]] = [np.empty(0, np.uint16)]
        for begin in range(0, of.size, LISTED):
            if most < 0:
                break
            part = device.array(min(LISTED, of.size - begin), np.uint32)
            device.write(part, of[begin : begin + LISTED])
            own, *made = self._listed(part, numbers, most)
            most -= int(own.sum())
            for known, new in zip((counts, targets, kinds), (own, *made), strict=False):
                known.append(new)
            device.free(part)
        device.free(numbers)
        if most < 0:
            return None
        first = np.cumsum(np.concatenate(counts))
        return ListedTransitions(first, np.concatenate(targets), np.concatenate(kinds))

    def _listed(self, of: DeviceArray, numbers: DeviceArray, most: int) -> tuple[NDArray[Any], ...]:
        """How many transitions some states have, and if there are not more than `most`, these:
        where they lead, and their kinds.
        """
        own, device = self._own, self._device
        first, nothing = device.array(of.count + 1, np.int64), (np.uint32, np.uint16)
        rooms = [device.array(1, kind) for kind in nothing]
        fixed = own.states, self._seen, own.table, self._notes, numbers, of, first
        self._launch(list_transitions, of.count, self._shape, of.count, False, *fixed, *rooms)
        counts = device.read(first)[1:]
        total = int(counts.sum())
        made: list[NDArray[Any]] = []
        if total <= most:
            device.free(*rooms)
            rooms = [device.array(total, kind) for kind in nothing]
            device.write(first, np.cumsum([0, *counts]))
            self._launch(list_transitions, of.count, self._shape, of.count, True, *fixed, *rooms)
            made = [device.read(room) for room in rooms]
        device.free(first, *rooms)
        return counts, *made

    def noted(self, curious: frozenset[int]) -> dict[int, int]:
        return self._own.shadows(curious)


def code_for(machine: CompiledProduct, kernel: Kernel) -> GpuKernel:
    """A kernel of sets, with as much of the product's code as it needs."""
    if kernel in (combine, count_members, select_valued):
        return GpuKernel(kernel)
    written, local = {}, {}
    if kernel in (select_marked, sweep_sources, sweep_targets):
        written[marked] = write_marked(machine)
    if kernel is not select_marked:
        written[stepped] = write_stepped(machine)
        local = {"records": machine.most_records * (machine.layout.words + RECORD_EXTRA)}
    return code_of(machine, kernel, local, written)


def _truths(words: NDArray[np.uint64]) -> NDArray[np.uint8]:
    return np.unpackbits(words.view(np.uint8), bitorder="little")


def _give_back(own: GpuStates, fixed: tuple[DeviceArray, ...]) -> None:
    own.device.free(*fixed)
    own.give_back()

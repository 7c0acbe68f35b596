"""Sets of states in the memory of a GPU, and sweeps over them (`StateSets`)."""

from __future__ import annotations

import weakref
from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from modecheck.engine.gpu.device_memory import DeviceArray, DeviceFailed
from modecheck.engine.gpu.gpu_looking import GpuStates, Looked, kinds_of
from modecheck.engine.gpu.gpu_product_code import code_of, code_of_steps, write_marked
from modecheck.engine.gpu.kernel_code import GpuKernel
from modecheck.engine.gpu.looking_kernels import NOTE_SLOTS, marked
from modecheck.engine.gpu.set_kernels import (
    AWAY,
    combine,
    find_source,
    select_marked,
    sweep_sources,
    sweep_targets,
)
from modecheck.engine.language.kernel import Kernel
from modecheck.engine.large.state_sets import Numbers
from modecheck.engine.native.transition_making_kernels import EVENT_BITS

NOBODY = (1 << 64) - 1
"""The least of no states."""
WORD, TOGETHER = 64, 1 << 20
"""Bits of a word of a set, and words of it whose numbers are told at once."""


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
            machine = self._own.machine
            code: GpuKernel
            if kernel is combine:
                code = GpuKernel(kernel)
            elif kernel is select_marked:
                code = code_of(machine, kernel, {}, {marked: write_marked(machine)})
            else:
                code = code_of_steps(machine, kernel)
            self._kernels[name] = self._device.loaded(code)
        self._device.launch(self._kernels[name], work, *arguments)

    def none(self) -> DeviceArray:
        return self._array(self._words)

    def _array(self, words: int) -> DeviceArray:
        try:
            return self._device.array(words, np.uint64)
        except MemoryError as error:
            raise DeviceFailed("there is no memory left for sets of states") from error

    def of(self, numbers: Numbers) -> DeviceArray:
        truths = np.zeros(self._own.count, np.bool_)
        truths[numbers] = True
        return self._packed(truths)

    def where(self, some: int, lacking: int = 0) -> DeviceArray:
        own, count = self.none(), self._own.count
        self._launch(select_marked, count, self._shape, count, some, lacking, self._own.states, own)
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

    def numbers(self, own: DeviceArray) -> Numbers:
        words = self.bits(own)
        found = [np.empty(0, np.uint32)]
        for begin in range(0, words.size, TOGETHER):
            part = words[begin : begin + TOGETHER]
            if part.any():
                numbers = begin * WORD + np.flatnonzero(_truths(part))
                found.append(numbers.astype(np.uint32))
        return np.concatenate(found)

    def sources(self, allowed: Sequence[bool], *, away: bool) -> DeviceArray:
        out = self.none()
        self._sweep(AWAY if away else 0, allowed, self._nothing, self._nothing, out)
        return out

    def widen(self, into: DeviceArray, allowed: Sequence[bool]) -> None:
        while self._sweep(0, allowed, self._nothing, into, into)[0]:
            pass

    def first_step(self, of: DeviceArray, into: DeviceArray, allowed: Sequence[bool]) -> int | None:
        out = self.none()
        first = self._sweep(0, allowed, of, into, out)[1]
        self.free(out)
        return None if first == NOBODY else first

    def _sweep(
        self,
        what: int,
        allowed: Sequence[bool],
        of: DeviceArray,
        into: DeviceArray,
        out: DeviceArray,
    ) -> tuple[int, int]:
        """Whether some state is new in `out`, and the first that was put there."""
        own, device, count = self._own, self._device, self.expanded
        by_kind = np.array([*allowed, False], np.uint8)
        device.write(self._allowed, by_kind[np.minimum(self._slots, len(allowed))])
        device.write(self._found, np.array([0, NOBODY], np.uint64))
        self._launch(
            sweep_sources, count, self._shape, count, what, own.states, self._seen, own.table,
            self._notes, self._allowed, of, into, out, self._found,
        )  # fmt: skip
        changed, first = device.read(self._found).tolist()
        return changed, first

    def targets(self, of: DeviceArray, without: DeviceArray) -> DeviceArray:
        own, out = self._own, self.none()
        self._launch(
            sweep_targets, self.expanded, self._shape, self.expanded, own.states, self._seen,
            own.table, of, without, out,
        )  # fmt: skip
        return out

    def source_of(self, number: int, among: DeviceArray | None, begin: int, end: int) -> int | None:
        end = min(end, self.expanded)
        self._device.write(self._found, np.array([0, NOBODY], np.uint64))
        self._launch(
            find_source, end - begin, self._shape, begin, end, number, self._own.states,
            self._seen, self._nothing if among is None else among, self._found,
        )  # fmt: skip
        first = int(self._device.read(self._found)[1])
        return None if first == NOBODY else first

    def noted(self, curious: frozenset[int]) -> dict[int, int]:
        return self._own.shadows(curious)


def _truths(words: NDArray[np.uint64]) -> NDArray[np.uint8]:
    return np.unpackbits(words.view(np.uint8), bitorder="little")


def _give_back(own: GpuStates, fixed: tuple[DeviceArray, ...]) -> None:
    own.device.free(*fixed)
    own.give_back()

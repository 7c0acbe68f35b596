"""The processor in place of a GPU: the same kernels, run by one thread.

It is there for tests, and for whoever wants to look at what the kernels do.
"""

from __future__ import annotations

import ctypes
from dataclasses import dataclass
from typing import Any

import numpy as np

from modecheck.engine.contract.memory import available_memory
from modecheck.engine.gpu.device_memory import Argument, Array, DeviceArray, KernelDevice
from modecheck.engine.gpu.kernel_code import ON_PROCESSOR, GpuKernel, kept_object
from modecheck.engine.language.linking import linked, target_machine

ANYTHING = 0xA5
"""The bytes of an array that need not be cleared: none that could be taken for a cleared one."""


def _values(array: DeviceArray) -> Array:
    """The elements of an array, or of a part of one."""
    assert array.address, "an array was given back"
    memory = (ctypes.c_uint8 * array.bytes).from_address(array.address)
    values: Array = np.frombuffer(memoryview(memory), array.kind)
    return values


@dataclass(slots=True)
class HostKernel:
    """A kernel as machine code."""

    name: str
    function: Any
    keep: Any


class HostDevice:
    """See `KernelDevice`. With `memory`, no more bytes than that can be had; if it `copies`, it
    does not read what others wrote.
    """

    name = "the processor"
    threads = 1
    is_begun = True

    def __init__(self, memory: int | None = None, *, copies: bool = False) -> None:
        self._copies = copies
        self._memory = memory
        self.taken = 0

    def array(self, count: int, kind: Any, fill: int | None = 0) -> DeviceArray:
        of = np.dtype(kind)
        if count * of.itemsize > self.free_bytes():
            raise MemoryError
        self.taken += count * of.itemsize
        values = np.full(max(count, 1) * of.itemsize, ANYTHING if fill is None else fill, np.uint8)
        return DeviceArray(values.ctypes.data, of, count, values)

    def free(self, *arrays: DeviceArray) -> None:
        for array in arrays:
            if array.keep is not None:
                self.taken -= array.bytes
                array.keep, array.address = None, 0

    def clear(self, array: DeviceArray, fill: int = 0) -> None:
        _values(array).view(np.uint8)[:] = fill

    def write(self, array: DeviceArray, values: Array, at: int = 0) -> None:
        _values(array)[at : at + values.size] = values

    def read(self, array: DeviceArray, begin: int = 0, end: int | None = None) -> Array:
        return _values(array)[begin : array.count if end is None else end].copy()

    def read_into(self, array: DeviceArray, values: Array, begin: int = 0) -> None:
        values[:] = _values(array)[begin : begin + values.size]

    def copy(self, source: DeviceArray, target: DeviceArray, count: int) -> None:
        _values(target)[:count] = _values(source)[:count]

    def can_read(self, other: KernelDevice) -> bool:
        return other is self or not self._copies

    def bring(self, other: KernelDevice, source: DeviceArray, target: DeviceArray) -> None:  # noqa: ARG002 - all have one memory
        self.copy(source, target, source.count)

    def free_bytes(self) -> int:
        if self._memory is None:
            return available_memory()
        return self._memory - self.taken

    def loaded(self, kernel: GpuKernel) -> HostKernel:
        engine = linked(kept_object(kernel), target_machine(ON_PROCESSOR))
        address = engine.get_function_address(kernel.name)
        return HostKernel(kernel.name, address, engine)

    def launch(self, loaded: HostKernel, work: int, *arguments: Argument) -> None:  # noqa: ARG002 - one thread does all
        flat = [word for one in arguments for word in words_of(one)]
        prototype = ctypes.CFUNCTYPE(None, *[ctypes.c_uint64] * len(flat))
        prototype(loaded.function)(*flat)


def words_of(argument: Argument) -> list[int]:
    """An argument as the words that are passed: an array is its address and its size."""
    if isinstance(argument, DeviceArray):
        return [argument.address, argument.count]
    return list(argument) if isinstance(argument, tuple) else [argument]

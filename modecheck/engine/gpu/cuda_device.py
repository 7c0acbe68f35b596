"""A GPU by way of cuda.core, which is only loaded here: memory, copies, launches.

Memory is taken by plain allocations. PTX is translated by the driver when a kernel is loaded.
"""

from __future__ import annotations

import ctypes.util
import importlib.util
import os
from dataclasses import dataclass
from functools import cache
from typing import Any

import numpy as np

from modecheck.engine.contract.forked_task import make_no_copies
from modecheck.engine.gpu.device_memory import (
    Argument,
    Array,
    DeviceArray,
    DeviceFailed,
    KernelDevice,
)
from modecheck.engine.gpu.host_device import words_of
from modecheck.engine.gpu.kernel_code import BLOCK, GpuKernel, kept_ptx

BLOCKS_A_PROCESSOR = 16
"""Blocks of a multiprocessor: as many threads as it can run at the same time."""
OUT_OF_MEMORY, HAS_ACCESS = 2, 704
"""CUDA_ERROR_OUT_OF_MEMORY and CUDA_ERROR_PEER_ACCESS_ALREADY_ENABLED of the driver's interface."""


def why_no_gpu() -> str:
    """What is missing for a GPU to be used; nothing, if all is there."""
    if importlib.util.find_spec("cuda") is None or importlib.util.find_spec("cuda.core") is None:
        return "cuda.core is not installed (pip install 'modecheck[gpu]')"
    if importlib.util.find_spec("cuda.bindings") is None:
        return "cuda.bindings is not installed (pip install 'modecheck[gpu]')"
    if ctypes.util.find_library("cuda") is None and not os.path.exists("/dev/nvidiactl"):
        return "there is no driver for CUDA"
    try:
        return _why_no_device()
    except Exception as trouble:  # whatever a driver that is not whole comes to
        return f"the driver for CUDA cannot be used: {_sentence(trouble)}"


def _sentence(trouble: BaseException) -> str:
    return " ".join(str(trouble).split()) or type(trouble).__name__


def _why_no_device() -> str:
    from cuda.bindings import driver

    (started,) = driver.cuInit(0)
    if int(started):
        return f"the driver for CUDA does not start ({driver.CUresult(started).name})"
    error, count = driver.cuDeviceGetCount()
    if int(error) or not count:
        return "the driver for CUDA finds no device"
    return ""


@cache
def all_gpus() -> tuple[CudaDevice, ...]:
    """All GPUs of this machine that CUDA shows (`CUDA_VISIBLE_DEVICES`). Raises `DeviceFailed` when
    there is none.
    """
    reason = why_no_gpu()
    if reason:
        raise DeviceFailed(reason)
    make_no_copies()
    from cuda.bindings import driver

    _, count = driver.cuDeviceGetCount()
    try:
        return tuple([CudaDevice(number) for number in range(int(count))])
    except Exception as trouble:  # whatever a GPU that is not whole comes to
        raise DeviceFailed(f"a GPU cannot be used: {_sentence(trouble)}") from trouble


def first_gpu() -> CudaDevice:
    """The first of them."""
    return all_gpus()[0]


@dataclass(slots=True)
class CudaKernel:
    """A kernel that the driver has translated."""

    name: str
    kernel: Any
    code: Any


class CudaDevice:
    """See `KernelDevice`. Nothing is taken of a GPU before it is used: beginning to use one takes
    some tenths of a second.
    """

    def __init__(self, number: int) -> None:
        from cuda.bindings import driver
        from cuda.core import Device, LaunchConfig, ObjectCode, launch

        self._driver, self._launch = driver, launch
        self._config, self._object = LaunchConfig, ObjectCode
        self._number, self._device = number, Device(number)
        self.name = str(self._device.name)
        self.processors = int(self._device.properties.multiprocessor_count)
        self.threads = self.processors * BLOCK * BLOCKS_A_PROCESSOR
        self._kernels: dict[str, CudaKernel] = {}
        self._configs: dict[int, Any] = {}
        self._context: Any = None
        self._reads = {number: True}

    @property
    def is_begun(self) -> bool:
        return self._context is not None

    def _use(self) -> None:
        """Have what is called next be about this GPU."""
        if self._context is None:
            try:
                self._device.set_current()
            except Exception as trouble:
                raise DeviceFailed(f"{self.name}: {_sentence(trouble)}") from trouble
            self._context = self._done(self._driver.cuCtxGetCurrent())
        else:
            self._done(self._driver.cuCtxSetCurrent(self._context))

    def _done(self, result: Any) -> Any:
        """What the driver gives beside its error, if that is none."""
        error, *given = result
        if int(error) == OUT_OF_MEMORY:
            raise MemoryError
        if int(error):
            raise DeviceFailed(f"{self.name} answers {self._driver.CUresult(error).name}")
        return given[0] if given else None

    def array(self, count: int, kind: Any, fill: int | None = 0) -> DeviceArray:
        of = np.dtype(kind)
        self._use()
        address = self._done(self._driver.cuMemAlloc(max(count * of.itemsize, 16)))
        array = DeviceArray(int(address), of, count, address)
        if fill is not None:
            self.clear(array, fill)
        return array

    def free(self, *arrays: DeviceArray) -> None:
        self._use()
        for array in arrays:
            if array.keep is not None:
                self._done(self._driver.cuMemFree(array.keep))
                array.keep = None

    def clear(self, array: DeviceArray, fill: int = 0) -> None:
        if array.count:
            self._use()
            self._done(self._driver.cuMemsetD8(array.address, fill, array.bytes))

    def write(self, array: DeviceArray, values: Array, at: int = 0) -> None:
        own = np.ascontiguousarray(values, array.kind)
        address = array.address + at * array.kind.itemsize
        if own.size:
            self._use()
            self._done(self._driver.cuMemcpyHtoD(address, own.ctypes.data, own.nbytes))

    def read(self, array: DeviceArray, begin: int = 0, end: int | None = None) -> Array:
        values = np.empty((array.count if end is None else end) - begin, array.kind)
        self.read_into(array, values, begin)
        return values

    def read_into(self, array: DeviceArray, values: Array, begin: int = 0) -> None:
        address = array.address + begin * array.kind.itemsize
        if values.size:
            self._use()
            self._done(self._driver.cuMemcpyDtoH(values.ctypes.data, address, values.nbytes))

    def copy(self, source: DeviceArray, target: DeviceArray, count: int) -> None:
        size = count * source.kind.itemsize
        if size:
            self._use()
            self._done(self._driver.cuMemcpyDtoD(target.address, source.address, size))

    def bring(self, other: KernelDevice, source: DeviceArray, target: DeviceArray) -> None:
        assert isinstance(other, CudaDevice)
        self._use()
        self._done(
            self._driver.cuMemcpyPeerAsync(
                target.address, self._context, source.address, other._context, source.bytes, 0
            )
        )

    def can_read(self, other: KernelDevice) -> bool:
        assert isinstance(other, CudaDevice)
        if other._number not in self._reads:
            self._use()
            self._reads[other._number] = self._reach(other)
        return self._reads[other._number]

    def _reach(self, other: CudaDevice) -> bool:
        """Ask for access to the memory of another GPU; whether there is. Without it, the driver
        takes copies through the memory of the machine.
        """
        devices = [self._done(self._driver.cuDeviceGet(one._number)) for one in (self, other)]
        if not self._done(self._driver.cuDeviceCanAccessPeer(*devices)):
            return False
        (error,) = self._driver.cuCtxEnablePeerAccess(other._context, 0)
        return int(error) in (0, HAS_ACCESS)

    def free_bytes(self) -> int:
        self._use()
        error, free, _ = self._driver.cuMemGetInfo()
        self._done((error,))
        return int(free)

    def loaded(self, kernel: GpuKernel) -> CudaKernel:
        text = kept_ptx(kernel)
        known = self._kernels.get(text)
        if known is None:
            self._use()
            try:
                code = self._object.from_ptx(text.encode())
                known = CudaKernel(kernel.name, code.get_kernel(kernel.name), code)
            except Exception as trouble:
                raise DeviceFailed(f"{self.name}: {_sentence(trouble)}") from trouble
            self._kernels[text] = known
        return known

    def launch(self, loaded: CudaKernel, work: int, *arguments: Argument) -> None:
        if work <= 0:
            return
        blocks = min(-(-work // BLOCK), self.processors * BLOCKS_A_PROCESSOR)
        if blocks not in self._configs:
            self._configs[blocks] = self._config(grid=blocks, block=BLOCK)
        # What goes wrong in it is noticed by the copy that waits for it.
        words = [np.uint64(word) for one in arguments for word in words_of(one)]
        self._use()
        try:
            self._launch(self._device.default_stream, self._configs[blocks], loaded.kernel, *words)
        except Exception as trouble:
            raise DeviceFailed(f"{self.name}: {_sentence(trouble)}") from trouble

"""What an exploration needs of a device that runs kernels: memory there, copies, launches."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Protocol

import numpy as np
from numpy.typing import NDArray

from modecheck.engine.gpu.kernel_code import GpuKernel
from modecheck.model.errors import ModecheckError

Array = NDArray[Any]


@dataclass(slots=True, eq=False)
class DeviceArray:
    """An array in the memory of a device: its address there, the kind of its elements and how many
    there are. `keep` is what its device holds it by; without it the array is a part of another one.
    """

    address: int
    kind: np.dtype[Any]
    count: int
    keep: Any = None

    @property
    def bytes(self) -> int:
        return self.count * self.kind.itemsize


def part_of(array: DeviceArray, begin: int, count: int) -> DeviceArray:
    """So many elements of an array, from `begin` on; `begin` may be less than 0 where only the
    elements of a whole array are asked for.
    """
    return DeviceArray(array.address + begin * array.kind.itemsize, array.kind, count)


Argument = int | DeviceArray | tuple[int, ...]
"""What a kernel is given: a number, an array of the device, or the shape of a state."""


class Loaded(Protocol):
    """A kernel that a device can launch."""

    name: str


class KernelDevice(Protocol):
    """A device that runs kernels, one after the other; copies wait for the kernels before them.

    `threads` is how many of its threads run at the same time. Where memory runs out, `MemoryError`
    is raised, and where the device fails, `DeviceFailed`.
    """

    name: str
    threads: int

    @property
    def is_begun(self) -> bool:
        """Whether it is in use already; beginning to use one can take a second."""

    def array(self, count: int, kind: Any, fill: int | None = 0) -> DeviceArray:
        """A new array, each byte of which has one value, or with None any."""

    def free(self, *arrays: DeviceArray) -> None:
        """Give arrays back; those that were given back already are left alone."""

    def clear(self, array: DeviceArray, fill: int = 0) -> None:
        """Set each byte of an array."""

    def write(self, array: DeviceArray, values: Array, at: int = 0) -> None:
        """Copy an array of this machine to the elements from `at` on."""

    def read(self, array: DeviceArray, begin: int = 0, end: int | None = None) -> Array:
        """A copy of some elements."""

    def read_into(self, array: DeviceArray, values: Array, begin: int = 0) -> None:
        """Copy elements from `begin` on into an array of this machine."""

    def copy(self, source: DeviceArray, target: DeviceArray, count: int) -> None:
        """Copy the first elements of an array to another one."""

    def can_read(self, other: KernelDevice) -> bool:
        """Whether kernels here can read arrays of another device, which was used before."""

    def bring(self, other: KernelDevice, source: DeviceArray, target: DeviceArray) -> None:
        """Copy an array of another device to one of this, before whatever is launched next. The
        other one must have finished what writes to it.
        """

    def free_bytes(self) -> int:
        """Bytes that can still be had."""

    def loaded(self, kernel: GpuKernel) -> Any:
        """A kernel, translated for the device. Translating is done once for each text."""

    def launch(self, loaded: Any, work: int, *arguments: Argument) -> None:
        """Run a kernel by as many threads as there is work for, and not many more than run at the
        same time.
        """


class DeviceFailed(ModecheckError):
    """The device was lost, or refused to do something; the reason says what it answered."""

    def __init__(self, reason: str) -> None:
        super().__init__()
        self.reason = reason

    def __str__(self) -> str:
        return f"the gpu engine cannot go on: {self.reason}"

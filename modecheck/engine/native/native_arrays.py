"""Arrays of a large state graph: NumPy's, which kernels are compiled for."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

import numpy as np
from numpy.typing import NDArray

from modecheck.engine.contract.space import Occurrence
from modecheck.engine.language.annotations import I64s, U64s
from modecheck.engine.language.kernel import Kernel
from modecheck.engine.native.native_numbers import MULTIPLY_ONE, U1, U32

Numbers = NDArray[Any]

FEW = 1 << 8
"""Slots of the table in which values are counted, at first."""


class NativeArrays:
    """See `modecheck.engine.search.arrays.Arrays`."""

    is_native = True

    def filled(self, kind: str, count: int, value: int = 0) -> Numbers:
        # Of zeros only what is written to takes memory.
        return np.full(count, value, kind) if value else np.zeros(count, kind)

    def of(self, kind: str, values: Iterable[int]) -> Numbers:
        return np.array(values if isinstance(values, np.ndarray) else list(values), kind)

    def listed(self, array: Numbers) -> list[int]:
        return array.tolist()  # type: ignore[no-any-return]

    def counted(self, marks: Numbers) -> dict[int, Occurrence]:
        """Each value with its first place and its count; there are few, whatever the states."""
        size, is_done = FEW, False
        while not is_done:
            values, first, count = np.zeros(size, np.uint64), *np.zeros((2, size), np.int64)
            is_done = count_values(marks, size - 1, values, first, count)
            size *= 2
        rows = zip(first.tolist(), count.tolist(), values.tolist(), strict=True)
        return {own: Occurrence(place, many) for place, many, own in sorted(rows) if many}


@Kernel
def count_values(marks: U64s, mask: np.uint64, values: U64s, first: I64s, count: I64s) -> Any:
    """Each value with its first place and its count, by a hash in a table of a power of two of
    slots, of which the mask is one less; False where that is too small.
    """
    room = len(values) // 2
    for number in range(len(marks)):
        own = marks[number]
        slot = own * MULTIPLY_ONE >> U32 & mask
        while count[slot] != 0 and values[slot] != own:
            slot = (slot + U1) & mask
        if count[slot] == 0:
            if room == 0:
                return False
            room -= 1
            values[slot], first[slot] = own, number
        count[slot] += 1
    return True

"""Arrays of a large state graph: NumPy's, which kernels are compiled for."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Any

import numpy as np
from numpy.typing import NDArray

from modecheck.engine.contract.space import Occurrence

Numbers = NDArray[Any]

TOGETHER = 1 << 20
"""Elements that are sorted at a time: sorting all at once would take as much memory again."""
FEW = 64
"""Values that are found sooner one by one than all at once by sorting with places."""


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
        found: dict[int, Occurrence] = {}
        for begin in range(0, marks.size, TOGETHER):
            for own, number, count in _values_in(marks[begin : begin + TOGETHER]):
                known = found.get(own)
                first = begin + number if known is None else known.first
                found[own] = Occurrence(first, count + (known.count if known else 0))
        return found


def _values_in(part: Numbers) -> Iterator[tuple[int, int, int]]:
    """Each value with its first place and its count, least first."""
    values = np.unique(part)
    if values.size > FEW:
        found = np.unique(part, return_index=True, return_counts=True)
        yield from zip(*(column.tolist() for column in found), strict=True)
        return
    for value in values:
        same = part == value
        yield int(value), int(np.argmax(same)), int(np.count_nonzero(same))

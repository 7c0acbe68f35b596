"""Arrays of a state graph: Python's own for a small one, for which NumPy need not be loaded."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from typing import Any, Protocol

from modecheck.engine.contract.space import Occurrence

Array = Any
"""A `list`, a `bytearray` or an `array.array` of a small graph, an array of NumPy's of a large one.
Kernels take both; mixed they must not be.
"""


class Arrays(Protocol):
    """Makes arrays. Kinds of elements are NumPy's short ones: `u1` is a byte, `i8` has 64 bits."""

    is_native: bool

    def filled(self, kind: str, count: int, value: int = 0) -> Array:
        """So many elements of one value."""

    def of(self, kind: str, values: Iterable[int]) -> Array:
        """These elements."""

    def listed(self, array: Array) -> list[int]:
        """The elements."""

    def counted(self, marks: Array) -> dict[int, Occurrence]:
        """Each value with its first place and its count."""


class SmallArrays:
    """Of Python's own. Their integers have no end, whatever the kind."""

    is_native = False

    def filled(self, kind: str, count: int, value: int = 0) -> Array:
        return bytearray(count) if kind == "u1" and not value else [value] * count

    def of(self, kind: str, values: Iterable[int]) -> Array:
        return bytearray(values) if kind == "u1" else list(values)

    def listed(self, array: Array) -> list[int]:
        return list(array)

    def counted(self, marks: Array) -> dict[int, Occurrence]:
        found: dict[int, Occurrence] = {}
        counts: Counter[int] = Counter(marks)
        for number, own in enumerate(marks):
            if own not in found:
                found[own] = Occurrence(number, counts[own])
        return found

"""A breadth-first spread by sweeps: the states of each distance, and how one is reached."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterator, Sequence
from itertools import accumulate
from typing import TYPE_CHECKING, overload

import numpy as np

from modecheck.engine.contract.space import Path
from modecheck.engine.large.state_sets import Numbers

if TYPE_CHECKING:
    from modecheck.engine.large.swept_space import SweptPaths

TOGETHER = 1 << 22
"""States whose flags are looked at at once."""


class InLayers(Sequence[int]):
    """Numbers in several arrays, one behind the other."""

    def __init__(self, parts: list[Numbers]) -> None:
        self._parts = parts
        self._ends = list(accumulate(part.size for part in parts))

    def __len__(self) -> int:
        return self._ends[-1] if self._ends else 0

    @overload
    def __getitem__(self, place: int) -> int: ...
    @overload
    def __getitem__(self, place: slice) -> list[int]: ...
    def __getitem__(self, place: int | slice) -> int | list[int]:
        if isinstance(place, slice):
            return [self[one] for one in range(*place.indices(len(self)))]
        part = bisect_right(self._ends, place)
        if place < 0 or part == len(self._parts):
            raise IndexError(place)
        return int(self._parts[part][place - (self._ends[part - 1] if part else 0)])

    def __iter__(self) -> Iterator[int]:
        for part in self._parts:
            yield from part.tolist()


class SweptRegion:
    """A `BfsRegion`: by distance the states passed on from, of which some `joined` without having
    been reached, and the blocked states that were entered. Of several states from which one is
    reached the first counts.
    """

    def __init__(self, space: SweptPaths) -> None:
        self._space = space
        self.layers: list[Numbers] = []
        self.joined: list[Numbers] = []
        self.entered: list[Numbers] = []

    @property
    def inside(self) -> Sequence[int]:
        return InLayers(self.layers)

    def first(self, wanted: int, unwanted: int) -> int | None:
        flags = self._space.lacking(wanted, unwanted)
        for numbers in (*self.layers, *self.entered):
            for begin in range(0, numbers.size, TOGETHER):
                part = numbers[begin : begin + TOGETHER]
                found = np.flatnonzero(flags.of(part) == 0)
                if found.size:
                    return int(part[found[0]])
        return None

    def path_to(self, number: int) -> tuple[int, Path]:
        path: Path = []
        distance = self._distance(number)
        while not _has(self.joined[distance], number):
            distance -= 1
            before = self._space.before_in(self.layers[distance], number)
            path.append((self._space.label_between(before, number), number))
            number = before
        return number, path[::-1]

    def _distance(self, number: int) -> int:
        both = zip(self.layers, self.entered, strict=True)
        found = (n for n, parts in enumerate(both) if any(_has(part, number) for part in parts))
        return next(found)


def _has(numbers: Numbers, number: int) -> bool:
    place = int(np.searchsorted(numbers, number))
    return place < numbers.size and int(numbers[place]) == number

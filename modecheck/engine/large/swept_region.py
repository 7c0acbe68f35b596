"""A breadth-first spread by sweeps: the states of each distance, and how one is reached."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterator, Sequence
from itertools import accumulate
from typing import TYPE_CHECKING, overload

import numpy as np

from modecheck.engine.contract.space import Flags, Path
from modecheck.engine.large.state_sets import BitFlags, Numbers

if TYPE_CHECKING:
    from modecheck.engine.large.swept_space import SweptPaths

NOBODY = np.empty(0, np.uint32)
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
    been reached, and the blocked states that were entered.

    Of several nearest states, and of several shortest paths, those are told that a search with a
    queue comes to first: which looks at the transitions of a state in their order, and at states in
    the order in which it has reached them, behind these at those that joined. So of two states at a
    distance the first is the one whose path departs first from the other's.
    """

    def __init__(self, space: SweptPaths) -> None:
        self._space = space
        self.layers: list[Numbers] = []
        self.joined: list[Numbers] = []
        self.entered: list[Numbers] = []

    @property
    def inside(self) -> Sequence[int]:
        """The states passed on from, by distance, then by number."""
        return InLayers(self.layers)

    def first(self, wanted: int, unwanted: int) -> int | None:
        flags = self._space.lacking(wanted, unwanted)
        found = self._nearest(self.layers, flags)
        return self._nearest(self.entered, flags) if found is None else found

    def first_zero(self, flags: Sequence[int] | Flags) -> int | None:
        return self._nearest(self.layers, flags)

    def _nearest(self, layers: list[Numbers], flags: Sequence[int] | Flags) -> int | None:
        """Of the states of some distance whose flag is 0, the first; of the least distance."""
        for distance, numbers in enumerate(layers):
            found = _zeros(numbers, flags)
            if found.size:
                start, path = self._first_path(distance, found)
                return path[-1][1] if path else start
        return None

    def path_to(self, number: int) -> tuple[int, Path]:
        own = np.array([number], np.uint32)
        both = enumerate(zip(self.layers, self.entered, strict=True))
        found = (n for n, parts in both if any(_has(part, number) for part in parts))
        return self._first_path(next(found), own)

    def _first_path(self, distance: int, goals: Numbers) -> tuple[int, Path]:
        """The path to the first of some states at a distance: backwards those that lead there, then
        forwards from the first of them.
        """
        layers = self._leading(distance, goals)
        number = start = int(layers.pop()[0])
        path: Path = []
        while layers:
            behind, edges = layers.pop(), self._space.edges_from(number)
            target = next(edge.target for edge in edges if _has(behind, edge.target))
            path.append((self._space.label_between(number, target), target))
            number = target
        return start, path

    def _leading(self, distance: int, goals: Numbers) -> list[Numbers]:
        """The states at each distance from which the paths lead that come first, the goals first.
        The last ones joined there: what was reached comes before them.
        """
        sets, followed, found = self._space.sets, self._space.without(0), []
        while True:
            reached = np.setdiff1d(goals, self.joined[distance], assume_unique=True)
            found.append(reached if reached.size else goals)
            if not reached.size:
                return found
            distance -= 1
            layer, into = sets.of(self.layers[distance]), sets.of(reached)
            before = sets.sources(followed, layer, into)
            goals = sets.numbers(before)
            sets.free(layer, into, before)


def _zeros(numbers: Numbers, flags: Sequence[int] | Flags) -> Numbers:
    """The states whose flag is 0."""
    if not isinstance(flags, BitFlags):
        return numbers[[not flags[number] for number in numbers.tolist()]]
    parts = (numbers[n : n + TOGETHER] for n in range(0, numbers.size, TOGETHER))
    return np.concatenate([NOBODY, *(part[flags.of(part) == 0] for part in parts)])


def _has(numbers: Numbers, number: int) -> bool:
    place = int(np.searchsorted(numbers, number))
    return place < numbers.size and int(numbers[place]) == number

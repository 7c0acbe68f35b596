"""Sets of the states of a product that is too large to keep its transitions.

A set is a bit a state, wherever states are kept: on a GPU, on disk. What is asked of a graph is
asked here of sets, by sweeps: one makes the transitions of states again, and looks which lead from
one set into another. Searches are written on this alone (`swept_space.py`).
"""

from __future__ import annotations

from collections.abc import Collection, Iterator
from dataclasses import dataclass
from typing import Any, Protocol

import numpy as np
from numpy.typing import NDArray

Numbers = NDArray[np.uint32]
StateSet = Any
"""A set, as its keeper has it. It belongs to who got it, and is changed only where that is said."""


@dataclass(frozen=True, slots=True)
class Followed:
    """Which transitions a sweep follows: by a flag for each kind of them; with `away` those alone
    that lead to another state; none that gains one of the marks `gains`, from a state without it
    to one with it.
    """

    kinds: tuple[bool, ...]
    away: bool = False
    gains: int = 0


@dataclass(frozen=True, slots=True)
class ListedTransitions:
    """All transitions of some states, one state's behind the other's: those of the state at place
    `i` are `first[i]` to `first[i + 1] - 1` in `targets`, numbers of states, and in `kinds`, places
    among the kinds.
    """

    first: NDArray[np.int64]
    targets: Numbers
    kinds: NDArray[np.uint16]


class StateSets(Protocol):
    """The states of a product, by number: by depth, then by their words, the first `expanded` of
    them expanded. `kinds` are all kinds of transitions: label, who moved, what happened. A step
    that fails is no transition.
    """

    layers: list[int]
    expanded: int
    kinds: list[tuple[int, int, int]]

    def none(self) -> StateSet:
        """The empty set."""

    def of(self, numbers: Numbers) -> StateSet:
        """These states."""

    def where(self, some: int, lacking: int = 0) -> StateSet:
        """The states with some of these marks, or that lack some of those."""

    def valued(self, field: int, values: Collection[int]) -> StateSet:
        """The states in which a field of the product has one of these values."""

    def unknown(self, *, past_failures: bool) -> StateSet:
        """The states that were not expanded, and with `past_failures` those with a failing step."""

    def join(self, into: StateSet, other: StateSet) -> None:
        """Put the states of another set into a set."""

    def keep(self, into: StateSet, other: StateSet) -> None:
        """Leave in a set only the states of another one."""

    def drop(self, into: StateSet, other: StateSet) -> None:
        """Take the states of another set out of a set."""

    def free(self, *sets: StateSet) -> None:
        """These sets are not needed any more."""

    def numbers(self, own: StateSet) -> Numbers:
        """The states of a set, in order."""

    def count(self, own: StateSet) -> int:
        """How many states a set has."""

    def bits(self, own: StateSet) -> NDArray[np.uint64]:
        """A set as words, the first state in the lowest bit of the first one."""

    def sources(
        self, followed: Followed, of: StateSet | None = None, into: StateSet | None = None
    ) -> StateSet:
        """The states, of a set if one is given, with a followed transition, into a set if one is
        given.
        """

    def widen(self, into: StateSet, followed: Followed, inside: StateSet | None = None) -> None:
        """Put all states into a set from which a path of followed transitions leads to it; with
        `inside`, only states of that set, and paths through them.
        """

    def trim(self, own: StateSet, followed: Followed) -> None:
        """Leave in a set only states from which a path of followed transitions goes on forever
        inside.
        """

    def targets(self, of: StateSet, followed: Followed, without: StateSet) -> StateSet:
        """The states behind followed transitions of a set, without those of another one."""

    def first_step(self, of: StateSet, into: StateSet, followed: Followed) -> int | None:
        """The first state of a set with a followed transition into another one."""

    def source_of(self, number: int, begin: int, end: int) -> int | None:
        """The first state from `begin` to `end` with a transition to a state."""

    def transitions(self, of: Numbers, most: int) -> ListedTransitions | None:
        """All transitions of these states, which are in order and expanded; None if there are more
        than `most`.
        """

    def noted(self, curious: frozenset[int]) -> dict[int, int]:
        """As `Space.shadows`."""


class BitFlags:
    """A flag for each state, as a set has them."""

    def __init__(self, words: NDArray[np.uint64], count: int) -> None:
        self._words, self._count = words, count

    def __getitem__(self, number: int) -> int:
        return int(self._words[number >> 6]) >> (number & 63) & 1

    def of(self, numbers: Numbers) -> NDArray[np.uint64]:
        """The flags of some states."""
        places = (numbers & np.uint32(63)).astype(np.uint64)
        flags: NDArray[np.uint64] = self._words[numbers >> np.uint32(6)] >> places & np.uint64(1)
        return flags

    def first_zero(self) -> int | None:
        """The number of the first state whose flag is 0."""
        return next(self.zeros(), None)

    def zeros(self) -> Iterator[int]:
        """The numbers of all states whose flag is 0."""
        full = np.uint64(0xFFFFFFFFFFFFFFFF)
        for word in np.flatnonzero(self._words != full).tolist():
            for number in range(word << 6, min((word + 1) << 6, self._count)):
                if not self[number]:
                    yield number

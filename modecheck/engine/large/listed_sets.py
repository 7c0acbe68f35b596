"""Sets of states of a graph whose transitions are kept, as arrays of truth values: the plainest
implementation of `StateSets`, with which others are compared.
"""

from __future__ import annotations

from collections.abc import Collection
from typing import Any

import numpy as np
from numpy.typing import NDArray

from modecheck.engine.large.state_sets import Followed, ListedTransitions, Numbers
from modecheck.engine.native.graph import CompiledExploration

Truths = NDArray[np.bool_]


class ListedSets:
    """See `StateSets`. Each transition has a row: its state, its target, its kind."""

    def __init__(self, space: CompiledExploration) -> None:
        graph = space.graph
        self._space = space
        self.layers, self.expanded = space.layers, space.expanded
        columns = (graph.labels.tolist(), graph.moved.tolist(), graph.events.tolist())
        self.kinds: list[tuple[int, int, int]] = list(zip(*columns, strict=True))
        self._source = np.repeat(np.arange(graph.linked), np.diff(graph.first))
        self._target, self._note = graph.targets.astype(np.int64), graph.notes

    def none(self) -> Truths:
        return np.zeros(self._space.state_count, np.bool_)

    def of(self, numbers: NDArray[Any]) -> Truths:
        own = self.none()
        own[numbers] = True
        return own

    def where(self, some: int, lacking: int = 0) -> Truths:
        marks = self._space.marks
        found: Truths = (marks & np.uint64(some) | ~marks & np.uint64(lacking)) != 0
        return found

    def valued(self, field: int, values: Collection[int]) -> Truths:
        return np.isin(self._space.found.column(field), list(values))

    def unknown(self, *, past_failures: bool) -> Truths:
        own: Truths = np.arange(self._space.state_count) >= self.expanded
        return own | (self._space.graph.failing != 0) if past_failures else own

    def join(self, into: Truths, other: Truths) -> None:
        into |= other

    def keep(self, into: Truths, other: Truths) -> None:
        into &= other

    def drop(self, into: Truths, other: Truths) -> None:
        into &= ~other

    def free(self, *_: Truths) -> None:
        """Nothing has to be done."""

    def count(self, own: Truths) -> int:
        return int(own.sum())

    def numbers(self, own: Truths) -> Numbers:
        return np.flatnonzero(own).astype(np.uint32)

    def bits(self, own: Truths) -> NDArray[np.uint64]:
        padded = np.zeros(-(-own.size // 64) * 64, np.bool_)
        padded[: own.size] = own
        return np.packbits(padded, bitorder="little").view(np.uint64)

    def sources(
        self, followed: Followed, of: Truths | None = None, into: Truths | None = None
    ) -> Truths:
        return self.of(self._source[self._taken(followed, of, into)])

    def _taken(self, followed: Followed, of: Truths | None, into: Truths | None) -> Truths:
        """For each transition whether it is followed, and leads from one set into another one."""
        by_kind = np.array([*followed.kinds, False], np.bool_)
        taken: Truths = by_kind[self._note]
        marks, gains = self._space.marks, np.uint64(followed.gains)
        taken &= marks[self._target] & ~marks[self._source] & gains == 0
        if followed.away:
            taken &= self._source != self._target
        if of is not None:
            taken &= of[self._source]
        if into is not None:
            taken &= into[self._target]
        return taken

    def widen(self, into: Truths, followed: Followed, inside: Truths | None = None) -> None:
        more = self.sources(followed, inside, into)
        while (more & ~into).any():
            into |= more
            more = self.sources(followed, inside, into)

    def trim(self, own: Truths, followed: Followed) -> None:
        left = self.sources(followed, own, own)
        while (own & ~left).any():
            own &= left
            left = self.sources(followed, own, own)

    def targets(self, of: Truths, followed: Followed, without: Truths) -> Truths:
        return self.of(self._target[self._taken(followed, of, None)]) & ~without

    def first_step(self, of: Truths, into: Truths, followed: Followed) -> int | None:
        taken = self._taken(followed, of, into)
        return int(self._source[taken][0]) if taken.any() else None

    def source_of(self, number: int, begin: int, end: int) -> int | None:
        taken = (self._target == number) & (self._source >= begin) & (self._source < end)
        return int(self._source[taken][0]) if taken.any() else None

    def transitions(self, of: Numbers, most: int) -> ListedTransitions | None:
        taken = self.of(of)[self._source]
        counts = np.bincount(self._source[taken], minlength=self._space.state_count)[of]
        if counts.sum() > most:
            return None
        first = np.concatenate([np.zeros(1, np.int64), np.cumsum(counts)])
        return ListedTransitions(first, self._target[taken].astype(np.uint32), self._note[taken])

    def noted(self, curious: frozenset[int]) -> dict[int, int]:
        return self._space.shadows(curious)

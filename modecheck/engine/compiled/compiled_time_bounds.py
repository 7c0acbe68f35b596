"""Times in millions of states: the search of `modecheck.engine.time_bounds`, compiled."""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from typing import TypeVar

import numpy as np

from modecheck.engine.compiled.graph import Array, CompiledExploration
from modecheck.engine.compiled.time_bound_kernels import (
    find_best,
    find_components,
    find_starts,
    find_worst,
    standing,
)
from modecheck.engine.space import INITIAL
from modecheck.engine.time_bounds import (
    FOREVER,
    GOAL,
    NEVER,
    REGION,
    Start,
    TickLabels,
    TimeBoundQuery,
    TimeBounds,
)

_One = TypeVar("_One")
_Other = TypeVar("_Other")


@dataclass(frozen=True, slots=True)
class _Region:
    """What is the same for all goals: the states of a region in the order in which their greatest
    times are found, their components, and whether each stands.
    """

    order: Array
    component: Array
    stands: Array


@dataclass(frozen=True, slots=True)
class _Times:
    """What is the same for all starts."""

    kinds: Array
    best: Array
    worst: Array


class CompiledTimeBounds:
    """Answers queries about one space. Those that follow each other share what they have in common.

    What needs nothing from each other runs at the same time: kernels let go of the interpreter.
    """

    def __init__(self, space: CompiledExploration) -> None:
        self._space = space
        labels, of_note = TickLabels.of(space), space.graph.labels.astype(np.int64)
        self._of_note = of_note
        self._due = np.uint64(labels.due)
        self._tick = np.array(labels.tick, np.uint8)[of_note]
        self._stops = self._tick | np.array(labels.at_once, np.uint8)[of_note]
        self._held = np.array(labels.held, np.uint64)[of_note]
        self._regions: dict[object, _Region] = {}
        self._times: dict[object, _Times] = {}
        self._reached: dict[object, Array] = {}

    def answer(self, query: TimeBoundQuery) -> TimeBounds | None:
        """As `durations_in`."""
        if not self._space.graph.linked:
            return None
        region, times = self._region_of(query), self._times_of(query)
        shortest, longest = self._starts(query, times)
        found = times.kinds, times.best, times.worst, region.component, region.stands
        return TimeBounds(*found, shortest, longest)  # type: ignore[arg-type]

    def _region_of(self, query: TimeBoundQuery) -> _Region:
        key = query.inside, query.outside, query.barred_for_longest
        if key not in self._regions:
            self._regions = {key: self._found_region(query)}
        return self._regions[key]

    def _found_region(self, query: TimeBoundQuery) -> _Region:
        graph, count = self._space.graph, self._space.state_count
        kinds, stands = _kinds(self._space, query), np.zeros(count, np.uint8)
        component = np.zeros(count, np.uint32)
        order, low, stack, calls = (np.empty(count, np.uint32) for _ in range(4))

        def find() -> int:
            return find_components(  # type: ignore[no-any-return]
                graph.first, graph.targets, graph.notes, kinds,
                _among(self._of_note, query.barred_for_longest), component, order, low, stack,
                calls, np.empty(count, np.int64), np.zeros(count, np.uint32),
            )  # fmt: skip

        def stand() -> None:
            graph.transposed()
            standing(
                graph.first, graph.notes, self._space.marks, kinds, graph.failing, self._due,
                self._stops, self._held, stands,
            )  # fmt: skip

        size, _ = _both(find, stand)
        return _Region(order[:size], component, stands)

    def _times_of(self, query: TimeBoundQuery) -> _Times:
        asked = query.goal, query.endless, query.barred
        key = query.inside, query.outside, query.barred_for_longest, asked
        if key not in self._times:
            self._times = {key: self._found_times(query)}
        return self._times[key]

    def _found_times(self, query: TimeBoundQuery) -> _Times:
        graph, count = self._space.graph, self._space.state_count
        region, kinds = self._region_of(query), _kinds(self._space, query)
        best, worst = np.full(count, NEVER, np.int32), np.full(count, NEVER, np.int32)

        def find_longest() -> None:
            find_worst(
                graph.first, graph.targets, graph.notes, kinds,
                _among(self._of_note, query.barred_for_longest), self._tick, region.stands,
                0 if query.endless else NEVER, FOREVER, region.component, region.order, worst,
            )  # fmt: skip

        def find_shortest() -> None:
            now, later = np.empty(2 * count, np.uint32), np.empty(2 * count, np.uint32)
            barred = _among(self._of_note, query.barred)
            find_best(*graph.transposed(), kinds, barred, self._tick, best, now, later)

        _both(find_longest, find_shortest)
        return _Times(kinds, best, worst)

    def _reached_in(self, query: TimeBoundQuery) -> Array:
        """A flag for each state in or behind `before`, up to the goals."""
        key = query.before, query.outside
        if key not in self._reached:
            reached = np.zeros(self._space.state_count, np.uint8)
            reached[self._space.bfs(query.before, blocked=query.outside).numbers] = 1
            self._reached[key] = reached
        return self._reached[key]

    def _starts(self, query: TimeBoundQuery, times: _Times) -> tuple[Start | None, Start | None]:
        space, kinds = self._space, times.kinds
        graph = space.graph
        if query.asked:
            before, reached = np.zeros(space.state_count, np.uint8), self._reached_in(query)
        elif query.before:
            before = (space.marks & np.uint64(query.before) != 0).astype(np.uint8)
            reached = self._reached_in(query)
        else:
            before = (kinds != REGION).astype(np.uint8)
            reached = np.ones(space.state_count, np.uint8)
        found = np.full(6, -1, np.int64)
        if not query.before and kinds[INITIAL] == REGION:
            found[0], found[3] = times.best[INITIAL], times.worst[INITIAL]
        find_starts(
            graph.first, graph.targets, graph.notes, kinds, reached, before,
            _among(self._of_note, query.actors), query.straight, times.best, times.worst, found,
        )  # fmt: skip
        return _start(space, *found[:3].tolist()), _start(space, *found[3:].tolist())


def _both(one: Callable[[], _One], other: Callable[[], _Other]) -> tuple[_One, _Other]:
    """Run both at the same time."""
    with ThreadPoolExecutor(1) as beside:
        second = beside.submit(other)
        first = one()
        return first, second.result()


def _among(of_note: Array, labels: frozenset[int]) -> Array:
    """A flag for each note whose label is one of these."""
    flags: Array = np.isin(of_note, np.array(sorted(labels), np.int64)).astype(np.uint8)
    return flags


def _kinds(space: CompiledExploration, query: TimeBoundQuery) -> Array:
    both = np.uint64(query.inside | query.outside)
    region = space.marks & both == np.uint64(query.inside)
    kinds = np.zeros(space.state_count, np.uint8)
    goal = ~region
    if query.goal:
        goal &= space.marks & np.uint64(query.goal) != 0
    kinds[goal] = GOAL
    region[space.graph.linked :] = False
    kinds[region] = REGION
    return kinds


def _start(space: CompiledExploration, ticks: int, source: int, edge: int) -> Start | None:
    if ticks < 0:
        return None
    if source < 0:
        return Start(ticks, NEVER, NEVER, INITIAL)
    graph = space.graph
    label = int(graph.labels[graph.notes[edge]])
    return Start(ticks, source, label, int(graph.targets[edge]))

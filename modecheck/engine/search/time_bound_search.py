"""The search for times that `time_bounds.py` explains, over explored states."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TypeVar

from modecheck.engine.contract.space import Space
from modecheck.engine.search.arrays import Array
from modecheck.engine.search.explored_space import Exploration, StateStore
from modecheck.engine.search.mark_kernels import flag_goals, flag_numbers
from modecheck.engine.search.time_bound_kernels import (
    find_best,
    find_starts,
    find_worst,
    flag_outside,
    standing,
    tell_kinds,
)
from modecheck.engine.search.time_bounds import (
    FOREVER,
    NEVER,
    REGION,
    Start,
    TickLabels,
    TimeBoundQuery,
    TimeBounds,
)

_One = TypeVar("_One")


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


def time_bounds_of(space: Space) -> Callable[[TimeBoundQuery], TimeBounds | None]:
    """What answers queries over what was explored; with None where transitions were not kept.
    States that were not expanded end a stretch, so that of an incomplete exploration it is what was
    seen so far. The product must have been made by `with_moments`.

    Queries about the same region take less time when they follow each other, and less still those
    about the same goal.
    """
    assert isinstance(space, Exploration), "times are not asked of representatives"
    return TimeBoundSearch(space).answer


class TimeBoundSearch:
    """Answers queries about one space. Those that follow each other share what they have in common.

    What needs nothing from each other runs at the same time where it runs natively: kernels let go
    of the interpreter.
    """

    def __init__(self, space: Exploration[StateStore]) -> None:
        self._space = space
        labels, arrays = TickLabels.of(space), space.graph.arrays
        self._of_note = of_note = arrays.listed(space.graph.labels)
        self._due = labels.due
        self._tick = arrays.of("u1", [labels.tick[n] for n in of_note])
        self._stops = arrays.of("u1", [labels.tick[n] or labels.at_once[n] for n in of_note])
        self._held = arrays.of("u8", [labels.held[n] for n in of_note])
        self._regions: dict[object, _Region] = {}
        self._times: dict[object, _Times] = {}
        self._reached: dict[object, Array] = {}

    def answer(self, query: TimeBoundQuery) -> TimeBounds | None:
        """The times that are asked for."""
        if not self._space.graph.linked:
            return None
        region, times = self._region_of(query), self._times_of(query)
        shortest, longest = self._starts(query, times)
        found = times.kinds, times.best, times.worst, region.component, region.stands
        return TimeBounds(*found, shortest, longest)

    def _filled(self, kind: str, value: int = 0) -> Array:
        """An element for each state."""
        return self._space.graph.arrays.filled(kind, self._space.state_count, value)

    def _among(self, labels: frozenset[int]) -> Array:
        """A flag for each note whose label is one of these."""
        return self._space.graph.arrays.of("u1", [label in labels for label in self._of_note])

    def _kinds(self, query: TimeBoundQuery) -> Array:
        kinds, both = self._filled("u1"), query.inside | query.outside
        linked = self._space.graph.linked
        tell_kinds(self._space.marks, both, query.inside, query.goal, linked, kinds)
        return kinds

    def _both(self, one: Callable[[], _One], other: Callable[[], object]) -> _One:
        """What one gives; the other runs at the same time, or afterwards."""
        if not self._space.graph.arrays.is_native:
            found = one()
            other()
            return found
        from concurrent.futures import ThreadPoolExecutor

        with ThreadPoolExecutor(1) as beside:
            second = beside.submit(other)
            found = one()
            second.result()
        return found

    def _region_of(self, query: TimeBoundQuery) -> _Region:
        key = query.inside, query.outside, query.barred_for_longest
        if key not in self._regions:
            self._regions = {key: self._found_region(query)}
        return self._regions[key]

    def _found_region(self, query: TimeBoundQuery) -> _Region:
        graph, kinds, stands = self._space.graph, self._kinds(query), self._filled("u1")
        barred = self._among(query.barred_for_longest)

        def find() -> tuple[Array, Array]:
            room = graph.room_for_components()
            return graph.components(self._space.marks, kinds, barred, room)

        def stand() -> None:
            graph.transposed()
            standing(
                graph.first, graph.notes, self._space.marks, kinds, graph.failing, self._due,
                self._stops, self._held, stands,
            )  # fmt: skip

        component, order = self._both(find, stand)
        return _Region(order, component, stands)

    def _times_of(self, query: TimeBoundQuery) -> _Times:
        asked = query.goal, query.endless, query.barred
        key = query.inside, query.outside, query.barred_for_longest, asked
        if key not in self._times:
            self._times = {key: self._found_times(query)}
        return self._times[key]

    def _found_times(self, query: TimeBoundQuery) -> _Times:
        graph, filled = self._space.graph, self._space.graph.arrays.filled
        region, kinds = self._region_of(query), self._kinds(query)
        best, worst = self._filled("i4", NEVER), self._filled("i4", NEVER)

        def find_longest() -> None:
            find_worst(
                graph.first, graph.targets, graph.notes, kinds,
                self._among(query.barred_for_longest), self._tick, region.stands,
                0 if query.endless else NEVER, FOREVER, region.component, region.order, worst,
            )  # fmt: skip

        def find_shortest() -> None:
            now, later = filled("u4", 2 * graph.count), filled("u4", 2 * graph.count)
            barred = self._among(query.barred)
            find_best(*graph.transposed(), kinds, barred, self._tick, best, now, later)

        self._both(find_longest, find_shortest)
        return _Times(kinds, best, worst)

    def _reached_in(self, query: TimeBoundQuery) -> Array:
        """A flag for each state in or behind `before`, up to the goals."""
        key = query.before, query.outside
        if key not in self._reached:
            reached = self._filled("u1")
            numbers = self._space.bfs(query.before, blocked=query.outside).numbers
            flag_numbers(numbers, self._space.marks, 0, reached)
            self._reached[key] = reached
        return self._reached[key]

    def _starts(self, query: TimeBoundQuery, times: _Times) -> tuple[Start | None, Start | None]:
        graph, kinds, before = self._space.graph, times.kinds, self._filled("u1")
        if query.before:
            reached = self._reached_in(query)
            if not query.asked:
                flag_goals(self._space.marks, query.before, 0, before)
        else:
            reached = self._filled("u1", 1)
            flag_outside(kinds, before)
        found = graph.arrays.filled("i8", 6, -1)
        for number in () if query.before else self._space.starts:
            if kinds[number] == REGION:
                best, worst = times.best[number], times.worst[number]
                if best >= 0 and (found[0] < 0 or best < found[0]):
                    found[0], found[2] = best, number
                if worst > found[3]:
                    found[3], found[5] = worst, number
        find_starts(
            graph.first, graph.targets, graph.notes, kinds, reached, before,
            self._among(query.actors), query.straight, times.best, times.worst, found,
        )  # fmt: skip
        told = graph.arrays.listed(found)
        return self._start(*told[:3]), self._start(*told[3:])

    def _start(self, ticks: int, source: int, edge: int) -> Start | None:
        if ticks < 0:
            return None
        if source < 0:
            return Start(ticks, NEVER, NEVER, edge)
        label, target, _, _ = self._space.graph.transition(edge)
        return Start(ticks, source, label, target)

"""Times by a search with lists and dictionaries: that of the engine is compared with it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from modecheck.engine.contract.space import INITIAL
from modecheck.engine.search.exploration import PlainExploration
from modecheck.engine.search.time_bounds import (
    FOREVER,
    GOAL,
    NEVER,
    OTHER,
    REGION,
    Start,
    TickLabels,
    TimeBoundQuery,
    TimeBounds,
)


class PlainTimeBounds:
    """Answers one query over an exploration by the interpreter."""

    def __init__(self, space: PlainExploration, query: TimeBoundQuery) -> None:
        self._space = space
        self._query = query
        self._labels = TickLabels.of(space)
        self._kinds = [self._kind(number) for number in range(space.state_count)]
        count = space.state_count
        self._best, self._worst = [NEVER] * count, [NEVER] * count
        self._components = [0] * count
        self._stands = [int(self._does_stand(number)) for number in range(count)]

    def _kind(self, number: int) -> int:
        query, marks = self._query, self._space.marks[number]
        if marks & (query.inside | query.outside) == query.inside:
            return REGION if number < self._space.expanded else OTHER
        return GOAL if not query.goal or marks & query.goal else OTHER

    def _does_stand(self, number: int) -> bool:
        space, labels = self._space, self._labels
        if self._kinds[number] != REGION or space.graph.failing[number]:
            return False
        marks = space.marks[number]
        return not marks & labels.due and not any(
            labels.tick[label] or labels.at_once[label] or labels.held[label] & marks
            for label, _ in self._every(number)
        )

    def _every(self, number: int) -> Iterator[tuple[int, int]]:
        for label, target, _, _ in self._space.graph.transitions_of(number):
            yield label, target

    def _steps(self, number: int, barred: frozenset[int]) -> list[tuple[int, int]]:
        """How many ticks a step has, and where it leads to, of those that a stretch may have."""
        return [
            (int(self._labels.tick[label]), target)
            for label, target in self._every(number)
            if label not in barred and self._kinds[target] != OTHER
        ]

    def durations(self) -> TimeBounds:
        self._find_worst()
        self._find_best()
        starts = list(self._starts())
        shortest = min((s for s in starts if s[0] != NEVER), key=lambda s: s[0], default=None)
        longest = max((s for s in starts if s[1] != NEVER), key=lambda s: s[1], default=None)
        return TimeBounds(
            self._kinds,
            self._best,
            self._worst,
            self._components,
            self._stands,
            None if shortest is None else Start(shortest[0], *shortest[2:]),
            None if longest is None else Start(longest[1], *longest[2:]),
        )

    def _find_best(self) -> None:
        barred = self._query.barred
        into: list[list[tuple[int, int]]] = [[] for _ in self._kinds]
        for number, kind in enumerate(self._kinds):
            for ticks, target in self._steps(number, barred) if kind == REGION else ():
                into[target].append((ticks, number))
        best = self._best
        now = [number for number, kind in enumerate(self._kinds) if kind == GOAL]
        for number in now:
            best[number] = 0
        level = 0
        while now:
            later: list[int] = []
            for number in now:  # grows while it is gone through
                if best[number] != level:
                    continue
                for ticks, before in into[number]:
                    if best[before] == NEVER or level + ticks < best[before]:
                        best[before] = level + ticks
                        (later if ticks else now).append(before)
            now, level = later, level + 1

    def _find_worst(self) -> None:
        barred = self._query.barred_for_longest
        index: dict[int, int] = {}
        low: dict[int, int] = {}
        stack: list[int] = []
        done = 0
        for root, kind in enumerate(self._kinds):
            if kind != REGION or root in index:
                continue
            index[root] = low[root] = len(index)
            stack.append(root)
            calls = [(root, iter(self._steps(root, barred)))]
            while calls:
                state, steps = calls[-1]
                for _, target in steps:
                    if self._kinds[target] != REGION:
                        continue
                    if target not in index:
                        index[target] = low[target] = len(index)
                        stack.append(target)
                        calls.append((target, iter(self._steps(target, barred))))
                        break
                    if not self._components[target]:
                        low[state] = min(low[state], index[target])
                else:
                    calls.pop()
                    if calls:
                        before = calls[-1][0]
                        low[before] = min(low[before], low[state])
                    if low[state] == index[state]:
                        done += 1
                        at = _last(stack, state)
                        self._finish(stack[at:], done)
                        del stack[at:]

    def _finish(self, members: list[int], component: int) -> None:
        """A component whose ways out are known."""
        for member in members:
            self._components[member] = component
        longest, goes_round = (0 if self._query.endless else NEVER), False
        for member in members:
            goes_round = goes_round or bool(self._stands[member])
            for ticks, target in self._steps(member, self._query.barred_for_longest):
                if self._kinds[target] == GOAL:
                    longest = max(longest, ticks)
                elif self._components[target] == component:
                    goes_round = goes_round or bool(ticks)
                elif self._worst[target] != NEVER:
                    longest = max(longest, min(self._worst[target] + ticks, FOREVER))
        if goes_round and longest != NEVER:
            longest = FOREVER
        for member in members:
            self._worst[member] = longest

    def _starts(self) -> Iterator[tuple[int, int, int, int, int]]:
        """Least and greatest number of ticks, source, label and target of each first step."""
        query = self._query
        if not query.before and self._kinds[INITIAL] == REGION:
            yield self._best[INITIAL], self._worst[INITIAL], NEVER, NEVER, INITIAL
        for number in self._reached():
            before = self._is_before(number) and not query.asked
            for label, target in self._every(number):
                leaves = before and not self._is_before(target)
                again = self._kinds[number] == REGION and not before and label in query.actors
                if not leaves and not again:
                    continue
                needed = leaves or self._worst[number] == NEVER
                if self._kinds[target] == REGION:
                    best = self._best[target] if needed else NEVER
                    yield best, self._worst[target], number, label, target
                elif self._kinds[target] == GOAL and query.straight:
                    yield 0 if needed else NEVER, 0, number, label, target

    def _is_before(self, number: int) -> bool:
        if self._query.before:
            return bool(self._space.marks[number] & self._query.before)
        return self._kinds[number] != REGION

    def _reached(self) -> Sequence[int]:
        """The states in or behind `before`, up to the goals, in order."""
        space, query = self._space, self._query
        if not query.before:
            return range(space.expanded)
        bfs = space.bfs(query.before, blocked=query.outside)
        return sorted(n for n in bfs.inside if n < space.expanded)


def _last(stack: list[int], state: int) -> int:
    at = len(stack) - 1
    while stack[at] != state:
        at -= 1
    return at

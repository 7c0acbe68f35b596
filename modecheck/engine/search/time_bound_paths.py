"""The stretches that take the least and the longest time, step by step.

A step is tight where it leads to a state that makes up the rest of the time. From every state a
tight path leads to a goal, and whichever tight tick is taken, one leads on from behind it: so the
steps are looked for moment by moment, the fewest in each.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

from modecheck.engine.contract.space import Path, Space
from modecheck.engine.search.time_bounds import (
    FOREVER,
    GOAL,
    NEVER,
    REGION,
    Start,
    TimeBoundQuery,
    TimeBounds,
)


@dataclass(frozen=True, slots=True)
class TimedPath:
    """Steps after the first one. `loop_from` is the place in `steps` where a loop begins that can
    be gone for ever, -1 for none; it `stands` where time can go on for ever at its end.
    """

    start: Start
    steps: Path
    loop_from: int = -1
    stands: bool = False


@dataclass(slots=True)
class TimedPathFinder:
    """Finds the stretches of a query that was answered."""

    space: Space
    query: TimeBoundQuery
    found: TimeBounds
    _barred: frozenset[int] = frozenset()

    def shortest(self) -> TimedPath | None:
        """The stretch of the least time."""
        start = self.found.shortest
        if start is None:
            return None
        self._barred = self.query.barred
        return TimedPath(start, self._to_goal(start, self.found.best))

    def longest(self) -> TimedPath | None:
        """The stretch of the longest time, or one that can go on for ever."""
        start = self.found.longest
        if start is None:
            return None
        self._barred = self.query.barred_for_longest
        if start.ticks == FOREVER:
            return self._for_ever(start)
        return TimedPath(start, self._to_goal(start, self.found.worst))

    def _steps(self, number: int) -> Iterator[tuple[int, int, int]]:
        """Label, ticks and target of the steps that a stretch may have."""
        time = self.space.product.time
        assert time is not None
        for edge in self.space.edges_from(number):
            if edge.label not in self._barred:
                yield edge.label, int(edge.label == time.label), edge.target

    def _to_goal(self, start: Start, times: Sequence[int]) -> Path:
        path: Path = []
        here, left = start.target, start.ticks
        while self.found.kinds[here] == REGION:
            part = self._moment(here, left, times)
            if not part:
                break  # the longest ones may end where nothing more is known
            path += part
            here = part[-1][1]
            left -= sum(self._is_tick(label) for label, _ in part)
        return path

    def _is_tick(self, label: int) -> bool:
        time = self.space.product.time
        return time is not None and label == time.label

    def _moment(self, here: int, left: int, times: Sequence[int]) -> Path:
        """The fewest tight steps up to the next tick, that one included, or to the goal."""
        kinds = self.found.kinds

        def ends(ticks: int, target: int) -> bool:
            return bool(ticks) or kinds[target] == GOAL

        def tight(ticks: int, target: int) -> bool:
            rest = 0 if kinds[target] == GOAL else times[target]
            return kinds[target] in (REGION, GOAL) and rest != NEVER and rest + ticks == left

        return self._path(here, tight, ends)

    def _path(
        self, here: int, usable: Callable[[int, int], bool], ends: Callable[[int, int], bool]
    ) -> Path:
        """The fewest usable steps of which the last one ends the path; none if there is none."""
        came: dict[int, tuple[int, int]] = {}
        pending = deque([here])
        while pending:
            number = pending.popleft()
            for label, ticks, target in self._steps(number):
                if not usable(ticks, target):
                    continue
                if ends(ticks, target):
                    return [*_back(came, here, number), (label, target)]
                if target not in came and target != here:
                    came[target] = (label, number)
                    pending.append(target)
        return []

    def _for_ever(self, start: Start) -> TimedPath:
        """To the nearest state that can be stayed in, or the nearest tick that can come again."""
        found = self.found
        components, stands = found.components, found.stands

        def inside(_: int, target: int) -> bool:
            return found.kinds[target] == REGION and found.worst[target] == FOREVER

        came: dict[int, tuple[int, int]] = {}
        here = start.target
        pending = deque([here])
        while pending:
            number = pending.popleft()
            stem = _back(came, here, number)
            if stands[number]:
                return TimedPath(start, stem, stands=True)
            for label, ticks, target in self._steps(number):
                if not inside(ticks, target):
                    continue
                if ticks and components[target] == components[number]:
                    back = self._round(number, target)
                    return TimedPath(start, [*stem, (label, target), *back], loop_from=len(stem))
                if target not in came and target != here:
                    came[target] = (label, number)
                    pending.append(target)
        raise AssertionError("a stretch without end has a loop, or a state that stands")

    def _round(self, number: int, target: int) -> Path:
        """From behind a tick back to where it was taken, inside the component."""
        if target == number:
            return []
        own, components = self.found.components[number], self.found.components
        kinds = self.found.kinds
        return self._path(
            target,
            lambda _, to: kinds[to] == REGION and components[to] == own,
            lambda _, to: to == number,
        )


def _back(came: dict[int, tuple[int, int]], start: int, number: int) -> Path:
    path: Path = []
    while number != start:
        label, before = came[number]
        path.append((label, number))
        number = before
    return path[::-1]

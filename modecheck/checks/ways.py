"""Ways through a product: how the device comes from its initial state to what was found."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from heapq import heapify, heappop, heappush

from modecheck.engine.exploration import Exploration, Sighting
from modecheck.engine.plain import State


@dataclass(frozen=True, slots=True)
class Move:
    """A step by its label (number), and the state after it; None after a failing step."""

    label: int
    after: State | None


@dataclass(frozen=True, slots=True)
class Way:
    """Moves from the initial state. `switch_from` is where a mode switch begins in it, or 0."""

    moves: tuple[Move, ...]
    switch_from: int = 0


Path = list[tuple[int, int]]
"""Pairs of a transition's label and the number of the state behind it."""


def way_to(exploration: Exploration, number: int) -> Way:
    """A shortest way to a state."""
    return _as_way(exploration, _path_to(exploration, number))


def way_to_failure(exploration: Exploration, sighting: Sighting) -> Way:
    """A shortest way to a failing step, that step included."""
    way = way_to(exploration, sighting.state)
    return Way((*way.moves, Move(sighting.label, None)))


def way_over(exploration: Exploration, source: int, edge: int) -> Way:
    """A shortest way to the state `source`, and on over one of its transitions."""
    path = _path_to(exploration, source)
    return _as_way(exploration, [*path, (exploration.labels[edge], exploration.targets[edge])])


def way_along(exploration: Exploration, start: int, path: Path) -> Way:
    """A shortest way to `start`, and on along a path; the path is marked as a switch."""
    before = _path_to(exploration, start)
    return _as_way(exploration, before + path, switch_from=len(before))


def _path_to(exploration: Exploration, number: int) -> Path:
    return [(exploration.parent_labels[n], n) for n in exploration.way_to(number)[1:]]


def _as_way(exploration: Exploration, path: Path, *, switch_from: int = 0) -> Way:
    moves = tuple(Move(label, exploration.state(number)) for label, number in path)
    return Way(moves, switch_from)


@dataclass(slots=True)
class Spread:
    """A breadth-first spread from some states: how each reached state was first reached.

    `order` holds the reached states, nearest first; `came_by[state]` is the transition's number
    and the state before, or None for a start.
    """

    exploration: Exploration
    order: list[int]
    came_by: dict[int, tuple[int, int] | None]

    def path_to(self, number: int) -> tuple[int, Path]:
        """The start from which a state was reached, and the path from there."""
        path: Path = []
        step = self.came_by[number]
        while step is not None:
            edge, before = step
            path.append((self.exploration.labels[edge], number))
            number, step = before, self.came_by[before]
        return number, path[::-1]


def spread_from_initial(
    exploration: Exploration, starts: Iterable[int], enters: Callable[[int], bool]
) -> Spread:
    """Like `spread`, but nearest is counted from the initial state, through one of the starts.

    Dijkstra's algorithm with the depth of each start as its distance.
    """
    came_by: dict[int, tuple[int, int] | None] = {}
    order: list[int] = []
    pending: list[tuple[int, int, int, int]] = [
        (exploration.depth_of(number), number, -1, -1) for number in starts
    ]
    heapify(pending)
    while pending:
        length, number, edge, before = heappop(pending)
        if number in came_by:
            continue
        came_by[number] = None if edge < 0 else (edge, before)
        order.append(number)
        for onward in exploration.edges(number):
            target = exploration.targets[onward]
            if target not in came_by and enters(target):
                heappush(pending, (length + 1, target, onward, number))
    return Spread(exploration, order, came_by)


def spread(
    exploration: Exploration, starts: Iterable[int], enters: Callable[[int], bool]
) -> Spread:
    """Spread from `starts` over every transition into a state that `enters` allows.

    States that are not among the starts are passed on from only if `enters` holds for them.
    """
    came_by: dict[int, tuple[int, int] | None] = dict.fromkeys(starts)
    order = list(came_by)
    pending = deque(order)
    while pending:
        number = pending.popleft()
        for edge in exploration.edges(number):
            target = exploration.targets[edge]
            if target not in came_by and enters(target):
                came_by[target] = (edge, number)
                order.append(target)
                pending.append(target)
    return Spread(exploration, order, came_by)

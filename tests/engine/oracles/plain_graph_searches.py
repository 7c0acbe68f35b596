"""Searches with lists, sets and functions: those of the engine are compared with them."""

from __future__ import annotations

from array import array
from collections import Counter, deque
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from heapq import heapify, heappop, heappush

from modecheck.engine.contract.space import Path


@dataclass(frozen=True, slots=True)
class PlainGraph:
    """Transitions one after the other: those of state `i` are `first[i]` to `first[i + 1] - 1`.

    `count` states were found, the first `len(first) - 1` of them expanded.
    """

    count: int
    first: Sequence[int]
    targets: Sequence[int]
    labels: Sequence[int]

    @property
    def expanded(self) -> int:
        return len(self.first) - 1

    def edges(self, number: int) -> range:
        """The numbers of the transitions that leave a state."""
        if number >= self.expanded:
            return range(0)
        return range(self.first[number], self.first[number + 1])


class BackwardReachability:
    """The transitions turned round. `unknown` are the states with an unknown future."""

    def __init__(self, graph: PlainGraph, unknown: Iterable[int]) -> None:
        self._graph = graph
        self._unknown = list(unknown)
        self._sources = array("l", bytes(8 * len(graph.targets)))
        self._edges = array("l", self._sources)
        self._first = [0] * (graph.count + 1)
        self._transpose()

    @property
    def unknown(self) -> list[int]:
        """The states with an unknown future."""
        return self._unknown

    def _transpose(self) -> None:
        """Counting sort of the transitions by target."""
        graph, first = self._graph, self._first
        for number in range(graph.expanded):
            for edge in graph.edges(number):
                self._sources[edge] = number
        for target in graph.targets:
            first[target + 1] += 1
        for number in range(graph.count):
            first[number + 1] += first[number]
        following = list(first)
        for edge, target in enumerate(graph.targets):
            self._edges[following[target]] = edge
            following[target] += 1

    def into(self, number: int) -> list[tuple[int, int]]:
        """The transitions into a state, as pairs of its number and the state before."""
        edges = self._edges[self._first[number] : self._first[number + 1]]
        return [(edge, self._sources[edge]) for edge in edges]

    def leading_to(
        self, goals: Iterable[int], allowed: Callable[[int], bool] | None = None
    ) -> bytearray:
        """For each state 1 if a path leads from it to a goal, over allowed transitions only."""
        reached = bytearray(self._graph.count)
        pending = [*goals]
        for number in pending:
            reached[number] = 1
        while pending:
            for edge, before in self.into(pending.pop()):
                if not reached[before] and (allowed is None or allowed(edge)):
                    reached[before] = 1
                    pending.append(before)
        return reached

    def can_still_move(self, own: Callable[[int], int], everybody: int) -> list[int]:
        """For each state, bits of the chips that can still move on some path from it.

        `own` gives the bits of those that move in a transition. In one in place nobody does.
        """
        graph = self._graph
        masks = [0] * graph.count
        for number in range(graph.expanded):
            for edge in graph.edges(number):
                if graph.targets[edge] != number:
                    masks[number] |= own(edge)
        for number in self._unknown:
            masks[number] = everybody
        pending = list(range(graph.count))
        while pending:
            number = pending.pop()
            for _, before in self.into(number):
                if masks[number] & ~masks[before]:
                    masks[before] |= masks[number]
                    pending.append(before)
        return masks


@dataclass(slots=True)
class PlainBfsRegion:
    """How each reached state was first reached: over which transition, from which state."""

    graph: PlainGraph
    marks: Sequence[int]
    inside: list[int]
    entered: list[int]
    came_by: dict[int, tuple[int, int] | None]

    def first(self, wanted: int, unwanted: int) -> int | None:
        """The nearest state, inside or entered, with all wanted marks and no unwanted one."""
        both = wanted | unwanted
        reached = (*self.inside, *self.entered)
        return next((number for number in reached if self.marks[number] & both == wanted), None)

    def path_to(self, number: int) -> tuple[int, Path]:
        """The start from which a state was reached, and a shortest path from there."""
        path: Path = []
        step = self.came_by[number]
        while step is not None:
            edge, before = step
            path.append((self.graph.labels[edge], number))
            number, step = before, self.came_by[before]
        return number, path[::-1]


def bfs(
    graph: PlainGraph, marks: Sequence[int], starts: Iterable[int], blocked: int
) -> PlainBfsRegion:
    """Spread from `starts`; states with blocked marks are entered, and not passed on from."""
    came_by: dict[int, tuple[int, int] | None] = dict.fromkeys(starts)
    inside, entered = list(came_by), []
    pending = deque(inside)
    while pending:
        number = pending.popleft()
        for edge in graph.edges(number):
            target = graph.targets[edge]
            if target in came_by:
                continue
            came_by[target] = (edge, number)
            if marks[target] & blocked:
                entered.append(target)
            else:
                inside.append(target)
                pending.append(target)
    return PlainBfsRegion(graph, marks, inside, entered, came_by)


def bfs_from_initial(
    graph: PlainGraph,
    marks: Sequence[int],
    starts: Iterable[int],
    blocked: int,
    depth_of: Callable[[int], int],
) -> PlainBfsRegion:
    """Spread from `starts`, nearest counted from the initial state; blocked states are not entered.

    Dijkstra's algorithm with the depth of each start as its distance.
    """
    came_by: dict[int, tuple[int, int] | None] = {}
    inside: list[int] = []
    pending = [(depth_of(number), number, -1, -1) for number in starts]
    heapify(pending)
    while pending:
        length, number, edge, before = heappop(pending)
        if number in came_by:
            continue
        came_by[number] = None if edge < 0 else (edge, before)
        inside.append(number)
        for onward in graph.edges(number):
            target = graph.targets[onward]
            if target not in came_by and not marks[target] & blocked:
                heappush(pending, (length + 1, target, onward, number))
    return PlainBfsRegion(graph, marks, inside, [], came_by)


def longest_path(following: Mapping[int, Sequence[int]]) -> int | None:
    """The most steps of a path that begins in one of these states and ends at the latest with a
    step to another one; None when there is a cycle among them.
    """
    entering = Counter(target for targets in following.values() for target in targets)
    ready = [number for number in following if not entering[number]]
    longest = dict.fromkeys(following, 0)
    best, done = 0, 0
    while ready:
        number = ready.pop()
        done += 1
        for target in following[number]:
            best = max(best, longest[number] + 1)
            if target in longest:
                longest[target] = max(longest[target], longest[number] + 1)
                entering[target] -= 1
                if not entering[target]:
                    ready.append(target)
    return best if done == len(following) else None

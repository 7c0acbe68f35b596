"""Components with a fair loop, found with sets and functions: the search is compared with it."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

from modecheck.engine.contract.space import LoopQuery, Path
from modecheck.engine.search.fair_loops import Goal, short_loop
from modecheck.product.ir import FairSet


@dataclass(frozen=True, slots=True)
class FairGraph:
    """What the search needs to know. `edges(n)` tells of each transition its label, its target,
    whether a loop may use it, and whether one of the chips moves in it that have to. States are
    numbered by depth.
    """

    edges: Callable[[int], Sequence[tuple[int, int, bool, bool]]]
    marks: Sequence[int]
    fair: Sequence[FairSet]
    set_of_label: Sequence[int]

    def possible(self, state: int) -> frozenset[int]:
        """The fairness sets that have a step in a state that leads away from it."""
        steps = self.edges(state)
        sets = {self.set_of_label[label] for label, target, _, _ in steps if target != state}
        return frozenset(sets - {-1})


def nearest_component(
    graph: FairGraph, region: set[int], query: LoopQuery
) -> tuple[set[int] | None, frozenset[int]]:
    """The component with a fair loop inside a region that has the first state of all, or None; and
    the fairness sets without which others would have one.
    """
    rests_on: set[int] = set()
    fair = min(_fair_components(graph, region, query, rests_on), key=min, default=None)
    return fair, frozenset(rests_on)


def loop_in(graph: FairGraph, component: set[int], query: LoopQuery, depths: Sequence[int]) -> Path:
    """A short fair loop in a component."""
    strong = [one.strong for one in graph.fair]
    return short_loop(_PlainComponent(graph, component, depths), query, strong)


def _fair_components(
    graph: FairGraph, region: set[int], query: LoopQuery, rests_on: set[int]
) -> Iterator[set[int]]:
    waiting = list(components(graph, region))
    while waiting:
        component = waiting.pop()
        if not all(any(graph.marks[n] & mark for n in component) for mark in query.visits):
            continue
        possible = {state: graph.possible(state) for state in component}
        if not _has_edge(graph, component, moving=bool(query.moving)):
            rests_on |= _moving_on(graph, frozenset().union(*possible.values()))
            continue
        taken = {
            graph.set_of_label[label]
            for state in component
            for label, target, usable, _ in graph.edges(state)
            if usable and target in component
        }
        everywhere = frozenset.intersection(*possible.values()) - taken
        weak = sorted(n for n in everywhere if not graph.fair[n].strong)
        if weak:
            rests_on.add(weak[0])
            continue
        anywhere = frozenset().union(*possible.values()) - taken
        wronged = {n for n in anywhere if graph.fair[n].strong}
        if not wronged:
            yield component
            continue
        rests_on |= wronged
        rest = {state for state in component if not possible[state] & wronged}
        waiting += components(graph, rest)


def _moving_on(graph: FairGraph, possible: frozenset[int]) -> set[int]:
    """A fairness set, if any, because of which a device does not stay where no loop is."""
    order = sorted(possible, key=lambda number: (graph.fair[number].strong, number))
    return set(order[:1])


def _has_edge(graph: FairGraph, component: set[int], *, moving: bool) -> bool:
    return any(
        usable and target in component and (moves or not moving)
        for state in component
        for _, target, usable, moves in graph.edges(state)
    )


def components(graph: FairGraph, states: set[int]) -> Iterator[set[int]]:
    """The strongly connected components (Tarjan 1972), without recursion."""
    index: dict[int, int] = {}
    low: dict[int, int] = {}
    stack: list[int] = []
    on_stack: set[int] = set()
    for root in sorted(states):
        if root in index:
            continue
        calls = [(root, _inside(graph, root, states))]
        index[root] = low[root] = len(index)
        stack.append(root)
        on_stack.add(root)
        while calls:
            state, following = calls[-1]
            target = next(following, None)
            if target is None:
                calls.pop()
                if calls:
                    low[calls[-1][0]] = min(low[calls[-1][0]], low[state])
                if low[state] == index[state]:
                    component = set()
                    while state not in component:
                        member = stack.pop()
                        on_stack.discard(member)
                        component.add(member)
                    yield component
            elif target not in index:
                index[target] = low[target] = len(index)
                stack.append(target)
                on_stack.add(target)
                calls.append((target, _inside(graph, target, states)))
            elif target in on_stack:
                low[state] = min(low[state], index[target])


def _inside(graph: FairGraph, state: int, states: set[int]) -> Iterator[int]:
    return (target for _, target, usable, _ in graph.edges(state) if usable and target in states)


class _PlainComponent:
    """A component as the search for a short loop asks for it."""

    def __init__(self, graph: FairGraph, states: set[int], depths: Sequence[int]) -> None:
        self._graph = graph
        self._states = states
        self._depths = depths

    def shallowest(self, most: int) -> Sequence[int]:
        first = sorted(self._states)[:most]
        return [n for n in first if self._depths[n] == self._depths[first[0]]]

    def possible(self, state: int) -> frozenset[int]:
        return self._graph.possible(state)

    def has(self, state: int, mark: int) -> bool:
        return bool(self._graph.marks[state] & mark)

    def set_of(self, label: int) -> int:
        return self._graph.set_of_label[label]

    def path(self, start: int, goal: Goal) -> Path | None:
        came: dict[int, tuple[int, int]] = {}
        waiting = deque([start])
        while waiting:
            state = waiting.popleft()
            for label, target, usable, moves in self._graph.edges(state):
                if not usable or target not in self._states:
                    continue
                taken = goal.taking >= 0 and self.set_of(label) == goal.taking
                taken = taken or (bool(goal.moving) and moves)
                if taken or self._is_goal(target, goal):
                    return [*self._way(came, start, state), (label, target)]
                if target not in came and target != start:
                    came[target] = (state, label)
                    waiting.append(target)
        return None

    def _is_goal(self, state: int, goal: Goal) -> bool:
        free = goal.without >= 0 and goal.without not in self.possible(state)
        return state == goal.end or self.has(state, goal.mark) or free

    def _way(self, came: dict[int, tuple[int, int]], start: int, state: int) -> Path:
        path: Path = []
        while state != start:
            before, label = came[state]
            path.append((label, state))
            state = before
        return path[::-1]

"""Components of a graph with a fair loop (see `fair_loops.py`).

Which of many loops is told does not depend on the engine: states are looked at by depth, then by
their words, transitions by label, then by target.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from modecheck.engine.contract.space import LoopQuery, Path
from modecheck.engine.reference.system_actions import system_actions
from modecheck.engine.search.arrays import Array
from modecheck.engine.search.fair_kernels import (
    find_path,
    flag_component,
    judge_components,
    without_set,
)
from modecheck.engine.search.fair_loops import LONGEST_SEARCH, Goal, short_loop
from modecheck.engine.search.mark_kernels import flag_goals
from modecheck.engine.search.state_graph import StateGraph
from modecheck.engine.search.sweep_kernels import trim
from modecheck.engine.search.sweeps import settle
from modecheck.product.ir import FairSet, Product


@dataclass(slots=True)
class FairSearch:
    """One query over a graph. `inside` flags the states through which a loop may go. By note:
    whether a loop cannot use its transitions (`barred`), has to use one of them (`needed`), and the
    fairness set of their label, or -1 (`sets`).
    """

    fair: Sequence[FairSet]
    graph: StateGraph
    marks: Array
    query: LoopQuery
    inside: Array
    barred: Array
    needed: Array
    sets: Array
    set_of_label: Sequence[int]

    @classmethod
    def of(
        cls, product: Product, graph: StateGraph, marks: Array, inside: Array, query: LoopQuery
    ) -> FairSearch:
        """A query made ready."""
        of, set_of_label = graph.arrays.of, set_numbers(product.fair, len(product.labels))
        kinds = [graph.kind(note) for note in range(len(graph.labels))]
        barred = [not one for one in allowed_kinds(product, query, kinds)]
        needed = [bool(moved & query.moving) or not query.moving for _, moved, _ in kinds]
        sets = [set_of_label[label] for label, _, _ in kinds]
        return cls(
            product.fair, graph, marks, query, inside,
            of("u1", barred), of("u1", needed), of("i4", sets), set_of_label,
        )  # fmt: skip

    def component(self) -> tuple[FairComponent | None, frozenset[int]]:
        """The component with a fair loop that has the first state of all, or None; and the fairness
        sets without which others would have one.
        """
        found, number, owed = self.fair_components()
        if not number:
            return None, owed
        filled = self.graph.arrays.filled
        states, first = filled("u1", self.graph.count), filled("i8", LONGEST_SEARCH)
        noted = flag_component(found, number, states, first)
        return FairComponent(self, states, self.graph.arrays.listed(first[:noted])), owed

    def fair_states(self) -> Array:
        """For each state 0, or the number of the component with a fair loop that it is in."""
        return self.fair_components()[0]

    def fair_components(self) -> tuple[Array, int, frozenset[int]]:
        """All components with a fair loop: for each state the number of its own, or 0; the number
        of the one that has the first state of all, or 0; and what `component` says of fairness.
        """
        graph, filled, of = self.graph, self.graph.arrays.filled, self.graph.arrays.of
        count, sets = graph.count, len(self.fair)
        found, rests_on = filled("u4", count), filled("u1", sets)
        nearest = of("i8", [0, 0, count])
        visits = of("u8", self.query.visits)
        strong = of("u1", [one.strong for one in self.fair])
        possible, seen_at, taken = filled("i8", sets), filled("i8", sets), filled("u1", sets)
        room: tuple[Array, ...] = ()
        again = self._trim(strong, visits, rests_on)
        while again:
            room = room or graph.room_for_components()
            component, order = graph.components(
                self.marks, self.inside, self.barred, room, gains=self.query.without_gains,
                only_changes=self.query.only_changes,
            )  # fmt: skip
            again = judge_components(
                graph.first, graph.targets, graph.notes, self.marks, self.inside, self.barred,
                self.query.without_gains, self.query.only_changes, self.sets, strong, self.needed,
                visits, rests_on, component, order, possible, taken, seen_at, found, nearest,
            ) and self._trim(strong, visits, rests_on)  # fmt: skip
        return found, int(nearest[1]), frozenset(n for n in range(sets) if rests_on[n])

    def _trim(self, strong: Array, visits: Array, rests_on: Array) -> bool:
        """Take out of `inside` what leads to no cycle; whether anything is left."""
        graph = self.graph
        left = settle(
            trim, graph.count, graph.threads, graph.first, graph.targets, graph.notes, self.marks,
            self.inside, self.barred, self.query.without_gains, self.query.only_changes, self.sets,
            strong, visits, rests_on,
        )  # fmt: skip
        return left > 0


def allowed_kinds(
    product: Product, query: LoopQuery, kinds: Sequence[tuple[int, int, int]]
) -> list[bool]:
    """For each kind of transitions, label, who moved and what happened, whether a loop may have
    one.
    """
    by_system = system_actions(product)
    return [query.allows(*kind) and (by_system[kind[0]] or not query.system_only) for kind in kinds]


def set_numbers(fair: Sequence[FairSet], labels: int) -> list[int]:
    """For each label the number of its fairness set, or -1."""
    numbers = [-1] * labels
    for number, one in enumerate(fair):
        for label in one.labels:
            numbers[label] = number
    return numbers


@dataclass(slots=True)
class FairComponent:
    """A component as the search for a short loop asks for it; `states` flags those in it, `first`
    are the first of them.
    """

    search: FairSearch
    states: Array
    first: list[int]

    def loop(self, depth_of: Callable[[int], int]) -> Path:
        """A short fair loop in it, begun in one of the first states if they are of the least
        depth.
        """
        least = depth_of(self.first[0])
        self.first = [number for number in self.first if depth_of(number) == least]
        return short_loop(self, self.search.query, [one.strong for one in self.search.fair])

    def shallowest(self, most: int) -> Sequence[int]:
        """The first of its states, those of the least depth."""
        return self.first[:most]

    def possible(self, state: int) -> frozenset[int]:
        """The fairness sets that have a step in a state that leads away from it."""
        graph, sets = self.search.graph, self.search.sets
        away = (edge for edge in graph.edges(state) if graph.targets[edge] != state)
        return frozenset(int(sets[graph.notes[edge]]) for edge in away) - {-1}

    def has(self, state: int, mark: int) -> bool:
        """Whether a state has a mark."""
        return bool(int(self.search.marks[state]) & mark)

    def set_of(self, label: int) -> int:
        """The fairness set of a label, or -1."""
        return self.search.set_of_label[label]

    def path(self, start: int, goal: Goal) -> Path | None:
        """A shortest path inside to the first that is a goal."""
        search, graph, filled = self.search, self.search.graph, self.search.graph.arrays.filled
        came_from = filled("i8", graph.count)
        last = find_path(
            graph.first, graph.targets, graph.notes, search.marks, self.states, search.barred,
            search.query.without_gains, search.query.only_changes, start, self._flags(goal),
            self._last(goal), goal.end, came_from, filled("u4", graph.count), graph.labels,
            filled("i8", graph.most_edges),
        )  # fmt: skip
        return None if last < 0 else self._way(start, int(last), came_from)

    def _last(self, goal: Goal) -> Array:
        """A flag for each note of a transition that ends a path."""
        graph, sets = self.search.graph, self.search.sets
        ends = (
            bool(moved & goal.moving) or (goal.taking >= 0 and own == goal.taking)
            for moved, own in zip(graph.arrays.listed(graph.moved), sets, strict=True)
        )
        return graph.arrays.of("u1", ends)

    def _flags(self, goal: Goal) -> Array:
        """A flag for each state that is a goal by what it is like, if any can be."""
        search, graph = self.search, self.search.graph
        asked = goal.mark or goal.without >= 0
        flags = graph.arrays.filled("u1", graph.count if asked else 0)
        if goal.without >= 0:
            without_set(
                graph.first, graph.targets, graph.notes, self.states, search.sets, goal.without,
                flags,
            )  # fmt: skip
        if goal.mark:
            flag_goals(search.marks, goal.mark, 0, flags)
        return flags

    def _way(self, start: int, edge: int, came_from: Array) -> Path:
        graph, path = self.search.graph, []
        while True:
            label, target, _, _ = graph.transition(edge)
            path.append((label, target))
            source = bisect_right(graph.first, edge) - 1
            if source == start:
                return path[::-1]
            edge = int(came_from[source]) - 1

"""Fair loops in millions of states: the search of `modecheck.engine.fair_components`, compiled."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from modecheck.engine.compiled.fair_kernels import fair_sccs, find_path, without_set
from modecheck.engine.compiled.graph import Array, CompiledGraph, States
from modecheck.engine.compiled.growing_arrays import Words
from modecheck.engine.fair_components import set_numbers
from modecheck.engine.fair_loops import Goal, short_loop
from modecheck.engine.space import HALTED, LoopQuery, Path
from modecheck.engine.system_actions import system_actions
from modecheck.product.ir import ChipIR, Label, Product


@dataclass(slots=True)
class FairSearch:
    """One query over a graph. `inside` flags the states through which a loop may go."""

    product: Product
    graph: CompiledGraph
    marks: Words
    query: LoopQuery
    inside: Array
    allowed: Array
    sets: Array
    needed: Array
    set_of_label: list[int]

    @property
    def strong(self) -> Array:
        return np.array([fair.strong for fair in self.product.fair], np.uint8)

    @property
    def gains(self) -> np.uint64:
        return np.uint64(self.query.without_gains)

    def component(self) -> tuple[FairComponent | None, frozenset[int]]:
        """The component with a fair loop that has the first state of all, or None; and the fairness
        sets without which others would have one.
        """
        graph, count = self.graph, self.graph.states.count
        found, rests_on = np.zeros(count, np.uint32), np.zeros(len(self.product.fair), np.uint8)
        nearest = np.array([0, 0, count], np.int64)
        index, low, stack = (np.zeros(count, np.uint32) for _ in range(3))
        call_states, call_edges = np.empty(count, np.uint32), np.empty(count, np.int64)
        visits = np.array(self.query.visits, np.uint64)
        possible, seen_at = (np.zeros(self.strong.size, np.int64) for _ in range(2))
        taken = np.zeros(self.strong.size, np.uint8)
        again = True
        while again:
            index[:] = 0
            again = fair_sccs(
                graph.first, graph.targets, graph.notes, self.marks, self.inside, self.allowed,
                self.gains, self.query.only_changes, self.sets, self.strong, self.needed, visits,
                rests_on, index, low, stack, call_states, call_edges, possible, taken, seen_at,
                found, nearest,
            )  # fmt: skip
        number = int(nearest[1])
        component = FairComponent(self, (found == number).astype(np.uint8)) if number else None
        return component, frozenset(np.flatnonzero(rests_on).tolist())


def fair_search(
    product: Product, graph: CompiledGraph, marks: Words, query: LoopQuery
) -> FairSearch:
    """A query made ready. Loops pass no state whose future is unknown."""
    if query.timeless:
        marks = marks | np.uint64(HALTED) * halted(product, graph, marks)
        query = replace(query, visits=(*query.visits, HALTED))
    wanted, both = np.uint64(query.wanted), np.uint64(query.wanted | query.unwanted)
    inside = (marks & both == wanted).astype(np.uint8)
    inside[graph.unknown()] = 0
    if query.restless >= 0:
        inside &= _restless(product.chips[query.restless], graph.states)
    labels = graph.labels.astype(np.int64)
    kinds = zip(labels.tolist(), graph.moved.tolist(), graph.events.tolist(), strict=True)
    allowed = np.array([query.allows(*kind) for kind in kinds], np.uint8)
    needed = (graph.moved & np.uint64(query.moving) != 0).astype(np.uint8)
    needed = needed if query.moving else np.ones_like(needed)
    if query.system_only:
        allowed &= np.array(system_actions(product), np.uint8)[labels]
    set_of_label = set_numbers(product.fair, len(product.labels))
    sets = np.array(set_of_label, np.int32)[labels]
    return FairSearch(product, graph, marks, query, inside, allowed, sets, needed, set_of_label)


def halted(product: Product, graph: CompiledGraph, marks: Words) -> Words:
    """For each state 1 if time cannot go on in it before something else happens. Every step that
    has to come first is a transition, but in states with failing steps.
    """
    time = product.time
    assert time is not None
    names = list(product.conditions)
    due = 1 << names.index("due") if "due" in names else 0
    waits = marks & np.uint64(due) != 0
    labels = graph.labels.astype(np.int64)[graph.notes]
    first = np.isin(labels, list(time.at_once))
    for number, queue in enumerate(product.queues):
        if queue.latest >= 0:
            own = [n for n, label in enumerate(product.labels) if _delivers(label, number)]
            late = graph.states.column(queue.slots[0].age) == queue.latest
            first |= np.isin(labels, own) & np.repeat(late[: graph.linked], np.diff(graph.first))
    sources = np.repeat(np.arange(graph.linked), np.diff(graph.first))
    waits[sources[first]] = True
    flags: Words = waits.astype(np.uint64)
    return flags


def _delivers(label: Label, queue: int) -> bool:
    return label.kind in ("deliver", "discard") and label.queue == queue


def _restless(chip: ChipIR, states: States) -> Array:
    """A flag for each state in which a chip does not rest."""
    works = np.array([not rest for rest in chip.rests], np.uint8)
    return works[states.column(chip.state_field)]


def loop_in(component: FairComponent, query: LoopQuery) -> Path:
    """A short fair loop in a component."""
    return short_loop(component, query, component.search.strong.tolist())


@dataclass(slots=True)
class FairComponent:
    """A component as the search for a short loop asks for it; `states` flags those in it."""

    search: FairSearch
    states: Array

    def shallowest(self, most: int) -> Sequence[int]:
        """The first of its states, those of the least depth."""
        first = np.flatnonzero(self.states)[:most].tolist()
        depth_of = self.search.graph.states.depth_of
        return [number for number in first if depth_of(number) == depth_of(first[0])]

    def possible(self, state: int) -> frozenset[int]:
        """The fairness sets that have a step in a state that leads away from it."""
        graph = self.search.graph
        own = slice(int(graph.first[state]), int(graph.first[state + 1]))
        notes = graph.notes[own][graph.targets[own] != state]
        return frozenset(self.search.sets[notes].tolist()) - {-1}

    def has(self, state: int, mark: int) -> bool:
        """Whether a state has a mark."""
        return bool(int(self.search.marks[state]) & mark)

    def set_of(self, label: int) -> int:
        """The fairness set of a label, or -1."""
        return self.search.set_of_label[label]

    def path(self, start: int, goal: Goal) -> Path | None:
        """A shortest path inside to the first that is a goal."""
        search, graph = self.search, self.search.graph
        came_from = np.empty(self.states.size, np.int64)
        pending = np.empty(self.states.size, np.uint32)
        last = find_path(
            graph.first, graph.targets, graph.notes, search.marks, self.states, search.allowed,
            search.gains, search.query.only_changes, start, self._flags(goal), self._last(goal),
            goal.end, came_from, pending, graph.labels, np.empty(graph.most_edges, np.int64),
        )  # fmt: skip
        return None if last < 0 else self._way(start, int(last), came_from)

    def _last(self, goal: Goal) -> Array:
        """A flag for each note of a transition that ends a path."""
        moving: Array = self.search.graph.moved & np.uint64(goal.moving) != 0
        if goal.taking >= 0:
            moving |= self.search.sets == goal.taking
        return moving.astype(np.uint8)

    def _flags(self, goal: Goal) -> Array:
        """A flag for each state that is a goal by what it is like, if any can be."""
        search = self.search
        flags = np.zeros(self.states.size if goal.mark or goal.without >= 0 else 0, np.uint8)
        if goal.without >= 0:
            graph = search.graph
            without_set(
                graph.first,
                graph.targets,
                graph.notes,
                self.states,
                search.sets,
                goal.without,
                flags,
            )
        if goal.mark:
            flags |= (search.marks & np.uint64(goal.mark) != 0).astype(np.uint8)
        return flags

    def _way(self, start: int, edge: int, came_from: Array) -> Path:
        graph, path = self.search.graph, []
        while True:
            path.append((int(graph.labels[graph.notes[edge]]), int(graph.targets[edge])))
            source = int(np.searchsorted(graph.first, edge, side="right")) - 1
            if source == start:
                return path[::-1]
            edge = int(came_from[source]) - 1

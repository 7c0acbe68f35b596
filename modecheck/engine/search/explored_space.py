"""What was explored, as the checks ask for it, whichever engine has explored it."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from itertools import accumulate
from typing import Any, Generic, Protocol, TypeVar

from modecheck.engine.contract.encounters import Observed
from modecheck.engine.contract.space import (
    Edge,
    FairLoop,
    Flags,
    LoopAnswer,
    LoopQuery,
    Occurrence,
    Path,
    ReachGoal,
    Sighting,
)
from modecheck.engine.language.kernel import Kernel
from modecheck.engine.reference.plain import State
from modecheck.engine.reference.system_actions import system_actions
from modecheck.engine.search.arrays import Array
from modecheck.engine.search.foreseen import Foreseen, foresee
from modecheck.engine.search.loops_explored import fair_loop_in
from modecheck.engine.search.mark_kernels import (
    first_among,
    flag_goals,
    flag_numbers,
    next_lacking,
    select,
    select_flagged,
)
from modecheck.engine.search.search_kernels import (
    START,
    UNREACHED,
    first_between,
    first_change,
    first_loss,
    spread_forwards,
)
from modecheck.engine.search.state_graph import StateGraph
from modecheck.engine.search.sweep_kernels import FOREVER, longest_inside
from modecheck.engine.search.sweeps import do_each, in_parts
from modecheck.product.ir import Product

TOGETHER = 1 << 16
"""States whose marks are looked at between two that are told."""


class StateStore(Protocol):
    """The states themselves, by number, the first `expanded` of them expanded. `layers` says how
    many there are of each depth.
    """

    layers: list[int]
    expanded: int

    def values(self, number: int) -> State:
        """The values of a state's fields."""

    def values_of(self, numbers: Sequence[int]) -> list[State]:
        """The values of the fields of some states."""

    def column(self, field: int) -> Array:
        """The values of one field in all states."""

    def values_in(self, field: int) -> set[int]:
        """The values that a field has in some state."""

    def step_into(self, graph: StateGraph, number: int) -> tuple[int, int]:
        """The state above from which a state is reached first, and the label of the step."""

    def chosen(self, labels: list[int]) -> int:
        """Of the labels of steps between two states that of the one that is told."""

    def remade(self, number: int) -> list[tuple[int, int, int, int]]:
        """Of each transition of an expanded state that is not kept label, target, who moved and
        what happened.
        """

    def failing_labels(self, number: int) -> list[int]:
        """The labels of the steps that fail in an expanded state, made anew."""

    def ordered(self) -> list[int] | None:
        """The states by depth, then by words; None if they are numbered so."""

    def shadows(self, product: Product, curious: frozenset[int]) -> dict[int, int]:
        """As `Space.shadows`."""


Store = TypeVar("Store", bound=StateStore, covariant=True)


@dataclass(slots=True)
class Exploration(Generic[Store]):
    """Everything reachable, or what was reached before a bound was hit (`stopped_by` says which).
    What its methods answer is said in `Space`; of all shortest paths they tell that by the first
    states.

    `marks[i]` has a bit for each condition of the product that holds in state `i`, in their order.
    `transitions` are distinct triples of state, label and next state.
    """

    product: Product
    found: Store
    graph: StateGraph
    marks: Array
    observed: Observed
    failures: dict[tuple[str, str], Sighting] = field(default_factory=dict)
    transitions: int = 0
    stopped_by: str = ""
    _combinations: dict[int, Occurrence] | None = None
    _occupied: list[set[int]] | None = None
    _ordered: tuple[list[int], StateGraph] | None = None
    _lost_marks: list[int] | None = None
    _foreseen: Foreseen | None = None
    _behind: dict[tuple[int, int], Array] = field(default_factory=dict)
    _lengths: dict[tuple[int, int], Array] = field(default_factory=dict)

    @property
    def occupied(self) -> list[set[int]]:
        if self._occupied is None:
            found: dict[int, set[int]] = {}

            def look(field: int) -> None:
                found[field] = self.found.values_in(field)

            fields = [chip.state_field for chip in self.product.chips]
            do_each(look, dict.fromkeys(fields), self.graph.threads)
            self._occupied = [found[field] for field in fields]
        return self._occupied

    @property
    def is_swept(self) -> bool:
        """Whether transitions are not kept, but made again where they are asked for."""
        return False

    @property
    def layers(self) -> list[int]:
        return self.found.layers

    @property
    def complete(self) -> bool:
        return not self.stopped_by

    @property
    def state_count(self) -> int:
        return self.graph.count

    @property
    def expanded(self) -> int:
        return self.found.expanded

    @property
    def starts(self) -> Sequence[int]:
        return range(self.layers[0])

    @property
    def depth(self) -> int:
        return len(self.layers) - 1

    def state(self, number: int) -> State:
        return self.found.values(number)

    def states_at(self, numbers: Sequence[int]) -> list[State]:
        return self.found.values_of(numbers)

    def column(self, field: int, count: int) -> list[int]:
        return self.graph.arrays.listed(self.found.column(field)[:count])

    def is_expanded(self, number: int) -> bool:
        return number < self.expanded

    def depth_of(self, number: int) -> int:
        return next(depth for depth, end in enumerate(accumulate(self.layers)) if number < end)

    def mark(self, condition: str) -> int:
        return 1 << list(self.product.conditions).index(condition)

    def marks_at(self, number: int) -> int:
        return int(self.marks[number])

    def combinations(self) -> dict[int, Occurrence]:
        if self._combinations is None:
            self._combinations = self.graph.arrays.counted(self.marks)
        return self._combinations

    def numbered(self, wanted: int, unwanted: int = 0) -> Iterator[int]:
        return self._parts(self.state_count, select, self.marks, wanted | unwanted, wanted)

    def _parts(self, end: int, selected: Kernel, *arguments: Any) -> Iterator[int]:
        """Of the first `end` states those that a kernel selects; some are looked at at a time."""
        arrays = self.graph.arrays
        found = arrays.filled("u4", min(end, TOGETHER))
        for begin in range(0, end, TOGETHER):
            count = selected(begin, min(begin + TOGETHER, end), *arguments, found)
            yield from arrays.listed(found[:count])

    def quiescent(self, unwanted: int) -> Iterator[int]:
        flags = self.graph.is_quiescent
        return self._parts(self.expanded, select_flagged, flags, self.marks, unwanted)

    def path_to(self, number: int) -> Path:
        path: Path = []
        while number >= self.layers[0]:
            before, label = self.found.step_into(self.graph, number)
            path.append((label, number))
            number = before
        if self.product.starts:
            path.append((self.product.start_label, number))
        return path[::-1]

    def edges_from(self, number: int) -> list[Edge]:
        if number >= self.expanded:
            return []
        kept = number < self.graph.linked
        known = self.graph.transitions_of(number) if kept else self.found.remade(number)
        return [self._edge(*one) for one in known]

    def _edge(self, label: int, target: int, moved: int, events: int) -> Edge:
        chips = len(self.product.chips)
        return Edge(label, target, moved & (1 << chips) - 1, events, moved >> chips)

    def _found_edge(self, number: int, edge: int) -> tuple[int, Edge] | None:
        """A transition and the state before it, where there is one."""
        return None if number < 0 else (number, self._edge(*self.graph.transition(edge)))

    def first_loss(self, marks: int, *, without_events: int) -> tuple[int, Edge] | None:
        graph, barred = self.graph, self.graph.barred(without_events)
        if not any(one & marks and not barred[note] for note, one in enumerate(self._lost())):
            return None
        return self._first_edge(
            first_loss, graph.first, graph.targets, graph.notes, self.marks, marks, barred
        )

    def first_change(self, before: int, after: int) -> tuple[int, Edge] | None:
        graph = self.graph
        return self._first_edge(first_change, graph.first, graph.targets, self.marks, before, after)

    def _first_edge(self, found_in: Kernel, *arguments: Any) -> tuple[int, Edge] | None:
        """The first transition that a kernel finds in some part of the states."""
        found = in_parts(found_in, self.graph.linked, self.graph.threads, *arguments)
        number, edge = min((one for one in found if one[0] >= 0), default=(-1, -1))
        return self._found_edge(number, edge)

    def _lost(self) -> list[int]:
        """For each note of transitions the marks that are lost in some of them. Found once."""
        if self._lost_marks is None:
            self._lost_marks = self.graph.lost_marks(self.marks)
        return self._lost_marks

    def foresee(self, goals: Iterable[ReachGoal]) -> None:
        if self.graph.linked:  # else there was no memory for transitions, nor is there for this
            chips = len(self.product.chips)
            self._foreseen = foresee(self.graph, self.marks, chips, list(goals))

    def can_reach(self, goal: ReachGoal) -> bytes:
        if self._foreseen is not None and goal in self._foreseen.goals:
            return self._foreseen.leading_to(goal)
        goals = self._flags()
        flag_goals(self.marks, goal.marks, goal.lacking, goals)
        return self.graph.leading_to(goals, goal.without_events, past_failures=goal.past_failures)

    def can_reach_states(self, numbers: Iterable[int]) -> bytes:
        goals = self._flags()
        for number in numbers:
            goals[number] = 1
        return self.graph.leading_to(goals)

    def _flags(self) -> Array:
        return self.graph.arrays.filled("u1", self.state_count)

    def stuck(self, chips: int) -> Iterator[tuple[int, int]]:
        if not self.graph.linked:
            return
        if self._foreseen is None:
            self.foresee(())
        assert self._foreseen is not None
        masks = self._foreseen.masks
        number = next_lacking(masks, chips, 0)
        while number >= 0:
            yield number, chips & ~int(masks[number])
            number = next_lacking(masks, chips, number + 1)

    def bfs(self, starts: int, *, blocked: int) -> ReachedRegion:
        return self._spread(starts, (), blocked, enters=True)

    def bfs_from_each(self, starts: Sequence[int], *, blocked: int) -> list[ReachedRegion]:
        found: dict[int, ReachedRegion] = {}

        def work(own: int) -> None:
            found[own] = self.bfs(own, blocked=blocked)

        do_each(work, dict.fromkeys(starts), self.graph.threads)
        return [found[own] for own in starts]

    def spread_from_initial(self, starts: int, *, blocked: int) -> ReachedRegion:
        return self._spread(starts, accumulate(self.layers), blocked, enters=False)

    def _spread(
        self, starts: int, ends: Iterable[int], blocked: int, *, enters: bool
    ) -> ReachedRegion:
        graph, filled = self.graph, self.graph.arrays.filled
        came_from = filled("u4", graph.count, UNREACHED)
        inside = filled("u4", graph.count)
        entered = filled("u4", graph.count if blocked and enters else 1)
        count, entries = spread_forwards(
            graph.first, graph.targets, graph.linked, self.marks, starts,
            graph.arrays.of("i8", ends), blocked, enters, came_from, inside, entered,
        )  # fmt: skip
        region = ReachedRegion(self, came_from, inside[:count], entered[:entries])
        if enters:
            self._behind[starts, blocked] = region.flags()
        return region

    def label_between(self, before: int, number: int) -> int:
        """The label of a step that leads from one state to another."""
        steps = self.edges_from(before)
        return self.found.chosen([edge.label for edge in steps if edge.target == number])

    def _flags_behind(self, starts: int, blocked: int) -> Array:
        """Flags for the states that a spread passes on from. What was found is kept."""
        if (starts, blocked) not in self._behind:
            self.bfs(starts, blocked=blocked)
        return self._behind[starts, blocked]

    def longest(self, starts: int, *, blocked: int, unturned: int = 0) -> int | None:
        graph = self.graph
        if not graph.linked:
            return None
        if (blocked, unturned) not in self._lengths:
            by_system, chips = system_actions(self.product), len(self.product.chips)
            labels, moved = map(graph.arrays.listed, (graph.labels, graph.moved))
            self._lengths[blocked, unturned] = graph.lengths(
                self.marks, blocked, [by_system[label] for label in labels],
                [own >> chips == unturned for own in moved],
            )  # fmt: skip
        found = max(
            in_parts(
                longest_inside, graph.count, graph.threads, self._flags_behind(starts, blocked),
                self._lengths[blocked, unturned],
            )
        )  # fmt: skip
        return None if found == FOREVER else int(found)

    def first_between(self, starts: int, *, blocked: int, events: int) -> tuple[int, Edge] | None:
        graph = self.graph
        return self._found_edge(
            *first_between(
                graph.first, graph.targets, graph.notes, graph.linked, self.marks,
                self._flags_behind(starts, blocked), starts, graph.barred(events),
            )
        )  # fmt: skip

    def fair_loop(self, query: LoopQuery) -> LoopAnswer:
        if not self.graph.linked:
            return LoopAnswer(None)
        between = self._flags_behind(query.after, query.unwanted) if query.after else None
        loop, rests_on = fair_loop_in(self, query, between)
        if loop is None:
            return LoopAnswer(None, rests_on)
        return LoopAnswer(FairLoop(self.path_to(loop[-1][1]), loop))

    @property
    def may_fail(self) -> bool:
        """Whether some state may have a failing step."""
        return bool(self.failures)

    def failing_labels(self, number: int) -> list[int]:
        """The labels of the steps that fail in an expanded state, made anew."""
        return self.found.failing_labels(number)

    def ordered(self) -> tuple[Sequence[int], StateGraph]:
        """The states by depth, then by words, and the graph in that order. Made once."""
        order = self.found.ordered()
        if order is None:
            return range(self.state_count), self.graph
        if self._ordered is None:
            self._ordered = order, self.graph.in_order(order)
        return self._ordered

    def shadows(self, curious: frozenset[int]) -> dict[int, int]:
        return self.found.shadows(self.product, curious)


@dataclass(frozen=True, slots=True)
class ReachedRegion:
    """A `BfsRegion`: `came_from` holds the state from which each was first reached, `numbers` are
    the states passed on from.
    """

    space: Exploration[StateStore]
    came_from: Array
    numbers: Array
    entered: Array

    def flags(self) -> Array:
        """A flag for each state, 1 for those passed on from."""
        flags = self.space.graph.arrays.filled("u1", self.space.graph.count)
        flag_numbers(self.numbers, self.space.marks, 0, flags)
        return flags

    @property
    def inside(self) -> Sequence[int]:
        return self.space.graph.arrays.listed(self.numbers)

    def first(self, wanted: int, unwanted: int) -> int | None:
        for numbers in (self.numbers, self.entered):
            place = first_among(numbers, self.space.marks, wanted | unwanted, wanted)
            if place >= 0:
                return int(numbers[place])
        return None

    def first_zero(self, flags: Sequence[int] | Flags) -> int | None:
        return next((number for number in self.inside if not flags[number]), None)

    def path_to(self, number: int) -> tuple[int, Path]:
        path: Path = []
        while self.came_from[number] != START:
            before = int(self.came_from[number])
            path.append((self.space.label_between(before, number), number))
            number = before
        return number, path[::-1]

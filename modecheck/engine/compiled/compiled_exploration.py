"""An exploration by the compiled engine, as the checks ask for it."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field

import numpy as np

from modecheck.engine.compiled.code_notes import shadows_of
from modecheck.engine.compiled.compiled_fair_loops import fair_search, loop_in
from modecheck.engine.compiled.graph import Array, CompiledGraph, States
from modecheck.engine.compiled.graph_kernels import (
    START,
    UNREACHED,
    spread_forwards,
)
from modecheck.engine.compiled.growing_arrays import Words
from modecheck.engine.compiled.transition_kernels import (
    first_between,
    first_change,
    first_loss,
    longest_path,
)
from modecheck.engine.encounters import Observed
from modecheck.engine.plain import State
from modecheck.engine.space import (
    INITIAL,
    Edge,
    FairLoop,
    LoopAnswer,
    LoopQuery,
    Occurrence,
    Path,
    Sighting,
)
from modecheck.engine.system_actions import system_actions
from modecheck.product.ir import Product

TOGETHER = 1 << 20
"""States whose marks are sorted at a time: sorting all at once would take as much memory again."""
FEW = 64
"""Values that are found sooner one by one than all at once by sorting with places."""


@dataclass(slots=True)
class CompiledExploration:
    """Everything reachable, or what was reached before a bound was hit."""

    product: Product
    found: States
    marks: Words
    transitions: int
    observed: Observed
    failures: dict[tuple[str, str], Sighting]
    graph: CompiledGraph
    stopped_by: str = ""
    _records: Words = field(init=False)
    _combinations: dict[int, Occurrence] | None = None
    _occupied: list[set[int]] | None = None

    def __post_init__(self) -> None:
        self._records = self.found.records()

    @property
    def occupied(self) -> list[set[int]]:
        """For each chip the leaves that it is ever in. Looked for once, when it is asked for."""
        if self._occupied is None:
            self._occupied = occupied_leaves(self.product, self.found)
        return self._occupied

    @property
    def layers(self) -> list[int]:
        """How many states there are of each depth."""
        return self.found.layers

    @property
    def complete(self) -> bool:
        """Whether every reachable state was expanded."""
        return not self.stopped_by

    @property
    def state_count(self) -> int:
        """States found."""
        return self.found.count

    @property
    def expanded(self) -> int:
        """How many states, the first ones, were expanded."""
        return self.found.expanded

    @property
    def depth(self) -> int:
        """The greatest distance from the initial state."""
        return len(self.layers) - 1

    def state(self, number: int) -> State:
        """The values of a state's fields."""
        return self.found.values(number)

    def states_at(self, numbers: Sequence[int]) -> list[State]:
        """The values of the fields of some states."""
        return self.found.values_of(numbers)

    def column(self, field: int, count: int) -> list[int]:
        """The values of one field in the first `count` states."""
        return self.found.column(field)[:count].tolist()  # type: ignore[no-any-return]

    def is_expanded(self, number: int) -> bool:
        """Whether the transitions of a state are known."""
        return number < self.expanded

    def depth_of(self, number: int) -> int:
        """The breadth-first distance of a state from the initial state."""
        return self.found.depth_of(number)

    def mark(self, condition: str) -> int:
        """The bit of a condition in `marks`."""
        return 1 << list(self.product.conditions).index(condition)

    def marks_at(self, number: int) -> int:
        """The bits of all conditions that hold in a state."""
        return int(self.marks[number])

    def combinations(self) -> dict[int, Occurrence]:
        """Every set of marks that some state has."""
        if self._combinations is None:
            self._combinations = combinations_of(self.marks)
        return self._combinations

    def _select(self, wanted: int, unwanted: int, end: int) -> Iterator[Array]:
        """The first `end` states with all wanted marks and no unwanted one, some at a time."""
        both, needed = np.uint64(wanted | unwanted), np.uint64(wanted)
        for begin in range(0, end, TOGETHER):
            part = self.marks[begin : min(begin + TOGETHER, end)]
            yield np.flatnonzero(part & both == needed) + begin

    def _with_some(self, marks: int) -> Array:
        """The states with one of these marks."""
        wanted, parts = np.uint64(marks), []
        for begin in range(0, self.marks.size, TOGETHER):
            part = self.marks[begin : begin + TOGETHER]
            parts.append(np.flatnonzero(part & wanted) + begin)
        return np.concatenate(parts)

    def numbered(self, wanted: int, unwanted: int = 0) -> Iterator[int]:
        """States with all wanted marks and no unwanted one, shallowest first."""
        for numbers in self._select(wanted, unwanted, self.state_count):
            yield from numbers.tolist()

    def quiescent(self, unwanted: int) -> Iterator[int]:
        """Expanded states without unwanted marks in which no chip and no link can step."""
        for numbers in self._select(0, unwanted, self.expanded):
            yield from numbers[self.graph.is_quiescent[numbers] != 0].tolist()

    def _step_to(self, before: int, number: int) -> int:
        """The label of the first step from a state to another."""
        if before < self.graph.linked:
            steps = self.graph.transitions_of(before)
            return min(label for label, target, _, _ in steps if target == number)
        width = self.found.width
        goal = tuple(self.found.words[number * width : (number + 1) * width].tolist())
        made = self.found.steps(before, self._records)
        return min(label for label, after, _, _ in made if after == goal)

    def path_to(self, number: int) -> Path:
        """A shortest path from the initial state: of all, by the first states and labels."""
        path: Path = []
        depth = self.depth_of(number)
        while number != INITIAL:
            before = self._before(number, depth)
            path.append((self._step_to(before, number), number))
            number, depth = before, depth - 1
        return path[::-1]

    def _before(self, number: int, depth: int) -> int:
        """The first state of the layer above that leads to a state."""
        if depth < len(self.layers) and self.found.first_of(depth) <= self.graph.linked:
            into, sources, _ = self.graph.transposed()
            if into[number] < into[number + 1]:
                return int(sources[into[number]])
        return self.found.before(number, depth, self._records)

    def edges_from(self, number: int) -> list[Edge]:
        """The transitions of a state, in the compiled function's order."""
        if number >= self.expanded:
            return []
        if number < self.graph.linked:
            known = self.graph.transitions_of(number)
        else:
            steps = self.found.steps(number, self._records)
            known = [
                (label, self._target(number, after), moved, events)
                for label, after, moved, events in steps
                if after is not None
            ]
        # Above the chips' bits stands the turn, where states are exchanged.
        count = len(self.product.chips)
        own = (1 << count) - 1
        return [
            Edge(label, target, moved & own, events, moved >> count)
            for label, target, moved, events in known
        ]

    def _target(self, number: int, words: tuple[int, ...]) -> int:
        """The number of the state behind a transition from a state."""
        depth = self.depth_of(number) + 1
        found = (self.found.number_in(layer, words) for layer in range(depth, -1, -1))
        return next(target for target in found if target is not None)

    def first_loss(self, marks: int, *, without_events: int) -> tuple[int, Edge] | None:
        """The first transition that loses one of these marks without one of the events."""
        graph = self.graph
        number, edge = first_loss(
            graph.first,
            graph.targets,
            graph.notes,
            graph.linked,
            self.marks,
            np.uint64(marks),
            graph.barred(without_events),
        )
        if number < 0:
            return None
        return int(number), self.edges_from(int(number))[int(edge) - int(graph.first[number])]

    def first_change(self, before: int, after: int) -> tuple[int, Edge] | None:
        """The first transition from a state with one mark to a state with the other."""
        graph = self.graph
        marks = np.uint64(before), np.uint64(after)
        number, edge = first_change(graph.first, graph.targets, graph.linked, self.marks, *marks)
        if number < 0:
            return None
        return int(number), self.edges_from(int(number))[int(edge) - int(graph.first[number])]

    def can_reach(
        self, marks: int, *, lacking: int = 0, without_events: int = 0, past_failures: bool = True
    ) -> Sequence[int]:
        """For each state 1 if a path without these events leads to a state that is asked for."""
        some, all_ = np.uint64(marks), np.uint64(lacking)
        goals = np.flatnonzero((self.marks & some != 0) | (self.marks & all_ != all_))
        found = self.graph.leading_to(goals, without_events, past_failures=past_failures)
        return found.tobytes()

    def can_reach_states(self, numbers: Iterable[int]) -> Sequence[int]:
        """For each state 1 if a path leads to one of these states."""
        goals = np.fromiter(numbers, np.int64)
        return self.graph.leading_to(goals, 0).tobytes()

    def stuck(self, chips: int) -> Iterator[tuple[int, int]]:
        """States from which some of these chips never move again, and the bits of those."""
        if not self.graph.linked:
            return iter(())
        unmoving = np.uint64(chips) & ~self.graph.can_still_move()
        numbers = np.flatnonzero(unmoving)
        return iter(zip(numbers.tolist(), unmoving[numbers].tolist(), strict=True))

    def bfs(self, starts: int, *, blocked: int) -> CompiledSpread:
        """Spread from all states with a mark of `starts` through states without blocked marks."""
        first = self._with_some(starts)
        return self._spread(first, np.zeros(first.size, np.int64), blocked, enters=True)

    def spread_from_initial(self, starts: int, *, blocked: int) -> CompiledSpread:
        """The same, nearest counted from the initial state; blocked states are not entered."""
        first = self._with_some(starts)
        depths = np.searchsorted(np.cumsum(self.layers), first, side="right")
        return self._spread(first, depths.astype(np.int64), blocked, enters=False)

    def _spread(
        self, starts: Array, depths: Array, blocked: int, *, enters: bool
    ) -> CompiledSpread:
        came_from = np.full(self.state_count, UNREACHED, np.uint32)
        inside = np.empty(self.state_count, np.uint32)
        entered = np.empty(self.state_count if blocked else 1, np.uint32)
        count, entries = spread_forwards(
            self.graph.first,
            self.graph.targets,
            self.graph.linked,
            self.marks,
            starts,
            depths,
            np.uint64(blocked),
            enters,
            came_from,
            inside,
            entered,
        )
        return CompiledSpread(self, came_from, inside[:count], entered[:entries])

    def label_between(self, before: int, number: int) -> int:
        """The label of the first step that leads from one state to another."""
        return self._step_to(before, number)

    def longest(self, starts: int, *, blocked: int, unturned: int = 0) -> int | None:
        """The most steps of chips and links after such a state, until a blocked one is entered."""
        graph, count = self.graph, self.state_count
        inside = self._between(starts, blocked) & (self.marks & np.uint64(blocked) == 0)
        if not graph.linked or inside[graph.unknown()].any():
            return None
        by_system = np.array(system_actions(self.product), np.uint8)[graph.labels.astype(np.int64)]
        turns = graph.moved >> np.uint64(len(self.product.chips))
        stays = (turns == np.uint64(unturned)).astype(np.uint8)
        found = longest_path(
            graph.first, graph.targets, graph.notes, inside, by_system, stays,
            np.zeros(count, np.int64), np.zeros(count, np.int64), np.empty(count, np.uint32),
        )  # fmt: skip
        return None if found < 0 else int(found)

    def _between(self, starts: int, blocked: int) -> Array:
        """A flag for each state that a spread passes on from."""
        inside = np.zeros(self.state_count, bool)
        inside[self.bfs(starts, blocked=blocked).numbers] = True
        return inside

    def first_between(self, starts: int, *, blocked: int, events: int) -> tuple[int, Edge] | None:
        """The first transition with one of these events on the way to a blocked state."""
        graph = self.graph
        wanted = graph.barred(events)
        number, edge = first_between(
            graph.first, graph.targets, graph.notes, graph.linked, self.marks,
            self._between(starts, blocked), np.uint64(starts), wanted,
        )  # fmt: skip
        if number < 0:
            return None
        return int(number), self.edges_from(int(number))[int(edge) - int(graph.first[number])]

    def fair_loop(self, query: LoopQuery) -> LoopAnswer:
        """A loop that a device can go round for ever although it is fair."""
        if not self.graph.linked:
            return LoopAnswer(None)
        search = fair_search(self.product, self.graph, self.marks, query)
        if query.after:
            search.inside &= self._between(query.after, query.unwanted)
        component, rests_on = search.component()
        if component is None:
            return LoopAnswer(None, rests_on)
        loop = loop_in(component, search.query)
        return LoopAnswer(FairLoop(self.path_to(loop[-1][1]), loop))

    def shadows(self, curious: frozenset[int]) -> dict[int, int]:
        """For rules that are never taken although their own guards hold somewhere, the earlier rule
        that is taken instead, or else `BLOCKED`, where their links are full.
        """
        return shadows_of(self.product, self.found, curious)


@dataclass(slots=True)
class CompiledSpread:
    """How each reached state was first reached: `came_from` holds the state before. `numbers` are
    the states passed on from, nearest first.
    """

    exploration: CompiledExploration
    came_from: Array
    numbers: Array
    _entered: Array

    @property
    def inside(self) -> Sequence[int]:
        """The states passed on from, nearest first."""
        return self.numbers.tolist()  # type: ignore[no-any-return]

    def first(self, wanted: int, unwanted: int) -> int | None:
        """The nearest state, inside or entered, with all wanted marks and no unwanted one."""
        both = np.uint64(wanted | unwanted)
        for numbers in (self.numbers, self._entered):
            fitting = self.exploration.marks[numbers] & both == np.uint64(wanted)
            if fitting.any():
                return int(numbers[int(np.argmax(fitting))])
        return None

    def path_to(self, number: int) -> tuple[int, Path]:
        """The start from which a state was reached, and a shortest path from there."""
        path: Path = []
        while self.came_from[number] != START:
            before = int(self.came_from[number])
            path.append((self.exploration.label_between(before, number), number))
            number = before
        return number, path[::-1]


def combinations_of(marks: Words) -> dict[int, Occurrence]:
    """Every set of marks with its first state and its count; there are few, whatever the states."""
    found: dict[int, Occurrence] = {}
    for begin in range(0, marks.size, TOGETHER):
        for own, number, count in _values_in(marks[begin : begin + TOGETHER]):
            known = found.get(own)
            first = begin + number if known is None else known.first
            found[own] = Occurrence(first, count + (known.count if known else 0))
    return found


def _values_in(part: Words) -> Iterator[tuple[int, int, int]]:
    """Each value with its first place and its count, least first."""
    values = np.unique(part)
    if values.size > FEW:
        found = np.unique(part, return_index=True, return_counts=True)
        yield from zip(*(column.tolist() for column in found), strict=True)
        return
    for value in values:
        same = part == value
        yield int(value), int(np.argmax(same)), int(np.count_nonzero(same))


def occupied_leaves(product: Product, states: States) -> list[set[int]]:
    """For each chip the leaves that it is ever in."""
    occupied = []
    for chip in product.chips:
        place = states.machine.layout.places[chip.state_field]
        if not place.bits:
            occupied.append({0})
            continue
        column = states.words[place.word :: states.width]
        leaves: set[int] = set()
        for begin in range(0, column.size, TOGETHER):
            part = column[begin : begin + TOGETHER] >> np.uint64(place.shift)
            leaves |= set(np.unique(part & np.uint64(place.mask)).tolist())
        occupied.append(leaves)
    return occupied

"""Breadth-first exploration of a product, and what it leaves behind for the checks.

States are numbered in the order in which they are found, so a state's number also orders it by
depth. The way back to the initial state through `parents` is a shortest one; among several, the
one whose steps come first in the interpreter's order (chips' own steps in document order, then
deliveries, then faults) from the earliest found state.
"""

from __future__ import annotations

from array import array
from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from functools import cache, partial
from typing import Protocol

from modecheck.engine.encounters import Observed
from modecheck.engine.fair_components import FairGraph, loop_in, nearest_component, set_numbers
from modecheck.engine.graph_searches import (
    BackwardReachability,
    PlainBfsRegion,
    PlainGraph,
    bfs,
    bfs_from_initial,
    longest_path,
)
from modecheck.engine.plain import Interpreter, State, Step
from modecheck.engine.space import (
    HALTED,
    INITIAL,
    Edge,
    FairLoop,
    Limits,
    LoopAnswer,
    LoopQuery,
    Occurrence,
    Path,
    Sighting,
)
from modecheck.engine.stopping import LimitReached, LimitWatch, noting_stops
from modecheck.engine.system_actions import Drives, system_actions
from modecheck.product.bit_packing import word_layout
from modecheck.product.ir import Product
from modecheck.product.state_layout import Layout, layout_of

REPORT_EVERY = 1024
"""Expanded states between two reports of progress: often enough for a display, cheap enough."""


class Reporter(Protocol):
    """Is told how far an exploration has come."""

    def progress(self, *, states: int, transitions: int, frontier: int, depth: int) -> None:
        """Called every `REPORT_EVERY` expanded states."""


@dataclass(frozen=True, slots=True)
class Silent:
    """Reports to nobody."""

    def progress(self, *, states: int, transitions: int, frontier: int, depth: int) -> None:
        pass


@dataclass(frozen=True, slots=True)
class TransitionNote:
    """What checks need of a transition: chips that moved and watched events, as bits. `permutation`
    tells how the state behind it was exchanged for its representative.
    """

    moved: int
    events: int
    permutation: int = 0


class Reduction(Protocol):
    """Takes some states for others, and leaves out steps that need not be looked at."""

    def of(self, state: State) -> tuple[State, int]:
        """The state that stands for a state, and a number that tells how."""

    def narrowed(self, state: State, steps: list[Step]) -> list[Step]:
        """The steps of a state that are to be followed."""


@dataclass(slots=True)
class Exploration:
    """Everything reachable, or what was reached before a bound was hit (`stopped_by` says which).

    Transitions lie one after the other: those of state `i` are numbers `first_edge[i]` to
    `first_edge[i + 1] - 1` in `targets`, `labels` and `notes_of`. `marks[i]` has a bit for each
    condition of the product that holds, in their order. `is_quiescent[i]` is 1 when no chip and
    no link keeps the device going, `failing[i]` when some step fails, `expanded` says how many
    states were expanded.
    """

    product: Product
    layout: Layout
    interpreter: Interpreter
    states: list[int] = field(default_factory=list)
    parents: array[int] = field(default_factory=lambda: array("l"))
    parent_labels: array[int] = field(default_factory=lambda: array("l"))
    layers: list[int] = field(default_factory=list)
    first_edge: array[int] = field(default_factory=lambda: array("l", [0]))
    targets: array[int] = field(default_factory=lambda: array("l"))
    labels: array[int] = field(default_factory=lambda: array("l"))
    notes_of: array[int] = field(default_factory=lambda: array("l"))
    notes: list[TransitionNote] = field(default_factory=list)
    marks: list[int] = field(default_factory=list)
    is_quiescent: bytearray = field(default_factory=bytearray)
    failing: bytearray = field(default_factory=bytearray)
    failures: dict[tuple[str, str], Sighting] = field(default_factory=dict)
    occupied: list[set[int]] = field(default_factory=list)
    stopped_by: str = ""

    _backward_reachability: BackwardReachability | None = None
    _order: tuple[list[int], list[int]] | None = None

    @property
    def complete(self) -> bool:
        """Whether every reachable state was expanded."""
        return not self.stopped_by

    @property
    def observed(self) -> Observed:
        """Rules taken, and which event met which chip in which leaf."""
        return self.interpreter.observed

    @property
    def state_count(self) -> int:
        """States found."""
        return len(self.states)

    @property
    def expanded(self) -> int:
        """How many states, the first ones, were expanded."""
        return len(self.first_edge) - 1

    @property
    def transitions(self) -> int:
        """Distinct triples of state, label and next state."""
        return len(self.targets)

    @property
    def depth(self) -> int:
        """The greatest distance from the initial state."""
        return len(self.layers) - 1

    @property
    def graph(self) -> PlainGraph:
        return PlainGraph(len(self.states), self.first_edge, self.targets, self.labels)

    @property
    def backward_reachability(self) -> BackwardReachability:
        """The transitions, transposed; made once."""
        if self._backward_reachability is None:
            failing = [number for number, fails in enumerate(self.failing) if fails]
            self._backward_reachability = BackwardReachability(
                self.graph, [*failing, *self.unexpanded]
            )
        return self._backward_reachability

    @property
    def unexpanded(self) -> range:
        """The states whose steps are not known."""
        return range(self.expanded, len(self.states))

    def is_expanded(self, number: int) -> bool:
        """Whether the transitions of a state are known."""
        return number < self.expanded

    def depth_of(self, number: int) -> int:
        """The breadth-first distance of a state from the initial state."""
        depth, seen = 0, self.layers[0]
        while number >= seen:
            depth += 1
            seen += self.layers[depth]
        return depth

    def state(self, number: int) -> State:
        """The values of a state's fields."""
        return self.layout.unpack(self.states[number])

    def states_at(self, numbers: Sequence[int]) -> list[State]:
        """The values of the fields of some states."""
        return [self.state(number) for number in numbers]

    def column(self, field: int, count: int) -> list[int]:
        """The values of one field in the first `count` states."""
        return [self.layout.unpack(packed)[field] for packed in self.states[:count]]

    def mark(self, condition: str) -> int:
        """The bit of a condition in `marks`."""
        return 1 << list(self.product.conditions).index(condition)

    def marks_at(self, number: int) -> int:
        """The bits of all conditions that hold in a state."""
        return self.marks[number]

    def combinations(self) -> dict[int, Occurrence]:
        """Every set of marks that some state has."""
        found: dict[int, Occurrence] = {}
        counts = Counter(self.marks)
        for number, marks in enumerate(self.marks):
            if marks not in found:
                found[marks] = Occurrence(number, counts[marks])
        return found

    def numbered(self, wanted: int, unwanted: int = 0) -> Iterator[int]:
        """States with all wanted marks and no unwanted one, shallowest first."""
        both = wanted | unwanted
        return (number for number, marks in enumerate(self.marks) if marks & both == wanted)

    def quiescent(self, unwanted: int) -> Iterator[int]:
        """Expanded states without unwanted marks in which no chip and no link can step."""
        states = range(self.expanded)
        return (n for n in states if self.is_quiescent[n] and not self.marks[n] & unwanted)

    def path_to(self, number: int) -> Path:
        """A shortest path from the initial state."""
        path = []
        while number != INITIAL:
            path.append((self.parent_labels[number], number))
            number = self.parents[number]
        return path[::-1]

    def _edge(self, edge: int) -> Edge:
        note = self.notes[self.notes_of[edge]]
        return Edge(
            self.labels[edge], self.targets[edge], note.moved, note.events, note.permutation
        )

    def edges_from(self, number: int) -> list[Edge]:
        """The transitions of a state, in the interpreter's order."""
        return [self._edge(edge) for edge in self.graph.edges(number)]

    def first_loss(self, marks: int, *, without_events: int) -> tuple[int, Edge] | None:
        """The first transition that loses one of these marks without one of the events."""
        for number in range(self.expanded):
            before = self.marks[number] & marks
            for edge in self.graph.edges(number) if before else ():
                events = self.notes[self.notes_of[edge]].events
                if before & ~self.marks[self.targets[edge]] and not events & without_events:
                    return number, self._edge(edge)
        return None

    def first_change(self, before: int, after: int) -> tuple[int, Edge] | None:
        """The first transition from a state with one mark to a state with the other."""
        for number in range(self.expanded):
            for edge in self.graph.edges(number) if self.marks[number] & before else ():
                if self.marks[self.targets[edge]] & after:
                    return number, self._edge(edge)
        return None

    def can_reach(
        self, marks: int, *, lacking: int = 0, without_events: int = 0, past_failures: bool = True
    ) -> bytearray:
        """For each state 1 if a path without these events leads to a state that is asked for."""
        goals = (n for n, own in enumerate(self.marks) if own & marks or lacking & ~own)
        barred = [bool(note.events & without_events) for note in self.notes]
        unknown = self.backward_reachability.unknown if past_failures else self.unexpanded
        passing = lambda edge: not barred[self.notes_of[edge]]  # noqa: E731
        return self.backward_reachability.leading_to([*goals, *unknown], passing)

    def can_reach_states(self, numbers: Iterable[int]) -> bytearray:
        """For each state 1 if a path leads to one of these states."""
        return self.backward_reachability.leading_to(
            [*numbers, *self.backward_reachability.unknown]
        )

    def stuck(self, chips: int) -> Iterator[tuple[int, int]]:
        """States from which some of these chips never move again, and the bits of those."""
        everybody = (1 << len(self.product.chips)) - 1
        can_still_move = self.backward_reachability.can_still_move(
            lambda edge: self.notes[self.notes_of[edge]].moved, everybody
        )
        return ((n, chips & ~mask) for n, mask in enumerate(can_still_move) if chips & ~mask)

    def bfs(self, starts: int, *, blocked: int) -> PlainBfsRegion:
        """Spread from all states with a mark of `starts` through states without blocked marks."""
        first = (number for number, marks in enumerate(self.marks) if marks & starts)
        return bfs(self.graph, self.marks, first, blocked)

    def spread_from_initial(self, starts: int, *, blocked: int) -> PlainBfsRegion:
        """The same, nearest counted from the initial state; blocked states are not entered."""
        first = (number for number, marks in enumerate(self.marks) if marks & starts)
        return bfs_from_initial(self.graph, self.marks, first, blocked, self.depth_of)

    def longest(self, starts: int, *, blocked: int, unturned: int = 0) -> int | None:
        """The most steps of chips and links after such a state, until a blocked one is entered."""
        by_system = system_actions(self.product)
        between = self.bfs(starts, blocked=blocked).inside
        inside = {n for n in between if not self.marks[n] & blocked}
        if any(n >= self.expanded or self.failing[n] for n in inside):
            return None

        def leads_on(edge: int, number: int) -> bool:
            in_place = self.notes[self.notes_of[edge]].permutation == unturned
            stays = in_place and self.targets[edge] == number
            return by_system[self.labels[edge]] and not stays

        following = {
            n: [self.targets[e] for e in self.graph.edges(n) if leads_on(e, n)] for n in inside
        }
        return longest_path(following)

    def first_between(self, starts: int, *, blocked: int, events: int) -> tuple[int, Edge] | None:
        """The first transition with one of these events on the way to a blocked state."""
        for number in sorted(self.bfs(starts, blocked=blocked).inside):
            for edge in self.edges_from(number):
                stays = self.marks[number] & starts and self.marks[edge.target] & starts
                if edge.events & events and not stays:
                    return number, edge
        return None

    def fair_loop(self, query: LoopQuery) -> LoopAnswer:
        """A loop that a device can go round for ever although it is fair.

        Which of many loops is told depends on an order of states and steps. It is that of the
        compiled engine: by depth, then by words; steps by label, then by target.
        """
        both = query.wanted | query.unwanted
        region = {
            number
            for number in range(self.expanded)
            if self.marks[number] & both == query.wanted
            and not self.failing[number]
            and not self._rests(query.restless, number)
        }
        if query.after:
            region &= set(self.bfs(query.after, blocked=query.unwanted).inside)
        ordered, depths = self._ordered()
        place_of = {number: place for place, number in enumerate(ordered)}
        edges = partial(self._edges_for_loops, query, system_actions(self.product), place_of)
        graph = FairGraph(
            edges=cache(lambda place: edges(ordered[place])),
            marks=[self._marks_in_loops(query, number) for number in ordered],
            fair=self.product.fair,
            set_of_label=set_numbers(self.product.fair, len(self.product.labels)),
        )
        if query.timeless:
            query = replace(query, visits=(*query.visits, HALTED))
        component, rests_on = nearest_component(graph, {place_of[n] for n in region}, query)
        if component is None:
            return LoopAnswer(None, rests_on)
        loop = [(label, ordered[n]) for label, n in loop_in(graph, component, query, depths)]
        return LoopAnswer(FairLoop(self.path_to(loop[-1][1]), loop))

    def _marks_in_loops(self, query: LoopQuery, number: int) -> int:
        """The marks of a state, and whether time cannot go on in it, if that is asked."""
        if not query.timeless or number >= self.expanded:
            return self.marks[number]
        labels = [self.labels[edge] for edge in self.graph.edges(number)]
        halted = self.interpreter.time_waits(self.state(number), labels)
        return self.marks[number] | HALTED * halted

    def _ordered(self) -> tuple[list[int], list[int]]:
        """The states by depth, then by words; and the depth of each in that order. Made once."""
        if self._order is not None:
            return self._order
        words = word_layout(self.product.fields)
        ordered: list[int] = []
        depths: list[int] = []
        for depth, size in enumerate(self.layers):
            layer = range(len(ordered), len(ordered) + size)
            ordered += sorted(layer, key=lambda number: words.pack(self.state(number)))
            depths += [depth] * size
        self._order = ordered, depths
        return self._order

    def _rests(self, chip: int, number: int) -> bool:
        """Whether a chip, if it is one, rests in a state."""
        if chip < 0:
            return False
        form = self.product.chips[chip]
        return form.rests[self.state(number)[form.state_field]]

    def _edges_for_loops(
        self, query: LoopQuery, by_system: Sequence[bool], place_of: dict[int, int], number: int
    ) -> list[tuple[int, int, bool, bool]]:
        """Label, place of the target, whether a loop may take it, and whether a chip moves that has
        to, of each transition of a state, in order.
        """
        found = []
        for edge in self.graph.edges(number):
            label, target = self.labels[edge], self.targets[edge]
            gained = self.marks[target] & ~self.marks[number] & query.without_gains
            note = self.notes[self.notes_of[edge]]
            allowed = query.allows(label, note.moved, note.events)
            idle = query.system_only and not by_system[label]
            idle |= query.only_changes and target == number
            usable = allowed and not (gained or idle)
            found.append((label, place_of[target], usable, bool(note.moved & query.moving)))
        return sorted(found)

    def shadows(self, curious: frozenset[int]) -> dict[int, int]:
        """For rules that are never taken although their own guards hold somewhere, the earlier rule
        that is taken instead, or else `BLOCKED`, where their links are full.
        """
        observed = Observed(curious=curious)
        interpreter = Interpreter(self.product, observed)
        for number in range(self.expanded):
            interpreter.steps(self.state(number))
        return observed.shadowed


def explore(
    product: Product,
    *,
    limits: Limits | None = None,
    max_states: int | None = None,
    reporter: Reporter | None = None,
    reduction: Reduction | None = None,
) -> Exploration:
    """Explore a product breadth first with the plain interpreter; with `reduction`, a part of it
    that stands for the whole.

    Stops with `stopped_by` set when a limit is reached (`max_states` is short for a limit of
    states), on interruption, or when memory runs out; what was found so far is then reported.
    """
    bounds = limits or Limits(states=max_states)
    return _Explorer(product, bounds, reporter or Silent(), reduction).run()


class _Explorer:
    def __init__(
        self, product: Product, limits: Limits, reporter: Reporter, reduction: Reduction | None
    ) -> None:
        layout = layout_of(product.fields)
        self._found = Exploration(product, layout, Interpreter(product))
        self._numbers: dict[int, int] = {}
        self._notes: dict[tuple[int, int, int], int] = {}
        self._reduction = reduction
        self._limits = limits
        self._watch = LimitWatch(limits)
        self._reporter = reporter
        self._conditions = list(product.conditions.values())
        self._state_fields = [chip.state_field for chip in product.chips]
        self._found.occupied = [set() for _ in product.chips]
        self._by_system = Drives(product)
        kinds = enumerate(label.kind for label in product.labels)
        self._cut_labels = {number for number, kind in kinds if kind == "cut_in_rule"}

    def run(self) -> Exploration:
        found = self._found
        with noting_stops(found):
            self._number(found.product.initial, -1, -1)
            self._levels()
        if found.stopped_by:
            self._cut_loose_ends()
        return found

    def _cut_loose_ends(self) -> None:
        """Drop what was half done: transitions of the state at hand, and a state half noted."""
        found = self._found
        for of_edges in (found.targets, found.labels, found.notes_of):
            del of_edges[found.first_edge[-1] :]
        known = len(found.failing)
        for of_states in (
            found.states,
            found.parents,
            found.parent_labels,
            found.marks,
            found.is_quiescent,
        ):
            del of_states[known:]
        if known > sum(found.layers):
            found.layers.append(known - sum(found.layers))

    def _levels(self) -> None:
        found, start = self._found, 0
        while start < len(found.states):
            end = len(found.states)
            found.layers.append(end - start)
            for number in range(start, end):
                self._expand(number)
                if number % REPORT_EVERY == 0:
                    self._report(number)
                    self._watch.look()
            start = end

    def _report(self, number: int) -> None:
        found = self._found
        self._reporter.progress(
            states=len(found.states),
            transitions=found.transitions,
            frontier=len(found.states) - number,
            depth=found.depth,
        )

    def _expand(self, number: int) -> None:
        found = self._found
        quiescent, state = True, found.state(number)
        cuts: set[tuple[State, int, int, int]] = set()
        for step in self._steps(state):
            quiescent = quiescent and not self._by_system.keeps_going(step.label, state, step.after)
            if step.after is None:
                self._note_failure(number, step)
                continue
            if step.label in self._cut_labels:
                # Two steps that begin differently can be torn by the same cut: one transition.
                torn = (step.after, step.label, step.moved, step.events)
                if torn in cuts:
                    continue
                cuts.add(torn)
            after, permutation = (
                (step.after, 0) if self._reduction is None else self._reduction.of(step.after)
            )
            found.targets.append(self._number(after, number, step.label))
            found.labels.append(step.label)
            found.notes_of.append(self._note(step, permutation))
        found.is_quiescent[number] = quiescent
        found.first_edge.append(len(found.targets))

    def _steps(self, state: State) -> list[Step]:
        steps = self._found.interpreter.steps(state)
        return steps if self._reduction is None else self._reduction.narrowed(state, steps)

    def _note(self, step: Step, permutation: int) -> int:
        key = (step.moved, step.events, permutation)
        if key not in self._notes:
            self._notes[key] = len(self._notes)
            self._found.notes.append(TransitionNote(*key))
        return self._notes[key]

    def _note_failure(self, number: int, step: Step) -> None:
        self._found.failing[number] = 1
        for failure in step.failures:
            key = (failure.code, failure.subject)
            sighting = self._found.failures.get(key)
            if sighting is None:
                self._found.failures[key] = Sighting(failure, number, step.label)
                continue
            sighting.count += 1
            if failure != sighting.failure and failure not in sighting.others:
                sighting.others.append(failure)

    def _number(self, state: State, parent: int, label: int) -> int:
        """The number of a state, new or not."""
        found = self._found
        packed = found.layout.pack(state)
        known = self._numbers.get(packed)
        if known is not None:
            return known
        number = len(found.states)
        if self._limits.states is not None and number >= self._limits.states:
            raise LimitReached(self._limits.reached_states)
        self._numbers[packed] = number
        found.states.append(packed)
        found.parents.append(parent)
        found.parent_labels.append(label)
        found.marks.append(self._marks(state))
        found.is_quiescent.append(0)
        found.failing.append(0)
        for occupied, where in zip(found.occupied, self._state_fields, strict=True):
            occupied.add(state[where])
        return number

    def _marks(self, state: State) -> int:
        marks = 0
        for bit, condition in enumerate(self._conditions):
            if self._found.interpreter.condition(condition, state):
                marks |= 1 << bit
        return marks

"""Breadth-first exploration of a product by the plain interpreter.

States are numbered in the order in which they are found, so a state's number also orders it by
depth; those in which the device may begin come first. The way back to such a state through
`parents` is a shortest one; among several, the
one whose steps come first in the interpreter's order (chips' own steps in document order, then
deliveries, then faults) from the earliest found state.
"""

from __future__ import annotations

from array import array
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Protocol

from modecheck.engine.contract.encounters import Observed
from modecheck.engine.contract.space import Limits, Sighting
from modecheck.engine.contract.stopping import LimitReached, LimitWatch, noting_stops
from modecheck.engine.reference.plain import Interpreter, State, Step
from modecheck.engine.reference.system_actions import Drives
from modecheck.engine.search.arrays import SmallArrays
from modecheck.engine.search.explored_space import Exploration
from modecheck.engine.search.state_graph import StateGraph
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


class Reduction(Protocol):
    """Takes some states for others, and leaves out steps that need not be looked at."""

    def of(self, state: State) -> tuple[State, int]:
        """The state that stands for a state, and a number that tells how."""

    def narrowed(self, state: State, steps: list[Step]) -> list[Step]:
        """The steps of a state that are to be followed."""


@dataclass(slots=True)
class PlainStates:
    """The states, packed; for each the one from which it was found first, and by which label."""

    interpreter: Interpreter
    layout: Layout
    packed: list[int] = field(default_factory=list)
    parents: list[tuple[int, int]] = field(default_factory=list)
    layers: list[int] = field(default_factory=list)
    expanded: int = 0
    _order: list[int] | None = None

    def values(self, number: int) -> State:
        """The values of a state's fields."""
        return self.layout.unpack(self.packed[number])

    def values_of(self, numbers: Sequence[int]) -> list[State]:
        """The values of the fields of some states."""
        return [self.values(number) for number in numbers]

    def column(self, field: int) -> list[int]:
        """The values of one field in all states."""
        form, shift = self.interpreter.product.fields[field], self.layout.shifts[field]
        mask, low = (1 << form.bits) - 1, form.low
        return [(packed >> shift & mask) + low for packed in self.packed]

    def values_in(self, field: int) -> set[int]:
        """The values that a field has in some state."""
        return set(self.column(field))

    def step_into(self, graph: StateGraph, number: int) -> tuple[int, int]:  # noqa: ARG002 - asked
        """The state from which a state was found first, and the label of the step."""
        return self.parents[number]

    def chosen(self, labels: list[int]) -> int:
        """The label of the first step."""
        return labels[0]

    def remade(self, number: int) -> list[tuple[int, int, int, int]]:
        """Not asked: all transitions are kept."""
        raise AssertionError(f"the transitions of state {number} are kept")

    def failing_labels(self, number: int) -> list[int]:
        """The labels of the steps that fail in a state."""
        steps = self.interpreter.steps(self.values(number))
        return [step.label for step in steps if step.after is None]

    def ordered(self) -> list[int]:
        """The states by depth, then by words. Found once."""
        if self._order is None:
            words = word_layout(self.interpreter.product.fields)
            order: list[int] = []
            for size in self.layers:
                layer = range(len(order), len(order) + size)
                order += sorted(layer, key=lambda number: words.pack(self.values(number)))
            self._order = order
        return self._order

    def shadows(self, product: Product, curious: frozenset[int]) -> dict[int, int]:
        """Step through all states once more, and look at the rules that lost."""
        observed = Observed(curious=curious)
        interpreter = Interpreter(product, observed)
        for number in range(self.expanded):
            interpreter.steps(self.values(number))
        return observed.shadowed


PlainExploration = Exploration[PlainStates]


def explore(
    product: Product,
    *,
    limits: Limits | None = None,
    max_states: int | None = None,
    reporter: Reporter | None = None,
    reduction: Reduction | None = None,
) -> PlainExploration:
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
        self._states = PlainStates(Interpreter(product), layout_of(product.fields))
        self._graph = _growing_graph()
        self._marks: list[int] = []
        self._numbers: dict[int, int] = {}
        self._notes: dict[tuple[int, int, int, int], int] = {}
        self._reduction = reduction
        self._limits = limits
        self._watch = LimitWatch(limits)
        self._reporter = reporter
        self._conditions = list(product.conditions.values())
        self._by_system = Drives(product)
        kinds = enumerate(label.kind for label in product.labels)
        self._cut_labels = {number for number, kind in kinds if kind == "cut_in_rule"}
        observed = self._states.interpreter.observed
        self._found = Exploration(product, self._states, self._graph, self._marks, observed)

    def run(self) -> PlainExploration:
        found = self._found
        with noting_stops(found):
            for state in found.product.first_states:
                # What stands for a start is a start, too: starts are exchanged for one another.
                own = state if self._reduction is None else self._reduction.of(state)[0]
                self._number(own, -1, -1)
            self._levels()
        if found.stopped_by:
            self._cut_loose_ends()
        self._states.expanded = self._graph.linked = len(self._graph.first) - 1
        found.transitions = len(self._graph.targets)
        return found

    def _cut_loose_ends(self) -> None:
        """Drop what was half done: transitions of the state at hand, and a state half noted."""
        graph, states = self._graph, self._states
        for of_edges in (graph.targets, graph.notes):
            del of_edges[graph.first[-1] :]
        known = len(graph.failing)
        for of_states in (states.packed, states.parents, self._marks, graph.is_quiescent):
            del of_states[known:]
        if known > sum(states.layers):
            states.layers.append(known - sum(states.layers))

    def _levels(self) -> None:
        states, start = self._states, 0
        while start < len(states.packed):
            end = len(states.packed)
            states.layers.append(end - start)
            for number in range(start, end):
                self._expand(number)
                if number % REPORT_EVERY == 0:
                    self._report(number)
                    self._watch.look()
            start = end

    def _report(self, number: int) -> None:
        self._reporter.progress(
            states=len(self._states.packed),
            transitions=len(self._graph.targets),
            frontier=len(self._states.packed) - number,
            depth=self._found.depth,
        )

    def _expand(self, number: int) -> None:
        graph, state = self._graph, self._states.values(number)
        quiescent = True
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
            graph.targets.append(self._number(after, number, step.label))
            graph.notes.append(self._note(step, permutation))
        graph.is_quiescent[number] = quiescent
        graph.first.append(len(graph.targets))

    def _steps(self, state: State) -> list[Step]:
        steps = self._states.interpreter.steps(state)
        return steps if self._reduction is None else self._reduction.narrowed(state, steps)

    def _note(self, step: Step, permutation: int) -> int:
        key = (step.label, step.moved, step.events, permutation)
        known = self._notes.get(key)
        if known is None:
            known = self._notes[key] = len(self._notes)
            graph, chips = self._graph, len(self._found.product.chips)
            graph.labels.append(step.label)
            graph.moved.append(step.moved | permutation << chips)
            graph.events.append(step.events)
        return known

    def _note_failure(self, number: int, step: Step) -> None:
        self._graph.failing[number] = 1
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
        states, graph = self._states, self._graph
        packed = states.layout.pack(state)
        known = self._numbers.get(packed)
        if known is not None:
            return known
        number = len(states.packed)
        if self._limits.states is not None and number >= self._limits.states:
            raise LimitReached(self._limits.reached_states)
        self._numbers[packed] = number
        states.packed.append(packed)
        states.parents.append((parent, label))
        self._marks.append(self._marks_of(state))
        graph.is_quiescent.append(0)
        graph.failing.append(0)
        return number

    def _marks_of(self, state: State) -> int:
        marks = 0
        for bit, condition in enumerate(self._conditions):
            if self._states.interpreter.condition(condition, state):
                marks |= 1 << bit
        return marks


def _growing_graph() -> StateGraph:
    return StateGraph(
        arrays=SmallArrays(),
        first=array("l", [0]),
        targets=array("l"),
        notes=array("l"),
        labels=[],
        moved=[],
        events=[],
        is_quiescent=bytearray(),
        failing=bytearray(),
        linked=0,
    )

"""Breadth-first exploration of a product, and what it leaves behind for the checks.

States are numbered in the order in which they are found, so a state's number also orders it by
depth. The way back to the initial state through `parents` is a shortest one; among several, the
one whose steps come first in the interpreter's order (chips' own steps in document order, then
deliveries, then faults) from the earliest found state.
"""

from __future__ import annotations

from array import array
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Protocol

from modecheck.engine.plain import Interpreter, Observed, State, Step
from modecheck.product.form import Failure, Label, Product
from modecheck.product.layout import Layout, layout_of

REPORT_EVERY = 1024
"""Expanded states between two reports of progress: often enough for a display, cheap enough."""

INITIAL = 0
"""The number of the initial state."""


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
class Note:
    """What checks need of a transition: chips that moved and watched events, as bits."""

    moved: int
    events: int


@dataclass(slots=True)
class Sighting:
    """A failing step: where it was seen first, and in how many states."""

    failure: Failure
    state: int
    label: int
    count: int = 1
    others: list[Failure] = field(default_factory=list)


@dataclass(slots=True)
class Exploration:
    """Everything reachable, or what was reached before a bound was hit (`stopped_by` says which).

    Transitions lie one after the other: those of state `i` are numbers `first_edge[i]` to
    `first_edge[i + 1] - 1` in `targets`, `labels` and `notes_of`. `marks[i]` has a bit for each
    condition of the product that holds, in their order. `quiet[i]` is 1 when no chip and no link
    can step, `failing[i]` when some step fails, `expanded` says how many states were expanded.
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
    notes: list[Note] = field(default_factory=list)
    marks: list[int] = field(default_factory=list)
    quiet: bytearray = field(default_factory=bytearray)
    failing: bytearray = field(default_factory=bytearray)
    failures: dict[tuple[str, str], Sighting] = field(default_factory=dict)
    occupied: list[set[int]] = field(default_factory=list)
    stopped_by: str = ""

    @property
    def complete(self) -> bool:
        return not self.stopped_by

    @property
    def observed(self) -> Observed:
        return self.interpreter.observed

    @property
    def expanded(self) -> int:
        return len(self.first_edge) - 1

    @property
    def transitions(self) -> int:
        return len(self.targets)

    @property
    def depth(self) -> int:
        return len(self.layers) - 1

    def depth_of(self, number: int) -> int:
        """The breadth-first distance of a state from the initial state."""
        depth, seen = 0, self.layers[0]
        while number >= seen:
            depth += 1
            seen += self.layers[depth]
        return depth

    def state(self, number: int) -> State:
        return self.layout.unpack(self.states[number])

    def edges(self, number: int) -> range:
        """The numbers of the transitions that leave a state."""
        if number >= self.expanded:
            return range(0)
        return range(self.first_edge[number], self.first_edge[number + 1])

    def mark(self, condition: str) -> int:
        """The bit of a condition in `marks`."""
        return 1 << list(self.product.conditions).index(condition)

    def where(self, condition: str) -> Iterator[int]:
        """The states in which a condition holds, shallowest first."""
        bit = self.mark(condition)
        return (number for number, marks in enumerate(self.marks) if marks & bit)

    def way_to(self, number: int) -> list[int]:
        """The states on a shortest way from the initial state, both ends included."""
        way = [number]
        while way[-1] != INITIAL:
            way.append(self.parents[way[-1]])
        return way[::-1]


def explore(
    product: Product, *, max_states: int | None = None, reporter: Reporter | None = None
) -> Exploration:
    """Explore a product breadth first with the plain interpreter.

    Stops with `stopped_by` set when there are more than `max_states` states, on interruption, or
    when memory runs out; what was found so far is then reported.
    """
    exploration = _Explorer(product, max_states, reporter or Silent())
    return exploration.run()


class _LimitReached(Exception):
    pass


class _Explorer:
    def __init__(self, product: Product, max_states: int | None, reporter: Reporter) -> None:
        layout = layout_of(product.fields)
        self._found = Exploration(product, layout, Interpreter(product))
        self._numbers: dict[int, int] = {}
        self._notes: dict[tuple[int, int], int] = {}
        self._max_states = max_states
        self._reporter = reporter
        self._conditions = list(product.conditions.values())
        self._state_fields = [chip.state_field for chip in product.chips]
        self._found.occupied = [set() for _ in product.chips]
        self._drives = [self._is_drive(label) for label in product.labels]
        for fault in product.faults:
            # A link that loses without a budget does so by nature, and that can free a sender.
            self._drives[fault.label] |= fault.kind == "lose" and fault.budget < 0

    def _is_drive(self, label: Label) -> bool:
        """Whether such a step is one of a chip or link, not of an actor or a fault."""
        if label.kind == "rule":
            return not self._found.product.chips[label.chip].actor
        return label.kind in ("deliver", "ignore")

    def run(self) -> Exploration:
        found = self._found
        try:
            self._number(found.product.initial, -1, -1)
            self._levels()
        except _LimitReached:
            found.stopped_by = f"the bound of {self._max_states:,} states"
        except KeyboardInterrupt:
            found.stopped_by = "an interruption"
        except MemoryError:
            found.stopped_by = "lack of memory"
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
            found.quiet,
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
        quiet = True
        for step in found.interpreter.steps(found.state(number)):
            quiet = quiet and not self._drives[step.label]
            if step.after is None:
                self._note_failure(number, step)
                continue
            found.targets.append(self._number(step.after, number, step.label))
            found.labels.append(step.label)
            found.notes_of.append(self._note(step))
        found.quiet[number] = quiet
        found.first_edge.append(len(found.targets))

    def _note(self, step: Step) -> int:
        key = (step.moved, step.events)
        if key not in self._notes:
            self._notes[key] = len(self._notes)
            self._found.notes.append(Note(*key))
        return self._notes[key]

    def _note_failure(self, number: int, step: Step) -> None:
        failure, failures = step.failure, self._found.failures
        assert failure is not None
        self._found.failing[number] = 1
        sighting = failures.get((failure.code, failure.subject))
        if sighting is None:
            failures[failure.code, failure.subject] = Sighting(failure, number, step.label)
            return
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
        if self._max_states is not None and number >= self._max_states:
            raise _LimitReached
        self._numbers[packed] = number
        found.states.append(packed)
        found.parents.append(parent)
        found.parent_labels.append(label)
        found.marks.append(self._marks(state))
        found.quiet.append(0)
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

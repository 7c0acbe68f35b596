"""The transitions between explored states, as arrays, forwards and transposed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import reduce
from operator import or_

from modecheck.engine.search.arrays import Array, Arrays
from modecheck.engine.search.mark_kernels import set_unknown
from modecheck.engine.search.search_kernels import find_components, most_between, transpose
from modecheck.engine.search.sweep_kernels import block, lengthen, note_losses, widen_masks
from modecheck.engine.search.sweeps import in_parts, settle


@dataclass(slots=True)
class StateGraph:
    """Transitions lie one after the other: those of state `i` are numbers `first[i]` to
    `first[i + 1] - 1` in `targets` and `notes`. A note is what transitions have in common:
    `labels[n]`, and as bits `moved[n]` (chips; above them, how the state behind was exchanged for
    the one that stands for it) and `events[n]`.

    `is_quiescent[i]` is 1 when no chip and no link keeps the device going, `failing[i]` when some
    step fails. `linked` is the number of states, the first ones, whose transitions are kept: all
    that were expanded, or none when memory does not allow for them. The future of the others is
    unknown. Where events were overheard, `overheard[n]` has the bits of all events of the product
    that was explored.
    """

    arrays: Arrays
    first: Array
    targets: Array
    notes: Array
    labels: Array
    moved: Array
    events: Array
    is_quiescent: Array
    failing: Array
    linked: int
    overheard: Array = None
    threads: int = 1
    _transposed: tuple[Array, Array, Array] | None = None
    _kinds: list[tuple[int, int, int]] = field(default_factory=list)
    _most_edges: int | None = None

    @property
    def count(self) -> int:
        """States found."""
        return len(self.failing)

    def edges(self, number: int) -> range:
        """The numbers of the transitions that leave a state, as far as they are kept."""
        if number >= self.linked:
            return range(0)
        return range(int(self.first[number]), int(self.first[number + 1]))

    def kind(self, note: int) -> tuple[int, int, int]:
        """Label, who moved and what happened."""
        if not self._kinds:
            columns = map(self.arrays.listed, (self.labels, self.moved, self.events))
            self._kinds = list(zip(*columns, strict=True))
        return self._kinds[note]

    def transition(self, edge: int) -> tuple[int, int, int, int]:
        """Label, target, who moved and what happened."""
        label, moved, events = self.kind(self.notes[edge])
        return label, int(self.targets[edge]), moved, events

    def transitions_of(self, number: int) -> list[tuple[int, int, int, int]]:
        """Of each transition of a state label, target, who moved and what happened."""
        return [self.transition(edge) for edge in self.edges(number)]

    @property
    def most_edges(self) -> int:
        """The most transitions that any state has. Counted once."""
        if self._most_edges is None:
            self._most_edges = most_between(self.first)
        return self._most_edges

    def transposed(self) -> tuple[Array, Array, Array]:
        """Transitions by target: where each state's begin, sources and notes. Made once."""
        if self._transposed is None:
            filled, edges = self.arrays.filled, len(self.targets)
            into = filled("i8", self.count + 1)
            self._transposed = into, filled("u4", edges), filled("u2", edges)
            transpose(self.first, self.targets, self.notes, self.linked, *self._transposed)
        return self._transposed

    def barred(self, events: int) -> Array:
        """For each note whether one of the events happens in it."""
        own = self.arrays.listed(self.events)
        return self.arrays.of("u1", (bool(one & events) for one in own))

    def leading_to(
        self, reached: Array, without_events: int = 0, *, past_failures: bool = True
    ) -> bytes:
        """For each state 1 if a path leads from it to one that is flagged in `reached`, without
        these events; whose future is unknown counts as flagged.
        """
        if not self.linked:
            return bytes([1]) * self.count
        set_unknown(self.failing, self.linked, past_failures, 1, reached)
        barred = self.arrays.listed(self.barred(without_events))
        self.widen(reached, [0] * len(barred), [not one for one in barred], 1)
        return bytes(reached)

    def widen(self, masks: Array, own: Sequence[int], carried: Sequence[int], full: int) -> None:
        """Give each state the bits of all that a path leads to from it: a transition adds the bits
        `own` of its note where it leads away, and takes over those of `carried`.
        """
        of = self.arrays.of
        settle(
            widen_masks, self.count, self.threads, self.first, self.targets, self.notes,
            of("u8", own), of("u8", carried), full, masks,
        )  # fmt: skip

    def lengths(
        self, marks: Array, blocked: int, followed: Sequence[int], stays: Sequence[int]
    ) -> Array:
        """For each state the most steps of a path from it (see `lengthen`), `BLOCKED` in states
        with a blocked mark.
        """
        of, lengths = self.arrays.of, self.arrays.filled("i4", self.count)
        in_parts(block, self.count, self.threads, marks, blocked, lengths)
        settle(
            lengthen, self.count, self.threads, self.first, self.targets, self.notes, self.failing,
            self.linked, of("u1", followed), of("u1", stays), lengths,
        )  # fmt: skip
        return lengths

    def lost_marks(self, marks: Array) -> list[int]:
        """For each note the marks that are lost in some transition."""
        notes = len(self.labels)

        def note(begin: int, end: int) -> list[int]:
            lost = self.arrays.filled("u8", notes)
            note_losses(begin, end, self.first, self.targets, self.notes, marks, lost)
            return self.arrays.listed(lost)

        parts = in_parts(note, self.linked, self.threads)
        return [reduce(or_, (lost[number] for lost in parts), 0) for number in range(notes)]

    def room_for_components(self) -> tuple[Array, ...]:
        """Arrays for the search for components, to be used any number of times."""
        filled, count = self.arrays.filled, self.count
        return *(filled("u4", count) for _ in range(6)), filled("i8", count)

    def components(
        self,
        marks: Array,
        inside: Array,
        barred: Array,
        room: tuple[Array, ...],
        *,
        gains: int = 0,
        only_changes: bool = False,
    ) -> tuple[Array, Array]:
        """The strongly connected components of the states with 1 in `inside`: for each state its
        number, from 1 on; and the states in order, each component behind all that a path leads to
        from it. Transitions are left out as `find_components` says.
        """
        size = find_components(
            self.first, self.targets, self.notes, marks, inside, barred, gains, only_changes, *room
        )
        component, order, *_ = room
        return component, order[:size]

    def in_order(self, order: Sequence[int]) -> StateGraph:
        """The same graph with the states in another order, and all linked; those whose future is
        unknown fail.
        """
        place_of = self.arrays.filled("i8", self.count)
        first, targets, notes, failing = [0], [], [], []
        for place, number in enumerate(order):
            place_of[number] = place
        for number in order:
            edges = self.edges(number)
            targets += [place_of[target] for target in self.targets[edges.start : edges.stop]]
            notes += self.notes[edges.start : edges.stop]
            first.append(len(targets))
            failing.append(number >= self.linked or self.failing[number])
        return StateGraph(
            self.arrays, first, targets, notes, self.labels, self.moved, self.events,
            self.is_quiescent, failing, linked=self.count,
        )  # fmt: skip

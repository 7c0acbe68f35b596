"""Searches over explored representatives, whose transitions exchange states for others."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import NamedTuple

from modecheck.engine.reductions.permuted_kernels import (
    first_permuted_change,
    first_permuted_loss,
    flag_asked,
    next_row_lacking,
    own_flags,
    set_unknown_rows,
    spread_permuted,
)
from modecheck.engine.search.arrays import Array
from modecheck.engine.search.explored_space import Exploration, StateStore

Back = Callable[[int], Sequence[int]]
"""For a permutation: which bit of the state behind a transition each bit of that before it is."""


class StateQuery(NamedTuple):
    """What is asked of a state: marks it has, marks it has not, and events that are barred."""

    wanted: int
    unwanted: int = 0
    barred: int = 0


@dataclass(frozen=True, slots=True)
class FlagRows:
    """Bits of each state, one in each column."""

    space: Exploration[StateStore]
    flags: Array
    columns: int

    def __getitem__(self, number: int) -> int:
        begin = number * self.columns
        return sum(1 << n for n in range(self.columns) if self.flags[begin + n])

    def lacking(self, full: int) -> Iterator[tuple[int, int]]:
        """The states that lack some bit of `full`, with their bits."""
        bits = self.space.graph.arrays.of("u1", (full >> n & 1 for n in range(self.columns)))
        number = next_row_lacking(self.flags, bits, 0)
        while number >= 0:
            yield number, self[number]
            number = next_row_lacking(self.flags, bits, number + 1)


@dataclass(frozen=True, slots=True)
class PermutedSearches:
    """Searches over a space whose transitions exchange states for representatives. Where memory did
    not allow for transitions, the future of every state is unknown.
    """

    space: Exploration[StateStore]

    def backward_reachability(
        self, asked: Sequence[StateQuery], back: Back, *, past_failures: bool
    ) -> FlagRows:
        """For each state, bit `j` if a path leads from it to some mark of `asked[j].wanted`, or to
        where one of `asked[j].unwanted` is not.
        """
        flags, of = self._flags(len(asked)), self.space.graph.arrays.of
        some, lacking = of("u8", (f.wanted for f in asked)), of("u8", (f.unwanted for f in asked))
        flag_asked(self.space.marks, some, lacking, flags)
        return self._spread_back(
            flags, len(asked), back, self._barred(asked, 0), past_failures=past_failures
        )

    def can_reach_states(self, goals: dict[int, int], count: int, back: Back) -> FlagRows:
        """For each state, bit `j` if a path leads to a state with bit `j` in `goals`."""
        flags = self._flags(count)
        for number, bits in goals.items():
            for column in range(count):
                flags[number * count + column] = bits >> column & 1
        return self._spread_back(flags, count, back)

    def can_still_move(self, back: Back, unturned: int) -> FlagRows:
        """For each state the bits of the chips that can still move on some path from it, but in
        place: by a transition to the same representative, `unturned`.
        """
        graph, count = self.space.graph, len(self.space.product.chips)
        flags, of, moved = self._flags(count), graph.arrays.of, graph.arrays.listed(graph.moved)
        own_flags(
            graph.first, graph.targets, graph.notes, graph.linked, count,
            of("u1", (own >> chip & 1 for own in moved for chip in range(count))),
            of("u1", (own >> count == unturned for own in moved)), flags,
        )  # fmt: skip
        return self._spread_back(flags, count, back)

    def first_loss(self, asked: Sequence[StateQuery], back: Back) -> tuple[int, int, int] | None:
        """The first transition that loses a mark of `asked[j].wanted` without a barred event: the
        state before it, its position among that state's transitions, and `j`. `back` is of marks.
        """
        graph = self.space.graph
        wanted = graph.arrays.of("u8", (form.wanted for form in asked))
        found = first_permuted_loss(
            graph.first, graph.targets, graph.notes, graph.linked, self.space.marks, wanted,
            self._barred(asked, 1), *self._marks_behind(back),
        )  # fmt: skip
        return self._position(*found)

    def first_change(self, asked: Sequence[StateQuery], back: Back) -> tuple[int, int, int] | None:
        """The first transition from a state with `asked[j].wanted` to one with `asked[j].unwanted`:
        told alike.
        """
        graph, of = self.space.graph, self.space.graph.arrays.of
        found = first_permuted_change(
            graph.first, graph.targets, graph.notes, graph.linked, self.space.marks,
            of("u8", (form.wanted for form in asked)), of("u8", (form.unwanted for form in asked)),
            *self._marks_behind(back),
        )  # fmt: skip
        return self._position(*found)

    def _position(self, number: int, edge: int, form: int) -> tuple[int, int, int] | None:
        return None if number < 0 else (number, edge - int(self.space.graph.first[number]), form)

    def _flags(self, columns: int) -> Array:
        return self.space.graph.arrays.filled("u1", self.space.state_count * columns)

    def _barred(self, asked: Sequence[StateQuery], value: int) -> Array:
        """For each note and form the value where an event is barred, else the other one."""
        arrays, events = self.space.graph.arrays, self.space.graph.events
        flags = (
            value if own & form.barred else 1 - value
            for own in arrays.listed(events)
            for form in asked
        )
        return arrays.of("u1", flags)

    def _rows(self, back: Back) -> Iterable[Sequence[int]]:
        """What `back` says, by note."""
        graph, chips = self.space.graph, len(self.space.product.chips)
        return [back(moved >> chips) for moved in graph.arrays.listed(graph.moved)]

    def _marks_behind(self, back: Back) -> tuple[Array, Array]:
        """The marks, and what tells of them, by note."""
        of = self.space.graph.arrays.of
        bits = of("u8", (1 << bit for bit in range(len(self.space.product.conditions))))
        return bits, of("u8", (1 << bit for row in self._rows(back) for bit in row))

    def _spread_back(
        self,
        flags: Array,
        columns: int,
        back: Back,
        allowed: Array = None,
        *,
        past_failures: bool = True,
    ) -> FlagRows:
        graph, filled = self.space.graph, self.space.graph.arrays.filled
        if allowed is None:
            allowed = filled("u1", len(graph.labels) * columns, 1)
        set_unknown_rows(graph.failing, graph.linked, past_failures, columns, flags)
        if graph.linked:
            rows = graph.arrays.of("i8", (column for row in self._rows(back) for column in row))
            pending, waiting = filled("u4", graph.count), filled("u1", graph.count)
            spread_permuted(flags, columns, pending, waiting, *graph.transposed(), rows, allowed)
        return FlagRows(self.space, flags, columns)

"""Turned searches over a compiled exploration."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from modecheck.engine.compiled.compiled_exploration import TOGETHER, CompiledExploration
from modecheck.engine.compiled.graph import Array
from modecheck.engine.compiled.permuted_kernels import (
    first_turned_change,
    first_turned_loss,
    own_flags,
    spread_turned,
)
from modecheck.engine.reductions.annotated_quotient import Back, StateQuery


@dataclass(frozen=True, slots=True)
class FlagRows:
    """Bits of each state, one in each column."""

    flags: Array

    def __getitem__(self, number: int) -> int:
        return sum(1 << int(column) for column in np.flatnonzero(self.flags[number]))

    def lacking(self, full: int) -> Iterator[tuple[int, int]]:
        """The states that lack some bit of `full`, with their bits."""
        columns = [column for column in range(self.flags.shape[1]) if full >> column & 1]
        for begin in range(0, len(self.flags), TOGETHER):
            whole = self.flags[begin : begin + TOGETHER, columns].all(axis=1)
            for number in (np.flatnonzero(~whole) + begin).tolist():
                yield number, self[number]


@dataclass(frozen=True, slots=True)
class CompiledSearches:
    """Where memory did not allow for transitions, the future of every state is unknown."""

    found: CompiledExploration

    def backward_reachability(
        self, asked: Sequence[StateQuery], back: Back, *, past_failures: bool
    ) -> FlagRows:
        """For each state, bit `j` if a path leads from it to some mark of `asked[j].wanted`, or to
        where one of `asked[j].unwanted` is not.
        """
        flags = np.zeros((self.found.state_count, len(asked)), np.uint8)
        marks = self.found.marks
        for column, form in enumerate(asked):
            some, all_ = np.uint64(form.wanted), np.uint64(form.unwanted)
            flags[:, column] = (marks & some != 0) | (marks & all_ != all_)
        events = self.found.graph.events[:, None]
        barred = np.array([form.barred for form in asked], np.uint64)
        passing = (events & barred == 0).astype(np.uint8)
        return self._spread_back(flags, back, passing, past_failures=past_failures)

    def can_reach_states(self, goals: dict[int, int], count: int, back: Back) -> FlagRows:
        """For each state, bit `j` if a path leads to a state with bit `j` in `goals`."""
        flags = np.zeros((self.found.state_count, count), np.uint8)
        for number, bits in goals.items():
            flags[number] = [bits >> column & 1 for column in range(count)]
        return self._spread_back(flags, back, None)

    def can_still_move(self, back: Back, unturned: int) -> FlagRows:
        """For each state the bits of the chips that can still move on some path from it, but in
        place.
        """
        graph, count = self.found.graph, len(self.found.product.chips)
        flags = np.zeros((self.found.state_count, count), np.uint8)
        moved = graph.moved[:, None] >> np.arange(count, dtype=np.uint64) & np.uint64(1)
        stays = graph.moved >> np.uint64(count) == np.uint64(unturned)
        own_flags(
            graph.first,
            graph.targets,
            graph.notes,
            graph.linked,
            moved.astype(np.uint8),
            stays.astype(np.uint8),
            flags,
        )
        return self._spread_back(flags, back, None)

    def first_loss(self, asked: Sequence[StateQuery], back: Back) -> tuple[int, int, int] | None:
        """The first transition that loses a mark without a barred event."""
        graph = self.found.graph
        wanted = np.array([form.wanted for form in asked], np.uint64)
        barred = np.array([form.barred for form in asked], np.uint64)
        number, edge, form = first_turned_loss(
            graph.first,
            graph.targets,
            graph.notes,
            graph.linked,
            self.found.marks,
            wanted,
            (graph.events[:, None] & barred != 0).astype(np.uint8),
            self._table(back, len(self.found.product.conditions)),
        )
        if number < 0:
            return None
        return int(number), int(edge) - int(graph.first[number]), int(form)

    def first_change(self, asked: Sequence[StateQuery], back: Back) -> tuple[int, int, int] | None:
        """The first transition from a state with one mark to a state with the other."""
        graph = self.found.graph
        number, edge, form = first_turned_change(
            graph.first,
            graph.targets,
            graph.notes,
            graph.linked,
            self.found.marks,
            np.array([form.wanted for form in asked], np.uint64),
            np.array([form.unwanted for form in asked], np.uint64),
            self._table(back, len(self.found.product.conditions)),
        )
        if number < 0:
            return None
        return int(number), int(edge) - int(graph.first[number]), int(form)

    def _table(self, back: Back, columns: int) -> Array:
        """What `back` says, by note."""
        shift = len(self.found.product.chips)
        rows = [list(back(moved >> shift)) for moved in self.found.graph.moved.tolist()]
        return np.array(rows, np.int64).reshape(len(rows), columns)

    def _spread_back(
        self, flags: Array, back: Back, allowed: Array | None, *, past_failures: bool = True
    ) -> FlagRows:
        graph, (count, columns) = self.found.graph, flags.shape
        if not graph.linked:
            flags[:] = 1
            return FlagRows(flags)
        if allowed is None:
            allowed = np.ones((graph.moved.size, columns), np.uint8)
        flags[graph.unknown(past_failures=past_failures)] = 1
        into, sources, notes_into = graph.transposed()
        spread_turned(
            flags,
            np.arange(count, dtype=np.uint32)[::-1].copy(),
            np.ones(count, np.uint8),
            into,
            sources,
            notes_into,
            self._table(back, columns),
            allowed,
        )
        return FlagRows(flags)

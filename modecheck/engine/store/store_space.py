"""What a store offers to the checks: the questions of a `Space` about states and how they are
reached. What paths lead on to, and loops, are not asked of a store.

A state's number is made of its depth and its words, so numbers are in the order that they have in
memory, but not one after the other.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from functools import cached_property
from typing import Any

import numpy as np

from modecheck.engine.contract.encounters import Observed
from modecheck.engine.contract.phases import phase
from modecheck.engine.contract.space import (
    LoopAnswer,
    LoopQuery,
    NotSearched,
    Occurrence,
    Path,
    Sighting,
    State,
)
from modecheck.engine.native.code_notes import observed_in
from modecheck.engine.native.run import sightings_of
from modecheck.engine.reference.plain import Interpreter
from modecheck.engine.store import state_survey, tasks
from modecheck.engine.store.journal import Finished
from modecheck.engine.store.state_survey import Place, Survey
from modecheck.engine.store.store_explorer import StoreExplorer, joined

WORD = 64
"""Bits of a word."""
MANY = 1 << 16
"""States of a level that several processes look at sooner than one."""


class StoreSpace:
    """A product in a store, as far as it was explored."""

    def __init__(self, explorer: StoreExplorer) -> None:
        self.product = explorer.product
        self._explorer = explorer
        self._records = explorer.journal.finished
        self._layout = explorer.machine.layout
        self._interpreter = Interpreter(self.product)
        self._bits = WORD * self._layout.words
        self._initial = min(_joined(self._layout.pack(one)) for one in self.product.first_states)

    @property
    def stopped_by(self) -> str:
        """Why the exploration stopped early, or nothing."""
        return self._explorer.stopped_by

    @property
    def complete(self) -> bool:
        """Whether every reachable state was expanded, and all was made that checks need of it."""
        return self._explorer.complete and not self.stopped_by

    @property
    def layers(self) -> list[int]:
        """How many states there are of each depth."""
        return self._explorer.journal.layers

    @property
    def state_count(self) -> int:
        """States found."""
        return sum(self.layers)

    @property
    def expanded(self) -> int:
        """How many states were expanded."""
        return sum(self.layers if self._explorer.complete else self.layers[:-1])

    @property
    def transitions(self) -> int:
        """Distinct triples of state, label and next state."""
        return sum(record.transitions for record in self._records)

    @property
    def depth(self) -> int:
        """The greatest distance from the initial state."""
        return len(self.layers) - 1

    @property
    def observed(self) -> Observed:
        """Rules taken, and which event met which chip in which leaf."""
        return observed_in(self._explorer.machine, np.frombuffer(self._looked.seen, np.uint8))

    @property
    def occupied(self) -> list[set[int]]:
        """For each chip the leaves that it is ever in."""
        return self._looked.occupied

    @cached_property
    def failures(self) -> dict[tuple[str, str], Sighting]:
        """The failing steps, by code and subject of the finding."""
        known = self._explorer.machine.failures
        rows = joined([record.failures for record in self._records])
        order = sorted((row[2], row[4:], row[3], row[0], row[1]) for row in rows)
        return sightings_of(
            (self._number((level - 1, words)), label, known[number], count)
            for level, words, label, number, count in order
        )

    @cached_property
    def _looked(self) -> Survey:
        found = Survey()
        resting = self.mark("rests") if "rests" in self.product.conditions else 0
        given = [
            (state_survey.look, (str(self._explorer.folder), record, group, resting, is_expanded))
            for record, group, is_expanded in self._parts()
        ]
        with phase("looking at all states"):
            for looked in self._explorer.done(given):
                found.add(looked)
        return found

    def _parts(self) -> Iterator[tuple[Finished, tasks.Group, bool]]:
        """All states, in parts, and whether those of a part are expanded."""
        for record in self._records:
            if not record.sizes:
                continue
            is_last = not self._explorer.complete and record is self._records[-1]
            count = self._explorer.workers.count if max(record.sizes) > MANY else 1
            for group in tasks.groups(self._explorer.partitions, count):
                yield record, group, not is_last

    def _number(self, place: Place) -> int:
        """The number of a state: its level, and then its words, less those of the first one."""
        level, words = place
        return (level << self._bits) + _joined(words) - self._initial

    def _place(self, number: int) -> Place:
        level, joined_words = divmod(number + self._initial, 1 << self._bits)
        count = self._layout.words
        shifts = range(WORD * (count - 1), -1, -WORD)
        return level, tuple(joined_words >> shift & ((1 << WORD) - 1) for shift in shifts)

    def state(self, number: int) -> State:
        """The values of a state's fields."""
        return self._layout.unpack(self._place(number)[1])

    def states_at(self, numbers: Sequence[int]) -> list[State]:
        """The values of the fields of some states."""
        return [self.state(number) for number in numbers]

    def depth_of(self, number: int) -> int:
        """The distance of a state from the initial state."""
        return self._place(number)[0]

    def mark(self, condition: str) -> int:
        """The bit of a condition of the product."""
        return 1 << list(self.product.conditions).index(condition)

    def marks_at(self, number: int) -> int:
        """The bits of all conditions that hold in a state."""
        state = self.state(number)
        holds = (
            self._interpreter.condition(one, state) for one in self.product.conditions.values()
        )
        return sum(1 << bit for bit, held in enumerate(holds) if held)

    def combinations(self) -> dict[int, Occurrence]:
        """Every set of marks that some state has, in the order of its first state."""
        firsts = sorted(
            (first, marks, count) for marks, (first, count) in self._looked.marks.items()
        )
        return {marks: Occurrence(self._number(first), count) for first, marks, count in firsts}

    def numbered(self, wanted: int, unwanted: int = 0) -> Iterator[int]:
        """Of each set of marks with all wanted ones and no unwanted one, the first state,
        shallowest first.
        """
        both = wanted | unwanted
        return (one.first for marks, one in self.combinations().items() if marks & both == wanted)

    def quiescent(self, unwanted: int) -> Iterator[int]:
        """Expanded states without unwanted marks, among them that of rest, in which no chip and no
        link keeps the device going.
        """
        found = sorted(self._looked.quiescent)
        return (self._number(place) for place, marks in found if not marks & unwanted)

    def path_to(self, number: int) -> Path:
        """A shortest path from the initial state: of several the one whose last state but one is
        the first, and so on.
        """
        level, words = self._place(number)
        path: Path = []
        while level:
            before, label = self._step_before(level - 1, words)
            path.append((label, self._number((level, words))))
            level, words = level - 1, before
        if self.product.starts:
            path.append((self.product.start_label, self._number((0, words))))
        return path[::-1]

    def _step_before(self, level: int, goal: tuple[int, ...]) -> tuple[tuple[int, ...], int]:
        record = next(one for one in self._records if one.first <= level < one.end)
        is_large = record.sizes[level - record.first] > MANY
        count = self._explorer.workers.count if is_large else 1
        folder = str(self._explorer.folder)
        given = [
            (state_survey.step_before, (folder, record, level, group, goal))
            for group in tasks.groups(self._explorer.partitions, count)
        ]
        found: list[tuple[tuple[int, ...], int] | None] = self._explorer.done(given)
        return min(one for one in found if one is not None)

    def fair_loop(self, query: LoopQuery) -> LoopAnswer:  # noqa: ARG002 - no loop is known
        """Loops are not known before all is explored, nor without files of the transitions: raises
        `NotSearched` then.
        """
        if self.complete:
            raise NotSearched
        return LoopAnswer(None)

    def shadows(self, curious: frozenset[int]) -> dict[int, int]:
        """For rules that are never taken although their own guards hold somewhere, the earlier rule
        that is taken instead, or else `BLOCKED`, where their links are full.
        """
        folder = str(self._explorer.folder)
        given = [
            (state_survey.note, (folder, record, group, curious))
            for record, group, is_expanded in self._parts()
            if is_expanded
        ]
        seen: Any = np.zeros(1, np.uint8)
        for notes in self._explorer.done(given):
            seen = np.maximum(seen, np.frombuffer(notes, np.uint8))
        return observed_in(tasks.machine_of(folder, curious), seen).shadowed


def _joined(words: Sequence[int]) -> int:
    """Words as one number, the first of them the highest."""
    whole = 0
    for word in words:
        whole = whole << WORD | word
    return whole

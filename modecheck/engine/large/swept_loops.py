"""Fair loops of a space without transitions: sets of states shrink to a core, in which every fair
loop lies, and of the core alone the transitions are made and searched.

A state is on no fair loop that is asked for unless, by transitions that the loop may use and
through states that are left,

- one can go on from it forever, and from others to it;
- it reaches each mark that has to be visited, and a move of the chip that has to move;
- for each weak fairness set, it reaches a step of the set, or a state in which none is possible;
- for each strong set of which a step is possible in it, it reaches one.

What fails one of these is taken away until nothing does: one-way-catch-them-young (Fisler, Fraer,
Kamhi, Vardi, Yang, "Is there a best symbolic cycle-detection algorithm?", 2001; on partitioned
graphs Barnat, Brim, Cerna 2009), with Emerson and Lei's conditions (1987) for fairness. The core
may have more than fair loops, above all where strong sets are, and paths between loops. So it only
tells which transitions have to be made: `fair_components` finds in them what it would find in the
whole graph. For that, all steps out of the core are there as well, since they tell what is possible
in a state; they lead to one more state that nothing may pass.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace
from functools import partial
from typing import TYPE_CHECKING

import numpy as np

from modecheck.engine.contract.space import HALTED, FairLoop, LoopAnswer, LoopQuery, NotSearched
from modecheck.engine.large.state_sets import BitFlags, Followed, Numbers, StateSet
from modecheck.engine.native.native_arrays import NativeArrays
from modecheck.engine.search.fair_components import FairSearch, allowed_kinds, set_numbers
from modecheck.engine.search.state_graph import StateGraph

if TYPE_CHECKING:
    from modecheck.engine.large.swept_space import SweptPaths

FEW = 1 << 16
"""States of a core whose transitions are made at once, without a look whether it shrinks more."""
MOST_TRANSITIONS = 1 << 26
"""Transitions of a core at the most: with what the search needs, some 2 GB."""
ALONE, UNASKED = -1, -2
"""In place of a fairness set because of which states are taken away: each is on no loop, whatever
is fair; a loop there would not be asked for."""


def fair_loop_in(space: SweptPaths, query: LoopQuery) -> LoopAnswer:
    """See `Space.fair_loop`. Raises `NotSearched` where the core is too large."""
    return _Core(space, query).answer()


class _Core:
    """The states that are left of those that a loop may pass."""

    def __init__(self, space: SweptPaths, query: LoopQuery) -> None:
        self._space, self._sets, self._query = space, space.sets, query
        self._fair, kinds = space.product.fair, space.sets.kinds
        allowed = allowed_kinds(space.product, query, kinds)
        self._followed = Followed(tuple(allowed), query.only_changes, query.without_gains)
        numbers = set_numbers(self._fair, len(space.product.labels))
        self._set_of = [numbers[label] for label, _, _ in kinds]
        self._halted = self._halting() if query.timeless else None
        self._left = self._inside()
        self._rests_on: set[int] = set()

    def answer(self) -> LoopAnswer:
        self._shrink()
        count = self._sets.count(self._left)
        if count > MOST_TRANSITIONS:
            raise NotSearched
        numbers = self._sets.numbers(self._left)
        marks = self._marks(numbers)
        self._sets.free(*self._given(self._left, self._halted))
        if not count:
            return LoopAnswer(None, frozenset(self._rests_on))
        return self._searched(numbers, marks)

    @staticmethod
    def _given(*sets: StateSet | None) -> Iterator[StateSet]:
        return (own for own in sets if own is not None)

    # What a loop may pass

    def _inside(self) -> StateSet:
        """The states that a loop may pass."""
        sets, query, product = self._sets, self._query, self._space.product
        own = sets.where(1, 1)
        self._drop(own, sets.where(query.unwanted & ~query.wanted, query.wanted))
        self._drop(own, sets.unknown(past_failures=True))
        if query.restless >= 0:
            chip = product.chips[query.restless]
            works = [leaf for leaf, rests in enumerate(chip.rests) if not rests]
            self._keep(own, sets.valued(chip.state_field, works))
        if query.after:
            self._keep(own, self._space.behind(query.after, blocked=query.unwanted))
        return own

    def _halting(self) -> StateSet:
        """The states in which time cannot go on before something else happens."""
        sets, product = self._sets, self._space.product
        assert product.time is not None
        due = self._space.mark("due") if "due" in product.conditions else 0
        own = sets.where(due)
        labels, at_once = [label for label, _, _ in sets.kinds], product.time.at_once
        self._join(own, sets.sources(Followed(tuple(label in at_once for label in labels))))
        for number, queue in enumerate(product.queues):
            if queue.latest < 0:
                continue
            late = sets.valued(queue.slots[0].age, [queue.latest])
            delivers = {
                n
                for n, label in enumerate(product.labels)
                if label.kind in ("deliver", "discard") and label.queue == number
            }
            followed = Followed(tuple(label in delivers for label in labels))
            self._join(own, sets.sources(followed, late))
            sets.free(late)
        return own

    # What is taken away

    def _shrink(self) -> None:
        """Take away what is on no loop, until nothing more is, or little is left."""
        before = -1
        while True:
            for because, narrow in self._conditions():
                if self._sets.count(self._left) <= FEW:
                    return
                self._narrow(because, narrow)
            left = self._sets.count(self._left)
            if left == before:
                return
            before = left

    def _conditions(self) -> Iterator[tuple[int, Callable[[], None]]]:
        """What has to be of a state that is left, each with the fairness set that asks for it."""
        query = self._query
        yield ALONE, self._go_on
        for mark in query.visits:
            yield UNASKED, partial(self._reach_mark, mark)
        if self._halted is not None:
            yield UNASKED, self._reach_halt
        if query.moving:
            yield UNASKED, self._move
        for number in range(len(self._fair)):
            if number in self._set_of:
                yield number, partial(self._be_fair, number)
        yield ALONE, self._come_in

    def _narrow(self, because: int, narrow: Callable[[], None]) -> None:
        """Take states away, and note on which fairness it rests that no loop passes them."""
        if not self._space.product.observers:
            narrow()  # nobody asks
            return
        gone = self._copied(self._left)
        narrow()
        self._sets.drop(gone, self._left)
        if because == ALONE:
            self._note_owed(gone)
        elif because >= 0 and self._sets.count(gone):
            self._rests_on.add(because)
        self._sets.free(gone)

    def _note_owed(self, gone: StateSet) -> None:
        """The fairness sets because of which a device does not stay in states on no loop: of each
        the first weak one with a step that leads away, or else the first strong one.
        """
        for mark in self._query.visits:
            self._keep(gone, self._sets.where(mark))
        for number in sorted(range(len(self._fair)), key=lambda n: self._fair[n].strong):
            if not self._sets.count(gone):
                return
            possible = self._sets.sources(Followed(self._of_set(number), away=True), gone)
            if self._sets.count(possible):
                self._rests_on.add(number)
            self._drop(gone, possible)

    def _go_on(self) -> None:
        self._sets.trim(self._left, self._followed)

    def _come_in(self) -> None:
        """Leave only states to which one of those leads, one after the other."""
        sets, none = self._sets, self._sets.none()
        before = -1
        while (count := sets.count(self._left)) != before and count > FEW:
            before = count
            self._keep(self._left, sets.targets(self._left, self._followed, none))
        sets.free(none)

    def _reach_mark(self, mark: int) -> None:
        self._reach(self._sets.where(mark))

    def _reach_halt(self) -> None:
        self._reach(self._copied(self._halted))

    def _move(self) -> None:
        moving = (moved & self._query.moving for _, moved, _ in self._sets.kinds)
        self._reach(self._stepping(tuple(map(bool, moving))))

    def _reach(self, goal: StateSet) -> None:
        """Leave only states from which a path inside leads to a goal."""
        self._sets.keep(goal, self._left)
        self._sets.widen(goal, self._followed, self._left)
        self._keep(self._left, goal)

    def _be_fair(self, number: int) -> None:
        sets, own = self._sets, self._of_set(number)
        possible = sets.sources(Followed(own, away=True), self._left)
        taken = self._stepping(own)
        if self._fair[number].strong:
            sets.widen(taken, self._followed, self._left)
            self._drop(possible, taken)
            self._drop(self._left, possible)
            return
        free = self._copied(self._left)
        self._drop(free, possible)
        self._join(taken, free)
        self._reach(taken)

    def _stepping(self, kinds: tuple[bool, ...]) -> StateSet:
        """The states with a transition of some kinds that a loop may use."""
        both = tuple(one and own for one, own in zip(self._followed.kinds, kinds, strict=True))
        return self._sets.sources(replace(self._followed, kinds=both), self._left, self._left)

    def _of_set(self, number: int) -> tuple[bool, ...]:
        """For each kind of transitions whether it is one of a fairness set."""
        return tuple(own == number for own in self._set_of)

    def _copied(self, own: StateSet) -> StateSet:
        new = self._sets.none()
        self._sets.join(new, own)
        return new

    def _join(self, into: StateSet, other: StateSet) -> None:
        self._sets.join(into, other)
        self._sets.free(other)

    def _keep(self, into: StateSet, other: StateSet) -> None:
        self._sets.keep(into, other)
        self._sets.free(other)

    def _drop(self, into: StateSet, other: StateSet) -> None:
        self._sets.drop(into, other)
        self._sets.free(other)

    # What is searched

    def _marks(self, numbers: Numbers) -> np.ndarray[tuple[int], np.dtype[np.uint64]]:
        """Of the marks of some states those that matter to a loop; 0 behind them."""
        marks = np.zeros(numbers.size + 1, np.uint64)
        asked = self._query.without_gains
        for mark in self._query.visits:
            asked |= mark
        for bit in range(asked.bit_length()):
            if asked >> bit & 1:
                own = self._sets.where(1 << bit)
                marks[:-1] |= self._flags(own, numbers) << np.uint64(bit)
                self._sets.free(own)
        if self._halted is not None:
            marks[:-1] |= self._flags(self._halted, numbers) * np.uint64(HALTED)
        return marks

    def _flags(
        self, own: StateSet, numbers: Numbers
    ) -> np.ndarray[tuple[int], np.dtype[np.uint64]]:
        return BitFlags(self._sets.bits(own), self._space.state_count).of(numbers)

    def _searched(
        self, numbers: Numbers, marks: np.ndarray[tuple[int], np.dtype[np.uint64]]
    ) -> LoopAnswer:
        """A loop through some states that are left, in their order."""
        graph, query, space = self._graph(numbers), self._query, self._space
        inside = np.ones(graph.count, np.uint8)
        inside[-1] = 0
        if query.timeless:
            query = replace(query, visits=(*query.visits, HALTED))
        search = FairSearch.of(space.product, graph, marks, inside, query)
        component, rests_on = search.component()
        if component is None:
            return LoopAnswer(None, rests_on | self._rests_on)
        found = component.loop(lambda place: space.depth_of(int(numbers[place])))
        loop = [(label, int(numbers[place])) for label, place in found]
        return LoopAnswer(FairLoop(space.path_to(loop[-1][1]), loop))

    def _graph(self, numbers: Numbers) -> StateGraph:
        """These states, one more in place of all others, and the transitions of the former."""
        listed = self._sets.transitions(numbers, MOST_TRANSITIONS)
        if listed is None:
            raise NotSearched
        places = np.searchsorted(numbers, listed.targets).astype(np.uint32)
        known = numbers[np.minimum(places, numbers.size - 1)] == listed.targets
        places[~known] = numbers.size
        columns = np.array(self._sets.kinds, np.uint64).reshape(-1, 3).T
        labels, moved, events = (column.copy() for column in columns)
        none = np.zeros(numbers.size + 1, np.uint8)
        return StateGraph(
            arrays=NativeArrays(),
            first=np.append(listed.first, listed.first[-1]),
            targets=places,
            notes=listed.kinds,
            labels=labels,
            moved=moved,
            events=events,
            is_quiescent=none,
            failing=none.copy(),
            linked=numbers.size + 1,
        )

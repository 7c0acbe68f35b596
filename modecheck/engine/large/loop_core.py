"""Sets of states shrink to a core, in which every fair loop lies that is asked for.

A state is on no such loop unless, by transitions that the loop may use and through states that are
left,

- one can go on from it forever, and from others to it;
- it reaches each mark that has to be visited, and a move of the chip that has to move;
- for each weak fairness set, it reaches a step of the set, or a state in which none is possible;
- for each strong set of which a step is possible in it, it reaches one.

What fails one of these is taken away until nothing does: one-way-catch-them-young (Fisler, Fraer,
Kamhi, Vardi, Yang, "Is there a best symbolic cycle-detection algorithm?", 2001; on partitioned
graphs Barnat, Brim, Cerna 2009), with Emerson and Lei's conditions (1987) for fairness. The core
may have more than fair loops: paths between loops, and loops that a strong set forbids.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace
from functools import partial
from typing import TYPE_CHECKING

from modecheck.engine.contract.space import LoopQuery
from modecheck.engine.large.state_sets import Followed, StateSet
from modecheck.engine.search.fair_components import allowed_kinds, set_numbers

if TYPE_CHECKING:
    from modecheck.engine.large.swept_space import SweptPaths

LOOPLESS, UNASKED = -1, -2
"""Why states are taken away, where no fairness set is the reason: they are on no loop at all, or on
none that passes what is asked for."""


class LoopCore:
    """The states that are `left` of those that a loop may pass; where time stands still among them
    (`halted`), if that is asked for; and the fairness sets without which more would be left, if the
    product has observers, since nobody else asks.
    """

    def __init__(self, space: SweptPaths, query: LoopQuery) -> None:
        self._space, self._sets, self.query = space, space.sets, query
        self._fair, kinds = space.product.fair, space.sets.kinds
        allowed = allowed_kinds(space.product, query, kinds)
        self._followed = Followed(tuple(allowed), query.only_changes, query.without_gains)
        numbers = set_numbers(self._fair, len(space.product.labels))
        self._set_of = [numbers[label] for label, _, _ in kinds]
        self.halted = self._halting() if query.timeless else None
        self.left = self._inside()
        self._rests_on: set[int] = set()

    @property
    def rests_on(self) -> frozenset[int]:
        """The numbers of those fairness sets."""
        return frozenset(self._rests_on)

    def free(self) -> None:
        """The sets are not needed any more."""
        self._sets.free(*(own for own in (self.left, self.halted) if own is not None))

    def _inside(self) -> StateSet:
        """The states that a loop may pass."""
        sets, query, product = self._sets, self.query, self._space.product
        own = sets.where(1, 1)
        self._drop(own, sets.where(query.unwanted & ~query.wanted, query.wanted))
        self._drop(own, sets.unknown(past_failures=not query.past_failures))
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
        own = sets.where(self._space.mark("due") if "due" in product.conditions else 0)
        labels = [label for label, _, _ in sets.kinds]
        at_once = (label in product.time.at_once for label in labels)
        self._join(own, sets.sources(Followed(tuple(at_once))))
        for number, queue in enumerate(product.queues):
            if queue.latest < 0:
                continue
            delivers = {
                n
                for n, label in enumerate(product.labels)
                if label.kind in ("deliver", "discard") and label.queue == number
            }
            late = sets.valued(queue.slots[0].age, [queue.latest])
            delivering = Followed(tuple(label in delivers for label in labels))
            self._join(own, sets.sources(delivering, late))
            sets.free(late)
        return own

    # What is taken away

    def shrink(self, few: int) -> None:
        """Take away what is on no loop, until nothing more is, or no more than a few are left."""
        before = -1
        while True:
            for because, narrow in self._conditions(few):
                if self._sets.count(self.left) <= few:
                    return
                self._narrow(because, narrow)
            left = self._sets.count(self.left)
            if left == before:
                return
            before = left

    def _conditions(self, few: int) -> Iterator[tuple[int, Callable[[], None]]]:
        """What has to be of a state that is left, each with the fairness set that asks for it."""
        query = self.query
        yield LOOPLESS, self._go_on
        for mark in query.visits:
            yield UNASKED, partial(self._reach_mark, mark)
        if self.halted is not None:
            yield UNASKED, self._reach_halt
        if query.moving:
            yield UNASKED, self._move
        for number in range(len(self._fair)):
            if number in self._set_of:
                yield number, partial(self._be_fair, number)
        yield LOOPLESS, partial(self._come_in, few)

    def _narrow(self, because: int, narrow: Callable[[], None]) -> None:
        """Take states away, and note on which fairness it rests that no loop passes them."""
        if not self._space.product.observers:
            narrow()
            return
        gone = self._copied(self.left)
        narrow()
        self._sets.drop(gone, self.left)
        if because == LOOPLESS:
            self._note_owed(gone)
        elif because >= 0 and self._sets.count(gone):
            self._rests_on.add(because)
        self._sets.free(gone)

    def _note_owed(self, gone: StateSet) -> None:
        """The fairness sets because of which a device does not stay in states on no loop: of each
        the first weak one with a step that leads away, or else the first strong one.
        """
        for mark in self.query.visits:
            self._keep(gone, self._sets.where(mark))
        for number in sorted(range(len(self._fair)), key=lambda n: self._fair[n].strong):
            if not self._sets.count(gone):
                return
            possible = self._sets.sources(Followed(self._of_set(number), away=True), gone)
            if self._sets.count(possible):
                self._rests_on.add(number)
            self._drop(gone, possible)

    def _go_on(self) -> None:
        self._sets.trim(self.left, self._followed)

    def _come_in(self, few: int) -> None:
        """Leave only states to which paths of any length lead, as long as there are many."""
        sets, none, before = self._sets, self._sets.none(), -1
        while (count := sets.count(self.left)) != before and count > few:
            before = count
            self._keep(self.left, sets.targets(self.left, self._followed, none))
        sets.free(none)

    def _reach_mark(self, mark: int) -> None:
        self._reach(self._sets.where(mark))

    def _reach_halt(self) -> None:
        self._reach(self._copied(self.halted))

    def _move(self) -> None:
        moving = (bool(moved & self.query.moving) for _, moved, _ in self._sets.kinds)
        self._reach(self._stepping(tuple(moving)))

    def _reach(self, goal: StateSet) -> None:
        """Leave only states from which a path inside leads to a goal."""
        self._sets.keep(goal, self.left)
        self._sets.widen(goal, self._followed, self.left)
        self._keep(self.left, goal)

    def _be_fair(self, number: int) -> None:
        sets, own = self._sets, self._of_set(number)
        possible = sets.sources(Followed(own, away=True), self.left)
        taken = self._stepping(own)
        if self._fair[number].strong:
            sets.widen(taken, self._followed, self.left)
            self._drop(possible, taken)  # from which no step of the set can be reached
            self._drop(self.left, possible)
            return
        free = self._copied(self.left)
        self._drop(free, possible)
        self._join(taken, free)
        self._reach(taken)

    def _stepping(self, kinds: tuple[bool, ...]) -> StateSet:
        """The states with a transition of some kinds that a loop may use."""
        both = tuple(one and own for one, own in zip(self._followed.kinds, kinds, strict=True))
        return self._sets.sources(replace(self._followed, kinds=both), self.left, self.left)

    def _of_set(self, number: int) -> tuple[bool, ...]:
        """For each kind of transitions whether it is one of a fairness set."""
        return tuple(own == number for own in self._set_of)

    # Sets that are not needed afterwards

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

"""An observer's automaton made smaller where only its verdict is asked for, and no scenario.

Three things shorten it. Of two states beside the same state of the product only the stricter is
followed: whatever the other rejects, it rejects as well (a simulation; see Doyen and Raskin,
"Antichain algorithms for finite automata", TACAS 2010). A choice is put off as long as it comes to
the same later. And nothing is followed once nothing that happens can matter any more.

All of it is computed from the table, for the valuations that occur; no pattern has to promise it.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from modecheck.engine.native.graph import Array
from modecheck.product.automata import Automaton

SETTLED, BAD, UNSURE, ALIVE, AGAIN = (1 << bit for bit in range(5))
"""Flags of a state: nothing that follows matters; what it means to the verdict."""


def can_be_put_off(automaton: Automaton) -> bool:
    """Whether choices can be put off: one a state at the most, made nowhere that matters, and
    leading to where nothing is said about the verdict and none is made again.
    """
    sources = [source for source, _ in automaton.choices]
    told = {*automaton.alive, *automaton.bad, *automaton.unsure}
    targets = {target for _, target in automaton.choices}
    single = len(set(sources)) == len(sources)
    return single and told.isdisjoint({*sources, *targets}) and targets.isdisjoint(sources)


class VerdictAutomaton:
    """Tables for each state and valuation: the state `after`; the state `other` after the choice
    that was put off until now, and `idle_other` before idling for ever, which are the same as
    `after` where there is none. For each state its `flags`, its `family`, in which all are ordered,
    and its `rank` there: the least is the strictest.
    """

    def __init__(self, automaton: Automaton, valuations: Array) -> None:
        self._automaton, self._occurring = automaton, valuations
        states = np.arange(automaton.states)
        self.after = np.array(automaton.table, np.uint32)
        self._rows = self.after.reshape(states.size, -1)
        self._chosen = np.full(states.size, -1, np.int64)
        for source, target in automaton.choices:
            self._chosen[source] = target
        self.flags = self._flagged()
        self.other, self.idle_other = self._put_off(), self._put_off(for_ever=True)
        self.family, self.rank = self._ordered()

    def _flagged(self) -> Array:
        automaton = self._automaton
        flags = np.zeros(automaton.states, np.uint8)
        kinds = ((BAD, automaton.bad), (UNSURE, automaton.unsure), (ALIVE, automaton.alive))
        for flag, states in (*kinds, (AGAIN, automaton.again)):
            flags[list(states)] |= flag
        stays = (self._rows == np.arange(automaton.states)[:, None]).all(axis=1)
        tested = self._tested().any(axis=1) & (flags & (BAD | UNSURE) == 0)
        flags[stays & ~tested & (self._chosen < 0) & (flags & ALIVE == 0)] |= SETTLED
        return flags

    def _tested(self) -> Array:
        """Whether the requirement is put to the test, by state and valuation."""
        tested = np.zeros(self.after.size, bool)
        tested[list(self._automaton.triggers)] = True
        return tested.reshape(self._rows.shape)

    def _put_off(self, *, for_ever: bool = False) -> Array:
        """Where the choice of a state leads, unless it comes to the same afterwards; before idling
        `for_ever`, unless it always will.
        """
        other = self._rows.copy()
        for source, target in self._automaton.choices:
            for valuation in self._occurring.tolist():
                if self._matters(source, target, valuation, for_ever=for_ever):
                    other[source, valuation] = self._rows[target, valuation]
        return other.reshape(-1)

    def _matters(self, state: int, chosen: int, valuation: int, *, for_ever: bool) -> bool:
        """Whether a choice made now differs from one after the valuation, or the valuations."""
        passed = {state}
        while True:
            state, chosen = self._rows[[state, chosen], valuation].tolist()
            if self._chosen[state] != chosen:
                return True
            if not for_ever or state in passed:
                return False
            passed.add(state)

    def stricter(self) -> Array:
        """For each two states whether the first rejects whatever the second rejects, and else is as
        much alive, as unsure and as much put to the test: the greatest such relation.
        """
        rows = self._rows[:, self._occurring]
        bad = self.flags & BAD != 0
        stays = (rows == np.arange(rows.shape[0])[:, None]) & (self.flags & ALIVE != 0)[:, None]
        looks = np.column_stack([self.flags, self._tested()[:, self._occurring], stays])
        kinds = np.unique(looks, axis=0, return_inverse=True)[1].reshape(-1)
        alike = kinds[:, None] == kinds
        chooses, chosen = self._chosen >= 0, np.maximum(self._chosen, 0)
        relation: Array = alike | bad[:, None]
        before = -1
        while relation.sum() != before:
            before = relation.sum()
            kept = chooses[:, None] & relation[np.ix_(chosen, chosen)] | ~chooses
            for column in rows.T:
                kept &= relation[np.ix_(column, column)]
            relation &= kept | bad[:, None]
        return relation

    def _ordered(self) -> tuple[Array, Array]:
        """The families and ranks. Where alive states could change within a family without becoming
        stricter, each has its own: a step that changes one is none in place.
        """
        stricter = self.stricter()
        family, rank = self._families(stricter)
        alive = np.flatnonzero(self.flags & ALIVE)
        after = self._rows[np.ix_(alive, self._occurring)]
        within = (family[after] == family[alive, None]) & (after != alive[:, None])
        if (within & (rank[after] >= rank[alive, None])).any():
            stricter[alive] = stricter[:, alive] = False
            family, rank = self._families(stricter)
        return family, rank

    def _families(self, stricter: Array) -> tuple[Array, Array]:
        families: list[list[int]] = []
        family, rank = (np.zeros(stricter.shape[0], np.uint32) for _ in range(2))
        for state in np.argsort(-stricter.sum(axis=1), kind="stable").tolist():
            number = next(self._above(families, stricter, state), len(families))
            if number == len(families):
                families.append([])
            else:
                last = families[number][-1]
                rank[state] = rank[last] + np.uint32(not stricter[state, last])
            families[number].append(state)
            family[state] = number
        return family, rank

    def _above(self, families: list[list[int]], stricter: Array, state: int) -> Iterator[int]:
        """The families whose last state is at least as strict."""
        for number, known in enumerate(families):
            # Bad states are stricter than all others, and are not followed.
            if stricter[known[-1], state] and not self.flags[known[-1]] & BAD:
                yield number

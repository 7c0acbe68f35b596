"""What one observer finds of a product that is explored already, where no scenario is asked for.

A requirement that holds needs no numbers of states and no shortest paths, so its observer is
followed in a smaller automaton (`verdict_automaton`), in whatever order, and transitions are kept
only where it stays alive: only there can a loop violate anything.
"""

from __future__ import annotations

from threading import Event

import numpy as np

from modecheck.engine.contract.observer_answer import ObserverVerdict, waiting_loops
from modecheck.engine.contract.phases import count
from modecheck.engine.contract.space import INTERRUPTION, Limits
from modecheck.engine.native.graph import Array, CompiledExploration
from modecheck.engine.native.growing_arrays import Reserved, Words
from modecheck.engine.native.native_arrays import NativeArrays
from modecheck.engine.native.observer_kernels import TABLE_SHARE, fill_anew
from modecheck.engine.native.observer_readings import ObserverReadings, can_be_followed, starts_in
from modecheck.engine.native.verdict_automaton import (
    AGAIN,
    ALIVE,
    BAD,
    SETTLED,
    UNSURE,
    VerdictAutomaton,
    can_be_put_off,
)
from modecheck.engine.native.verdict_kernels import COUNT, COUNTERS, decide, is_done, link_alive
from modecheck.engine.search.fair_components import FairSearch
from modecheck.engine.search.state_graph import StateGraph
from modecheck.product.automata import Automaton
from modecheck.product.ir import Product

MOST_STATES = 1 << 26
"""States that are followed at the most, some 50 bytes each: all stands in memory."""
AT_A_TIME = 1 << 18
"""States looked at between two looks at whether somebody has interrupted."""
IDLES = 1 << 8
"""A mark beside the flags of the observer's states."""


def verdict_along(
    space: CompiledExploration,
    product: Product,
    automaton: Automaton,
    limits: Limits,
    interrupted: Event,
) -> ObserverVerdict | None:
    """What the only observer of a product finds, whose automaton this is. None where it cannot be
    told from the transitions of the space, or would take more states than the limits allow.
    """
    if not can_be_put_off(automaton) or not can_be_followed(space, product, limits):
        return None
    most = MOST_STATES if limits.states is None else min(limits.states, MOST_STATES)
    return _Deciding(space, product, automaton, most).verdict(interrupted)


class _Deciding:
    def __init__(
        self, space: CompiledExploration, product: Product, automaton: Automaton, most: int
    ) -> None:
        self._space, self._product, self._automaton, self._most = space, product, automaton, most
        self._readings = ObserverReadings(space, product)
        occurring = np.union1d(self._readings.values, self._readings.staying)
        self._smaller = VerdictAutomaton(automaton, occurring.astype(np.int64))
        self._behind = 2 * (space.graph.most_edges + 1)
        self._seen = np.zeros(self._smaller.after.size, np.uint8)
        self._found = np.zeros(1, np.uint8)
        self._counters = np.zeros(COUNTERS, np.int64)
        self._kept, self._own = np.empty((0, 2), np.uint64), np.empty(0, np.uint32)
        self._table = np.empty(0, np.uint64)
        self._begin()

    def _begin(self) -> None:
        """The states in which it may begin, as the observer has judged them."""
        self._make_room(2 * self._space.state_count + self._behind)
        count = 0
        for number, state in starts_in(self._space, self._product):
            own = state[self._product.observers[0].field]
            self._found[0] |= self._smaller.flags[own]
            if not self._smaller.flags[own] & SETTLED:
                self._kept[count] = number, int(self._smaller.family[own]) << 1
                self._own[count] = own
                count += 1
        self._counters[COUNT] = count
        fill_anew(self._table, self._kept, count)

    def _make_room(self, states: int) -> None:
        """Room for so many states, in the arrays and in the table."""
        known = int(self._counters[COUNT])
        kept, own = Reserved(2 * states, huge_pages=True).words.reshape(-1, 2), self._own
        kept[:known] = self._kept[:known]
        self._kept, self._own = kept, np.zeros(states, np.uint32)
        self._own[:known] = own[:known]
        self._again = np.zeros(states, np.uint32)
        size = 1 << (TABLE_SHARE * states - 1).bit_length()
        self._table = Reserved(size, huge_pages=True).words
        fill_anew(self._table, self._kept, known)

    def verdict(self, interrupted: Event) -> ObserverVerdict | None:
        """Some states at a time, until there are no more, or something bad is found."""
        stopped_by = ""
        try:
            while not interrupted.is_set() and not is_done(self._counters, self._found):
                self._go_on()
                if self._counters[COUNT] > self._most:
                    return None
        except KeyboardInterrupt:
            interrupted.set()
        if not is_done(self._counters, self._found):
            stopped_by = INTERRUPTION
        return self._told(stopped_by)

    def _go_on(self) -> None:
        graph, smaller, readings = self._space.graph, self._smaller, self._readings
        if self._counters[COUNT] + self._behind >= self._own.size:
            self._make_room(2 * self._own.size)
        decide(
            graph.first, graph.targets, readings.values, readings.staying, readings.obliged,
            self._automaton.atoms, smaller.after, smaller.other, smaller.idle_other,
            smaller.family, smaller.rank, smaller.flags, self._table, self._kept, self._own,
            self._again, self._seen, np.empty((self._behind, 4), np.uint64), self._found,
            self._counters, self._own.size - self._behind, AT_A_TIME,
        )  # fmt: skip
        count(int(self._counters[COUNT]))

    def _told(self, stopped_by: str) -> ObserverVerdict:
        states, flags = int(self._counters[COUNT]), int(self._found[0])
        broken, rests_on, ends_failing = bool(flags & BAD), frozenset[int](), False
        if not broken and not stopped_by and flags & ALIVE:
            broken, rests_on, ends_failing = self._staying_alive()
        return ObserverVerdict(
            states=states,
            broken=broken,
            lost_count=bool(flags & UNSURE),
            ends_failing=ends_failing,
            tested=self._is_tested(),
            rests_on=rests_on,
            stopped_by=stopped_by,
        )

    def _is_tested(self) -> bool:
        """Whether the requirement was put to the test anywhere, choices made at any time."""
        seen = self._seen.reshape(self._automaton.states, -1)
        for source, target in self._automaton.choices:
            seen[target] |= seen[source]
        triggers = self._automaton.triggers
        looked_up = bool(self._seen[list(triggers)].any())
        return looked_up or not triggers.isdisjoint(self._product.observers[0].firsts)

    def _staying_alive(self) -> tuple[bool, frozenset[int], bool]:
        """Whether it can stay alive for ever, on which fairness it rests that it cannot, and
        whether from some state it does unless a step fails.
        """
        graph, marks = self._alive()
        again = AGAIN if self._automaton.again != self._automaton.alive else 0
        found, rests_on = False, frozenset[int]()
        for query in waiting_loops(ALIVE, again, IDLES):
            wanted, both = np.uint64(query.wanted), np.uint64(query.wanted | query.unwanted)
            inside = (marks & both == wanted).astype(np.uint8)
            # What it owes where a step fails is not asked here: what seems broken is explored.
            search = FairSearch.of(self._product, graph, marks, inside, query)
            component, rests = search.component()
            found, rests_on = found or component is not None, rests_on | rests
        if not self._space.failures:
            return found, rests_on, False
        goals = (marks & np.uint64(again or ALIVE) == 0).astype(np.uint8)
        return found, rests_on, not all(graph.leading_to(goals, past_failures=False))

    def _alive(self) -> tuple[StateGraph, Words]:
        """The states in which it is alive, all others as one behind them, and their marks."""
        known, alone, smaller = int(self._counters[COUNT]), self._space.graph, self._smaller
        flags = smaller.flags[self._own[:known]]
        numbers = np.flatnonzero(flags & ALIVE)
        places = np.zeros(known, np.uint32)
        places[numbers] = np.arange(numbers.size)
        kept = self._kept[numbers]
        sources, idles = kept[:, 0].astype(np.int64), (kept[:, 1] & np.uint64(1)).astype(bool)
        most = int((alone.first[sources + 1] - alone.first[sources] + 1).sum())
        first = np.empty(numbers.size + 2, np.int64)
        targets, notes = np.empty(most, np.uint32), np.empty(most, np.uint16)
        made = link_alive(
            numbers, places, alone.first, alone.targets, alone.notes, self._readings.values,
            self._readings.staying, self._readings.obliged, self._automaton.atoms,
            smaller.after, smaller.family, smaller.flags, alone.labels.size, self._table,
            self._kept, self._own, known, first, targets, notes,
        )  # fmt: skip
        first[-1] = made
        graph = self._graph(numbers.size + 1, first, targets[:made], notes[:made])
        graph.failing[:-1] = alone.failing[sources] & ~idles
        marks = np.zeros(numbers.size + 1, np.uint64)
        marks[:-1] = flags[numbers] | np.where(idles, IDLES, 0)
        return graph, marks

    def _graph(self, states: int, first: Array, targets: Array, notes: Array) -> StateGraph:
        alone, nothing = self._space.graph, np.zeros(1, np.uint64)
        none = np.zeros(states, np.uint8)
        return StateGraph(
            arrays=NativeArrays(),
            first=first,
            targets=targets,
            notes=notes,
            labels=np.append(alone.labels, np.uint64(self._product.idle_label)),
            moved=np.append(alone.moved, nothing),
            events=np.append(alone.events, nothing),
            is_quiescent=none,
            failing=none.copy(),
            linked=states,
        )

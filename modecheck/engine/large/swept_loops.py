"""Fair loops of a space without transitions: of the states among which all of them lie (see
`loop_core.py`) the transitions are made, and searched as those of any graph.

The search finds in a core what it would find in the whole graph: the same loops, states being in
the same order. For that, all steps out of the core are there as well, since they tell what is
possible in a state; they lead to one more state that nothing may pass.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from modecheck.engine.contract.space import HALTED, FairLoop, LoopAnswer, LoopQuery, NotSearched
from modecheck.engine.large.loop_core import LoopCore
from modecheck.engine.large.state_sets import BitFlags, ListedTransitions, Numbers, StateSet
from modecheck.engine.native.growing_arrays import Words
from modecheck.engine.native.native_arrays import NativeArrays
from modecheck.engine.reference.plain import Interpreter
from modecheck.engine.search.fair_components import FairSearch
from modecheck.engine.search.owed_failures import OwedSearch, search_with_owed
from modecheck.engine.search.state_graph import StateGraph

if TYPE_CHECKING:
    from modecheck.engine.large.swept_space import SweptPaths

FEW = 1 << 22
"""States of a core whose transitions are made, if there is room for them, before a look whether it
shrinks more: that takes some sweeps for each fairness set."""
MOST_TRANSITIONS = 1 << 26
"""Transitions of a core at the most: with what the search needs, some 2 GB."""


def fair_loop_in(space: SweptPaths, query: LoopQuery) -> LoopAnswer:
    """See `Space.fair_loop`. Raises `NotSearched` where the core is too large, or memory too small
    for the sets.
    """
    try:
        return _answer(space, LoopCore(space, query))
    except MemoryError as error:
        raise NotSearched from error


def _answer(space: SweptPaths, core: LoopCore) -> LoopAnswer:
    sets = space.sets
    try:
        for few in (FEW, 0):
            core.shrink(few)
            count = sets.count(core.left)
            if not count:
                return LoopAnswer(None, core.rests_on)
            numbers = sets.numbers(core.left) if count <= MOST_TRANSITIONS else None
            listed = None if numbers is None else sets.transitions(numbers, MOST_TRANSITIONS)
            if numbers is not None and listed is not None:
                marks = _marks(space, core, numbers)
                return _searched(space, core, numbers, marks, listed)
        raise NotSearched
    finally:
        core.free()


def _marks(space: SweptPaths, core: LoopCore, numbers: Numbers) -> Words:
    """Of the marks of some states those that matter to a loop; 0 behind them."""
    marks, query = np.zeros(numbers.size + 1, np.uint64), core.query

    def put(own: StateSet, mark: int) -> None:
        flags = BitFlags(space.sets.bits(own), space.state_count).of(numbers)
        marks[:-1] |= flags * np.uint64(mark)

    for bit in range(len(space.product.conditions)):
        if 1 << bit & query.without_gains or 1 << bit in query.visits:
            own = space.sets.where(1 << bit)
            put(own, 1 << bit)
            space.sets.free(own)
    if core.halted is not None:
        put(core.halted, HALTED)
    return marks


def _searched(
    space: SweptPaths, core: LoopCore, numbers: Numbers, marks: Words, listed: ListedTransitions
) -> LoopAnswer:
    """A loop through some states, which are in their order."""
    graph, query = _graph(space, numbers, listed), core.query
    inside = np.ones(graph.count, np.uint8)
    inside[-1] = 0
    if query.timeless:
        query = replace(query, visits=(*query.visits, HALTED))
    search = FairSearch.of(space.product, graph, marks, inside, query)
    places: Sequence[int] = range(graph.count)
    past = _past_failures(space, numbers, search) if query.past_failures else None
    if past is None:
        component, rests_on = search.component()
    else:
        component, rests_on, places = past.component, past.rests_on, past.places
    if component is None:
        return LoopAnswer(None, rests_on | core.rests_on)
    found = component.loop(lambda place: space.depth_of(int(numbers[places[place]])))
    loop = [(label, int(numbers[places[place]])) for label, place in found]
    return LoopAnswer(FairLoop(space.path_to(loop[-1][1]), loop))


def _past_failures(space: SweptPaths, numbers: Numbers, search: FairSearch) -> OwedSearch | None:
    """The search where some of these states have failing steps; None where that does not matter."""
    own = space.sets.unknown(past_failures=True)
    fails = np.zeros(numbers.size + 1, np.uint8)
    fails[:-1] = BitFlags(space.sets.bits(own), space.state_count).of(numbers)
    space.sets.free(own)
    if not fails.any():
        return None
    steps = Interpreter(space.product).steps

    def failing_labels(place: int) -> Iterator[int]:
        return (s.label for s in steps(space.state(int(numbers[place]))) if s.after is None)

    return search_with_owed(space.product, search, fails, failing_labels)


def _graph(space: SweptPaths, numbers: Numbers, listed: ListedTransitions) -> StateGraph:
    """These states, one more in place of all others, and the transitions of the former."""
    targets = np.searchsorted(numbers, listed.targets).astype(np.uint32)
    known = numbers[np.minimum(targets, numbers.size - 1)] == listed.targets
    targets[~known] = numbers.size
    labels, moved, events = np.array(space.sets.kinds, np.uint64).reshape(-1, 3).T.copy()
    none = np.zeros(numbers.size + 1, np.uint8)
    return StateGraph(
        arrays=NativeArrays(),
        first=np.append(listed.first, listed.first[-1]),
        targets=targets,
        notes=listed.kinds,
        labels=labels,
        moved=moved,
        events=events,
        is_quiescent=none,
        failing=none.copy(),
        linked=numbers.size + 1,
    )

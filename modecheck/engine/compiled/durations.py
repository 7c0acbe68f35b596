"""Times in millions of states: the search of `modecheck.engine.durations`, compiled."""

from __future__ import annotations

import numpy as np

from modecheck.engine.compiled.duration_kernels import (
    find_best,
    find_starts,
    find_worst,
    standing,
)
from modecheck.engine.compiled.exploration import CompiledExploration
from modecheck.engine.compiled.graph import Array
from modecheck.engine.durations import (
    FOREVER,
    GOAL,
    NEVER,
    REGION,
    DurationQuery,
    Durations,
    Start,
    TickLabels,
)
from modecheck.engine.space import INITIAL


def compiled_durations(space: CompiledExploration, query: DurationQuery) -> Durations | None:
    """As `durations_in`."""
    graph, count = space.graph, space.state_count
    if not graph.linked:
        return None
    labels, of_note = TickLabels.of(space), graph.labels.astype(np.int64)
    tick = np.array(labels.tick, np.uint8)[of_note]
    stops = tick | np.array(labels.at_once, np.uint8)[of_note]
    held = np.array(labels.held, np.uint64)[of_note]
    barred, without = _among(of_note, query.barred), _among(of_note, query.barred_for_longest)
    kinds, stands = _kinds(space, query), np.zeros(count, np.uint8)
    standing(
        graph.first, graph.notes, space.marks, kinds, graph.failing, np.uint64(labels.due), stops,
        held, stands,
    )  # fmt: skip
    best, worst = np.full(count, NEVER, np.int32), np.full(count, NEVER, np.int32)
    component = np.zeros(count, np.uint32)
    low, stack, calls, index = (np.zeros(count, np.uint32) for _ in range(4))
    find_worst(
        graph.first, graph.targets, graph.notes, kinds, without, tick, stands,
        0 if query.endless else NEVER, FOREVER, worst, component, low, stack, calls,
        np.empty(count, np.int64), index,
    )  # fmt: skip
    del low, stack, calls, index
    now, later = np.empty(2 * count, np.uint32), np.empty(2 * count, np.uint32)
    find_best(*graph.turned_round(), kinds, barred, tick, best, now, later)
    shortest, longest = _starts(space, query, kinds, best, worst)
    return Durations(kinds, best, worst, component, stands, shortest, longest)  # type: ignore[arg-type]


def _among(of_note: Array, labels: frozenset[int]) -> Array:
    """A flag for each note whose label is one of these."""
    flags: Array = np.isin(of_note, np.array(sorted(labels), np.int64)).astype(np.uint8)
    return flags


def _kinds(space: CompiledExploration, query: DurationQuery) -> Array:
    both = np.uint64(query.inside | query.outside)
    region = space.marks & both == np.uint64(query.inside)
    kinds = np.zeros(space.state_count, np.uint8)
    goal = ~region
    if query.goal:
        goal &= space.marks & np.uint64(query.goal) != 0
    kinds[goal] = GOAL
    region[space.graph.linked :] = False
    kinds[region] = REGION
    return kinds


def _starts(
    space: CompiledExploration,
    query: DurationQuery,
    kinds: Array,
    best: Array,
    worst: Array,
) -> tuple[Start | None, Start | None]:
    graph = space.graph
    if query.before:
        before = (space.marks & np.uint64(query.before) != 0).astype(np.uint8)
        reached = np.zeros(space.state_count, np.uint8)
        reached[space.spread(query.before, blocked=query.outside).inside] = 1
    else:
        before = (kinds != REGION).astype(np.uint8)
        reached = np.ones(space.state_count, np.uint8)
    found = np.full(6, -1, np.int64)
    if not query.before and kinds[INITIAL] == REGION:
        found[0], found[3] = best[INITIAL], worst[INITIAL]
    find_starts(
        graph.first, graph.targets, graph.notes, kinds, reached, before,
        _among(graph.labels.astype(np.int64), query.actors), query.straight, best, worst, found,
    )  # fmt: skip
    return _start(space, *found[:3].tolist()), _start(space, *found[3:].tolist())


def _start(space: CompiledExploration, ticks: int, source: int, edge: int) -> Start | None:
    if ticks < 0:
        return None
    if source < 0:
        return Start(ticks, NEVER, NEVER, INITIAL)
    graph = space.graph
    label = int(graph.labels[graph.notes[edge]])
    return Start(ticks, source, label, int(graph.targets[edge]))

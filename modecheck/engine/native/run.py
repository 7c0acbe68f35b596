"""Explore a product with the compiled engine, from the machine code to what the checks ask for."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterable
from dataclasses import replace
from functools import partial
from typing import TYPE_CHECKING

import numpy as np

from modecheck.engine.contract.memory import available_memory, resident_memory
from modecheck.engine.contract.phases import phase
from modecheck.engine.contract.space import INTERRUPTION, Limits, Sighting
from modecheck.engine.native.code_notes import observed_in
from modecheck.engine.native.graph import (
    CompiledExploration,
    States,
    bytes_needed,
    bytes_to_number,
    graph_of,
    graph_without_transitions,
    numbered_states,
)
from modecheck.engine.native.graph_kernels import mark_states
from modecheck.engine.native.growing_arrays import Words
from modecheck.engine.native.machine import (
    OPTIMISATION,
    UNOPTIMISED,
    CompiledProduct,
    compiled,
    overheard,
)
from modecheck.engine.native.reach import ReachedStates, reach
from modecheck.engine.reference.system_actions import system_actions
from modecheck.engine.search.exploration import Reporter
from modecheck.engine.search.explored_space import Exploration
from modecheck.engine.search.state_graph import StateGraph
from modecheck.product.expression_ir import Failure
from modecheck.product.ir import EventIR, Product

if TYPE_CHECKING:
    from modecheck.engine.reductions.representatives import Representatives

SOON_BUILT = 4_000_000
"""Transitions whose graph is built in less than a second, also after an interruption."""
SECONDS_AFTER = 1.0
"""After an interruption, how long states are looked at for the report."""


def explore_compiled(
    product: Product,
    *,
    threads: int,
    limits: Limits,
    reporter: Reporter,
    representatives: Representatives | None = None,
    unoptimised_up_to: int = 0,
    overhearing: tuple[EventIR, ...] = (),
    otherwise: Callable[[Limits], CompiledExploration | None] | None = None,
) -> CompiledExploration:
    """Everything reachable within the limits, or its representatives. Raises `NotCompilableError`
    when the product has too much of something. Up to so many states the code is not
    optimised: it is made fast and runs slowly, which nobody notices where there are no more
    states; otherwise all is begun anew, by what is given as `otherwise` if that finds anything.
    The graph tells of the events of `overhearing`, too, if all of them fit.
    """
    heard = product if representatives else overheard(product, overhearing)
    made = partial(compiled, heard, system_actions(product), representatives=representatives)
    explored = partial(reach, threads=threads, reporter=reporter, later=bytes_to_number)
    reached = _reached(made, explored, limits, unoptimised_up_to, otherwise)
    if isinstance(reached, Exploration):
        return reached
    machine, transitions = reached.machine, reached.transitions
    failures = [worker.failures for worker in reached.workers]
    stopped_by = reached.stopped_by
    states = numbered_states(reached, limits.states)
    reached.give_back()
    bound = limits.memory or resident_memory() + available_memory()
    interrupted = stopped_by == INTERRUPTION and transitions > SOON_BUILT
    try:
        with phase("building the graph"):
            if interrupted:
                graph = _hasty_graph(states)
            else:
                graph = _graph(states, transitions, bound, threads)
    except KeyboardInterrupt:
        # All states are known by now; what they lead to is not, and is not waited for.
        stopped_by, graph = INTERRUPTION, _hasty_graph(states)
    if graph.linked < states.expanded:
        stopped_by = stopped_by or "too little memory to keep the transitions"
    marks = np.zeros(states.count, np.uint64)
    mark_states(machine.marks, states.words, states.width, states.count, marks)
    return CompiledExploration(
        product=product,
        found=states,
        marks=marks,
        transitions=int(graph.first[-1]) if graph.linked else transitions,
        observed=observed_in(machine, states.seen),
        failures=_sightings(machine, states, failures),
        graph=graph,
        stopped_by=stopped_by,
    )


def _reached(
    made: Callable[..., CompiledProduct],
    explored: Callable[..., ReachedStates],
    limits: Limits,
    unoptimised: int,
    otherwise: Callable[[Limits], CompiledExploration | None] | None,
) -> ReachedStates | CompiledExploration:
    """What is reached with unoptimised code, or if there are more states than that, otherwise or
    with code that is optimised.
    """
    with phase("making machine code"):
        machine = made(level=UNOPTIMISED if unoptimised else OPTIMISATION)
    if limits.memory is not None:
        _load_kernels(machine)
    limits = replace(limits, since=time.monotonic() if limits.since is None else limits.since)
    few = limits.states is not None and limits.states <= unoptimised
    if not unoptimised or few:
        return explored(machine, limits=limits)
    first = replace(limits, states=unoptimised)
    reached = explored(machine, limits=first)
    if reached.stopped_by != first.reached_states:
        return reached
    reached.give_back()
    elsewhere = otherwise(limits) if otherwise is not None else None
    if elsewhere is not None:
        return elsewhere
    with phase("making faster machine code"):
        machine = made(level=OPTIMISATION)
    return explored(machine, limits=limits)


def _load_kernels(machine: CompiledProduct) -> None:
    """Have the kernels that come last compiled now, and not when memory is short."""
    initial = np.array(machine.starts[0], np.uint64)
    seen = np.zeros(len(machine.seen) + 64, np.uint8)
    states = States(machine, initial, [1], 1, seen)
    graph_without_transitions(states)
    mark_states(machine.marks, states.words, states.width, 1, np.zeros(1, np.uint64))


def _graph(states: States, transitions: int, bound: int, threads: int) -> StateGraph:
    """The graph with its transitions, if they fit beside what is held already."""
    if resident_memory() + bytes_needed(states.count, transitions) <= bound:
        return graph_of(states, transitions, threads)
    return graph_without_transitions(states)


def _hasty_graph(states: States) -> StateGraph:
    """What is found out at once about states when nobody wants to wait any longer."""
    return graph_without_transitions(states, seconds=SECONDS_AFTER)


def _sightings(
    machine: CompiledProduct, states: States, parts: list[Words]
) -> dict[tuple[str, str], Sighting]:
    """The failing steps that were met, the shallowest of each with the state of least words."""
    rows = []
    for number, failure in enumerate(machine.failures):
        seen = [part[number] for part in parts if part[number][0]]
        if not seen:
            continue
        count = sum(int(row[0]) for row in seen)
        level, words, label = min((int(r[1]), tuple(r[3:].tolist()), int(r[2])) for r in seen)
        rows.append((level, words, label, failure, count))
    rows.sort(key=lambda row: row[:3])
    return sightings_of(
        (states.number_in(level - 1, words), label, failure, count)
        for level, words, label, failure, count in rows
    )


FailureRow = tuple[int | None, int, Failure, int]
"""A failure: the first state and the least label with which it was met, and how often it was."""


def sightings_of(rows: Iterable[FailureRow]) -> dict[tuple[str, str], Sighting]:
    """Failures by code and subject, in order; those that blame another place stand together."""
    sightings: dict[tuple[str, str], Sighting] = {}
    for first, label, failure, count in rows:
        key = (failure.code, failure.subject)
        known = sightings.get(key)
        if known is None:
            if first is None:
                continue  # seen behind a bound of states, in a state that is not kept
            sightings[key] = Sighting(failure, first, label, count)
        else:
            known.count += count
            known.others.append(failure)
    return sightings

"""Explore a product on a GPU, from its code to what the checks ask for.

States are found there, numbered here, and looked at there once more. What comes back is what the
compiled engine would have built: the same numbers, marks and transitions, so that all searches of
checks go on from there.
"""

from __future__ import annotations

import numpy as np

from modecheck.engine.contract.memory import available_memory, resident_memory
from modecheck.engine.contract.phases import phase
from modecheck.engine.contract.space import Limits
from modecheck.engine.gpu.device_memory import KernelDevice
from modecheck.engine.gpu.gpu_looking import GpuStates, Looked
from modecheck.engine.gpu.gpu_reach import GpuReach
from modecheck.engine.native.code_notes import observed_in
from modecheck.engine.native.graph import (
    CompiledExploration,
    States,
    bytes_needed,
    graph_from,
)
from modecheck.engine.native.machine import UNOPTIMISED, CompiledProduct, compiled, overheard
from modecheck.engine.native.native_arrays import NativeArrays
from modecheck.engine.native.run import sightings_of
from modecheck.engine.reference.system_actions import system_actions
from modecheck.engine.search.exploration import Reporter
from modecheck.engine.search.state_graph import StateGraph
from modecheck.product.ir import EventIR, Product

NO_TRANSITIONS = "too little memory to keep the transitions"


def explore_on_gpu(
    product: Product,
    device: KernelDevice,
    *,
    threads: int,
    limits: Limits,
    reporter: Reporter,
    overhearing: tuple[EventIR, ...] = (),
) -> CompiledExploration:
    """Everything reachable within the limits. Raises `NotCompilableError` when the product has too
    much of something, `MemoryError` and `DeviceFailed`.
    """
    machine = machine_of(product, overhearing)
    with phase("making code for the GPU"):
        reach = GpuReach(device, machine, limits, reporter)
    found = reach.run()
    with phase("building the graph"):
        own = GpuStates(machine, found, threads=threads, most=limits.states)
        states = States(machine, own.words, own.layers, own.expanded, own.seen)
        looked = own.looked()
        stopped_by, transitions = found.stopped_by, int(looked.counts.sum(dtype=np.int64))
        bound = limits.memory or resident_memory() + available_memory()
        fits = resident_memory() + bytes_needed(states.count, transitions) <= bound
        if looked.all_notes and fits:
            graph = graph_from(own.transitions(looked), states, threads)
        else:
            graph = _without_transitions(looked)
            stopped_by = stopped_by or NO_TRANSITIONS
        marks = own.marks()
    found.give_back()
    return CompiledExploration(
        product=product,
        found=states,
        marks=marks,
        transitions=transitions,
        observed=observed_in(machine, states.seen),
        failures=sightings_of(looked.failures),
        graph=graph,
        stopped_by=stopped_by,
    )


def machine_of(product: Product, overhearing: tuple[EventIR, ...]) -> CompiledProduct:
    """The product as code for this machine, by which single states are stepped."""
    heard = overheard(product, overhearing)
    with phase("making machine code"):
        return compiled(heard, system_actions(product), level=UNOPTIMISED)


def _without_transitions(looked: Looked) -> StateGraph:
    none, nothing = np.empty(0, np.uint64), np.empty(0, np.uint32)
    first, notes = np.zeros(1, np.int64), np.empty(0, np.uint16)
    return StateGraph(
        NativeArrays(), first, nothing, notes, none, none, none,
        looked.is_quiescent, looked.failing, linked=0,
    )  # fmt: skip

"""Explore a product on a GPU, from its code to what the checks ask for.

States are found there, numbered here, and looked at there once more. What comes back is what the
compiled engine would have built: the same numbers, marks and transitions, so that all searches of
checks go on from there.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np

from modecheck.engine.contract.memory import available_memory, resident_memory
from modecheck.engine.contract.phases import phase
from modecheck.engine.contract.space import Limits
from modecheck.engine.gpu.device_memory import KernelDevice
from modecheck.engine.gpu.found_states import FoundStates
from modecheck.engine.gpu.gpu_looking import GpuStates, Looked
from modecheck.engine.gpu.gpu_product_code import code_of_steps
from modecheck.engine.gpu.gpu_reach import GpuReach
from modecheck.engine.gpu.gpu_sets import GpuSets
from modecheck.engine.gpu.kernel_code import kept_ptx
from modecheck.engine.language.kernel import Kernel
from modecheck.engine.large.swept_space import swept
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
TOO_MANY_STATES = "too little memory of one GPU to have all states there"
TOO_MANY_KINDS = "too many kinds of transitions"


def explore_on_gpu(
    product: Product,
    devices: Sequence[KernelDevice],
    *,
    threads: int,
    limits: Limits,
    reporter: Reporter,
    overhearing: tuple[EventIR, ...] = (),
    keep: bool = True,
    sweeps: bool = False,
    ready: Callable[[], object] = lambda: None,
) -> CompiledExploration:
    """Everything reachable within the limits, found by all devices where that pays, and looked at
    by the first. Where transitions do not fit the memory of this machine, or are not to be kept,
    the space is incomplete, or with `sweeps` makes them again when they are asked for. What is
    `ready` is waited for when all states are found: code that was made elsewhere. Raises
    `NotCompilableError` when the product has too much of something, `MemoryError` and
    `DeviceFailed`.
    """
    machine = machine_of(product, overhearing)
    with phase("making code for the GPU"):
        reach = GpuReach(devices, machine, limits, reporter)
    found = reach.run()
    ready()
    with phase("building the graph"):
        return _space_of(product, machine, found, threads, limits, keep=keep, sweeps=sweeps)


def _space_of(
    product: Product,
    machine: CompiledProduct,
    found: FoundStates,
    threads: int,
    limits: Limits,
    *,
    keep: bool,
    sweeps: bool,
) -> CompiledExploration:
    own = GpuStates(machine, found, threads=threads, most=limits.states)
    states = States(machine, own.words, own.layers, own.expanded, own.seen)
    bound = limits.memory or resident_memory() + available_memory()
    fits = resident_memory() + bytes_needed(states.count, found.transitions) <= bound
    looked = own.looked(counts=keep and fits and own.is_whole)
    marks = own.marks()
    can_know = looked.all_notes and own.is_whole
    kept = keep and fits and can_know
    if kept:
        graph = graph_from(own.transitions(looked), states, threads)
    else:
        graph = _without_transitions(looked)
    space = CompiledExploration(
        product=product,
        found=states,
        marks=marks,
        transitions=looked.transitions,
        observed=observed_in(machine, states.seen),
        failures=sightings_of(looked.failures),
        graph=graph,
        stopped_by=found.stopped_by,
    )
    if sweeps and can_know and not kept:
        return swept(space, GpuSets(own, looked))
    own.give_back()
    if not kept:
        why = NO_TRANSITIONS if own.is_whole else TOO_MANY_STATES
        why = why if looked.all_notes else TOO_MANY_KINDS
        space.stopped_by = space.stopped_by or why
    return space


def keep_code(product: Product, overhearing: tuple[EventIR, ...], kernel: Kernel) -> None:
    """Make the code of a kernel that looks at states or makes transitions, and keep it on disk."""
    kept_ptx(code_of_steps(machine_of(product, overhearing), kernel))


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

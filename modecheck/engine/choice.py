"""Which engine explores: the plain one first, the compiled one when a product turns out large, and
a GPU when it is so large that faster code would be made, if there is one.

A small product is done before the compiled engine would have been loaded. Beyond `SWITCH_AT` states
the exploration is begun anew in machine code, which takes less time than was spent so far.

With a reduction, a part of the product is explored that stands for the whole. Only the plain engine
orders independent steps.
"""

from __future__ import annotations

import importlib.util
import os
import sys
import time
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Literal, cast

from modecheck.engine.contract.forked_task import ForkedTask, can_begin
from modecheck.engine.contract.phases import phase
from modecheck.engine.contract.space import INTERRUPTION, Limits, Space
from modecheck.engine.reference.system_actions import system_actions
from modecheck.engine.search.exploration import Reporter, Silent, explore
from modecheck.engine.search.explored_space import Exploration, StateStore
from modecheck.model.errors import ModecheckError
from modecheck.product.ir import EventIR, Product

if TYPE_CHECKING:
    from modecheck.engine.native.graph import CompiledExploration
    from modecheck.engine.reductions.plain_reduction import PlainReduction
    from modecheck.engine.store.pool import Workers
    from modecheck.engine.store.store_space import StoreSpace

EngineName = Literal["auto", "plain", "compiled", "gpu", "zones"]
"""Only the command `check`, and what judges as it does, explores by zones."""

SWITCH_AT = 3_000
"""States that the plain engine explores in about the time that the compiled one takes to load."""

OPTIMISED_FROM = 200_000
"""States from which on optimised machine code saves more time than it takes to make."""

MOST_THREADS = 64


class EngineUnavailable(ModecheckError):
    """The engine that was asked for cannot explore this product, or is not installed."""

    def __init__(self, reason: str, engine: str = "compiled") -> None:
        super().__init__()
        self.reason = reason
        self.engine = engine

    def __str__(self) -> str:
        return f"the {self.engine} engine cannot explore this product: {self.reason}"


@dataclass(frozen=True, slots=True)
class Search:
    """How to explore. `threads` is None for one for each core. `expected` is what is known already
    of how many states there are: the plain engine does not begin with a product that is large, and
    the compiled one does not optimise the code of one that is small.

    With `symmetry`, states that differ by an exchange of identical units are explored once; with
    `order`, independent steps are followed in one order, which shows all deadlocks and no more;
    with `time_acceleration`, products are composed so that time in which nothing can happen is one
    step. With `sweeps`, a space may come without its transitions, where there is no memory for them
    but it can make them again. With `store`, only the command `check` explores, into files of this
    folder, and with `cluster` as well, by the workers of the cluster with this address.
    """

    engine: EngineName = "auto"
    limits: Limits = field(default_factory=Limits)
    threads: int | None = None
    symmetry: bool = False
    order: bool = False
    time_acceleration: bool = False
    expected: int = 0
    sweeps: bool = False
    store: str | None = None
    cluster: str | None = None


def explore_with(
    product: Product,
    search: Search | None = None,
    reporter: Reporter | None = None,
    *,
    overhearing: tuple[EventIR, ...] = (),
) -> Space:
    """Explore a product. Raises `EngineUnavailable` when a forced engine cannot do it. Events of
    `overhearing` may be kept with the transitions, for observers that follow them later.
    """
    how = search or Search()
    told = reporter or Silent()
    if how.engine == "zones":
        raise EngineUnavailable("it serves 'check' alone, where no loops are needed", "zones")
    if how.store is not None:
        # Who asks for loops and paths is told when nobody knows them.
        return cast("Space", explored_in_store(product, how, reporter))
    with phase("exploring"):
        return _reduced(product, how, told, overhearing)


def _reduced(
    product: Product, how: Search, told: Reporter, overhearing: tuple[EventIR, ...]
) -> Space:
    if not how.symmetry and not how.order:
        return _explored(product, how, told, None, overhearing)
    from modecheck.engine.reductions.annotated_quotient import AnnotatedQuotient
    from modecheck.engine.reductions.plain_reduction import reduction_of

    reduction = reduction_of(product, symmetry=how.symmetry, order=how.order)
    space = _explored(reduction.product, how, told, reduction)
    if reduction.representatives is None:
        return space
    return AnnotatedQuotient(space, reduction.representatives)


def _explored(
    product: Product,
    how: Search,
    told: Reporter,
    reduction: PlainReduction | None,
    overhearing: tuple[EventIR, ...] = (),
) -> Exploration[StateStore]:
    if reduction is not None and reduction.stubborn is not None:
        if how.engine in ("compiled", "gpu"):
            raise EngineUnavailable("it does not order independent steps", how.engine)
        return explore(product, limits=how.limits, reporter=told, reduction=reduction)
    if how.engine == "gpu":
        if reduction is not None:
            raise EngineUnavailable("it does not exchange states for representatives", "gpu")
        return _on_gpu(product, how, told, overhearing)
    if how.engine == "compiled":
        return _compiled(product, how, told, reduction, overhearing)
    if how.engine == "plain" or importlib.util.find_spec("llvmlite") is None:
        return explore(product, limits=how.limits, reporter=told, reduction=reduction)
    if how.expected > SWITCH_AT:
        try:
            return _compiled(product, how, told, reduction, overhearing)
        except EngineUnavailable:
            return explore(product, limits=how.limits, reporter=told, reduction=reduction)
    return _plain_first(product, how, told, reduction, overhearing)


def _plain_first(
    product: Product,
    how: Search,
    told: Reporter,
    reduction: PlainReduction | None,
    overhearing: tuple[EventIR, ...],
) -> Exploration[StateStore]:
    began = time.monotonic()
    limits = how.limits
    small = limits.states is not None and limits.states <= SWITCH_AT
    first = limits if small else replace(limits, states=SWITCH_AT)
    found = explore(product, limits=first, reporter=told, reduction=reduction)
    if found.complete or small or found.stopped_by != first.reached_states:
        return found
    left = replace(limits, since=began)
    try:
        return _compiled(product, replace(how, limits=left), told, reduction, overhearing)
    except EngineUnavailable:
        return explore(product, limits=left, reporter=told, reduction=reduction)
    except KeyboardInterrupt:
        # The compiled engine was still being loaded: what the plain one has found is reported.
        found.stopped_by = INTERRUPTION
        return found


def explored_in_store(product: Product, how: Search, reporter: Reporter | None) -> StoreSpace:
    """Explore into the folder of a store, or go on there. Raises `StoreError`, `ClusterError`, and
    `EngineUnavailable` when the product cannot be compiled.
    """
    assert how.store is not None
    try:
        from modecheck.engine.native.frame import NotCompilableError
        from modecheck.engine.store.opening import explore_in_store
    except ImportError as error:
        raise EngineUnavailable(f"{error.name or error} is not installed") from error
    threads = min(how.threads or os.cpu_count() or 1, MOST_THREADS)
    told = reporter or Silent()
    try:
        with phase("exploring"):
            return explore_in_store(
                product,
                Path(how.store),
                threads=threads,
                limits=how.limits,
                reporter=told,
                workers=_of_cluster(how.cluster),
            )
    except NotCompilableError as error:
        raise EngineUnavailable(str(error)) from error


def _of_cluster(address: str | None) -> Workers | None:
    if address is None:
        return None
    from modecheck.engine.cluster.cluster_workers import ClusterWorkers

    return ClusterWorkers(address)


def _code_elsewhere(
    product: Product, how: Search, overhearing: tuple[EventIR, ...]
) -> ForkedTask[None] | None:
    """Machine code that another process puts among what is kept on disk, while this one loads what
    explores for the first time, which takes as long.
    """
    if "modecheck.engine.native.run" in sys.modules or not can_begin(how.threads, how.limits):
        return None

    def make() -> None:
        from modecheck.engine.native.machine import UNOPTIMISED, compiled, overheard

        compiled(overheard(product, overhearing), system_actions(product), level=UNOPTIMISED)

    return ForkedTask(make)


def _compiled(
    product: Product,
    how: Search,
    told: Reporter,
    reduction: PlainReduction | None,
    overhearing: tuple[EventIR, ...],
) -> Exploration[StateStore]:
    unoptimised = how.expected < OPTIMISED_FROM
    by_gpu: Callable[[Limits], CompiledExploration | None] | None = None
    if how.engine == "auto" and reduction is None:
        by_gpu = partial(_on_gpu_if_any, product, how, told, overhearing)
        space = None if unoptimised else by_gpu(how.limits)
        if space is not None:
            return space
    ahead = (
        _code_elsewhere(product, how, overhearing) if reduction is None and unoptimised else None
    )
    try:
        from modecheck.engine.native.frame import NotCompilableError
        from modecheck.engine.native.run import explore_compiled
    except ImportError as error:
        raise EngineUnavailable(f"{error.name or error} is not installed") from error
    threads = how.threads or os.cpu_count() or 1
    if ahead is not None:
        ahead.result()
    try:
        return explore_compiled(
            product,
            threads=min(threads, MOST_THREADS),
            limits=how.limits,
            reporter=told,
            representatives=reduction.representatives if reduction is not None else None,
            unoptimised_up_to=OPTIMISED_FROM if unoptimised else 0,
            overhearing=overhearing,
            otherwise=by_gpu,
        )
    except NotCompilableError as error:
        raise EngineUnavailable(str(error)) from error


def _on_gpu_if_any(
    product: Product,
    how: Search,
    told: Reporter,
    overhearing: tuple[EventIR, ...],
    limits: Limits,
) -> CompiledExploration | None:
    """What a GPU explores within the limits; None where there is none, or it cannot do it."""
    if importlib.util.find_spec("cuda") is None:
        return None
    try:
        return _on_gpu(product, replace(how, limits=limits), told, overhearing)
    except EngineUnavailable:
        return None


def _on_gpu(
    product: Product, how: Search, told: Reporter, overhearing: tuple[EventIR, ...]
) -> CompiledExploration:
    try:
        from modecheck.engine.gpu.cuda_device import all_gpus, why_no_gpu
        from modecheck.engine.gpu.device_memory import DeviceFailed
        from modecheck.engine.gpu.explore_on_gpu import explore_on_gpu
        from modecheck.engine.native.frame import NotCompilableError
    except ImportError as error:
        raise EngineUnavailable(f"{error.name or error} is not installed", "gpu") from error
    threads = min(how.threads or os.cpu_count() or 1, MOST_THREADS)
    reason = why_no_gpu()
    if reason:
        raise EngineUnavailable(reason, "gpu")
    ahead = _gpu_code_elsewhere(product, how, overhearing)
    try:
        return explore_on_gpu(
            product,
            all_gpus(),
            threads=threads,
            limits=how.limits,
            reporter=told,
            overhearing=overhearing,
            sweeps=how.sweeps,
            ready=lambda: [task.result() for task in ahead],
        )
    except MemoryError as error:
        raise EngineUnavailable("its memory is too small, or taken by others", "gpu") from error
    except DeviceFailed as error:
        raise EngineUnavailable(error.reason, "gpu") from error
    except NotCompilableError as error:
        raise EngineUnavailable(str(error), "gpu") from error


def _gpu_code_elsewhere(
    product: Product, how: Search, overhearing: tuple[EventIR, ...]
) -> list[ForkedTask[None]]:
    """Code for a GPU that other processes put among what is kept on disk, while states are found:
    making it takes longer than that. A process that uses a GPU already cannot be copied.
    """
    from modecheck.engine.gpu.explore_on_gpu import keep_code
    from modecheck.engine.gpu.looking_kernels import look_at_states, make_on_gpu

    if not can_begin(how.threads, how.limits):
        return []
    kernels = (look_at_states, make_on_gpu)
    return [ForkedTask(partial(keep_code, product, overhearing, one)) for one in kernels]

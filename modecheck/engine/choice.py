"""Which engine explores: the plain one first, the compiled one when a product turns out large.

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
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Literal

from modecheck.engine.contract.forked_task import ForkedTask, can_begin
from modecheck.engine.contract.phases import phase
from modecheck.engine.contract.space import INTERRUPTION, Limits, Space
from modecheck.engine.reference.system_actions import system_actions
from modecheck.engine.search.exploration import Reporter, Silent, explore
from modecheck.engine.search.explored_space import Exploration, StateStore
from modecheck.model.errors import ModecheckError
from modecheck.product.ir import EventIR, Product

if TYPE_CHECKING:
    from modecheck.engine.reductions.plain_reduction import PlainReduction

EngineName = Literal["auto", "plain", "compiled", "zones"]
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
    step.
    """

    engine: EngineName = "auto"
    limits: Limits = field(default_factory=Limits)
    threads: int | None = None
    symmetry: bool = False
    order: bool = False
    time_acceleration: bool = False
    expected: int = 0


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
        if how.engine == "compiled":
            raise EngineUnavailable("it does not order independent steps")
        return explore(product, limits=how.limits, reporter=told, reduction=reduction)
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
        )
    except NotCompilableError as error:
        raise EngineUnavailable(str(error)) from error

"""Which engine explores: the plain one first, the compiled one when a product turns out large.

A small product is done before the compiled engine would have been loaded. Beyond `SWITCH_AT` states
the exploration is begun anew in machine code, which takes less time than was spent so far.
"""

from __future__ import annotations

import importlib.util
import os
import time
from dataclasses import dataclass, field, replace
from typing import Literal

from modecheck.engine.exploration import Reporter, Silent, explore
from modecheck.engine.space import Limits, Space
from modecheck.model.mistakes import ModecheckError
from modecheck.product.form import Product

EngineName = Literal["auto", "plain", "compiled"]

SWITCH_AT = 3_000
"""States that the plain engine explores in about the time that the compiled one takes to load."""

MOST_THREADS = 64


class EngineUnavailable(ModecheckError):
    """The engine that was asked for cannot explore this product, or is not installed."""

    def __init__(self, reason: str) -> None:
        super().__init__()
        self.reason = reason

    def __str__(self) -> str:
        return f"the compiled engine cannot explore this product: {self.reason}"


@dataclass(frozen=True, slots=True)
class Search:
    """How to explore. `threads` is None for one for each core."""

    engine: EngineName = "auto"
    limits: Limits = field(default_factory=Limits)
    threads: int | None = None


def explore_with(
    product: Product, search: Search | None = None, reporter: Reporter | None = None
) -> Space:
    """Explore a product. Raises `EngineUnavailable` when a forced engine cannot do it."""
    how = search or Search()
    told = reporter or Silent()
    if how.engine == "compiled":
        return _compiled(product, how, told)
    if how.engine == "plain" or importlib.util.find_spec("numba") is None:
        return explore(product, limits=how.limits, reporter=told)
    return _plain_first(product, how, told)


def _plain_first(product: Product, how: Search, told: Reporter) -> Space:
    began = time.monotonic()
    limits = how.limits
    small = limits.states is not None and limits.states <= SWITCH_AT
    first = limits if small else replace(limits, states=SWITCH_AT)
    found = explore(product, limits=first, reporter=told)
    if found.complete or small or found.stopped_by != first.reached_states:
        return found
    left = replace(limits, since=began)
    try:
        return _compiled(product, replace(how, limits=left), told)
    except EngineUnavailable:
        return explore(product, limits=left, reporter=told)
    except KeyboardInterrupt:
        # The compiled engine was still being loaded: what the plain one has found is reported.
        found.stopped_by = "an interruption"
        return found


def _compiled(product: Product, how: Search, told: Reporter) -> Space:
    # Kernels are compiled once for each user, and kept beside the products' machine code.
    from modecheck.engine.compiled.object_cache import cache_folder

    os.environ.setdefault("NUMBA_CACHE_DIR", str(cache_folder() / "kernels"))
    try:
        from modecheck.engine.compiled.run import explore_compiled
        from modecheck.engine.compiled.steps import NotCompilableError
    except ImportError as error:
        raise EngineUnavailable(f"{error.name or error} is not installed") from error
    threads = how.threads or os.cpu_count() or 1
    try:
        return explore_compiled(
            product, threads=min(threads, MOST_THREADS), limits=how.limits, reporter=told
        )
    except NotCompilableError as error:
        raise EngineUnavailable(str(error)) from error

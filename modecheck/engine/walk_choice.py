"""Which engine walks: the compiled one, or the plain one where the other cannot or is missing."""

from __future__ import annotations

from collections.abc import Callable
from typing import TypeVar

from modecheck.engine.choice import EngineName, EngineUnavailable
from modecheck.engine.search.bounded_search import PlainSearcher, Searcher
from modecheck.engine.search.walk_targets import WatchList
from modecheck.engine.search.walking import PlainWalker, Walker
from modecheck.product.ir import Product

Made = TypeVar("Made")


def walker_for(
    product: Product, watched: WatchList, *, engine: EngineName, seed: int, depth: int
) -> Walker:
    """A walker; all engines walk the same way. Raises `EngineUnavailable` when a forced engine
    cannot do it.
    """

    def compiled() -> Walker:
        from modecheck.engine.native.compiled_walks import CompiledWalker

        return CompiledWalker(product, watched, seed=seed, depth=depth)

    return _unless_plain(engine, compiled) or PlainWalker(product, watched, seed=seed, depth=depth)


def searcher_for(product: Product, watched: WatchList, *, engine: EngineName) -> Searcher:
    """A searcher, likewise."""

    def compiled() -> Searcher:
        from modecheck.engine.native.compiled_walks import CompiledSearcher

        return CompiledSearcher(product, watched)

    return _unless_plain(engine, compiled) or PlainSearcher(product, watched)


def _unless_plain(engine: EngineName, compiled: Callable[[], Made]) -> Made | None:
    """What the compiled engine makes; None where it cannot or is not wanted."""
    if engine == "plain":
        return None
    try:
        from modecheck.engine.native.frame import NotCompilableError

        try:
            return compiled()
        except NotCompilableError as error:
            reason = str(error)
    except ImportError as error:
        reason = f"{error.name or error} is not installed"
    if engine == "compiled":
        raise EngineUnavailable(reason)
    return None
